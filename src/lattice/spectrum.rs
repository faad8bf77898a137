//! Two-dimensional spectra of fabric: averaged over overlapping windows (Welch 1967) and whitened by the radial median,
//! so that a line's height reads as amplitude over the noise around it.

use crate::fabric::Sheet;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;

/// Finest pitch of the grid the spectra are taken on, in pixels per mm: 60 stitches per 10 cm put the third harmonic of
/// the stitches at 1.8 cycles/mm, and the second of 110 rows at 2.2, below the limit of 3 this leaves.
const MAX_PX_PER_MM: f64 = 6.0;

/// Windows with less than this part in sight are left out (stated choice).
const MIN_VALID: f64 = 0.45;

/// Windows along one axis at most (bounded time).
const MOST_ALONG: usize = 5;

/// One whitened amplitude spectrum; index (0, 0) is frequency zero, negative frequencies wrap around.
#[derive(Debug, Clone)]
pub struct Spectrum {
    /// Bins along each axis.
    pub n: usize,
    /// Width of one bin in cycles per mm: one over the window's side.
    pub bin: f64,
    /// Windows averaged.
    pub windows: usize,
    /// Amplitude over the radial median of the amplitude, row by row.
    pub amplitude: Vec<f32>,
    /// Logarithm of the radial median of the power, by rings about frequency zero.
    floor: Vec<f64>,
    /// Where the cloth's colours, not its relief, make the line: such lines say nothing about the stitches.
    pub coloured: Vec<bool>,
}

impl Spectrum {
    /// Highest frequency that is trusted, in cycles per mm: nine tenths of the grid's limit.
    pub fn limit(&self) -> f64 {
        0.45 * self.n as f64 * self.bin
    }

    /// Amplitude in bin (ix, iy), which may be negative.
    pub fn value(&self, ix: i64, iy: i64) -> f32 {
        let n = self.n as i64;
        self.amplitude[(iy.rem_euclid(n) * n + ix.rem_euclid(n)) as usize]
    }

    /// How far from its place a line may be, in cycles/mm.
    pub fn reach(&self, f: [f64; 2]) -> f64 {
        REACH_BINS * self.bin + REACH_PART * (f[0] * f[0] + f[1] * f[1]).sqrt()
    }

    /// Power of the noise around a frequency (cycles/mm), in units of its own: what a line's height stands over.
    pub fn noise_power(&self, f: [f64; 2]) -> f64 {
        level(&self.floor, f[0].hypot(f[1]) / self.bin)
    }

    /// Whether colour makes the line at a frequency.
    pub fn is_coloured(&self, f: [f64; 2]) -> bool {
        let n = self.n as i64;
        let index = |v: f64| ((v / self.bin).round() as i64).rem_euclid(n);
        self.coloured[(index(f[1]) * n + index(f[0])) as usize]
    }

    /// Marks the lines that stand up at least as high in a colour contrast of the same place as in this spectrum.
    pub fn mark_colours(&mut self, contrast: &Spectrum) {
        if contrast.n != self.n {
            return;
        }
        let n = self.n as i64;
        for iy in 0..n {
            for ix in 0..n {
                let v = contrast.value(ix, iy);
                if v < COLOUR_AMPLITUDE || v < COLOUR_OVER_RELIEF * self.value(ix, iy) || !contrast.is_highest(ix, iy) {
                    continue;
                }
                for dy in -1..=1 {
                    for dx in -1..=1 {
                        self.coloured[((iy + dy).rem_euclid(n) * n + (ix + dx).rem_euclid(n)) as usize] = true;
                    }
                }
            }
        }
    }

    /// Whether no neighbour of bin (ix, iy) is higher.
    pub fn is_highest(&self, ix: i64, iy: i64) -> bool {
        let v = self.value(ix, iy);
        (-1..=1).all(|dy| (-1..=1).all(|dx| (dx == 0 && dy == 0) || self.value(ix + dx, iy + dy) <= v))
    }

    /// Vertex, in bins, of the parabolas through the logarithms of a local maximum and its neighbours along x and y.
    pub fn vertex(&self, ix: i64, iy: i64) -> (f64, f64) {
        let at = |dx, dy| f64::from(self.value(ix + dx, iy + dy)).max(1e-6).ln();
        let top = |before: f64, here: f64, after: f64| {
            let bend = before - 2.0 * here + after;
            if bend < -1e-9 { (0.5 * (before - after) / bend).clamp(-0.6, 0.6) } else { 0.0 }
        };
        let here = at(0, 0);
        (ix as f64 + top(at(-1, 0), here, at(1, 0)), iy as f64 + top(at(0, -1), here, at(0, 1)))
    }
}

