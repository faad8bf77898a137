//! What a request names and whoever calls hands over: measurements out of files, swatches out of a log.

use crate::compare::MeasuredGauge;
use crate::quantity::{Contribution, Source, Uncertain};
use crate::record::Record;
use crate::sizing::TriedNeedles;

/// What stands behind a gauge that is not typed.
#[derive(Debug, Clone, PartialEq)]
pub enum Provided {
    /// The record of a measurement file.
    Record(Box<Record>),
    /// A swatch of a log.
    Swatch(Box<LoggedSwatch>),
}

impl From<Record> for Provided {
    fn from(record: Record) -> Self {
        Self::Record(Box::new(record))
    }
}

impl From<LoggedSwatch> for Provided {
    fn from(swatch: LoggedSwatch) -> Self {
        Self::Swatch(Box::new(swatch))
    }
}

/// A swatch of a log: its gauge, and what the log knows of it.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedSwatch {
    /// Its gauge, with the sources of its uncertainty.
    pub gauge: MeasuredGauge,
    /// Which swatch it is, in words.
    pub words: String,
    /// What was knitted; empty where the log does not say.
    pub stitch: String,
    /// Whether it was knitted in the round.
    pub round: Option<bool>,
    /// Whether it was washed and dried when it was measured.
    pub washed: Option<bool>,
    /// Whether it was measured stretched.
    pub stretched: bool,
    /// What its measurement warns of, in words.
    pub cautions: Vec<String>,
    /// Area of the whole swatch, where its photo showed it.
    pub area_mm2: Option<Uncertain>,
    /// Swatches of the same yarn and stitch pattern on other needles; `None` where they are too few for a fit.
    pub needles: Option<TriedNeedles>,
}

/// Area of the whole swatch in mm², where its measurement saw it. Its scale is the gauge's own, so in stitches it is surer
/// than this: taken as independent it makes the yarn's interval rather too wide.
pub fn swatch_area_mm2(record: &Record) -> Option<Uncertain> {
    let swatch = record.swatch.as_ref()?;
    let (area, standard) = swatch.area_mm2.zip(swatch.area_standard_uncertainty_mm2)?;
    Some(Uncertain::exact(area).with(Contribution::stated(Source::named("area of the whole swatch"), standard)))
}

/// What a measurement warns of, in words.
pub fn warnings(record: &Record) -> Vec<String> {
    record.cautions.iter().map(|caution| caution.message.clone()).collect()
}
