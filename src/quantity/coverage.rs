//! From a standard uncertainty to an interval with a stated probability.

use super::Uncertain;
use super::uncertain::{Contribution, effective_degrees_of_freedom};
use serde::{Deserialize, Serialize};
use statrs::distribution::{Beta, ContinuousCDF, Normal};

/// A coverage probability, strictly between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Confidence(f64);

impl Confidence {
    /// 90 %, the interval beside an equivalence test.
    pub const P90: Self = Self(0.90);
    /// 95 %, the interval that is shown unless another is asked for.
    pub const P95: Self = Self(0.95);
    /// 99 %.
    pub const P99: Self = Self(0.99);

    /// The probability as a fraction; `None` unless strictly between 0 and 1.
    pub fn new(fraction: f64) -> Option<Self> {
        (fraction > 0.0 && fraction < 1.0).then_some(Self(fraction))
    }

    /// The probability as a fraction.
    pub fn fraction(self) -> f64 {
        self.0
    }
}

impl From<Confidence> for f64 {
    fn from(confidence: Confidence) -> Self {
        confidence.0
    }
}

impl TryFrom<f64> for Confidence {
    type Error = &'static str;
    fn try_from(fraction: f64) -> Result<Self, Self::Error> {
        Self::new(fraction).ok_or("a confidence lies strictly between 0 and 1")
    }
}

/// A value with its symmetric coverage interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Expanded {
    /// The nominal value, the middle of the interval.
    pub value: f64,
    /// Combined standard uncertainty, in the value's unit.
    pub standard_uncertainty: f64,
    /// Half-width of the interval, in the value's unit: coverage factor × standard uncertainty.
    pub expanded_uncertainty: f64,
    /// Half-width over standard uncertainty.
    pub coverage_factor: f64,
    /// Effective degrees of freedom; infinite (null in JSON) when nothing limits them.
    #[serde(with = "super::degrees_of_freedom")]
    pub degrees_of_freedom: f64,
    /// Probability that the interval holds the true value.
    pub confidence: Confidence,
}

impl Expanded {
    /// Lower and upper end of the interval.
    pub fn interval(&self) -> (f64, f64) {
        (self.value - self.expanded_uncertainty, self.value + self.expanded_uncertainty)
    }

    /// Half-width relative to the value's size (0.01 = 1 %); `None` for a value of zero.
    pub fn relative(&self) -> Option<f64> {
        (self.value != 0.0).then(|| self.expanded_uncertainty / self.value.abs())
    }
}

/// Below this sum of squared variance shares the bounded contributions leave the coverage factor alone. The excess
/// kurtosis of a sum is Σ share² × the kurtosis of each part, −1.2 for a rectangular and −1.5 for an arcsine one; by the
/// expansion of Cornish and Fisher (1938) the 95 % point moves by (z³ − 3z)/24 of that: at 0.01 by 0.001.
const BOUNDED_SHARE_LIMIT: f64 = 0.01;

/// Cell of the numerical convolution, in standard uncertainties of the sum. The coverage factor is then good to
/// half of it: 0.002 (checked against shapes whose quantiles are elementary).
const CELL: f64 = 0.004;

/// Steps of the coverage factor between none and the widest possible: from at most 40 to 4e-5, finer than the convolution
/// warrants and coarse enough that the last bits of a sum don't show.
const STEPS: f64 = 1_048_576.0;

/// At most this many of the largest bounded contributions are convolved; the rest are near normal in sum.
const CONVOLVED_LIMIT: usize = 8;

impl Uncertain {
    /// The interval about the value that holds the true one with the given probability.
    ///
    /// Without a bounded contribution of weight the factor is Student's t for the effective degrees of freedom (not
    /// truncated to an integer; JCGM 100:2008, G.4.1). Where rectangular, triangular or arcsine contributions whose
    /// limits are known (infinite degrees of freedom) make up so much that the sum of their squared variance shares
    /// exceeds 0.01, the distributions themselves are convolved numerically (the propagation of JCGM 101:2008, exact
    /// for a linear model, instead of its Monte Carlo): there 1.96 would over-cover. The rest is then one scaled t
    /// with its own effective degrees of freedom.
    pub fn expanded(&self, confidence: Confidence) -> Expanded {
        self.distribution().expanded(confidence)
    }

