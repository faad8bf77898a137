//! Why no fabric was found: blown out, blurred, too small, or nothing knitted there.

use super::Patch;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};

/// Share of blown-out pixels beyond which glare is the reason (stated choice).
const GLARE: f64 = 0.4;
/// Blur, as a standard deviation in mm, beyond which hand-knitted stitches (2 to 6 mm, whose halves must be told apart)
/// fade: exp(−2π²σ²/p²) of a 2.5 mm period falls under a tenth at 0.85 mm.
const BLUR_MM: f64 = 0.7;
/// Pixels per mm below which a usual stitch of 4 mm has under six pixels.
const LEAST_PX_PER_MM: f64 = 1.5;

/// The reason why no texture repeats in two directions.
pub(super) fn why_nothing(photo: &Photo, patch: &Patch, px_per_mm: f64, score: f64) -> Refusal {
    let blown = blown_out(photo);
    if blown > GLARE {
        return Refusal::new(RefusalCode::Glare, format!("{:.0} % of the picture is blown out", 100.0 * blown));
    }
    if px_per_mm < LEAST_PX_PER_MM {
        let seen = format!("the picture has {px_per_mm:.1} px per mm, {LEAST_PX_PER_MM} are needed");
        return Refusal::new(RefusalCode::TooSmall, seen);
    }
    let blur = blur_mm(patch).unwrap_or(0.0);
    let detail = format!("the finest detail is about {:.2} mm wide", 2.0 * blur);
    if blur > BLUR_MM {
        return Refusal::new(RefusalCode::OutOfFocus, detail);
    }
    Refusal::new(RefusalCode::NotKnit, format!("no texture repeats in two directions (score {score:.1}); {detail}"))
}

/// Share of pixels at the highest code in all channels.
fn blown_out(photo: &Photo) -> f64 {
    let all = f64::from(photo.width()) * f64::from(photo.height());
    photo.rgb.pixels().filter(|p| p.0.iter().all(|v| *v >= 253)).count() as f64 / all.max(1.0)
}

/// Width of the sharpest edges as a Gaussian's standard deviation, in mm: the height of the steepest steps over their
/// slope (an edge of height h blurred by σ has the slope h / (σ √(2π))). `None` where there is no contrast.
pub(super) fn blur_mm(patch: &Patch) -> Option<f64> {
    let reach = (3.0 * patch.px_per_mm).ceil() as usize;
    let luminance = |i: usize| patch.log_rgb[i].iter().sum::<f32>() / 3.0;
    let mut widths: Vec<(f32, f32)> = Vec::new();
    for y in (0..patch.height).step_by(2) {
        for x in reach..patch.width.saturating_sub(reach + 1) {
            let at = y * patch.width + x;
            if patch.valid[at - reach..=at + reach].iter().any(|v| *v < 0.5) {
                continue;
            }
            let slope = (luminance(at + 1) - luminance(at - 1)) / 2.0;
            widths.push((slope.abs(), (luminance(at + reach / 2) - luminance(at - reach / 2)).abs()));
        }
    }
    if widths.len() < 1000 {
        return None;
    }
    let top = widths.len() / 500;
    widths.select_nth_unstable_by(top, |a, b| b.0.total_cmp(&a.0));
    let (slope, height) = widths[..top].iter().fold((0.0, 0.0), |a, w| (a.0 + w.0, a.1 + w.1.max(w.0)));
    (slope > 1e-6).then(|| f64::from(height / slope) / (2.0 * std::f64::consts::PI).sqrt() / patch.px_per_mm)
}
