//! Am I at the wanted gauge? A verdict for stitches and one for rows, each with its probabilities.
//!
//! Three things may be true: the fabric is tighter than wanted by more than a tolerance, looser by more, or within it.
//! What has a probability of 95 % is said; when nothing has, the answer is that the measurement can't tell. "Matches" thus
//! is shown, as in a test of equivalence (Schuirmann 1987: each of the two one-sided errors below 5 %), and never taken
//! from the lack of a difference.

use crate::quantity::{Confidence, Expanded, Uncertain};
use serde::{Deserialize, Serialize};

/// Probability from which something is said to be so: that of the intervals.
const SURE: f64 = 0.95;
/// Tolerance unless told, stitches and rows per 10 cm: patterns print stitches to the half and rows to the whole (common
/// practice, no source).
pub const USUAL_TOLERANCE: (f64, f64) = (0.5, 1.0);
/// Length of the piece for which it is said what it would come out at, in cm: about half round an adult's chest.
const PIECE_CM: f64 = 50.0;
/// One-sided 95 % and two-sided 95 % points of the normal law.
const ONE_SIDED: f64 = 1.644_853_627;
const TWO_SIDED: f64 = 1.959_963_985;

/// The gauge someone wants, per 10 cm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// Stitches per 10 cm.
    pub stitches_per_10cm: f64,
    /// Rows per 10 cm.
    pub rows_per_10cm: f64,
    /// How far from it still counts as matching: stitches and rows per 10 cm.
    pub tolerance: (f64, f64),
}

/// How a fabric compares with the wanted gauge in one direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// More stitches or rows than wanted.
    TooTight,
    /// Fewer than wanted.
    TooLoose,
    /// Within the tolerance.
    Matches,
    /// The measurement does not decide.
    CantTell,
}

/// The answer for one direction.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WantedAxis {
    /// Wanted, per 10 cm.
    pub wanted_per_10cm: f64,
    /// How far from it still counts as matching, per 10 cm.
    pub tolerance_per_10cm: f64,
    /// What can be said.
    pub verdict: Verdict,
    /// Probability of more than wanted by more than the tolerance, 0 to 1.
    pub probability_too_tight: f64,
    /// Probability of lying within the tolerance.
    pub probability_matches: f64,
    /// Probability of fewer than wanted by more than the tolerance.
    pub probability_too_loose: f64,
    /// Half-width of the 95 % interval below which the same count would decide, per 10 cm; `None` where it is decided.
    pub deciding_half_width_per_10cm: Option<f64>,
    /// Length of a piece planned at the wanted gauge, in cm.
    pub piece_planned_cm: f64,
    /// What it comes out at when knitted like this swatch, in cm.
    pub piece_comes_out_cm: Expanded,
}

/// The answer for both directions.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WantedAnswer {
    /// Along the row: comes first, since it decides the width.
    pub stitches: WantedAxis,
    /// Along the wale.
    pub rows: WantedAxis,
}

/// Compares this swatch's gauge (stitches, rows per 10 cm) with the wanted one. `next` is the gauge of another fabric
/// knitted alike: a planned piece is one.
pub fn compare(wanted: &Wanted, swatch: [&Uncertain; 2], next: [&Uncertain; 2]) -> WantedAnswer {
    let (stitches, rows) = wanted.tolerance;
    WantedAnswer {
        stitches: axis(wanted.stitches_per_10cm, stitches, swatch[0], next[0]),
        rows: axis(wanted.rows_per_10cm, rows, swatch[1], next[1]),
    }
}

