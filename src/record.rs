//! What is kept of one measurement: the versioned record that JSON, reports and the log read, and beside it the evidence
//! that pictures are drawn from.
//!
//! The field names are a contract (`walewise.measurement/1`): fields may be added, never change meaning. Parts that are
//! absent are `None` here and null in JSON. Numbers are kept unrounded.

use crate::caution::Caution;
use crate::gauge::RulerOn;
use crate::lattice::{LatticeModel, LoopSeen, PhaseBlock, StitchPattern};
use crate::plane::RadialDistortion;
use crate::quantity::{Evaluation, Expanded, PairedBudgetLine, PhotoPoint, Shape};
use crate::refusal::{Refusal, RefusalCode, Rival};
use crate::ruler::{Graduation, RulerUnit};
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
        let wrong = refusal.code.message();
        let message = if refusal.seen.is_empty() { wrong.to_owned() } else { format!("{wrong}: {}", refusal.seen) };
        Self { code: refusal.code, message, advice: refusal.code.advice().to_owned(), rivals: refusal.rivals.clone() }
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

/// A stitch pattern and how it is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PatternNote {
    /// Name and repeat.
    #[serde(flatten)]
    pub pattern: StitchPattern,
    /// Who said so.
    pub source: PatternSource,
    /// Probability of a recognised pattern, 0 to 1; `None` when declared.
    pub confidence: Option<f64>,
}

/// How a stitch pattern is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PatternSource {
    /// The user said it.
    Declared,
    /// It was recognised in the photo.
    Recognised,
}

/// The gauge: both axes, of this swatch and of the next fabric knitted alike.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Gauge {
    /// Stitches in 10 cm along the row.
    pub stitches_per_10cm: Expanded,
    /// Rows in 10 cm along the wale.
    pub rows_per_10cm: Expanded,
    /// The same for another 10 × 10 cm knitted alike; `None` where the swatch shows too little of its own variation.
    pub next_fabric: Option<NextFabric>,
}

/// What another fabric knitted alike would give.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NextFabric {
    /// Stitches in 10 cm along the row.
    pub stitches_per_10cm: Expanded,
    /// Rows in 10 cm along the wale.
    pub rows_per_10cm: Expanded,
    /// How the fabric varies from place to place.
    pub variation: Variation,
}

/// Variation of the gauge within one fabric.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Variation {
    /// Standard deviation between places of 10 × 10 cm, in per cent, of stitches and of rows.
    pub between_places_percent: [f64; 2],
    /// Distance over which neighbouring places vary alike, in mm.
    pub correlation_mm: f64,
}

/// What gave the scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ScaleKind {
    /// A ruler's graduations.
    Ruler,
    /// The printed calibration card.
    Card,
    /// A card of the size ISO/IEC 7810 ID-1.
    Id1,
    /// A printed grid of known pitch.
    Grid,
    /// Two points and a length given by the user.
    Span,
    /// The outline of the whole swatch, with its counts.
    Outline,
}

/// How photo pixels became millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scale {
    /// What gave the scale.
    pub kind: ScaleKind,
    /// What the ruler counts in; `None` where there is no ruler.
    pub unit: Option<RulerUnit>,
    /// Scale at the middle of the measured region, in pixels per mm.
    pub px_per_mm: f64,
    /// Projective map from undistorted pixels to mm in the fabric's plane, row by row.
    pub photo_to_mm: [f64; 9],
    /// The lens term that belongs to it.
    pub distortion: Option<Distortion>,
    /// Graduations that went into the scale.
    pub graduations_read: usize,
    /// Length of ruler that was read, in mm.
    pub length_read_mm: f64,
    /// What the ruler was taken to lie on; `None` where it does not matter.
    pub ruler_on: Option<RulerOn>,
    /// By how much the scale was changed because ruler and fabric differ in height, in per cent.
    pub height_correction_percent: f64,
    /// Angle between the camera's axis and the fabric's normal, in degrees; `None` where it was not seen.
    pub tilt_deg: Option<f64>,
    /// Distance from the camera to the fabric, in mm; `None` where it is not known.
    pub camera_distance_mm: Option<f64>,
}

/// Radial lens distortion: distorted = centre + (undistorted − centre)·(1 + k1 r²), r in units of `radius_px`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Distortion {
    /// Centre of distortion, px from the left edge.
    pub centre_x_px: f64,
    /// Centre of distortion, px from the upper edge.
    pub centre_y_px: f64,
    /// Length of one unit of r, in pixels.
    pub radius_px: f64,
    /// First radial coefficient.
    pub k1: f64,
}

