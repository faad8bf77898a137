//! Stripes and colour work: the yarns' colours taken out, so that their relief remains.
//!
//! Two yarns differ far more from each other than the light on one of them does from place to place. Where the colours of
//! a fabric fall into two heaps that far apart (two means; Lloyd 1982), each pixel is given the difference from its own
//! yarn's mean, in units of its own yarn's contrast: what is left is light and shade on the loops, whatever the colours.

use super::even_light::box_blur;
use super::patch::Patch;
use crate::quantity::PlanePoint;
use nalgebra::{Matrix3, Vector3};

/// Places at which the colour is looked at, along each side.
const SAMPLED_ALONG: usize = 56;
/// Distance of the heaps' middles over the spread within them: one normal heap cut in half has 2.7, two flat ones that
/// touch 3.5 (derived).
const APART: f64 = 4.2;
/// Least difference of the two, as a logarithm of light: a quarter brighter.
const LEAST_DIFFERENCE: f64 = 0.22;
/// Least share of the rarer colour.
const LEAST_SHARE: f64 = 0.06;
/// Distance of the two colours' middles, as a part of the square's side, from which they lie side by side: halves have 0.5,
/// three stripes or more 0.25 and less (derived).
const SIDE_BY_SIDE: f64 = 0.28;
/// How far one yarn's contrast may be scaled to meet the other's.
const MOST_SCALE: f64 = 3.0;

/// Two yarns: the direction in which their colours differ, the middle between them, and each one's mean and contrast.
#[derive(Debug, Clone)]
pub struct TwoColours {
    direction: Vector3<f64>,
    middle: f64,
    mean: [Vector3<f64>; 2],
    scale: [f64; 2],
    detail_mm: f64,
}

impl TwoColours {
    /// The two yarns' colours in a square of a patch; `None` where one colour will do. `detail_mm` is the width over which
    /// the colour is averaged: well under a stitch.
    pub fn seen(patch: &Patch, centre: PlanePoint, side_mm: f64, detail_mm: f64) -> Option<Self> {
        let reach = reach_px(patch, detail_mm);
        let mut samples: Vec<(Vector3<f64>, Vector3<f64>)> = Vec::new();
        let mut places: Vec<[f64; 2]> = Vec::new();
        for place in sampled() {
            if let Some(sample) = mean_and_pixel(patch, centre.moved(side_mm * place[0], side_mm * place[1]), reach) {
                samples.push(sample);
                places.push(place);
            }
        }
        if samples.len() < SAMPLED_ALONG * SAMPLED_ALONG / 4 {
            return None;
        }
        let means: Vec<Vector3<f64>> = samples.iter().map(|s| s.0).collect();
        let direction = widest(&means);
        let along: Vec<f64> = means.iter().map(|m| m.dot(&direction)).collect();
        let middle = two_means(&along)?;
        if !mingled(&places, &along, middle) {
            return None;
        }
        let of = |side: bool| {
            let pixels: Vec<Vector3<f64>> =
                samples.iter().zip(&along).filter(|(_, a)| (**a > middle) == side).map(|(s, _)| s.1).collect();
            let n = pixels.len() as f64;
            let mean = pixels.iter().sum::<Vector3<f64>>() / n;
            let grey = |v: &Vector3<f64>| v.sum() / 3.0;
            let variance = pixels.iter().map(|p| (grey(p) - grey(&mean)).powi(2)).sum::<f64>() / n;
            (mean, variance.sqrt().max(1e-3))
        };
        let ((dark, a), (light, b)) = (of(false), of(true));
        let common = (a * b).sqrt();
        let scale = [a, b].map(|s| (common / s).clamp(1.0 / MOST_SCALE, MOST_SCALE));
        Some(Self { direction, middle, mean: [dark, light], scale, detail_mm })
    }
}

impl TwoColours {
    /// Shares of places in a square of a patch, for each of some steps in mm, from which one step leads to the other yarn.
    pub fn changes<const N: usize>(
        &self,
        patch: &Patch,
        centre: PlanePoint,
        side_mm: f64,
        steps_mm: [[f64; 2]; N],
    ) -> [f64; N] {
        let reach = reach_px(patch, self.detail_mm);
        let light = |at: PlanePoint| Some(mean_and_pixel(patch, at, reach)?.0.dot(&self.direction) > self.middle);
        let places: Vec<(PlanePoint, bool)> = sampled()
            .map(|[x, y]| centre.moved(side_mm * x, side_mm * y))
            .filter_map(|at| Some((at, light(at)?)))
            .collect();
        steps_mm.map(|[dx, dy]| {
            let pairs = places.iter().filter_map(|(at, here)| Some(light(at.moved(dx, dy))? != *here));
            let (all, changed) = pairs.fold((0usize, 0usize), |(n, m), changed| (n + 1, m + usize::from(changed)));
            changed as f64 / all.max(1) as f64
        })
    }
}

