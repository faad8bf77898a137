//! One part of a piece in one size.

use super::super::error::PlanError;
use super::super::request::{CordRequest, MeasureRequest, PartRequest, PieceRequest};
use super::super::result::{AxisPlan, CordPlan, PartPlan};
use super::fabrics::Fabric;
use super::shape::{self, Shaped, Start};
use crate::quantity::{Confidence, Uncertain};
use crate::sizing::{
    Arrangement, BodyMeasure, CountRule, Counted, Direction, Spacing, Target, band_from_cord, castable, finished_mm,
    space,
};

/// Which part of what, in which size, of which fabric.
#[derive(Clone, Copy)]
pub struct Place<'a> {
    /// The piece.
    pub piece: &'a PieceRequest,
    /// The part.
    pub part: &'a PartRequest,
    /// Index of the size.
    pub size: usize,
    /// The part's fabric.
    pub fabric: &'a Fabric,
    /// All fabrics of the plan.
    pub fabrics: &'a [Fabric],
}

/// A part that is worked out, with what sums need.
#[derive(Clone)]
pub struct Worked {
    /// The part.
    pub plan: PartPlan,
    /// Whether it is known how many rows it takes; otherwise its stitches and its area are not known either.
    pub rows_known: bool,
    /// Whether a wrong-side row comes next; a part worked to a length of one's own is taken to end behind such a row.
    wrong_side_next: bool,
    /// Its length, where it is known.
    pub length: Option<Uncertain>,
    /// Its area in mm², where it is known.
    pub area_mm2: Option<Uncertain>,
    /// Length of yarn in a stitch by Munden's constants, in mm, where the fabric is stockinette and its rows are known.
    pub looped_mm: Option<f64>,
}

/// The gauge of one part, for its own size.
pub struct PartGauge {
    /// Stitches per 10 cm.
    pub stitches: Uncertain,
    /// Rows per 10 cm.
    pub rows: Option<Uncertain>,
}

impl Place<'_> {
    /// The measure that stitches run along, and the one that rows run along.
    fn axes(&self) -> (Option<&MeasureRequest>, Option<&MeasureRequest>) {
        let (width, length) = (self.part.width.as_ref(), self.part.length.as_ref());
        match self.piece.direction {
            Direction::Upwards => (width, length),
            Direction::Sideways => (length, width),
        }
    }

    fn target(&self, measure: &MeasureRequest) -> Result<Target, PlanError> {
        BodyMeasure { body: measure.sizes[self.size], ease: measure.ease, tolerance: measure.tolerance }
            .target()
            .map_err(|e| PlanError::at(measure.key.clone(), e.to_string()))
    }

    /// The gauge of a part about so large along the row and along the wale.
    fn gauge(&self, across_mm: f64, along_mm: f64) -> PartGauge {
        // The key, since pieces may have one name, and so may parts.
        let piece = &self.part.key;
        PartGauge {
            stitches: self.fabric.gauge.stitches_over(across_mm, along_mm, piece),
            rows: self.fabric.gauge.rows_over(across_mm, along_mm, piece),
        }
    }

    /// Which stitch counts are possible.
    pub fn stitch_rule(&self) -> CountRule {
        let rule = if self.piece.round { self.part.stitch_rule.in_the_round() } else { self.part.stitch_rule };
        let also = self.part.cord.as_ref().map(|cord| (cord.per_row, cord.stitches));
        CountRule { also, ..rule }
    }

    /// How a row of this piece begins and ends when stitches are spaced along it.
    pub fn arrangement(&self) -> Arrangement {
        if self.piece.round { Arrangement::Round } else { Arrangement::HalfAtEnds }
    }

    /// The gauge's rows, which a key needs.
    pub fn rows_for<'g>(&self, gauge: &'g PartGauge, key: &str) -> Result<&'g Uncertain, PlanError> {
        gauge.rows.as_ref().ok_or_else(|| no_rows(self.fabric, key))
    }
}

/// A gauge without rows where a key needs them.
fn no_rows(fabric: &Fabric, key: &str) -> PlanError {
    let name = &fabric.gauge.name;
    PlanError::at(key, format!("the gauge '{name}' has no rows, which are needed for this: count them too"))
}

