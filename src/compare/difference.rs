//! The difference of two values, and whether they are equivalent within a tolerance.

use crate::quantity::{Confidence, Expanded, Uncertain};
use serde::Serialize;

/// What two values say about each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// First minus second, with its 95 % interval.
    pub difference: Expanded,
    /// The two one-sided tests.
    pub equivalence: Equivalence,
    /// What may be said.
    pub finding: Finding,
    /// Name of the source that makes the difference least sure; `None` without uncertainty.
    pub largest_source: Option<String>,
    /// Whether a part of the error is the same in both, so that it cancels wholly or partly.
    pub shared: bool,
}

/// Two one-sided tests of equivalence (Schuirmann 1987): is the true difference surely above −tolerance *and* surely
/// below +tolerance? At the 5 % level that is the same as the 90 % interval lying within the tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Equivalence {
    /// Largest difference that does not matter, in the values' unit.
    pub tolerance: f64,
    /// The 90 % interval of the difference.
    pub interval_90: [f64; 2],
    /// Probability of a difference as large as the one seen, or larger, if the true one were −tolerance.
    pub p_lower: f64,
    /// Probability of a difference as small as the one seen, or smaller, if the true one were +tolerance.
    pub p_upper: f64,
}

impl Equivalence {
    /// Whether both tests reject at the 5 % level: closer than the tolerance, with 95 % confidence.
    pub fn holds(&self) -> bool {
        self.p_lower < LEVEL && self.p_upper < LEVEL
    }
}

/// Level of each one-sided test.
const LEVEL: f64 = 0.05;

/// What may be said about two values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// Closer than the tolerance, with 95 % confidence; whether there is a small difference is not seen.
    Equivalent,
    /// There is a difference (its 95 % interval leaves zero out), and it is closer than the tolerance.
    SmallDifference,
    /// There is a difference; whether it is within the tolerance is not seen.
    Different,
    /// There is a difference and the whole 95 % interval is beyond the tolerance.
    LargeDifference,
    /// Neither a difference nor equivalence can be told.
    CantTell,
}

/// Compares two values. Sources that both share cancel as far as they are alike; the caller marks the others with
/// [`Uncertain::on_occasion`]. `tolerance` is in the values' unit and positive.
pub fn compare(first: &Uncertain, second: &Uncertain, tolerance: f64) -> Comparison {
    let difference = first - second;
    let distribution = difference.distribution();
    let expanded = distribution.expanded(Confidence::P95);
    let (low, high) = distribution.expanded(Confidence::P90).interval();
    // The distribution is symmetric about the difference seen, so the probability of so large a difference under a true
    // one of −tolerance is that of a true one below −tolerance under the difference seen.
    let equivalence = Equivalence {
        tolerance,
        interval_90: [low, high],
        p_lower: distribution.probability_below(-tolerance),
        p_upper: 1.0 - distribution.probability_below(tolerance),
    };
    let largest = difference.contributions.iter().max_by(|a, b| a.standard.abs().total_cmp(&b.standard.abs()));
    let shared = first.contributions.iter().any(|c| second.contributions.iter().any(|o| o.source == c.source));
    Comparison {
        finding: finding(&expanded, &equivalence),
        difference: expanded,
        equivalence,
        largest_source: largest.map(|c| c.source.name.to_string()),
        shared,
    }
}

fn finding(difference: &Expanded, equivalence: &Equivalence) -> Finding {
    let (low, high) = difference.interval();
    let differs = low > 0.0 || high < 0.0;
    let tolerance = equivalence.tolerance;
    match (differs, equivalence.holds()) {
        (true, true) => Finding::SmallDifference,
        (false, true) => Finding::Equivalent,
        (true, false) if low > tolerance || high < -tolerance => Finding::LargeDifference,
        (true, false) => Finding::Different,
        (false, false) => Finding::CantTell,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Contribution, Source};

    fn value(value: f64, u: f64, occasion: &str) -> Uncertain {
        Uncertain::exact(value).with(Contribution::stated(Source::named("count"), u)).on_occasion(occasion)
    }

    #[test]
    fn the_five_findings() {
        for (difference, u, expected) in [
            (0.1, 0.1, Finding::Equivalent),
            (0.25, 0.05, Finding::SmallDifference),
            (0.6, 0.1, Finding::Different),
            (1.8, 0.2, Finding::LargeDifference),
            (0.2, 0.3, Finding::CantTell),
        ] {
            let seen = compare(&value(20.0 + difference, u, "a"), &value(20.0, 0.0, "b"), 0.5);
            assert_eq!(seen.finding, expected, "{difference} {u}");
            let mirrored = compare(&value(20.0, 0.0, "b"), &value(20.0 + difference, u, "a"), 0.5);
            assert_eq!(mirrored.finding, expected);
            assert!((mirrored.equivalence.p_lower - seen.equivalence.p_upper).abs() < 1e-12);
        }
    }

    #[test]
    fn a_shared_ruler_cancels() {
        let ruler = |id: &str| Contribution::stated(Source::shared("ruler", id.to_owned()), 0.2);
        let a = value(20.0, 0.05, "a").with(ruler("steel"));
        let b = value(20.3, 0.05, "b");
        let (same, other) = (b.clone().with(ruler("steel")), b.with(ruler("wood")));
        let (same, other) = (compare(&a, &same, 0.5), compare(&a, &other, 0.5));
        assert!((same.difference.standard_uncertainty - 0.05 * 2f64.sqrt()).abs() < 1e-12);
        assert!((other.difference.standard_uncertainty - (2.0f64 * (0.0025 + 0.04)).sqrt()).abs() < 1e-12);
        assert!(same.shared && !other.shared);
        assert_eq!((same.finding, other.finding), (Finding::SmallDifference, Finding::CantTell));
    }

    /// The equivalence test and its 90 % interval say the same.
    #[test]
    fn interval_and_tests_agree() {
        for i in 0..200 {
            let seen = compare(&value(20.0 + f64::from(i) * 0.005, 0.1, "a"), &value(20.0, 0.08, "b"), 0.5);
            let [low, high] = seen.equivalence.interval_90;
            assert_eq!(seen.equivalence.holds(), low > -0.5 && high < 0.5, "{i}");
        }
    }
}
