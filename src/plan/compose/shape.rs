//! The shaping steps of a part, one after the other.

use super::super::error::PlanError;
use super::super::request::{Ends, ShapePace, ShapeTo, ShapingRequest};
use super::super::result::ShapingPlan;
use super::extent::check_changes;
use super::part::{PartGauge, Place};
use crate::quantity::Confidence;
use crate::sizing::{
    BodyMeasure, CountRule, Counted, Ease, Pace, Schedule, ShapingError, ShapingStep, Spacing, castable, finished_mm,
    schedule, space,
};

/// A part before its shaping.
#[derive(Clone, Copy)]
pub struct Start {
    /// Stitches at its beginning.
    pub stitches: u32,
    /// Rows it has; `None`: as many as the steps take.
    pub rows: Option<u32>,
    /// Whether a wrong-side row comes first.
    pub wrong_side: bool,
}

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

impl Shaped {
    /// Rows of all steps.
    pub fn rows(&self) -> u32 {
        self.steps.iter().map(|step| step.schedule.rows()).sum()
    }
}

/// Works all steps.
pub fn shape(place: Place<'_>, gauge: &PartGauge, start: Start) -> Result<Shaped, PlanError> {
    let straight_rows = start.rows.unwrap_or(0);
    let mut shaped = Shaped { steps: Vec::new(), stitches: start.stitches, straight_rows, stitches_worked: 0 };
    let mut now = start;
    let mut changes = 0;
    for request in &place.part.shaping {
        let step = step(place, gauge, request, now)?;
        let used = step.schedule.rows();
        changes += u64::from(step.schedule.from.abs_diff(step.schedule.to));
        check_changes(changes, &request.key)?;
        let too_many = |left| {
            let message = format!(
                "this takes {used} rows, but the part has only {left} left; a smaller 'every', more stitches per_row, or a longer part is accepted"
            );
            PlanError::at(request.key.clone(), message)
        };
        let rows = now.rows.map(|left| left.checked_sub(used).ok_or_else(|| too_many(left))).transpose()?;
        now = Start { stitches: step.schedule.to, rows, wrong_side: now.wrong_side != (used % 2 == 1) };
        shaped.stitches_worked += step.schedule.stitches_worked();
        shaped.steps.push(step);
    }
    (shaped.stitches, shaped.straight_rows) = (now.stitches, now.rows.unwrap_or(0));
    shaped.stitches_worked += u64::from(shaped.straight_rows) * u64::from(shaped.stitches);
    Ok(shaped)
}

fn step(place: Place<'_>, gauge: &PartGauge, request: &ShapingRequest, start: Start) -> Result<ShapingPlan, PlanError> {
    let from = start.stitches;
    let to = target(place, gauge, request, from)?;
    let pace = match &request.pace {
        ShapePace::Every(rows) => Pace::Every(*rows),
        ShapePace::OverLength(lengths) => {
            let key = format!("{}.over", request.key);
            let rows = place.rows_for(gauge, &key)?;
            // A bounded length times a bounded gauge: the cast saturates at worst.
            Pace::Over((lengths[place.size].mm() * rows.value / 100.0).round() as u32)
        }
        ShapePace::OverRest => Pace::Over(start.rows.ok_or_else(|| {
            PlanError::at(request.key.clone(), "over (a length) or every (rows) is missing: the part has no length")
        })?),
    };
    let whole = ShapingStep { from, to, per_row: request.per_row, pace, right_side_only: request.right_side_only };
    let schedule =
        from_either_side(whole, start.wrong_side).map_err(|e| PlanError::at(request.key.clone(), e.to_string()))?;
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

/// The schedule of a step that begins on either side of the fabric.
fn from_either_side(step: ShapingStep, wrong_side: bool) -> Result<Schedule, ShapingError> {
    if !(wrong_side && step.right_side_only && step.from != step.to) {
        return schedule(step);
    }
    let (pace, rows) = match step.pace {
        Pace::Over(rows) => (Pace::Over(rows.saturating_sub(1)), rows),
        every @ Pace::Every(rows) => (every, rows),
    };
    match schedule(ShapingStep { pace, ..step }) {
        Err(ShapingError::TooFewRows { shaping_rows, enough, .. }) => {
            Err(ShapingError::TooFewRows { shaping_rows, rows, enough: enough + 1 })
        }
        other => other.map(Schedule::behind_a_wrong_side_row),
    }
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
        let spaced = space(std::mem::replace(&mut stitches, after), after, place.arrangement());
        spaced.map_err(|e| PlanError::at(format!("{}.per_row", request.key), e.to_string()))
    });
    rows.collect()
}
