//! A straight line through points of unequal certainty.

/// A weighted least-squares line y = a + b x, the weights 1/u² (JCGM 100:2008, H.3, generalised to unequal u; Bevington
/// & Robinson, *Data reduction and error analysis*, ch. 6). Kept about the weighted mean of x, where height and slope
/// of the line are uncorrelated.
#[derive(Debug, Clone, PartialEq)]
pub struct WeightedLine {
    /// Weighted mean of x.
    pub middle: f64,
    /// y there.
    pub height: f64,
    /// Change of y for one x.
    pub slope: f64,
    /// Variance of the height if the u are right.
    pub height_variance: f64,
    /// Variance of the slope if the u are right.
    pub slope_variance: f64,
    /// Sum of squared residuals in units of u.
    pub chi_squared: f64,
    /// Points − 2.
    pub degrees_of_freedom: f64,
    /// Weight of each point as a share of all.
    shares: Vec<f64>,
    /// x of each point, from the middle.
    offsets: Vec<f64>,
}

impl WeightedLine {
    /// Fits the line to points (x, y, u). `None` for fewer than three, all x alike, a u that is not positive, or any
    /// number that is not finite.
    pub fn fit(points: &[(f64, f64, f64)]) -> Option<Self> {
        let sound = |&(x, y, u): &(f64, f64, f64)| x.is_finite() && y.is_finite() && u > 0.0 && u.is_finite();
        if points.len() < 3 || !points.iter().all(sound) {
            return None;
        }
        let weights: Vec<f64> = points.iter().map(|(_, _, u)| 1.0 / (u * u)).collect();
        let total: f64 = weights.iter().sum();
        let shares: Vec<f64> = weights.iter().map(|w| w / total).collect();
        let mean = |of: fn(&(f64, f64, f64)) -> f64| {
            let origin = of(&points[0]);
            origin + points.iter().zip(&shares).map(|(p, s)| s * (of(p) - origin)).sum::<f64>()
        };
        let (middle, height) = (mean(|p| p.0), mean(|p| p.1));
        let offsets: Vec<f64> = points.iter().map(|p| p.0 - middle).collect();
        let spread: f64 = offsets.iter().zip(&weights).map(|(o, w)| w * o * o).sum();
        if spread <= 0.0 || !spread.is_finite() {
            return None;
        }
        let moment = points.iter().zip(&offsets).zip(&weights).map(|((p, o), w)| w * o * (p.1 - height)).sum::<f64>();
        let slope = moment / spread;
        let residual = |(p, o): (&(f64, f64, f64), &f64)| ((p.1 - height - slope * o) / p.2).powi(2);
        Some(Self {
            middle,
            height,
            slope,
            height_variance: 1.0 / total,
            slope_variance: 1.0 / spread,
            chi_squared: points.iter().zip(&offsets).map(residual).sum(),
            degrees_of_freedom: points.len() as f64 - 2.0,
            shares,
            offsets,
        })
    }

    /// y of the line at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.height + self.slope * (x - self.middle)
    }

    /// Variance of the line at `x` if the u are right.
    pub fn variance_at(&self, x: f64) -> f64 {
        self.height_variance + (x - self.middle).powi(2) * self.slope_variance
    }

    /// How much the line at `x` follows each point's y: the sensitivities, in the order of the points.
    pub fn sensitivities_at(&self, x: f64) -> Vec<f64> {
        let slope_part = (x - self.middle) * self.slope_variance / self.height_variance;
        self.shares.iter().zip(&self.offsets).map(|(share, offset)| share * (1.0 + slope_part * offset)).collect()
    }

    /// By what factor the points scatter more than their u say: √(χ² / degrees of freedom), Birge (1932).
    pub fn scatter_ratio(&self) -> f64 {
        (self.chi_squared / self.degrees_of_freedom).sqrt()
    }
}
