//! Robust fits along a row of graduations: mark index → position, and smooth curves.

use nalgebra::{DMatrix, DVector};

/// Turning point of Tukey's biweight, in robust standard deviations: 95 % efficiency on normal errors
/// (Beaton & Tukey 1974).
const BIWEIGHT: f64 = 4.685;
/// Rounds of re-weighting; the fits below change by less than 1e-4 of their residual after ten.
const ROUNDS: usize = 12;

/// Position along a line against mark index: u(i) = (a + b x + q x³) / (1 + c x), x = (i − centre) / half.
///
/// The projective part is what a pinhole camera makes of even marks; the cubic takes up radial distortion along the
/// line (Brown 1966: its first term is cubic in the distance from the line's foot).
#[derive(Debug, Clone, Copy)]
pub(super) struct IndexFit {
    centre: f64,
    half: f64,
    coefficients: [f64; 4],
    /// Robust standard deviation of the residuals of the marks kept, in the unit of the positions.
    pub rms: f64,
}

impl IndexFit {
    /// Fewest marks for which the cubic term is fitted; below, it follows noise.
    const CUBIC_FROM: usize = 16;
    /// Fewest marks for which the projective term is fitted.
    const PROJECTIVE_FROM: usize = 6;

    /// Fits marks given as (index, position). `None` with fewer than three or when the fit degenerates.
    pub fn new(marks: &[(f64, f64)]) -> Option<Self> {
        let (lo, hi) = marks.iter().fold((f64::MAX, f64::MIN), |(l, h), m| (l.min(m.0), h.max(m.0)));
        if marks.len() < 3 || hi <= lo {
            return None;
        }
        let (centre, half) = ((lo + hi) / 2.0, (hi - lo) / 2.0);
        let terms = match marks.len() {
            n if n >= Self::CUBIC_FROM => 4,
            n if n >= Self::PROJECTIVE_FROM => 3,
            _ => 2,
        };
        let mut fit = Self { centre, half, coefficients: [0.0; 4], rms: f64::INFINITY };
        let mut weights = vec![1.0; marks.len()];
        for _ in 0..ROUNDS {
            fit.coefficients = fit.solve(marks, &weights, terms)?;
            let residuals: Vec<f64> = marks.iter().map(|m| m.1 - fit.at(m.0)).collect();
            let spread = robust_sigma(&residuals).max(1e-9);
            for (w, r) in weights.iter_mut().zip(&residuals) {
                *w = biweight(r / spread);
            }
            fit.rms = spread;
        }
        fit.coefficients.iter().all(|c| c.is_finite()).then_some(fit)
    }

    /// Linearised least squares: u (1 + c x) = a + b x + q x³, each equation divided by the last 1 + c x.
    fn solve(&self, marks: &[(f64, f64)], weights: &[f64], terms: usize) -> Option<[f64; 4]> {
        let mut a = DMatrix::zeros(marks.len(), terms);
        let mut y = DVector::zeros(marks.len());
        for (row, (m, w)) in marks.iter().zip(weights).enumerate() {
            let x = (m.0 - self.centre) / self.half;
            let scale = w.sqrt() / (1.0 + self.coefficients[2] * x).max(0.1);
            let basis = [1.0, x, -m.1 * x, x * x * x];
            for t in 0..terms {
                a[(row, t)] = basis[t] * scale;
            }
            y[row] = m.1 * scale;
        }
        let solution = least_squares(&a, &y)?;
        Some(std::array::from_fn(|t| if t < terms { solution[t] } else { 0.0 }))
    }

    /// Position of a mark.
    pub fn at(&self, index: f64) -> f64 {
        let x = (index - self.centre) / self.half;
        let [a, b, c, q] = self.coefficients;
        (a + b * x + q * x * x * x) / (1.0 + c * x).max(0.05)
    }

    /// Local step from one mark to the next.
    pub fn step(&self, index: f64) -> f64 {
        self.at(index + 0.5) - self.at(index - 0.5)
    }
}

/// A robust polynomial y(x) of a given degree.
#[derive(Debug, Clone)]
pub(super) struct Curve {
    centre: f64,
    half: f64,
    coefficients: Vec<f64>,
    /// Robust standard deviation of the residuals.
    pub rms: f64,
}

impl Curve {
    /// Fits points (x, y); the degree is lowered when there are fewer than four points per coefficient.
    pub fn new(points: &[(f64, f64)], degree: usize) -> Option<Self> {
        let (lo, hi) = points.iter().fold((f64::MAX, f64::MIN), |(l, h), p| (l.min(p.0), h.max(p.0)));
        if points.is_empty() {
            return None;
        }
        let degree = degree.min((points.len() / 4).max(1)).min(points.len() - 1);
        let (centre, half) = ((lo + hi) / 2.0, ((hi - lo) / 2.0).max(1e-9));
        let mut curve = Self { centre, half, coefficients: vec![0.0; degree + 1], rms: f64::INFINITY };
        let mut weights = vec![1.0; points.len()];
        for _ in 0..ROUNDS {
            let a = DMatrix::from_fn(points.len(), degree + 1, |r, c| {
                ((points[r].0 - centre) / half).powi(c as i32) * f64::sqrt(weights[r])
            });
            let y = DVector::from_fn(points.len(), |r, _| points[r].1 * f64::sqrt(weights[r]));
            curve.coefficients = least_squares(&a, &y)?.iter().copied().collect();
            let residuals: Vec<f64> = points.iter().map(|p| p.1 - curve.at(p.0)).collect();
            curve.rms = robust_sigma(&residuals).max(1e-9);
            for (w, r) in weights.iter_mut().zip(&residuals) {
                *w = biweight(r / curve.rms);
            }
        }
        curve.coefficients.iter().all(|c| c.is_finite()).then_some(curve)
    }

    /// The curve's value.
    pub fn at(&self, x: f64) -> f64 {
        let x = (x - self.centre) / self.half;
        self.coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
    }

    /// The curve's slope.
    pub fn slope(&self, x: f64) -> f64 {
        (self.at(x + self.half * 1e-3) - self.at(x - self.half * 1e-3)) / (self.half * 2e-3)
    }
}

fn least_squares(a: &DMatrix<f64>, y: &DVector<f64>) -> Option<DVector<f64>> {
    let normal = a.transpose() * a;
    let right = a.transpose() * y;
    let ridge = 1e-12 * normal.diagonal().max();
    (normal + DMatrix::identity(a.ncols(), a.ncols()) * ridge).cholesky().map(|c| c.solve(&right))
}

fn biweight(r: f64) -> f64 {
    let t = r / BIWEIGHT;
    if t.abs() >= 1.0 { 0.0 } else { (1.0 - t * t).powi(2) }
}

/// Median absolute deviation from zero, scaled to the standard deviation of normal errors (factor 1.4826).
pub(super) fn robust_sigma(residuals: &[f64]) -> f64 {
    1.4826 * quantile(residuals.iter().map(|r| r.abs()), 0.5).unwrap_or(0.0)
}

/// Quantile by sorting; `None` of nothing.
pub(super) fn quantile(values: impl IntoIterator<Item = f64>, q: f64) -> Option<f64> {
    let mut v: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
    v.sort_by(f64::total_cmp);
    v.get(((v.len().max(1) - 1) as f64 * q).round() as usize).copied()
}
