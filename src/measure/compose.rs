//! What the stages found → the record that is kept.

use super::Setup;
use super::alike::Covered;
use super::parts::{Part, mean_over_parts};
use super::scale_stage::Scale;
use super::single_loops::{FollowedLoops, check_loops};
use crate::caution::{Caution, CautionCode};
use crate::fabric::{self, MeanLength, NoOutline, SwatchHints, SwatchOutline};
use crate::gauge::{GaugeSettings, RandomPart, RulerOn, SwatchGauge, WantedAnswer, compare, swatch_gauge};
use crate::lattice::{self, Decision, LatticeFit, LatticeModel, LatticeReading, PhaseBlock};
use crate::photo::Photo;
use crate::plane::{CameraPrior, PlaneEstimate, PlaneMap};
use crate::quantity::{self, Confidence, Contribution, PhotoPoint, PlanePoint, Source, Uncertain};
use crate::record::{
    self, DecisionNote, Distortion, Evidence, Gauge, LatticeNote, NextFabric, PatternNote, PatternSource, PhotoFacts,
    Record, SpectralLine, Status, Variation,
};
use crate::refusal::{Refusal, RefusalCode};

/// Step of the local map, in stitches.
const LOCAL_STEP: f64 = 5.0;

/// Everything a measured photo gave.
pub(super) struct Finished {
    scale: Scale,
    prior: CameraPrior,
    decision: Decision,
    reading: LatticeReading,
    plane: PlaneEstimate,
    settings: GaugeSettings,
    gauge: SwatchGauge,
    variation: Option<lattice::Variation>,
    local: Vec<lattice::LocalGauge>,
    outline: Option<Result<SwatchOutline, NoOutline>>,
    /// Share of the fabric that was followed, 0 to 1.
    share_followed: Option<f64>,
    /// What the gauge changes from the middle of what was followed to the fabric's, relative: stitches, rows.
    drift: [f64; 2],
    /// Outlines of further parts of the fabric that speak in the gauge, in the photo.
    other_parts: Vec<Vec<PhotoPoint>>,
}

/// The last stage: gauge, budget and local map; `covered` tells how much of the fabric was followed. Refuses where the counts do not make a
/// lattice after all.
pub(super) fn finish(
    scale: Scale,
    prior: CameraPrior,
    decision: Decision,
    mut reading: LatticeReading,
    plane: PlaneEstimate,
    settings: GaugeSettings,
    covered: Option<Covered>,
) -> Result<Finished, Refusal> {
    let lost = || Refusal::new(RefusalCode::NotFlat, "the counts over the fabric do not make a lattice");
    place_blocks(&mut reading.blocks, &plane.map);
    let fit = lattice::fit(&reading.blocks).ok_or_else(lost)?;
    let region = lattice::region_uncertainty(&reading.blocks, &fit.basis, covered.map_or(1.0, |covered| covered.share));
    let drift = covered.and_then(|covered| drift_to_the_middle(&fit, &plane.map, covered)).unwrap_or([0.0; 2]);
    let random = RandomPart {
        stitches: fit.relative_u[0],
        rows: fit.relative_u[1],
        degrees_of_freedom: fit.degrees_of_freedom[0].min(fit.degrees_of_freedom[1]),
        region_stitches: region[0],
        region_rows: region[1],
    };
    let gauge = swatch_gauge(&plane, &reading.blocks, random, scale.source(), &settings).ok_or_else(lost)?;
    check_worth(&gauge)?;
    place_blocks(&mut reading.blocks, &gauge.map);
    let variation = lattice::variation(&reading.blocks, &gauge.basis);
    let local = lattice::local_map(&reading.blocks, &gauge.basis, LOCAL_STEP);
    check_flat(&local)?;
    let (outline, other_parts) = (None, Vec::new());
    Ok(Finished {
        scale,
        prior,
        decision,
        reading,
        plane,
        settings,
        gauge,
        variation,
        local,
        outline,
        share_followed: covered.map(|covered| covered.share),
        drift,
        other_parts,
    })
}

