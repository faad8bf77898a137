//! What a plan comes to: the JSON contract `walewise.plan/1`. Fields may be added, none changes its meaning; lengths are in
//! mm, numbers unrounded.

use super::request::Ends;
use crate::quantity::Expanded;
use crate::sizing::{
    Band, Castable, Direction, FabricVariation, GaugeLine, Length, NeedleAdvice, PlanCaution, Regauged, Schedule,
    Spacing, Substitution, YarnAmount,
};
use serde::Serialize;

/// Name and version of the format.
pub const SCHEMA: &str = "walewise.plan/1";

/// A whole plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// Version of the program.
    pub version: &'static str,
    /// What it is called; may be empty.
    pub title: String,
    /// Names of the sizes; one empty name where there is one size only.
    pub sizes: Vec<String>,
    /// Where the sizes' measures come from; empty for the user's own.
    pub sizes_source: String,
    /// The gauges.
    pub gauges: Vec<GaugeNote>,
    /// The pieces.
    pub pieces: Vec<PiecePlan>,
    /// A published pattern at this gauge.
    pub regauge: Option<RegaugePlan>,
    /// Yarn, one entry a size.
    pub yarn: Vec<YarnPlan>,
    /// A pattern's yarn replaced.
    pub substitution: Option<Substitution>,
    /// Increases or decreases spaced in one row.
    pub evenly: Vec<EvenPlan>,
    /// What to be careful about.
    pub cautions: Vec<PlanCaution>,
}

/// Increases or decreases spaced in one row.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EvenPlan {
    /// What it is called; may be empty.
    pub name: String,
    /// The plain stitches between them.
    pub spacing: Spacing,
    /// After which stitches of the row before each change lies.
    pub places: Vec<u32>,
}

/// One gauge.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GaugeNote {
    /// Its name.
    pub name: String,
    /// Where it comes from, in words.
    pub source: String,
    /// What was knitted; empty where nobody said.
    pub stitch: String,
    /// Stitches per 10 cm of the next 10 × 10 cm knitted alike.
    pub stitches_per_10cm: Expanded,
    /// Rows per 10 cm likewise.
    pub rows_per_10cm: Option<Expanded>,
    /// How the fabric varies.
    pub variation: FabricVariation,
    /// The gauge as a pattern prints it, over 10 cm and over 4 in.
    pub lines: Vec<GaugeLine>,
    /// Whether it was stated over "10 cm / 4 in" and 10 cm was taken.
    pub ten_cm_taken: bool,
}

/// One piece in all sizes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PiecePlan {
    /// Its name.
    pub name: String,
    /// Worked in the round.
    pub round: bool,
    /// Which way it is knitted.
    pub direction: Direction,
    /// One entry a size.
    pub sizes: Vec<SizedPiece>,
}

/// One piece in one size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SizedPiece {
    /// Name of the size; empty where there is one only.
    pub size: String,
    /// Its parts in the order they are knitted.
    pub parts: Vec<PartPlan>,
    /// Length of all parts together, in mm, where all are known.
    pub length_mm: Option<Expanded>,
}

/// One part in one size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartPlan {
    /// Its name.
    pub name: String,
    /// Name of its gauge.
    pub gauge: String,
    /// Stitches at its beginning (at full width for a band between cords).
    pub stitches: AxisPlan,
    /// Its rows; `None` where nobody says how long it is.
    pub rows: Option<AxisPlan>,
    /// How the part before is brought to this part's stitches, in the first of this part's rows.
    pub join: Option<Spacing>,
    /// Shaping steps; their rows are counted behind the join.
    pub shaping: Vec<ShapingPlan>,
    /// Straight rows after the join and the shaping.
    pub straight_rows: u32,
    /// Cords at both ends.
    pub cord: Option<CordPlan>,
    /// Stitches at its end.
    pub stitches_at_end: u32,
    /// Width of the end, in mm.
    pub end_mm: Expanded,
    /// Stitches worked over all its rows, cords included where their rows are known.
    pub stitches_worked: u64,
}

/// Stitches or rows of a part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AxisPlan {
    /// How many.
    pub count: u32,
    /// What they measure, in mm.
    pub finished_mm: Expanded,
    /// The counts about the wanted measure and why this one; `None` where the count follows from the part before.
    pub castable: Option<Castable>,
}

/// One shaping step in one size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShapingPlan {
    /// What it is called.
    pub name: String,
    /// Where in the row.
    pub ends: Ends,
    /// Which rows shape.
    pub schedule: Schedule,
    /// How the stitches of each shaping row are spaced, for shaping across the row; otherwise empty.
    pub across: Vec<Spacing>,
    /// Length it takes, in mm; `None` where the rows' gauge is not known.
    pub length_mm: Option<Expanded>,
    /// Width after it, in mm.
    pub width_after_mm: Expanded,
}

/// Cords at both ends of a part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CordPlan {
    /// Stitches of the cord.
    pub stitches: u32,
    /// Length of each cord, in mm.
    pub length_mm: Length,
    /// Rows of each cord; `None` where its gauge is not known.
    pub rows: Option<u32>,
    /// The band between the cords.
    pub band: Band,
    /// Length of the widening at either end, in mm.
    pub taper_mm: Expanded,
}

/// A published pattern worked over.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RegaugePlan {
    /// Name of my gauge.
    pub gauge: String,
    /// The pattern's stitches per 10 cm.
    pub pattern_stitches_per_10cm: f64,
    /// The pattern's rows per 10 cm.
    pub pattern_rows_per_10cm: Option<f64>,
    /// Whether the pattern says "10 cm / 4 in" and 10 cm was taken.
    pub ten_cm_taken: bool,
    /// Its counts.
    pub counts: Vec<Regauged>,
    /// Whether another needle would help.
    pub needle: NeedleAdvice,
}

/// Yarn for one size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct YarnPlan {
    /// Name of the size.
    pub size: String,
    /// How much.
    pub amount: YarnAmount,
    /// tex of the yarn, from the ball's grams and metres.
    pub tex: f64,
    /// Metres of the pieces by Munden's constants, a remark on plausibility only; `None` where it does not apply.
    pub plausible_m: Option<f64>,
}