fn axis(wanted: f64, tolerance: f64, swatch: &Uncertain, next: &Uncertain) -> WantedAxis {
    let loose = swatch.probability_below(wanted - tolerance);
    let tight = 1.0 - swatch.probability_below(wanted + tolerance);
    let within = (1.0 - loose - tight).max(0.0);
    let verdict = match (tight >= SURE, within >= SURE, loose >= SURE) {
        (true, _, _) => Verdict::TooTight,
        (_, true, _) => Verdict::Matches,
        (_, _, true) => Verdict::TooLoose,
        _ => Verdict::CantTell,
    };
    // The nearer limit must lie 1.645 standard uncertainties away, and the interval is 1.96 of them wide to each side.
    let to_limit = ((swatch.value - wanted).abs() - tolerance).abs();
    let planned = Uncertain::exact(PIECE_CM * wanted);
    let comes_out = planned.divided_by(next).unwrap_or(planned);
    WantedAxis {
        wanted_per_10cm: wanted,
        tolerance_per_10cm: tolerance,
        verdict,
        probability_too_tight: tight,
        probability_matches: within,
        probability_too_loose: loose,
        deciding_half_width_per_10cm: (verdict == Verdict::CantTell).then_some(to_limit * TWO_SIDED / ONE_SIDED),
        piece_planned_cm: PIECE_CM,
        piece_comes_out_cm: comes_out.expanded(Confidence::P95),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Contribution, Shape, Source};
    use proptest::prelude::*;

    fn gauge(value: f64, standard: f64) -> Uncertain {
        Uncertain::exact(value).with(Contribution::stated(Source::named("all"), standard))
    }

    fn verdict(value: f64, standard: f64, wanted: f64) -> Verdict {
        let g = gauge(value, standard);
        axis(wanted, 0.5, &g, &g).verdict
    }

    #[test]
    fn each_verdict_is_given_where_it_is_sure() {
        assert_eq!(verdict(22.1, 0.1, 22.0), Verdict::Matches);
        assert_eq!(verdict(23.4, 0.2, 22.0), Verdict::TooTight);
        assert_eq!(verdict(20.6, 0.2, 22.0), Verdict::TooLoose);
        assert_eq!(verdict(22.6, 0.2, 22.0), Verdict::CantTell);
        assert_eq!(verdict(22.0, 0.5, 22.0), Verdict::CantTell);
    }

    #[test]
    fn the_limit_is_where_the_one_sided_probability_is_95_percent() {
        // A margin of 1.645 u to the limit of 22.5: 22.829 is just too tight, 22.828 is not.
        assert_eq!(verdict(22.8291, 0.2, 22.0), Verdict::TooTight);
        assert_eq!(verdict(22.8288, 0.2, 22.0), Verdict::CantTell);
    }

    #[test]
    fn a_piece_comes_out_smaller_by_the_ratio_of_the_gauges() {
        let g = gauge(24.0, 0.24);
        let answer = axis(22.0, 0.5, &g, &g);
        assert!((answer.piece_comes_out_cm.value - 50.0 * 22.0 / 24.0).abs() < 1e-12);
        assert!(
            (answer.piece_comes_out_cm.standard_uncertainty / answer.piece_comes_out_cm.value - 0.01).abs() < 1e-12
        );
    }

    #[test]
    fn rectangular_limits_are_taken_as_limits() {
        // ± 0.4 about 22.05 lies wholly within 22 ± 0.5: sure, though a normal law of that deviation would leave doubt.
        let g =
            Uncertain::exact(22.05).with(Contribution::type_b(Source::named("limits"), 0.4, Shape::Rectangular, 1.0));
        assert!(axis(22.0, 0.5, &g, &g).probability_matches > 0.999);
    }

    proptest! {
        #[test]
        fn probabilities_sum_to_one_and_shift_with_the_gauge(
            value in 10.0..40.0f64, u in 0.01..2.0f64, wanted in 10.0..40.0f64, tolerance in 0.05..2.0f64,
        ) {
            let of = |v: f64| { let g = gauge(v, u); axis(wanted, tolerance, &g, &g) };
            let (a, b) = (of(value), of(value + 0.1));
            prop_assert!((a.probability_too_tight + a.probability_matches + a.probability_too_loose - 1.0).abs() < 1e-9);
            prop_assert!(b.probability_too_tight >= a.probability_too_tight - 1e-9);
            prop_assert!(b.probability_too_loose <= a.probability_too_loose + 1e-9);
            // The interval it asks for decides: at most what one has, unless that decided.
            if let Some(half_width) = a.deciding_half_width_per_10cm {
                prop_assert!(half_width <= 1.2 * TWO_SIDED * u);
            }
        }
    }
}
