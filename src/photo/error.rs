//! Why bytes can't be read as a photo.

use std::fmt;

/// A file format that photos come in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PhotoFormat {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
    /// WebP.
    WebP,
    /// TIFF.
    Tiff,
    /// HEIC: one HEVC-coded picture in a HEIF file.
    Heic,
}

impl fmt::Display for PhotoFormat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::WebP => "WebP",
            Self::Tiff => "TIFF",
            Self::Heic => "HEIC",
        })
    }
}

/// Why bytes can't be read as a photo. Shown, each is one line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum PhotoError {
    /// There are no bytes.
    Empty,
    /// The bytes begin like no photo format that is read.
    NotAPhoto,
    /// A photo in a variant of its format that is not read.
    Unsupported(PhotoFormat),
    /// The file ends before the picture does.
    Truncated(PhotoFormat),
    /// The file contradicts its format.
    Damaged(PhotoFormat),
    /// The picture has more pixels, or a longer side, than is read.
    TooLarge {
        /// Its width in pixels.
        width_px: u32,
        /// Its height in pixels.
        height_px: u32,
    },
}

impl PhotoError {
    /// A stable name for the JSON result.
    pub fn code(self) -> &'static str {
        match self {
            Self::Empty => "empty_file",
            Self::NotAPhoto => "not_a_photo",
            Self::Unsupported(_) => "unsupported_photo",
            Self::Truncated(_) => "truncated_photo",
            Self::Damaged(_) => "damaged_photo",
            Self::TooLarge { .. } => "photo_too_large",
        }
    }
}

impl fmt::Display for PhotoError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("the file is empty"),
            Self::NotAPhoto => f.write_str("the file is no JPEG, PNG, WebP, TIFF or HEIC picture"),
            Self::Unsupported(format) => write!(f, "this kind of {format} picture can't be read"),
            Self::Truncated(format) => write!(f, "the {format} file is cut off"),
            Self::Damaged(format) => write!(f, "the {format} file is damaged"),
            Self::TooLarge { width_px, height_px } => {
                write!(
                    f,
                    "the picture of {width_px} × {height_px} pixels is larger than 100 megapixels or 32 000 a side"
                )
            }
        }
    }
}

impl std::error::Error for PhotoError {}
