//! What lens and sensor make of the light: blur, vignetting, exposure, white balance, noise, sRGB.

use super::draw::Draw;
use super::scene::Camera;
use super::shading::LightField;
use image::RgbImage;

/// The blur above which three running means replace the Gaussian itself, px.
const WIDE_BLUR_PX: f64 = 6.0;

/// Steps of the table that encodes linear light.
const ENCODE_STEPS: usize = 1 << 14;

/// Exposes the light field.
pub(super) fn expose(mut field: LightField, camera: &Camera, seed: u64) -> RgbImage {
    blur(&mut field, camera.blur_px);
    let mut draw = Draw::new(seed, 4);
    let gain = 2.0_f64.powf(camera.exposure_ev);
    let gains = camera.white_balance.map(|g| (g * gain) as f32);
    let (shot, read) = (camera.shot_noise as f32, camera.read_noise as f32);
    let encode = encoder();
    let (w, h) = (field.width, field.height);
    let reach = ((w * w + h * h) as f32) / 4.0;
    let noisy = shot > 0.0 || read > 0.0;
    let mut bytes = Vec::with_capacity(w * h * 3);
    for y in 0..h {
        for x in 0..w {
            let (dx, dy) = (x as f32 + 0.5 - w as f32 / 2.0, y as f32 + 0.5 - h as f32 / 2.0);
            let fall = 1.0 - camera.vignetting as f32 * (dx * dx + dy * dy) / reach;
            for (c, value) in field.pixels[y * w + x].iter().enumerate() {
                let mut light = value * gains[c] * fall;
                if noisy {
                    let spread = (shot * shot * light.max(0.0) + read * read).sqrt();
                    light += spread * draw.normal_f32();
                }
                bytes.push(encode[(light.clamp(0.0, 1.0) * (ENCODE_STEPS - 1) as f32 + 0.5) as usize]);
            }
        }
    }
    RgbImage::from_raw(w as u32, h as u32, bytes).unwrap_or_default()
}

/// sRGB transfer function (IEC 61966-2-1), 8 bit.
fn encoder() -> Vec<u8> {
    let encode = |step: usize| {
        let v = step as f64 / (ENCODE_STEPS - 1) as f64;
        let s = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
        (s * 255.0 + 0.5) as u8
    };
    (0..ENCODE_STEPS).map(encode).collect()
}

/// Gaussian blur of a standard deviation in px; a wide one by three running means.
fn blur(field: &mut LightField, sigma: f64) {
    if sigma < 0.1 {
        return;
    }
    if sigma <= WIDE_BLUR_PX {
        return convolve(field, &gaussian(sigma));
    }
    // An even kernel of n taps has the variance (n² − 1) / 12; three in a row give three times that.
    let reach = (((4.0 * sigma * sigma + 1.0).sqrt() - 1.0) / 2.0).round() as usize;
    for _ in 0..3 {
        running_means(field, reach);
    }
}

/// Mean over 2 `reach` + 1 pixels along rows and along columns.
fn running_means(field: &mut LightField, reach: usize) {
    let (w, h) = (field.width, field.height);
    let mut line = Vec::new();
    for y in 0..h {
        line.clear();
        line.extend_from_slice(&field.pixels[y * w..(y + 1) * w]);
        running_mean(&line, reach, |x, value| field.pixels[y * w + x] = value);
    }
    for x in 0..w {
        line.clear();
        line.extend((0..h).map(|y| field.pixels[y * w + x]));
        running_mean(&line, reach, |y, value| field.pixels[y * w + x] = value);
    }
}

fn running_mean(line: &[[f32; 3]], reach: usize, mut put: impl FnMut(usize, [f32; 3])) {
    let last = line.len() - 1;
    let scale = 1.0 / (2 * reach + 1) as f64;
    let at = |i: usize| line[i.saturating_sub(reach).min(last)].map(f64::from);
    let mut sum = (0..=2 * reach).map(at).fold([0.0; 3], |s, v| [s[0] + v[0], s[1] + v[1], s[2] + v[2]]);
    for i in 0..line.len() {
        put(i, sum.map(|v| (v * scale) as f32));
        let (enter, leave) = (at(i + 2 * reach + 1), at(i));
        for c in 0..3 {
            sum[c] += enter[c] - leave[c];
        }
    }
}

fn gaussian(sigma: f64) -> Vec<f32> {
    let reach = (3.2 * sigma).ceil() as i32;
    let weights: Vec<f64> = (-reach..=reach).map(|i| (-0.5 * (f64::from(i) / sigma).powi(2)).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.iter().map(|w| (w / sum) as f32).collect()
}

fn convolve(field: &mut LightField, kernel: &[f32]) {
    let (w, h) = (field.width, field.height);
    let reach = kernel.len() / 2;
    let mut padded = vec![[0.0_f32; 3]; w + 2 * reach];
    for y in 0..h {
        let line = &mut field.pixels[y * w..(y + 1) * w];
        for (i, p) in padded.iter_mut().enumerate() {
            *p = line[i.saturating_sub(reach).min(w - 1)];
        }
        for (x, out) in line.iter_mut().enumerate() {
            *out = weighted(kernel, &padded[x..]);
        }
    }
    let source = field.pixels.clone();
    for y in 0..h {
        let line = &mut field.pixels[y * w..(y + 1) * w];
        line.fill([0.0; 3]);
        for (k, &weight) in kernel.iter().enumerate() {
            let from = (y + k).saturating_sub(reach).min(h - 1);
            for (out, value) in line.iter_mut().zip(&source[from * w..(from + 1) * w]) {
                for c in 0..3 {
                    out[c] += weight * value[c];
                }
            }
        }
    }
}

fn weighted(kernel: &[f32], values: &[[f32; 3]]) -> [f32; 3] {
    kernel.iter().zip(values).fold([0.0; 3], |sum, (w, v)| [sum[0] + w * v[0], sum[1] + w * v[1], sum[2] + w * v[2]])
}