impl Patch {
    /// The patch as if knitted in one colour of yarn.
    pub fn in_one_colour(&self, colours: &TwoColours) -> Self {
        let radius = reach_px(self, colours.detail_mm) as usize;
        let d = colours.direction.map(|v| v as f32);
        let along: Vec<f32> = self.log_rgb.iter().map(|v| v[0] * d[0] + v[1] * d[1] + v[2] * d[2]).collect();
        let smooth = box_blur(&along, self.width, self.height, radius);
        let light: Vec<f32> = smooth.iter().map(|v| if f64::from(*v) > colours.middle { 1.0 } else { 0.0 }).collect();
        let share = box_blur(&light, self.width, self.height, radius);
        let [dark, bright] = colours.mean.map(|m| m.map(|v| v as f32));
        let [a, b] = colours.scale.map(|s| s as f32);
        let between = bright - dark;
        let length = between.norm_squared().max(1e-9);
        let log_rgb = self
            .log_rgb
            .iter()
            .zip(&share)
            .zip(&light)
            .map(|((v, share), light)| {
                let v = Vector3::new(v[0], v[1], v[2]);
                // Where the yarns meet a pixel shows some of both: only what lies across the difference is kept.
                let meeting = *share > 0.02 && *share < 0.98;
                let part = if meeting { ((v - dark).dot(&between) / length).clamp(0.0, 1.0) } else { *light };
                let rest = (v - dark - between * part) * if *light > 0.5 { b } else { a };
                [rest.x, rest.y, rest.z]
            })
            .collect();
        Self { log_rgb, valid: self.valid.clone(), ..*self }
    }
}

/// Places at which the colour is looked at, as parts of the square's side from its middle.
fn sampled() -> impl Iterator<Item = [f64; 2]> {
    let part = |i: usize| (i as f64 + 0.5) / SAMPLED_ALONG as f64 - 0.5;
    (0..SAMPLED_ALONG * SAMPLED_ALONG).map(move |k| [part(k % SAMPLED_ALONG), part(k / SAMPLED_ALONG)])
}

/// Half the width over which the colour is averaged, in whole pixels.
fn reach_px(patch: &Patch, detail_mm: f64) -> i64 {
    ((detail_mm * patch.px_per_mm / 2.0).round() as i64).max(1)
}

/// Mean colour about the pixel at a place, and its own; `None` where some of it is hidden.
fn mean_and_pixel(patch: &Patch, at: PlanePoint, reach: i64) -> Option<(Vector3<f64>, Vector3<f64>)> {
    let x = ((at.x - patch.origin.x) * patch.px_per_mm).floor() as i64;
    let y = ((at.y - patch.origin.y) * patch.px_per_mm).floor() as i64;
    let inside = x >= reach && y >= reach && x + reach < patch.width as i64 && y + reach < patch.height as i64;
    if !inside {
        return None;
    }
    let colour = |x: i64, y: i64| {
        let i = y as usize * patch.width + x as usize;
        let v = patch.log_rgb[i].map(f64::from);
        (patch.valid[i] > 0.5).then(|| Vector3::new(v[0], v[1], v[2]))
    };
    let mut sum = Vector3::zeros();
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            sum += colour(x + dx, y + dy)?;
        }
    }
    Some((sum / ((2 * reach + 1) * (2 * reach + 1)) as f64, colour(x, y)?))
}

/// Whether the two heaps lie among each other: fabric and table lie side by side.
fn mingled(places: &[[f64; 2]], along: &[f64], middle: f64) -> bool {
    let centre = |side: bool| {
        let of_side: Vec<&[f64; 2]> =
            places.iter().zip(along).filter(|(_, a)| (**a > middle) == side).map(|(p, _)| p).collect();
        let n = of_side.len().max(1) as f64;
        [0, 1].map(|axis| of_side.iter().map(|p| p[axis]).sum::<f64>() / n)
    };
    let (a, b) = (centre(false), centre(true));
    (a[0] - b[0]).hypot(a[1] - b[1]) < SIDE_BY_SIDE
}

/// Direction in which colours vary most.
fn widest(colours: &[Vector3<f64>]) -> Vector3<f64> {
    let mean = colours.iter().sum::<Vector3<f64>>() / colours.len() as f64;
    let covariance = colours.iter().fold(Matrix3::zeros(), |m, c| m + (c - mean) * (c - mean).transpose());
    let eigen = covariance.symmetric_eigen();
    eigen.eigenvectors.column(eigen.eigenvalues.imax()).into()
}

/// The middle between two heaps of values; `None` where there is one heap.
fn two_means(values: &[f64]) -> Option<f64> {
    let n = values.len() as f64;
    let mut middle = values.iter().sum::<f64>() / n;
    for _ in 0..24 {
        let half = |side: bool| {
            let (count, sum) =
                values.iter().filter(|v| (**v > middle) == side).fold((0.0, 0.0), |a, v| (a.0 + 1.0, a.1 + v));
            (count > 0.0).then(|| (count, sum / count))
        };
        let ((low, a), (high, b)) = (half(false)?, half(true)?);
        let next = (a + b) / 2.0;
        if (next - middle).abs() < 1e-6 {
            let spread = values.iter().map(|v| (v - if *v > middle { b } else { a }).powi(2)).sum::<f64>() / n;
            let apart = (b - a) / spread.sqrt().max(1e-6);
            let enough = low.min(high) >= LEAST_SHARE * n && b - a >= LEAST_DIFFERENCE;
            return (apart >= APART && enough).then_some(middle);
        }
        middle = next;
    }
    None
}
