//! What the spread does to one piece: the same counts in every knitter's hands, and each knitter's own.

use crate::quantity::{Confidence, Contribution, Expanded, Source, Uncertain};
use crate::sizing::{
    CountError, CountRule, Counted, NeedleResponse, Target, Tension, castable, finished_mm, needle_advice,
    usual_tolerance_mm,
};
use serde::Serialize;

/// The piece the lesson is about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    /// Wanted width, along the rows, in mm.
    pub width_mm: f64,
    /// Wanted height, along the wales, in mm.
    pub height_mm: f64,
    /// How far off the width may be, in mm; `None` takes the usual tolerance.
    pub tolerance_mm: Option<f64>,
    /// Which counts of stitches are possible.
    pub rule: CountRule,
    /// Stitches and rows per 10 cm the pattern is written for; `None`: the class's mean.
    pub pattern_per_10cm: Option<[f64; 2]>,
}

impl Piece {
    /// A headband: 50 cm round, 10 cm high, any count of stitches (a stated choice).
    pub const HEADBAND: Self =
        Self { width_mm: 500.0, height_mm: 100.0, tolerance_mm: None, rule: CountRule::ANY, pattern_per_10cm: None };
}

/// The piece as the pattern has it, and what the class makes of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Meaning {
    /// Wanted width and how far off it may be, in mm.
    pub width_mm: f64,
    /// How far off the width may be, in mm.
    pub tolerance_mm: f64,
    /// Wanted height, in mm.
    pub height_mm: f64,
    /// Gauge the pattern is written for.
    pub pattern_per_10cm: [Option<f64>; 2],
    /// Whether that gauge was stated; otherwise it is the class's mean.
    pub pattern_is_stated: bool,
    /// Stitches the pattern casts on.
    pub stitches: u32,
    /// Rows the pattern knits; `None` where no rows were measured.
    pub rows: Option<u32>,
    /// Narrowest and widest the same stitches come out in this class, in mm.
    pub widths_mm: [f64; 2],
    /// Shortest and longest the same rows come out, in mm.
    pub heights_mm: Option<[f64; 2]>,
    /// How many knitters can use the pattern as written, surely.
    pub can_share: usize,
}

/// One knitter's piece.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KnitterPiece {
    /// Width of the pattern's stitches in this knitter's hands, in mm.
    pub width_mm: Expanded,
    /// Height of the pattern's rows, in mm.
    pub height_mm: Option<Expanded>,
    /// Probability that the width comes out within the tolerance, 0 to 1.
    pub probability_within_tolerance: f64,
    /// Whether the knitter can use the pattern as written.
    pub pattern_as_written: AsWritten,
    /// Stitches to cast on instead, for the wanted width at the knitter's own gauge.
    pub cast_on: u32,
    /// What those measure, in mm.
    pub cast_on_width_mm: Expanded,
    /// Rows for the wanted height at the knitter's own gauge.
    pub rows: Option<u32>,
    /// How the knitter's stitches compare with the pattern's.
    pub tension: Tension,
    /// Needle sizes to go up (more than 0) or down, by common practice.
    pub needle_sizes: i32,
}

/// Whether a pattern can be used as written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AsWritten {
    /// Within the tolerance, with 95 %.
    Yes,
    /// Beyond it, with 95 %.
    No,
    /// Neither is sure.
    CantTell,
}

impl AsWritten {
    fn of(probability: f64) -> Self {
        match probability {
            p if p >= 0.95 => Self::Yes,
            p if p <= 0.05 => Self::No,
            _ => Self::CantTell,
        }
    }
}

/// A knitter's own gauge: stitches and rows per 10 cm of the swatches that were measured.
pub type OwnGauge<'a> = [Option<&'a Uncertain>; 2];

/// What the class's gauges mean, with each knitter's piece in the order of the knitters.
pub type MeaningForAll = (Meaning, Vec<Option<KnitterPiece>>);