/// Lowest amplitude over noise of a line in a colour contrast that counts (measured: below 3 without colours).
const COLOUR_AMPLITUDE: f32 = 4.0;
/// Colour contrasts of yarn in one colour show its relief too, at half the height or less (measured); at this part of
/// the relief's height and above it is colour.
const COLOUR_OVER_RELIEF: f32 = 1.0;

/// How far from its place a line may be, in bins: the noise of the vertex and the unevenness of the knitting.
const REACH_BINS: f64 = 0.7;
/// The same as a part of the frequency: hypotheses are fitted to about half a per cent.
const REACH_PART: f64 = 0.01;

/// A sheet on a grid no finer than needed.
pub struct Grid {
    /// Pixels along x and y.
    pub width: usize,
    /// Pixels along y.
    pub height: usize,
    /// Pixels per mm.
    pub px_per_mm: f64,
    /// Even-lit grey, 0 where invalid.
    pub grey: Vec<f32>,
    /// 0 to 1.
    pub valid: Vec<f32>,
}

impl Grid {
    /// The sheet, averaged over whole blocks of pixels until it is no finer than needed.
    pub fn of(sheet: &Sheet) -> Self {
        Self::reduced(sheet, ((sheet.px_per_mm / MAX_PX_PER_MM).round() as usize).max(1))
    }

    /// The sheet, averaged over blocks of `step` × `step` pixels.
    pub fn reduced(sheet: &Sheet, step: usize) -> Self {
        let (w, h) = (sheet.grey.width() as usize, sheet.grey.height() as usize);
        let (width, height) = (w / step, h / step);
        let mut grey = vec![0.0f32; width * height];
        let mut valid = vec![0.0f32; width * height];
        let (g, v) = (sheet.grey.as_raw(), sheet.valid.as_raw());
        let share = 1.0 / (step * step) as f32;
        for y in 0..height * step {
            let (from, to) = (y * w..y * w + width * step, (y / step) * width);
            let cells = g[from.clone()].chunks_exact(step).zip(v[from].chunks_exact(step));
            for ((greys, valids), (grey, valid)) in cells.zip(grey[to..].iter_mut().zip(&mut valid[to..])) {
                for (g, v) in greys.iter().zip(valids) {
                    let seen = if *v > 0.5 { share } else { 0.0 };
                    *valid += seen;
                    *grey += if g.is_finite() { seen * g } else { 0.0 };
                }
            }
        }
        Self { width, height, px_per_mm: sheet.px_per_mm / step as f64, grey, valid }
    }
}

/// Averaged, whitened spectrum of windows of `side_mm`; `None` where no window is sufficiently in sight.
pub fn averaged(grid: &Grid, side_mm: f64) -> Option<Spectrum> {
    // A side that was worked out from whole pixels is whole again, whichever way its last digit fell.
    let n = ((side_mm * grid.px_per_mm + 1e-6) as usize).min(grid.width).min(grid.height) & !1;
    if n < 32 {
        return None;
    }
    let hann: Vec<f32> = (0..n).map(|i| (std::f32::consts::PI * (i as f32 + 0.5) / n as f32).sin().powi(2)).collect();
    let fft = FftPlanner::new().plan_fft_forward(n);
    let mut data = vec![Complex32::ZERO; n * n];
    let mut power = vec![0.0f32; n * n];
    let mut windows = 0;
    // Two windows in one transform, one as its real part and one as its imaginary part: the sum of their powers is the
    // transform's own, made even about frequency zero.
    let mut add = |data: &mut [Complex32]| {
        fft.process(data);
        transpose(data, n);
        fft.process(data);
        power.iter_mut().zip(&*data).for_each(|(p, c)| *p += c.norm_sqr());
        data.fill(Complex32::ZERO);
    };
    let (down, across) = (starts(grid.height, n), starts(grid.width, n));
    for corner in down.iter().flat_map(|&y0| across.iter().map(move |&x0| (x0, y0))) {
        let Some(seen) = window(grid, corner, n, &hann) else { continue };
        match windows % 2 {
            0 => data.iter_mut().zip(&seen).for_each(|(c, v)| c.re = *v),
            _ => {
                data.iter_mut().zip(&seen).for_each(|(c, v)| c.im = *v);
                add(&mut data);
            }
        }
        windows += 1;
    }
    if windows % 2 == 1 {
        add(&mut data);
    }
    (windows > 0).then(|| {
        let mut amplitude = even(&power, n);
        let floor = whiten(&mut amplitude, n);
        Spectrum { n, bin: grid.px_per_mm / n as f64, windows, coloured: vec![false; n * n], amplitude, floor }
    })
}

