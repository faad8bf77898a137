//! Patches of one lightness with four straight sides: where a card may lie.

use crate::photo::{GreyImage, Photo};
use crate::quantity::PhotoPoint;
use imageproc::filter::gaussian_blur_f32;

/// Longer side of the reduced picture, in px: the smallest card that may be found is then 25 px wide, and its sides are
/// measured at full size anyway.
const SEARCH_SIDE_PX: u32 = 500;

/// Parts into which levels divide each channel, by its pixels and by its values.
const LEVELS: usize = 14;

/// Share of the picture that a card fills at least and at most.
const AREA_SHARE: (f64, f64) = (0.004, 0.6);

/// Area of a patch's hull against its quadrilateral: rounding takes 0.4 %, pixels some more.
const HULL_OF_QUAD: (f64, f64) = (0.93, 1.03);

/// Longer over shorter sides of the quadrilateral: 1.586, and what 35° of tilt make of it.
const ASPECT: (f64, f64) = (1.25, 2.0);

/// Most quadrilaterals measured at full size.
const MOST: usize = 40;

/// Corners of patches that may be cards, each in the photo's sense of turning, the first side a longer one.
pub(super) fn quadrilaterals(photo: &Photo) -> Vec<[PhotoPoint; 4]> {
    let factor = photo.width().max(photo.height()).div_ceil(SEARCH_SIDE_PX).max(1);
    let mut found: Vec<[PhotoPoint; 4]> = Vec::new();
    for channel in channels(photo, factor) {
        for (level, light) in levels(&channel).into_iter().flat_map(|l| [(l, true), (l, false)]) {
            for patch in patches(&channel, level, light) {
                let Some(quad) = quadrilateral(&patch) else { continue };
                let quad = quad.map(|(x, y)| PhotoPoint::new(x * f64::from(factor), y * f64::from(factor)));
                // Neighbouring levels give the same patch again.
                let near = 2.0 * f64::from(factor);
                let known = found.iter().any(|f| (0..4).all(|k| f[k].distance(quad[k]) < near));
                if !known && found.len() < MOST {
                    found.push(quad);
                }
            }
        }
    }
    found
}

/// Lightness, and red and blue against green, in square roots of linear light.
fn channels(photo: &Photo, factor: u32) -> [GreyImage; 3] {
    let linear = photo.reduced(factor);
    let root = |weights| linear.projection(weights).into_raw().into_iter().map(|v: f32| v.max(0.0).sqrt());
    let [red, green, blue] =
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|weights| root(weights).collect::<Vec<f32>>());
    let of = |f: &dyn Fn(usize) -> f32| {
        let values = (0..green.len()).map(f).collect();
        gaussian_blur_f32(&GreyImage::from_raw(linear.width, linear.height, values).unwrap_or_default(), 1.0)
    };
    [of(&|k| 0.3 * red[k] + 0.55 * green[k] + 0.15 * blue[k]), of(&|k| red[k] - green[k]), of(&|k| blue[k] - green[k])]
}

/// Levels between the channel's values, as many pixels between each and the next.
fn levels(channel: &GreyImage) -> Vec<f32> {
    let mut sample: Vec<f32> = channel.as_raw().iter().step_by(7).copied().filter(|v| v.is_finite()).collect();
    sample.sort_by(f32::total_cmp);
    let mut levels: Vec<f32> = (1..LEVELS).filter_map(|k| sample.get(k * sample.len() / LEVELS).copied()).collect();
    // A small card may lie between two shares of the pixels: evenly spaced levels too.
    if let (Some(low), Some(high)) = (sample.first(), sample.last()) {
        levels.extend((1..LEVELS).map(|k| low + (high - low) * k as f32 / LEVELS as f32));
    }
    levels
}

/// Outlines (hulls) of connected patches above or below a level that do not touch the picture's edge.
fn patches(channel: &GreyImage, level: f32, light: bool) -> Vec<Vec<(f64, f64)>> {
    let (w, h) = (channel.width() as usize, channel.height() as usize);
    let inside: Vec<bool> = channel.as_raw().iter().map(|v| (*v > level) == light).collect();
    let mut seen = vec![false; w * h];
    let (least, most) = (AREA_SHARE.0 * (w * h) as f64, AREA_SHARE.1 * (w * h) as f64);
    let mut out = Vec::new();
    let mut stack = Vec::new();
    // Leftmost and rightmost pixel of each row: all that the hull needs.
    const EMPTY: (usize, usize) = (usize::MAX, 0);
    let mut rows = vec![EMPTY; h];
    for start in 0..w * h {
        if !inside[start] || seen[start] {
            continue;
        }
        seen[start] = true;
        stack.push(start);
        let mut area = 0usize;
        let (mut top, mut bottom) = (h, 0);
        let mut touches = false;
        while let Some(at) = stack.pop() {
            let (x, y) = (at % w, at / w);
            area += 1;
            rows[y] = (rows[y].0.min(x), rows[y].1.max(x));
            (top, bottom) = (top.min(y), bottom.max(y));
            touches |= x == 0 || y == 0 || x + 1 == w || y + 1 == h;
            let mut visit = |next: usize| {
                if inside[next] && !seen[next] {
                    seen[next] = true;
                    stack.push(next);
                }
            };
            if x > 0 {
                visit(at - 1);
            }
            if x + 1 < w {
                visit(at + 1);
            }
            if y > 0 {
                visit(at - w);
            }
            if y + 1 < h {
                visit(at + w);
            }
        }
        if !touches && area as f64 > least && (area as f64) < most {
            out.push(hull(&rows[top..=bottom], top));
        }
        rows[top..=bottom].fill(EMPTY);
    }
    out
}

