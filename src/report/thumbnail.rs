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
