//! A published pattern's counts at another gauge: what its measures become, and which counts restore them.

use super::body::{Target, usual_tolerance_mm};
use super::castable::{Castable, CountError, CountRule, Counted, castable, finished_mm};
use crate::quantity::{Confidence, Expanded, Uncertain};
use serde::Serialize;

/// One count of a pattern at two gauges.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Regauged {
    /// What the pattern calls it.
    pub name: String,
    /// Stitches or rows.
    pub counted: Counted,
    /// The pattern's count, seams included.
    pub pattern_count: u32,
    /// What it measures at the pattern's gauge, in mm.
    pub at_pattern_gauge_mm: f64,
    /// What it becomes at mine, in mm.
    pub at_my_gauge_mm: Expanded,
    /// The counts that restore the pattern's measure at mine.
    pub restored: Castable,
}

/// Works one count over. The pattern's gauge is taken as printed, without uncertainty: it is what its author's measures
/// were calculated from. `count` must be more than the rule's seam stitches.
pub fn regauge(
    name: &str,
    counted: Counted,
    count: u32,
    rule: CountRule,
    pattern_per_10cm: f64,
    mine_per_10cm: &Uncertain,
) -> Result<Regauged, CountError> {
    let seen = count.saturating_sub(rule.seam);
    let wanted = 100.0 * f64::from(seen) / pattern_per_10cm;
    let target =
        Target { body_mm: wanted, ease_mm: 0.0, finished_mm: wanted, tolerance_mm: usual_tolerance_mm(wanted) };
    Ok(Regauged {
        name: name.to_owned(),
        counted,
        pattern_count: count,
        at_pattern_gauge_mm: wanted,
        at_my_gauge_mm: finished_mm(seen, mine_per_10cm).expanded(Confidence::P95),
        restored: castable(counted, target, rule, mine_per_10cm)?,
    })
}
