//! The shaping steps of a part, one after the other.

use super::super::error::PlanError;
use super::super::request::{Ends, ShapePace, ShapeTo, ShapingRequest};
use super::super::result::ShapingPlan;
use super::part::{PartGauge, Place};
use crate::quantity::Confidence;
use crate::sizing::{
    BodyMeasure, CountRule, Counted, Ease, Pace, Schedule, ShapingStep, Spacing, castable, finished_mm, schedule,
    space_decreases, space_increases,
};

/// A part after its shaping.
pub struct Shaped {
    /// The steps.
    pub steps: Vec<ShapingPlan>,
    /// Stitches at the end.
    pub stitches: u32,
    /// Rows left after the last step.
    pub straight_rows: u32,
    /// Stitches worked over all rows.
    pub stitches_worked: u64,
}

/// Works all steps, from so many stitches over so many rows (`None`: as many as the steps take).
pub fn shape(place: Place<'_>, gauge: &PartGauge, from: u32, rows: Option<u32>) -> Result<Shaped, PlanError> {
    let mut shaped = Shaped { steps: Vec::new(), stitches: from, straight_rows: rows.unwrap_or(0), stitches_worked: 0 };
    for request in &place.part.shaping {
        let left = rows.map(|_| shaped.straight_rows);
        let step = step(place, gauge, request, shaped.stitches, left)?;
        let used = step.schedule.rows();
        shaped.straight_rows = match left {
            Some(left) => left.checked_sub(used).ok_or_else(|| {
                let message = format!(
                    "this takes {used} rows, but the part has only {left} left; a smaller 'every', more stitches per_row, or a longer part is accepted"
                );
                PlanError::at(request.key.clone(), message)
            })?,
            None => 0,
        };
        shaped.stitches = step.schedule.to;
        shaped.stitches_worked += step.schedule.stitches_worked();
        shaped.steps.push(step);
    }
    shaped.stitches_worked += u64::from(shaped.straight_rows) * u64::from(shaped.stitches);
    Ok(shaped)
}

fn step(
    place: Place<'_>,
    gauge: &PartGauge,
    request: &ShapingRequest,
    from: u32,
    left: Option<u32>,
) -> Result<ShapingPlan, PlanError> {
    let to = target(place, gauge, request, from)?;
    let pace = match &request.pace {
        ShapePace::Every(rows) => Pace::Every(*rows),
        ShapePace::OverLength(lengths) => {
            let key = format!("{}.over", request.key);
            let rows = place.rows_for(gauge, &key)?;
            // A bounded length times a bounded gauge: the cast saturates at worst.
            Pace::Over((lengths[place.size].mm() * rows.value / 100.0).round() as u32)
        }
        ShapePace::OverRest => Pace::Over(left.ok_or_else(|| {
            PlanError::at(request.key.clone(), "over (a length) or every (rows) is missing: the part has no length")
        })?),
    };
    let whole = ShapingStep { from, to, per_row: request.per_row, pace, right_side_only: request.right_side_only };
    let schedule = schedule(whole).map_err(|e| PlanError::at(request.key.clone(), e.to_string()))?;
    let seam = place.stitch_rule().seam;
    Ok(ShapingPlan {
        name: request.name.clone(),
        ends: request.ends,
        across: across(place, request, &schedule)?,
        length_mm: gauge.rows.as_ref().map(|rows| finished_mm(schedule.rows(), rows).expanded(Confidence::P95)),
        width_after_mm: finished_mm(schedule.to.saturating_sub(seam), &gauge.stitches).expanded(Confidence::P95),
        schedule,
    })
}

/// To how many stitches: those asked for, or those nearest to a width that whole shaping rows reach.
fn target(place: Place<'_>, gauge: &PartGauge, request: &ShapingRequest, from: u32) -> Result<u32, PlanError> {
    let key = format!("{}.to", request.key);
    let width = match &request.to {
        ShapeTo::Count(counts) => return Ok(counts[place.size]),
        ShapeTo::Width(widths) => widths[place.size],
    };
    let rule = place.stitch_rule();
    let reached = CountRule { multiple: 1, balance: 0, also: Some((request.per_row, from)), ..rule };
    let wanted = BodyMeasure { body: width, ease: Ease::NONE, tolerance: None }.target();
    let wanted = wanted.map_err(|e| PlanError::at(key.clone(), e.to_string()))?;
    let found = castable(Counted::Stitches, wanted, reached, &gauge.stitches);
    found.map(|f| f.chosen().count).map_err(|e| PlanError::at(key, e.to_string()))
}

/// How the stitches of each shaping row are spaced along it.
fn across(place: Place<'_>, request: &ShapingRequest, schedule: &Schedule) -> Result<Vec<Spacing>, PlanError> {
    if request.ends != Ends::Across {
        return Ok(Vec::new());
    }
    let mut stitches = schedule.from;
    let rows = schedule.table().into_iter().map(|(_, after)| {
        let spaced = if schedule.increases() {
            space_increases(stitches, schedule.per_row, place.arrangement())
        } else {
            space_decreases(stitches, schedule.per_row, place.arrangement())
        };
        stitches = after;
        spaced.map_err(|e| PlanError::at(format!("{}.per_row", request.key), e.to_string()))
    });
    rows.collect()
}
