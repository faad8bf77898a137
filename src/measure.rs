//! The measuring chain: photo bytes, what the user says, and a progress callback → what was measured, or why not.

use crate::gauge::RulerOn;
use crate::lattice::StitchPattern;
use crate::photo::Photo;
use crate::quantity::{PhotoPoint, RulerClass};
use crate::record::{Evidence, PhotoFacts, Record};
use crate::refusal::{Refusal, RefusalCode};
use crate::ruler::RulerUnit;
use sha2::{Digest, Sha256};
use std::ops::ControlFlow;

/// What the user says about the photo; anything may be missing.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Setup {
    /// What was knitted; `None` lets the pattern be recognised.
    pub stitch: Option<StitchPattern>,
    /// What the ruler counts in; `None` lets it be read.
    pub ruler_unit: Option<RulerUnit>,
    /// Pitch of a printed grid that is to give the scale, in mm.
    pub grid_mm: Option<f64>,
    /// Two points and a length that are to give the scale.
    pub span: Option<Span>,
    /// Direction of the row in the photo, in degrees (0 right, 90 down), either way along it.
    pub row_direction_deg: Option<f64>,
    /// Part of the photo to look at: left, top, width, height, in pixels.
    pub region: Option<[f64; 4]>,
    /// How accurate the ruler is.
    pub ruler_class: Option<RulerClass>,
    /// Name of the ruler, so that measurements with the same ruler are known to share its error.
    pub ruler_id: Option<String>,
    /// Thickness of the ruler, in mm.
    pub ruler_thickness_mm: Option<f64>,
    /// What the ruler lies on.
    pub ruler_on: Option<RulerOn>,
    /// Stitches and rows per 10 cm the user expects: settles rivals only.
    pub expected: Option<(f64, f64)>,
}

/// Two points in the photo and the distance between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// One end, in photo pixels.
    pub a: PhotoPoint,
    /// The other end, in photo pixels.
    pub b: PhotoPoint,
    /// Distance between them, in mm.
    pub length_mm: f64,
}

/// The stages of the chain, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Bytes → upright picture.
    Decode,
    /// Looking for the ruler and reading its graduations.
    Ruler,
    /// From the graduations to the fabric's plane.
    Plane,
    /// Looking for what is knitted.
    Fabric,
    /// Following the lattice of stitches and rows.
    Lattice,
    /// Gauge and budget.
    Gauge,
}

impl Stage {
    /// What happens in this stage, in plain words.
    pub fn label(self) -> &'static str {
        match self {
            Self::Decode => "opening the photo",
            Self::Ruler => "reading the ruler",
            Self::Plane => "working out the scale",
            Self::Fabric => "finding the knitting",
            Self::Lattice => "counting stitches and rows",
            Self::Gauge => "working out the gauge",
        }
    }
}

/// What came of one photo.
#[derive(Debug)]
pub struct Outcome {
    /// What is kept.
    pub record: Record,
    /// What was seen; `None` when the photo could not be read.
    pub evidence: Option<Evidence>,
    /// The picture itself; `None` when it could not be read.
    pub photo: Option<Photo>,
}

/// Measures one photo. `progress` is called as each stage begins and may stop the work: the record then has status
/// `failed` with error code `stopped`.
pub fn measure(bytes: &[u8], _setup: &Setup, progress: &mut dyn FnMut(Stage) -> ControlFlow<()>) -> Outcome {
    let sha256 = Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect();
    let mut facts = PhotoFacts { sha256: Some(sha256), ..PhotoFacts::default() };
    if progress(Stage::Decode).is_break() {
        return Outcome { record: Record::failed(facts, "stopped", "stopped on request"), evidence: None, photo: None };
    }
    let rgb = match image::load_from_memory(bytes) {
        Ok(picture) => picture.into_rgb8(),
        Err(e) => {
            let record = Record::unreadable(facts, "not_a_photo", format!("this is not a photo that can be read: {e}"));
            return Outcome { record, evidence: None, photo: None };
        }
    };
    (facts.width_px, facts.height_px) = (Some(rgb.width()), Some(rgb.height()));
    let _ = progress(Stage::Ruler);
    let record = Record::refused(facts, &Refusal::new(RefusalCode::NoScale, ""));
    Outcome { record, evidence: Some(Evidence::default()), photo: Some(Photo { rgb, focal_length_35mm: None }) }
}
