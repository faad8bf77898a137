//! How much nearer the camera the ruler's face is than the fabric's visible surface, and how sure that is.
//!
//! A height difference h at camera distance D changes the scale by h/D: 2 mm at 200 mm is 1 %, often the largest part of
//! all. Neither the fabric's thickness nor the ruler's is seen from above, so both are expected from what is usual and
//! their spread goes into the budget.

use serde::{Deserialize, Serialize};

/// What the ruler lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RulerOn {
    /// The table, beside the swatch.
    Table,
    /// The fabric.
    Fabric,
}

/// Height of the fabric's visible surface over the table, in widths of a stitch: limits of a rectangular distribution.
///
/// The yarn of a hand-knitted fabric is about 0.4 stitch widths thick. The fabric is two to three yarns thick where loops
/// cross; the surface that carries the picture lies between the yarn's axis in the upper layer and its crest: from about
/// one yarn diameter (0.4) to three (1.1) over the table.
const SURFACE_PER_STITCH: (f64, f64) = (0.4, 1.1);

/// Thickness of a ruler nothing is known of, where its marks are, in mm: tapes 0.3, steel rules 0.5–1, plastic and wooden
/// ones 1–3, their edges often bevelled (common practice, no source).
const RULER_THICKNESS_MM: (f64, f64) = (0.3, 2.7);

/// How far a ruler that rests on the crests of the fabric is held above the surface that carries the picture, in stitch
/// widths: nothing for flat fabric, half a yarn or more where ribs or ridges stand up.
const CREST_PER_STITCH: (f64, f64) = (0.0, 0.5);

/// Height of the ruler's face above the fabric's visible surface, as a mean and independent rectangular parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeightDifference {
    /// Expected height, in mm; positive when the ruler is nearer the camera.
    pub mean_mm: f64,
    /// Half-width of the part that comes from the fabric, in mm.
    pub fabric_half_width_mm: f64,
    /// Half-width of the part that comes from the ruler's thickness, in mm.
    pub ruler_half_width_mm: f64,
}

impl HeightDifference {
    /// No difference: the scale was taken on the fabric's own surface.
    pub const NONE: Self = Self { mean_mm: 0.0, fabric_half_width_mm: 0.0, ruler_half_width_mm: 0.0 };
}

/// The height to expect. `on` is what the ruler lies on, `None` where it may be either: the limits then hold both.
/// `stitch_width_mm` is the distance of neighbouring stitches; `thickness_mm` is the ruler's thickness as the user gives
/// it, taken as good to 0.2 mm, or `None`.
pub fn height_difference(on: Option<RulerOn>, stitch_width_mm: f64, thickness_mm: Option<f64>) -> HeightDifference {
    const TOLD_HALF_WIDTH_MM: f64 = 0.2;
    // A thickness of nothing means that the scale lies in the surface itself, as drawn or printed scales do.
    if on == Some(RulerOn::Fabric) && thickness_mm == Some(0.0) {
        return HeightDifference::NONE;
    }
    let (thickness, ruler_half_width_mm) = match thickness_mm {
        Some(t) => (t, if t == 0.0 { 0.0 } else { TOLD_HALF_WIDTH_MM }),
        None => middle_and_half_width(RULER_THICKNESS_MM),
    };
    let (low, high) = SURFACE_PER_STITCH;
    let in_stitches = match on {
        Some(RulerOn::Table) => (-high, -low),
        Some(RulerOn::Fabric) => CREST_PER_STITCH,
        None => (-high, CREST_PER_STITCH.1),
    };
    let (middle, half_width) = middle_and_half_width(in_stitches);
    HeightDifference {
        mean_mm: thickness + middle * stitch_width_mm,
        fabric_half_width_mm: half_width * stitch_width_mm,
        ruler_half_width_mm,
    }
}

fn middle_and_half_width((low, high): (f64, f64)) -> (f64, f64) {
    ((low + high) / 2.0, (high - low) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ruler_on_the_table_lies_below_thick_fabric_and_one_on_the_fabric_above() {
        assert!(height_difference(Some(RulerOn::Table), 6.0, Some(0.5)).mean_mm < -2.0);
        assert!(height_difference(Some(RulerOn::Fabric), 6.0, Some(0.5)).mean_mm > 0.5);
        assert_eq!(height_difference(Some(RulerOn::Fabric), 6.0, Some(0.0)), HeightDifference::NONE);
    }
}
