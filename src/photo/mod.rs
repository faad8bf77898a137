//! Photos: bytes → an upright picture, what its EXIF says of the lens, and grey projections in linear light.

mod camera;
mod decode;
mod error;
mod exif_bounds;
mod heic;
mod hevc_colour;
mod jpeg_ending;
mod linear_copies;
mod linear_light;
mod upright;

pub use camera::CameraRecord;
pub use decode::{MAX_PIXELS, MAX_SIDE_PX, MIN_PIXELS, decode, sha256_hex};
pub use error::{PhotoError, PhotoFormat};
pub use linear_copies::{LinearCopies, LinearCopy};
pub use linear_light::{GreyImage, LUMINANCE, LinearPhoto, linear_table};

use crate::quantity::PhotoPoint;
use image::RgbImage;

/// An upright photo as the camera stored it, sRGB-encoded, with what its EXIF says of the lens.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Photo {
    /// The upright picture (EXIF orientation applied), sRGB-encoded.
    pub rgb: RgbImage,
    /// Focal length as 35 mm film would need for the same field of view, in mm, as EXIF states it.
    pub focal_length_35mm: Option<f64>,
    /// Digital zoom as EXIF states it, 1 for none; programs disagree whether the focal length above includes it.
    pub digital_zoom_ratio: Option<f64>,
    /// Width and height of the picture the camera took, upright, in pixels, as EXIF states them: where they differ from
    /// the picture's own, it was cropped or resized afterwards.
    pub original_size_px: Option<(u32, u32)>,
    /// SHA-256 of the file's bytes, in hexadecimal; empty for a picture that did not come from a file.
    pub sha256: String,
    /// Reduced copies that were made of the picture on the way; they say nothing that it does not.
    pub copies: LinearCopies,
}

impl Photo {
    /// Width of the upright picture, in pixels.
    pub fn width(&self) -> u32 {
        self.rgb.width()
    }

    /// Height of the upright picture, in pixels.
    pub fn height(&self) -> u32 {
        self.rgb.height()
    }

    /// The pixel at a place, red, green and blue; `None` outside the picture.
    pub fn pixel(&self, at: PhotoPoint) -> Option<[u8; 3]> {
        let inside = at.x >= 0.0 && at.y >= 0.0 && at.x < f64::from(self.width()) && at.y < f64::from(self.height());
        inside.then(|| self.rgb.get_pixel(at.x as u32, at.y as u32).0)
    }

    /// Whether the picture has fewer pixels than [`MIN_PIXELS`].
    pub fn is_too_small(&self) -> bool {
        u64::from(self.width()) * u64::from(self.height()) < MIN_PIXELS
    }

    /// Whether the picture was certainly cropped after it was taken: its shape differs by more than 1 % from what the
    /// camera took. `None` when EXIF does not say. A crop of the same shape looks like a resized picture.
    pub fn is_cropped(&self) -> Option<bool> {
        let (width, height) = self.original_size_px?;
        let shape = f64::from(self.width()) / f64::from(self.height().max(1));
        Some((shape * f64::from(height) / f64::from(width) - 1.0).abs() > 0.01)
    }
}
