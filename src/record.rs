//! What is kept of one measurement: the versioned record that JSON, reports and the log read, and beside it the evidence
//! that pictures are drawn from.
//!
//! The field names are a contract (`walewise.measurement/1`): fields may be added, never change meaning. Parts that are
//! absent are `None` here and null in JSON. Numbers are kept unrounded.

mod evidence;
mod gauge;
mod lattice;
mod scale;
mod swatch;

pub use evidence::{Evidence, GraduationSeen, TrainSeen};
pub use gauge::{Contribution, Gauge, NextFabric, PatternNote, PatternSource, Variation};
pub use lattice::{DecisionNote, LatticeNote, LocalGauge, SpectralLine};
pub use scale::{Distortion, Scale, ScaleKind};
pub use swatch::{CountedNote, CountedOver, PhotoPart, Size, Swatch};

use crate::caution::Caution;
use crate::gauge::WantedAnswer;
use crate::refusal::{Refusal, RefusalCode, Rival};
use serde::{Deserialize, Serialize};

/// Name and version of the record's format.
pub const SCHEMA: &str = "walewise.measurement/1";

/// How the measuring of one photo ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// A gauge with its uncertainty was found: `gauge` is there.
    Measured,
    /// The photo can't give an honest number: `refusal` is there.
    Refused,
    /// The file can't be read as a photo: `error` is there.
    Unreadable,
    /// Something else went wrong: `error` is there.
    Failed,
}

/// Everything kept of one measurement.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// Always [`SCHEMA`] in records written by this version.
    pub schema: String,
    /// Version of the program that measured.
    pub version: String,
    /// Which photo.
    pub photo: PhotoFacts,
    /// How it ended.
    pub status: Status,
    /// Why not, when refused.
    pub refusal: Option<RefusalNote>,
    /// What went wrong, when unreadable or failed.
    pub error: Option<ErrorNote>,
    /// The pattern that was knitted, declared or recognised.
    pub stitch_pattern: Option<PatternNote>,
    /// The result.
    pub gauge: Option<Gauge>,
    /// How photo pixels became millimetres.
    pub scale: Option<Scale>,
    /// The lattice of stitches and rows as it was followed over the fabric.
    pub lattice: Option<LatticeNote>,
    /// The whole swatch, where its outline was seen.
    pub swatch: Option<Swatch>,
    /// What a person counted, where the gauge stands on that; `None` where the stitches were counted in the photo.
    #[serde(default)]
    pub counted: Option<CountedNote>,
    /// How the gauge compares with the one that is wanted; `None` where none was named.
    #[serde(default)]
    pub wanted: Option<WantedAnswer>,
    /// Every photo of the swatch with its own figures, where several make one record. `photo`, `scale`, `lattice` and
    /// `swatch` are then those of the first one that was measured.
    #[serde(default)]
    pub photos: Option<Vec<PhotoPart>>,
    /// What the uncertainty is made of, largest first.
    pub budget: Vec<Contribution>,
    /// Warnings that go with the number.
    pub cautions: Vec<Caution>,
    /// Time taken; the caller's clock fills it in.
    pub elapsed_ms: Option<Elapsed>,
}

/// The photo a record speaks of.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PhotoFacts {
    /// File name as the caller gave it; characters that are not Unicode are replaced.
    pub file: String,
    /// SHA-256 of the file's bytes, in lower-case hexadecimal; `None` where the bytes could not be had.
    pub sha256: Option<String>,
    /// Width of the upright picture, in pixels.
    pub width_px: Option<u32>,
    /// Height of the upright picture, in pixels.
    pub height_px: Option<u32>,
    /// Focal length as EXIF states it for 35 mm film, in mm.
    pub focal_length_35mm: Option<f64>,
}

/// A refusal in words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RefusalNote {
    /// Which refusal.
    pub code: RefusalCode,
    /// What is wrong, and what was seen.
    pub message: String,
    /// What to do.
    pub advice: String,
    /// The readings that remain, best first.
    pub rivals: Vec<Rival>,
}

