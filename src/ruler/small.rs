//! A small copy of a picture, each pixel the mean of those it stands for.

use crate::side_by_side::map_in_order;
use image::RgbImage;
use std::ops::Range;

/// The picture reduced to so many pixels a side, no more than it has; 0 counts as 1. Means are of whole pixels, and of the values
/// as they are coded.
pub(super) fn small_copy(picture: &RgbImage, width: u32, height: u32) -> RgbImage {
    let (width, height) = (width.clamp(1, picture.width().max(1)), height.clamp(1, picture.height().max(1)));
    if picture.as_raw().is_empty() {
        return RgbImage::new(width, height);
    }
    /// Rows of the copy that are made at once.
    const ROWS: u32 = 32;
    let columns: Vec<Range<usize>> = (0..width).map(|x| stood_for(x, picture.width(), width)).collect();
    let rows = |y: u32| stood_for(y, picture.height(), height);
    let mut small = RgbImage::new(width, height);
    let bands = (0..height).step_by(ROWS as usize).map(|y| y..(y + ROWS).min(height));
    let bands = bands.zip(small.as_mut().chunks_mut(3 * (ROWS * width) as usize));
    map_in_order(bands, |(band, out)| small_rows(picture, &columns, band.map(rows), out));
    small
}

/// Rows of the small copy, given the pixels that each of its columns and of these rows stands for.
fn small_rows(
    picture: &RgbImage,
    columns: &[Range<usize>],
    rows: impl Iterator<Item = Range<usize>>,
    small: &mut [u8],
) {
    let stride = 3 * picture.width() as usize;
    let mut lines = vec![0_u16; stride];
    let mut sums = vec![[0_u32; 3]; columns.len()];
    for (rows, small) in rows.zip(small.chunks_exact_mut(3 * columns.len())) {
        sums.fill([0; 3]);
        // So many rows of bytes as sixteen bits hold the sum of, one after the other.
        for few in picture.as_raw()[rows.start * stride..rows.end * stride].chunks(256 * stride) {
            lines.fill(0);
            for row in few.chunks_exact(stride) {
                lines.iter_mut().zip(row).for_each(|(sum, v)| *sum += u16::from(*v));
            }
            for (sum, column) in sums.iter_mut().zip(columns) {
                for pixel in lines[3 * column.start..3 * column.end].chunks_exact(3) {
                    (0..3).for_each(|c| sum[c] += u32::from(pixel[c]));
                }
            }
        }
        for ((sum, column), small) in sums.iter().zip(columns).zip(small.chunks_exact_mut(3)) {
            let n = (column.len() * rows.len()) as u32;
            small.copy_from_slice(&sum.map(|s| ((s + n / 2) / n) as u8));
        }
    }
}

/// The pixels along a side that pixel `at` of the small copy stands for; at least one.
fn stood_for(at: u32, full: u32, small: u32) -> Range<usize> {
    let ratio = full as f32 / small as f32;
    let from = at as f32 * ratio;
    let start = (from.ceil() as u32).min(full - 1);
    start as usize..((from + ratio).ceil() as u32).clamp(start + 1, full) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgb, imageops};

    #[test]
    fn as_the_image_library_does_it() {
        let picture = RgbImage::from_fn(101, 77, |x, y| Rgb([(x * 7 + y) as u8, (y * y) as u8, (x * y) as u8]));
        for (width, height) in [(101, 77), (60, 46), (34, 20), (7, 5), (1, 1), (100, 76)] {
            assert_eq!(small_copy(&picture, width, height), imageops::thumbnail(&picture, width, height));
        }
        assert_eq!(small_copy(&RgbImage::from_pixel(3, 900, Rgb([255, 9, 0])), 1, 1).into_raw(), [255, 9, 0]);
        assert_eq!(small_copy(&RgbImage::new(0, 0), 5, 5).dimensions(), (1, 1));
    }
}
