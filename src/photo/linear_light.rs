//! Grey projections of a photo in linear light, full size or reduced.

use super::Photo;
use image::{ImageBuffer, Luma};

/// One channel in linear light; 0 is black and 1 the brightest value the file can hold.
pub type GreyImage = ImageBuffer<Luma<f32>, Vec<f32>>;

/// Weights of linear red, green and blue in luminance (ITU-R BT.709); near enough for sRGB-coded values too, where only
/// contrast counts.
pub const LUMINANCE: [f32; 3] = [0.2126, 0.7152, 0.0722];

/// sRGB code value (0–255) → linear light (0–1), IEC 61966-2-1.
pub fn linear_table() -> [f32; 256] {
    std::array::from_fn(|code| {
        let v = code as f32 / 255.0;
        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    })
}

/// The table times each channel's weight.
fn weighted_tables(weights: [f32; 3]) -> [[f32; 256]; 3] {
    let table = linear_table();
    weights.map(|weight| table.map(|v| v * weight))
}

impl Photo {
    /// Weighted sum of the linear-light red, green and blue, full size. The weights may be negative.
    pub fn projection(&self, weights: [f32; 3]) -> GreyImage {
        let [red, green, blue] = weighted_tables(weights);
        let mut grey = Vec::with_capacity(self.rgb.as_raw().len() / 3);
        let sum = |p: &[u8]| red[usize::from(p[0])] + green[usize::from(p[1])] + blue[usize::from(p[2])];
        grey.extend(self.rgb.as_raw().chunks_exact(3).map(sum));
        image_of(self.width(), self.height(), grey)
    }

    /// The same on a picture reduced by a whole factor, without ever holding the full size; see [`Photo::reduced`].
    pub fn reduced_projection(&self, weights: [f32; 3], factor: u32) -> GreyImage {
        let [red, green, blue] = weighted_tables(weights);
        let factor = factor.max(1) as usize;
        let columns = self.width() as usize / factor;
        let mut grey = Vec::with_capacity(columns * (self.height() as usize / factor));
        let mut sums = vec![0f32; columns];
        let scale = 1.0 / (factor * factor) as f32;
        for rows in self.row_groups(factor) {
            sums.fill(0.0);
            for row in rows.chunks_exact(3 * self.width() as usize) {
                for (sum, cell) in sums.iter_mut().zip(row.chunks_exact(3 * factor)) {
                    let of_pixel =
                        |p: &[u8]| red[usize::from(p[0])] + green[usize::from(p[1])] + blue[usize::from(p[2])];
                    *sum += cell.chunks_exact(3).map(of_pixel).sum::<f32>();
                }
            }
            grey.extend(sums.iter().map(|sum| sum * scale));
        }
        image_of(columns as u32, self.height() / factor as u32, grey)
    }

    /// The photo in linear light, each pixel the mean of factor × factor of them: no aliasing beyond what a box filter
    /// lets through. A reduced point times the factor is the photo point (the frame's zero is the picture's corner);
    /// columns and rows that fill no whole pixel at the right and lower edge are left out. A factor of 0 counts as 1.
    pub fn reduced(&self, factor: u32) -> LinearPhoto {
        let table = linear_table();
        let factor = factor.max(1) as usize;
        let (columns, lines) = (self.width() as usize / factor, self.height() as usize / factor);
        let mut rgb = Vec::with_capacity(3 * columns * lines);
        let mut sums = vec![[0f32; 3]; columns];
        let scale = 1.0 / (factor * factor) as f32;
        for rows in self.row_groups(factor) {
            sums.fill([0.0; 3]);
            for row in rows.chunks_exact(3 * self.width() as usize) {
                for (sum, cell) in sums.iter_mut().zip(row.chunks_exact(3 * factor)) {
                    for pixel in cell.chunks_exact(3) {
                        (0..3).for_each(|c| sum[c] += table[usize::from(pixel[c])]);
                    }
                }
            }
            rgb.extend(sums.iter().flatten().map(|sum| sum * scale));
        }
        LinearPhoto { factor: factor as u32, width: columns as u32, height: lines as u32, rgb }
    }

    /// Groups of `factor` whole pixel rows.
    fn row_groups(&self, factor: usize) -> impl Iterator<Item = &[u8]> {
        // A picture without width has no rows; chunks of zero bytes are not allowed.
        self.rgb.as_raw().chunks_exact((3 * self.width() as usize * factor).max(1))
    }
}

/// A reduced photo in linear light, with its colours, for trying several projections.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearPhoto {
    /// Photo pixels to a side of one of its pixels.
    pub factor: u32,
    /// Its width, in its own pixels.
    pub width: u32,
    /// Its height, in its own pixels.
    pub height: u32,
    /// Linear red, green and blue of each pixel, 0 to 1, row by row.
    rgb: Vec<f32>,
}

impl LinearPhoto {
    /// Weighted sum of the linear-light red, green and blue. The weights may be negative.
    pub fn projection(&self, weights: [f32; 3]) -> GreyImage {
        let sum = |p: &[f32]| weights[0] * p[0] + weights[1] * p[1] + weights[2] * p[2];
        image_of(self.width, self.height, self.rgb.chunks_exact(3).map(sum).collect())
    }
}

/// An image of grey values that fill it; they do, by the callers' arithmetic.
fn image_of(width: u32, height: u32, grey: Vec<f32>) -> GreyImage {
    GreyImage::from_raw(width, height, grey).unwrap_or_default()
}