/// Works one part out; `before` is the part it continues. A row that joins the two is the first of this part's rows.
pub fn work(place: Place<'_>, before: Option<&Worked>) -> Result<Worked, PlanError> {
    let (wrong_side_next, before) = (before.is_some_and(|b| b.wrong_side_next), before.map(|b| &b.plan));
    let (across, along) = place.axes();
    let targets = (across.map(|m| place.target(m)).transpose()?, along.map(|m| place.target(m)).transpose()?);
    let across_mm = targets.0.map_or_else(|| before.map_or(100.0, |b| b.end_mm.value), |t| t.finished_mm);
    let gauge = place.gauge(across_mm, targets.1.map_or(across_mm, |t| t.finished_mm));
    let stitches = stitches(place, targets.0, &gauge, before)?;
    let rows = match (along, targets.1) {
        (Some(measure), Some(target)) => Some(rows(place, measure, target, &gauge)?),
        _ => None,
    };
    let join = before.and_then(|b| join(place, b.stitches_at_end, stitches.count).transpose()).transpose()?;
    let joined = u32::from(join.is_some());
    let left = rows.as_ref().map(|r| r.count.saturating_sub(joined));
    let start = Start { stitches: stitches.count, rows: left, wrong_side: wrong_side_next != (joined == 1) };
    let shaped = shape::shape(place, &gauge, start)?;
    let cord = place.part.cord.as_ref().map(|c| cord(place, c, &stitches, rows.as_ref(), &gauge)).transpose()?;
    Ok(finish(place, Pieces { gauge, stitches, rows, join, shaped, cord, wrong_side_next }))
}

/// What a part is put together from.
struct Pieces {
    gauge: PartGauge,
    stitches: AxisPlan,
    rows: Option<AxisPlan>,
    join: Option<Spacing>,
    shaped: Shaped,
    cord: Option<CordPlan>,
    wrong_side_next: bool,
}

fn stitches(
    place: Place<'_>,
    target: Option<Target>,
    gauge: &PartGauge,
    before: Option<&PartPlan>,
) -> Result<AxisPlan, PlanError> {
    let rule = place.stitch_rule();
    let key = || format!("{}.multiple", place.part.key);
    let Some(target) = target else {
        // A part without a measure of its own has one before it: the reader sees to that.
        let count = before.map_or(0, |b| b.stitches_at_end);
        if rule != CountRule::ANY && !rule.allows(count) {
            let message =
                format!("the part before ends with {count} stitches, not {}; give this part a width", rule.words());
            return Err(PlanError::at(key(), message));
        }
        let finished = finished_mm(count.saturating_sub(rule.seam), &gauge.stitches).expanded(Confidence::P95);
        return Ok(AxisPlan { count, finished_mm: finished, castable: None });
    };
    let found =
        castable(Counted::Stitches, target, rule, &gauge.stitches).map_err(|e| PlanError::at(key(), e.to_string()))?;
    Ok(AxisPlan { count: found.chosen().count, finished_mm: found.chosen().finished_mm, castable: Some(found) })
}

fn rows(place: Place<'_>, measure: &MeasureRequest, target: Target, gauge: &PartGauge) -> Result<AxisPlan, PlanError> {
    let rows = place.rows_for(gauge, &measure.key)?;
    let found = castable(Counted::Rows, target, place.part.row_rule, rows)
        .map_err(|e| PlanError::at(format!("{}.row_multiple", place.part.key), e.to_string()))?;
    Ok(AxisPlan { count: found.chosen().count, finished_mm: found.chosen().finished_mm, castable: Some(found) })
}

/// How the part before is brought to this part's stitches; `None` where the counts are the same.
fn join(place: Place<'_>, from: u32, to: u32) -> Result<Option<Spacing>, PlanError> {
    if from == to {
        return Ok(None);
    }
    let wrong = |e| format!("from {from} stitches of the part before to {to}: {e}; shape the part before instead");
    space(from, to, place.arrangement())
        .map(Some)
        .map_err(|e| PlanError::at(format!("{}.width", place.part.key), wrong(e)))
}

