//! What comes beside the pieces: yarn, another yarn, a pattern worked over.

use super::super::error::PlanError;
use super::super::request::{EvenRequest, RegaugeRequest, SwatchWeight, YarnRequest};
use super::super::result::{EvenPlan, RegaugePlan, YarnPlan};
use super::fabrics::{Fabric, check_range};
use super::part::Worked;
use crate::quantity::{Source, Uncertain};
use crate::sizing::{
    Amounts, Counted, NeedleResponse, Over, Substitution, SwatchYarn, USUAL_SPREAD, YarnNeeds, needle_advice, per_10cm,
    regauge as regauged, space, substitute, tex_from_mass_and_length, tried_needle_advice, yarn_amount,
};

/// Yarn a seam takes, in lengths of the seam (common practice, no source).
const SEAM_YARN: f64 = 1.5;

/// Yarn for each size.
pub fn yarn(
    request: &YarnRequest,
    fabrics: &[Fabric],
    sizes: &[String],
    worked: &[Vec<Worked>],
) -> Result<Vec<YarnPlan>, PlanError> {
    let missing = || {
        let message = "yarn needs the area of every part: its length, and the rows of its gauge";
        PlanError::at(request.key.clone(), message)
    };
    let endless = |p: &Worked| p.plan.cord.as_ref().is_some_and(|cord| cord.rows.is_none());
    if worked.iter().flatten().any(endless) {
        let message = "yarn needs the rows of every cord: gauge in [piece.cord], counted on a sample of the cord";
        return Err(PlanError::at(request.key.clone(), message));
    }
    let mass_g = SwatchYarn::mass(request.swatch_mass_g, request.scale_step_g);
    let swatch = match request.swatch {
        SwatchWeight::Sides { sides: [a, b], within } => {
            SwatchYarn::ByArea { mass_g, area_mm2: SwatchYarn::area([a.mm(), b.mm()], within.mm()) }
        }
        SwatchWeight::Stitches(stitches) => SwatchYarn::ByStitches { mass_g, stitches },
        SwatchWeight::Measured(gauge) => {
            let unseen = || {
                let message =
                    "this gauge's measurement did not see the whole swatch: give swatch_sides or swatch_stitches";
                PlanError::at(format!("{}.swatch_gauge", request.key), message)
            };
            let area_mm2 = fabrics[gauge].swatch_area_mm2.clone().filter(|area| area.value > 0.0).ok_or_else(unseen)?;
            SwatchYarn::ByArea { mass_g, area_mm2 }
        }
    };
    let amounts = Amounts {
        tails_m: request.tails.0.mm() / 1000.0 * f64::from(request.tails.1),
        seams_m: request.seams.mm() / 1000.0 * SEAM_YARN,
        swatches: request.swatches,
        spare: request.spare_percent / 100.0,
        spread: request.spread_percent.map_or(USUAL_SPREAD, |p| p / 100.0),
    };
    let one_size = |(size, parts): (&String, &Vec<Worked>)| {
        let stitches = parts.iter().map(|p| p.plan.stitches_worked).sum();
        let known = parts.iter().all(|p| p.rows_known) && !parts.is_empty();
        let areas: Option<Vec<&Uncertain>> = parts.iter().map(|p| p.area_mm2.as_ref()).collect();
        let areas = areas.filter(|_| known).ok_or_else(missing)?;
        let area = areas.into_iter().fold(Uncertain::exact(0.0), |sum, area| &sum + area);
        let needs = YarnNeeds {
            swatch: swatch.clone(),
            ball: (request.ball_g, request.ball_m),
            work: (stitches, area),
            amounts,
        };
        let looped = |p: &Worked| p.looped_mm.map(|mm| mm / 1000.0 * p.plan.stitches_worked as f64);
        Ok(YarnPlan {
            size: size.clone(),
            amount: yarn_amount(&needs).ok_or_else(missing)?,
            tex: tex_from_mass_and_length(request.ball_g, request.ball_m),
            plausible_m: parts.iter().map(looped).sum(),
        })
    };
    sizes.iter().zip(worked).map(one_size).collect()
}

/// Balls of this yarn in place of a pattern's.
pub fn substitution(request: &YarnRequest) -> Option<Substitution> {
    let pattern = request.replaces?;
    Some(substitute(pattern.balls, (pattern.ball_g, pattern.ball_m), (request.ball_g, request.ball_m)))
}

/// A pattern's counts at my gauge.
pub fn regauge(request: &RegaugeRequest, fabrics: &[Fabric]) -> Result<RegaugePlan, PlanError> {
    let printed = |count| per_10cm(count, request.over, Source::named("the pattern's gauge")).value;
    let (stitches, rows) = (printed(request.stitches), request.rows.map(printed));
    check_range(stitches, rows, &request.key)?;
    let fabric = &fabrics[request.gauge];
    let mine = &fabric.gauge;
    let one = |count: &super::super::request::RegaugeCount| {
        let wrong = |message: String| PlanError::at(count.key.clone(), message);
        let pattern = match count.counted {
            Counted::Stitches => Some(stitches),
            Counted::Rows => rows,
        };
        let pattern = pattern.ok_or_else(|| wrong("the pattern's rows are not known".to_owned()))?;
        let side = 100.0 * f64::from(count.count) / pattern;
        let label = format!("the pattern's {}", count.name);
        let per = match count.counted {
            Counted::Stitches => Some(mine.stitches_over(side, side, &label)),
            Counted::Rows => mine.rows_over(side, side, &label),
        };
        let per = per.ok_or_else(|| wrong(format!("the gauge '{}' has no rows", mine.name)))?;
        regauged(&count.name, count.counted, count.count, count.rule, pattern, &per).map_err(|e| wrong(e.to_string()))
    };
    let (next, _) = mine.of_next_ten_cm();
    let needle = match &fabric.needles {
        Some(tried) => tried_needle_advice(&next, stitches, rows, tried),
        None => needle_advice(&next, stitches, NeedleResponse::common_practice()),
    };
    Ok(RegaugePlan {
        gauge: mine.name.clone(),
        pattern_stitches_per_10cm: stitches,
        pattern_rows_per_10cm: rows,
        ten_cm_taken: request.over == Over::TenCmOrFourInches,
        counts: request.counts.iter().map(one).collect::<Result<_, _>>()?,
        needle,
    })
}

/// Increases or decreases spaced in one row.
pub fn evenly(request: &EvenRequest) -> Result<EvenPlan, PlanError> {
    let EvenRequest { from, to, arrangement, .. } = *request;
    let spacing =
        space(from, to, arrangement).map_err(|e| PlanError::at(format!("{}.to", request.key), e.to_string()))?;
    Ok(EvenPlan { name: request.name.clone(), places: spacing.places(), spacing })
}
