//! Why no fabric was found: blown out, blurred, too small, or nothing knitted there.

use super::even_light::box_blur;
use crate::photo::{Photo, linear_table};
use crate::quantity::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};

/// Share of blown-out pixels beyond which glare is the reason (stated choice).
const GLARE: f64 = 0.4;
/// Blur, as a standard deviation over the photo's long side, beyond which stitches cannot be read: a photo of 15 to 20 cm
/// then blurs by more than 0.6 mm, and a 2.5 mm period keeps under a third of its contrast.
const BLURRED: f64 = 0.0035;
/// Pixels per mm below which a usual stitch of 4 mm has under six pixels.
const LEAST_PX_PER_MM: f64 = 1.5;

/// The reason why no texture repeats in two directions.
pub(super) fn why_nothing(photo: &Photo, px_per_mm: f64, score: f64) -> Refusal {
    if let Some(refusal) = unreadable(photo) {
        return refusal;
    }
    if px_per_mm < LEAST_PX_PER_MM {
        let seen = format!("the picture has {px_per_mm:.1} px per mm, {LEAST_PX_PER_MM} are needed");
        return Refusal::new(RefusalCode::TooSmall, seen);
    }
    Refusal::new(RefusalCode::NotKnit, format!("no texture repeats in two directions (score {score:.1})"))
}

/// Whether a photo shows nothing readable at all, whatever is in it: `glare` or `out_of_focus`. Needs no scale, so it also
/// explains why no ruler could be read.
pub fn unreadable(photo: &Photo) -> Option<Refusal> {
    let blown = blown_out(photo);
    if blown > GLARE {
        return Some(Refusal::new(RefusalCode::Glare, format!("{:.0} % of the picture is blown out", 100.0 * blown)));
    }
    let blur = blur_share(photo).filter(|b| *b > BLURRED)?;
    let px = blur * f64::from(photo.width().max(photo.height()));
    Some(Refusal::new(RefusalCode::OutOfFocus, format!("the sharpest edges are blurred over {:.0} px", 2.5 * px)))
}

/// The same of the fabric that was `followed`, without what the `ruler` hides of it: `glare` where so much of it is blown out that what
/// is left of its stitches can't stand for it.
pub fn fabric_blown_out(photo: &Photo, followed: &[PhotoPoint], ruler: &[PhotoPoint]) -> Option<Refusal> {
    /// Pixels looked at along the photo's longer side.
    const ALONG: u32 = 256;
    let step = (photo.width().max(photo.height()) / ALONG).max(1) as usize;
    let places = (0..photo.height()).step_by(step).flat_map(|y| (0..photo.width()).step_by(step).map(move |x| (x, y)));
    let (mut blown, mut all) = (0u32, 0u32);
    for (x, y) in places {
        let at = PhotoPoint::new(f64::from(x), f64::from(y));
        if super::inside(followed, at) && !super::inside(ruler, at) {
            all += 1;
            blown += u32::from(is_blown_out(photo.rgb.get_pixel(x, y)));
        }
    }
    let share = f64::from(blown) / f64::from(all.max(1));
    let seen = || format!("{:.0} % of the fabric is blown out", 100.0 * share);
    (share > GLARE).then(|| Refusal::new(RefusalCode::Glare, seen()))
}

/// Share of pixels that are blown out.
fn blown_out(photo: &Photo) -> f64 {
    let all = f64::from(photo.width()) * f64::from(photo.height());
    photo.rgb.pixels().filter(|p| is_blown_out(p)).count() as f64 / all.max(1.0)
}

/// Whether a pixel has the highest code in all channels.
fn is_blown_out(pixel: &image::Rgb<u8>) -> bool {
    pixel.0.iter().all(|v| *v >= 253)
}