/// What the gauge changes from the middle of what was followed to the middle of the fabric, if it goes on changing as it does
/// there.
fn drift_to_the_middle(fit: &LatticeFit, map: &PlaneMap, covered: Covered) -> Option<[f64; 2]> {
    let (from, to) = (map.to_plane(covered.followed)?, map.to_plane(covered.fabric)?);
    fit.drift([to.x - from.x, to.y - from.y])
}

/// Refuses a gauge that is known so little that it tells nothing: patterns differ by less.
pub(super) fn check_worth(gauge: &SwatchGauge) -> Result<(), Refusal> {
    /// Largest half-width of the 95 % interval, relative: 22 stitches ± 4 hold every gauge from fine to thick yarn.
    const LARGEST_HALF_WIDTH: f64 = 0.2;
    for (value, what) in [(&gauge.stitches_per_10cm, "stitches"), (&gauge.rows_per_10cm, "rows")] {
        let half_width = value.expanded(Confidence::P95).expanded_uncertainty / value.value;
        if half_width > LARGEST_HALF_WIDTH {
            let seen = format!("the {what} would be known to {:.0} % only", 100.0 * half_width);
            return Err(Refusal::new(RefusalCode::TooFewStitches, seen));
        }
    }
    Ok(())
}

/// Refuses a fabric whose gauge changes over it as no plane and no tension explains: folds and curls foreshorten it.
fn check_flat(local: &[lattice::LocalGauge]) -> Result<(), Refusal> {
    /// Largest difference between places (95th less 5th percentile, relative): a flank of 40° foreshortens by 23 %; drawn
    /// swatches of the hardest kind that lie flat differ by 19 % at most (measured over 230), sixteen in twenty by 10 %.
    const LARGEST_DIFFERENCE: f64 = 0.23;
    /// Fewest places that tell.
    const FEWEST: usize = 6;
    if local.len() < FEWEST {
        return Ok(());
    }
    let stitches = local.iter().map(|l| l.stitches_per_10cm).collect::<Vec<f64>>();
    let rows = local.iter().map(|l| l.rows_per_10cm).collect();
    for (mut values, what) in [(stitches, "stitches"), (rows, "rows")] {
        values.sort_by(f64::total_cmp);
        let at = |share: f64| values[((values.len() - 1) as f64 * share).round() as usize];
        let difference = (at(0.95) - at(0.05)) / at(0.5);
        if difference > LARGEST_DIFFERENCE {
            let seen = format!("the {what} differ by {:.0} % from place to place", 100.0 * difference);
            return Err(Refusal::new(RefusalCode::NotFlat, seen));
        }
    }
    Ok(())
}

/// Puts the blocks where a map sees them.
pub(super) fn place_blocks(blocks: &mut [PhaseBlock], map: &PlaneMap) {
    for block in blocks {
        if let Some(at) = map.to_plane(block.at_px) {
            block.at = at;
        }
    }
}

impl Finished {
    /// Stitches and rows per 10 cm with all their contributions.
    pub fn values(&self) -> [Uncertain; 2] {
        [self.gauge.stitches_per_10cm.clone(), self.gauge.rows_per_10cm.clone()]
    }

