//! What the stages found → the record that is kept.

use super::Setup;
use super::scale_stage::Scale;
use crate::caution::{Caution, CautionCode};
use crate::gauge::{GaugeSettings, RandomPart, SwatchGauge, swatch_gauge};
use crate::lattice::{self, Decision, LatticeModel, LatticeReading, PhaseBlock};
use crate::plane::{CameraPrior, PlaneEstimate};
use crate::quantity::{self, Confidence, Contribution, PhotoPoint, PlanePoint, Source, Uncertain};
use crate::record::{
    self, Distortion, Evidence, Gauge, LatticeNote, NextFabric, PatternNote, PatternSource, PhotoFacts, Record, Status,
    Variation,
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
}

/// The last stage: gauge, budget and local map; `covered` is the share of the fabric that was followed. Refuses where the counts do not make a lattice after all.
pub(super) fn finish(
    scale: Scale,
    prior: CameraPrior,
    decision: Decision,
    mut reading: LatticeReading,
    plane: PlaneEstimate,
    settings: GaugeSettings,
    covered: f64,
) -> Result<Finished, Refusal> {
    let lost = || Refusal::new(RefusalCode::NotFlat, "the counts over the fabric do not make a lattice");
    place_blocks(&mut reading.blocks, &plane.map);
    let fit = lattice::fit(&reading.blocks).ok_or_else(lost)?;
    let region = lattice::region_uncertainty(&reading.blocks, &fit.basis, covered);
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
    Ok(Finished { scale, prior, decision, reading, plane, settings, gauge, variation, local })
}

/// Refuses a gauge that is known so little that it tells nothing: patterns differ by less.
fn check_worth(gauge: &SwatchGauge) -> Result<(), Refusal> {
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

/// Puts the blocks where a map sees them.
fn place_blocks(blocks: &mut [PhaseBlock], map: &crate::plane::PlaneMap) {
    for block in blocks {
        if let Some(at) = map.to_plane(block.at_px) {
            block.at = at;
        }
    }
}

impl Finished {
    /// Puts the fitted lattice into the evidence for pictures.
    pub fn show(&self, evidence: &mut Evidence) {
        let (stitches, rows) = self.gauge.counts_at_origin;
        let Some((stitch, row)) = self.gauge.basis.steps_mm() else { return };
        let origin = PlanePoint::new(-stitches * stitch[0] - rows * row[0], -stitches * stitch[1] - rows * row[1]);
        evidence.projection = Some(self.decision.weights);
        evidence.lattice = Some(LatticeModel { map: self.gauge.map.clone(), basis: self.gauge.basis, origin });
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
    record.gauge = Some(gauge_note(finished));
    record.scale = Some(scale_note(finished));
    record.lattice = lattice_note(finished);
    record.budget = budget(&finished.gauge);
    record.cautions = cautions(setup, finished);
    record
}

fn pairs(points: &[PhotoPoint]) -> Vec<[f64; 2]> {
    points.iter().map(|p| [p.x, p.y]).collect()
}

fn gauge_note(finished: &Finished) -> Gauge {
    let gauge = &finished.gauge;
    Gauge {
        stitches_per_10cm: gauge.stitches_per_10cm.expanded(Confidence::P95),
        rows_per_10cm: gauge.rows_per_10cm.expanded(Confidence::P95),
        next_fabric: finished.variation.map(|v| next_fabric(gauge, v)),
    }
}

/// The gauge of another 10 × 10 cm knitted alike: this swatch's, plus the variation between places of that size, as
/// often as independent places fit into it.
fn next_fabric(gauge: &SwatchGauge, variation: lattice::Variation) -> NextFabric {
    let places = (100.0 / variation.correlation_mm.max(1.0)).powi(2).max(1.0);
    let with = |value: &Uncertain, percent: f64| {
        let own = Contribution::stated(Source::named("the next fabric"), percent / 100.0 / places.sqrt());
        value.clone().with_relative(own).expanded(Confidence::P95)
    };
    NextFabric {
        stitches_per_10cm: with(&gauge.stitches_per_10cm, variation.between_places_percent[0]),
        rows_per_10cm: with(&gauge.rows_per_10cm, variation.between_places_percent[1]),
        variation: Variation {
            between_places_percent: variation.between_places_percent,
            correlation_mm: variation.correlation_mm,
        },
    }
}

fn scale_note(finished: &Finished) -> record::Scale {
    let map = &finished.gauge.map;
    let matrix = map.matrix();
    let middle = lattice::middle(&finished.reading.blocks);
    record::Scale {
        kind: finished.scale.kind(),
        unit: finished.scale.unit(),
        px_per_mm: map.px_per_mm(middle).unwrap_or_default(),
        photo_to_mm: std::array::from_fn(|i| matrix[(i / 3, i % 3)]),
        distortion: map.distortion().map(Distortion::from),
        graduations_read: finished.scale.marks_read(),
        length_read_mm: finished.scale.length_read_mm(),
        ruler_on: finished.settings.ruler_on,
        height_correction_percent: finished.gauge.height_correction_percent,
        tilt_deg: Some(finished.plane.pose.tilt_deg()),
        camera_distance_mm: Some(finished.gauge.camera_distance_mm),
    }
}

fn lattice_note(finished: &Finished) -> Option<LatticeNote> {
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
        region_px: pairs(&finished.reading.region_px),
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
    })
}

fn budget(gauge: &SwatchGauge) -> Vec<record::Contribution> {
    let lines = quantity::paired_budget(&gauge.stitches_per_10cm, &gauge.rows_per_10cm).unwrap_or_default();
    lines.into_iter().map(record::Contribution::from).collect()
}

fn cautions(setup: &Setup, finished: &Finished) -> Vec<Caution> {
    /// Below this the measurement stands on few stitches or rows.
    const SMALL_EXTENT: f64 = 12.0;
    /// A tilt known less surely than this is worth saying, in degrees.
    const TILT_SIGMA_DEG: f64 = 3.0;
    let mut cautions = Vec::new();
    let mut say = |code, message: String| cautions.push(Caution { code, message });
    let (stitches, rows) = finished.reading.extent;
    if stitches < SMALL_EXTENT || rows < SMALL_EXTENT {
        say(
            CautionCode::SmallRegion,
            format!("only {stitches:.0} stitches by {rows:.0} rows were measured: a larger swatch says more"),
        );
    }
    if !finished.prior.stated && setup.span.is_none() {
        say(
            CautionCode::NoFocalLength,
            "the file does not tell the lens: a usual one was assumed, so the ruler's height counts less surely".into(),
        );
    }
    if finished.plane.tilt_sigma_deg > TILT_SIGMA_DEG {
        say(
            CautionCode::TiltUncertain,
            format!("the camera's tilt is known to {:.0}° only", finished.plane.tilt_sigma_deg),
        );
    }
    if finished.decision.pattern.name.starts_with("rib") {
        say(CautionCode::RibRelaxed, "the rib was measured as it lies: worn, it stretches".into());
    }
    cautions
}