    /// The distribution behind [`Self::expanded`] and [`Self::probability_below`], for several questions: where shapes
    /// have to be convolved, that is done once.
    pub fn distribution(&self) -> Distribution {
        Distribution {
            value: self.value,
            standard_uncertainty: self.standard_uncertainty(),
            degrees_of_freedom: self.effective_degrees_of_freedom(),
            convolution: Convolution::of(self),
        }
    }

    /// Probability that the true value is at most `limit`, under the same distribution as [`Self::expanded`]: 0 to 1.
    /// Without uncertainty it is 0 or 1.
    pub fn probability_below(&self, limit: f64) -> f64 {
        self.distribution().probability_below(limit)
    }

    /// Probability that the true value lies from `low` to `high`, both included: 0 to 1.
    pub fn probability_between(&self, low: f64, high: f64) -> f64 {
        self.distribution().probability_between(low, high)
    }
}

/// The distribution of an uncertain value: see [`Uncertain::expanded`].
pub struct Distribution {
    value: f64,
    standard_uncertainty: f64,
    degrees_of_freedom: f64,
    convolution: Option<Convolution>,
}

impl Distribution {
    /// See [`Uncertain::expanded`].
    pub fn expanded(&self, confidence: Confidence) -> Expanded {
        let coverage_factor = match &self.convolution {
            Some(sum) => sum.half_width(confidence),
            None => t_coverage_factor(self.degrees_of_freedom, confidence),
        };
        Expanded {
            value: self.value,
            standard_uncertainty: self.standard_uncertainty,
            expanded_uncertainty: coverage_factor * self.standard_uncertainty,
            coverage_factor,
            degrees_of_freedom: self.degrees_of_freedom,
            confidence,
        }
    }

    /// See [`Uncertain::probability_below`].
    pub fn probability_below(&self, limit: f64) -> f64 {
        if self.standard_uncertainty <= 0.0 {
            return if self.value <= limit { 1.0 } else { 0.0 };
        }
        let away = (limit - self.value) / self.standard_uncertainty;
        match &self.convolution {
            Some(sum) => sum.below(away),
            None => t_cdf(away, self.degrees_of_freedom),
        }
    }

    /// See [`Uncertain::probability_between`].
    pub fn probability_between(&self, low: f64, high: f64) -> f64 {
        if self.standard_uncertainty <= 0.0 {
            return if (low..=high).contains(&self.value) { 1.0 } else { 0.0 };
        }
        (self.probability_below(high) - self.probability_below(low)).clamp(0.0, 1.0)
    }
}

/// Half-width of the normal law's 95 % interval in standard deviations: its 97.5 % quantile (any table of it; checked
/// against [`t_coverage_factor`]).
pub const NORMAL_95: f64 = 1.959_963_984_540_054;

/// Two-sided coverage factor of Student's t; the normal one for infinite degrees of freedom. Degrees of freedom below
/// one are taken as one.
pub fn t_coverage_factor(degrees_of_freedom: f64, confidence: Confidence) -> f64 {
    let outside = 1.0 - confidence.fraction();
    // t² / (t² + ν) is a beta variable: its quantile is stable where a search on the t distribution itself is not.
    let nu = degrees_of_freedom.max(1.0);
    match Beta::new(nu / 2.0, 0.5) {
        Ok(beta) if nu < NEARLY_NORMAL => {
            let x = beta.inverse_cdf(outside);
            (nu * (1.0 - x) / x).sqrt()
        }
        _ => Normal::standard().inverse_cdf(1.0 - outside / 2.0),
    }
}

