//! Fabric against what lies around it: how much more each pixel looks like the one than like the other.
//!
//! Nothing is assumed about either: how often colours and roughness occur in a sample of the fabric and in a sample of
//! its surroundings is counted, and a pixel's evidence is the logarithm of the ratio (naive Bayes on two histograms;
//! colour histograms after Swain and Ballard 1991).

use crate::fabric::even_light::box_blur;
use crate::fabric::patch::Patch;
use crate::side_by_side::{both, map_in_order};

/// Bins of lightness, and its range in logarithms of linear light: from the dark level to white.
const LIGHT_BINS: usize = 24;
const LIGHT_RANGE: (f32, f32) = (-4.85, 0.05);
/// Bins of each of two differences between colours, and their range: the most saturated yarns lie within it.
const HUE_BINS: usize = 24;
const HUE_RANGE: (f32, f32) = (-1.2, 1.2);
/// Bins of roughness, and its range in logarithms of the deviation of log light.
const ROUGH_BINS: usize = 24;
const ROUGH_RANGE: (f32, f32) = (-5.0, 0.6);
/// Half-width of the squares over which roughness is taken, in mm: half a yarn or more of common yarns.
const ROUGH_MM: f64 = 0.8;
/// The most that each of the two histograms may say, in logarithms: shares below a tenth are not known from samples of a
/// few thousand correlated pixels.
const MOST: f32 = 2.3;

/// The looks of every pixel of a patch, as bins: hue; and lightness together with roughness, since a shadow on the table is
/// as dark as yarn, but smooth.
pub(super) struct Looks {
    hue: Vec<u16>,
    relief: Vec<u16>,
    valid: Vec<bool>,
}

impl Looks {
    /// Bins the pixels of a patch.
    pub fn of(patch: &Patch) -> Self {
        let (width, height) = (patch.width, patch.height);
        let seen = box_blur(&patch.valid, width, height, 1);
        let smoothed = |c: usize| -> Vec<f32> {
            let plane: Vec<f32> = patch.log_rgb.iter().zip(&patch.valid).map(|(v, m)| v[c] * m).collect();
            let sum = box_blur(&plane, width, height, 1);
            sum.iter().zip(&seen).map(|(v, s)| v / s.max(1e-3)).collect()
        };
        let (smooth, rough) = both(|| map_in_order(0..3, smoothed), || roughness(patch));
        let of_pixel = |i: usize| {
            let [r, g, b] = [0, 1, 2].map(|c: usize| smooth[c][i]);
            let hue = bin(r - g, HUE_RANGE, HUE_BINS) * HUE_BINS + bin(g - b, HUE_RANGE, HUE_BINS);
            let relief =
                bin((r + g + b) / 3.0, LIGHT_RANGE, LIGHT_BINS) * ROUGH_BINS + bin(rough[i], ROUGH_RANGE, ROUGH_BINS);
            (hue as u16, relief as u16)
        };
        let (hue, relief) = (0..width * height).map(of_pixel).unzip();
        Self { hue, relief, valid: patch.valid.iter().map(|v| *v > 0.0).collect() }
    }

    /// For each pixel the logarithm of how much more often its looks occur in the sample `fabric` than in `around`; 0
    /// where nothing is seen.
    pub fn evidence(&self, fabric: &[bool], around: &[bool]) -> Vec<f32> {
        let hue = log_ratio(&self.hue, (HUE_BINS, HUE_BINS), fabric, around);
        let relief = log_ratio(&self.relief, (LIGHT_BINS, ROUGH_BINS), fabric, around);
        let of_pixel = |i: usize| hue[usize::from(self.hue[i])] + relief[usize::from(self.relief[i])];
        (0..self.valid.len()).map(|i| if self.valid[i] { of_pixel(i) } else { 0.0 }).collect()
    }
}

fn bin(value: f32, (low, high): (f32, f32), bins: usize) -> usize {
    ((value - low) / (high - low) * bins as f32).clamp(0.0, bins as f32 - 1.0) as usize
}

