//! The camera as far as one photo tells: focal length in pixels, centre, lens, and how sure each is.

use crate::photo::Photo;
use crate::quantity::PhotoPoint;

/// Diagonal of the 36 mm × 24 mm frame to which "35 mm equivalent" focal lengths refer, in mm (CIPA DCG-001, by the
/// diagonal; from memory).
const FILM_DIAGONAL_MM: f64 = 43.266_615_305_567_87;

/// 35 mm equivalent focal length assumed without EXIF, and its relative standard uncertainty. Phones have main lenses of
/// 24–28 mm and tele lenses of 50–80 mm, and zoomed or cropped pictures lie between: a log-normal of this width has
/// 20–72 mm within one and a half standard deviations. A stated choice.
const UNKNOWN_FOCAL_35MM: f64 = 38.0;
const UNKNOWN_FOCAL_RELATIVE: f64 = 0.42;

/// Relative standard uncertainty of a focal length stated for a picture of the sensor's own shape: makers state the
/// nominal lens, focusing close lengthens it a little. A stated choice, with the rounding to whole mm added.
const STATED_FOCAL_RELATIVE: f64 = 0.02;

/// The same where the picture's sides are not 4:3 or 3:2: it was cut, and whether the figure was adjusted is unknown.
const CUT_FOCAL_RELATIVE: f64 = 0.10;

/// How far the optical axis may lie from the photo's centre, in halves of the diagonal: in a whole picture as far as the
/// sensor is shifted for stabilisation, in one that was cut (or may have been) as far as people cut. Stated choices.
const WHOLE_AXIS_SIGMA: f64 = 0.01;
const CUT_AXIS_SIGMA: f64 = 0.12;

/// Standard uncertainty of the radial lens term at the corner of the picture, relative: phone lenses are corrected to
/// about one or two per cent there. A stated choice.
pub(super) const LENS_SIGMA: f64 = 0.015;

/// What is known of the camera before the ruler is looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CameraPrior {
    /// Focal length, in pixels of the upright photo.
    pub focal_px: f64,
    /// Relative standard uncertainty of `focal_px`.
    pub focal_relative: f64,
    /// Standard uncertainty of the place where the optical axis meets the photo, in halves of the diagonal, each way.
    pub axis_sigma: f64,
    /// Whether the focal length comes from the photo's EXIF.
    pub stated: bool,
    /// The photo's centre.
    pub centre: PhotoPoint,
    /// Half the photo's diagonal, in pixels: the unit of the radial lens term.
    pub half_diagonal_px: f64,
}

impl CameraPrior {
    /// From the size and EXIF of a photo.
    pub fn of(photo: &Photo) -> Self {
        Self::new(photo.width(), photo.height(), photo.focal_length_35mm)
    }

    /// From the size of an upright photo in pixels and the 35 mm equivalent focal length in mm, where known.
    pub fn new(width_px: u32, height_px: u32, focal_length_35mm: Option<f64>) -> Self {
        let (w, h) = (f64::from(width_px.max(1)), f64::from(height_px.max(1)));
        let diagonal = w.hypot(h);
        let stated = focal_length_35mm.filter(|f| (8.0..=400.0).contains(f));
        let whole = stated.is_some() && is_sensor_shape(w.max(h) / w.min(h));
        let (focal_35mm, focal_relative) = match stated {
            Some(f) => {
                let rounding = 0.5 / 3f64.sqrt() / f;
                let nominal = if whole { STATED_FOCAL_RELATIVE } else { CUT_FOCAL_RELATIVE };
                (f, nominal.hypot(rounding))
            }
            None => (UNKNOWN_FOCAL_35MM, UNKNOWN_FOCAL_RELATIVE),
        };
        Self {
            focal_px: focal_35mm / FILM_DIAGONAL_MM * diagonal,
            focal_relative,
            axis_sigma: if whole { WHOLE_AXIS_SIGMA } else { CUT_AXIS_SIGMA },
            stated: stated.is_some(),
            centre: PhotoPoint::new(w / 2.0, h / 2.0),
            half_diagonal_px: diagonal / 2.0,
        }
    }
}

/// Whether a ratio of sides is that of a whole sensor (4:3 or 3:2), to 1 %.
fn is_sensor_shape(ratio: f64) -> bool {
    [4.0 / 3.0, 3.0 / 2.0].iter().any(|r| (ratio / r - 1.0).abs() < 0.01)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn focal_length_is_by_the_diagonal() {
        // 26 mm on a 4:3 picture of 4000 × 3000: 26 / 43.2666 × 5000 px.
        let c = CameraPrior::new(4000, 3000, Some(26.0));
        assert!((c.focal_px - 3004.62).abs() < 0.1, "{}", c.focal_px);
        assert!(c.stated && c.focal_relative < 0.03);
        assert!(!CameraPrior::new(4000, 3000, Some(0.0)).stated);
    }
}