/// From here on t is taken as normal: its 95 % point is then off by (z³ + z) / 4ν = 2.4e-6.
const NEARLY_NORMAL: f64 = 1e6;

/// A sum of bounded contributions, as masses on a grid, and one scaled t (or normal) for the rest; in units of the sum's
/// standard uncertainty.
struct Convolution {
    /// Masses of the bounded part on cells symmetric about zero.
    masses: Vec<f64>,
    rest_standard: f64,
    rest_degrees_of_freedom: f64,
}

impl Convolution {
    /// `None` where the bounded contributions do not matter to the coverage factor.
    fn of(sum: &Uncertain) -> Option<Self> {
        let total = sum.standard_uncertainty();
        let known_limits = |c: &Contribution| c.shape.is_bounded() && c.degrees_of_freedom.is_infinite();
        let share = |c: &Contribution| (c.standard / total).powi(2);
        let weight: f64 = sum.contributions.iter().filter(|c| known_limits(c)).map(|c| share(c).powi(2)).sum();
        if total <= 0.0 || weight <= BOUNDED_SHARE_LIMIT {
            return None;
        }
        let (mut bounded, mut rest): (Vec<_>, Vec<_>) = sum.contributions.iter().partition(|c| known_limits(c));
        bounded.sort_by(|a, b| b.standard.abs().total_cmp(&a.standard.abs()));
        rest.extend(bounded.drain(CONVOLVED_LIMIT.min(bounded.len())..));
        let masses = bounded.iter().fold(vec![1.0], |masses, c| convolved(&masses, &cells(c, total)));
        let rest_variance: f64 = rest.iter().map(|c| share(c)).sum();
        Some(Self {
            masses,
            // A rest narrower than the cell would leave steps; half a cell adds 0.0004 % to the variance.
            rest_standard: rest_variance.sqrt().max(CELL / 2.0),
            rest_degrees_of_freedom: effective_degrees_of_freedom(rest.into_iter()),
        })
    }

    /// Half-width of the symmetric interval, to the middle of one of [`STEPS`].
    fn half_width(&self, confidence: Confidence) -> f64 {
        let reach = self.masses.len() as f64 * CELL / 2.0;
        let widest = reach + self.rest_standard * t_coverage_factor(self.rest_degrees_of_freedom, confidence) * 2.0;
        let step = widest / STEPS;
        ((self.root(confidence, widest) / step).floor() + 0.5) * step
    }

    /// Where the probability within ± a half-width is the wanted one, between 0 and `widest`: by secants, halving where
    /// one leaves what is left of the interval. They go over the normal quantile of the probability, which for a sum of
    /// many parts is nearly straight: four or five looks find it, where halving alone takes twenty.
    fn root(&self, confidence: Confidence, widest: f64) -> f64 {
        /// Shortest step, of the whole interval; and most steps, should rounding keep one from getting there.
        const NEAR: f64 = 1e-10;
        const MOST: usize = 60;
        let normal = Normal::standard();
        let quantile = |inside: f64| normal.inverse_cdf((1.0 + inside.clamp(0.0, 1.0)) / 2.0);
        let wanted = quantile(confidence.fraction());
        let (mut low, mut high) = (0.0, widest);
        let (mut before, mut off_before) = (0.0, -wanted);
        let mut x = wanted.min(widest / 2.0);
        for _ in 0..MOST {
            let off = quantile(self.inside(x)) - wanted;
            if off < 0.0 {
                low = x
            } else {
                high = x
            }
            let secant = x - off * (x - before) / (off - off_before);
            let inner = secant.is_finite() && secant > low && secant < high;
            let next = if inner { secant } else { (low + high) / 2.0 };
            (before, off_before) = (x, off);
            if (next - x).abs() <= NEAR * widest {
                return next;
            }
            x = next;
        }
        x
    }