/// Convex hull of the corners of pixels, given by the ends of each row from the first, in the photo's sense of turning
/// (Andrew 1979).
fn hull(rows: &[(usize, usize)], first: usize) -> Vec<(f64, f64)> {
    let mut points: Vec<(f64, f64)> = rows
        .iter()
        .enumerate()
        .flat_map(|(k, (a, b))| {
            let (top, bottom) = ((first + k) as f64, (first + k) as f64 + 1.0);
            [(*a as f64, top), (*a as f64, bottom), (*b as f64 + 1.0, top), (*b as f64 + 1.0, bottom)]
        })
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let half = |points: &mut dyn Iterator<Item = (f64, f64)>| {
        let mut chain: Vec<(f64, f64)> = Vec::new();
        for p in points {
            while let [.., a, b] = chain[..]
                && cross(a, b, p) <= 0.0
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut out = half(&mut points.iter().copied());
    out.extend(half(&mut points.iter().rev().copied()));
    out
}

fn cross(o: (f64, f64), a: (f64, f64), b: (f64, f64)) -> f64 {
    (a.0 - o.0) * (b.1 - o.1) - (a.1 - o.1) * (b.0 - o.0)
}

fn area(polygon: &[(f64, f64)]) -> f64 {
    let twice: f64 = (0..polygon.len()).map(|k| cross((0.0, 0.0), polygon[k], polygon[(k + 1) % polygon.len()])).sum();
    twice.abs() / 2.0
}

/// The four sides that a hull has, if it has four: lines through its longest stretches, met pairwise.
fn quadrilateral(hull: &[(f64, f64)]) -> Option<[(f64, f64); 4]> {
    let rough = farthest_corners(hull)?;
    // Each side's line goes through the hull's points along the middle of it.
    let mut lines = Vec::new();
    for k in 0..4 {
        lines.push(middle_line(hull, rough[k], rough[(k + 1) % 4])?);
    }
    let mut quad = [(0.0, 0.0); 4];
    for k in 0..4 {
        quad[k] = meet(lines[(k + 3) % 4], lines[k])?;
    }
    let filled = area(hull) / area(&quad).max(1e-9);
    if !(HULL_OF_QUAD.0..HULL_OF_QUAD.1).contains(&filled) {
        return None;
    }
    let side = |k: usize| (quad[k].0 - quad[(k + 1) % 4].0).hypot(quad[k].1 - quad[(k + 1) % 4].1);
    let (first, second) = (side(0) + side(2), side(1) + side(3));
    if first < second {
        quad.rotate_left(1);
    }
    let aspect = first.max(second) / first.min(second).max(1e-9);
    (ASPECT.0..ASPECT.1).contains(&aspect).then_some(quad)
}

/// Two hull points farthest apart, and on each side the one farthest from the line between them.
fn farthest_corners(hull: &[(f64, f64)]) -> Option<[(f64, f64); 4]> {
    let far = |from: (f64, f64)| {
        let away = |p: &(f64, f64)| (p.0 - from.0).hypot(p.1 - from.1);
        hull.iter().copied().max_by(|a, b| away(a).total_cmp(&away(b)))
    };
    // A few steps from any start end in a pair that is each other's farthest.
    let mut a = *hull.first()?;
    let mut c = far(a)?;
    for _ in 0..4 {
        (a, c) = (c, far(c)?);
    }
    let off = |p: &(f64, f64)| cross(a, c, *p);
    let b = hull.iter().copied().min_by(|p, q| off(p).total_cmp(&off(q)))?;
    let d = hull.iter().copied().max_by(|p, q| off(p).total_cmp(&off(q)))?;
    (off(&b) < 0.0 && off(&d) > 0.0).then_some([a, b, c, d])
}

/// A point on a line and the line's direction.
type Line = ((f64, f64), (f64, f64));

/// The line along the hull between two of its corners, by its places at a quarter and three quarters of the way.
fn middle_line(hull: &[(f64, f64)], from: (f64, f64), to: (f64, f64)) -> Option<Line> {
    let at = |t: f64| {
        let middle = (from.0 + t * (to.0 - from.0), from.1 + t * (to.1 - from.1));
        let normal = (to.1 - from.1, from.0 - to.0);
        // The hull's edge that the normal through this place crosses, on the outer side.
        (0..hull.len())
            .filter_map(|k| {
                let (p, q) = (hull[k], hull[(k + 1) % hull.len()]);
                let along = (q.0 - p.0, q.1 - p.1);
                let denominator = normal.0 * along.1 - normal.1 * along.0;
                if denominator.abs() < 1e-12 {
                    return None;
                }
                let d = (p.0 - middle.0, p.1 - middle.1);
                let s = (d.0 * along.1 - d.1 * along.0) / denominator;
                let on = (d.0 * normal.1 - d.1 * normal.0) / denominator;
                (0.0..=1.0).contains(&on).then_some(s)
            })
            .min_by(|a, b| a.abs().total_cmp(&b.abs()))
            .map(|s| (middle.0 + s * normal.0, middle.1 + s * normal.1))
    };
    let (a, b) = (at(0.25)?, at(0.75)?);
    Some((a, (b.0 - a.0, b.1 - a.1)))
}

fn meet(a: Line, b: Line) -> Option<(f64, f64)> {
    let ((p, u), (q, v)) = (a, b);
    let denominator = u.0 * v.1 - u.1 * v.0;
    let long = u.0.hypot(u.1) * v.0.hypot(v.1);
    if denominator.abs() < 0.3 * long {
        return None;
    }
    let t = ((q.0 - p.0) * v.1 - (q.1 - p.1) * v.0) / denominator;
    Some((p.0 + t * u.0, p.1 + t * u.1))
}
