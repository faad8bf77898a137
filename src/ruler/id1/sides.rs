//! A card's four sides at full size, to a fraction of a pixel, and whether its corners are round.

use super::{CORNER_RADIUS_MM, SIZE_MM, mapped, seen};
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use crate::ruler::fit::quantile;
use nalgebra::{DMatrix, DVector, Matrix3};

/// Places looked at along a side.
const PLACES: usize = 60;

/// Part of a side that is straight and clear of the corners, from each end.
const CLEAR_SHARE: f64 = 0.12;

/// How far to either side of a side its edge is looked for, as a share of the side's length, and its limits in px.
const REACH_SHARE: f64 = 0.03;
const REACH_PX: (f64, f64) = (4.0, 30.0);

/// Share of the places at which the edge must be found.
const LEAST_FOUND: f64 = 0.6;

/// Largest scatter about a side's curve: a cut edge is straight, a knitted one is not. In px, and as a share of the side.
const SCATTER_PX: f64 = 0.5;
const SCATTER_SHARE: f64 = 0.0015;

/// How far the edge may lie from the meeting point of two sides, along the diagonal, in mm. The standard's radius makes
/// 3.18 (√2 − 1) = 1.3; a square corner has 0, a round coaster far more.
const ROUND_MM: (f64, f64) = (0.6, 2.3);

/// A card whose sides were measured.
pub(super) struct MeasuredCard {
    /// mm on the card → photo, from the meeting points of its sides.
    pub to_px: Matrix3<f64>,
    /// Places on each side: along a longer one, down a shorter one, back, and up.
    pub sides: [Vec<PhotoPoint>; 4],
    /// Scatter of the places about their side, in px.
    pub scatter_px: [f64; 4],
    /// Corners that are as round as they must be.
    pub round_corners: usize,
    /// Contrast over scatter: the surest card has most.
    pub quality: f64,
}

/// One side: its places, and the line through them.
struct Side {
    places: Vec<PhotoPoint>,
    scatter_px: f64,
    contrast: f64,
    from: PhotoPoint,
    to: PhotoPoint,
}

/// Measures the sides of a quadrilateral. `None` where they are not all straight.
pub(super) fn measure(photo: &Photo, mut corners: [PhotoPoint; 4]) -> Option<MeasuredCard> {
    let mut sides = None;
    for _ in 0..2 {
        let mut found = Vec::new();
        for k in 0..4 {
            found.push(side(photo, corners[k], corners[(k + 1) % 4])?);
        }
        for k in 0..4 {
            let (a, b) = (&found[(k + 3) % 4], &found[k]);
            corners[k] = meet(a, b)?;
        }
        sides = Some(found);
    }
    let sides: [Side; 4] = sides?.try_into().ok()?;
    let to_px = homography(corners)?;
    let round_corners = (0..4).filter(|k| is_round(photo, &to_px, *k)).count();
    let quality = sides.iter().map(|s| s.contrast / s.scatter_px.max(0.1)).fold(f64::INFINITY, f64::min);
    let scatter_px = [0, 1, 2, 3].map(|k: usize| sides[k].scatter_px);
    Some(MeasuredCard { to_px, sides: sides.map(|s| s.places), scatter_px, round_corners, quality })
}

fn side(photo: &Photo, from: PhotoPoint, to: PhotoPoint) -> Option<Side> {
    let length = from.distance(to);
    if length < 40.0 {
        return None;
    }
    let along = ((to.x - from.x) / length, (to.y - from.y) / length);
    let out = (along.1, -along.0);
    let reach = (REACH_SHARE * length).clamp(REACH_PX.0, REACH_PX.1);
    let at = |t: f64, off: f64| from.moved(t * length * along.0 + off * out.0, t * length * along.1 + off * out.1);
    let place = |n: usize| CLEAR_SHARE + (1.0 - 2.0 * CLEAR_SHARE) * n as f64 / (PLACES - 1) as f64;
    let colours = colour_step(photo, &|n, off| at(place(n), off), reach)?;
    // (place along in px, edge off the line between the corners in px)
    let mut found: Vec<(f64, f64)> = (0..PLACES)
        .filter_map(|n| {
            let off = edge_off(photo, &|off| at(place(n), off), reach, colours.0)?;
            Some((place(n) * length, off))
        })
        .collect();
    let mut curve = [0.0; 3];
    for _ in 0..4 {
        curve = parabola(&found, length)?;
        let off: Vec<f64> = found.iter().map(|p| (p.1 - height(&curve, p.0, length)).abs()).collect();
        let limit = 3.0 * quantile(off.iter().copied(), 0.5)?.max(0.05) * 1.48;
        let mut off = off.into_iter();
        found.retain(|_| off.next().is_some_and(|o| o <= limit));
    }
    if (found.len() as f64) < LEAST_FOUND * PLACES as f64 {
        return None;
    }
    let squares: f64 = found.iter().map(|p| (p.1 - height(&curve, p.0, length)).powi(2)).sum();
    let scatter_px = (squares / (found.len() as f64 - 3.0)).sqrt();
    if scatter_px > SCATTER_PX.max(SCATTER_SHARE * length) {
        return None;
    }
    let on_curve = |t: f64| at(t, height(&curve, t * length, length));
    let places = found.iter().map(|(s, off)| at(s / length, *off)).collect();
    Some(Side { places, scatter_px, contrast: colours.1, from: on_curve(0.0), to: on_curve(1.0) })
}