    /// Probability of a value within ± `half_width`; both parts are symmetric about zero, so the two tails are alike.
    fn inside(&self, half_width: f64) -> f64 {
        1.0 - 2.0 * self.below(-half_width)
    }

    /// Probability of a value of at most `limit`.
    fn below(&self, limit: f64) -> f64 {
        let middle = (self.masses.len() as f64 - 1.0) / 2.0;
        let part = |(i, mass): (usize, &f64)| {
            let rest = limit - (i as f64 - middle) * CELL;
            mass * t_cdf(rest / self.rest_standard, self.rest_degrees_of_freedom)
        };
        self.masses.iter().enumerate().map(part).sum::<f64>().clamp(0.0, 1.0)
    }
}

/// Masses of one bounded contribution on cells of the grid, an odd number of them, centred on zero.
fn cells(contribution: &Contribution, total: f64) -> Vec<f64> {
    let half_width = contribution.shape.half_width(contribution.standard).unwrap_or(0.0) / total;
    let side = (half_width / CELL + 0.5).floor() as i64;
    let below =
        |edge: f64| contribution.shape.bounded_cdf(if half_width > 0.0 { edge * CELL / half_width } else { edge });
    (-side..=side).map(|i| below(i as f64 + 0.5) - below(i as f64 - 0.5)).collect()
}

fn convolved(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; a.len() + b.len() - 1];
    for (i, x) in a.iter().enumerate() {
        for (slot, y) in out[i..].iter_mut().zip(b) {
            *slot += x * y;
        }
    }
    out
}

/// Distribution function of Student's t, normal for many degrees of freedom.
fn t_cdf(x: f64, degrees_of_freedom: f64) -> f64 {
    let nu = degrees_of_freedom.max(1.0);
    match Beta::new(nu / 2.0, 0.5) {
        Ok(beta) if nu < NEARLY_NORMAL => {
            let tail = beta.cdf(nu / (nu + x * x)) / 2.0;
            if x > 0.0 { 1.0 - tail } else { tail }
        }
        _ => Normal::standard().cdf(x),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Shape, Source};

    /// The same by halving, the plain way.
    fn by_halving(sum: &Convolution, confidence: Confidence) -> f64 {
        let reach = sum.masses.len() as f64 * CELL / 2.0;
        let rest = sum.rest_standard * t_coverage_factor(sum.rest_degrees_of_freedom, confidence) * 2.0;
        let (mut low, mut high) = (0.0, reach + rest);
        for _ in 0..20 {
            let middle = (low + high) / 2.0;
            if sum.inside(middle) < confidence.fraction() { low = middle } else { high = middle }
        }
        (low + high) / 2.0
    }

    #[test]
    fn secants_find_what_halving_finds() {
        let limits = |half, shape| Contribution::type_b(Source::named(format!("{half} {shape:?}")), half, shape, 1.0);
        for (rectangular, triangular, arcsine, normal, degrees) in [
            (1.0, 0.0, 0.0, 0.0, 1.0),
            (1.0, 0.0, 0.0, 0.2, 3.0),
            (1.0, 1.0, 0.5, 0.4, f64::INFINITY),
            (1.0, 0.3, 1.0, 1.0, 1.0),
            (0.2, 0.0, 2.0, 0.01, 2.5),
            (0.5, 2.0, 0.0, 0.5, 12.0),
        ] {
            let sum = Uncertain::exact(0.0)
                .with(limits(rectangular, Shape::Rectangular))
                .with(limits(triangular, Shape::Triangular))
                .with(limits(arcsine, Shape::Arcsine))
                .with(Contribution::type_a(Source::named("scatter"), normal, degrees));
            let sum = Convolution::of(&sum).expect("shapes that matter");
            for confidence in [Confidence::P90, Confidence::P95, Confidence::P99] {
                let (found, halved) = (sum.half_width(confidence), by_halving(&sum, confidence));
                assert!((found - halved).abs() < 1e-9 * halved, "{rectangular} {normal}: {found} {halved}");
            }
        }
    }
}
