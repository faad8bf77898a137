//! Weighted non-linear least squares with priors, and which input moved which parameter by how much.

use nalgebra::{DMatrix, DVector};

/// Largest number of Levenberg–Marquardt steps; a good start needs five to ten, a long valley (tilt against focal length)
/// a hundred.
const MAX_STEPS: usize = 200;

/// Share of the cost that a step must gain for another to follow: of a cost of hundreds less than a ten-thousandth, which moves no
/// parameter by a hundredth of its standard uncertainty.
const SETTLED: f64 = 1e-7;

/// Residuals of a model, each divided by its standard uncertainty and labelled with the input it comes from.
pub trait Model {
    /// Names an input whose effect on the parameters is wanted.
    type Input: Copy + PartialEq;

    /// Normalised residuals at the given parameters; `None` where the model has no value there. The same length and
    /// order at every call.
    fn residuals(&self, parameters: &[f64]) -> Option<Vec<f64>>;

    /// The input of each residual, in the same order.
    fn inputs(&self) -> Vec<Self::Input>;

    /// Step for the numerical derivative, one a parameter.
    fn steps(&self) -> Vec<f64>;
}

/// Parameters at the minimum, and how each independent unit of input moves them.
#[derive(Debug, Clone)]
pub struct Fit<I> {
    /// Parameters at the minimum.
    pub parameters: Vec<f64>,
    /// Normalised residuals there.
    pub residuals: Vec<f64>,
    /// Column j: the change of all parameters when residual j's input moves by one standard uncertainty.
    gain: DMatrix<f64>,
    inputs: Vec<I>,
}

impl<I: Copy + PartialEq> Fit<I> {
    /// Covariance of the first `n` parameters that comes from one input alone.
    ///
    /// The sum over all inputs is the inverse of the normal matrix (Gauss–Markov), so this splits it exactly.
    pub fn covariance_from(&self, input: I, n: usize) -> DMatrix<f64> {
        let mut sum = DMatrix::zeros(n, n);
        for (j, own) in self.inputs.iter().enumerate() {
            if *own == input {
                let column = self.gain.column(j).rows(0, n).into_owned();
                sum += &column * column.transpose();
            }
        }
        sum
    }

    /// Normalised residuals of one input, in the model's order.
    pub fn residuals_of(&self, input: I) -> impl Iterator<Item = f64> {
        self.residuals.iter().zip(&self.inputs).filter(move |(_, own)| **own == input).map(|(r, _)| *r)
    }
}

/// Minimises the sum of squared residuals from a start (Levenberg 1944, Marquardt 1963). `None` where the model has no
/// value at the start or the normal matrix is singular.
pub fn minimise<M: Model>(model: &M, start: &[f64]) -> Option<Fit<M::Input>> {
    let steps = model.steps();
    let mut parameters = start.to_vec();
    let mut residuals = model.residuals(&parameters)?;
    let mut cost = sum_of_squares(&residuals);
    let mut damping = 1e-3;
    for _ in 0..MAX_STEPS {
        let jacobian = jacobian(model, &parameters, &steps)?;
        let normal = jacobian.transpose() * &jacobian;
        let slope = jacobian.transpose() * DVector::from_column_slice(&residuals);
        let mut improved = false;
        while damping < 1e8 {
            let mut damped = normal.clone();
            for i in 0..damped.nrows() {
                damped[(i, i)] += damping * normal[(i, i)].max(1e-12);
            }
            let Some(step) = damped.cholesky().map(|c| c.solve(&slope)) else {
                damping *= 10.0;
                continue;
            };
            let trial: Vec<f64> = parameters.iter().zip(step.iter()).map(|(p, s)| p - s).collect();
            if let Some(new) = model.residuals(&trial).filter(|r| sum_of_squares(r) <= cost) {
                let gained = cost - sum_of_squares(&new);
                (parameters, residuals) = (trial, new);
                cost -= gained;
                damping = (damping / 10.0).max(1e-12);
                improved = gained > SETTLED * (1.0 + cost);
                break;
            }
            damping *= 10.0;
        }
        if !improved {
            break;
        }
    }
    let jacobian = jacobian(model, &parameters, &steps)?;
    let normal = jacobian.transpose() * &jacobian;
    let gain = normal.cholesky()?.solve(&jacobian.transpose());
    gain.iter().all(|v| v.is_finite()).then(|| Fit { parameters, residuals, gain, inputs: model.inputs() })
}

fn sum_of_squares(residuals: &[f64]) -> f64 {
    residuals.iter().map(|r| r * r).sum()
}

/// Central differences, one column a parameter.
fn jacobian<M: Model>(model: &M, parameters: &[f64], steps: &[f64]) -> Option<DMatrix<f64>> {
    let rows = model.inputs().len();
    let mut out = DMatrix::zeros(rows, parameters.len());
    let mut moved = parameters.to_vec();
    for (j, step) in steps.iter().enumerate() {
        moved[j] = parameters[j] + step;
        let up = model.residuals(&moved)?;
        moved[j] = parameters[j] - step;
        let down = model.residuals(&moved)?;
        moved[j] = parameters[j];
        for (i, (a, b)) in up.iter().zip(&down).enumerate() {
            out[(i, j)] = (a - b) / (2.0 * step);
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// GUM H.3 (references E4): straight line b = intercept + slope (t − 20), as a least-squares fit with the printed
    /// residual standard deviation.
    struct Line;
    const T: [f64; 11] = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    const B: [f64; 11] = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    impl Model for Line {
        type Input = ();
        fn residuals(&self, p: &[f64]) -> Option<Vec<f64>> {
            Some(T.iter().zip(B).map(|(t, b)| (p[0] + p[1] * (t - 20.0) - b) / 0.0034976).collect())
        }
        fn inputs(&self) -> Vec<()> {
            vec![(); 11]
        }
        fn steps(&self) -> Vec<f64> {
            vec![1e-3, 1e-3]
        }
    }

    #[test]
    fn gum_h3_line() {
        let fit = minimise(&Line, &[0.0, 0.0]).unwrap();
        assert!((fit.parameters[0] + 0.171204).abs() < 1e-6);
        assert!((fit.parameters[1] - 0.00218270).abs() < 1e-8);
        let covariance = fit.covariance_from((), 2);
        assert!((covariance[(0, 0)].sqrt() - 0.002878).abs() < 2e-6);
        assert!((covariance[(1, 1)].sqrt() - 0.00066794).abs() < 2e-7);
        assert!((covariance[(0, 1)] / (covariance[(0, 0)] * covariance[(1, 1)]).sqrt() + 0.9304).abs() < 1e-4);
    }
}
