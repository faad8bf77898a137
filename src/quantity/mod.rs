//! Quantities: points in their frames, and values that carry their uncertainty.
//!
//! The method is that of the *Guide to the expression of uncertainty in measurement* (JCGM 100:2008, the "GUM"), with
//! propagation of distributions (JCGM 101:2008) where the sum of the contributions is far from normal.

mod budget;
mod coverage;
mod degrees_of_freedom;
mod inches;
mod monte_carlo;
mod points;
mod rounding;
mod ruler_accuracy;
mod type_a;
mod type_b;
mod uncertain;

pub use budget::{Budget, BudgetLine, PairedBudgetLine, paired_budget};
pub use coverage::{Confidence, Distribution, Expanded, NORMAL_95, t_coverage_factor};
pub use inches::{FOUR_INCHES_PER_10CM, INCH_MM};
pub use monte_carlo::{MonteCarlo, propagate_distributions};
pub use points::{PhotoPoint, PlanePoint};
pub use rounding::{decimals_for, plus_minus, plus_minus_two_digits};
pub use ruler_accuracy::RulerClass;
pub use type_a::{Line, SampleMean, block_mean, lag1_autocorrelation, sample_mean, series_mean};
pub use type_b::Shape;
pub use uncertain::{Contribution, Evaluation, Source, Uncertain};
