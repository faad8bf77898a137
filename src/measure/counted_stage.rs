//! Instead of counting in the photo: a person's count, and the length the photo shows for it.

use super::alike::FabricLook;
use super::compose;
use super::scale_stage::{self, Scale};
use super::{Ended, Progress, Setup, Stage, begin, fabric_stage};
use crate::caution::{Caution, CautionCode};
use crate::fabric::{self, NoOutline, SwatchHints, SwatchOutline};
use crate::gauge::{Counted, CountedBetween, LaidCount, Relief, SwatchGauge};
use crate::lattice::LatticeReading;
use crate::photo::Photo;
use crate::plane::{PlaneEstimate, PlaneMap};
use crate::quantity::{PhotoPoint, PlanePoint, Uncertain};
use crate::record::{self, CountedNote, CountedOver, Evidence, PatternNote, PatternSource, PhotoFacts, Record, Status};
use crate::refusal::{Refusal, RefusalCode, Rival};
use fabric_stage::View;

/// Rows ÷ stitches of hand knitting: relaxed stockinette, and over all patterns (common practice, no source).
const STOCKINETTE_RATIO: (f64, f64) = (1.0, 1.6);
const ANY_RATIO: (f64, f64) = (0.7, 2.2);

/// Difference from what shows in the photo beyond which a count is doubted: borders and edges explain less.
const DOUBTED: f64 = 0.1;

/// Directions of row and wale in the plane, unit vectors.
type Axes = ([f64; 2], [f64; 2]);

/// Everything a photo gave for a count.
pub(super) struct Finished {
    gauge: SwatchGauge,
    scale: record::Scale,
    counted: CountedNote,
    outline: Option<SwatchOutline>,
    cautions: Vec<Caution>,
}

impl Finished {
    /// Stitches and rows per 10 cm with all their contributions.
    pub fn values(&self) -> [Uncertain; 2] {
        [self.gauge.stitches_per_10cm.clone(), self.gauge.rows_per_10cm.clone()]
    }
}

/// Lays the count over the photo and works out the gauge.
pub(super) fn chain(
    photo: &Photo,
    setup: &Setup,
    counted: &Counted,
    progress: Progress,
    evidence: &mut Evidence,
) -> Result<Finished, Ended> {
    let prior = super::camera(photo, setup)?;
    begin(Stage::Ruler, progress)?;
    let scale = scale_stage::read(photo, setup).map_err(|refusal| fabric::unreadable(photo).unwrap_or(refusal))?;
    scale.show(evidence);

    begin(Stage::Plane, progress)?;
    let first = scale_stage::plane(&scale, &prior, &[])?;

    begin(Stage::Fabric, progress)?;
    // What shows of the stitches helps with directions and tilt; the count does without.
    let reading = seen_lattice(photo, setup, &scale, &first);
    let plane = match &reading {
        Some(reading) => scale_stage::plane(&scale, &prior, &scale.supported_by(reading))?,
        None => first,
    };
    scale_stage::check_tilt(&plane)?;

    begin(Stage::Lattice, progress)?;
    let laid = CountView { photo, setup, counted, map: &plane.map, scale: &scale, reading: reading.as_ref() }.lay()?;
    evidence.region_px = laid.region_px;

    begin(Stage::Gauge, progress)?;
    let look = reading.as_ref().and_then(|reading| FabricLook::of(photo, reading));
    let relief = setup.stitch.as_ref().map_or(Relief::Raised, Relief::of);
    let settings = super::gauge_settings(photo, setup, &scale, look.as_ref(), relief);
    let lost = || Refusal::new(RefusalCode::NotFlat, "what was counted lies beyond the plane's horizon");
    let gauge = laid.count.gauge(&plane, scale.source(), &settings).ok_or_else(lost)?;
    compose::check_worth(&gauge)?;
    let mut cautions = compose::plane_cautions(setup, &prior, &plane);
    cautions.extend(doubt(&gauge, reading.as_ref()));
    Ok(Finished {
        scale: compose::scale_note(&scale, &gauge, &plane, settings.ruler_on, laid.middle),
        counted: counted_note(counted, &gauge),
        outline: laid.outline,
        cautions,
        gauge,
    })
}

