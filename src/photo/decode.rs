//! Bytes → an upright 8-bit picture, with every size checked before memory is taken for it.

use super::camera::CameraRecord;
use super::error::{PhotoError, PhotoFormat};
use super::{LinearCopies, Photo, heic, jpeg_ending, upright};
use image::codecs::{jpeg::JpegDecoder, png::PngDecoder, tiff::TiffDecoder, webp::WebPDecoder};
use image::{DynamicImage, ImageBuffer, ImageDecoder, ImageError, Limits, RgbImage, RgbaImage};
use sha2::{Digest, Sha256};
use std::fmt::Write;
use std::io::{Cursor, ErrorKind};

/// Fewest pixels that can be trusted to show enough stitches and graduations (stated choice: 640 × 480); in smaller
/// photos this is why nothing is found, if nothing is.
pub const MIN_PIXELS: u64 = 300_000;

/// Most pixels that are read (stated choice: the largest phone sensors have 50, or 200 binned to 50 or 12).
pub const MAX_PIXELS: u64 = 100_000_000;

/// Longest side that is read, in pixels: a 10 : 1 panorama of [`MAX_PIXELS`].
pub const MAX_SIDE_PX: u32 = 32_000;

/// Memory a decoder may take for a picture, for each pixel: 16-bit colour with alpha once for the result and once within.
const DECODER_BYTES_PER_PIXEL: u64 = 16;

/// The same for what does not grow with the picture: tables, colour profiles, EXIF.
const DECODER_BYTES: u64 = 16 << 20;

/// Reads a JPEG, PNG, WebP, TIFF or HEIC photo: upright, 8 bits a channel, transparent parts on white. Colour profiles
/// are not applied: all later stages look for contrast, none for a named colour.
///
/// Fails for anything else, for damaged or cut-off files, and before taking memory for pictures of more than
/// [`MAX_PIXELS`] or with a side of more than [`MAX_SIDE_PX`].
pub fn decode(bytes: &[u8]) -> Result<Photo, PhotoError> {
    let format = format_of(bytes)?;
    let camera = CameraRecord::read(bytes);
    let stored = match format {
        PhotoFormat::Jpeg => {
            jpeg_ending::check(bytes)?;
            pixels(format, JpegDecoder::new(Cursor::new(bytes)))?
        }
        PhotoFormat::Png => pixels(format, PngDecoder::with_limits(Cursor::new(bytes), png_limits(bytes)?))?,
        PhotoFormat::WebP => pixels(format, WebPDecoder::new(Cursor::new(bytes)))?,
        PhotoFormat::Tiff => pixels(format, TiffDecoder::new(Cursor::new(bytes)))?,
        PhotoFormat::Heic => heic::decode(bytes)?,
    };
    // A HEIC file turns its picture itself; its EXIF orientation repeats that (ISO/IEC 23000-22, 7.3.6.6).
    let orientation = if format == PhotoFormat::Heic { 1 } else { camera.orientation.unwrap_or(1) };
    Ok(Photo {
        rgb: upright::turned(stored, orientation),
        focal_length_35mm: camera.focal_length_35mm,
        digital_zoom_ratio: camera.digital_zoom_ratio,
        original_size_px: camera.upright_size_px(),
        sha256: sha256_hex(bytes),
        copies: LinearCopies::default(),
    })
}

