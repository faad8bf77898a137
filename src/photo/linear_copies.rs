//! Copies of the photo in linear light, reduced by a whole factor, kept while they may be asked for again: every look at the
//! whole photo in millimetres starts from one, and to make one is to read every pixel of the photo.

use super::{Photo, linear_table};
use crate::side_by_side::map_in_order;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

/// A part of the photo in linear light (0 … 65535), averaged over squares of `factor` pixels.
#[derive(Debug)]
pub struct LinearCopy {
    /// Photo pixels to a side of one of its pixels.
    pub factor: usize,
    /// The photo pixel, from the left and from the top, where it begins.
    pub corner: (usize, usize),
    /// Its width, in its own pixels.
    pub width: usize,
    /// Its height, in its own pixels.
    pub height: usize,
    /// Red, green, blue, and a filler that makes them four, which a processor takes at once; by rows.
    pub rgb: Vec<[u16; 4]>,
}

impl LinearCopy {
    /// Largest factor: the sum of 256 × 256 pixels of 65 535 just fits in 32 bits.
    pub const MOST_FACTOR: usize = 256;
}

/// The copies of a whole photo that are kept. Clones are empty, and all are equal: they change nothing but the time taken.
#[derive(Debug, Default)]
pub struct LinearCopies(Mutex<Vec<Arc<LinearCopy>>>);

