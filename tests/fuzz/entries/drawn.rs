//! Small pictures that look a little like swatches and rulers, each drawn from a few bytes, so that what comes behind the
//! decoders is reached too.

use image::{DynamicImage, ExtendedColorType, ImageEncoder, ImageFormat, Rgb, RgbImage};
use std::f64::consts::TAU;
use std::io::Cursor;

/// Length of a description that is drawn; what follows are pixels that are laid over the picture.
const DESCRIPTION: usize = 16;

/// First bytes of a description.
const BEGINS: &[u8] = b"draw";

/// The picture a description stands for, as a file, and which settings it is to be measured with.
pub fn file(bytes: &[u8]) -> Option<(Vec<u8>, usize)> {
    let description = bytes.strip_prefix(BEGINS)?;
    let (numbers, pixels) = description.split_at_checked(DESCRIPTION)?;
    let picture = Drawing::of(numbers).drawn(pixels);
    Some((stored(&picture, numbers[1])?, usize::from(numbers[0])))
}

/// As one of the formats, one of them with 16 bits and one grey.
fn stored(picture: &RgbImage, format: u8) -> Option<Vec<u8>> {
    let mut bytes = Cursor::new(Vec::new());
    let picture = DynamicImage::from(picture.clone());
    match format % 6 {
        0 | 1 => {
            let rgb = picture.into_rgb8();
            let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 92);
            encoder.write_image(&rgb, rgb.width(), rgb.height(), ExtendedColorType::Rgb8).ok()?;
        }
        2 => picture.write_to(&mut bytes, ImageFormat::Png).ok()?,
        3 => DynamicImage::from(picture.into_rgb16()).write_to(&mut bytes, ImageFormat::Png).ok()?,
        4 => DynamicImage::from(picture.into_luma8()).write_to(&mut bytes, ImageFormat::Tiff).ok()?,
        _ => picture.write_to(&mut bytes, ImageFormat::WebP).ok()?,
    }
    Some(bytes.into_inner())
}

/// What is drawn: two waves that make a lattice, their second harmonics, a tilt, noise, and a comb of marks.
struct Drawing {
    width: u32,
    height: u32,
    /// Cycles over a pixel of the stitches and of the rows.
    stitch: [f64; 2],
    row: [f64; 2],
    /// Amplitudes of stitch, row, sum and difference, and of the doubled stitch.
    amplitudes: [f64; 5],
    /// How much coarser the right side is than the left, relative.
    tilt: f64,
    noise: f64,
    /// Distance of the marks in px (none below 2), how often one is long, and the rows they take.
    marks: (u32, u32, u32),
    colour: [f64; 3],
}

impl Drawing {
    fn of(numbers: &[u8]) -> Self {
        let n = |i: usize| f64::from(numbers[i]);
        let period = |i: usize| 2.0 + n(i) / 8.0;
        let turn = (n(6) - 128.0) / 128.0 * TAU / 4.0;
        let (across, up) = (1.0 / period(4), 1.0 / period(5));
        Self {
            width: 1 + u32::from(numbers[2]) * 3 / 4,
            height: 1 + u32::from(numbers[3]) * 3 / 4,
            stitch: [across * turn.cos(), across * turn.sin()],
            row: [-up * turn.sin(), up * turn.cos()],
            amplitudes: [n(7) / 16.0, n(8) / 8.0, n(9) / 8.0, n(9) / 8.0, n(10) / 8.0],
            tilt: (n(11) - 128.0) / 512.0,
            noise: n(12) / 4.0,
            marks: (u32::from(numbers[13] % 32), 1 + u32::from(numbers[14] % 16), u32::from(numbers[14])),
            colour: [1.0, 1.0 - n(15) / 512.0, 1.0 - n(15) / 300.0],
        }
    }

    fn drawn(&self, pixels: &[u8]) -> RgbImage {
        let (pitch, long_every, rows) = self.marks;
        RgbImage::from_fn(self.width, self.height, |x, y| {
            if pitch >= 2 && y < rows {
                let long = (x / pitch).is_multiple_of(long_every);
                let dark = x % pitch < 1 + pitch / 8 && (long || y < rows / 2);
                return Rgb([if dark { 20 } else { 235 }; 3]);
            }
            let at = (y * self.width + x) as usize;
            let own = pixels.get(at).map_or(0.0, |v| f64::from(*v) - 128.0);
            let value = 128.0 + self.wave(f64::from(x), f64::from(y)) + self.noise * hash(x, y) + own;
            Rgb(self.colour.map(|c| (value * c) as u8))
        })
    }

    fn wave(&self, x: f64, y: f64) -> f64 {
        let x = x * (1.0 + self.tilt * x / f64::from(self.width));
        let phase = |k: [f64; 2]| TAU * (k[0] * x + k[1] * y);
        let (s, r) = (phase(self.stitch), phase(self.row));
        let [a, b, c, d, e] = self.amplitudes;
        a * s.cos() + b * r.cos() + c * (s + r).cos() + d * (s - r).cos() + e * (2.0 * s).cos()
    }
}

/// −1 to 1, the same at a place every time.
fn hash(x: u32, y: u32) -> f64 {
    let mixed = (x ^ y.rotate_left(16)).wrapping_mul(0x9E37_79B1);
    let mixed = (mixed ^ (mixed >> 15)).wrapping_mul(0x85EB_CA77);
    f64::from(mixed >> 16) / 32_768.0 - 1.0
}
