//! Ink: sampling the full-size picture in the mix of colours in which the marks stand out most.

use image::RgbImage;
use nalgebra::{Matrix3, Vector3};

/// Samples a weighted sum of the sRGB-coded channels (0–1). A mark's profile is symmetric in linear light and stays so
/// in any monotone encoding; the coded values have even noise (roughly), which the thresholds want.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ink<'a> {
    rgb: &'a RgbImage,
    weights: [f32; 3],
}

impl<'a> Ink<'a> {
    /// A sampler; the weights may be negative.
    pub fn new(rgb: &'a RgbImage, weights: [f32; 3]) -> Self {
        Self { rgb, weights: weights.map(|w| w / 255.0) }
    }

    /// Bilinear value at a photo point, `None` outside the picture.
    pub fn at(&self, x: f64, y: f64) -> Option<f32> {
        let (x, y) = (x - 0.5, y - 0.5);
        let (w, h) = (self.rgb.width() as usize, self.rgb.height() as usize);
        if !(x >= 0.0 && y >= 0.0 && x < w as f64 - 1.0 && y < h as f64 - 1.0) {
            return None;
        }
        let (ix, iy) = (x as usize, y as usize);
        let (fx, fy) = ((x - ix as f64) as f32, (y - iy as f64) as f32);
        let raw = self.rgb.as_raw();
        let at = (iy * w + ix) * 3;
        let value = |o: usize| -> f32 { (0..3).map(|c| self.weights[c] * raw[o + c] as f32).sum() };
        let top = value(at) * (1.0 - fx) + value(at + 3) * fx;
        let bottom = value(at + w * 3) * (1.0 - fx) + value(at + w * 3 + 3) * fx;
        Some(top * (1.0 - fy) + bottom * fy)
    }

    /// The mix in which `marks` are darkest against `gaps` for the noise within each (Fisher 1936), scaled to unit
    /// length; luminance when there are too few samples.
    pub fn best_mix(rgb: &'a RgbImage, marks: &[(f64, f64)], gaps: &[(f64, f64)]) -> Self {
        let colours = |points: &[(f64, f64)]| -> Vec<Vector3<f64>> {
            let channel = |c: usize| Self::new(rgb, std::array::from_fn(|k| (k == c) as u8 as f32));
            let mix: [Self; 3] = std::array::from_fn(channel);
            points
                .iter()
                .filter_map(|&(x, y)| {
                    Some(Vector3::new(mix[0].at(x, y)? as f64, mix[1].at(x, y)? as f64, mix[2].at(x, y)? as f64))
                })
                .collect()
        };
        let (m, g) = (colours(marks), colours(gaps));
        if m.len() < 6 || g.len() < 6 {
            return Self::new(rgb, [0.2126, 0.7152, 0.0722]);
        }
        let mean = |v: &[Vector3<f64>]| v.iter().sum::<Vector3<f64>>() / v.len() as f64;
        let (mm, mg) = (mean(&m), mean(&g));
        // A noise of two code values in each channel keeps the solution from chasing rounding.
        let mut scatter = Matrix3::identity() * (2.0f64 / 255.0).powi(2);
        for (v, centre) in m.iter().map(|v| (v, mm)).chain(g.iter().map(|v| (v, mg))) {
            let d = v - centre;
            scatter += d * d.transpose() / (m.len() + g.len()) as f64;
        }
        let mix = scatter.try_inverse().map_or(mg - mm, |s| s * (mg - mm));
        let length = mix.norm().max(1e-12);
        Self::new(rgb, [0, 1, 2].map(|c| (mix[c] / length) as f32))
    }
}
