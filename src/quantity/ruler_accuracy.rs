//! What a ruler's marks are worth: the limits of error of the accuracy classes of length measures.
//!
//! Directive 2014/32/EU, Annex X (MI-008), chapter I: maximum permissible error ±(a + b·L) mm between two marks that are
//! not neighbours, L in metres rounded up to the next whole metre; c is added where an end is a surface.

use super::type_b::Shape;
use super::uncertain::{Contribution, Source};
use serde::{Deserialize, Serialize};

/// Accuracy class of a length measure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum RulerClass {
    /// Steel rules of workshops.
    I,
    /// Common steel and plastic rulers.
    II,
    /// Wooden and folding rules, tapes of the better kind.
    III,
}

impl RulerClass {
    /// Limit of error, ± mm, for the distance `length_mm` between two marks that are not neighbours. Never below the
    /// limit for one metre.
    pub fn limit_mm(self, length_mm: f64) -> f64 {
        let (a, b, _) = self.coefficients();
        a + b * (length_mm / 1000.0).ceil().max(1.0)
    }

    /// The same where one end of the distance is the ruler's own end surface.
    pub fn limit_from_end_mm(self, length_mm: f64) -> f64 {
        self.limit_mm(length_mm) + self.coefficients().2
    }

    /// Limit of error, ± mm, for the distance of two neighbouring marks; `None` for a spacing above 1 cm, which the
    /// table does not cover.
    pub fn neighbour_limit_mm(self, spacing_mm: f64) -> Option<f64> {
        let up_to_1_mm = match self {
            Self::I => 0.1,
            Self::II => 0.2,
            Self::III => 0.3,
        };
        match spacing_mm {
            s if s <= 1.0 => Some(up_to_1_mm),
            s if s <= 10.0 => Some(2.0 * up_to_1_mm),
            _ => None,
        }
    }

    /// The scale error of a ruler of which `length_mm` was read, relative (to be used with
    /// [`super::Uncertain::with_relative`]): the limit over the length, rectangular.
    pub fn scale_contribution(self, source: Source, length_mm: f64) -> Contribution {
        Contribution::type_b(source, self.limit_mm(length_mm) / length_mm, Shape::Rectangular, 1.0)
    }

    fn coefficients(self) -> (f64, f64, f64) {
        match self {
            Self::I => (0.1, 0.1, 0.1),
            Self::II => (0.3, 0.2, 0.2),
            Self::III => (0.6, 0.4, 0.3),
        }
    }
}
