//! What a photo's EXIF says that matters to measuring. Place, time, owner and serial numbers are not looked at.

use super::exif_bounds;
use exif::{Exif, In, Reader, Tag, Value};
use std::io::Cursor;

/// What EXIF says of how the picture was taken. Everything is absent where there is no EXIF or it can't be read.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CameraRecord {
    /// How the stored picture must be turned, 1 to 8 (EXIF 2.3, tag 0x0112).
    pub orientation: Option<u8>,
    /// Focal length as 35 mm film would need for the same field of view, in mm (tag 0xA405, whose 0 means unknown).
    pub focal_length_35mm: Option<f64>,
    /// Digital zoom, 1 for none (tag 0xA404, whose 0 means none was used).
    pub digital_zoom_ratio: Option<f64>,
    /// Width and height of the picture as the camera stored it, before any turning, in pixels (tags 0xA002, 0xA003).
    pub stored_size_px: Option<(u32, u32)>,
}

impl CameraRecord {
    /// Reads the EXIF of a photo file of any format; damaged EXIF is read as far as it goes, absurdly large EXIF not at all.
    pub fn read(bytes: &[u8]) -> Self {
        if !exif_bounds::may_be_read(bytes) {
            return Self::default();
        }
        let read = Reader::new()
            .continue_on_error(true)
            .read_from_container(&mut Cursor::new(bytes))
            .or_else(|error| error.distill_partial_result(|_| ()));
        read.map(|exif| Self::of(&exif)).unwrap_or_default()
    }

    fn of(exif: &Exif) -> Self {
        let number = |tag| exif.get_field(tag, In::PRIMARY).and_then(|field| field.value.get_uint(0));
        let size = number(Tag::PixelXDimension).zip(number(Tag::PixelYDimension));
        Self {
            orientation: number(Tag::Orientation).filter(|o| (1..=8).contains(o)).map(|o| o as u8),
            focal_length_35mm: number(Tag::FocalLengthIn35mmFilm).filter(|mm| *mm > 0).map(f64::from),
            digital_zoom_ratio: exif.get_field(Tag::DigitalZoomRatio, In::PRIMARY).and_then(|f| ratio(&f.value)),
            stored_size_px: size.filter(|(width, height)| *width > 0 && *height > 0),
        }
    }

    /// Width and height of the picture the camera took, upright, in pixels.
    pub fn upright_size_px(&self) -> Option<(u32, u32)> {
        let (width, height) = self.stored_size_px?;
        Some(if self.orientation.is_some_and(|o| o >= 5) { (height, width) } else { (width, height) })
    }
}

/// A positive ratio; `None` for zero, and for a zero below.
fn ratio(value: &Value) -> Option<f64> {
    match value {
        Value::Rational(ratios) => ratios.first().filter(|r| r.num > 0 && r.denom > 0).map(|r| r.to_f64()),
        _ => None,
    }
}
