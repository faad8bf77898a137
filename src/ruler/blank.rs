//! Blank: a long straight body without marks, so that a refusal can say that the ruler lies wrong side up.

use image::{RgbImage, imageops};

/// Longer side of the picture in which the body is looked for, px.
const SEARCH_PX: u32 = 480;
/// Neighbouring pixels of a plain body differ by less than this in every channel, code values.
const EVEN: i32 = 7;
/// A body's shape: length against width, length against the picture's longer side, and how much of the rectangle it
/// fills. Rulers are 6 to 12 times as long as wide, of which the picture shows a part.
const SLENDER: f64 = 3.0;
const LONG: f64 = 0.3;
const FILLED: f64 = 0.85;
/// Least width against the picture's longer side.
const WIDE: f64 = 0.02;
/// Both long sides differ from the body by at least this, code values in the channel that differs most.
const STANDS_OUT: f64 = 16.0;

/// True when the photo shows a plain long rectangle that stands out on both sides.
pub(super) fn shows_blank_ruler(rgb: &RgbImage) -> bool {
    let longest = rgb.width().max(rgb.height()).max(1);
    let side = |px: u32| (px * SEARCH_PX / longest).max(1);
    let small =
        if longest > SEARCH_PX { imageops::thumbnail(rgb, side(rgb.width()), side(rgb.height())) } else { rgb.clone() };
    let least = (WIDE * LONG * f64::from(SEARCH_PX) * f64::from(SEARCH_PX)) as usize;
    even_regions(&small, least).iter().any(|region| is_body(&small, region))
}

/// Connected regions of even colour with at least `least` pixels.
fn even_regions(rgb: &RgbImage, least: usize) -> Vec<Vec<(u32, u32)>> {
    let (w, h) = rgb.dimensions();
    let alike = |a: (u32, u32), b: (u32, u32)| {
        let (p, q) = (rgb.get_pixel(a.0, a.1).0, rgb.get_pixel(b.0, b.1).0);
        (0..3).all(|c| (i32::from(p[c]) - i32::from(q[c])).abs() < EVEN)
    };
    let mut seen = vec![false; (w * h) as usize];
    let mut regions = Vec::new();
    for start in (0..w * h).map(|i| (i % w, i / w)) {
        let mut region = Vec::new();
        let mut stack = vec![start];
        while let Some((x, y)) = stack.pop() {
            if std::mem::replace(&mut seen[(y * w + x) as usize], true) {
                continue;
            }
            region.push((x, y));
            let around = [(x.wrapping_sub(1), y), (x + 1, y), (x, y.wrapping_sub(1)), (x, y + 1)];
            stack.extend(around.into_iter().filter(|&n| n.0 < w && n.1 < h && alike((x, y), n)));
        }
        if region.len() >= least {
            regions.push(region);
        }
    }
    regions
}

/// A filled slender rectangle that differs from what lies on both of its long sides.
fn is_body(rgb: &RgbImage, region: &[(u32, u32)]) -> bool {
    let n = region.len() as f64;
    let mean = |f: &dyn Fn(f64, f64) -> f64| region.iter().map(|p| f(f64::from(p.0), f64::from(p.1))).sum::<f64>() / n;
    let (mx, my) = (mean(&|x, _| x), mean(&|_, y| y));
    let (xx, yy) = (mean(&|x, _| (x - mx).powi(2)), mean(&|_, y| (y - my).powi(2)));
    let angle = 0.5 * (2.0 * mean(&|x, y| (x - mx) * (y - my))).atan2(xx - yy);
    let (s, c) = angle.sin_cos();
    let spread = |f: &dyn Fn(f64, f64) -> f64| -> (f64, f64) {
        let mut v: Vec<f64> = region.iter().map(|p| f(f64::from(p.0) - mx, f64::from(p.1) - my)).collect();
        v.sort_by(f64::total_cmp);
        (v[v.len() / 100], v[v.len() - 1 - v.len() / 100])
    };
    let (u, v) = (spread(&|x, y| c * x + s * y), spread(&|x, y| c * y - s * x));
    let (length, width) = (u.1 - u.0 + 1.0, v.1 - v.0 + 1.0);
    let longest = f64::from(rgb.width().max(rgb.height()));
    let slender = length > SLENDER * width && length > LONG * longest && width > WIDE * longest;
    if !slender || n < FILLED * length * width {
        return false;
    }
    let colour = |u: f64, v: f64| -> Option<[f64; 3]> {
        let (x, y) = (mx + c * u - s * v, my + s * u + c * v);
        let inside = x >= 0.0 && y >= 0.0 && x < f64::from(rgb.width()) && y < f64::from(rgb.height());
        inside.then(|| rgb.get_pixel(x as u32, y as u32).0.map(f64::from))
    };
    // Along nearly the whole of both sides, so that a strip of table between swatch and frame does not pass.
    let differs = |edge: f64| {
        const PLACES: usize = 21;
        let beside = (0..PLACES).filter(|k| {
            let along = u.0 + length * (*k as f64 + 0.5) / PLACES as f64;
            let pair = colour(along, (v.0 + v.1) / 2.0).zip(colour(along, edge));
            pair.is_some_and(|(p, q)| (0..3).any(|c| (p[c] - q[c]).abs() > STANDS_OUT))
        });
        beside.count() * 10 >= PLACES * 8
    };
    let margin = 0.15 * width + 3.0;
    differs(v.0 - margin) && differs(v.1 + margin)
}