    /// Lets further parts of the fabric speak: the gauge becomes the mean over all. Where there are none, the fabric may go on
    /// changing as it does where it was followed. Refuses as [`check_worth`].
    pub fn reach_beyond(&mut self, parts: &[Part]) -> Result<(), Refusal> {
        let gauge = &mut self.gauge;
        let Some(first) = gauge.basis.per_10cm() else { return Ok(()) };
        let mean = mean_over_parts((&self.reading, first), parts, &gauge.map);
        let values = [&mut gauge.stitches_per_10cm, &mut gauge.rows_per_10cm];
        let Some(mean) = mean else {
            /// The most that a fabric is taken to change beyond what was followed: what the sixteenths of the most uneven swatches
            /// spread by (stated choice; of 972 values of seven renderers the largest drift is 11 %, the largest error 6 %).
            const LARGEST_DRIFT: f64 = 0.03;
            // The error does not follow the drift's sign (measured on the same values: correlation -0.06 and -0.02), so nothing is
            // corrected; but its square grows as the drift's does.
            let sources = ["stitches that change towards one side", "rows that change towards one side"];
            for ((value, axis), source) in values.into_iter().zip(0..).zip(sources) {
                let part = Contribution::stated(Source::named(source), self.drift[axis].abs().min(LARGEST_DRIFT));
                *value = value.clone().with_relative(part);
            }
            return check_worth(gauge);
        };
        let sources = ["stitches from part to part", "rows from part to part"];
        for ((value, axis), source) in values.into_iter().zip(0..).zip(sources) {
            let part = Contribution::stated(Source::named(source), mean.relative_u[axis]);
            *value = value.scaled(mean.factor[axis]).with_relative(part);
        }
        self.other_parts = parts.iter().map(|part| part.outline_px().to_vec()).collect();
        check_worth(gauge)
    }

    /// Looks for the outline of the whole swatch.
    pub fn look_for_outline(&mut self, photo: &Photo) {
        let unit = |v: [f64; 2]| v.map(|x| x / v[0].hypot(v[1]));
        let axes = self.gauge.basis.steps_mm().map(|(row, wale)| (unit(row), unit(wale)));
        let hints = SwatchHints { fabric: self.reading.region_px.clone(), axes };
        self.outline = Some(fabric::swatch_outline(photo, &self.gauge.map, &self.scale.excluded(), &hints));
    }

    /// Puts the fitted lattice into the evidence for pictures.
    pub fn show(&self, evidence: &mut Evidence) {
        evidence.other_parts_px.clone_from(&self.other_parts);
        evidence.projection = Some(self.decision.weights);
        evidence.lattice = self.model();
    }

    /// The lattice as it was fitted; `None` where it has one direction only.
    fn model(&self) -> Option<LatticeModel> {
        let (stitches, rows) = self.gauge.counts_at_origin;
        let (stitch, row) = self.gauge.basis.steps_mm()?;
        let origin = PlanePoint::new(-stitches * stitch[0] - rows * row[0], -stitches * stitch[1] - rows * row[1]);
        Some(LatticeModel { map: self.gauge.map.clone(), basis: self.gauge.basis, origin })
    }

    /// Refuses a lattice whose single loops the photo does not show.
    pub fn check_loops(&self, photo: &Photo) -> Result<(), Refusal> {
        let Some(model) = &self.model() else { return Ok(()) };
        let (reading, decision) = (&self.reading, &self.decision);
        let loops = FollowedLoops {
            model,
            blocks: &reading.blocks,
            region_px: &reading.region_px,
            ruler_px: self.scale.outline(),
            projection: decision.weights,
            pattern: &decision.pattern,
        };
        check_loops(photo, &loops)
    }
}

/// The record of a measured photo.
pub(super) fn record(facts: PhotoFacts, setup: &Setup, finished: &Finished) -> Record {
    let mut record = Record::new(Status::Measured, facts);
    record.stitch_pattern = Some(PatternNote {
        pattern: finished.decision.pattern.clone(),
        source: if finished.decision.declared { PatternSource::Declared } else { PatternSource::Recognised },
        confidence: finished.decision.confidence,
    });
    record.gauge = Some(gauge_note(&finished.gauge, finished.variation));
    record.scale = Some(scale_note(
        &finished.scale,
        &finished.gauge,
        &finished.plane,
        finished.settings.ruler_on,
        lattice::middle(&finished.reading.blocks),
    ));
    record.lattice = lattice_note(setup, finished);
    record.budget = budget(&finished.gauge.stitches_per_10cm, &finished.gauge.rows_per_10cm);
    let values = [&finished.gauge.stitches_per_10cm, &finished.gauge.rows_per_10cm];
    record.wanted = wanted_note(setup, values, finished.variation);
    record.cautions = cautions(setup, finished);
    match &finished.outline {
        Some(Ok(outline)) => record.swatch = Some(swatch_note(outline, values)),
        Some(Err(why)) => record
            .cautions
            .push(Caution { code: CautionCode::OutlineUnknown, message: no_outline_words(*why).to_owned() }),
        None => {}
    }
    record
}

