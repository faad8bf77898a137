//! Comparing swatches: differences and equivalence with intervals, what washing changed, and how the gauge follows the
//! needle. Pure arithmetic on values that know where their uncertainty comes from; words and pages are made elsewhere.
//!
//! Everything rests on one property of [`crate::quantity::Uncertain`]: a contribution that names a shared thing, such
//! as one ruler, is the same in every measurement made with it, so it drops out of differences and stays in means.

mod change;
mod count;
mod difference;
mod gauge;
mod needle_fit;
mod needle_sizes;
mod pairs;
mod weighted_line;

pub use change::{Change, change};
pub use count::HandCount;
pub use difference::{Comparison, Equivalence, Finding, compare};
pub use gauge::{BetweenFabrics, GaugeError, MeasuredGauge, StatedValue};
pub use needle_fit::{NeedleFit, NeedleFitError, NeedleSwatch, Prediction, SizeChoice, Wanted};
pub use needle_sizes::STANDARD_SIZES_MM;
pub use pairs::{Pair, SpeaksOf, Tolerance, pairs};
pub use weighted_line::WeightedLine;
