//! Body: the outline of the ruler, so that it is left out when the fabric is looked for.

use super::ink::Ink;
use super::train::Train;
use crate::quantity::PhotoPoint;
use image::RgbImage;

/// Rulers reach this far beyond their outermost graduations, mm (common practice, no source: 3 to 8 mm).
const BEYOND_ENDS_MM: f64 = 8.0;
/// Marks begin at most this far inside the edge, mm (common practice, no source).
const BEHIND_BASE_MM: f64 = 1.5;
/// Widths between which the far edge is looked for, mm: narrow steel rules to drawing rulers.
const WIDTH_MM: (f64, f64) = (9.0, 60.0);
/// Width assumed where no far edge shows, mm: a usual ruler or tape is 15 to 35 mm wide.
const WIDTH_USUAL_MM: f64 = 30.0;
/// A step in colour counts as the far edge when its mean is this many times its scatter along the ruler.
const EDGE_CLEAR: f64 = 1.2;

/// Outline of the ruler that carries `train`, and `other` on its far edge where that was read, cut to the picture.
pub(super) fn outline(rgb: &RgbImage, train: &Train, other: Option<&Train>, pitch_mm: f64) -> Vec<PhotoPoint> {
    let (Some(a), Some(b)) = (train.marks.first(), train.marks.last()) else { return Vec::new() };
    let px_per_mm = train.pitch_px() / pitch_mm;
    let (u0, u1) = (a.u - BEYOND_ENDS_MM * px_per_mm, b.u + BEYOND_ENDS_MM * px_per_mm);
    let near = |u: f64| train.base.at(u.max(a.u).min(b.u)) - BEHIND_BASE_MM * px_per_mm;
    let width = other
        .and_then(|o| width_to(train, o))
        .map(|w| w + BEHIND_BASE_MM * px_per_mm)
        .or_else(|| far_edge(rgb, train, px_per_mm))
        .unwrap_or(WIDTH_USUAL_MM * px_per_mm);
    let far = |u: f64| train.base.at(u.max(a.u).min(b.u)) + width;
    const PIECES: usize = 12;
    let along = |k: usize| u0 + (u1 - u0) * k as f64 / PIECES as f64;
    let mut polygon: Vec<(f64, f64)> = (0..=PIECES).map(|k| train.frame.point(along(k), near(along(k)))).collect();
    polygon.extend((0..=PIECES).rev().map(|k| train.frame.point(along(k), far(along(k)))));
    cut_to(polygon, rgb.width() as f64, rgb.height() as f64).into_iter().map(|(x, y)| PhotoPoint::new(x, y)).collect()
}

/// Distance from the base line of one train to that of the other, the larger of both ends, px.
fn width_to(train: &Train, other: &Train) -> Option<f64> {
    let away = |m: &super::train::Mark| {
        let p = other.at(m);
        let (u, v) = train.frame.place((p.x, p.y));
        v - train.base.at(u)
    };
    Some(away(other.marks.first()?).max(away(other.marks.last()?)))
}

/// Distance from the base line to the clearest straight step in colour parallel to it, px.
fn far_edge(rgb: &RgbImage, train: &Train, px_per_mm: f64) -> Option<f64> {
    const SAMPLES: usize = 48;
    let (a, b) = (train.marks.first()?.u, train.marks.last()?.u);
    let channels = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|w| Ink::new(rgb, w));
    let reach = (0.35 * px_per_mm).max(2.0);
    let step_at = |v: f64| -> f64 {
        let steps: Vec<[f64; 3]> = (0..SAMPLES)
            .filter_map(|k| {
                let u = a + (b - a) * (k as f64 + 0.5) / SAMPLES as f64;
                let base = train.base.at(u);
                let (p, q) = (train.frame.point(u, base + v - reach), train.frame.point(u, base + v + reach));
                let mut d = [0.0; 3];
                for (d, c) in d.iter_mut().zip(&channels) {
                    *d = (c.at(q.0, q.1)? - c.at(p.0, p.1)?) as f64;
                }
                Some(d)
            })
            .collect();
        if steps.len() < SAMPLES / 3 {
            return 0.0;
        }
        let n = steps.len() as f64;
        let mean: [f64; 3] = std::array::from_fn(|c| steps.iter().map(|s| s[c]).sum::<f64>() / n);
        let scatter = steps.iter().flat_map(|s| (0..3).map(|c| (s[c] - mean[c]).powi(2))).sum::<f64>() / n;
        mean.iter().map(|m| m * m).sum::<f64>().sqrt() / (scatter.sqrt() + 0.02)
    };
    let (from, to) = (WIDTH_MM.0 * px_per_mm, WIDTH_MM.1 * px_per_mm);
    let count = ((to - from) / reach).ceil() as usize;
    let best =
        (0..=count).map(|k| from + k as f64 * reach).map(|v| (v, step_at(v))).max_by(|a, b| a.1.total_cmp(&b.1))?;
    (best.1 > EDGE_CLEAR).then_some(best.0 + reach)
}

/// A polygon cut to the picture (Sutherland & Hodgman 1974).
fn cut_to(polygon: Vec<(f64, f64)>, width: f64, height: f64) -> Vec<(f64, f64)> {
    let inside: [&dyn Fn((f64, f64)) -> f64; 4] = [&|p| p.0, &|p| width - p.0, &|p| p.1, &|p| height - p.1];
    inside.into_iter().fold(polygon, |points, depth| {
        let mut kept = Vec::with_capacity(points.len() + 2);
        for (k, &p) in points.iter().enumerate() {
            let q = points[(k + 1) % points.len()];
            let (dp, dq) = (depth(p), depth(q));
            if dp >= 0.0 {
                kept.push(p);
            }
            if (dp >= 0.0) != (dq >= 0.0) {
                let t = dp / (dp - dq);
                kept.push((p.0 + (q.0 - p.0) * t, p.1 + (q.1 - p.1) * t));
            }
        }
        kept
    })
}