/// SHA-256 of some bytes, in lower-case hexadecimal.
pub fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().fold(String::with_capacity(64), |mut text, byte| {
        // Writing to a string can't fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The format, by the first bytes alone.
fn format_of(bytes: &[u8]) -> Result<PhotoFormat, PhotoError> {
    let at = |offset: usize, magic: &[u8]| bytes.get(offset..).is_some_and(|rest| rest.starts_with(magic));
    match () {
        () if bytes.is_empty() => Err(PhotoError::Empty),
        () if at(0, &[0xFF, 0xD8, 0xFF]) => Ok(PhotoFormat::Jpeg),
        () if at(0, b"\x89PNG\r\n\x1a\n") => Ok(PhotoFormat::Png),
        () if at(0, b"RIFF") && at(8, b"WEBP") => Ok(PhotoFormat::WebP),
        () if at(0, b"II\x2a\0") || at(0, b"MM\0\x2a") => Ok(PhotoFormat::Tiff),
        () if at(4, b"ftyp") && heic::is_heif(bytes) => Ok(PhotoFormat::Heic),
        () => Err(PhotoError::NotAPhoto),
    }
}

/// Checks a picture's declared size.
pub(super) fn check_size(width_px: u32, height_px: u32) -> Result<u64, PhotoError> {
    let pixels = u64::from(width_px) * u64::from(height_px);
    let fits = pixels <= MAX_PIXELS && width_px.max(height_px) <= MAX_SIDE_PX;
    if fits { Ok(pixels) } else { Err(PhotoError::TooLarge { width_px, height_px }) }
}

fn limits(pixels: u64) -> Limits {
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(pixels * DECODER_BYTES_PER_PIXEL + DECODER_BYTES);
    limits
}

/// A PNG decoder wants its limits before it has read the size, which stands at a fixed place.
fn png_limits(bytes: &[u8]) -> Result<Limits, PhotoError> {
    let side = |at: usize| -> Option<u32> { Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?)) };
    let (width, height) = side(16).zip(side(20)).ok_or(PhotoError::Truncated(PhotoFormat::Png))?;
    check_size(width, height).map(limits)
}

/// All pixels of a decoder whose header has been read.
fn pixels(format: PhotoFormat, decoder: Result<impl ImageDecoder, ImageError>) -> Result<RgbImage, PhotoError> {
    let failed = |error| cause(format, &error);
    let mut decoder = decoder.map_err(failed)?;
    let (width, height) = decoder.dimensions();
    if width == 0 || height == 0 {
        return Err(PhotoError::Damaged(format));
    }
    decoder.set_limits(limits(check_size(width, height)?)).map_err(failed)?;
    DynamicImage::from_decoder(decoder).map(on_white).map_err(failed)
}

fn cause(format: PhotoFormat, error: &ImageError) -> PhotoError {
    match error {
        ImageError::Unsupported(_) => PhotoError::Unsupported(format),
        ImageError::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => PhotoError::Truncated(format),
        _ => PhotoError::Damaged(format),
    }
}

/// The picture without alpha, 8 bits a channel, transparent parts on white.
fn on_white(picture: DynamicImage) -> RgbImage {
    match picture {
        DynamicImage::ImageRgb8(rgb) => rgb,
        DynamicImage::ImageLuma8(grey) => grey_to_rgb(grey.width(), grey.height(), grey.as_raw()),
        other if other.color().has_alpha() => without_alpha(other.into_rgba8()),
        other => other.into_rgb8(),
    }
}

fn grey_to_rgb(width: u32, height: u32, grey: &[u8]) -> RgbImage {
    let mut rgb = Vec::with_capacity(grey.len() * 3);
    rgb.extend(grey.iter().flat_map(|&v| [v, v, v]));
    ImageBuffer::from_raw(width, height, rgb).unwrap_or_default()
}

/// Lays the picture on white within its own memory.
fn without_alpha(picture: RgbaImage) -> RgbImage {
    let (width, height) = picture.dimensions();
    let mut bytes = picture.into_raw();
    for pixel in 0..bytes.len() / 4 {
        let alpha = u32::from(bytes[4 * pixel + 3]);
        for channel in 0..3 {
            let over = u32::from(bytes[4 * pixel + channel]) * alpha + 255 * (255 - alpha);
            bytes[3 * pixel + channel] = ((over + 127) / 255) as u8;
        }
    }
    bytes.truncate(bytes.len() / 4 * 3);
    ImageBuffer::from_raw(width, height, bytes).unwrap_or_default()
}