/// Blur of the strong edges that are sharpest, as a Gaussian's standard deviation over the photo's long side. `None` where
/// there is no edge.
///
/// The slope of an edge of width b seen through a smoothing of width s goes as 1/√(b² + s²): two smoothings give b
/// (Elder & Zucker 1998 in spirit). Strong edges are chosen on the coarser one, which noise does not reach.
pub fn blur_share(photo: &Photo) -> Option<f64> {
    let (light, width, height) = reduced_light(photo);
    const FINE: usize = 2;
    const COARSE: usize = 6;
    let smooth = |r: usize| box_blur(&box_blur(&light, width, height, r), width, height, r);
    let (fine, coarse) = (smooth(FINE), smooth(COARSE));
    // Twice a box of 2r + 1: variance 2 ((2r + 1)² − 1) / 12.
    let variance = |r: usize| ((2 * r + 1) * (2 * r + 1) - 1) as f64 / 6.0;
    let margin = 2 * COARSE + 10;
    let slope = |v: &[f32], x: usize, y: usize| {
        let i = y * width + x;
        (0.5 * (v[i + 1] - v[i - 1]), 0.5 * (v[i + width] - v[i - width]))
    };
    let mut edges: Vec<(f32, usize, usize)> = Vec::new();
    for y in (margin..height.saturating_sub(margin)).step_by(2) {
        for x in (margin..width.saturating_sub(margin)).step_by(2) {
            let (gx, gy) = slope(&coarse, x, y);
            edges.push((gx.hypot(gy), x, y));
        }
    }
    let top = edges.len() / 200;
    if top < 20 {
        return None;
    }
    edges.select_nth_unstable_by(top, |a, b| b.0.total_cmp(&a.0));
    let ratio = |&(strength, x, y): &(f32, usize, usize)| {
        let (gx, gy) = slope(&coarse, x, y);
        let (dx, dy) = (gx / strength.max(1e-9), gy / strength.max(1e-9));
        // The steepest place along the gradient, averaged over nine pixels along the edge.
        let at = |along: f32, across: f32| {
            let px = (x as f32 + along * dx - across * dy).round() as usize;
            let py = (y as f32 + along * dy + across * dx).round() as usize;
            let (fx, fy) = slope(&fine, px, py);
            fx * dx + fy * dy
        };
        let mean = |along: i32| (-4..=4).map(|k| at(along as f32, k as f32)).sum::<f32>() / 9.0;
        (-5..=5).map(mean).fold(0.0, f32::max) / strength.max(1e-9)
    };
    let mut ratios: Vec<f32> = edges[..top].iter().filter(|e| e.0 > 2e-3).map(ratio).collect();
    if ratios.len() < 20 {
        return None;
    }
    let quarter = ratios.len() / 4;
    let sharpest = *ratios.select_nth_unstable_by(quarter, |a, b| b.total_cmp(a)).1;
    let squared = f64::from(sharpest).powi(2).max(1.02);
    let blur = ((variance(COARSE) - squared * variance(FINE)) / (squared - 1.0)).max(0.0).sqrt();
    Some(blur / width.max(height) as f64)
}

/// Logarithm of green light, averaged to about a thousand pixels on the long side; its size.
fn reduced_light(photo: &Photo) -> (Vec<f32>, usize, usize) {
    const LONG_SIDE: usize = 1000;
    let (w, h) = (photo.width() as usize, photo.height() as usize);
    let factor = (w.max(h) / LONG_SIDE).max(1);
    let (width, height) = (w / factor, h / factor);
    let table = linear_table();
    let raw = photo.rgb.as_raw();
    let mean = |x: usize, y: usize| {
        let row = |dy: usize| {
            let start = 3 * ((y * factor + dy) * w + x * factor) + 1;
            raw[start..].iter().step_by(3).take(factor).map(|v| table[*v as usize]).sum::<f32>()
        };
        ((0..factor).map(row).sum::<f32>() / (factor * factor) as f32 + 0.008).ln()
    };
    ((0..width * height).map(|i| mean(i % width, i / width)).collect(), width, height)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgb, RgbImage};

    /// An edge drawn as a Gaussian's integral comes back with its width.
    #[test]
    fn the_width_of_a_drawn_edge_is_read() {
        for (sigma, low, high) in [(0.5, 0.0, 0.0012), (6.0, 0.0045, 0.007), (10.0, 0.007, 0.012)] {
            let rgb = RgbImage::from_fn(1000, 600, |x, _| {
                let z = (f64::from(x) - 500.0) / (sigma * 1.702);
                Rgb([(60.0 + 120.0 / (1.0 + (-2.9 * z).exp())) as u8; 3])
            });
            let blur = blur_share(&Photo { rgb, ..Photo::default() }).unwrap();
            assert!((low..=high).contains(&blur), "σ {sigma} px read as {:.2} px", 1000.0 * blur);
        }
    }

    #[test]
    fn fabric_that_is_mostly_blown_out_is_refused() {
        // Half of the picture is blown out, on the right.
        let rgb = RgbImage::from_fn(400, 300, |x, _| Rgb(if x < 200 { [90; 3] } else { [255; 3] }));
        let photo = Photo { rgb, ..Photo::default() };
        let between = |from: f64, to: f64| {
            [(from, 20.0), (to, 20.0), (to, 280.0), (from, 280.0)].map(|(x, y)| PhotoPoint::new(x, y))
        };
        let code = |fabric: [PhotoPoint; 4], ruler: &[PhotoPoint]| {
            fabric_blown_out(&photo, &fabric, ruler).map(|refusal| refusal.code)
        };
        assert_eq!(code(between(20.0, 220.0), &[]), None);
        assert_eq!(code(between(100.0, 380.0), &[]), Some(RefusalCode::Glare));
        // A white ruler is none of the fabric.
        assert_eq!(code(between(100.0, 380.0), &between(205.0, 380.0)), None);
    }
}
