//! Light evened out: each pixel against the mean and the deviation of those around it.

use crate::side_by_side::{both, map_in_order};

/// Rows that are evened at once.
const ROWS: usize = 64;

/// Local mean 0 and local deviation 1 over a tent of half-width `2 × radius`, of the valid pixels alone; and that local
/// deviation before it was made 1.
pub(super) fn even_light(
    grey: &[f32],
    valid: &[f32],
    width: usize,
    height: usize,
    radius: usize,
) -> (Vec<f32>, Vec<f32>) {
    // Means over a wide neighbourhood change slowly: they are taken on a reduced grid.
    let factor = (radius / 4).max(1);
    let coarse = Coarse::new(width, height, factor);
    let small = (radius / factor).max(1);
    let blur = |v: &[f32]| box_blur(&box_blur(v, coarse.across, coarse.down, small), coarse.across, coarse.down, small);
    let mut even = vec![0.0_f32; grey.len()];
    let band = (ROWS * width).max(1);
    let lines = |slice: &[f32]| slice.len() / width.max(1);
    map_in_order(even.chunks_mut(band).zip(grey.chunks(band).zip(valid.chunks(band))), |(even, (grey, valid))| {
        even.iter_mut().zip(grey.iter().zip(valid)).for_each(|(even, (g, v))| *even = g * v);
    });
    let (seen, sum) = both(|| blur(&coarse.sums(valid)), || blur(&coarse.sums(&even)));
    let over_seen = |v: Vec<f32>| -> Vec<f32> { v.iter().zip(&seen).map(|(v, s)| v / s.max(1e-6)).collect() };
    let mean = over_seen(sum);
    let mut deviation = vec![0.0_f32; grey.len()];
    let bands = even.chunks_mut(band).zip(deviation.chunks_mut(band)).zip(grey.chunks(band).zip(valid.chunks(band)));
    map_in_order(bands.enumerate(), |(number, ((even, deviation), (grey, valid)))| {
        let mut row = vec![0.0_f32; width];
        for y in 0..lines(even) {
            coarse.read_row(&mean, number * ROWS + y, &mut row);
            let line = y * width..(y + 1) * width;
            let seen = grey[line.clone()].iter().zip(&valid[line.clone()]).zip(&row);
            let out = even[line.clone()].iter_mut().zip(&mut deviation[line]);
            for ((even, square), ((grey, valid), mean)) in out.zip(seen) {
                *even = if *valid > 0.0 { grey - mean } else { 0.0 };
                *square = *even * *even;
            }
        }
    });
    let power = over_seen(blur(&coarse.sums(&deviation)));
    // Below this deviation (in log light) a patch is flat within 8-bit noise: it is not blown up to full contrast.
    const FLAT: f32 = 0.004;
    map_in_order(even.chunks_mut(band).zip(deviation.chunks_mut(band)).enumerate(), |(number, (even, deviation))| {
        let mut row = vec![0.0_f32; width];
        for y in 0..lines(even) {
            coarse.read_row(&power, number * ROWS + y, &mut row);
            let line = y * width..(y + 1) * width;
            for ((even, deviation), power) in even[line.clone()].iter_mut().zip(&mut deviation[line]).zip(&row) {
                let d2 = power.max(0.0);
                *deviation = d2.sqrt();
                *even /= (d2 + FLAT * FLAT).sqrt();
            }
        }
    });
    (even, deviation)
}

/// A grid reduced by a whole factor, whose values are read back between the middles of its pixels.
struct Coarse {
    width: usize,
    factor: usize,
    across: usize,
    down: usize,
    /// Of every full-size column: the reduced pixels to its left and right, and how far it lies from the first.
    columns: Vec<(u32, u32, f32)>,
}

impl Coarse {
    fn new(width: usize, height: usize, factor: usize) -> Self {
        let (across, down) = (width.div_ceil(factor), height.div_ceil(factor));
        let columns = (0..width).map(|x| Self::place(x, across, factor)).map(|(a, b, t)| (a as u32, b as u32, t));
        Self { width, factor, across, down, columns: columns.collect() }
    }

