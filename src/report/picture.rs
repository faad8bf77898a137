//! A part of a photo as a small JPEG inside a page: nothing of the file but its pixels, and of those none that must not be
//! shown.

use super::annotate::blanked;
use crate::quantity::PhotoPoint;
use base64::prelude::{BASE64_STANDARD, Engine};
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, crop_imm, resize};
use image::{ExtendedColorType, ImageEncoder, RgbImage};

/// JPEG quality of pictures in pages: small files, stitches still clear (a stated choice).
const QUALITY: u8 = 82;

/// A picture as a data address, with where it lies in the photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// `data:image/jpeg;base64,…`
    pub address: String,
    /// Width and height, in px of the picture.
    pub size: (u32, u32),
    /// Photo point at its upper left corner.
    corner: PhotoPoint,
    /// Px of the picture for one of the photo.
    zoom: f64,
}

impl Picture {
    /// The part of a photo that holds all `points` and a margin, at most `widest` px wide or high; the whole photo for no
    /// points. `blank` is an outline whose inside is not shown. `None` where it can't be encoded.
    pub fn of(photo: &RgbImage, points: &[[f64; 2]], blank: &[PhotoPoint], widest: u32) -> Option<Self> {
        let (left, top, w, h) = extent(photo, points);
        let zoom = (f64::from(widest) / f64::from(w.max(h))).min(1.0);
        let part = crop_imm(photo, left, top, w, h).to_image();
        let moved: Vec<PhotoPoint> =
            blank.iter().map(|p| PhotoPoint::new(p.x - f64::from(left), p.y - f64::from(top))).collect();
        let part = blanked(part, &moved);
        let side = |px: u32| ((f64::from(px) * zoom).round() as u32).max(1);
        let small = if zoom < 1.0 { resize(&part, side(w), side(h), FilterType::Triangle) } else { part };
        Some(Self {
            address: data_address(&small)?,
            size: small.dimensions(),
            corner: PhotoPoint::new(f64::from(left), f64::from(top)),
            zoom,
        })
    }

    /// Where a photo point lies in the picture.
    pub fn place(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        ((x_px - self.corner.x) * self.zoom, (y_px - self.corner.y) * self.zoom)
    }
}

/// A picture's bytes as an address that holds them; no EXIF is written. `None` where it can't be encoded.
pub fn data_address(picture: &RgbImage) -> Option<String> {
    let mut bytes = Vec::new();
    let (w, h) = picture.dimensions();
    JpegEncoder::new_with_quality(&mut bytes, QUALITY)
        .write_image(picture.as_raw(), w, h, ExtendedColorType::Rgb8)
        .ok()?;
    Some(format!("data:image/jpeg;base64,{}", BASE64_STANDARD.encode(&bytes)))
}

/// Left, top, width and height of the part that holds the points, with a tenth of its size around.
fn extent(photo: &RgbImage, points: &[[f64; 2]]) -> (u32, u32, u32, u32) {
    let ends = |axis: usize, whole: u32| {
        let whole = f64::from(whole);
        let values = || points.iter().map(|p| p[axis]).filter(|v| v.is_finite());
        let (low, high) = values().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        if low > high {
            return (0, whole as u32);
        }
        let room = 0.1 * (high - low) + 10.0;
        let (from, to) = ((low - room).clamp(0.0, whole - 1.0).floor(), (high + room).clamp(1.0, whole).ceil());
        (from as u32, (to - from).max(1.0) as u32)
    };
    let ((left, w), (top, h)) = (ends(0, photo.width()), ends(1, photo.height()));
    (left, top, w, h)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    #[test]
    fn what_must_not_be_shown_is_grey() {
        let photo = RgbImage::from_pixel(200, 100, Rgb([250, 10, 10]));
        let outline = [(50.0, 20.0), (150.0, 20.0), (150.0, 80.0), (50.0, 80.0)].map(|(x, y)| PhotoPoint::new(x, y));
        let picture = Picture::of(&photo, &[[40.0, 10.0], [160.0, 90.0]], &outline, 100).unwrap();
        // 164 px by 100 of the photo, a tenth and 10 px around, to 100 px.
        assert_eq!(picture.size, (100, 61));
        let (x, y) = picture.place(100.0, 50.0);
        assert!((x - 50.0).abs() < 1.0 && (y - 30.5).abs() < 1.0);
        let whole = Picture::of(&photo, &[], &[], 400).unwrap();
        assert_eq!((whole.size, whole.zoom), ((200, 100), 1.0));
    }
}
