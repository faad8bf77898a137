//! How large a plan may become: schedules and rows are written out stitch by stitch, so a short file could ask for more than
//! fits into memory.

use super::super::error::PlanError;
use super::super::result::PartPlan;

/// Stitches gained and lost by shaping in all sizes together: a hundred times what a garment in ten sizes needs (a stated
/// choice).
const MOST_CHANGES: u64 = 200_000;

/// Whether so many stitches gained and lost are still few enough; `key` is where the last of them were asked for.
pub fn check_changes(changes: u64, key: &str) -> Result<(), PlanError> {
    if changes <= MOST_CHANGES {
        return Ok(());
    }
    let message = format!(
        "more than {MOST_CHANGES} stitches would be gained and lost in the whole plan; fewer sizes, pieces or steps of shaping are accepted"
    );
    Err(PlanError::at(key, message))
}

/// Stitches gained and lost in a part.
pub fn changes(part: &PartPlan) -> u64 {
    let join = part.join.iter().map(|join| (join.from, join.to));
    let steps = part.shaping.iter().map(|step| (step.schedule.from, step.schedule.to));
    let cords = part.cord.iter().flat_map(|cord| [&cord.band.widen, &cord.band.narrow]).map(|end| (end.from, end.to));
    join.chain(steps).chain(cords).map(|(from, to)| u64::from(from.abs_diff(to))).sum()
}