/// The record of a count.
pub(super) fn record(facts: PhotoFacts, setup: &Setup, finished: &Finished) -> Record {
    let mut record = Record::new(Status::Measured, facts);
    let values = [&finished.gauge.stitches_per_10cm, &finished.gauge.rows_per_10cm];
    let declared = |p: &crate::lattice::StitchPattern| PatternNote {
        pattern: p.clone(),
        source: PatternSource::Declared,
        confidence: None,
    };
    record.stitch_pattern = setup.stitch.as_ref().map(declared);
    record.gauge = Some(compose::gauge_note(&finished.gauge, None));
    record.scale = Some(finished.scale.clone());
    record.counted = Some(finished.counted);
    record.swatch = finished.outline.as_ref().map(|o| compose::swatch_note(o, values));
    record.budget = compose::budget(values[0], values[1]);
    record.wanted = compose::wanted_note(setup, values, None);
    record.cautions = finished.cautions.clone();
    record
}

/// The lattice where it can be seen; whatever prevents that is no matter here.
fn seen_lattice(photo: &Photo, setup: &Setup, scale: &Scale, plane: &PlaneEstimate) -> Option<LatticeReading> {
    let region = setup.region.map(scale_stage::rectangle);
    let excluded = scale.excluded();
    let ruler_direction_deg = scale.direction_deg(&plane.map);
    let view = View::new(photo, &plane.map, &excluded, region.as_deref(), ruler_direction_deg);
    let search = view.search().ok()?;
    view.follow(&search.seeds, setup).ok().map(|followed| followed.reading)
}

/// A count laid over the photo.
struct Laid {
    count: LaidCount,
    outline: Option<SwatchOutline>,
    region_px: Vec<PhotoPoint>,
    middle: PlanePoint,
}

/// What a count is laid over.
struct CountView<'a> {
    photo: &'a Photo,
    setup: &'a Setup,
    counted: &'a Counted,
    map: &'a PlaneMap,
    scale: &'a Scale,
    reading: Option<&'a LatticeReading>,
}

impl CountView<'_> {
    fn lay(&self) -> Result<Laid, Ended> {
        match self.counted.between {
            CountedBetween::Edges => {
                let outline = self.outline()?;
                let count = LaidCount::over_outline(self.counted, &outline, self.map);
                self.laid(count, Some(outline.clone()), outline.outline_px())
            }
            CountedBetween::Corners(corners) => {
                let (axes, seen) = self.axes_at(corners)?;
                let count = LaidCount::between_corners(self.counted, corners, self.map, axes, seen).ok_or_else(|| {
                    let what = "the two points of --span lie along the rows or along the wales: give opposite corners of \
                                what was counted, or a second --span along the wales";
                    Ended::Contradiction(what.to_owned())
                })?;
                self.laid(Some(count), None, corners.to_vec())
            }
            CountedBetween::Runs { row, wale } => {
                let count = LaidCount::along_runs(self.counted, row, wale, self.map).ok_or_else(|| {
                    let what = "the two --span do not cross: the first runs along the rows, the second along the wales";
                    Ended::Contradiction(what.to_owned())
                })?;
                self.laid(Some(count), None, [row, wale].concat())
            }
        }
    }

    fn laid(
        &self,
        count: Option<LaidCount>,
        outline: Option<SwatchOutline>,
        region_px: Vec<PhotoPoint>,
    ) -> Result<Laid, Ended> {
        let n = region_px.len() as f64;
        let (x, y) = region_px.iter().fold((0.0, 0.0), |(x, y), p| (x + p.x / n, y + p.y / n));
        let middle = self.map.to_plane(PhotoPoint::new(x, y));
        match (count, middle) {
            (Some(count), Some(middle)) => Ok(Laid { count, outline, region_px, middle }),
            _ => Err(Refusal::new(RefusalCode::TiltTooLarge, "what was counted lies beyond the horizon").into()),
        }
    }

    /// Row and wale in the plane, and whether they were seen and not told.
    fn axes_at(&self, corners: [PhotoPoint; 2]) -> Result<(Axes, bool), Ended> {
        if let (Some(deg), Some(at)) = (self.setup.row_direction_deg, self.map.to_plane(corners[0])) {
            let told = fabric_stage::on_plane_deg(self.map, at, deg).map(|deg| {
                let (sin, cos) = deg.to_radians().sin_cos();
                (([cos, sin], [-sin, cos]), false)
            });
            return told.ok_or_else(|| Refusal::new(RefusalCode::AxesUnclear, "").into());
        }
        let seen = self.reading.and_then(axes_of).map(|axes| (axes, true));
        seen.ok_or_else(|| Refusal::new(RefusalCode::AxesUnclear, "the stitches can't be seen, only the count").into())
    }

    /// The whole swatch, its width along the row.
    fn outline(&self) -> Result<SwatchOutline, Ended> {
        let region = self.setup.region.map(scale_stage::rectangle);
        let hints = SwatchHints {
            fabric: self.reading.map(|r| r.region_px.clone()).or(region).unwrap_or_default(),
            axes: self.reading.and_then(axes_of),
        };
        let known = hints.axes.is_some();
        let outline =
            fabric::swatch_outline(self.photo, self.map, &self.scale.excluded(), &hints).map_err(no_outline)?;
        if known { Ok(outline) } else { self.with_width_along_row(outline) }
    }

    /// Which of the outline's two directions is the row: as told, or the one that makes a gauge that exists.
    fn with_width_along_row(&self, outline: SwatchOutline) -> Result<SwatchOutline, Ended> {
        let turned = outline.clone().turned();
        let per_10cm =
            |o: &SwatchOutline| (100.0 * self.counted.stitches / o.width.mm, 100.0 * self.counted.rows / o.height.mm);
        let both = [per_10cm(&outline), per_10cm(&turned)];
        if let Some(deg) = self.setup.row_direction_deg {
            let along = outline.row_direction_deg();
            let apart = (deg - along).rem_euclid(180.0);
            return Ok(if apart.min(180.0 - apart) <= 45.0 { outline } else { turned });
        }
        if let Some((s, r)) = self.setup.expected {
            let away = |g: (f64, f64)| (g.0 / s).ln().abs() + (g.1 / r).ln().abs();
            return Ok(if away(both[0]) <= away(both[1]) { outline } else { turned });
        }
        let stockinette = self.setup.stitch.as_ref().is_some_and(|p| p.name.ends_with("stockinette"));
        let (low, high) = if stockinette { STOCKINETTE_RATIO } else { ANY_RATIO };
        let usual = both.map(|(s, r)| (low..=high).contains(&(r / s)));
        // Of a square swatch both ways say nearly the same.
        const SQUARE: f64 = 0.01;
        let square = (outline.width.mm / outline.height.mm - 1.0).abs() < SQUARE;
        match usual {
            [true, false] => Ok(outline),
            [false, true] => Ok(turned),
            _ if square => Ok(outline),
            _ => {
                let rivals = ["row along the longer side", "row along the shorter side"];
                let order = if outline.width.mm >= outline.height.mm { [0, 1] } else { [1, 0] };
                let rival = |(why, k): (&str, usize)| Rival {
                    stitches_per_10cm: both[k].0,
                    rows_per_10cm: both[k].1,
                    why: why.to_owned(),
                    score: 0.0,
                };
                let rivals = rivals.into_iter().zip(order).map(rival).collect();
                let seen = "the stitches can't be seen, only the swatch's outline";
                Err(Refusal::new(RefusalCode::AxesUnclear, seen).with_rivals(rivals).into())
            }
        }
    }
}

