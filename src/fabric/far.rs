//! Far: whether all that is not table lies in a small part of the picture.

use crate::photo::Photo;

/// Cells along the longer side of the picture.
const CELLS: usize = 96;
/// A cell is not table when it is farther from the usual cell than so many of the usual deviations (normal noise passes 5
/// in one cell of two million).
const UNUSUAL: f64 = 5.0;
/// Smallest deviations that count, of the logarithms of red, green, blue and of the deviation within a cell: light falls
/// off by a tenth over a picture, grain is uneven by a fifth.
const LEAST_DEVIATION: [f64; 4] = [0.05, 0.05, 0.05, 0.2];
/// Largest part of the picture's width and height that a far object takes: a swatch of 10 cm then has less than a quarter
/// of the pixels across that a picture filled with it has (a stated choice).
const FAR: f64 = 0.25;
/// Fewest cells of an object.
const FEWEST: usize = 6;

/// Largest share of the picture's width or height taken by what is not table, where it lies far away: in one small part
/// of a picture that is all table otherwise. `None` where there is no such object.
pub fn far_object_share(photo: &Photo) -> Option<f64> {
    let size = (photo.width().max(photo.height()) as usize / CELLS).max(1);
    let (across, down) = (photo.width() as usize / size, photo.height() as usize / size);
    if across < 8 || down < 8 {
        return None;
    }
    let cells: Vec<[f64; 4]> = (0..across * down).map(|i| cell(photo, i % across, i / across, size)).collect();
    let middle = |of: &dyn Fn(&[f64; 4]) -> f64| {
        let mut values: Vec<f64> = cells.iter().map(of).collect();
        let half = values.len() / 2;
        *values.select_nth_unstable_by(half, f64::total_cmp).1
    };
    let usual: [f64; 4] = std::array::from_fn(|c| middle(&|cell| cell[c]));
    // 1.4826 median deviations are a standard deviation of normal noise.
    let deviation: [f64; 4] =
        std::array::from_fn(|c| (1.4826 * middle(&|cell| (cell[c] - usual[c]).abs())).max(LEAST_DEVIATION[c]));
    let unusual = |cell: &[f64; 4]| (0..4).any(|c| (cell[c] - usual[c]).abs() > UNUSUAL * deviation[c]);
    let object: Vec<usize> = (0..cells.len()).filter(|&i| unusual(&cells[i])).collect();
    if object.len() < FEWEST {
        return None;
    }
    // Nine tenths of it: a speck elsewhere does not count.
    let extent = |of: &dyn Fn(usize) -> usize, all: usize| {
        let mut places: Vec<usize> = object.iter().map(|&i| of(i)).collect();
        places.sort_unstable();
        let spare = places.len() / 20;
        (places[places.len() - 1 - spare] - places[spare] + 1) as f64 / all as f64
    };
    let share = extent(&|i| i % across, across).max(extent(&|i| i / across, down));
    (share < FAR).then_some(share)
}

/// Mean logarithms of red, green and blue in a cell, and the logarithm of green's deviation in it.
fn cell(photo: &Photo, x: usize, y: usize, size: usize) -> [f64; 4] {
    let (mut sum, mut square) = ([0.0; 3], 0.0);
    let raw = photo.rgb.as_raw();
    for py in y * size..(y + 1) * size {
        let start = 3 * (py * photo.width() as usize + x * size);
        for pixel in raw[start..start + 3 * size].chunks_exact(3) {
            let log = [pixel[0], pixel[1], pixel[2]].map(|v| (f64::from(v) + 1.0).ln());
            (0..3).for_each(|c| sum[c] += log[c]);
            square += log[1] * log[1];
        }
    }
    let n = (size * size) as f64;
    let [r, g, b] = sum.map(|s| s / n);
    [r, g, b, (square / n - g * g).max(1e-6).sqrt().ln()]
}
