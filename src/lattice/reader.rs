//! Reading a sheet between its pixels.

use crate::fabric::Sheet;
use crate::quantity::PlanePoint;

/// Bilinear reading of a sheet at plane places.
pub(super) struct Reader<'a> {
    sheet: &'a Sheet,
    grey: &'a [f32],
    /// 1 where a pixel and its neighbours to the right, below and between are all valid, else 0.
    whole: Vec<f32>,
    width: usize,
    height: usize,
}

impl<'a> Reader<'a> {
    pub fn new(sheet: &'a Sheet) -> Self {
        let (width, height) = (sheet.grey.width() as usize, sheet.grey.height() as usize);
        let valid = sheet.valid.as_raw();
        let mut whole = vec![0.0; valid.len()];
        for y in 1..height {
            let (upper, lower) = (&valid[(y - 1) * width..y * width], &valid[y * width..(y + 1) * width]);
            let pairs = upper.windows(2).zip(lower.windows(2));
            for (whole, (u, l)) in whole[(y - 1) * width..].iter_mut().zip(pairs) {
                *whole = if u[0].min(u[1]).min(l[0]).min(l[1]) < 0.5 { 0.0 } else { 1.0 };
            }
        }
        Self { sheet, grey: sheet.grey.as_raw(), whole, width, height }
    }

    /// The sheet that is read.
    pub fn sheet(&self) -> &'a Sheet {
        self.sheet
    }

    /// Grey values at even steps from one place to another, 0 where any of the four pixels around is not valid; and 1 or 0
    /// for whether they are.
    pub fn line(&self, from: PlanePoint, to: PlanePoint, grey: &mut [f32], seen: &mut [f32]) {
        let place = |p: PlanePoint| {
            let pixels = |mm: f64| mm * self.sheet.px_per_mm - 0.5;
            (pixels(p.x - self.sheet.origin.x), pixels(p.y - self.sheet.origin.y))
        };
        let on_sheet = |(x, y): (f64, f64)| {
            x >= 0.0 && y >= 0.0 && x < (self.width as f64 - 1.0) && y < (self.height as f64 - 1.0)
        };
        let ((x0, y0), end) = (place(from), place(to));
        let steps = grey.len().saturating_sub(1).max(1) as f64;
        let step = ((end.0 - x0) / steps, (end.1 - y0) / steps);
        for (k, (grey, seen)) in grey.iter_mut().zip(seen).enumerate() {
            let (x, y) = (x0 + k as f64 * step.0, y0 + k as f64 * step.1);
            (*grey, *seen) = if on_sheet((x, y)) { self.at(x, y) } else { (0.0, 0.0) };
        }
    }

    /// Value and validity at pixels from the centre of the first, on the sheet.
    fn at(&self, x: f64, y: f64) -> (f32, f32) {
        let (ix, iy) = (x as u32, y as u32);
        let (fx, fy) = ((x - f64::from(ix)) as f32, (y - f64::from(iy)) as f32);
        let i = iy as usize * self.width + ix as usize;
        let (upper, lower) = (&self.grey[i..i + 2], &self.grey[i + self.width..i + self.width + 2]);
        let top = upper[0] * (1.0 - fx) + upper[1] * fx;
        let low = lower[0] * (1.0 - fx) + lower[1] * fx;
        let whole = self.whole[i];
        ((top * (1.0 - fy) + low * fy) * whole, whole)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::GreyImage;
    use image::Luma;

    /// Brightness rises by 1 a pixel to the right and by 10 a pixel down; one pixel is hidden.
    #[test]
    fn reads_between_pixels_and_not_where_one_is_hidden() {
        let grey = GreyImage::from_fn(8, 6, |x, y| Luma([x as f32 + 10.0 * y as f32]));
        let valid = GreyImage::from_fn(8, 6, |x, y| Luma([if (x, y) == (6, 2) { 0.0 } else { 1.0 }]));
        let sheet = Sheet { origin: PlanePoint::new(1.0, 2.0), px_per_mm: 2.0, grey, valid, weights: [1.0; 3] };
        let reader = Reader::new(&sheet);
        // Pixel (x, y) has its centre at 1 + (x + 0.5) / 2, 2 + (y + 0.5) / 2.
        let at = |x: f64, y: f64| PlanePoint::new(1.0 + (x + 0.5) / 2.0, 2.0 + (y + 0.5) / 2.0);
        let (mut grey, mut seen) = ([0.0; 6], [0.0; 6]);
        reader.line(at(-0.5, 1.5), at(7.0, 1.5), &mut grey, &mut seen);
        assert_eq!(seen, [0.0, 1.0, 1.0, 1.0, 0.0, 0.0]);
        for (k, value) in [(1, 16.0), (2, 17.5), (3, 19.0), (4, 0.0)] {
            assert!((grey[k] - value).abs() < 1e-5, "{k}: {}", grey[k]);
        }
    }
}