fn cord(
    place: Place<'_>,
    cord: &CordRequest,
    stitches: &AxisPlan,
    rows: Option<&AxisPlan>,
    gauge: &PartGauge,
) -> Result<CordPlan, PlanError> {
    if stitches.count <= cord.stitches {
        let message = format!("the band has {} stitches, no more than its cord of {}", stitches.count, cord.stitches);
        return Err(PlanError::at(format!("{}.stitches", cord.key), message));
    }
    let band_rows = rows.map_or(0, |r| r.count);
    let band = band_from_cord(cord.stitches, stitches.count, band_rows, cord.per_row, cord.every)
        .map_err(|e| PlanError::at(format!("{}.per_row", cord.key), e.to_string()))?;
    let taper = finished_mm(band.widen.rows(), place.rows_for(gauge, &cord.key)?).expanded(Confidence::P95);
    let own_rows = |g: usize| {
        let (sample, key) = (&place.fabrics[g], format!("{}.gauge", cord.key));
        let rows = sample.gauge.rows_per_10cm.as_ref().ok_or_else(|| no_rows(sample, &key))?;
        // Rounded to a whole row: rows of a cord of bounded length fit.
        Ok((cord.length.mm() * rows.value / 100.0).round() as u32)
    };
    let rows = cord.gauge.map(own_rows).transpose()?;
    Ok(CordPlan { stitches: cord.stitches, length_mm: cord.length, rows, band, taper_mm: taper })
}

fn finish(place: Place<'_>, of: Pieces) -> Worked {
    let Pieces { gauge, stitches, rows, join, shaped, cord, wrong_side_next } = of;
    let seam = place.stitch_rule().seam;
    let joined = u32::from(join.is_some());
    let shaping_rows = shaped.rows();
    let rows_worked = rows.as_ref().map(|r| r.count).or((shaping_rows > 0).then_some(joined + shaping_rows));
    let (stitches_at_end, stitches_worked) = match &cord {
        None => {
            let first = u64::from(joined) * u64::from(stitches.count);
            (shaped.stitches, rows_worked.map_or(0, |_| first + shaped.stitches_worked))
        }
        Some(cord) => {
            let cords = 2 * u64::from(cord.rows.unwrap_or(0)) * u64::from(cord.stitches);
            (cord.stitches, cord.band.stitches_worked() + cords)
        }
    };
    let end = finished_mm(stitches_at_end.saturating_sub(seam), &gauge.stitches);
    let area_mm2 = gauge.rows.as_ref().map(|rows| area(stitches_worked, &gauge.stitches, rows));
    let length = match place.piece.direction {
        Direction::Upwards => rows.as_ref().zip(gauge.rows.as_ref()).map(|(r, per)| finished_mm(r.count, per)),
        Direction::Sideways => Some(finished_mm(stitches.count.saturating_sub(seam), &gauge.stitches)),
    };
    let looped_mm = gauge
        .rows
        .as_ref()
        .filter(|_| place.fabric.is_stockinette())
        .map(|rows| crate::sizing::looped_length(gauge.stitches.value, rows.value));
    let plan = PartPlan {
        name: place.part.name.clone(),
        gauge: place.fabric.gauge.name.clone(),
        stitches,
        rows,
        join,
        shaping: shaped.steps,
        straight_rows: cord.as_ref().map_or(shaped.straight_rows, |c| c.band.straight_rows),
        cord,
        stitches_at_end,
        end_mm: end.expanded(Confidence::P95),
        stitches_worked,
    };
    let wrong_side_next = rows_worked.is_some_and(|rows| wrong_side_next != (rows % 2 == 1));
    Worked { plan, rows_known: rows_worked.is_some(), wrong_side_next, length, area_mm2, looped_mm }
}

/// The area of so many stitches, in mm²: each is 100/s by 100/r.
fn area(stitches: u64, per_10cm: &Uncertain, rows_per_10cm: &Uncertain) -> Uncertain {
    let area = stitches as f64 * 1e4 / (per_10cm.value * rows_per_10cm.value);
    Uncertain::combine(area, &[(per_10cm, -area / per_10cm.value), (rows_per_10cm, -area / rows_per_10cm.value)])
}
