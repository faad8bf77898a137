//! Gauge: from the counts over the fabric and the plane to stitches and rows per 10 cm, with everything that makes them
//! uncertain.

mod card_accuracy;
mod height;
mod swatch;

pub use height::{HeightDifference, RulerOn, height_difference};
pub use swatch::{GaugeSettings, RandomPart, ScaleSource, SwatchGauge, swatch_gauge};
