//! A picture shown on a screen, and photographed from it: the screen's grid beats with the sensor's.

use super::draw::Draw;
use image::{Rgb, RgbImage};

/// A screen with red, green and blue stripes in each of its square pixels, and how it is photographed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Screen {
    /// Side of a screen pixel in the photo, px (0.6 to 20).
    pub pixel_px: f64,
    /// How far the camera is turned against the screen, degrees.
    pub turned_deg: f64,
    /// Share of a screen pixel that is dark between its neighbours, each way (0 to 0.5).
    pub gap: f64,
    /// Blur of the camera's lens, standard deviation in px (0 to 3).
    pub blur_px: f64,
    /// Noise of the sensor, standard deviation as a share of white.
    pub noise: f64,
}

/// Samples a photo's pixel is made of, each way.
const SAMPLES: i32 = 4;

/// Photographs a picture shown on a screen; the photo is as large as the picture, and shows it at about its size.
///
/// The light of the screen's stripes passes the lens (its blur is drawn by spreading the samples), falls on a mosaic of
/// red, green and blue sensor cells (two green in four; Bayer 1976), and the missing colours are filled in from the
/// nearest cells: that is where the coloured bands of such photos come from.
pub fn photograph_of_screen(picture: &RgbImage, screen: &Screen, seed: u64) -> RgbImage {
    let (width, height) = picture.dimensions();
    let light: Vec<f32> = (0..=255).map(|v| linear(f64::from(v) / 255.0) as f32).collect();
    let mut draw = Draw::new(seed, 31);
    let mut cells = vec![0.0_f32; width as usize * height as usize];
    for y in 0..height {
        for x in 0..width {
            let seen = cell_light(picture, screen, &light, [x, y]);
            cells[(y * width + x) as usize] = seen + (screen.noise * draw.normal()) as f32;
        }
    }
    RgbImage::from_fn(width, height, |x, y| {
        Rgb([0, 1, 2].map(|c| encode(filled_in(&cells, [width, height], [x, y], c))))
    })
}

/// Colour of the sensor cell at a pixel: red, green, green, blue in every square of four.
fn colour_of(x: u32, y: u32) -> usize {
    (x % 2 + y % 2) as usize
}

/// Light of the cell's own colour that falls on it.
fn cell_light(picture: &RgbImage, screen: &Screen, light: &[f32], [x, y]: [u32; 2]) -> f32 {
    let (sin, cos) = screen.turned_deg.to_radians().sin_cos();
    let colour = colour_of(x, y);
    // A cell's width, and a lens's blur as a square of the same variance.
    let spread = (1.0 + 12.0 * screen.blur_px * screen.blur_px).sqrt();
    let mut sum = 0.0;
    for i in 0..SAMPLES * SAMPLES {
        let off = |k: i32| spread * ((f64::from(k) + 0.5) / f64::from(SAMPLES) - 0.5);
        let (px, py) = (f64::from(x) + 0.5 + off(i % SAMPLES), f64::from(y) + 0.5 + off(i / SAMPLES));
        let (u, v) = ((px * cos + py * sin) / screen.pixel_px, (py * cos - px * sin) / screen.pixel_px);
        let stripe = 3.0 * (u - u.floor());
        let dark = stripe as usize != colour || v - v.floor() < screen.gap || stripe - stripe.floor() < screen.gap;
        if !dark {
            // The screen's pixel shows the picture at its middle.
            let (mu, mv) = ((u.floor() + 0.5) * screen.pixel_px, (v.floor() + 0.5) * screen.pixel_px);
            let place = |p: f64, limit: u32| p.clamp(0.0, f64::from(limit) - 1.0) as u32;
            let shown = picture
                .get_pixel(place(mu * cos - mv * sin, picture.width()), place(mu * sin + mv * cos, picture.height()));
            sum += light[usize::from(shown.0[colour])];
        }
    }
    // A white screen gives white: a third of each pixel shines in one colour, less its gaps.
    let shining = (1.0 - screen.gap).powi(2) / 3.0;
    sum / (SAMPLES * SAMPLES) as f32 / shining as f32
}

/// One colour at a pixel: its own cell's, or the mean of the nearest cells that have it.
fn filled_in(cells: &[f32], [width, height]: [u32; 2], [x, y]: [u32; 2], colour: usize) -> f32 {
    if colour_of(x, y) == colour {
        return cells[(y * width + x) as usize];
    }
    let (mut sum, mut count) = (0.0, 0.0);
    for ny in y.saturating_sub(1)..(y + 2).min(height) {
        for nx in x.saturating_sub(1)..(x + 2).min(width) {
            let straight = nx == x || ny == y;
            if colour_of(nx, ny) == colour && (colour != 1 || straight) {
                sum += cells[(ny * width + nx) as usize];
                count += 1.0;
            }
        }
    }
    sum / f32::max(count, 1.0)
}

/// sRGB code, 0 to 1, as linear light (IEC 61966-2-1).
fn linear(code: f64) -> f64 {
    if code <= 0.040_45 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
}

fn encode(light: f32) -> u8 {
    let v = f64::from(light.clamp(0.0, 1.0));
    let code = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
    (code * 255.0 + 0.5) as u8
}
