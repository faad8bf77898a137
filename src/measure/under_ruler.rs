//! What the ruler lies on: fabric or table.

use crate::fabric;
use crate::gauge::RulerOn;
use crate::lattice::LatticeReading;
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use nalgebra::{Matrix2, SymmetricEigen, Vector2};

/// Fabric this near is taken to go on under the ruler, in stitch widths. A swatch beside a ruler ends in an edge stitch
/// or two that curl and are not followed, and a gap.
const TOUCHING_STITCHES: f64 = 1.5;

/// Share of the ruler's outline that must touch: an eighth, a third of one long side.
const TOUCHING_SHARE: f64 = 0.12;

/// Share of the outline that must touch on each of the two long sides for the ruler to lie across the fabric.
const EACH_SIDE_SHARE: f64 = 0.06;

/// Fabric farther than this does not lie under the ruler's edge, in stitch widths.
const NEAR_STITCHES: f64 = 4.0;

/// Share of the outline with fabric near it, touching or not, from which the gap between them is looked into.
const NEAR_SHARE: f64 = 0.25;

/// Share of the outline with fabric near it that means: all along one long side.
const ALL_ALONG: f64 = 0.42;

/// How far outside the ruler the gap is looked into, in stitch widths.
const GAP_STITCHES: f64 = 1.0;

/// How far outside the ruler's far side its surroundings are looked at, in stitch widths: past the ruler's shadow.
const BEYOND_STITCHES: f64 = 2.5;

/// Share of the places that must have the fabric's colours.
const ALIKE_SHARE: f64 = 0.6;

/// How near a colour is the fabric's: within so many of the fabric's own deviations in each channel's logarithm.
const ALIKE_DEVIATIONS: f64 = 2.5;

/// A point of the ruler's outline.
struct Rim {
    at: PhotoPoint,
    /// Distance from the followed fabric, in stitch widths.
    away: f64,
    /// Place along the ruler and distance from its middle line, in px.
    along: f64,
    side: f64,
}

/// What a ruler with this outline lies on, `None` where that can't be told.
///
/// Fabric under a ruler is followed right up to it, or at least has its colours right up to it, and goes on beyond it:
/// it is followed on both sides, or the colours beyond the other side tell.
pub(super) fn ruler_lies_on(photo: &Photo, outline: &[PhotoPoint], reading: &LatticeReading) -> Option<RulerOn> {
    let stitch_px = typical_stitch_px(reading)?;
    let rim = rim(photo, outline, reading, stitch_px);
    if rim.is_empty() {
        return None;
    }
    let share = |holds: &dyn Fn(&Rim) -> bool| rim.iter().filter(|r| holds(r)).count() as f64 / rim.len() as f64;
    let outside = |r: &Rim, stitches: f64| beyond(outline, r.at, stitches * stitch_px);
    let touches = share(&|r| r.away < TOUCHING_STITCHES) > TOUCHING_SHARE;
    let near: Vec<&Rim> = rim.iter().filter(|r| r.away < NEAR_STITCHES).collect();
    if !touches {
        if (near.len() as f64) < NEAR_SHARE * rim.len() as f64 {
            return Some(RulerOn::Table);
        }
        let gap = near.iter().filter_map(|r| outside(r, GAP_STITCHES)).collect();
        match goes_on(photo, &inside_frame(photo, gap), reading) {
            // A shadow in the gap may hide that it is fabric: with fabric all along one side, both remain possible.
            Some(false) => return (near.len() as f64 <= ALL_ALONG * rim.len() as f64).then_some(RulerOn::Table),
            Some(true) => {}
            None => return None,
        }
    }
    // A narrow ruler's far side may be near the fabric too: nearer than to the ruler's middle it must be.
    let half_width = rim.iter().map(|r| r.side.abs()).fold(0.0, f64::max) / stitch_px;
    let within = NEAR_STITCHES.min(half_width);
    let on = |sign: f64| share(&|r| r.away < within && r.side * sign > 0.0) > EACH_SIDE_SHARE;
    if on(1.0) && on(-1.0) {
        return Some(RulerOn::Fabric);
    }
    let (low, high) = near.iter().fold((f64::MAX, f64::MIN), |(l, h), r| (l.min(r.along), h.max(r.along)));
    let opposite = rim.iter().filter(|r| r.away >= NEAR_STITCHES && (low..high).contains(&r.along));
    let far = opposite.filter_map(|r| outside(r, BEYOND_STITCHES)).collect();
    (goes_on(photo, &inside_frame(photo, far), reading) == Some(true)).then_some(RulerOn::Fabric)
}

