//! How much the gauge of a piece varies when the fabric varies from place to place: large pieces average more of it.
//!
//! The measurement says how much another 10 × 10 cm would differ, and over what distance neighbouring places are alike.
//! A piece is not 10 × 10 cm. Let the local gauge be a random field of variance s² whose correlation falls off as
//! exp(−d/L) along the row and likewise along the wale. The variance of its mean over a length w is then s² γ(w/L) with
//!
//! γ(q) = 2 (q − 1 + e⁻^q) / q²
//!
//! (the variance function of a Markov process: Vanmarcke, *Random Fields*, 1983), and over an area w × h it is
//! s² γ(w/L) γ(h/L). So the variance stated for 10 × 10 cm is multiplied by γ(w/L) γ(h/L) / γ(10 cm/L)². For a piece much
//! larger than L both ways this is (10 cm)² / (w h), whatever the form of the correlation; below L it levels off.
//!
//! What this can't know: another day, another mood, flat against round. Those move the whole piece and do not average.

use serde::Serialize;

/// Variation of the gauge from place to place within one fabric.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FabricVariation {
    /// Relative standard deviation of the stitch gauge of areas of 10 × 10 cm.
    pub stitches: f64,
    /// The same of the row gauge.
    pub rows: f64,
    /// Distance over which neighbouring places are alike, in mm.
    pub correlation_mm: f64,
    /// Whether it was measured on the swatch or stated by the user; otherwise it is a stated default.
    pub known: bool,
}

/// Standard deviation between places, in per cent, where nothing is known of the fabric: the same that the measurement
/// assumes for a swatch too small to show it (0.2 to 2 was measured on rendered swatches).
const USUAL_PLACES_PERCENT: f64 = 1.0;

/// Distance over which places are alike where nothing is known, in mm: a stated choice, near what rendered swatches show.
const USUAL_CORRELATION_MM: f64 = 30.0;

impl FabricVariation {
    /// What is taken where the fabric's own variation is not known: 0.3 % between areas of 10 × 10 cm, that is 1 % between
    /// places that are alike over 3 cm, of which 10 × 10 cm hold (10/3)².
    pub fn usual() -> Self {
        let share = USUAL_PLACES_PERCENT / 100.0 * USUAL_CORRELATION_MM / SIDE_MM;
        Self { stitches: share, rows: share, correlation_mm: USUAL_CORRELATION_MM, known: false }
    }

    /// Standard deviation of the gauge's mean over `width_mm` × `height_mm`, relative: of stitches and of rows. Sizes that
    /// are not positive count as a point.
    pub fn over(&self, width_mm: f64, height_mm: f64) -> [f64; 2] {
        let share = |mm: f64| mean_variance_share(mm / self.correlation_mm.max(1.0));
        let scale = (share(width_mm) * share(height_mm)).sqrt() / share(SIDE_MM);
        [self.stitches * scale, self.rows * scale]
    }
}

/// Side of the area the variation is stated for, in mm.
const SIDE_MM: f64 = 100.0;

/// γ(q): the share of a field's variance that is left in its mean over `q` correlation lengths, 1 for a point, towards
/// 2/q for a long stretch.
pub fn mean_variance_share(q: f64) -> f64 {
    /// Below this the formula loses its digits; the series 1 − q/3 is then good to q²/12 = 1e-9.
    const SHORT: f64 = 1e-4;
    if q > SHORT { 2.0 * (q - 1.0 + (-q).exp()) / (q * q) } else { 1.0 - q.max(0.0) / 3.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_by_ten_is_as_stated_and_larger_pieces_vary_less() {
        let v = FabricVariation::usual();
        assert_eq!(v.over(100.0, 100.0), [v.stitches, v.rows]);
        let [large, _] = v.over(400.0, 600.0);
        // (10 cm)² / (40 cm × 60 cm) = 1/24 of the variance, up to the ends of the correlation.
        let ratio = (large / v.stitches).powi(2) * 24.0;
        assert!((1.0..1.8).contains(&ratio), "{ratio}");
        let [small, _] = v.over(20.0, 20.0);
        assert!(small > v.stitches && small < 0.012, "{small}");
        assert!(v.over(0.0, -5.0)[0].is_finite());
    }

    /// The formula against the mean of the correlation over all pairs of points, summed numerically.
    #[test]
    fn variance_share_is_the_mean_correlation_of_all_pairs() {
        for q in [0.01, 0.5, 2.0, 10.0] {
            let n = 2000;
            let step = q / f64::from(n);
            let sum: f64 =
                (-n + 1..n).map(|d: i32| f64::from(n - d.abs()) * (-(f64::from(d) * step).abs()).exp()).sum();
            let mean = sum / f64::from(n).powi(2);
            assert!((mean_variance_share(q) - mean).abs() < 1e-5, "{q}");
        }
        assert!((mean_variance_share(1e-4) - mean_variance_share(1.0001e-4)).abs() < 1e-7);
    }
}
