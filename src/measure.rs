//! THE CHAIN, as a table of contents: photo bytes, what the user says, and a progress callback → what was measured, or
//! why not.

mod alike;
mod compose;
mod counted_stage;
mod doubts;
mod fabric_stage;
mod other_swatches;
mod parts;
mod recognise_stage;
mod rivals;
mod ruler_gap;
mod same_swatch;
mod scale_stage;
mod single_loops;
mod under_ruler;
mod what_was_said;
mod why_no_scale;

pub use same_swatch::{OnePhoto, one_record};
pub use single_loops::look_for_loops;

use crate::fabric;
use crate::gauge::{Counted, GaugeSettings, Relief, RulerOn, Wanted};
use crate::lattice::StitchPattern;
use crate::photo::{self, Photo};
use crate::plane::{CameraPrior, LensProfile, Span};
use crate::quantity::{PhotoPoint, RulerClass, Uncertain};
use crate::record::{Evidence, PhotoFacts, Record};
use crate::refusal::{Refusal, RefusalCode};
use crate::ruler::RulerUnit;
use crate::side_by_side::both;
use fabric_stage::{Followed, View};
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
    /// Whether the printed calibration card is to give the scale.
    pub card: bool,
    /// The card's check length as the user measured it, in mm; `None` where nobody did.
    pub card_length_mm: Option<f64>,
    /// Whether a card of the size ISO/IEC 7810 ID-1 is to give the scale; it is blanked in every picture.
    pub id1: bool,
    /// The lens as it was measured.
    pub lens: Option<LensProfile>,
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
    /// What the user counted, where the photo is to give the lengths alone.
    pub counted: Option<Counted>,
    /// The gauge the user wants to reach.
    pub wanted: Option<Wanted>,
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
    /// Stitches and rows per 10 cm with every contribution to their uncertainty; `None` unless measured.
    pub gauge: Option<[Uncertain; 2]>,
}

/// Why a chain ended before its last stage.
enum Ended {
    Refused(Refusal),
    /// What the user pointed at is not in the photo.
    Outside(String),
    /// The lens profile is of another camera.
    OtherLens(String),
    /// What the user said does not go together in this photo.
    Contradiction(String),
    Stopped,
}

