//! Gauge: from the counts over the fabric and the plane to stitches and rows per 10 cm, with everything that makes them
//! uncertain.

mod height;
mod swatch;

pub use height::{HeightDifference, HeightFacts, Relief, RulerMake, RulerOn, height_difference};
pub use swatch::{GaugeSettings, RandomPart, ScaleSource, SwatchGauge, swatch_gauge};