impl From<RadialDistortion> for Distortion {
    fn from(d: RadialDistortion) -> Self {
        Self { centre_x_px: d.centre.x, centre_y_px: d.centre.y, radius_px: d.radius_px, k1: d.k1 }
    }
}

/// The lattice of stitches and rows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LatticeNote {
    /// Direction in the photo in which the stitch number grows, in degrees (0 right, 90 down).
    pub stitch_axis_deg: f64,
    /// Direction in the photo in which the row number grows, in degrees.
    pub row_axis_deg: f64,
    /// Departure of the angle between row and wale, in the fabric, from a right angle, in degrees.
    pub skew_deg: f64,
    /// Whole extent of the measured region along the row, in stitches.
    pub stitches_counted: f64,
    /// Whole extent of the measured region along the wale, in rows.
    pub rows_counted: f64,
    /// Outline of the measured region in the photo.
    pub region_px: Vec<[f64; 2]>,
    /// The gauge from place to place. Neighbouring places share data: they are not replicates.
    pub local: Vec<LocalGauge>,
}

/// The gauge at one place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LocalGauge {
    /// Px from the photo's left edge.
    pub x_px: f64,
    /// Px from the photo's upper edge.
    pub y_px: f64,
    /// Stitches per 10 cm there.
    pub stitches_per_10cm: f64,
    /// Rows per 10 cm there.
    pub rows_per_10cm: f64,
}

/// The whole swatch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Swatch {
    /// Its outline in the photo.
    pub outline_px: Vec<[f64; 2]>,
    /// Its area, in mm²; `None` where part of it is hidden or outside the picture.
    pub area_mm2: Option<f64>,
}

/// One source of uncertainty: signed relative standard uncertainties. Over the whole budget their root sum of squares is
/// the relative standard uncertainty of the result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contribution {
    /// Name of the source.
    pub source: String,
    /// From statistics (A) or from other knowledge (B).
    #[serde(rename = "type")]
    pub evaluation: Evaluation,
    /// Names what is shared with other measurements, such as one ruler; `None` where nothing is.
    pub shared_id: Option<String>,
    /// Signed part in the stitches, in per cent.
    pub stitches_percent: f64,
    /// Signed part in the rows, in per cent.
    pub rows_percent: f64,
    /// Degrees of freedom; `None` when infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Distribution of the influence; `None` in records that do not tell.
    #[serde(default)]
    pub shape: Option<Shape>,
}

impl From<PairedBudgetLine> for Contribution {
    fn from(line: PairedBudgetLine) -> Self {
        Self {
            source: line.source.name.into_owned(),
            evaluation: line.evaluation,
            shared_id: line.source.shared_id,
            stitches_percent: line.stitches_percent,
            rows_percent: line.rows_percent,
            degrees_of_freedom: line.degrees_of_freedom.is_finite().then_some(line.degrees_of_freedom),
            shape: Some(line.shape),
        }
    }
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

/// What was seen in the photo, as far as the chain got: what pictures are drawn from. Not kept with the record.
#[derive(Debug, Clone, Default)]
pub struct Evidence {
    /// The ruler's graduations, one entry for each graduated edge.
    pub trains: Vec<TrainSeen>,
    /// Outline of the ruler's body as far as it was seen; may be empty.
    pub ruler_outline_px: Vec<PhotoPoint>,
    /// Outline of the measured region; may be empty.
    pub region_px: Vec<PhotoPoint>,
    /// The fitted lattice; whole numbers lie on the loops.
    pub lattice: Option<LatticeModel>,
    /// Weights of the logarithms of linear red, green and blue in whose sum the stitches show; `None`: luminance's.
    pub projection: Option<[f32; 3]>,
    /// Loops that were looked for or found; empty until somebody looks, since the gauge does not need them.
    pub loops: Vec<LoopSeen>,
    /// The blocks from which the lattice was fitted.
    pub blocks: Vec<PhaseBlock>,
}

/// The graduations seen along one edge of a ruler.
#[derive(Debug, Clone, PartialEq)]
pub struct TrainSeen {
    /// What the edge counts in.
    pub unit: RulerUnit,
    /// Spacing of neighbouring marks, in mm.
    pub pitch_mm: f64,
    /// Direction from the base line to the marks' free ends, a unit vector in photo pixels.
    pub mark_direction: (f64, f64),
    /// The marks.
    pub marks: Vec<GraduationSeen>,
}

/// One mark that was seen, and whether it fits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GraduationSeen {
    /// The mark, where it was detected.
    pub mark: Graduation,
    /// Whether it lies where the fit expects a mark, and so counted.
    pub matched: bool,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Source;

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
