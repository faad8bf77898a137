//! `[yarn]`.

use super::super::error::PlanError;
use super::super::request::{GaugeRequest, SubstituteRequest, SwatchWeight, YarnRequest};
use super::gauges::chosen;
use super::table::{Item, Keys};
use crate::sizing::{Length, tex_from_ne, tex_from_nm};
use std::ops::RangeInclusive;

/// Masses that are accepted, in g (a stated choice).
const GRAMS: RangeInclusive<f64> = 0.1..=10_000.0;
/// Lengths of yarn that are accepted, in m (a stated choice).
const METRES: RangeInclusive<f64> = 1.0..=100_000.0;
/// Step of a scale, in g: a kitchen scale's where nobody says (a stated choice).
const KITCHEN_SCALE_G: f64 = 1.0;
/// How well the sides of a swatch are read with a ruler, in mm, where nobody says (a stated choice).
const SIDES_WITHIN_MM: f64 = 2.0;
/// Length of a tail, in mm, where nobody says (common practice, no source).
const TAIL_MM: f64 = 150.0;

/// Yarn to reckon.
pub fn read(item: &Item<'_>, gauges: &[GaugeRequest]) -> Result<YarnRequest, PlanError> {
    let mut keys = item.keys()?;
    let whole = |item: Item<'_>| item.whole(0..=1000);
    let ball_g = keys.need("ball_g", "ball_g = 50")?.number(GRAMS)?;
    let yarn = YarnRequest {
        key: item.path.clone(),
        swatch_mass_g: keys.need("swatch_mass_g", "swatch_mass_g = 12")?.number(GRAMS)?,
        scale_step_g: keys.get("scale_step_g").map_or(Ok(KITCHEN_SCALE_G), |s| s.number(0.001..=10.0))?,
        swatch: swatch(&mut keys, gauges)?,
        ball_g,
        ball_m: ball_metres(&mut keys, ball_g)?,
        tails: (
            keys.get("tail_length").map_or(Ok(Length::from_mm(TAIL_MM)), |t| t.length_or_none())?,
            keys.get("tails").map_or(Ok(0), whole)?,
        ),
        seams: keys.get("seams").map_or(Ok(Length::ZERO), |s| s.length_or_none())?,
        swatches: keys.get("swatches").map_or(Ok(1), whole)?,
        spare_percent: keys.get("spare_percent").map_or(Ok(0.0), |s| s.number(0.0..=100.0))?,
        spread_percent: keys.get("spread_percent").map(|s| s.number(0.0..=50.0)).transpose()?,
        replaces: keys.get("replaces").map(|item| replaces(&item)).transpose()?,
    };
    keys.finish()?;
    if yarn.scale_step_g / 2.0 >= yarn.swatch_mass_g {
        let message =
            "the swatch is lighter than half a step of the scale: weigh several together, or a finer scale_step_g";
        return Err(PlanError::at(format!("{}.swatch_mass_g", yarn.key), message));
    }
    Ok(yarn)
}

/// Metres of a ball: said, or from the yarn's count and the ball's grams.
fn ball_metres(keys: &mut Keys<'_>, ball_g: f64) -> Result<f64, PlanError> {
    /// Counts that are accepted, in any of the systems (a stated choice).
    const COUNT: RangeInclusive<f64> = 0.01..=100_000.0;
    let by_count = |count: Item<'_>, tex: fn(f64) -> f64| {
        let metres = 1000.0 * ball_g / tex(count.number(COUNT)?);
        let (least, most) = (METRES.start(), METRES.end());
        let wrong = || format!("a ball of {ball_g} g would hold {metres:.3} m; {least} to {most} m are accepted");
        if METRES.contains(&metres) { Ok(metres) } else { Err(PlanError::at(count.path, wrong())) }
    };
    match (keys.get("ball_m"), keys.get("tex"), keys.get("nm"), keys.get("ne")) {
        (Some(metres), None, None, None) => metres.number(METRES),
        (None, Some(tex), None, None) => by_count(tex, |tex| tex),
        (None, None, Some(nm), None) => by_count(nm, tex_from_nm),
        (None, None, None, Some(ne)) => by_count(ne, tex_from_ne),
        _ => Err(PlanError::at(keys.path(), "one of ball_m, tex, nm, ne is expected, for example ball_m = 120")),
    }
}

fn swatch(keys: &mut Keys<'_>, gauges: &[GaugeRequest]) -> Result<SwatchWeight, PlanError> {
    match (keys.get("swatch_sides"), keys.get("swatch_stitches"), keys.get("swatch_gauge")) {
        (Some(sides), None, None) => {
            let wrong =
                || PlanError::at(sides.path.clone(), "two lengths are expected, for example [\"15 cm\", \"16 cm\"]");
            let lengths = sides.list().ok_or_else(wrong)?.iter().map(Item::length).collect::<Result<Vec<_>, _>>()?;
            let within =
                keys.get("sides_within").map_or(Ok(Length::from_mm(SIDES_WITHIN_MM)), |w| w.length_or_none())?;
            let lengths: [Length; 2] = lengths.try_into().map_err(|_| wrong())?;
            check_sides(&sides, lengths, within)?;
            Ok(SwatchWeight::Sides { sides: lengths, within })
        }
        (None, Some(stitches), None) => Ok(SwatchWeight::Stitches(u64::from(stitches.whole(1..=10_000_000)?))),
        (None, None, Some(gauge)) => chosen(Some(gauge), keys.path(), gauges).map(SwatchWeight::Measured),
        _ => {
            let message = "either swatch_sides = [\"15 cm\", \"16 cm\"] (the whole swatch), swatch_stitches (all of them) or swatch_gauge (whose measurement saw the whole swatch) is expected";
            Err(PlanError::at(keys.path(), message))
        }
    }
}

/// Sides that are known to a fifth only tell nothing of the yarn, as a gauge known to a fifth tells no count.
fn check_sides(item: &Item<'_>, sides: [Length; 2], within: Length) -> Result<(), PlanError> {
    const TELLS_NOTHING: f64 = 0.2;
    if sides.iter().all(|side| within.mm() <= TELLS_NOTHING * side.mm()) {
        return Ok(());
    }
    let message = format!(
        "a side of this is read within {} mm, which is more than a fifth of it: a larger swatch, or a closer sides_within, is accepted",
        within.mm()
    );
    Err(PlanError::at(item.path.clone(), message))
}

fn replaces(item: &Item<'_>) -> Result<SubstituteRequest, PlanError> {
    let mut keys = item.keys()?;
    let request = SubstituteRequest {
        balls: keys.need("balls", "balls = 4")?.whole(1..=1000)?,
        ball_g: keys.need("ball_g", "ball_g = 50")?.number(GRAMS)?,
        ball_m: keys.need("ball_m", "ball_m = 120")?.number(METRES)?,
    };
    keys.finish()?;
    Ok(request)
}
