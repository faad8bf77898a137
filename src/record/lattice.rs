//! The lattice of stitches and rows in a record: what was followed, and why it was decided so.

use crate::lattice::Agreement;
use crate::refusal::Rival;
use serde::{Deserialize, Serialize};

/// The lattice of stitches and rows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LatticeNote {
    /// Direction in the photo in which the stitch number grows, in degrees (0 right, 90 down).
    pub stitch_axis_deg: f64,
    /// Direction in the photo in which the row number grows, in degrees.
    pub row_axis_deg: f64,
    /// Departure of the angle between row and wale, in the fabric, from a right angle, in degrees.
    pub skew_deg: f64,
    /// Whole extent of the measured region along the row, in stitches.
    pub stitches_counted: f64,
    /// Whole extent of the measured region along the wale, in rows.
    pub rows_counted: f64,
    /// Share of the fabric in sight, or of it inside what the user outlined, that the measured region covers, 0 to 1; `None` in
    /// records of versions that did not keep it. What looks like the fabric but is none makes it too small.
    #[serde(default)]
    pub share_followed: Option<f64>,
    /// Outline of the measured region in the photo.
    pub region_px: Vec<[f64; 2]>,
    /// Outlines in the photo of further parts of the same fabric, each followed by itself: the gauge is the mean over all, by
    /// area. Empty where all was followed in one piece, and in records of versions that did not look.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub other_parts_px: Vec<Vec<[f64; 2]>>,
    /// The gauge from place to place. Neighbouring places share data: they are not replicates.
    pub local: Vec<LocalGauge>,
    /// What decided that these are single stitches and single rows; `None` in records of versions that did not keep it.
    #[serde(default)]
    pub decision: Option<DecisionNote>,
}

/// What decided which lattice is that of single stitches and single rows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DecisionNote {
    /// What the user said that took part: `pattern`, `row_direction`, `expected_gauge`, `region`.
    pub declared: Vec<String>,
    /// Log-score of the chosen reading. Scores compare within one photo only.
    pub score: f64,
    /// By how much the chosen reading is ahead of the best one that counts other stitches or rows.
    pub margin: f64,
    /// The margin that was needed.
    pub margin_needed: f64,
    /// Places of the fabric that were read, and how many of them, each by itself, read the same counts.
    pub places: Agreement,
    /// Projections of colour that were read, and how many of them, each by itself, read the same counts.
    pub projections: Agreement,
    /// Weights of the logarithms of linear red, green and blue in whose sum the stitches were read.
    pub projection: [f32; 3],
    /// The lines of the spectrum that carry the reading, strongest first.
    pub lines: Vec<SpectralLine>,
    /// The best other readings, best first.
    pub rivals: Vec<Rival>,
}

/// One line of the fabric's two-dimensional spectrum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpectralLine {
    /// Multiple of the stitch frequency; fractions belong to the pattern's repeat.
    pub h: f64,
    /// Multiple of the row frequency.
    pub k: f64,
    /// Amplitude over that of the noise around it.
    pub amplitude_over_noise: f64,
}

/// The gauge at one place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LocalGauge {
    /// Px from the photo's left edge.
    pub x_px: f64,
    /// Px from the photo's upper edge.
    pub y_px: f64,
    /// Stitches per 10 cm there.
    pub stitches_per_10cm: f64,
    /// Rows per 10 cm there.
    pub rows_per_10cm: f64,
}
