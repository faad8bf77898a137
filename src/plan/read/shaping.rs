//! `[[piece.shaping]]` and `[piece.cord]`.

use super::super::error::PlanError;
use super::super::request::{CordRequest, Ends, GaugeRequest, ShapePace, ShapeTo, ShapingRequest};
use super::gauges;
use super::pieces::MOST_STITCHES;
use super::sizes::Sizes;
use super::table::{Item, Keys};

/// More rows between two shaping rows than any piece has (a stated choice).
const MOST_ROWS: u32 = 1000;

/// All shaping steps of a part.
pub fn read(item: Option<Item<'_>>, sizes: &Sizes) -> Result<Vec<ShapingRequest>, PlanError> {
    let Some(item) = item else { return Ok(Vec::new()) };
    item.tables()?.into_iter().map(|keys| step(keys, sizes)).collect()
}

fn step(mut keys: Keys<'_>, sizes: &Sizes) -> Result<ShapingRequest, PlanError> {
    let places = [("both", Ends::Both), ("beginning", Ends::Beginning), ("end", Ends::End), ("across", Ends::Across)];
    let name = keys.get("name").map_or(Ok("shaping".to_owned()), |n| n.string("sleeve"))?;
    let to = keys.need("to", "to = 60 (stitches) or to = \"30 cm\"")?;
    let to = if to.is_whole() {
        ShapeTo::Count(sizes.counts(&to, MOST_STITCHES)?)
    } else {
        ShapeTo::Width(sizes.lengths(&to)?)
    };
    let ends = keys.get("ends").map_or(Ok(Ends::Both), |e| e.choice(&places))?;
    let per_row = keys.get("per_row").map_or(Ok(2), |n| n.whole(1..=MOST_STITCHES))?;
    if ends == Ends::Both && per_row % 2 != 0 {
        let message =
            format!("{per_row} stitches can't be shared by both ends: an even number, or other ends, is accepted");
        return Err(PlanError::at(keys.path_of("per_row"), message));
    }
    let pace = match (keys.get("every"), keys.get("over")) {
        (Some(_), Some(over)) => return Err(PlanError::at(over.path, "either every or over, not both")),
        (Some(every), None) => ShapePace::Every(every.whole(1..=MOST_ROWS)?),
        (None, Some(over)) => ShapePace::OverLength(sizes.lengths(&over)?),
        (None, None) => ShapePace::OverRest,
    };
    let right_side_only = keys.get("right_side_only").map_or(Ok(false), |r| r.flag())?;
    let step = ShapingRequest { key: keys.path().to_owned(), name, to, per_row, pace, ends, right_side_only };
    keys.finish()?;
    Ok(step)
}

/// The cords at both ends of a band.
pub fn read_cord(item: &Item<'_>, gauges: &[GaugeRequest]) -> Result<CordRequest, PlanError> {
    let mut keys = item.keys()?;
    let cord = CordRequest {
        key: item.path.clone(),
        stitches: keys.need("stitches", "stitches = 5")?.whole(1..=100)?,
        length: keys.need("length", "length = \"30 cm\"")?.length()?,
        per_row: keys.get("per_row").map_or(Ok(2), |n| n.whole(1..=100))?,
        every: keys.get("every").map_or(Ok(1), |n| n.whole(1..=MOST_ROWS))?,
        gauge: keys.get("gauge").map(|g| gauges::chosen(Some(g), &item.path, gauges)).transpose()?,
    };
    keys.finish()?;
    Ok(cord)
}