impl Clone for LinearCopies {
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl PartialEq for LinearCopies {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Photo {
    /// The part from `x0`, `y0` to before `x1`, `y1` in whole pixels, as far as the photo goes, averaged over squares of
    /// `factor` pixels; what fills no whole square at the right and lower edge is left out. A factor of 0 counts as 1, one
    /// above [`LinearCopy::MOST_FACTOR`] as that: the copy says by which it was made.
    pub fn linear_copy(&self, [x0, y0, x1, y1]: [usize; 4], factor: usize) -> Arc<LinearCopy> {
        let factor = factor.clamp(1, LinearCopy::MOST_FACTOR);
        let (x1, y1) = (x1.min(self.width() as usize), y1.min(self.height() as usize));
        let (x0, y0) = (x0.min(x1), y0.min(y1));
        let make = || Arc::new(self.averaged((x0, y0), (x1.saturating_sub(x0), y1.saturating_sub(y0)), factor));
        if [x0, y0, x1, y1] != [0, 0, self.width() as usize, self.height() as usize] {
            return make();
        }
        // Nothing is left half done under the lock.
        let kept = || self.copies.0.lock().unwrap_or_else(PoisonError::into_inner);
        // All that are kept take no more memory than the photo itself (a stated choice); the oldest goes first.
        let bytes = |factor: usize| 8 * (x1 / factor) * (y1 / factor);
        let known = |kept: &mut Vec<Arc<LinearCopy>>| {
            let known = kept.iter().find(|c| c.factor == factor).cloned();
            let all = |kept: &[Arc<LinearCopy>]| kept.iter().map(|c| bytes(c.factor)).sum::<usize>();
            while known.is_none() && !kept.is_empty() && bytes(factor) + all(kept) > 3 * x1 * y1 {
                kept.remove(0);
            }
            known
        };
        if let Some(known) = known(&mut kept()) {
            return known;
        }
        // Not under the lock: whoever waits for parts of it may meanwhile do work that asks for a copy, too.
        let copy = make();
        let mut kept = kept();
        if let Some(known) = known(&mut kept) {
            return known;
        }
        if bytes(factor) <= 3 * x1 * y1 {
            kept.push(Arc::clone(&copy));
        }
        copy
    }

    fn averaged(&self, corner: (usize, usize), (across, down): (usize, usize), factor: usize) -> LinearCopy {
        /// Rows of the copy that are made at once.
        const ROWS: usize = 16;
        let (width, height) = (across / factor, down / factor);
        let mut rgb = vec![[0_u16; 4]; width * height];
        let bands = rgb.chunks_mut((ROWS * width).max(1)).enumerate();
        map_in_order(bands, |(band, rows)| {
            let corner = (corner.0, corner.1 + band * ROWS * factor);
            // Short loops are faster where their length is known beforehand: seven times by a factor of 1, twice by 2, a
            // fifth by 4, and no more from 5 on (measured on 12 MP).
            match factor {
                1 => self.average_rows(1, corner, width, rows),
                2 => self.average_rows(2, corner, width, rows),
                3 => self.average_rows(3, corner, width, rows),
                4 => self.average_rows(4, corner, width, rows),
                _ => self.average_rows(factor, corner, width, rows),
            }
        });
        LinearCopy { factor, corner, width, height, rgb }
    }

    /// Rows of a copy, `width` pixels wide, from a corner of the photo on.
    // Inlined, so that each factor above has loops of its own.
    #[inline(always)]
    fn average_rows(&self, factor: usize, corner: (usize, usize), width: usize, out: &mut [[u16; 4]]) {
        static TABLE: LazyLock<[u32; 256]> = LazyLock::new(|| linear_table().map(|v| (v * 65535.0 + 0.5) as u32));
        let table = &*TABLE;
        let (raw, stride) = (self.rgb.as_raw(), 3 * self.width() as usize);
        let n = (factor * factor) as u32;
        for (y, out) in out.chunks_exact_mut(width).enumerate() {
            let from = (corner.1 + y * factor) * stride + 3 * corner.0;
            for (x, out) in out.iter_mut().enumerate() {
                let mut sum = [0_u32; 3];
                for dy in 0..factor {
                    let at = from + dy * stride + 3 * factor * x;
                    for px in raw[at..at + 3 * factor].chunks_exact(3) {
                        (0..3).for_each(|c| sum[c] += table[usize::from(px[c])]);
                    }
                }
                *out = [(sum[0] / n) as u16, (sum[1] / n) as u16, (sum[2] / n) as u16, 0];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgb, RgbImage};

    fn photo() -> Photo {
        let rgb = RgbImage::from_fn(40, 30, |x, y| Rgb([(6 * x) as u8, (8 * y) as u8, (x * y % 256) as u8]));
        Photo { rgb, ..Photo::default() }
    }

    #[test]
    fn a_copy_holds_the_means_of_squares() {
        let photo = photo();
        let copy = photo.linear_copy([3, 5, 24, 21], 4);
        assert_eq!((copy.width, copy.height), (5, 4));
        let table = linear_table();
        let mean = |c: usize| {
            let of = |k: u32| f64::from(table[usize::from(photo.rgb.get_pixel(7 + k % 4, 13 + k / 4).0[c])]);
            (0..16).map(of).sum::<f64>() / 16.0 * 65535.0
        };
        for c in 0..3 {
            assert!((f64::from(copy.rgb[2 * copy.width + 1][c]) - mean(c)).abs() <= 1.5);
        }
    }

    #[test]
    fn no_factor_and_no_part_is_too_large() {
        let white = Photo { rgb: RgbImage::from_pixel(300, 260, Rgb([255; 3])), ..Photo::default() };
        let copy = white.linear_copy([0, 0, 9000, 9000], 9000);
        assert_eq!((copy.factor, copy.width, copy.height), (LinearCopy::MOST_FACTOR, 1, 1));
        assert_eq!(copy.rgb[0], [65535, 65535, 65535, 0]);
        for [x0, y0] in [[400, 0], [0, 400], [400, 400], [20, 20]] {
            assert!(white.linear_copy([x0, y0, 10, 10], 1).rgb.is_empty());
        }
    }

    #[test]
    fn the_whole_is_made_once_and_kept_within_bounds() {
        let photo = photo();
        let whole = [0, 0, 40, 30];
        assert!(Arc::ptr_eq(&photo.linear_copy(whole, 2), &photo.linear_copy(whole, 2)));
        let full = photo.linear_copy(whole, 1);
        assert!(!Arc::ptr_eq(&full, &photo.linear_copy(whole, 1)));
        (2..9).for_each(|factor| drop(photo.linear_copy(whole, factor)));
        let kept: usize = photo.copies.0.lock().unwrap().iter().map(|c| 8 * c.rgb.len()).sum();
        assert!(kept > 0 && kept <= 3 * 40 * 30);
    }
}
