//! Photos: bytes → an upright picture, its focal length, and grey projections in linear light.

use image::{ImageBuffer, Luma, RgbImage};

/// One channel in linear light; 0 is black and 1 the brightest value the file can hold.
pub type GreyImage = ImageBuffer<Luma<f32>, Vec<f32>>;

/// An upright photo as the camera stored it, sRGB-encoded, with what its EXIF says of the lens.
#[derive(Debug, Clone)]
pub struct Photo {
    /// The upright picture (EXIF orientation applied), sRGB-encoded.
    pub rgb: RgbImage,
    /// Focal length as 35 mm film would need for the same field of view, in mm, as EXIF states it.
    pub focal_length_35mm: Option<f64>,
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

    /// Relative luminance in linear light (IEC 61966-2-1 decoding, ITU-R BT.709 weights), full size.
    pub fn luminance(&self) -> GreyImage {
        self.projection([0.2126, 0.7152, 0.0722])
    }

    /// Weighted sum of the linear-light red, green and blue, full size. The weights may be negative.
    pub fn projection(&self, weights: [f32; 3]) -> GreyImage {
        let table = linear_table();
        let mut out = GreyImage::new(self.width(), self.height());
        for (grey, rgb) in out.iter_mut().zip(self.rgb.pixels()) {
            *grey = (0..3).map(|c| weights[c] * table[rgb.0[c] as usize]).sum();
        }
        out
    }
}

/// sRGB code value (0–255) → linear light (0–1), IEC 61966-2-1.
pub fn linear_table() -> [f32; 256] {
    std::array::from_fn(|code| {
        let v = code as f32 / 255.0;
        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    })
}
