//! What the spread does to one piece: the same counts in every knitter's hands, and each knitter's own.

use crate::quantity::{Confidence, Contribution, Expanded, Source, Uncertain};
use crate::sizing::{
    CountError, CountRule, Counted, NeedleResponse, Target, Tension, castable, finished_mm, needle_advice,
    probability_within, usual_tolerance_mm,
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
    /// Wanted width, in mm.
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
    let rows_per_10cm = pattern[1].filter(|_| means[1].is_some());
    let plan = PatternPiece::of(piece, stitches_per_10cm, rows_per_10cm)?;
    let mut pieces = Vec::new();
    for own in knitters {
        let stitches = own[0].map(|measured| of_next_piece(measured, varies[0]));
        let rows = own[1].map(|measured| of_next_piece(measured, varies[1]));
        pieces.push(stitches.map(|stitches| plan.in_hands_of(&stitches, rows.as_ref())).transpose()?);
    }
    let known = || pieces.iter().flatten();
    let Some(widths_mm) = ends(known().map(|p| p.width_mm.value)) else { return Ok(None) };
    let meaning = Meaning {
        width_mm: piece.width_mm,
        tolerance_mm: plan.width.tolerance_mm,
        height_mm: piece.height_mm,
        pattern_per_10cm: pattern,
        pattern_is_stated: piece.pattern_per_10cm.is_some(),
        stitches: plan.stitches,
        rows: plan.rows,
        widths_mm,
        heights_mm: ends(known().filter_map(|p| p.height_mm).map(|h| h.value)),
        can_share: known().filter(|p| p.pattern_as_written == AsWritten::Yes).count(),
    };
    Ok(Some((meaning, pieces)))
}

/// The piece as the pattern has it: what is wanted, and the counts that come nearest at the pattern's gauge.
struct PatternPiece {
    width: Target,
    height: Target,
    rule: CountRule,
    stitches_per_10cm: f64,
    stitches: u32,
    rows: Option<u32>,
}

impl PatternPiece {
    fn of(piece: &Piece, stitches_per_10cm: f64, rows_per_10cm: Option<f64>) -> Result<Self, CountError> {
        let target =
            |finished_mm, tolerance_mm| Target { body_mm: finished_mm, ease_mm: 0.0, finished_mm, tolerance_mm };
        let width = target(piece.width_mm, piece.tolerance_mm.unwrap_or_else(|| usual_tolerance_mm(piece.width_mm)));
        let height = target(piece.height_mm, usual_tolerance_mm(piece.height_mm));
        let chosen = |counted, target, rule, per_10cm| {
            castable(counted, target, rule, &Uncertain::exact(per_10cm)).map(|c| c.chosen().count)
        };
        let stitches = chosen(Counted::Stitches, width, piece.rule, stitches_per_10cm)?;
        let rows = rows_per_10cm.map(|rows| chosen(Counted::Rows, height, CountRule::ANY, rows)).transpose()?;
        Ok(Self { width, height, rule: piece.rule, stitches_per_10cm, stitches, rows })
    }

    /// The same counts, and the counts for the same size, at a knitter's gauge. Without the pattern's rows there are none.
    fn in_hands_of(&self, stitches: &Uncertain, rows: Option<&Uncertain>) -> Result<KnitterPiece, CountError> {
        let seen = self.stitches - self.rule.seam;
        let probability = probability_within(seen, self.width, stitches);
        let cast_on = castable(Counted::Stitches, self.width, self.rule, stitches)?;
        let rows = rows.zip(self.rows);
        let needed = |own| castable(Counted::Rows, self.height, CountRule::ANY, own).map(|c| c.chosen().count);
        let advice = needle_advice(stitches, self.stitches_per_10cm, NeedleResponse::common_practice());
        Ok(KnitterPiece {
            width_mm: finished_mm(seen, stitches).expanded(Confidence::P95),
            height_mm: rows.map(|(own, count)| finished_mm(count, own).expanded(Confidence::P95)),
            probability_within_tolerance: probability,
            pattern_as_written: AsWritten::of(probability),
            cast_on: cast_on.chosen().count,
            cast_on_width_mm: cast_on.chosen().finished_mm,
            rows: rows.map(|(own, _)| needed(own)).transpose()?,
            tension: advice.tension,
            needle_sizes: advice.sizes,
        })
    }
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
