//! Type A evaluation: statistics of observations (JCGM 100:2008, 4.2 and H.3).

use super::uncertain::{Contribution, Source, Uncertain};

/// A mean of observations with what it is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleMean {
    /// Arithmetic mean.
    pub mean: f64,
    /// Experimental standard deviation of one observation (divisor n − 1).
    pub standard_deviation: f64,
    /// Standard uncertainty of the mean.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of that uncertainty.
    pub degrees_of_freedom: f64,
    /// How many independent observations the sample is worth; its size when they are independent.
    pub effective_size: f64,
}

impl SampleMean {
    /// The mean with its one contribution.
    pub fn uncertain(&self, source: Source) -> Uncertain {
        let contribution = Contribution::type_a(source, self.standard_uncertainty, self.degrees_of_freedom);
        Uncertain::exact(self.mean).with(contribution)
    }
}

/// Mean and standard deviation of independent observations. `None` for fewer than two, or any that is not finite.
pub fn sample_mean(values: &[f64]) -> Option<SampleMean> {
    let n = values.len() as f64;
    if values.len() < 2 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let mean = mean_of(values);
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    // The sum of deviations is rounding error alone; taking it out costs nothing (Chan, Golub & LeVeque 1983).
    let stray: f64 = values.iter().map(|v| v - mean).sum();
    let standard_deviation = ((squares - stray * stray / n) / (n - 1.0)).max(0.0).sqrt();
    Some(SampleMean {
        mean,
        standard_deviation,
        standard_uncertainty: standard_deviation / n.sqrt(),
        degrees_of_freedom: n - 1.0,
        effective_size: n,
    })
}

/// Autocorrelation of a series with itself shifted by one, −1 to 1 (Box & Jenkins 1970). `None` for fewer than two
/// values, for a constant series, or any value that is not finite.
pub fn lag1_autocorrelation(series: &[f64]) -> Option<f64> {
    let mean = sample_mean(series)?.mean;
    let squares: f64 = series.iter().map(|v| (v - mean).powi(2)).sum();
    let products: f64 = series.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum();
    (squares > 0.0).then(|| products / squares)
}

/// Mean of a series whose neighbours are correlated, taken as a first-order autoregressive one: n observations are
/// worth n (1 − r) / (1 + r) (Bayley & Hammersley 1946), r the lag-1 autocorrelation corrected for its bias of
/// −(1 + 4r)/n (Kendall 1954), never taken below 0. `None` for fewer than three values or any that is not finite.
pub fn series_mean(series: &[f64]) -> Option<SampleMean> {
    let independent = sample_mean(series)?;
    let n = series.len() as f64;
    if series.len() < 3 {
        return None;
    }
    let r = lag1_autocorrelation(series).unwrap_or(0.0);
    let r = ((r * n + 1.0) / (n - 4.0).max(1.0)).clamp(0.0, (n - 2.0) / (n + 2.0));
    let effective_size = (n * (1.0 - r) / (1.0 + r)).max(2.0);
    Some(SampleMean {
        standard_uncertainty: independent.standard_deviation / effective_size.sqrt(),
        degrees_of_freedom: effective_size - 1.0,
        effective_size,
        ..independent
    })
}

/// Mean of a correlated series by averaging blocks of `block_length` successive values and taking the blocks as
/// independent (Flyvbjerg & Petersen 1989). Values beyond the last whole block are left out of the spread, not of the
/// mean. `None` for fewer than two whole blocks.
pub fn block_mean(series: &[f64], block_length: usize) -> Option<SampleMean> {
    let blocks: Vec<f64> = series.chunks_exact(block_length.max(1)).map(mean_of).collect();
    let (all, of_blocks) = (sample_mean(series)?, sample_mean(&blocks)?);
    Some(SampleMean {
        standard_uncertainty: of_blocks.standard_uncertainty,
        degrees_of_freedom: of_blocks.degrees_of_freedom,
        effective_size: of_blocks.effective_size,
        ..all
    })
}

/// A least-squares straight line y = intercept + slope · x through observations with equal, unknown scatter
/// (JCGM 100:2008, H.3).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// y at x = 0.
    pub intercept: f64,
    /// Change of y for one x.
    pub slope: f64,
    /// Standard uncertainty of the intercept.
    pub intercept_uncertainty: f64,
    /// Standard uncertainty of the slope.
    pub slope_uncertainty: f64,
    /// Covariance of intercept and slope.
    pub covariance: f64,
    /// Standard deviation of the residuals (divisor n − 2).
    pub residual_standard_deviation: f64,
    /// Degrees of freedom, n − 2.
    pub degrees_of_freedom: f64,
}

impl Line {
    /// Fits the line. `None` for fewer than three points, unequal lengths, all x alike, or any that is not finite.
    pub fn fit(x: &[f64], y: &[f64]) -> Option<Self> {
        let n = x.len() as f64;
        if x.len() != y.len() || x.len() < 3 || x.iter().chain(y).any(|v| !v.is_finite()) {
            return None;
        }
        let (x_mean, y_mean) = (mean_of(x), mean_of(y));
        let sxx: f64 = x.iter().map(|x| (x - x_mean).powi(2)).sum();
        let sxy: f64 = x.iter().zip(y).map(|(x, y)| (x - x_mean) * (y - y_mean)).sum();
        if sxx <= 0.0 {
            return None;
        }
        let slope = sxy / sxx;
        let squares: f64 = x.iter().zip(y).map(|(x, y)| (y - y_mean - slope * (x - x_mean)).powi(2)).sum();
        let variance = squares / (n - 2.0);
        Some(Self {
            intercept: y_mean - slope * x_mean,
            slope,
            intercept_uncertainty: (variance * (1.0 / n + x_mean * x_mean / sxx)).sqrt(),
            slope_uncertainty: (variance / sxx).sqrt(),
            covariance: -variance * x_mean / sxx,
            residual_standard_deviation: variance.sqrt(),
            degrees_of_freedom: n - 2.0,
        })
    }

    /// Correlation of intercept and slope, −1 to 1; `None` for a fit without scatter.
    pub fn correlation(&self) -> Option<f64> {
        let both = self.intercept_uncertainty * self.slope_uncertainty;
        (both > 0.0).then(|| self.covariance / both)
    }

    /// The line's value at `x`, with the uncertainty of the fit (not of a new observation there).
    pub fn at(&self, x: f64, source: Source) -> Uncertain {
        let variance =
            self.intercept_uncertainty.powi(2) + (x * self.slope_uncertainty).powi(2) + 2.0 * x * self.covariance;
        let contribution = Contribution::type_a(source, variance.max(0.0).sqrt(), self.degrees_of_freedom);
        Uncertain::exact(self.intercept + self.slope * x).with(contribution)
    }
}

/// Arithmetic mean, from the deviations from the first value so that a large common part costs no digits.
fn mean_of(values: &[f64]) -> f64 {
    match values.first() {
        Some(origin) => origin + values.iter().map(|v| v - origin).sum::<f64>() / values.len() as f64,
        None => 0.0,
    }
}
