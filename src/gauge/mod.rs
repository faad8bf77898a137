//! Gauge: from the counts over the fabric and the plane to stitches and rows per 10 cm, with everything that makes them
//! uncertain.

mod card_accuracy;
mod counted;
mod height;
mod same_swatch;
mod swatch;
mod wanted;

pub use counted::{Counted, CountedBetween, LaidCount};
pub use height::{HeightDifference, RulerOn, height_difference};
pub use same_swatch::{Combined, Disagreement, combine};
pub use swatch::{GaugeSettings, RandomPart, ScaleSource, SwatchGauge, swatch_gauge};
pub use wanted::{USUAL_TOLERANCE, Verdict, Wanted, WantedAnswer, WantedAxis, compare};
