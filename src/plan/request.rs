//! What is asked of a plan, with every value read and in range, before any arithmetic.
//!
//! Values that differ between sizes are lists, one value a size. `key` is the path of a table in the plan file, so that a
//! mistake found later can be shown where it was written.

use crate::sizing::{Arrangement, CountRule, Counted, Direction, Ease, GaugeCount, Length, Over, WholeFacts};

/// A whole plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// What the plan is called; may be empty.
    pub title: String,
    /// Who wears it, and what on it could hurt.
    pub facts: WholeFacts,
    /// The gauges; none where only stitches are spaced in a row.
    pub gauges: Vec<GaugeRequest>,
    /// Names of the sizes, at least one; a plan without sizes has one with an empty name.
    pub sizes: Vec<String>,
    /// Where the sizes' measures come from, in words; empty for the user's own.
    pub sizes_source: String,
    /// The pieces; none where only a pattern is worked over.
    pub pieces: Vec<PieceRequest>,
    /// A published pattern to work over.
    pub regauge: Option<RegaugeRequest>,
    /// Yarn to reckon.
    pub yarn: Option<YarnRequest>,
    /// Increases or decreases to space in one row.
    pub evenly: Vec<EvenRequest>,
}

/// Increases or decreases to space evenly in one row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EvenRequest {
    /// Path of its table.
    pub key: String,
    /// What it is called; may be empty.
    pub name: String,
    /// Stitches before.
    pub from: u32,
    /// Stitches after.
    pub to: u32,
    /// How the row begins and ends.
    pub arrangement: Arrangement,
}

/// One gauge.
#[derive(Debug, Clone, PartialEq)]
pub struct GaugeRequest {
    /// Path of its table.
    pub key: String,
    /// Its name.
    pub name: String,
    /// Where it comes from.
    pub source: GaugeSource,
    /// Standard deviation between areas of 10 × 10 cm, in per cent, where the user knows it.
    pub variation_percent: Option<f64>,
    /// Standard deviation between whole fabrics knitted on different days, in per cent; 0 where nobody says.
    pub another_day_percent: f64,
    /// What was knitted; empty where nobody said (a measurement then tells).
    pub stitch: String,
    /// Whether the swatch was knitted in the round.
    pub round: Option<bool>,
    /// Whether it was washed and dried as the piece will be.
    pub washed: Option<bool>,
    /// Whether it was measured stretched as worn.
    pub stretched: bool,
}

/// Where a gauge comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum GaugeSource {
    /// Typed counts.
    Typed {
        /// Stitches.
        stitches: GaugeCount,
        /// Rows; `None` where they were not counted.
        rows: Option<GaugeCount>,
        /// The length both were counted over.
        over: Over,
    },
    /// A file of measurement records (JSON, one a line).
    Measurement {
        /// The file.
        file: String,
        /// Which photo's record, where the file holds several.
        photo: Option<String>,
    },
    /// A swatch of a log.
    Logged {
        /// Its number.
        swatch: u32,
        /// The state it was measured in, by its name; `None`: the newest measurement counts.
        state: Option<String>,
        /// The log's file; `None`: the one that whoever calls uses.
        logbook: Option<String>,
    },
}

/// One piece.
#[derive(Debug, Clone, PartialEq)]
pub struct PieceRequest {
    /// Path of its table.
    pub key: String,
    /// Its name.
    pub name: String,
    /// Worked in the round; otherwise flat.
    pub round: bool,
    /// Which way it is knitted.
    pub direction: Direction,
    /// Its parts, in the order they are knitted, at least one.
    pub parts: Vec<PartRequest>,
}

/// A part of a piece with one gauge and one pattern.
#[derive(Debug, Clone, PartialEq)]
pub struct PartRequest {
    /// Path of its table.
    pub key: String,
    /// Its name; the piece's where it is the only one.
    pub name: String,
    /// Which gauge, an index into the request's.
    pub gauge: usize,
    /// Finished width (round: circumference); `None` goes on with the stitches of the part before.
    pub width: Option<MeasureRequest>,
    /// Finished length; `None` where nobody says.
    pub length: Option<MeasureRequest>,
    /// Which counts of stitches are possible.
    pub stitch_rule: CountRule,
    /// Which counts of rows are possible.
    pub row_rule: CountRule,
    /// Shaping steps, in the order they are knitted.
    pub shaping: Vec<ShapingRequest>,
    /// Cords the part grows out of and goes back to.
    pub cord: Option<CordRequest>,
}

