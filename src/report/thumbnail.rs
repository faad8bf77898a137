//! A small picture to know a swatch again by.

use super::annotate::blanked;
use crate::record::Evidence;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::thumbnail as smaller;
use image::{ExtendedColorType, ImageEncoder, RgbImage};

/// Longer side of the picture, in px: a stated choice, a few dozen kilobytes at most.
pub const LONGER_SIDE_PX: u32 = 320;

/// JPEG quality: a stated choice.
const QUALITY: u8 = 80;

/// The whole photo as a JPEG of at most [`LONGER_SIDE_PX`], without EXIF, and without what no picture may show. `None` where
/// it can't be written as JPEG.
pub fn thumbnail(photo: &RgbImage, evidence: &Evidence) -> Option<Vec<u8>> {
    let longer = photo.width().max(photo.height()).max(1);
    let side = |px: u32| {
        let small = u64::from(px) * u64::from(LONGER_SIDE_PX.min(longer)) / u64::from(longer);
        u32::try_from(small).unwrap_or(LONGER_SIDE_PX).max(1)
    };
    let (width, height) = (side(photo.width()), side(photo.height()));
    let small = if evidence.blanked_px.is_empty() {
        smaller(photo, width, height)
    } else {
        smaller(&blanked(photo.clone(), &evidence.blanked_px), width, height)
    };
    let mut jpeg = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut jpeg, QUALITY);
    encoder.write_image(&small, width, height, ExtendedColorType::Rgb8).ok().map(|()| jpeg)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::PhotoPoint;
    use image::{ImageFormat, Rgb, load_from_memory_with_format};

    #[test]
    fn it_is_small_and_shows_nothing_that_is_blanked() {
        let photo = RgbImage::from_pixel(1600, 900, Rgb([200, 40, 40]));
        let corner = |x, y| PhotoPoint::new(x, y);
        let card = vec![corner(400.0, 200.0), corner(1200.0, 200.0), corner(1200.0, 700.0), corner(400.0, 700.0)];
        let seen = Evidence { blanked_px: card, ..Evidence::default() };
        let jpeg = thumbnail(&photo, &seen).unwrap();
        let small = load_from_memory_with_format(&jpeg, ImageFormat::Jpeg).unwrap().into_rgb8();
        assert_eq!(small.dimensions(), (320, 180));
        let red = |x, y| small.get_pixel(x, y)[0] > 170;
        assert!(red(20, 20) && red(300, 160) && !red(160, 90) && !red(85, 45) && !red(235, 135));
        assert!(!jpeg.windows(4).any(|w| w == b"Exif"));
        let tiny = thumbnail(&RgbImage::new(3, 1000), &Evidence::default()).unwrap();
        let tiny = load_from_memory_with_format(&tiny, ImageFormat::Jpeg).unwrap();
        assert_eq!((tiny.width(), tiny.height()), (1, 320));
    }
}