/// Directions of row and wale of a lattice that was followed.
fn axes_of(reading: &LatticeReading) -> Option<Axes> {
    let (row, wale) = reading.basis.steps_mm()?;
    let unit = |v: [f64; 2]| v.map(|x| x / v[0].hypot(v[1]));
    Some((unit(row), unit(wale)))
}

fn no_outline(why: NoOutline) -> Ended {
    Refusal::new(RefusalCode::NotKnit, format!("{}: {}", compose::no_outline_words(why), SHOW_WHOLE)).into()
}

/// What helps an outline to be seen.
const SHOW_WHOLE: &str =
    "show the whole swatch on a plain table of another colour, or count between two points with --span";

fn counted_note(counted: &Counted, gauge: &SwatchGauge) -> CountedNote {
    CountedNote {
        stitches: counted.stitches,
        rows: counted.rows,
        over: match counted.between {
            CountedBetween::Edges => CountedOver::Outline,
            CountedBetween::Corners(_) => CountedOver::Corners,
            CountedBetween::Runs { .. } => CountedOver::Runs,
        },
        width_mm: 100.0 * counted.stitches / gauge.stitches_per_10cm.value,
        height_mm: 100.0 * counted.rows / gauge.rows_per_10cm.value,
    }
}

/// A caution where the photo shows something else than what was counted.
fn doubt(gauge: &SwatchGauge, reading: Option<&LatticeReading>) -> Option<Caution> {
    let (stitches, rows) = reading?.basis.per_10cm()?;
    let off = |seen: f64, counted: f64| (seen / counted - 1.0).abs() > DOUBTED;
    let differs = off(stitches, gauge.stitches_per_10cm.value) || off(rows, gauge.rows_per_10cm.value);
    differs.then(|| Caution {
        code: CautionCode::CountDiffers,
        message: format!(
            "the stitches that show in the photo are about {stitches:.1} x {rows:.1} per 10 cm: count again, borders \
             included"
        ),
    })
}
