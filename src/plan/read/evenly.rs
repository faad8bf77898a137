//! `[[evenly]]`: increases or decreases spaced in one row.

use super::super::error::PlanError;
use super::super::request::EvenRequest;
use super::pieces::{MOST_STITCHES, WORKED};
use super::table::{Item, Keys};
use crate::sizing::Arrangement;

/// All rows to space.
pub fn read(item: &Item<'_>) -> Result<Vec<EvenRequest>, PlanError> {
    item.tables()?.into_iter().map(one).collect()
}

fn one(mut keys: Keys<'_>) -> Result<EvenRequest, PlanError> {
    let whole = |item: Item<'_>| item.whole(1..=MOST_STITCHES);
    let ends = [("half", Arrangement::HalfAtEnds), ("whole", Arrangement::EqualSections)];
    let (from, to) = (whole(keys.need("from", "from = 51")?)?, whole(keys.need("to", "to = 55")?)?);
    let round = keys.get("worked").map_or(Ok(false), |w| w.choice(&WORKED))?;
    let arrangement = match keys.get("ends") {
        Some(item) if round => return Err(PlanError::at(item.path, "a round has no ends; leave it out")),
        Some(item) => item.choice(&ends)?,
        None if round => Arrangement::Round,
        None => Arrangement::HalfAtEnds,
    };
    let name = keys.get("name").map(|n| n.string("yoke")).transpose()?.unwrap_or_default();
    let request = EvenRequest { key: keys.path().to_owned(), name, from, to, arrangement };
    keys.finish()?;
    if from == to {
        let message =
            format!("from {from} to {to} stitches: there is nothing to space; two different counts are accepted");
        return Err(PlanError::at(format!("{}.to", request.key), message));
    }
    Ok(request)
}