impl From<Refusal> for Ended {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

/// Called as each stage begins; may stop the work.
type Progress<'a> = &'a mut dyn FnMut(Stage) -> ControlFlow<()>;

fn begin(stage: Stage, progress: Progress) -> Result<(), Ended> {
    if progress(stage).is_break() { Err(Ended::Stopped) } else { Ok(()) }
}

/// Error code of a record whose photo does not hold the place the user pointed at.
pub const OUTSIDE_PHOTO: &str = "outside_photo";

/// Error code of a record whose photo was taken with another camera or lens than the profile says.
pub const LENS_MISMATCH: &str = "lens_mismatch";

/// Error code of a record whose settings contradict what the photo shows.
pub const CONTRADICTION: &str = "contradiction";

/// Measures one photo. `progress` is called as each stage begins and may stop the work: the record then has status
/// `failed` with error code `stopped`. Where the typed region or span lies outside the photo, the code is
/// [`OUTSIDE_PHOTO`]; where the lens profile is of another camera, [`LENS_MISMATCH`].
pub fn measure(bytes: &[u8], setup: &Setup, progress: &mut dyn FnMut(Stage) -> ControlFlow<()>) -> Outcome {
    let named = |sha256: String| PhotoFacts { sha256: Some(sha256), ..PhotoFacts::default() };
    if progress(Stage::Decode).is_break() {
        let facts = named(photo::sha256_hex(bytes));
        return Outcome { record: stopped(facts), evidence: None, photo: None, gauge: None };
    }
    let photo = match photo::decode(bytes) {
        Ok(photo) => photo,
        Err(error) => {
            let record = Record::unreadable(named(photo::sha256_hex(bytes)), error.code(), error.to_string());
            return Outcome { record, evidence: None, photo: None, gauge: None };
        }
    };
    let mut facts = named(photo.sha256.clone());
    (facts.width_px, facts.height_px) = (Some(photo.width()), Some(photo.height()));
    facts.focal_length_35mm = photo.focal_length_35mm;
    let mut evidence = Evidence::default();
    // Until the card is found, anything in the picture may be its face.
    let whole = scale_stage::rectangle([0.0, 0.0, f64::from(photo.width()), f64::from(photo.height())]);
    if setup.id1 {
        evidence.blanked_px.clone_from(&whole);
    }
    let result = check_places(&photo, setup).and_then(|()| match &setup.counted {
        Some(counted) => counted_stage::chain(&photo, setup, counted, progress, &mut evidence)
            .map(|f| (counted_stage::record(facts.clone(), setup, &f), f.values())),
        None => chain(&photo, setup, progress, &mut evidence)
            .map(|f| (compose::record(facts.clone(), setup, &f), f.values())),
    });
    let mut gauge = None;
    let record = match result {
        Ok((record, values)) => {
            gauge = Some(values);
            record
        }
        Err(Ended::Refused(refusal)) => {
            if setup.id1 && refusal.code == RefusalCode::NoScale {
                evidence.blanked_px = whole;
            }
            Record::refused(facts, &too_few_pixels(&photo, &refusal).unwrap_or(refusal))
        }
        Err(Ended::Outside(what)) => Record::failed(facts, OUTSIDE_PHOTO, what),
        Err(Ended::OtherLens(what)) => Record::failed(facts, LENS_MISMATCH, what),
        Err(Ended::Contradiction(what)) => Record::failed(facts, CONTRADICTION, what),
        Err(Ended::Stopped) => stopped(facts),
    };
    Outcome { record, evidence: Some(evidence), photo: Some(photo), gauge }
}

fn stopped(facts: PhotoFacts) -> Record {
    Record::failed(facts, "stopped", "stopped on request")
}

/// The stages one after the other; what each saw goes into `evidence` at once, so that a refusal can be drawn too.
fn chain(
    photo: &Photo,
    setup: &Setup,
    progress: Progress,
    evidence: &mut Evidence,
) -> Result<compose::Finished, Ended> {
    let region = setup.region.map(scale_stage::rectangle);
    let prior = camera(photo, setup)?;

    begin(Stage::Ruler, progress)?;
    // Neither waits for the other; that it is a photo of a screen is what counts then.
    let (screen, scale) = both(|| fabric::moire(photo), || scale_stage::read(photo, setup));
    if let Some(refusal) = screen {
        return Err(refusal.into());
    }
    let scale = scale.map_err(|refusal| why_no_scale::better_reason(photo, setup, refusal))?;
    scale.show(evidence);

    begin(Stage::Plane, progress)?;
    let first = scale_stage::plane(&scale, &prior, &[])?;

    begin(Stage::Fabric, progress)?;
    let excluded = scale.excluded();
    let ruler_direction_deg = scale.direction_deg(&first.map);
    let view = View::new(photo, &first.map, &excluded, region.as_deref(), ruler_direction_deg);
    let search = view.search().map_err(|refusal| scale_stage::oblique_or(&first, refusal))?;

    begin(Stage::Lattice, progress)?;
    let followed = match view.follow_as_said(&search.seeds, setup) {
        Ok(followed) => followed,
        // A wrong name stays wrong from nearer.
        Err(refusal) if refusal.code == RefusalCode::PatternUnclear => {
            return Err(scale_stage::oblique_or(&first, refusal).into());
        }
        Err(refusal) => {
            view.follow_closely(&search.seeds, setup).ok_or_else(|| scale_stage::oblique_or(&first, refusal))?
        }
    };

    begin(Stage::Gauge, progress)?;
    // Whether it is the only swatch is a question of its own: the gauge of this one does not wait for the answer.
    let (parts, finished) = both(
        || other_swatches::parts_beyond(&view, &search, setup, &followed),
        || last_stage(photo, setup, scale, prior, followed.clone()),
    );
    let parts = parts?;
    fabric_stage::show(&followed.reading, evidence);
    let mut finished = finished?;
    finished.reach_beyond(&parts)?;
    finished.show(evidence);
    Ok(finished)
}

/// Gauge, budget, and the outline of the whole swatch.
fn last_stage(
    photo: &Photo,
    setup: &Setup,
    scale: scale_stage::Scale,
    prior: CameraPrior,
    Followed { decision, reading, covered, .. }: Followed,
) -> Result<compose::Finished, Refusal> {
    let plane = scale_stage::plane(&scale, &prior, &scale.supported_by(&reading))?;
    scale_stage::check_tilt(&plane)?;
    if let Some(refusal) = fabric::fabric_blown_out(photo, &reading.region_px, scale.outline()) {
        return Err(refusal);
    }
    let look = alike::FabricLook::of(photo, &reading);
    let settings = gauge_settings(photo, setup, &scale, look.as_ref(), Relief::of(&decision.pattern));
    let outlined = setup.region.map(scale_stage::rectangle);
    let seen = |look: &alike::FabricLook| look.covered(&reading.region_px, scale.outline(), outlined.as_deref());
    let covered = look.as_ref().map(|look| covered.unwrap_or_else(|| seen(look)));
    alike::check_share(covered.map(|covered| covered.share), decision.stands_on.places.agree)?;
    alike::check_not_a_frame(look.as_ref().map(|look| look.share_within(&reading.region_px, scale.outline())))?;
    let mut finished = compose::finish(scale, prior, decision, reading, plane, settings, covered)?;
    finished.check_loops(photo)?;
    finished.look_for_outline(photo);
    Ok(finished)
}

/// What the gauge needs to know of the ruler and of the fabric's relief, told or seen.
fn gauge_settings(
    photo: &Photo,
    setup: &Setup,
    scale: &scale_stage::Scale,
    look: Option<&alike::FabricLook>,
    relief: Relief,
) -> GaugeSettings {
    GaugeSettings {
        ruler_class: setup.ruler_class,
        ruler_id: setup.ruler_id.clone(),
        ruler_thickness_mm: setup.ruler_thickness_mm,
        ruler_on: setup.ruler_on.or_else(|| under_ruler::ruler_lies_on(photo, look?, scale.outline())),
        ruler_make: scale.make(),
        relief,
    }
}

/// What is known of the camera, with the lens profile where there is one.
fn camera(photo: &Photo, setup: &Setup) -> Result<CameraPrior, Ended> {
    let prior = CameraPrior::of(photo);
    let Some(lens) = &setup.lens else { return Ok(prior) };
    lens.check_photo(photo.width(), photo.height(), photo.focal_length_35mm).map_err(|e| Ended::OtherLens(e.0))?;
    Ok(prior.with_lens(lens))
}

/// A region must share at least a pixel with the photo, both ends of a span must lie in it.
fn check_places(photo: &Photo, setup: &Setup) -> Result<(), Ended> {
    let (width, height) = (f64::from(photo.width()), f64::from(photo.height()));
    let outside = |what: &str| {
        Ended::Outside(format!("the {what} lies outside the photo, which is {width:.0} x {height:.0} pixels"))
    };
    let region_seen = setup.region.is_none_or(|[x, y, w, h]| {
        let shared = |from: f64, size: f64, end: f64| (from + size).min(end) - from.max(0.0);
        shared(x, w, width) >= 1.0 && shared(y, h, height) >= 1.0
    });
    let in_photo = |p: PhotoPoint| (0.0..=width).contains(&p.x) && (0.0..=height).contains(&p.y);
    match setup.span {
        _ if !region_seen => Err(outside("region")),
        Some(span) if !(in_photo(span.from) && in_photo(span.to)) => Err(outside("span")),
        _ if setup.counted.is_some_and(|c| !c.between.points().into_iter().all(in_photo)) => Err(outside("span")),
        _ => Ok(()),
    }
}

/// In a picture of few pixels nothing is found because of that: the better reason to give.
fn too_few_pixels(photo: &Photo, refusal: &Refusal) -> Option<Refusal> {
    use RefusalCode::{Glare, NoScale, NotKnit, OutOfFocus, TooFewStitches};
    let nothing_found = matches!(refusal.code, NoScale | NotKnit | TooFewStitches | OutOfFocus | Glare);
    (nothing_found && photo.is_too_small()).then(|| {
        let seen = format!("the picture is only {} x {} pixels large", photo.width(), photo.height());
        Refusal::new(RefusalCode::TooSmall, seen)
    })
}
