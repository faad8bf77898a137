//! `[[piece]]` and `[[piece.part]]`.

use super::super::error::PlanError;
use super::super::request::{GaugeRequest, MeasureRequest, PartRequest, PieceRequest};
use super::sizes::Sizes;
use super::table::{Item, Keys};
use super::{gauges, shaping};
use crate::sizing::{CountRule, Direction, Ease};

/// More stitches than any row has (a stated choice).
pub const MOST_STITCHES: u32 = 10_000;

/// How something is worked.
pub const WORKED: [(&str, bool); 2] = [("flat", false), ("round", true)];

/// What a part is read against.
#[derive(Clone, Copy)]
pub struct Surroundings<'a> {
    /// The gauges of the plan.
    pub gauges: &'a [GaugeRequest],
    /// Its sizes.
    pub sizes: &'a Sizes,
}

/// Parts and steps of shaping in all sizes together: each takes some milliseconds (a stated choice, several times what a
/// garment in a dozen sizes has).
const MOST_SIZED: usize = 2000;

/// All pieces.
pub fn read(item: &Item<'_>, gauges: &[GaugeRequest], sizes: &Sizes) -> Result<Vec<PieceRequest>, PlanError> {
    let pieces: Vec<PieceRequest> =
        item.tables()?.into_iter().map(|keys| piece(keys, Surroundings { gauges, sizes })).collect::<Result<_, _>>()?;
    let of_one_size: usize = pieces.iter().flat_map(|p| &p.parts).map(|part| 1 + part.shaping.len()).sum();
    let sized = of_one_size * sizes.names.len();
    if sized > MOST_SIZED {
        let message =
            format!("{sized} parts and steps of shaping in all sizes together; at most {MOST_SIZED} are accepted");
        return Err(PlanError::at(item.path.clone(), message));
    }
    Ok(pieces)
}

fn piece(mut keys: Keys<'_>, around: Surroundings<'_>) -> Result<PieceRequest, PlanError> {
    let directions = [("upwards", Direction::Upwards), ("sideways", Direction::Sideways)];
    let name = keys.need("name", "name = \"Band\"")?.string("Band")?;
    let round = keys.get("worked").map_or(Ok(false), |w| w.choice(&WORKED))?;
    let direction = keys.get("direction").map_or(Ok(Direction::Upwards), |d| d.choice(&directions))?;
    let key = keys.path().to_owned();
    let parts = match keys.get("part") {
        None => vec![part(keys, around, Some(&name), None)?],
        Some(list) => {
            let usual = keys.get("gauge").map(|g| gauges::chosen(Some(g), &key, around.gauges)).transpose()?;
            keys.finish()?;
            list.tables()?.into_iter().map(|keys| part(keys, around, None, usual)).collect::<Result<_, _>>()?
        }
    };
    let piece = PieceRequest { key, name, round, direction, parts };
    check(&piece)?;
    Ok(piece)
}

fn check(piece: &PieceRequest) -> Result<(), PlanError> {
    let Some(first) = piece.parts.first() else {
        return Err(PlanError::at(format!("{}.part", piece.key), "at least one part is expected"));
    };
    let sideways = piece.direction == Direction::Sideways;
    if first.width.is_none() {
        return Err(PlanError::at(first.key.clone(), "width is missing; for example width = \"48 cm\""));
    }
    if sideways && (piece.parts.len() > 1 || piece.round) {
        return Err(PlanError::at(piece.key.clone(), "a piece knitted sideways is one part worked flat"));
    }
    if sideways && first.length.is_none() {
        return Err(PlanError::at(
            first.key.clone(),
            "length is missing: it is what the stitches of a piece knitted sideways measure",
        ));
    }
    if let Some(step) = piece.parts.iter().flat_map(|p| &p.shaping).find(|step| piece.round && step.right_side_only) {
        let message = "every round is a right-side row; leave it out, and say how often with every";
        return Err(PlanError::at(format!("{}.right_side_only", step.key), message));
    }
    match piece.parts.iter().find_map(|p| p.cord.as_ref().map(|cord| (cord, p))) {
        Some((cord, _)) if !sideways => {
            Err(PlanError::at(cord.key.clone(), "a band between cords is knitted lengthwise: direction = \"sideways\""))
        }
        Some((cord, part)) if !part.shaping.is_empty() => {
            Err(PlanError::at(cord.key.clone(), "a band between cords has no other shaping"))
        }
        _ => Ok(()),
    }
}

fn part(
    mut keys: Keys<'_>,
    around: Surroundings<'_>,
    piece: Option<&str>,
    usual_gauge: Option<usize>,
) -> Result<PartRequest, PlanError> {
    let name = match piece {
        Some(piece) => piece.to_owned(),
        None => keys.need("name", "name = \"hem\"")?.string("hem")?,
    };
    let key = keys.path().to_owned();
    let gauge = match (keys.get("gauge"), usual_gauge) {
        (None, Some(usual)) => usual,
        (item, _) => gauges::chosen(item, &key, around.gauges)?,
    };
    let part = PartRequest {
        key,
        name,
        gauge,
        width: measure(&mut keys, ["width", "ease", "tolerance"], around.sizes)?,
        length: measure(&mut keys, ["length", "length_ease", "length_tolerance"], around.sizes)?,
        stitch_rule: stitch_rule(&mut keys)?,
        row_rule: row_rule(&mut keys)?,
        shaping: shaping::read(keys.get("shaping"), around.sizes)?,
        cord: keys.get("cord").map(|item| shaping::read_cord(&item, around.gauges)).transpose()?,
    };
    keys.finish()?;
    Ok(part)
}

/// A measure with its ease and tolerance; `None` where it is not there.
fn measure(
    keys: &mut Keys<'_>,
    [measure, ease, tolerance]: [&'static str; 3],
    sizes: &Sizes,
) -> Result<Option<MeasureRequest>, PlanError> {
    let (given, ease, tolerance) = (keys.get(measure), keys.get(ease), keys.get(tolerance));
    let Some(item) = given else {
        return match ease.or(tolerance) {
            Some(without) => Err(PlanError::at(without.path, format!("there is no {measure} it could belong to"))),
            None => Ok(None),
        };
    };
    Ok(Some(MeasureRequest {
        key: item.path.clone(),
        sizes: sizes.lengths(&item)?,
        ease: ease.map_or(Ok(Ease::NONE), |e| e.parsed(Ease::parse))?,
        tolerance: tolerance.map(|t| t.length()).transpose()?,
    }))
}

/// Multiple, balance, edges and seams of the stitches.
pub fn stitch_rule(keys: &mut Keys<'_>) -> Result<CountRule, PlanError> {
    let mut whole = |key, least, most| keys.get(key).map_or(Ok(least), |item| item.whole(least..=most));
    Ok(CountRule {
        multiple: whole("multiple", 1, 500)?,
        balance: whole("balance", 0, 500)?,
        edge: whole("edge_stitches", 0, 100)?,
        seam: whole("seam_stitches", 0, 100)?,
        also: None,
    })
}

/// Multiple and balance of the rows.
fn row_rule(keys: &mut Keys<'_>) -> Result<CountRule, PlanError> {
    let multiple = keys.get("row_multiple").map_or(Ok(1), |item| item.whole(1..=500))?;
    let balance = keys.get("row_balance").map_or(Ok(0), |item| item.whole(0..=500))?;
    Ok(CountRule { multiple, balance, ..CountRule::ANY })
}
