//! What is known of a class: the JSON contract `walewise.class/1`. Fields may be added, none changes its meaning. Numbers
//! are unrounded, gauges per 10 cm, lengths in mm.

use super::meaning::{KnitterPiece, Meaning};
use super::notes::Note;
use super::outliers::Apart;
use super::places::PlaceVariation;
use super::spread::Spread;
use crate::quantity::Expanded;
use serde::Serialize;

/// Name and version of the format.
pub const SCHEMA: &str = "walewise.class/1";

/// A class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Class {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// Version of the program.
    pub version: String,
    /// What the lesson is called; may be empty.
    pub title: String,
    /// The knitters, in the order they came in.
    pub knitters: Vec<Knitter>,
    /// Their swatches.
    pub swatches: Vec<Swatch>,
    /// Measurements that count.
    pub readings: usize,
    /// The spread of the stitches, and of the rows where they were measured.
    pub spread: Vec<Spread>,
    /// What it does to one piece; `None` where no stitches were measured.
    pub piece: Option<Meaning>,
    /// What can and can't be concluded.
    pub notes: Vec<Note>,
    /// What was left out, and why.
    pub left_out: Vec<LeftOut>,
}

/// One knitter.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Knitter {
    /// The name as it came in.
    pub name: String,
    /// Swatches and measurements.
    pub swatches: usize,
    /// Measurements of them.
    pub readings: usize,
    /// Mean gauge of the swatches that were measured, stitches and rows per 10 cm.
    pub per_10cm: [Option<Expanded>; 2],
    /// Whether stitches and rows stand apart from the class's.
    pub apart: [Option<Apart>; 2],
    /// The piece in this knitter's hands.
    pub piece: Option<KnitterPiece>,
}

/// One swatch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Swatch {
    /// Place of its knitter in [`Class::knitters`].
    pub knitter: usize,
    /// What it is called.
    pub name: String,
    /// Names of its measurements.
    pub readings: Vec<String>,
    /// Mean of its measurements, stitches and rows per 10 cm.
    pub per_10cm: [Option<Expanded>; 2],
    /// Variation from place to place, of stitches and rows; `None` where no map shows it.
    pub places: [Option<PlaceVariation>; 2],
}

/// Something that does not count.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// Whose it is, where that is known.
    pub knitter: Option<String>,
    /// What it is called.
    pub label: String,
    /// What kind of reason.
    pub kind: LeftOutKind,
    /// Why it does not count, in words.
    pub reason: String,
}

/// Why something does not count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LeftOutKind {
    /// The photo can't give an honest number.
    Refused,
    /// It can't be read as a photo, or its measuring failed.
    Unreadable,
    /// The same photo came in more than once.
    Duplicate,
    /// It is not where a knitter's photos are, or says too little.
    Misplaced,
}

impl LeftOutKind {
    /// In words that name nobody.
    pub fn words(self) -> &'static str {
        match self {
            Self::Refused => "the photo can't give an honest number",
            Self::Unreadable => "it can't be read as a photo",
            Self::Duplicate => "the same photo came in more than once",
            Self::Misplaced => "it does not say whose it is, or what was measured",
        }
    }
}

/// The class as JSON text, one line.
pub fn to_json(class: &Class) -> String {
    // Plain numbers and texts under text keys: serde_json can refuse only other keys.
    serde_json::to_string(class).unwrap_or_default() + "\n"
}