/// The whole swatch: what the outline says, with the scale's part of the uncertainty beside its own. `values` are the
/// gauges, whose budget holds the scale's.
pub(super) fn swatch_note(outline: &SwatchOutline, values: [&Uncertain; 2]) -> record::Swatch {
    // What belongs to the count alone is no part of the scale.
    const COUNTED: [&str; 6] =
        ["irregular", "which", "counting", "where", "width of the edge", "height of the cast-on"];
    let of_scale = |c: &&Contribution| {
        COUNTED.iter().all(|own| !c.source.name.starts_with(own)) || c.source.name.ends_with("taken for tilt")
    };
    let scales = values.map(|value| {
        let variance: f64 = value.contributions.iter().filter(of_scale).map(|c| c.standard.powi(2)).sum();
        variance.sqrt() / value.value.abs()
    });
    let size = |k: usize, length: MeanLength| {
        let standard_uncertainty = length.standard_mm.hypot(length.mm * scales[k]);
        record::Size { value: length.mm, standard_uncertainty }
    };
    let (width, height) = (outline.width, outline.height);
    // The sides' places are independent; both scales are taken to err together.
    let edges = (width.standard_mm / width.mm).hypot(height.standard_mm / height.mm);
    record::Swatch {
        outline_px: pairs(&outline.outline_px()),
        area_mm2: Some(outline.area_mm2),
        area_standard_uncertainty_mm2: Some(outline.area_mm2 * edges.hypot(scales[0] + scales[1])),
        width_mm: Some(size(0, width)),
        height_mm: Some(size(1, height)),
        bridged_share: outline.bridged,
    }
}

/// Why the outline is not known, in words.
pub(super) fn no_outline_words(why: NoOutline) -> &'static str {
    match why {
        NoOutline::LeavesPicture => "the swatch goes on beyond the picture, so its outline and area are not known",
        NoOutline::Hidden => "too much of the swatch's outline is hidden, so its area is not known",
        NoOutline::Unclear => {
            "the swatch's outline can't be told surely from what lies around, so its area is not known"
        }
    }
}

/// How the gauge compares with the wanted one, where one is wanted.
pub(super) fn wanted_note(
    setup: &Setup,
    values: [&Uncertain; 2],
    variation: Option<lattice::Variation>,
) -> Option<WantedAnswer> {
    wanted_answer(setup, values, variation.map(|v| next_values(values, &note_of(v))).as_ref())
}

/// The same with the next fabric's gauge as it is, where it is known.
pub(super) fn wanted_answer(
    setup: &Setup,
    values: [&Uncertain; 2],
    next: Option<&[Uncertain; 2]>,
) -> Option<WantedAnswer> {
    let next = next.map_or(values, |[s, r]| [s, r]);
    setup.wanted.as_ref().map(|wanted| compare(wanted, values, next))
}

fn note_of(variation: lattice::Variation) -> Variation {
    Variation { between_places_percent: variation.between_places_percent, correlation_mm: variation.correlation_mm }
}

fn pairs(points: &[PhotoPoint]) -> Vec<[f64; 2]> {
    points.iter().map(|p| [p.x, p.y]).collect()
}

pub(super) fn gauge_note(gauge: &SwatchGauge, variation: Option<lattice::Variation>) -> Gauge {
    let values = [&gauge.stitches_per_10cm, &gauge.rows_per_10cm];
    Gauge {
        stitches_per_10cm: values[0].expanded(Confidence::P95),
        rows_per_10cm: values[1].expanded(Confidence::P95),
        next_fabric: variation.map(|v| next_fabric(values, note_of(v))),
    }
}