/// The piece in every knitter's hands. `varies` is how much another piece of one knitter differs, per 10 cm, of stitches
/// and rows. Knitters without stitches have no piece. `None` where no knitter has any.
///
/// # Errors
/// Where no possible count of stitches comes near the wanted width.
pub fn meaning(
    piece: &Piece,
    means: [Option<f64>; 2],
    knitters: &[OwnGauge],
    varies: [Option<f64>; 2],
) -> Result<Option<MeaningForAll>, CountError> {
    let pattern = [0, 1].map(|axis| piece.pattern_per_10cm.map(|p| p[axis]).or(means[axis]));
    let Some(stitches_per_10cm) = pattern[0].filter(|_| means[0].is_some()) else { return Ok(None) };
    let tolerance_mm = piece.tolerance_mm.unwrap_or_else(|| usual_tolerance_mm(piece.width_mm));
    let target = |finished_mm, tolerance_mm| Target { body_mm: finished_mm, ease_mm: 0.0, finished_mm, tolerance_mm };
    let width = target(piece.width_mm, tolerance_mm);
    let height = target(piece.height_mm, usual_tolerance_mm(piece.height_mm));
    let exact = |per_10cm| Uncertain::exact(per_10cm);
    let stitches = castable(Counted::Stitches, width, piece.rule, &exact(stitches_per_10cm))?.chosen().count;
    let rows = pattern[1].zip(means[1]).map(|(rows_per_10cm, _)| {
        castable(Counted::Rows, height, CountRule::ANY, &exact(rows_per_10cm)).map(|c| c.chosen().count)
    });
    let rows = rows.transpose()?;
    let mut pieces = Vec::new();
    for own in knitters {
        let Some(measured) = own[0] else {
            pieces.push(None);
            continue;
        };
        let next = of_next_piece(measured, varies[0]);
        let seen = stitches - piece.rule.seam;
        let reach = |mm: f64| 100.0 * f64::from(seen) / mm;
        let probability = next.probability_between(
            reach(piece.width_mm + tolerance_mm),
            reach((piece.width_mm - tolerance_mm).max(1e-6)),
        );
        let cast_on = castable(Counted::Stitches, width, piece.rule, &next)?;
        let own_rows = own[1].filter(|_| rows.is_some()).map(|r| of_next_piece(r, varies[1]));
        let rows_needed = own_rows.as_ref().map(|r| castable(Counted::Rows, height, CountRule::ANY, r)).transpose()?;
        let advice = needle_advice(&next, stitches_per_10cm, NeedleResponse::common_practice());
        pieces.push(Some(KnitterPiece {
            width_mm: finished_mm(seen, &next).expanded(Confidence::P95),
            height_mm: own_rows.zip(rows).map(|(r, count)| finished_mm(count, &r).expanded(Confidence::P95)),
            probability_within_tolerance: probability,
            pattern_as_written: AsWritten::of(probability),
            cast_on: cast_on.chosen().count,
            cast_on_width_mm: cast_on.chosen().finished_mm,
            rows: rows_needed.map(|r| r.chosen().count),
            tension: advice.tension,
            needle_sizes: advice.sizes,
        }));
    }
    let Some(widths_mm) = ends(pieces.iter().flatten().map(|p| p.width_mm.value)) else { return Ok(None) };
    let heights_mm = ends(pieces.iter().flatten().filter_map(|p| p.height_mm).map(|h| h.value));
    let can_share = pieces.iter().flatten().filter(|p| p.pattern_as_written == AsWritten::Yes).count();
    let meaning = Meaning {
        width_mm: piece.width_mm,
        tolerance_mm,
        height_mm: piece.height_mm,
        pattern_per_10cm: pattern,
        pattern_is_stated: piece.pattern_per_10cm.is_some(),
        stitches,
        rows,
        widths_mm,
        heights_mm,
        can_share,
    };
    Ok(Some((meaning, pieces)))
}

/// The gauge of the knitter's next piece: what was measured, and how much one piece differs from another.
fn of_next_piece(measured: &Uncertain, varies: Option<f64>) -> Uncertain {
    match varies.filter(|v| *v > 0.0) {
        Some(standard) => measured.clone().with(Contribution::stated(Source::named("the next piece"), standard)),
        None => measured.clone(),
    }
}

fn ends(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    values.fold(None, |ends: Option<[f64; 2]>, v| Some(ends.map_or([v, v], |[low, high]| [low.min(v), high.max(v)])))
}
