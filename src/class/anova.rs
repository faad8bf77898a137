//! One-way analysis of variance, and what ISO 5725 makes of it: repeatability and reproducibility.

use serde::Serialize;

/// The sums of squares of values in groups.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OneWay {
    /// Values in all.
    pub values: usize,
    /// Groups that hold any.
    pub groups: usize,
    /// Mean of all values.
    pub mean: f64,
    /// Sum of squares of the groups' means about the mean, each as often as the group has values.
    pub between_squares: f64,
    /// Sum of squares of the values about their group's mean.
    pub within_squares: f64,
    /// Size of a group for the between-groups component: (N − Σnᵢ²/N)/(k − 1); all groups' size when they are equal.
    pub group_size: f64,
}

impl OneWay {
    /// The sums; `None` for fewer than two groups, no group with two values, or a value that is not finite. All sums are
    /// of differences from the first value, so that a large common part costs no digits.
    pub fn of(groups: &[Vec<f64>]) -> Option<Self> {
        let groups: Vec<&Vec<f64>> = groups.iter().filter(|g| !g.is_empty()).collect();
        let values: usize = groups.iter().map(|g| g.len()).sum();
        let finite = groups.iter().all(|g| g.iter().all(|v| v.is_finite()));
        if groups.len() < 2 || values <= groups.len() || !finite {
            return None;
        }
        let origin = groups[0][0];
        let means: Vec<f64> = groups.iter().map(|g| mean_about(origin, g)).collect();
        let n = values as f64;
        let mean = groups.iter().zip(&means).map(|(g, m)| g.len() as f64 * m).sum::<f64>() / n;
        let squares = |of: &mut dyn Iterator<Item = f64>| of.map(|d| d * d).sum::<f64>();
        let within_squares =
            groups.iter().zip(&means).map(|(g, m)| squares(&mut g.iter().map(|v| (v - origin) - m))).sum();
        let between_squares = groups.iter().zip(&means).map(|(g, m)| g.len() as f64 * (m - mean).powi(2)).sum();
        let squared_sizes: f64 = groups.iter().map(|g| (g.len() as f64).powi(2)).sum();
        Some(Self {
            values,
            groups: groups.len(),
            mean: origin + mean,
            between_squares,
            within_squares,
            group_size: (n - squared_sizes / n) / (groups.len() as f64 - 1.0),
        })
    }

    /// Degrees of freedom between groups.
    pub fn between_freedom(&self) -> f64 {
        self.groups as f64 - 1.0
    }

    /// Degrees of freedom within groups.
    pub fn within_freedom(&self) -> f64 {
        (self.values - self.groups) as f64
    }

    /// Mean square between groups.
    pub fn between_mean_square(&self) -> f64 {
        self.between_squares / self.between_freedom()
    }

    /// Mean square within groups: the variance of one value in its group.
    pub fn within_mean_square(&self) -> f64 {
        self.within_squares / self.within_freedom()
    }

    /// Ratio of the mean squares; infinite where the values of every group are alike.
    pub fn f(&self) -> f64 {
        self.between_mean_square() / self.within_mean_square()
    }

    /// Share of all squares that lies between groups, 0 to 1.
    pub fn r_squared(&self) -> f64 {
        self.between_squares / (self.between_squares + self.within_squares)
    }

    /// The between-groups component of variance, (MS between − MS within)/n₀ (Searle, Casella & McCulloch 1992, 3.6); may
    /// be negative.
    pub fn between_component(&self) -> f64 {
        (self.between_mean_square() - self.within_mean_square()) / self.group_size
    }
}

/// Mean of the values' differences from `origin`, with the rounding of the sum taken out once more.
fn mean_about(origin: f64, values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let first = values.iter().map(|v| v - origin).sum::<f64>() / n;
    first + values.iter().map(|v| (v - origin) - first).sum::<f64>() / n
}

/// Precision of a measurement (ISO 5725-2): standard deviations of one measurement.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Precision {
    /// Repeatability: again at once, everything alike.
    pub repeatability: f64,
    /// Degrees of freedom of the repeatability.
    pub freedom: f64,
    /// Reproducibility: again under other conditions (another ruler); never below the repeatability. `None` where nothing
    /// was measured under several.
    pub reproducibility: Option<f64>,
}

/// Repeatability and reproducibility, pooled over materials (here: swatches); each holds its values by condition (here: by
/// ruler). Negative between-condition components count as zero, so s_R ≥ s_r. `None` where no material was measured twice
/// under one condition.
pub fn precision(materials: &[Vec<Vec<f64>>]) -> Option<Precision> {
    let within = |g: &Vec<f64>| {
        let m = g.first().map_or(0.0, |first| first + mean_about(*first, g));
        (g.iter().map(|v| (v - m).powi(2)).sum::<f64>(), g.len().saturating_sub(1) as f64)
    };
    let (squares, freedom) =
        materials.iter().flatten().map(within).fold((0.0, 0.0), |(s, f), (ds, df)| (s + ds, f + df));
    if freedom < 1.0 || !squares.is_finite() {
        return None;
    }
    let repeatability_variance = squares / freedom;
    let analysed: Vec<OneWay> = materials.iter().filter_map(|m| OneWay::of(m)).collect();
    let between_freedom: f64 = analysed.iter().map(OneWay::between_freedom).sum();
    let reproducibility = (between_freedom > 0.0).then(|| {
        let mean_square = analysed.iter().map(|a| a.between_squares).sum::<f64>() / between_freedom;
        let size = analysed.iter().map(|a| a.group_size * a.between_freedom()).sum::<f64>() / between_freedom;
        let between = ((mean_square - repeatability_variance) / size).max(0.0);
        (repeatability_variance + between).sqrt()
    });
    Some(Precision { repeatability: repeatability_variance.sqrt(), freedom, reproducibility })
}