/// The gauge of another 10 × 10 cm knitted alike: this swatch's, plus the variation between places of that size.
pub(super) fn next_fabric(values: [&Uncertain; 2], variation: Variation) -> NextFabric {
    let [stitches, rows] = next_values(values, &variation);
    NextFabric {
        stitches_per_10cm: stitches.expanded(Confidence::P95),
        rows_per_10cm: rows.expanded(Confidence::P95),
        variation,
    }
}

/// Stitches and rows of another fabric, with the variation as often as independent places fit into 10 × 10 cm.
pub(super) fn next_values(values: [&Uncertain; 2], variation: &Variation) -> [Uncertain; 2] {
    let places = (100.0 / variation.correlation_mm.max(1.0)).powi(2).max(1.0);
    [0, 1].map(|k| {
        let share = variation.between_places_percent[k] / 100.0 / places.sqrt();
        values[k].clone().with_relative(Contribution::stated(Source::named("the next fabric"), share))
    })
}

pub(super) fn scale_note(
    scale: &Scale,
    gauge: &SwatchGauge,
    plane: &PlaneEstimate,
    ruler_on: Option<RulerOn>,
    middle: PlanePoint,
) -> record::Scale {
    let map = &gauge.map;
    let matrix = map.matrix();
    record::Scale {
        kind: scale.kind(),
        unit: scale.unit(),
        px_per_mm: map.px_per_mm(middle).unwrap_or_default(),
        photo_to_mm: std::array::from_fn(|i| matrix[(i / 3, i % 3)]),
        distortion: map.distortion().map(Distortion::from),
        graduations_read: scale.marks_read(),
        length_read_mm: scale.length_read_mm(),
        ruler_on,
        height_correction_percent: gauge.height_correction_percent,
        tilt_deg: Some(plane.pose.tilt_deg()),
        camera_distance_mm: Some(gauge.camera_distance_mm),
    }
}

fn lattice_note(setup: &Setup, finished: &Finished) -> Option<LatticeNote> {
    let gauge = &finished.gauge;
    let (stitch, row) = gauge.basis.steps_mm()?;
    let jacobian = gauge.map.photo_per_plane(lattice::middle(&finished.reading.blocks))?;
    let direction_deg = |step: [f64; 2]| {
        let seen = jacobian * nalgebra::Vector2::new(step[0], step[1]);
        seen.y.atan2(seen.x).to_degrees()
    };
    let between = (row[1].atan2(row[0]) - stitch[1].atan2(stitch[0])).to_degrees().rem_euclid(180.0);
    Some(LatticeNote {
        stitch_axis_deg: direction_deg(stitch),
        row_axis_deg: direction_deg(row),
        skew_deg: between - 90.0,
        stitches_counted: finished.reading.extent.0,
        rows_counted: finished.reading.extent.1,
        share_followed: finished.share_followed,
        region_px: pairs(&finished.reading.region_px),
        other_parts_px: finished.other_parts.iter().map(|outline| pairs(outline)).collect(),
        local: finished
            .local
            .iter()
            .map(|l| record::LocalGauge {
                x_px: l.at_px.x,
                y_px: l.at_px.y,
                stitches_per_10cm: l.stitches_per_10cm,
                rows_per_10cm: l.rows_per_10cm,
            })
            .collect(),
        decision: Some(decision_note(setup, &finished.decision)),
    })
}