impl From<&Refusal> for RefusalNote {
    fn from(refusal: &Refusal) -> Self {
        let wrong = refusal.message();
        let message = if refusal.seen.is_empty() { wrong.to_owned() } else { format!("{wrong}: {}", refusal.seen) };
        Self { code: refusal.code, message, advice: refusal.advice().to_owned(), rivals: refusal.rivals.clone() }
    }
}

/// An error in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ErrorNote {
    /// Short name of the kind of error, such as `not_a_photo`.
    pub code: String,
    /// What went wrong, in words.
    pub message: String,
}

/// Time taken, in ms.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Elapsed {
    /// From bytes to the upright picture.
    pub decode: f64,
    /// From bytes to the answer.
    pub total: f64,
}

impl Record {
    /// A record of this version with the parts every outcome has; the others are absent.
    pub fn new(status: Status, photo: PhotoFacts) -> Self {
        Self {
            schema: SCHEMA.to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            photo,
            status,
            refusal: None,
            error: None,
            stitch_pattern: None,
            gauge: None,
            scale: None,
            lattice: None,
            swatch: None,
            counted: None,
            wanted: None,
            photos: None,
            budget: Vec::new(),
            cautions: Vec::new(),
            elapsed_ms: None,
        }
    }

    /// The record of a photo that was refused.
    pub fn refused(photo: PhotoFacts, refusal: &Refusal) -> Self {
        Self { refusal: Some(refusal.into()), ..Self::new(Status::Refused, photo) }
    }

    /// The record of a file that can't be read as a photo.
    pub fn unreadable(photo: PhotoFacts, code: &str, message: impl Into<String>) -> Self {
        let error = ErrorNote { code: code.to_owned(), message: message.into() };
        Self { error: Some(error), ..Self::new(Status::Unreadable, photo) }
    }

    /// The record of a photo on which something went wrong that is not the photo's fault.
    pub fn failed(photo: PhotoFacts, code: &str, message: impl Into<String>) -> Self {
        Self { status: Status::Failed, ..Self::unreadable(photo, code, message) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lattice::StitchPattern;
    use crate::quantity::{Evaluation, PairedBudgetLine, Shape, Source};
    use crate::refusal::RefusalCode;

    #[test]
    fn a_record_survives_json_and_absent_parts_are_null() {
        let photo = PhotoFacts { file: "a.jpg".to_owned(), ..PhotoFacts::default() };
        let record = Record::refused(photo, &Refusal::new(RefusalCode::NoScale, "12 even marks, none longer"));
        let json = serde_json::to_value(&record).unwrap();
        assert_eq!(json["schema"], "walewise.measurement/1");
        assert_eq!(json["status"], "refused");
        assert_eq!(json["refusal"]["code"], "no_scale");
        for absent in ["error", "gauge", "scale", "lattice", "swatch", "stitch_pattern"] {
            assert!(json.get(absent).is_some_and(serde_json::Value::is_null), "{absent}");
        }
        assert_eq!(serde_json::from_value::<Record>(json).unwrap(), record);
    }

    #[test]
    fn pattern_and_contribution_have_the_names_of_the_contract() {
        let note = PatternNote {
            pattern: StitchPattern::named("garter").unwrap(),
            source: PatternSource::Declared,
            confidence: None,
        };
        let json = serde_json::to_value(note).unwrap();
        assert_eq!(
            json,
            serde_json::json!({"name": "garter", "repeat_stitches": 1, "repeat_rows": 2, "source": "declared", "confidence": null})
        );
        let part = Contribution::from(PairedBudgetLine {
            source: Source::shared("accuracy of the ruler", "steel 30".to_owned()),
            evaluation: Evaluation::B,
            stitches_percent: 0.1,
            rows_percent: -0.1,
            degrees_of_freedom: f64::INFINITY,
            shape: Shape::Rectangular,
        });
        let json = serde_json::to_value(part).unwrap();
        assert_eq!(
            json,
            serde_json::json!({"source": "accuracy of the ruler", "type": "B", "shared_id": "steel 30", "stitches_percent": 0.1, "rows_percent": -0.1, "degrees_of_freedom": null, "shape": "rectangular"})
        );
    }
}
