//! The stitch lattice as evidence of tilt: counts over the fabric, with the slow drift of tension that looks like tilt.

use super::{CountSeen, PlaneMap};
use crate::quantity::{PhotoPoint, PlanePoint};
use nalgebra::DMatrix;

/// Standard deviation of a linear drift of stitch or row density over 100 mm of fabric, relative. Knitters' tension and
/// blocking change the gauge by a few per cent over a swatch (a stated choice; `calibration/` tells what was seen).
const DRIFT_SIGMA_PER_100MM: f64 = 0.022;

/// Standard deviation of the bow of rows and wales over 100 mm, in the same measure.
const BOW_SIGMA_PER_100MM: f64 = 0.03;

/// Degrees of freedom of the drift's size, which differs from knitter to knitter and from swatch to swatch (stated choice):
/// fabric that drifts three times as far as usual is rare, not impossible.
const DRIFT_FREEDOM: f64 = 4.0;

/// Counts over the fabric: a lattice with slow drift, in coordinates about the middle of the region.
pub(super) struct DriftingLattice {
    pub counts: Vec<CountSeen>,
    middle: PhotoPoint,
    /// Standard deviation of each second-order coefficient, in the order of [`DriftingLattice::terms`]: x², xy, y² for stitches,
    /// the same for rows, along the lattice's own axes.
    second_order_sigma: [f64; 6],
    /// Unit vectors of the stitch and row direction in the plane.
    axes: [[f64; 2]; 2],
    /// How much larger than usual the drift is taken to be, and than stated the counts' irregularity; 1 at least.
    wider: Wider,
}

/// Factors on what is usual: of the drift's size, and of the counts' standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Wider {
    pub drift: f64,
    pub counts: f64,
}

impl DriftingLattice {
    /// Parameters: constant and two slopes for stitches, three second-order terms, then the same for rows.
    const PARAMETERS: usize = 12;

    pub fn of(counts: &[CountSeen]) -> Option<Self> {
        if counts.len() < 8 {
            return None;
        }
        let n = counts.len() as f64;
        let middle = PhotoPoint::new(
            counts.iter().map(|c| c.at.x).sum::<f64>() / n,
            counts.iter().map(|c| c.at.y).sum::<f64>() / n,
        );
        Some(Self {
            counts: counts.to_vec(),
            middle,
            second_order_sigma: [1.0; 6],
            axes: [[1.0, 0.0], [0.0, 1.0]],
            wider: Wider { drift: 1.0, counts: 1.0 },
        })
    }

    /// An affine lattice by least squares under a map; second-order terms zero.
    pub fn start(&self, map: &PlaneMap) -> Option<Vec<f64>> {
        let middle = map.to_plane(self.middle)?;
        let mut out = vec![0.0; Self::PARAMETERS];
        let n = self.counts.len();
        let mut a = DMatrix::zeros(n, 3);
        let mut b = DMatrix::zeros(n, 2);
        for (i, c) in self.counts.iter().enumerate() {
            let p = map.to_plane(c.at)?;
            a[(i, 0)] = 1.0;
            a[(i, 1)] = p.x - middle.x;
            a[(i, 2)] = p.y - middle.y;
            b[(i, 0)] = c.stitches;
            b[(i, 1)] = c.rows;
        }
        let solution = a.svd(true, true).solve(&b, 1e-12).ok()?;
        for k in 0..3 {
            out[k] = solution[(k, 0)];
            out[6 + k] = solution[(k, 1)];
        }
        Some(out)
    }

    /// Drift is a share of the density, so its absolute size follows from the first lattice.
    pub fn with_drift_scale(mut self, start: &[f64]) -> Self {
        for (axis, at) in [(0, 0), (1, 6)] {
            let (fx, fy) = (start[at + 1], start[at + 2]);
            let density = fx.hypot(fy).max(1e-9);
            self.axes[axis] = [fx / density, fy / density];
            let drift = density * DRIFT_SIGMA_PER_100MM / 100.0;
            let bow = density * BOW_SIGMA_PER_100MM / 100.0;
            // Density f(1 + d·x/100 mm) integrates to f d x²/200 along the axis; across it, to f d xy/100; a bow is y²/200.
            let (own, other) = if axis == 0 { (0, 2) } else { (5, 3) };
            self.second_order_sigma[own] = drift / 2.0;
            self.second_order_sigma[if axis == 0 { 1 } else { 4 }] = drift;
            self.second_order_sigma[other] = bow / 2.0;
        }
        self
    }