/// The mean of a power spectrum and its mirror image about frequency zero; by rows, from one by columns.
fn even(power: &[f32], n: usize) -> Vec<f32> {
    let opposite = |i: usize| if i == 0 { 0 } else { n - i };
    let mut out = vec![0.0; n * n];
    for (y0, x0) in squares(n) {
        for y in y0..(y0 + SQUARE).min(n) {
            for x in x0..(x0 + SQUARE).min(n) {
                out[y * n + x] = 0.5 * (power[x * n + y] + power[opposite(x) * n + opposite(y)]);
            }
        }
    }
    out
}

/// Window starts: half overlapping, the last one flush with the end.
fn starts(length: usize, n: usize) -> Vec<usize> {
    let spare = length - n;
    let count = ((2 * spare).div_ceil(n) + 1).min(MOST_ALONG);
    (0..count).map(|i| if count == 1 { spare / 2 } else { spare * i / (count - 1) }).collect()
}

/// The window at a corner, weighted and of unit energy; `None` where too little is in sight.
fn window(grid: &Grid, (x0, y0): (usize, usize), n: usize, hann: &[f32]) -> Option<Vec<f32>> {
    let row = |y: usize| (y0 + y) * grid.width + x0..(y0 + y) * grid.width + x0 + n;
    let (mut sum, mut weights) = (0.0f64, 0.0f64);
    for (y, w) in hann.iter().enumerate() {
        sum += f64::from(*w) * dot(&grid.grey[row(y)], hann);
        weights += f64::from(*w) * dot(&grid.valid[row(y)], hann);
    }
    let whole: f64 = hann.iter().map(|w| f64::from(*w)).sum();
    if weights < MIN_VALID * whole * whole {
        return None;
    }
    let mean = (sum / weights) as f32;
    let mut energy = 0.0f64;
    let mut data = vec![0.0f32; n * n];
    for (y, out) in data.chunks_exact_mut(n).enumerate() {
        let seen = grid.grey[row(y)].iter().zip(&grid.valid[row(y)]).zip(hann);
        out.iter_mut().zip(seen).for_each(|(out, ((g, v), w))| *out = (g - mean * v) * (w * hann[y]));
        energy += dot(out, out);
    }
    if energy < 1e-9 {
        return None;
    }
    let scale = (1.0 / energy).sqrt() as f32;
    data.iter_mut().for_each(|v| *v *= scale);
    Some(data)
}

/// Sum of products, in eight running sums that the compiler keeps in one register.
pub(super) fn dot(a: &[f32], b: &[f32]) -> f64 {
    let mut sums = [0.0_f32; 8];
    let (eights, others) = (a.chunks_exact(8).zip(b.chunks_exact(8)), a.len() & !7);
    for (a, b) in eights {
        (0..8).for_each(|k| sums[k] += a[k] * b[k]);
    }
    let rest: f64 = a[others..].iter().zip(&b[others..]).map(|(a, b)| f64::from(a * b)).sum();
    rest + sums.iter().map(|s| f64::from(*s)).sum::<f64>()
}

/// The sums of products of two lists with one, each as [`dot`] has it: neither waits for the other.
pub(super) fn dots(first: &[f32], second: &[f32], with: &[f32]) -> (f64, f64) {
    let others = with.len() & !7;
    let rest =
        |list: &[f32]| -> f64 { list[others..].iter().zip(&with[others..]).map(|(a, b)| f64::from(a * b)).sum() };
    let [a, b] = in_eights(first, second, with).map(|sums| sums.iter().map(|s| f64::from(*s)).sum::<f64>());
    (rest(first) + a, rest(second) + b)
}