/// A measure for each size.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasureRequest {
    /// Path of its key.
    pub key: String,
    /// The body's measure, or a finished one without ease; one a size.
    pub sizes: Vec<Length>,
    /// Ease.
    pub ease: Ease,
    /// Tolerance of the finished measure.
    pub tolerance: Option<Length>,
}

/// One shaping step.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapingRequest {
    /// Path of its table.
    pub key: String,
    /// What it is called, such as `sleeve`.
    pub name: String,
    /// To where.
    pub to: ShapeTo,
    /// Stitches gained or lost in one shaping row, all ends together.
    pub per_row: u32,
    /// How fast.
    pub pace: ShapePace,
    /// Where in the row.
    pub ends: Ends,
    /// Only on right-side rows.
    pub right_side_only: bool,
}

/// To where a shaping step goes.
#[derive(Debug, Clone, PartialEq)]
pub enum ShapeTo {
    /// So many stitches, one count a size.
    Count(Vec<u32>),
    /// So wide, one measure a size.
    Width(Vec<Length>),
}

/// How fast a shaping step goes.
#[derive(Debug, Clone, PartialEq)]
pub enum ShapePace {
    /// A shaping row every so many rows.
    Every(u32),
    /// Evenly over a length, one a size.
    OverLength(Vec<Length>),
    /// Evenly over all rows the part has left.
    OverRest,
}

/// Where in the row stitches are gained or lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ends {
    /// Half of them at either end.
    Both,
    /// All at the beginning of the row.
    Beginning,
    /// All at the end of the row.
    End,
    /// Evenly spaced along the row.
    Across,
}

/// Cords at both ends of a part knitted sideways.
#[derive(Debug, Clone, PartialEq)]
pub struct CordRequest {
    /// Path of its table.
    pub key: String,
    /// Stitches of the cord.
    pub stitches: u32,
    /// Length of each cord.
    pub length: Length,
    /// Stitches gained in one shaping row.
    pub per_row: u32,
    /// A shaping row every so many rows.
    pub every: u32,
    /// Gauge of the cord's own rows, an index into the request's; `None`: it is measured while it is knitted.
    pub gauge: Option<usize>,
}

/// A published pattern to work over.
#[derive(Debug, Clone, PartialEq)]
pub struct RegaugeRequest {
    /// Path of its table.
    pub key: String,
    /// My gauge, an index into the request's.
    pub gauge: usize,
    /// The pattern's stitches.
    pub stitches: GaugeCount,
    /// The pattern's rows.
    pub rows: Option<GaugeCount>,
    /// The length they are over.
    pub over: Over,
    /// Its counts.
    pub counts: Vec<RegaugeCount>,
}

/// One count of a published pattern.
#[derive(Debug, Clone, PartialEq)]
pub struct RegaugeCount {
    /// Path of its table.
    pub key: String,
    /// What the pattern calls it.
    pub name: String,
    /// Stitches or rows.
    pub counted: Counted,
    /// The count.
    pub count: u32,
    /// Which counts the pattern allows.
    pub rule: CountRule,
}

/// Yarn to reckon.
#[derive(Debug, Clone, PartialEq)]
pub struct YarnRequest {
    /// Path of its table.
    pub key: String,
    /// Mass of the whole swatch, in g.
    pub swatch_mass_g: f64,
    /// Step of the scale it was weighed on, in g.
    pub scale_step_g: f64,
    /// What of the swatch goes with its mass.
    pub swatch: SwatchWeight,
    /// Grams of a ball.
    pub ball_g: f64,
    /// Metres of a ball.
    pub ball_m: f64,
    /// Length of one tail, and how many tails.
    pub tails: (Length, u32),
    /// Length of all seams.
    pub seams: Length,
    /// Swatches knitted from the same yarn.
    pub swatches: u32,
    /// Spare share, in per cent.
    pub spare_percent: f64,
    /// Spread of the yarn used, in per cent; `None` takes the stated default.
    pub spread_percent: Option<f64>,
    /// A pattern's yarn to replace.
    pub replaces: Option<SubstituteRequest>,
}

/// What of a swatch goes with its mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SwatchWeight {
    /// Its two sides, each read within so much.
    Sides {
        /// Width and height.
        sides: [Length; 2],
        /// Within so much.
        within: Length,
    },
    /// All stitches worked in it.
    Stitches(u64),
    /// Its area as the measurement of a gauge saw it, an index into the request's.
    Measured(usize),
}

/// Yarn of a published pattern.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SubstituteRequest {
    /// Balls.
    pub balls: u32,
    /// Grams of one.
    pub ball_g: f64,
    /// Metres of one.
    pub ball_m: f64,
}
