//! The fabric's spectrum along the rows and along the wales, for pictures: what repeats how often, on one axis at a time.
//!
//! The decision is made on the two-dimensional spectrum (see `decide`). This is its shadow on each axis: the mean power of
//! many lines that run along the axis, each by itself, so that lines of the two-dimensional spectrum beside the axis (the
//! leaning legs of a V) show too. The lines follow the fabric as it was followed.

use super::{FollowedLattice, LatticeModel, crossings};
use crate::photo::{Photo, linear_table};
use crate::quantity::PhotoPoint;

/// Mean spectrum of lines along one axis.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisSpectrum {
    /// Frequencies as multiples of the stitch's (or the row's), rising.
    pub multiples: Vec<f64>,
    /// Amplitude over the median amplitude of the spectrum.
    pub amplitude_over_noise: Vec<f64>,
}

/// Samples for each stitch or row along a line: three for the highest multiple that is shown.
const SAMPLES: f64 = 10.0;
/// Distance of the lines, in rows or stitches.
const LINE_STEP: f64 = 0.25;
/// Lines at most (bounded time).
const MOST_LINES: usize = 240;
/// Least length of a line, in stitches or rows: shorter ones tell a half from a whole badly.
const SHORTEST: f64 = 5.0;
/// Longest part of a line that is used, in stitches or rows (bounded time).
const LONGEST: f64 = 60.0;
/// Multiples that are shown: from a third, where triple stitches would be, to a little beyond the third harmonic.
const SHOWN: (f64, f64) = (0.3, 3.2);
/// Frequencies in a spectrum.
const FREQUENCIES: usize = 240;

/// Spectra along the rows (stitches) and along the wales (rows). `weights` are those of the logarithms of linear red, green
/// and blue. `None` where the region is too small for either.
pub fn axis_spectra(
    photo: &Photo,
    weights: [f32; 3],
    model: &LatticeModel,
    followed: &FollowedLattice,
    region_px: &[PhotoPoint],
) -> Option<[AxisSpectrum; 2]> {
    let outline: Vec<(f64, f64)> = region_px.iter().filter_map(|&p| model.numbers(p)).collect();
    let turned: Vec<(f64, f64)> = outline.iter().map(|p| (p.1, p.0)).collect();
    let light = Light { photo, weights, table: linear_table() };
    let stitches = along(&turned, |fixed, moving| light.at(followed.place(moving, fixed)?))?;
    let rows = along(&outline, |fixed, moving| light.at(followed.place(fixed, moving)?))?;
    Some([stitches, rows])
}

/// Mean spectrum of the lines along the second coordinate of an outline.
fn along(outline: &[(f64, f64)], sample: impl Fn(f64, f64) -> Option<f64>) -> Option<AxisSpectrum> {
    let low = outline.iter().fold(f64::INFINITY, |a, p| a.min(p.0));
    let high = outline.iter().fold(f64::NEG_INFINITY, |a, p| a.max(p.0));
    if !(low < high && (high - low).is_finite()) {
        return None;
    }
    let lines = (((high - low) / LINE_STEP) as usize).clamp(1, MOST_LINES);
    let mut power = vec![0.0; FREQUENCIES];
    let mut used = 0;
    for i in 0..lines {
        let fixed = low + (high - low) * (i as f64 + 0.5) / lines as f64;
        let ends = crossings(outline, fixed);
        let Some(run) = ends.chunks_exact(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0]))) else { continue };
        if let Some(own) = line_power(run[0], run[1].min(run[0] + LONGEST), |moving| sample(fixed, moving)) {
            power.iter_mut().zip(own).for_each(|(sum, p)| *sum += p);
            used += 1;
        }
    }
    if used == 0 {
        return None;
    }
    let amplitude: Vec<f64> = power.iter().map(|p| p.sqrt()).collect();
    let median = super::median(amplitude.clone());
    (median > 0.0).then(|| AxisSpectrum {
        multiples: multiples().collect(),
        amplitude_over_noise: amplitude.iter().map(|a| a / median).collect(),
    })
}

fn multiples() -> impl Iterator<Item = f64> {
    (0..FREQUENCIES).map(|i| SHOWN.0 + (SHOWN.1 - SHOWN.0) * i as f64 / (FREQUENCIES as f64 - 1.0))
}