/// The direction of the colour step from outside to inside of a side, a unit vector, and its size.
fn colour_step(photo: &Photo, at: &dyn Fn(usize, f64) -> PhotoPoint, reach: f64) -> Option<([f64; 3], f64)> {
    let mut step = [0.0; 3];
    for n in 0..PLACES {
        let (inside, outside) = (colour(photo, at(n, -0.7 * reach))?, colour(photo, at(n, 0.7 * reach))?);
        (0..3).for_each(|c| step[c] += (inside[c] - outside[c]) / PLACES as f64);
    }
    let size = step.iter().map(|s| s * s).sum::<f64>().sqrt();
    /// Least step in sRGB codes that is an edge.
    const LEAST_STEP: f64 = 12.0;
    (size > LEAST_STEP).then(|| (step.map(|s| s / size), size))
}

/// Where the colour changes most in the given direction, in px from the line outwards, between samples by a parabola.
fn edge_off(photo: &Photo, at: &dyn Fn(f64) -> PhotoPoint, reach: f64, direction: [f64; 3]) -> Option<f64> {
    const STEP_PX: f64 = 0.5;
    let n = (reach / STEP_PX) as i32;
    let value = |k: i32| {
        let c = colour(photo, at(f64::from(k) * STEP_PX))?;
        Some((0..3).map(|i| c[i] * direction[i]).sum::<f64>())
    };
    let values: Vec<f64> = (-n..=n).map(value).collect::<Option<_>>()?;
    // Difference over 2 px: the pixel's own size, so that noise of single pixels does not lead.
    const WIDE: usize = 2;
    let slopes: Vec<f64> = (WIDE..values.len() - WIDE).map(|k| values[k - WIDE] - values[k + WIDE]).collect();
    let best = (1..slopes.len().checked_sub(1)?).max_by(|a, b| slopes[*a].total_cmp(&slopes[*b]))?;
    let (before, here, after) = (slopes[best - 1], slopes[best], slopes[best + 1]);
    if here <= 0.0 || here < before || here < after {
        return None;
    }
    let bend = before + after - 2.0 * here;
    let part = if bend < 0.0 { (before - after) / (2.0 * bend) } else { 0.0 };
    Some((best as f64 + part + WIDE as f64 - f64::from(n)) * STEP_PX)
}

/// Least-squares parabola of the edge's offset over the side, in units of half the side about its middle.
fn parabola(found: &[(f64, f64)], length: f64) -> Option<[f64; 3]> {
    if found.len() < 12 {
        return None;
    }
    let x = DMatrix::from_fn(found.len(), 3, |k, c| (2.0 * found[k].0 / length - 1.0).powi(c as i32));
    let y = DVector::from_iterator(found.len(), found.iter().map(|p| p.1));
    let solution = (x.transpose() * &x).cholesky()?.solve(&(x.transpose() * y));
    Some([solution[0], solution[1], solution[2]])
}

fn height(curve: &[f64; 3], s: f64, length: f64) -> f64 {
    let u = 2.0 * s / length - 1.0;
    curve[0] + u * (curve[1] + u * curve[2])
}

