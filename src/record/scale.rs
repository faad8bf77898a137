//! How photo pixels became millimetres, in a record.

use crate::gauge::RulerOn;
use crate::plane::RadialDistortion;
use crate::ruler::RulerUnit;
use serde::{Deserialize, Serialize};

/// What gave the scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ScaleKind {
    /// A ruler's graduations.
    Ruler,
    /// The printed calibration card.
    Card,
    /// A card of the size ISO/IEC 7810 ID-1.
    Id1,
    /// A printed grid of known pitch.
    Grid,
    /// Two points and a length given by the user.
    Span,
    /// The outline of the whole swatch, with its counts.
    Outline,
}

/// How photo pixels became millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scale {
    /// What gave the scale.
    pub kind: ScaleKind,
    /// What the ruler counts in; `None` where there is no ruler.
    pub unit: Option<RulerUnit>,
    /// Scale at the middle of the measured region, in pixels per mm.
    pub px_per_mm: f64,
    /// Projective map from undistorted pixels to mm in the fabric's plane, row by row.
    pub photo_to_mm: [f64; 9],
    /// The lens term that belongs to it.
    pub distortion: Option<Distortion>,
    /// Graduations that went into the scale.
    pub graduations_read: usize,
    /// Length of ruler that was read, in mm.
    pub length_read_mm: f64,
    /// What the ruler was taken to lie on; `None` where it does not matter.
    pub ruler_on: Option<RulerOn>,
    /// By how much the scale was changed because ruler and fabric differ in height, in per cent.
    pub height_correction_percent: f64,
    /// Angle between the camera's axis and the fabric's normal, in degrees; `None` where it was not seen.
    pub tilt_deg: Option<f64>,
    /// Distance from the camera to the fabric, in mm; `None` where it is not known.
    pub camera_distance_mm: Option<f64>,
}

/// Radial lens distortion: distorted = centre + (undistorted − centre)·(1 + k1 r² + k2 r⁴), r in units of `radius_px`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Distortion {
    /// Centre of distortion, px from the left edge.
    pub centre_x_px: f64,
    /// Centre of distortion, px from the upper edge.
    pub centre_y_px: f64,
    /// Length of one unit of r, in pixels.
    pub radius_px: f64,
    /// First radial coefficient.
    pub k1: f64,
    /// Second radial coefficient; 0 without a lens profile.
    #[serde(default)]
    pub k2: f64,
}

impl From<RadialDistortion> for Distortion {
    fn from(d: RadialDistortion) -> Self {
        Self { centre_x_px: d.centre.x, centre_y_px: d.centre.y, radius_px: d.radius_px, k1: d.k1, k2: d.k2 }
    }
}