    fn place(c: usize, n: usize, factor: usize) -> (usize, usize, f32) {
        let p = ((c as f32 + 0.5) / factor as f32 - 0.5).clamp(0.0, (n - 1) as f32);
        let i = (p as usize).min(n.saturating_sub(2));
        (i, (i + 1).min(n - 1), p - i as f32)
    }

    /// Sums of full-size values over each reduced pixel.
    fn sums(&self, values: &[f32]) -> Vec<f32> {
        let mut out = vec![0.0_f32; self.across * self.down];
        let reduced = ROWS.div_ceil(self.factor);
        let bands = out.chunks_mut((reduced * self.across).max(1));
        let bands = bands.zip(values.chunks((reduced * self.factor * self.width).max(1)));
        map_in_order(bands, |(out, values)| {
            for (y, row) in values.chunks_exact(self.width.max(1)).enumerate() {
                let out = &mut out[(y / self.factor) * self.across..][..self.across];
                for (sum, cell) in out.iter_mut().zip(row.chunks(self.factor)) {
                    *sum += cell.iter().sum::<f32>();
                }
            }
        });
        out
    }

    /// The values at one full-size row, bilinear between the reduced pixels' middles.
    fn read_row(&self, v: &[f32], y: usize, row: &mut [f32]) {
        let (y0, y1, fy) = Self::place(y, self.down, self.factor);
        let (top, low) = (&v[y0 * self.across..][..self.across], &v[y1 * self.across..][..self.across]);
        let between: Vec<f32> = top.iter().zip(low).map(|(t, l)| t * (1.0 - fy) + l * fy).collect();
        for (out, (left, right, fx)) in row.iter_mut().zip(&self.columns) {
            *out = between[*left as usize] * (1.0 - fx) + between[*right as usize] * fx;
        }
    }
}

/// Mean over a square of half-width `radius`, zero outside the picture; running sums, in f64.
pub(crate) fn box_blur(v: &[f32], width: usize, height: usize, radius: usize) -> Vec<f32> {
    /// Rows taken side by side: each of their running sums waits for itself only.
    const SIDE_BY_SIDE: usize = 4;
    let norm = 1.0 / (2 * radius + 1) as f64;
    let mut across = vec![0.0_f32; v.len()];
    let whole = height / SIDE_BY_SIDE * SIDE_BY_SIDE;
    for y in (0..whole).step_by(SIDE_BY_SIDE) {
        blur_rows::<SIDE_BY_SIDE>(&v[y * width..], &mut across[y * width..], width, radius);
    }
    for y in whole..height {
        blur_rows::<1>(&v[y * width..], &mut across[y * width..], width, radius);
    }
    let mut out = vec![0.0_f32; v.len()];
    let mut sums = vec![0.0_f64; width];
    let add = |sums: &mut [f64], y: usize, sign: f64| {
        for (s, g) in sums.iter_mut().zip(&across[y * width..(y + 1) * width]) {
            *s += sign * f64::from(*g);
        }
    };
    (0..radius.min(height)).for_each(|y| add(&mut sums, y, 1.0));
    for y in 0..height {
        if y + radius < height {
            add(&mut sums, y + radius, 1.0);
        }
        for x in 0..width {
            out[y * width + x] = (sums[x] * norm) as f32;
        }
        if y >= radius {
            add(&mut sums, y - radius, -1.0);
        }
    }
    out
}

/// Running means along the first N rows.
fn blur_rows<const N: usize>(v: &[f32], out: &mut [f32], width: usize, radius: usize) {
    let norm = 1.0 / (2 * radius + 1) as f64;
    let rows: [&[f32]; N] = std::array::from_fn(|k| &v[k * width..(k + 1) * width]);
    let mut sums = [0.0_f64; N];
    for (sum, row) in sums.iter_mut().zip(rows) {
        *sum = row[..radius.min(width)].iter().map(|v| f64::from(*v)).sum();
    }
    for x in 0..width {
        if x + radius < width {
            (0..N).for_each(|k| sums[k] += f64::from(rows[k][x + radius]));
        }
        (0..N).for_each(|k| out[k * width + x] = (sums[k] * norm) as f32);
        if x >= radius {
            (0..N).for_each(|k| sums[k] -= f64::from(rows[k][x - radius]));
        }
    }
}