/// Why this lattice and no other.
fn decision_note(setup: &Setup, decision: &Decision) -> DecisionNote {
    let said = [
        (setup.stitch.is_some(), "pattern"),
        (setup.row_direction_deg.is_some(), "row_direction"),
        (setup.expected.is_some(), "expected_gauge"),
        (setup.region.is_some(), "region"),
    ];
    let line = |l: &lattice::Harmonic| SpectralLine { h: l.h, k: l.k, amplitude_over_noise: l.strength };
    DecisionNote {
        declared: said.iter().filter(|(said, _)| *said).map(|(_, name)| (*name).to_owned()).collect(),
        score: decision.stands_on.score,
        margin: decision.margin,
        margin_needed: decision.stands_on.margin_needed,
        places: decision.stands_on.places,
        projections: decision.stands_on.projections,
        projection: decision.weights,
        lines: decision.harmonics.iter().map(line).collect(),
        rivals: decision.rivals.clone(),
    }
}

pub(super) fn budget(stitches: &Uncertain, rows: &Uncertain) -> Vec<record::Contribution> {
    let lines = quantity::paired_budget(stitches, rows).unwrap_or_default();
    lines.into_iter().map(record::Contribution::from).collect()
}

fn cautions(setup: &Setup, finished: &Finished) -> Vec<Caution> {
    /// Below this the measurement stands on few stitches or rows.
    const SMALL_EXTENT: f64 = 12.0;
    /// Spread between places from which tension is called uneven: even hand knitting stays within two to three per cent
    /// (common practice, no source), and half of all drawn swatches below.
    const UNEVEN_PERCENT: f64 = 4.0;
    let mut cautions = Vec::new();
    let (stitches, rows) = finished.reading.extent;
    if stitches < SMALL_EXTENT || rows < SMALL_EXTENT {
        let message = format!("only {stitches:.0} stitches by {rows:.0} rows were measured: a larger swatch says more");
        cautions.push(Caution { code: CautionCode::SmallRegion, message });
    }
    cautions.extend(plane_cautions(setup, &finished.prior, &finished.plane));
    if let Some([stitches, rows]) = finished.variation.map(|v| v.between_places_percent)
        && stitches.max(rows) > UNEVEN_PERCENT
    {
        let (what, by) = if stitches > rows { ("stitches", stitches) } else { ("rows", rows) };
        let message = format!(
            "the {what} vary by {by:.0} % from place to place: lay the swatch out evenly, or knit a larger one"
        );
        cautions.push(Caution { code: CautionCode::UnevenTension, message });
    }
    if finished.decision.pattern.is_rib() {
        let message = "the rib was measured as it lies: worn, it stretches".to_owned();
        cautions.push(Caution { code: CautionCode::RibRelaxed, message });
    }
    cautions
}

/// Cautions about lens and tilt.
pub(super) fn plane_cautions(setup: &Setup, prior: &CameraPrior, plane: &PlaneEstimate) -> Vec<Caution> {
    /// A tilt known less surely than this is worth saying, in degrees.
    const TILT_SIGMA_DEG: f64 = 3.0;
    let mut cautions = Vec::new();
    if !prior.stated && setup.span.is_none() {
        let message =
            "the file does not tell the lens: a usual one was assumed, so the ruler's height counts less surely";
        cautions.push(Caution { code: CautionCode::NoFocalLength, message: message.to_owned() });
    }
    if setup.card && setup.card_length_mm.is_none() {
        let message = "nobody measured the printed card, and printers change sizes: measure its two check lengths with a ruler \
                       and say the mean with --card-length";
        cautions.push(Caution { code: CautionCode::CardUnconfirmed, message: message.to_owned() });
    }
    if setup.lens.as_ref().is_some_and(|l| l.focal_length_35mm.is_none() || !prior.stated) {
        let message =
            "whether the lens profile is of this photo's lens can't be checked: a file does not tell the lens";
        cautions.push(Caution { code: CautionCode::LensUnchecked, message: message.to_owned() });
    }
    if plane.tilt_sigma_deg > TILT_SIGMA_DEG {
        let message = format!("the camera's tilt is known to {:.0}° only", plane.tilt_sigma_deg);
        cautions.push(Caution { code: CautionCode::TiltUncertain, message });
    }
    cautions
}