/// Logarithm of the deviation of log light in the smoothest of four squares that a pixel is a corner of. A square across
/// the fabric's edge is rough: with the smoothest one the edge stays where it is (Kuwahara et al. 1976).
fn roughness(patch: &Patch) -> Vec<f32> {
    let (width, height) = (patch.width, patch.height);
    let radius = ((ROUGH_MM * patch.px_per_mm).round() as usize).max(1);
    let light: Vec<f32> = patch.log_rgb.iter().zip(&patch.valid).map(|(v, m)| m * (v[0] + v[1] + v[2]) / 3.0).collect();
    let square: Vec<f32> = light.iter().map(|v| v * v).collect();
    let seen = box_blur(&patch.valid, width, height, radius);
    let (mean, power) = (box_blur(&light, width, height, radius), box_blur(&square, width, height, radius));
    let variance: Vec<f32> = (0..light.len())
        .map(|i| {
            let share = seen[i].max(1e-3);
            (power[i] / share - (mean[i] / share).powi(2)).max(0.0)
        })
        .collect();
    let corner = |x: usize, y: usize, right: bool, down: bool| {
        let moved =
            |v: usize, on: bool, end: usize| if on { (v + radius).min(end - 1) } else { v.saturating_sub(radius) };
        let i = moved(y, down, height) * width + moved(x, right, width);
        if seen[i] > 0.5 { variance[i] } else { f32::INFINITY }
    };
    (0..light.len())
        .map(|i| {
            let (x, y) = (i % width, i / width);
            let four = [(false, false), (true, false), (false, true), (true, true)];
            let least = four.map(|(right, down)| corner(x, y, right, down)).into_iter().fold(f32::INFINITY, f32::min);
            0.5 * (if least.is_finite() { least } else { variance[i] } + 1e-5).ln()
        })
        .collect()
}

/// Logarithm of the ratio of two samples' shares in each bin of a histogram of two dimensions, drawn towards 0 where both
/// hold little.
fn log_ratio(bins: &[u16], size: (usize, usize), fabric: &[bool], around: &[bool]) -> Vec<f32> {
    /// Share below which a bin is empty by chance.
    const LITTLE: f32 = 4e-4;
    let shares = |sample: &[bool]| {
        let mut shares = vec![0.0_f32; size.0 * size.1];
        let mut all = 0.0_f32;
        for (bin, _) in bins.iter().zip(sample).filter(|(_, s)| **s) {
            shares[usize::from(*bin)] += 1.0;
            all += 1.0;
        }
        shares.iter_mut().for_each(|c| *c /= all.max(1.0));
        smooth_along(&mut shares, size.1, size.0);
        smooth_along(&mut shares, 1, size.1);
        shares
    };
    let (fabric, around) = (shares(fabric), shares(around));
    fabric.iter().zip(&around).map(|(f, a)| ((f + LITTLE) / (a + LITTLE)).ln().clamp(-MOST, MOST)).collect()
}

/// Smooths a histogram by 1-2-1 along one of its dimensions, whose neighbours lie `stride` apart.
fn smooth_along(histogram: &mut [f32], stride: usize, bins: usize) {
    let before = histogram.to_vec();
    for (i, slot) in histogram.iter_mut().enumerate() {
        let at = (i / stride) % bins;
        let low = if at > 0 { before[i - stride] } else { before[i] };
        let high = if at + 1 < bins { before[i + stride] } else { before[i] };
        *slot = (low + 2.0 * before[i] + high) / 4.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::PlanePoint;

    #[test]
    fn a_rough_half_is_told_from_a_smooth_one_of_the_same_colour() {
        let (width, height) = (60, 40);
        let value = |i: usize| {
            let (x, y) = (i % width, i / width);
            if x < 30 && (x + y) % 2 == 0 { -1.6 } else { -1.2 }
        };
        let patch = Patch {
            origin: PlanePoint::new(0.0, 0.0),
            px_per_mm: 2.0,
            width,
            height,
            log_rgb: (0..width * height).map(|i| [value(i); 3]).collect(),
            valid: vec![1.0; width * height],
        };
        let sample = |from: usize, to: usize| -> Vec<bool> {
            (0..width * height).map(|i| (from..to).contains(&(i % width))).collect()
        };
        let evidence = Looks::of(&patch).evidence(&sample(0, 20), &sample(40, 60));
        let at = |x: usize| evidence[20 * width + x];
        assert!(at(10) > 1.0 && at(27) > 1.0, "{} {}", at(10), at(27));
        assert!(at(50) < -1.0 && at(32) < -1.0, "{} {}", at(50), at(32));
    }
}