    /// What the residuals of a fit with this lattice say of the factors: Birge's (1932) ratio for the counts, and for the drift
    /// the scale of Student's t by expectation and maximisation (Dempster, Laird and Rubin 1977, 4.3). `None` where they
    /// hardly move any more.
    pub fn wider(&self, counts: impl Iterator<Item = f64>, drift: impl Iterator<Item = f64>) -> Option<Wider> {
        /// Relative change of a factor that no longer matters to an uncertainty.
        const SETTLED: f64 = 0.03;
        let (n, squares) = counts.fold((0usize, 0.0), |(n, sum), r| (n + 1, sum + (r * self.wider.counts).powi(2)));
        let free = n as f64 - Self::PARAMETERS as f64;
        let birge = if free > 0.0 { (squares / free).sqrt() } else { 1.0 };
        let drifted: f64 = drift.map(|r| (r * self.wider.drift).powi(2)).sum();
        let scale = ((DRIFT_FREEDOM + drifted) / (DRIFT_FREEDOM + self.second_order_sigma.len() as f64)).sqrt();
        let next = Wider { drift: scale.max(1.0), counts: birge.max(1.0) };
        let moved = (next.drift / self.wider.drift).ln().abs().max((next.counts / self.wider.counts).ln().abs());
        (moved > SETTLED).then_some(next)
    }

    /// Takes the drift or the counts for less well known.
    pub fn widen(&mut self, wider: Wider) {
        self.wider = wider;
    }

    fn terms(&self, p: PlanePoint, middle: PlanePoint) -> [f64; 6] {
        let (x, y) = (p.x - middle.x, p.y - middle.y);
        let s = self.axes[0][0] * x + self.axes[0][1] * y;
        let r = self.axes[1][0] * x + self.axes[1][1] * y;
        [1.0, x, y, s * s, s * r, r * r]
    }

    pub fn residuals(&self, map: &PlaneMap, parameters: &[f64], out: &mut Vec<f64>) -> Option<()> {
        let middle = map.to_plane(self.middle)?;
        for c in &self.counts {
            let terms = self.terms(map.to_plane(c.at)?, middle);
            let value = |at: usize| terms.iter().zip(&parameters[at..at + 6]).map(|(t, p)| t * p).sum::<f64>();
            out.push((value(0) - c.stitches) / (c.stitches_sigma * self.wider.counts));
            out.push((value(6) - c.rows) / (c.rows_sigma * self.wider.counts));
        }
        for (k, sigma) in self.second_order_sigma.iter().enumerate() {
            let at = if k < 3 { 3 + k } else { 6 + k };
            out.push(parameters[at] / (sigma * self.wider.drift));
        }
        Some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lattice() -> DriftingLattice {
        let counts: Vec<CountSeen> = (0..40)
            .map(|i| CountSeen {
                at: PhotoPoint::new(f64::from(i % 8), f64::from(i / 8)),
                stitches: f64::from(i % 8),
                rows: f64::from(i / 8),
                stitches_sigma: 0.05,
                rows_sigma: 0.05,
            })
            .collect();
        DriftingLattice::of(&counts).unwrap()
    }

    /// Residuals as stated change nothing; the factors never make anything surer than it was stated.
    #[test]
    fn usual_drift_stays_as_it_is() {
        let of = |r: f64, drift: f64| lattice().wider([r; 80].into_iter(), [drift; 6].into_iter());
        assert_eq!(of(0.9, 1.0), None);
        assert_eq!(of(0.3, 0.1), None);
    }

    /// Each round weighs the same deviations: from 3 spreads in each coefficient the scale of Student's t settles at the
    /// root of (4 + 6 · 9)/10, wherever it starts (expectation–maximisation with the residuals held).
    #[test]
    fn a_drift_beyond_the_usual_is_taken_as_wider() {
        let mut lattice = lattice();
        let expected = (58.0f64 / 10.0).sqrt();
        for _ in 0..2 {
            let drift = 3.0 / lattice.wider.drift;
            if let Some(wider) = lattice.wider([1.0; 80].into_iter(), [drift; 6].into_iter()) {
                lattice.widen(wider);
            }
        }
        assert!((lattice.wider.drift - expected).abs() < 1e-12, "{:?}", lattice.wider);
        // Birge: 80 residuals of 1.5, of which 12 parameters took theirs.
        let wider = self::lattice().wider([1.5; 80].into_iter(), [0.0; 6].into_iter()).unwrap();
        assert!((wider.counts - (80.0f64 * 2.25 / 68.0).sqrt()).abs() < 1e-12, "{wider:?}");
    }
}
