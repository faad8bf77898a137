//! Ink: sampling the full-size picture in the mix of colours in which the marks stand out most.

use crate::photo::LUMINANCE;
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

    /// The weights of the channels.
    pub fn weights(&self) -> [f32; 3] {
        self.weights.map(|w| w * 255.0)
    }

    /// Bilinear value at a photo point, `None` outside the picture.
    pub fn at(&self, x: f64, y: f64) -> Option<f32> {
        let (x, y) = (x - 0.5, y - 0.5);
        let (w, h) = (self.rgb.width() as usize, self.rgb.height() as usize);
        if !(x >= 0.0 && y >= 0.0 && x < w as f64 - 1.0 && y < h as f64 - 1.0) {
            return None;
        }
        let (ix, iy) = (x as u32 as usize, y as u32 as usize);
        let (fx, fy) = ((x - ix as f64) as f32, (y - iy as f64) as f32);
        let raw = self.rgb.as_raw();
        let at = (iy * w + ix) * 3;
        let value = |px: &[u8]| -> f32 { (0..3).map(|c| self.weights[c] * px[c] as f32).sum() };
        let between = |px: &[u8]| value(&px[..3]) * (1.0 - fx) + value(&px[3..]) * fx;
        let (top, bottom) = (between(&raw[at..at + 6]), between(&raw[at + w * 3..at + w * 3 + 6]));
        Some(top * (1.0 - fy) + bottom * fy)
    }

    /// The mix in which marks are darkest against the ruler beside them for the scatter of that difference (Fisher
    /// 1936), scaled to unit length; luminance when there are too few. Each place is (mark, one side, other side), all
    /// at one height, so that grain along the ruler cancels.
    pub fn best_mix(rgb: &'a RgbImage, places: &[[(f64, f64); 3]]) -> Self {
        let channels: [Self; 3] =
            std::array::from_fn(|c| Self::new(rgb, std::array::from_fn(|k| (k == c) as u8 as f32)));
        let colour = |p: (f64, f64)| -> Option<Vector3<f64>> {
            let mut v = Vector3::zeros();
            for (v, c) in v.iter_mut().zip(&channels) {
                *v = c.at(p.0, p.1)? as f64;
            }
            Some(v)
        };
        let depth = |p: &[(f64, f64); 3]| Some((colour(p[1])? + colour(p[2])?) / 2.0 - colour(p[0])?);
        let depths: Vec<Vector3<f64>> = places.iter().filter_map(depth).collect();
        if depths.len() < 6 {
            return Self::new(rgb, LUMINANCE);
        }
        let mean = depths.iter().sum::<Vector3<f64>>() / depths.len() as f64;
        // A noise of two code values in each channel keeps the solution from chasing rounding.
        let mut scatter = Matrix3::identity() * (2.0f64 / 255.0).powi(2);
        for d in &depths {
            scatter += (d - mean) * (d - mean).transpose() / depths.len() as f64;
        }
        let mix = scatter.try_inverse().map_or(mean, |s| s * mean);
        let length = mix.norm().max(1e-12);
        Self::new(rgb, [0, 1, 2].map(|c| (mix[c] / length) as f32))
    }
}
