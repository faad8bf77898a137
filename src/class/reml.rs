//! Components of variance by restricted maximum likelihood, for any nest, balanced or not, with known measuring errors.
//!
//! The values are normal with a common mean and covariance V = K + Σ σᵢ² ZᵢZᵢ', K the stated covariance of the measuring
//! errors, Zᵢ the membership in the groups of level i. The likelihood of what is left when the mean is taken out (Patterson
//! & Thompson 1971) is maximised by scoring: with P = V⁻¹ − V⁻¹1(1'V⁻¹1)⁻¹1'V⁻¹, the slope by σᵢ² is
//! −½[tr(PZᵢZᵢ') − |Zᵢ'Py|²] and its expected curvature −½ |Zᵢ'PZⱼ|² (Searle, Casella & McCulloch 1992, 6.6). Variances
//! are kept at zero or above. For balanced data with nothing known of the measuring it gives the analysis of variance's
//! estimates wherever those are not negative.

use super::nested::{Level, Nested};
use nalgebra::{DMatrix, DVector};

/// What maximises the restricted likelihood.
#[derive(Debug, Clone, PartialEq)]
pub struct Components {
    /// Variance of each level, at least 0.
    pub variances: Vec<(Level, f64)>,
    /// Generalised least-squares mean.
    pub mean: f64,
    /// Weight of each value in the mean; they sum to 1.
    pub weights: Vec<f64>,
    /// Variance of the mean.
    pub mean_variance: f64,
    /// −2 log restricted likelihood, (n − 1) log 2π included.
    pub criterion: f64,
}

/// Steps of scoring; ten are usual.
const MOST_STEPS: usize = 200;
/// Halvings of one step that does not lead uphill.
const MOST_HALVINGS: usize = 30;
/// The end: no variance moves by more than this part of the whole.
const CONVERGED: f64 = 1e-12;

/// The components of the levels that the data can show. `None` where V has no inverse whatever the variances.
pub fn reml(nested: &Nested) -> Option<Components> {
    let levels = nested.levels();
    let scale = nested.total_variance();
    let start = scale / (levels.len() as f64 + 1.0);
    let mut variances: Vec<(Level, f64)> = levels.iter().map(|l| (*l, start)).collect();
    let mut here = State::at(nested, &variances)?;
    for _ in 0..MOST_STEPS {
        let Some(step) = here.step(nested, &variances) else { break };
        let mut factor = 1.0;
        let mut moved = 0.0f64;
        for _ in 0..MOST_HALVINGS {
            let next: Vec<(Level, f64)> =
                variances.iter().zip(&step).map(|((l, v), d)| (*l, (v + factor * d).max(0.0))).collect();
            if let Some(there) = State::at(nested, &next).filter(|s| s.criterion <= here.criterion) {
                moved = next.iter().zip(&variances).map(|(a, b)| (a.1 - b.1).abs()).fold(0.0, f64::max);
                (here, variances) = (there, next);
                break;
            }
            factor /= 2.0;
        }
        if moved <= CONVERGED * scale {
            break;
        }
    }
    Some(Components {
        mean: nested.origin() + here.mean,
        weights: here.weights.iter().copied().collect(),
        mean_variance: here.mean_variance,
        criterion: here.criterion,
        variances,
    })
}

/// The likelihood and what its slope needs, at one set of variances.
struct State {
    projection: DMatrix<f64>,
    projected: DVector<f64>,
    weights: DVector<f64>,
    mean: f64,
    mean_variance: f64,
    criterion: f64,
}

impl State {
    fn at(nested: &Nested, variances: &[(Level, f64)]) -> Option<Self> {
        let n = nested.values().len();
        let factor = nested.covariance(variances)?;
        let log_determinant = 2.0 * factor.l_dirty().diagonal().iter().take(n).map(|d| d.ln()).sum::<f64>();
        let inverse = factor.inverse();
        let sums = inverse.column_sum();
        let information = sums.sum();
        if !(information > 0.0 && information.is_finite()) {
            return None;
        }
        let projection = &inverse - &sums * sums.transpose() / information;
        let projected = &projection * nested.values();
        let squares = nested.values().dot(&projected);
        let weights = sums / information;
        let criterion =
            (n as f64 - 1.0) * (2.0 * std::f64::consts::PI).ln() + log_determinant + information.ln() + squares;
        criterion.is_finite().then(|| Self {
            mean: weights.dot(nested.values()),
            mean_variance: 1.0 / information,
            projection,
            projected,
            weights,
            criterion,
        })
    }

    /// The scoring step; variances at zero that would go below it stay there. `None` where none is left to move.
    fn step(&self, nested: &Nested, variances: &[(Level, f64)]) -> Option<Vec<f64>> {
        let slope: Vec<f64> = variances.iter().map(|(level, _)| self.slope(nested, *level)).collect();
        let free: Vec<usize> = (0..variances.len()).filter(|i| variances[*i].1 > 0.0 || slope[*i] > 0.0).collect();
        if free.is_empty() {
            return None;
        }
        let curvature = DMatrix::from_fn(free.len(), free.len(), |i, j| {
            0.5 * self.between(nested, variances[free[i]].0, variances[free[j]].0).norm_squared()
        });
        let direction =
            curvature.cholesky()?.solve(&DVector::from_iterator(free.len(), free.iter().map(|i| slope[*i])));
        let mut step = vec![0.0; variances.len()];
        free.iter().zip(direction.iter()).for_each(|(i, d)| step[*i] = *d);
        Some(step)
    }

    fn slope(&self, nested: &Nested, level: Level) -> f64 {
        let (group, count) = nested.groups(level);
        let mut sums = vec![0.0; count];
        group.iter().zip(self.projected.iter()).for_each(|(g, p)| sums[*g] += p);
        0.5 * (sums.iter().map(|s| s * s).sum::<f64>() - self.between(nested, level, level).trace())
    }

    /// Zᵢ'PZⱼ: the projection summed over the groups of two levels.
    fn between(&self, nested: &Nested, one: Level, other: Level) -> DMatrix<f64> {
        let ((rows, row_count), (columns, column_count)) = (nested.groups(one), nested.groups(other));
        let mut sums = DMatrix::zeros(row_count, column_count);
        for (i, r) in rows.iter().enumerate() {
            for (j, c) in columns.iter().enumerate() {
                sums[(*r, *c)] += self.projection[(i, j)];
            }
        }
        sums
    }
}