/// Power of one line at each multiple, of unit energy in all; `None` where it is short, leaves the photo, or is flat.
fn line_power(from: f64, to: f64, sample: impl Fn(f64) -> Option<f64>) -> Option<Vec<f64>> {
    let n = ((to - from) * SAMPLES) as usize;
    if (n as f64) < SHORTEST * SAMPLES {
        return None;
    }
    let at = |i: usize| from + i as f64 / SAMPLES;
    let values: Vec<f64> = (0..n).map(|i| sample(at(i))).collect::<Option<_>>()?;
    let (mean, slope) = trend(&values);
    let middle = (n as f64 - 1.0) / 2.0;
    let hann = |i: usize| (std::f64::consts::PI * (i as f64 + 0.5) / n as f64).sin().powi(2);
    let weighted: Vec<f64> =
        values.iter().enumerate().map(|(i, v)| (v - mean - slope * (i as f64 - middle)) * hann(i)).collect();
    let energy: f64 = weighted.iter().map(|v| v * v).sum();
    if energy <= 1e-12 {
        return None;
    }
    let at_multiple = |multiple: f64| {
        let turn = 2.0 * std::f64::consts::PI * multiple / SAMPLES;
        let (sin, cos) = weighted.iter().enumerate().fold((0.0, 0.0), |(s, c), (i, v)| {
            let (ds, dc) = (turn * i as f64).sin_cos();
            (s + v * ds, c + v * dc)
        });
        (sin * sin + cos * cos) / energy
    };
    Some(multiples().map(at_multiple).collect())
}

/// Mean and slope of a line's values about its middle.
fn trend(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let middle = (n - 1.0) / 2.0;
    let (mut xy, mut xx) = (0.0, 0.0);
    for (i, v) in values.iter().enumerate() {
        let x = i as f64 - middle;
        xy += x * (v - mean);
        xx += x * x;
    }
    (mean, if xx > 0.0 { xy / xx } else { 0.0 })
}

/// The photo's light in a sum of logarithms, between pixels.
struct Light<'a> {
    photo: &'a Photo,
    weights: [f32; 3],
    table: [f32; 256],
}

impl Light<'_> {
    /// Added to linear light before the logarithm: an eighth of one code value's step in the dark would else count as much
    /// as a whole stitch (a stated choice, as 8-bit pictures begin at 0.0003).
    const FLOOR: f32 = 0.002;

    /// Light at a photo point; `None` outside the picture.
    fn at(&self, p: PhotoPoint) -> Option<f64> {
        let (x, y) = (p.x - 0.5, p.y - 0.5);
        let (w, h) = (f64::from(self.photo.width()), f64::from(self.photo.height()));
        if !(x >= 0.0 && y >= 0.0 && x < w - 1.0 && y < h - 1.0) {
            return None;
        }
        let (ix, iy) = (x as u32, y as u32);
        let (fx, fy) = ((x - f64::from(ix)) as f32, (y - f64::from(iy)) as f32);
        let mut sum = 0.0;
        for (dx, dy, share) in
            [(0, 0, (1.0 - fx) * (1.0 - fy)), (1, 0, fx * (1.0 - fy)), (0, 1, (1.0 - fx) * fy), (1, 1, fx * fy)]
        {
            let pixel = self.photo.rgb.get_pixel(ix + dx, iy + dy);
            let light =
                pixel.0.iter().zip(self.weights).map(|(c, w)| w * (self.table[usize::from(*c)] + Self::FLOOR).ln());
            sum += share * light.sum::<f32>();
        }
        Some(f64::from(sum))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wave of one to the stitch, and one at every second stitch of half the height: both stand where they belong.
    #[test]
    fn waves_stand_at_their_multiples() {
        let outline = [(0.0, 0.0), (12.0, 0.0), (12.0, 24.0), (0.0, 24.0)];
        let wave = |turns: f64| (2.0 * std::f64::consts::PI * turns).cos();
        let found =
            along(&outline, |fixed, m| Some(wave(m + fixed) + 0.5 * wave(m / 2.0) + 0.01 * wave(m * m))).unwrap();
        let at = |multiple: f64| {
            let near = found.multiples.iter().zip(&found.amplitude_over_noise);
            near.filter(|(m, _)| (**m - multiple).abs() < 0.03).map(|(_, a)| *a).fold(0.0, f64::max)
        };
        assert!(at(1.0) > 10.0 && at(0.5) > 0.4 * at(1.0) && at(0.5) < 0.6 * at(1.0), "{} {}", at(1.0), at(0.5));
        assert!(at(1.5) < 0.1 * at(1.0) && at(2.5) < 0.1 * at(1.0));
        assert!(along(&[(0.0, 0.0), (1.0, 0.0), (1.0, 3.0)], |_, _| Some(0.0)).is_none());
    }
}
