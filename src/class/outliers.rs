//! Values that stand apart from the others: flagged, never dropped.

use crate::quantity::{Confidence, sample_mean, t_coverage_factor};
use serde::Serialize;

/// How far a value stands apart, in the words of ISO 5725-2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Apart {
    /// Farther than in 5 of 100 classes without any outlier, but not than in 1 of 100.
    Straggler,
    /// Farther than in 1 of 100 classes without any outlier.
    Outlier,
}

/// Share of the values that may be flagged: beyond it the others are no longer what is usual (a stated choice).
const MOST_SHARE: f64 = 0.25;

/// The values that stand apart by Grubbs' test (1950, 1969), one after the other, each tested among those that are left.
/// Fewer than four values show nothing: of three the middle one always looks lonely or not by chance alone.
pub fn apart(values: &[f64]) -> Vec<Option<Apart>> {
    const FEWEST: usize = 4;
    let mut flags = vec![None; values.len()];
    let mut left: Vec<usize> = (0..values.len()).collect();
    let most = ((values.len() as f64 * MOST_SHARE) as usize).max(1);
    for _ in 0..most {
        if left.len() < FEWEST {
            break;
        }
        let rest: Vec<f64> = left.iter().map(|i| values[*i]).collect();
        let Some(sample) = sample_mean(&rest).filter(|s| s.standard_deviation > 0.0) else { break };
        let far = |i: &usize| (values[*i] - sample.mean).abs() / sample.standard_deviation;
        let Some(farthest) = left.iter().copied().max_by(|a, b| far(a).total_cmp(&far(b))) else { break };
        flags[farthest] = match far(&farthest) {
            g if g > critical(rest.len(), 0.01) => Some(Apart::Outlier),
            g if g > critical(rest.len(), 0.05) => Some(Apart::Straggler),
            _ => break,
        };
        left.retain(|i| *i != farthest);
    }
    flags
}

/// Grubbs' critical value for one of `n` values, either side: (n − 1)/√n √(t²/(n − 2 + t²)), t that of n − 2 degrees of
/// freedom for the probability `level`/(2n) on one side.
pub fn critical(n: usize, level: f64) -> f64 {
    let size = n as f64;
    let inside = Confidence::new(1.0 - level / size).map_or(f64::INFINITY, |c| t_coverage_factor(size - 2.0, c));
    let t2 = inside * inside;
    (size - 1.0) / size.sqrt() * (t2 / (size - 2.0 + t2)).sqrt()
}