/// The outline's points inside the frame, with their place about the ruler's middle line and their distance from fabric.
fn rim(photo: &Photo, outline: &[PhotoPoint], reading: &LatticeReading, stitch_px: f64) -> Vec<Rim> {
    let points = inside_frame(photo, along(outline));
    let n = points.len().max(1) as f64;
    let (mx, my) = (points.iter().map(|p| p.x).sum::<f64>() / n, points.iter().map(|p| p.y).sum::<f64>() / n);
    // The ruler runs along the direction in which its outline spreads most.
    let spread = points.iter().fold(Matrix2::zeros(), |sum, p| {
        let d = Vector2::new(p.x - mx, p.y - my);
        sum + d * d.transpose()
    });
    let eigen = SymmetricEigen::new(spread);
    let axis = eigen.eigenvectors.column(eigen.eigenvalues.imax());
    let (ux, uy) = (axis.x, axis.y);
    points
        .into_iter()
        .map(|at| Rim {
            away: distance_to(&reading.region_px, at) / stitch_px,
            along: (at.x - mx) * ux + (at.y - my) * uy,
            side: (at.y - my) * ux - (at.x - mx) * uy,
            at,
        })
        .collect()
}

/// Fewest places of a fabric, or beside it, from which its looks are judged.
const FEWEST: usize = 8;

/// Whether places look like the fabric: its colours, and as rough; `None` where there are too few places.
fn goes_on(photo: &Photo, places: &[PhotoPoint], reading: &LatticeReading) -> Option<bool> {
    let fabric = Looks::of(photo, reading)?;
    let seen: Vec<bool> = places.iter().filter_map(|p| fabric.holds(photo, *p)).collect();
    let alike = seen.iter().filter(|alike| **alike).count();
    (seen.len() >= FEWEST).then(|| alike as f64 > ALIKE_SHARE * seen.len() as f64)
}

/// How a fabric looks over one to two stitches, where the loops' own light and shade falls out.
pub(super) struct Looks {
    half_px: u32,
    mean: Look,
    deviation: Look,
}

impl Looks {
    /// The looks of a followed fabric; `None` where it is too small.
    pub fn of(photo: &Photo, reading: &LatticeReading) -> Option<Self> {
        let half_px = (0.75 * typical_stitch_px(reading)?).clamp(3.0, 40.0) as u32;
        let fabric: Vec<Look> = reading.blocks.iter().filter_map(|b| look(photo, b.at_px, half_px)).collect();
        if fabric.len() < FEWEST {
            return None;
        }
        let n = fabric.len() as f64;
        let mean: Look = std::array::from_fn(|c| fabric.iter().map(|f| f[c]).sum::<f64>() / n);
        let deviation: Look = std::array::from_fn(|c| {
            let own = (fabric.iter().map(|f| (f[c] - mean[c]).powi(2)).sum::<f64>() / n).sqrt();
            own.max(LEAST_DEVIATION[c])
        });
        Some(Self { half_px, mean, deviation })
    }

    /// Whether a place looks like that; `None` near the picture's edge.
    pub fn holds(&self, photo: &Photo, at: PhotoPoint) -> Option<bool> {
        let seen = look(photo, at, self.half_px)?;
        Some((0..4).all(|c| (seen[c] - self.mean[c]).abs() < ALIKE_DEVIATIONS * self.deviation[c]))
    }
}

/// Mean logarithms of red, green and blue over a small square, and the logarithm of green's deviation in it.
type Look = [f64; 4];

/// Smallest deviations that count: light falls off by a tenth over a picture, roughness differs by a third with focus.
const LEAST_DEVIATION: Look = [0.1, 0.1, 0.1, 0.3];

