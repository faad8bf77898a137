//! The whole swatch, what a person counted, and several photos of one swatch, in a record.

use super::{PhotoFacts, Status};
use crate::quantity::{Expanded, NORMAL_95};
use serde::{Deserialize, Serialize};

/// The whole swatch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Swatch {
    /// Its outline in the photo, borders and cast-on edge included.
    pub outline_px: Vec<[f64; 2]>,
    /// Its area, in mm²; `None` where it is not known.
    pub area_mm2: Option<f64>,
    /// Standard uncertainty of the area, in mm².
    #[serde(default)]
    pub area_standard_uncertainty_mm2: Option<f64>,
    /// Mean width along the row, in mm.
    #[serde(default)]
    pub width_mm: Option<Size>,
    /// Mean height along the wale, in mm.
    #[serde(default)]
    pub height_mm: Option<Size>,
    /// Share of the outline that was bridged because a ruler lies on it, 0 to 1.
    #[serde(default)]
    pub bridged_share: f64,
}

/// A length with its standard uncertainty, in mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Size {
    /// The length.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
}

impl Size {
    /// Half-width of its 95 % interval, in mm: the normal law's, since where the uncertainty comes from is not kept.
    pub fn half_width_95(&self) -> f64 {
        NORMAL_95 * self.standard_uncertainty
    }
}

/// What a person counted, and over which length.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CountedNote {
    /// Stitches counted along the row.
    pub stitches: f64,
    /// Rows counted along the wale.
    pub rows: f64,
    /// Over what they were counted.
    pub over: CountedOver,
    /// Length of that along the row, in mm.
    pub width_mm: f64,
    /// Length of that along the wale, in mm.
    pub height_mm: f64,
}

/// Over what a person counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CountedOver {
    /// The whole swatch, from edge to edge.
    Outline,
    /// Between two points, opposite corners of what was counted.
    Corners,
    /// Along one run for the stitches and another for the rows.
    Runs,
}

/// One of several photos that make one record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhotoPart {
    /// Which photo.
    pub photo: PhotoFacts,
    /// How it ended by itself.
    pub status: Status,
    /// Its own stitches per 10 cm.
    pub stitches_per_10cm: Option<Expanded>,
    /// Its own rows per 10 cm.
    pub rows_per_10cm: Option<Expanded>,
    /// Its weight in the result, for stitches and rows; `None` where it has none.
    pub weights: Option<[f64; 2]>,
    /// Why it has none, in words.
    pub left_out: Option<String>,
}
