//! Rulers: a line with a one-dimensional comb of graduations across it, read to a fraction of a pixel.

mod blank;
mod body;
mod chain;
mod edges;
mod find;
mod fit;
mod grid;
mod hierarchy;
mod id1;
mod ink;
mod numerals;
mod pull;
mod settle;
mod small;
mod strokes;
mod tips;
mod train;

#[cfg(test)]
mod tests;

pub use find::{RulerSettings, read};
pub use grid::{read_card, read_grid};
pub use id1::{no_id1, read_id1};

use crate::quantity::PhotoPoint;
use serde::{Deserialize, Serialize};

/// What a ruler counts in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RulerUnit {
    /// Millimetres, half millimetres or centimetres.
    Cm,
    /// Inches in halves, quarters … thirty-seconds; 1 in = 25.4 mm exactly.
    Inch,
}

/// One graduation that was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Graduation {
    /// Number of the mark within its train; consecutive marks differ by one, missing marks leave gaps.
    pub index: i32,
    /// Where the mark's centre line meets the train's base line.
    pub at: PhotoPoint,
    /// Standard uncertainty of `at` along the base line, in pixels.
    pub along_sigma_px: f64,
    /// Length of the mark from the base line, in pixels.
    pub length_px: f64,
}

/// Two places on the centre line of one mark: they show which way the mark runs, and the marks together how the plane is
/// tilted across the ruler. Both are found in the same way, so that what shifts a whole mark shifts both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkTip {
    /// Number of the mark within its train.
    pub index: i32,
    /// A point on the mark's centre line, near the base line.
    pub from: PhotoPoint,
    /// A point on the mark's centre line, near its free end.
    pub at: PhotoPoint,
    /// Standard uncertainty of `at` against `from` along the base line, in pixels.
    pub along_sigma_px: f64,
}

/// A row of evenly spaced graduations along one edge of a ruler.
#[derive(Debug, Clone, PartialEq)]
pub struct GraduationTrain {
    /// What the ruler counts in on this edge.
    pub unit: RulerUnit,
    /// Spacing of neighbouring marks, in mm (1.0, 0.5, 25.4/16 …).
    pub pitch_mm: f64,
    /// The marks that were seen, by index.
    pub marks: Vec<Graduation>,
    /// Where the marks run to, for those that could be followed; may be empty.
    pub tips: Vec<MarkTip>,
    /// Direction from the base line to the marks' free ends, a unit vector in photo pixels.
    pub mark_direction: (f64, f64),
    /// Root mean square of the marks about the projective fit of position on index, in pixels.
    pub residual_rms_px: f64,
    /// How well the pattern of mark lengths supports the unit, 0 to 1.
    pub hierarchy: f64,
}

impl GraduationTrain {
    /// From the first mark to the last, in mm; 0 where there is none.
    pub fn length_mm(&self) -> f64 {
        let (Some(first), Some(last)) = (self.marks.first(), self.marks.last()) else { return 0.0 };
        f64::from(last.index - first.index).abs() * self.pitch_mm
    }
}

/// Everything read from one ruler. All trains lie in one plane and are parallel on the ruler.
#[derive(Debug, Clone, PartialEq)]
pub struct RulerReading {
    /// One train for each graduated edge that was read, the best first; never empty.
    pub trains: Vec<GraduationTrain>,
    /// Outline of the ruler's body as far as it was seen: what to leave out when the fabric is looked for.
    pub outline_px: Vec<PhotoPoint>,
}

/// Corners of a printed square grid.
#[derive(Debug, Clone, PartialEq)]
pub struct GridReading {
    /// Side of one square, in mm.
    pub pitch_mm: f64,
    /// Corners: column, row, place in the photo.
    pub corners: Vec<(i32, i32, PhotoPoint)>,
    /// Standard uncertainty of a corner's place, in px, each way.
    pub sigma_px: f64,
    /// Outline of the card or mat as far as it was seen: left out when the fabric is looked for.
    pub outline_px: Vec<PhotoPoint>,
}

/// A place on something flat of known measures, and where the photo shows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlacedPoint {
    /// Place along the thing's longer side, in mm.
    pub along_mm: f64,
    /// Place along its shorter side, in mm, turning from the first as the photo's axes do.
    pub across_mm: f64,
    /// Where the photo shows it.
    pub at: PhotoPoint,
    /// Standard uncertainty of `at` in the longer side's direction, in px.
    pub along_sigma_px: f64,
    /// Standard uncertainty of `at` square to that, in px.
    pub across_sigma_px: f64,
}

/// What was read of the calibration card ([`crate::card`]).
#[derive(Debug, Clone, PartialEq)]
pub struct CardReading {
    /// Corners of its squares, in the card's own mm as if it were printed true to size.
    pub corners: Vec<PlacedPoint>,
    /// Standard uncertainty of a corner's place, in px, each way.
    pub sigma_px: f64,
    /// Outline of the card: left out when the fabric is looked for.
    pub outline_px: Vec<PhotoPoint>,
}

/// What was read of a card of the size ISO/IEC 7810 ID-1.
#[derive(Debug, Clone, PartialEq)]
pub struct Id1Reading {
    /// Places on the straight parts of its four edges. Along its edge each is free: its uncertainty there is as large as
    /// the card.
    pub edges: Vec<PlacedPoint>,
    /// Outline of the card, and a little beyond: left out when the fabric is looked for, and blanked in pictures.
    pub outline_px: Vec<PhotoPoint>,
}
