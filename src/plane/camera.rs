//! The camera as far as one photo tells: focal length in pixels, centre, lens, and how sure each is.

use super::{Frame, LensProfile};
use crate::photo::Photo;
use crate::quantity::PhotoPoint;

/// Diagonal of the 36 mm × 24 mm frame to which "35 mm equivalent" focal lengths refer, in mm (CIPA DCG-001, by the
/// diagonal; from memory).
const FILM_DIAGONAL_MM: f64 = 43.266_615_305_567_87;

/// 35 mm equivalent focal length assumed without EXIF, and its relative standard uncertainty. Phones have main lenses of
/// 24–28 mm and tele lenses of 50–80 mm, and zoomed or cut pictures lie between and beyond: a log-normal of this width has
/// 18–80 mm within one and a half standard deviations. A stated choice.
const UNKNOWN_FOCAL_35MM: f64 = 38.0;
const UNKNOWN_FOCAL_RELATIVE: f64 = 0.5;

/// How far a class of pictures is to be believed.
struct Trust {
    /// Relative standard uncertainty of a stated focal length.
    focal_relative: f64,
    /// How far the optical axis may lie from the photo's centre, in halves of the diagonal, each way.
    axis_sigma: f64,
}

/// EXIF's own size of the picture agrees with its shape. Makers state the nominal lens, focusing close lengthens it a
/// little; the sensor is shifted for stabilisation. Stated choices.
const WHOLE: Trust = Trust { focal_relative: 0.02, axis_sigma: 0.01 };

/// The shape is a sensor's, but nothing says that the picture was not cut to it. One in fifty was (a stated
/// choice), which moves the focal length by a third and the axis by 0.15: the root mean square over all.
const UNCONFIRMED: Trust = Trust { focal_relative: 0.05, axis_sigma: 0.02 };

/// 16:9, which cameras cut from the sensor's middle themselves: whether the stated figure is by the diagonal before or
/// after differs by 9 % from 4:3.
const WIDE: Trust = Trust { focal_relative: 0.10, axis_sigma: 0.02 };

/// Cut by people: whether the stated figure was adjusted is unknown, and the axis lies as far off as people cut. Stated
/// choices.
const CUT: Trust = Trust { focal_relative: 0.15, axis_sigma: 0.12 };

/// Standard uncertainty of the radial lens term at the corner of the picture, relative: phone lenses are corrected to
/// about one or two per cent there. A stated choice.
const LENS_SIGMA: f64 = 0.015;

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
    /// First radial lens coefficient to expect.
    pub k1: f64,
    /// Standard uncertainty of `k1`; what is left unsure of `k2` is in it.
    pub k1_sigma: f64,
    /// Second radial lens coefficient, taken as it is.
    pub k2: f64,
}

impl CameraPrior {
    /// From the size and EXIF of a photo.
    pub fn of(photo: &Photo) -> Self {
        let mut prior = Self::new(photo.width(), photo.height(), photo.focal_length_35mm);
        if !prior.stated {
            return prior;
        }
        match (photo.original_size_px, photo.is_cropped()) {
            (Some((width, height)), Some(true)) => {
                // The figure belongs to what the camera took, unless the picture was made smaller afterwards as well.
                let (original, now) = (diagonal_px(width, height), diagonal_px(photo.width(), photo.height()));
                prior.focal_px *= (original / now).max(1.0);
                prior.trust(&CUT);
            }
            (Some(_), Some(false)) if prior.focal_relative < WIDE.focal_relative => prior.trust(&WHOLE),
            _ => {}
        }
        // Programs disagree whether the stated figure includes the digital zoom: half way, and unsure by as much.
        if let Some(zoom) = photo.digital_zoom_ratio.filter(|z| (1.0..20.0).contains(z)) {
            prior.focal_px *= zoom.sqrt();
            prior.focal_relative = prior.focal_relative.hypot(zoom.ln() / 2.0);
        }
        prior
    }