fn meet(a: &Side, b: &Side) -> Option<PhotoPoint> {
    let (u, v) = ((a.to.x - a.from.x, a.to.y - a.from.y), (b.to.x - b.from.x, b.to.y - b.from.y));
    let denominator = u.0 * v.1 - u.1 * v.0;
    if denominator.abs() < 1e-9 {
        return None;
    }
    let t = ((b.from.x - a.from.x) * v.1 - (b.from.y - a.from.y) * v.0) / denominator;
    Some(a.from.moved(t * u.0, t * u.1))
}

/// mm on the card → photo, through its four corners (Heckbert 1989).
fn homography(corners: [PhotoPoint; 4]) -> Option<Matrix3<f64>> {
    let mm = [(0.0, 0.0), (SIZE_MM[0], 0.0), (SIZE_MM[0], SIZE_MM[1]), (0.0, SIZE_MM[1])];
    let mut rows = DMatrix::zeros(8, 8);
    let mut sides = DVector::zeros(8);
    for (k, ((x, y), p)) in mm.into_iter().zip(corners).enumerate() {
        rows.row_mut(2 * k).copy_from_slice(&[x, y, 1.0, 0.0, 0.0, 0.0, -p.x * x, -p.x * y]);
        rows.row_mut(2 * k + 1).copy_from_slice(&[0.0, 0.0, 0.0, x, y, 1.0, -p.y * x, -p.y * y]);
        (sides[2 * k], sides[2 * k + 1]) = (p.x, p.y);
    }
    let h = rows.lu().solve(&sides)?;
    let m = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0);
    m.iter().all(|v| v.is_finite()).then_some(m)
}

/// Whether the card's edge leaves the meeting point of two sides as far out as the standard's round corner does.
fn is_round(photo: &Photo, to_px: &Matrix3<f64>, corner: usize) -> bool {
    const STEP_MM: f64 = 0.1;
    let (w, h) = (SIZE_MM[0], SIZE_MM[1]);
    let (x, y, dx, dy) = [(0.0, 0.0, 1.0, 1.0), (w, 0.0, -1.0, 1.0), (w, h, -1.0, -1.0), (0.0, h, 1.0, -1.0)][corner];
    let diagonal = std::f64::consts::FRAC_1_SQRT_2;
    let at = |mm: f64| seen(to_px, x + dx * diagonal * mm, y + dy * diagonal * mm).and_then(|p| colour(photo, p));
    let (low, high) = (-2.0, 2.0 * CORNER_RADIUS_MM);
    let values: Option<Vec<[f64; 3]>> =
        (0..=((high - low) / STEP_MM) as usize).map(|k| at(low + STEP_MM * k as f64)).collect();
    let Some(values) = values else { return false };
    // Difference over half a mm, or over 2 px where those are more.
    let Some(px_per_mm) = mapped(to_px, x, y).zip(mapped(to_px, x + dx, y)).map(|(a, b)| (a.0 - b.0).hypot(a.1 - b.1))
    else {
        return false;
    };
    let wide = ((0.25f64.max(1.0 / px_per_mm)) / STEP_MM).ceil() as usize;
    let slope = |k: usize| (0..3).map(|c| (values[k + wide][c] - values[k - wide][c]).powi(2)).sum::<f64>();
    if values.len() <= 2 * wide + 1 {
        return false;
    }
    let best = (wide..values.len() - wide).max_by(|a, b| slope(*a).total_cmp(&slope(*b)));
    best.is_some_and(|k| (ROUND_MM.0..ROUND_MM.1).contains(&(low + STEP_MM * k as f64)))
}

/// Red, green and blue at a place, in sRGB codes between pixels' centres; `None` outside the photo.
fn colour(photo: &Photo, p: PhotoPoint) -> Option<[f64; 3]> {
    let (x, y) = (p.x - 0.5, p.y - 0.5);
    let inside = x >= 0.0 && y >= 0.0 && x < f64::from(photo.width()) - 1.0 && y < f64::from(photo.height()) - 1.0;
    if !inside {
        return None;
    }
    let (ix, iy) = (x as u32, y as u32);
    let (fx, fy) = (x - f64::from(ix), y - f64::from(iy));
    let at = |dx: u32, dy: u32| photo.rgb.get_pixel(ix + dx, iy + dy).0.map(f64::from);
    let (a, b, c, d) = (at(0, 0), at(1, 0), at(0, 1), at(1, 1));
    Some([0, 1, 2].map(|k| (a[k] * (1.0 - fx) + b[k] * fx) * (1.0 - fy) + (c[k] * (1.0 - fx) + d[k] * fx) * fy))
}
