//! Type B evaluation: from limits, a data sheet or a stated distribution to a standard uncertainty (JCGM 100:2008, 4.3).

use serde::{Deserialize, Serialize};
use std::f64::consts::PI;

/// The distribution an uncertain influence is taken to have, always symmetric about its nominal value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// Normal.
    Normal,
    /// Equally probable within limits: only the limits are known.
    Rectangular,
    /// Within limits, the middle more probable: the sum of two equal rectangular influences.
    Triangular,
    /// Within limits, the ends more probable: a sine wave met at a random time.
    Arcsine,
    /// Student's t with the contribution's degrees of freedom, scaled by its standard uncertainty: a Type A evaluation.
    T,
}

impl Shape {
    /// Standard uncertainty for limits ± `half_width`: a/√3 rectangular, a/√6 triangular, a/√2 arcsine (JCGM 100:2008,
    /// 4.3.7, 4.3.9 and H.1.3.4). For a normal or t shape the half-width is read as limits that hold nearly all values,
    /// three standard uncertainties (4.3.6 remark).
    pub fn standard_uncertainty(self, half_width: f64) -> f64 {
        half_width.abs() / self.half_width_in_standard()
    }

    /// Limits of a bounded shape with the given standard uncertainty; `None` for shapes without limits.
    pub fn half_width(self, standard_uncertainty: f64) -> Option<f64> {
        self.is_bounded().then(|| standard_uncertainty.abs() * self.half_width_in_standard())
    }

    /// Whether the shape has hard limits.
    pub fn is_bounded(self) -> bool {
        !matches!(self, Self::Normal | Self::T)
    }

    fn half_width_in_standard(self) -> f64 {
        match self {
            Self::Normal | Self::T => 3.0,
            Self::Rectangular => 3f64.sqrt(),
            Self::Triangular => 6f64.sqrt(),
            Self::Arcsine => 2f64.sqrt(),
        }
    }

    /// Probability of a value below `fraction` of the half-width (−1 to 1), for bounded shapes; a rectangular one is
    /// assumed for shapes without limits, which callers keep apart.
    pub(super) fn bounded_cdf(self, fraction: f64) -> f64 {
        let z = fraction.clamp(-1.0, 1.0);
        match self {
            Self::Triangular if z < 0.0 => (1.0 + z).powi(2) / 2.0,
            Self::Triangular => 1.0 - (1.0 - z).powi(2) / 2.0,
            Self::Arcsine => 0.5 + z.asin() / PI,
            Self::Normal | Self::T | Self::Rectangular => (1.0 + z) / 2.0,
        }
    }
}