    /// From the size of an upright photo in pixels and the 35 mm equivalent focal length in mm, where known.
    pub fn new(width_px: u32, height_px: u32, focal_length_35mm: Option<f64>) -> Self {
        let (w, h) = (f64::from(width_px.max(1)), f64::from(height_px.max(1)));
        let diagonal = w.hypot(h);
        let stated = focal_length_35mm.filter(|f| (8.0..=400.0).contains(f));
        let mut prior = Self {
            focal_px: stated.unwrap_or(UNKNOWN_FOCAL_35MM) / FILM_DIAGONAL_MM * diagonal,
            focal_relative: UNKNOWN_FOCAL_RELATIVE,
            axis_sigma: CUT.axis_sigma,
            stated: stated.is_some(),
            centre: PhotoPoint::new(w / 2.0, h / 2.0),
            half_diagonal_px: diagonal / 2.0,
            k1: 0.0,
            k1_sigma: LENS_SIGMA,
            k2: 0.0,
        };
        if prior.stated {
            prior.trust(Trust::by_shape(w.max(h) / w.min(h)));
        }
        prior
    }

    /// What stays the same for every pose of this camera.
    pub fn frame(&self) -> Frame {
        Frame { centre: self.centre, half_diagonal_px: self.half_diagonal_px, k2: self.k2 }
    }

    /// The same camera with a lens that was measured.
    pub fn with_lens(mut self, lens: &LensProfile) -> Self {
        (self.k1, self.k1_sigma, self.k2) = (lens.k1.value, lens.k1_sigma(), lens.k2.value);
        self
    }

    fn trust(&mut self, trust: &Trust) {
        self.focal_relative = trust.focal_relative;
        self.axis_sigma = trust.axis_sigma;
    }
}

impl Trust {
    /// By the ratio of the picture's sides: 4:3 and 3:2 are sensors' own, to 1 %.
    fn by_shape(ratio: f64) -> &'static Self {
        let is = |shape: f64| (ratio / shape - 1.0).abs() < 0.01;
        if is(4.0 / 3.0) || is(3.0 / 2.0) {
            &UNCONFIRMED
        } else if is(16.0 / 9.0) {
            &WIDE
        } else {
            &CUT
        }
    }
}

fn diagonal_px(width: u32, height: u32) -> f64 {
    f64::from(width).hypot(f64::from(height))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn focal_length_is_by_the_diagonal() {
        // 26 mm on a 4:3 picture of 4000 × 3000: 26 / 43.2666 × 5000 px.
        let c = CameraPrior::new(4000, 3000, Some(26.0));
        assert!((c.focal_px - 3004.62).abs() < 0.1, "{}", c.focal_px);
        assert!(c.stated && c.focal_relative < 0.1);
        assert!(!CameraPrior::new(4000, 3000, Some(0.0)).stated);
    }

    #[test]
    fn a_cut_picture_keeps_the_focal_length_in_pixels() {
        let rgb = image::RgbImage::new(200, 300);
        let photo = |original| Photo {
            rgb: rgb.clone(),
            focal_length_35mm: Some(26.0),
            original_size_px: original,
            ..Photo::default()
        };
        let cut = CameraPrior::of(&photo(Some((400, 300))));
        assert!((cut.focal_px - 26.0 / 43.2666 * 500.0).abs() < 0.1, "{}", cut.focal_px);
        let whole = CameraPrior::of(&photo(Some((2000, 3000))));
        let unconfirmed = CameraPrior::of(&photo(None));
        assert!((whole.focal_px - unconfirmed.focal_px).abs() < 1e-9);
        assert!(whole.focal_relative < unconfirmed.focal_relative && unconfirmed.focal_relative < cut.focal_relative);
        assert!(whole.axis_sigma < unconfirmed.axis_sigma && unconfirmed.axis_sigma < cut.axis_sigma);
    }

    #[test]
    fn digital_zoom_widens_what_is_known_of_the_focal_length() {
        let rgb = image::RgbImage::new(400, 300);
        let photo = Photo { rgb, focal_length_35mm: Some(26.0), digital_zoom_ratio: Some(2.0), ..Photo::default() };
        let prior = CameraPrior::of(&photo);
        let plain = CameraPrior::new(400, 300, Some(26.0));
        // Both readings of the figure lie within about one standard uncertainty.
        for reading in [plain.focal_px, 2.0 * plain.focal_px] {
            assert!((reading / prior.focal_px).ln().abs() <= prior.focal_relative);
        }
    }
}