/// How a place looks; `None` near the picture's edge.
fn look(photo: &Photo, at: PhotoPoint, half_px: u32) -> Option<Look> {
    let (x, y) = ((at.x >= 0.0).then_some(at.x as u32)?, (at.y >= 0.0).then_some(at.y as u32)?);
    if x < half_px || y < half_px || x + half_px >= photo.width() || y + half_px >= photo.height() {
        return None;
    }
    let (mut sum, mut square) = ([0.0; 3], 0.0);
    for py in y - half_px..=y + half_px {
        for px in x - half_px..=x + half_px {
            let pixel = photo.rgb.get_pixel(px, py).0.map(|v| (f64::from(v) + 1.0).ln());
            (0..3).for_each(|c| sum[c] += pixel[c]);
            square += pixel[1] * pixel[1];
        }
    }
    let count = f64::from((2 * half_px + 1).pow(2));
    let [r, g, b] = sum.map(|s| s / count);
    let deviation = (square / count - g * g).max(1e-6).sqrt();
    Some([r, g, b, deviation.ln()])
}

/// The place `px` beyond a point of the outline, straight away from the outline's middle line.
fn beyond(outline: &[PhotoPoint], p: PhotoPoint, px: f64) -> Option<PhotoPoint> {
    let (a, b) = sides(outline).min_by(|s, t| to_side(s, p).total_cmp(&to_side(t, p)))?;
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let length = dx.hypot(dy).max(1e-9);
    let out = p.moved(-dy / length * px, dx / length * px);
    let other = p.moved(dy / length * px, -dx / length * px);
    Some(if fabric::inside(outline, out) { other } else { out })
}

fn inside_frame(photo: &Photo, points: Vec<PhotoPoint>) -> Vec<PhotoPoint> {
    /// Outlines are cut at the frame: points this near to it say nothing of the ruler's sides.
    const MARGIN_PX: f64 = 6.0;
    let (w, h) = (f64::from(photo.width()) - MARGIN_PX, f64::from(photo.height()) - MARGIN_PX);
    let inside = |p: &PhotoPoint| p.x > MARGIN_PX && p.y > MARGIN_PX && p.x < w && p.y < h;
    points.into_iter().filter(inside).collect()
}

fn sides(outline: &[PhotoPoint]) -> impl Iterator<Item = (PhotoPoint, PhotoPoint)> {
    outline.iter().copied().zip(outline.iter().copied().cycle().skip(1))
}

/// About a hundred points evenly along a closed outline.
fn along(outline: &[PhotoPoint]) -> Vec<PhotoPoint> {
    const POINTS: f64 = 100.0;
    let around: f64 = sides(outline).map(|(a, b)| a.distance(b)).sum();
    let step = (around / POINTS).max(1.0);
    let mut points = Vec::new();
    for (a, b) in sides(outline) {
        let parts = (a.distance(b) / step).ceil().max(1.0);
        points.extend((0..parts as usize).map(|i| {
            let t = i as f64 / parts;
            PhotoPoint::new(a.x + t * (b.x - a.x), a.y + t * (b.y - a.y))
        }));
    }
    points
}

/// Distance of a point from a region: 0 inside it.
fn distance_to(region: &[PhotoPoint], p: PhotoPoint) -> f64 {
    if fabric::inside(region, p) {
        return 0.0;
    }
    sides(region).map(|side| to_side(&side, p)).fold(f64::INFINITY, f64::min)
}

fn to_side((a, b): &(PhotoPoint, PhotoPoint), p: PhotoPoint) -> f64 {
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let t = ((p.x - a.x) * dx + (p.y - a.y) * dy) / (dx * dx + dy * dy).max(1e-9);
    let t = t.clamp(0.0, 1.0);
    p.distance(a.moved(t * dx, t * dy))
}

/// Width of a stitch in the photo, from two far blocks' counts.
pub(super) fn typical_stitch_px(reading: &LatticeReading) -> Option<f64> {
    let (a, b) = (reading.blocks.first()?, reading.blocks.last()?);
    let (stitch, row) = reading.basis.steps_mm()?;
    let (ds, dr) = (b.stitches - a.stitches, b.rows - a.rows);
    let mm = (ds * stitch[0] + dr * row[0]).hypot(ds * stitch[1] + dr * row[1]);
    let px = a.at_px.distance(b.at_px);
    (mm > 0.0).then(|| px / mm * stitch[0].hypot(stitch[1]))
}