/// The eight running sums of each list.
// By itself, or the compiler puts the two lists into one register by turns (measured, over two calls of `dot`: so 0.6 of the
// time, together with the rest 1.1).
#[inline(never)]
fn in_eights(first: &[f32], second: &[f32], with: &[f32]) -> [[f32; 8]; 2] {
    let (mut a, mut b) = ([0.0_f32; 8], [0.0_f32; 8]);
    let eights = first.chunks_exact(8).zip(second.chunks_exact(8)).zip(with.chunks_exact(8));
    for ((first, second), with) in eights {
        (0..8).for_each(|k| a[k] += first[k] * with[k]);
        (0..8).for_each(|k| b[k] += second[k] * with[k]);
    }
    [a, b]
}

fn transpose(data: &mut [Complex32], n: usize) {
    for (y0, x0) in squares(n).filter(|(y0, x0)| x0 >= y0) {
        for y in y0..(y0 + SQUARE).min(n) {
            for x in x0.max(y + 1)..(x0 + SQUARE).min(n) {
                data.swap(y * n + x, x * n + y);
            }
        }
    }
}

/// Side of the squares by which rows and columns are exchanged: both of a square's lines stay in the nearest memory.
const SQUARE: usize = 16;

/// Corners of the squares that a spectrum is cut into.
fn squares(n: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..n).step_by(SQUARE).flat_map(move |y| (0..n).step_by(SQUARE).map(move |x| (y, x)))
}

/// Place of a radius, in bins, among the rings: they widen outwards.
fn ring(radius_bins: f64) -> f64 {
    radius_bins.sqrt() * 3.0
}

/// Power of the floor at a radius in bins, between the middles of the rings.
fn level(floor: &[f64], radius_bins: f64) -> f64 {
    let r = (ring(radius_bins) - 0.5).max(0.0);
    let (i, t) = ((r as usize).min(floor.len() - 1), r.fract());
    let j = (i + 1).min(floor.len() - 1);
    (floor[i] * (1.0 - t) + floor[j] * t).exp()
}

/// Power → amplitude over the median in rings about frequency zero; and the logarithms of these medians.
fn whiten(power: &mut [f32], n: usize) -> Vec<f64> {
    let side = n / 2 + 1;
    let folded = |i: usize| if i > n / 2 { n - i } else { i };
    let rings = (n as f64).sqrt() as usize * 3 + 2;
    let ring_of = by_radius(side, |radius| ring(radius) as u16);
    let mut values: Vec<Vec<f32>> = vec![Vec::new(); rings];
    for y in 0..=n / 2 {
        for x in 0..n {
            values[usize::from(ring_of[y * side + folded(x)])].push(power[y * n + x]);
        }
    }
    let medians: Vec<f64> = values
        .iter_mut()
        .map(|v| {
            if v.is_empty() {
                return f64::NAN;
            }
            let mid = v.len() / 2;
            f64::from(*v.select_nth_unstable_by(mid, |a, b| a.total_cmp(b)).1).max(1e-20).ln()
        })
        .collect();
    let floor = smooth(&medians);
    let levels = by_radius(side, |radius| level(&floor, radius));
    for y in 0..n {
        let levels = &levels[folded(y) * side..][..side];
        for x in 0..n {
            let p = &mut power[y * n + x];
            *p = (f64::from(*p) / levels[folded(x)]).sqrt() as f32;
        }
    }
    power[0] = 0.0;
    floor
}

/// A function of the radius in one quadrant of a spectrum, its axes included.
fn by_radius<T: Copy + Default>(side: usize, value: impl Fn(f64) -> T) -> Vec<T> {
    let mut quadrant = vec![T::default(); side * side];
    for y in 0..side {
        for x in 0..=y {
            let here = value(((x * x + y * y) as f64).sqrt());
            quadrant[y * side + x] = here;
            quadrant[x * side + y] = here;
        }
    }
    quadrant
}

/// Running mean over five rings of those that hold something.
fn smooth(values: &[f64]) -> Vec<f64> {
    let mut last = 0.0;
    (0..values.len())
        .map(|i| {
            let near = &values[i.saturating_sub(2)..(i + 3).min(values.len())];
            let held: Vec<f64> = near.iter().copied().filter(|v| v.is_finite()).collect();
            if !held.is_empty() {
                last = held.iter().sum::<f64>() / held.len() as f64;
            }
            last
        })
        .collect()
}
