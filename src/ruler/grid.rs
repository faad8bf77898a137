//! Grids: a printed checkerboard, squared card or cutting mat of known pitch as the scale, when the user asks for it.
//!
//! Corners of squares are saddles of brightness, crossings of lines are its peaks or pits; both are extremes of the
//! Hessian's determinant. A lattice is grown over them from three that form a corner of a square, and each corner is
//! placed where the gradients about it meet (Förstner & Gülch 1987).

use super::fit::{quantile, robust_sigma};
use super::ink::Ink;
use crate::photo::{GreyImage, Photo};
use crate::quantity::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};
use image::imageops;
use std::collections::{HashMap, VecDeque};

/// Longer side of the picture in which corners are looked for, px: a square of 10 mm is then 20 px and more.
const SEARCH_PX: f64 = 1100.0;
/// Most corners kept, the clearest first, and how many of them are tried as seeds.
const CORNERS_MAX: usize = 5000;
const SEEDS_MAX: usize = 1200;
/// A corner lies within this share of the step of where its neighbours foretell it.
const STEP_TOLERANCE: f64 = 0.13;
/// Squares are at least this large in the search picture, px.
const STEP_MIN_PX: f64 = 9.0;
/// Fewest corners, and fewest in each direction.
const GRID_MIN: usize = 12;
const SIDE_MIN: i32 = 3;
/// Corners of print lie in line with their neighbours within this share of the step (measured: 0.001 to 0.004 on
/// printed squares; stitches scatter by 0.02 and more).
const BEND_MAX: f64 = 0.010;
/// The same in the search picture, where corners are placed to whole pixels.
const BEND_MAX_SEARCH: f64 = 0.03;
/// Strength of a corner against the seed's, at least (and the reverse at most).
const ALIKE_MIN: f32 = 0.2;
/// Share of the cells that must show the pattern of squares or lines.
const PATTERN_MIN: f64 = 0.85;

/// Cells by which corners are looked up, px of the search picture.
const CELL_PX: f64 = 32.0;
/// Largest square, px of the search picture: an eighth of it, so that three by three corners can be seen.
const SEED_STEP_MAX_PX: f64 = 140.0;

/// A corner of the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridCorner {
    /// Number of the corner along both directions; neighbours differ by one.
    pub index: (i32, i32),
    /// Its place.
    pub at: PhotoPoint,
}

/// A grid that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct GridReading {
    /// Step from corner to corner, mm, as the user gave it.
    pub pitch_mm: f64,
    /// The corners; index (i, j) is at (i, j) times the pitch in the plane of the grid. The direction of growing j is
    /// clockwise from that of growing i as the photo shows it.
    pub corners: Vec<GridCorner>,
    /// Standard uncertainty of a corner in x and in y, px.
    pub sigma_px: f64,
    /// Outline of the card, with a margin of one square; empty for a mat that reaches beyond what was read.
    pub outline_px: Vec<PhotoPoint>,
}

type Points = HashMap<(i32, i32), (f64, f64)>;

/// Finds the grid of squares of `pitch_mm` in a photo.
///
/// # Errors
///
/// `NoScale` when no even lattice of squares or lines is found, or the pitch is not a positive length.
pub fn read_grid(photo: &Photo, pitch_mm: f64) -> Result<GridReading, Refusal> {
    let none = |seen: &str| Refusal::new(RefusalCode::NoScale, seen);
    if !(pitch_mm.is_finite() && pitch_mm > 0.0) {
        return Err(none("the grid's pitch is not a positive length"));
    }
    let scale = (f64::from(photo.width().max(photo.height())) / SEARCH_PX).max(1.0);
    let grey = reduced_grey(photo, scale);
    let ink = Ink::new(&photo.rgb, [0.2126, 0.7152, 0.0722]);
    let best = [Kind::Squares, Kind::DarkLines, Kind::LightLines]
        .into_iter()
        .filter_map(|kind| best_lattice(&grey, kind))
        .filter_map(|points| refined(&ink, &points, scale))
        .filter(|points| straight(points, BEND_MAX))
        .max_by_key(HashMap::len);
    let points = best.ok_or_else(|| none("no even grid of squares or lines"))?;
    let sigma_px = (robust_sigma(&bends(&points)) / 1.5f64.sqrt()).max(0.01);
    let outline_px = card_outline(&points).unwrap_or_default();
    let mut corners: Vec<GridCorner> =
        points.iter().map(|(&index, &(x, y))| GridCorner { index, at: PhotoPoint::new(x, y) }).collect();
    corners.sort_by_key(|c| c.index);
    Ok(GridReading { pitch_mm, corners, sigma_px, outline_px })
}

/// What the corners are corners of.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Squares,
    DarkLines,
    LightLines,
}

/// The lattice with most corners of one kind that shows the pattern of its kind, in px of the search picture.
fn best_lattice(grey: &GreyImage, kind: Kind) -> Option<Points> {
    let (strengths, corners): (Vec<f32>, Vec<(f64, f64)>) = corner_candidates(grey, kind).into_iter().unzip();
    let cells = Cells::new(&corners);
    let mut taken = vec![false; corners.len()];
    let mut best: Option<Points> = None;
    for seed in 0..corners.len().min(SEEDS_MAX) {
        if taken[seed] {
            continue;
        }
        // The corners of one print are about equally strong; paper grain and fabric between them are not.
        let alike = |i: usize| strengths[i] > ALIKE_MIN * strengths[seed] && strengths[i] * ALIKE_MIN < strengths[seed];
        let nearest = |p, reach| cells.nearest(p, reach, &alike);
        let around = |p| cells.around(p, SEED_STEP_MAX_PX, &alike);
        let mut spent: Vec<usize> = Vec::new();
        for basis in bases(&corners, seed, &around) {
            let found = grow(&corners, &nearest, seed, basis);
            if found.len() < GRID_MIN || best.as_ref().is_some_and(|b| b.len() >= found.len()) {
                continue;
            }
            spent.extend(found.values());
            let mut points: Points = found.iter().map(|(&k, &i)| (k, corners[i])).collect();
            if !shows_pattern(grey, &points, kind) {
                continue;
            }
            if kind == Kind::Squares {
                points = crossings(grey, &points);
            }
            if wide_enough(&points)
                && straight(&points, BEND_MAX_SEARCH)
                && best.as_ref().is_none_or(|b| b.len() < points.len())
            {
                best = Some(points);
            }
        }
        // One seed of a lattice is enough, whether it was print or fabric.
        spent.into_iter().for_each(|i| taken[i] = true);
    }
    best
}

/// Extremes of the Hessian's determinant, the strongest first.
fn corner_candidates(grey: &GreyImage, kind: Kind) -> Vec<(f32, (f64, f64))> {
    let (w, h) = (grey.width() as usize, grey.height() as usize);
    if w < 16 || h < 16 {
        return Vec::new();
    }
    let g = grey.as_raw();
    let mut response = vec![0.0f32; w * h];
    for y in 3..h - 3 {
        for x in 3..w - 3 {
            let at = |dx: isize, dy: isize| g[(y as isize + dy) as usize * w + (x as isize + dx) as usize];
            let xx = at(-3, 0) - 2.0 * at(0, 0) + at(3, 0);
            let yy = at(0, -3) - 2.0 * at(0, 0) + at(0, 3);
            let xy = (at(3, 3) - at(-3, 3) - at(3, -3) + at(-3, -3)) / 4.0;
            let det = xx * yy - xy * xy;
            response[y * w + x] = match kind {
                Kind::Squares => -det,
                Kind::DarkLines if xx + yy > 0.0 => det,
                Kind::LightLines if xx + yy < 0.0 => det,
                _ => 0.0,
            };
        }
    }
    let mut peaks: Vec<(f32, (f64, f64))> = Vec::new();
    for y in 4..h - 4 {
        for x in 4..w - 4 {
            let v = response[y * w + x];
            let highest = || (y - 3..=y + 3).all(|yy| (x - 3..=x + 3).all(|xx| response[yy * w + xx] <= v));
            if v > 3e-5 && highest() {
                peaks.push((v, (x as f64 + 0.5, y as f64 + 0.5)));
            }
        }
    }
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    peaks.truncate(CORNERS_MAX);
    peaks
}

/// Pairs of steps to near corners that could be the sides of a square seen in perspective, the shortest first; the
/// second is clockwise from the first.
fn bases(corners: &[(f64, f64)], seed: usize, around: &impl Fn((f64, f64)) -> Vec<usize>) -> Vec<[(f64, f64); 2]> {
    let p = corners[seed];
    let mut steps: Vec<(f64, f64)> = around(p).into_iter().map(|i| (corners[i].0 - p.0, corners[i].1 - p.1)).collect();
    steps.retain(|s| s.0.hypot(s.1) >= STEP_MIN_PX);
    steps.sort_by(|a, b| a.0.hypot(a.1).total_cmp(&b.0.hypot(b.1)));
    steps.truncate(8);
    let mut found = Vec::new();
    for a in &steps {
        for b in &steps {
            let (la, lb) = (a.0.hypot(a.1), b.0.hypot(b.1));
            let sine = (a.0 * b.1 - a.1 * b.0) / (la * lb);
            if sine > 0.8 && (0.65..1.55).contains(&(la / lb)) {
                found.push([*a, *b]);
            }
        }
    }
    found.truncate(6);
    found
}

/// Grows a lattice from a seed, each step foretold by the last one in its direction.
fn grow(
    corners: &[(f64, f64)],
    nearest: &impl Fn((f64, f64), f64) -> Option<usize>,
    seed: usize,
    basis: [(f64, f64); 2],
) -> HashMap<(i32, i32), usize> {
    let mut found: HashMap<(i32, i32), usize> = HashMap::from([((0, 0), seed)]);
    let mut used: Vec<bool> = vec![false; corners.len()];
    used[seed] = true;
    let mut queue = VecDeque::from([((0, 0), basis)]);
    while let Some((at, steps)) = queue.pop_front() {
        let p = corners[found[&at]];
        for (axis, sign) in [(0, 1), (0, -1), (1, 1), (1, -1)] {
            let next = if axis == 0 { (at.0 + sign, at.1) } else { (at.0, at.1 + sign) };
            if found.contains_key(&next) {
                continue;
            }
            let s = steps[axis];
            let guess = (p.0 + s.0 * f64::from(sign), p.1 + s.1 * f64::from(sign));
            let reach = STEP_TOLERANCE * s.0.hypot(s.1);
            let Some(i) = nearest(guess, reach).filter(|&i| !used[i]) else { continue };
            used[i] = true;
            found.insert(next, i);
            let mut local = steps;
            let q = corners[i];
            local[axis] = ((q.0 - p.0) * f64::from(sign), (q.1 - p.1) * f64::from(sign));
            queue.push_back((next, local));
        }
    }
    found
}

/// Corners by square cells of [`CELL_PX`].
struct Cells<'a> {
    corners: &'a [(f64, f64)],
    lists: HashMap<(i32, i32), Vec<usize>>,
}

impl<'a> Cells<'a> {
    fn new(corners: &'a [(f64, f64)]) -> Self {
        let mut lists: HashMap<(i32, i32), Vec<usize>> = HashMap::new();
        for (i, p) in corners.iter().enumerate() {
            lists.entry(Self::key(*p)).or_default().push(i);
        }
        Self { corners, lists }
    }

    fn key(p: (f64, f64)) -> (i32, i32) {
        ((p.0 / CELL_PX).floor() as i32, (p.1 / CELL_PX).floor() as i32)
    }

    /// Corners within a reach.
    fn around(&self, p: (f64, f64), reach: f64, alike: &impl Fn(usize) -> bool) -> Vec<usize> {
        let (cx, cy) = Self::key(p);
        let n = (reach / CELL_PX).ceil() as i32;
        let cells = (-n..=n).flat_map(|dx| (-n..=n).map(move |dy| (cx + dx, cy + dy)));
        let lists = cells.filter_map(|c| self.lists.get(&c)).flatten().copied();
        lists.filter(|&i| self.distance(i, p) <= reach && alike(i)).collect()
    }

    /// The nearest within a reach.
    fn nearest(&self, p: (f64, f64), reach: f64, alike: &impl Fn(usize) -> bool) -> Option<usize> {
        let found = self.around(p, reach, alike);
        found.into_iter().min_by(|&a, &b| self.distance(a, p).total_cmp(&self.distance(b, p)))
    }

    fn distance(&self, i: usize, p: (f64, f64)) -> f64 {
        (self.corners[i].0 - p.0).hypot(self.corners[i].1 - p.1)
    }
}

/// Corners lie in line with their neighbours within a share of the step.
fn straight(points: &Points, share: f64) -> bool {
    let bends = bends(points);
    let limit = mean_step(points).map_or(0.0, |s| share * s);
    bends.len() >= GRID_MIN && robust_sigma(&bends) / 1.5f64.sqrt() <= limit
}

fn wide_enough(points: &Points) -> bool {
    let (low, high) = bounds(points);
    high.0 - low.0 + 1 >= SIDE_MIN && high.1 - low.1 + 1 >= SIDE_MIN
}

fn bounds(points: &Points) -> ((i32, i32), (i32, i32)) {
    points.keys().fold(((i32::MAX, i32::MAX), (i32::MIN, i32::MIN)), |(l, h), k| {
        ((l.0.min(k.0), l.1.min(k.1)), (h.0.max(k.0), h.1.max(k.1)))
    })
}

/// Squares: cells alternate. Lines: the middles of the sides are darker (or lighter) than the middles of the cells.
fn shows_pattern(grey: &GreyImage, points: &Points, kind: Kind) -> bool {
    let value = |p: (f64, f64)| -> Option<f32> {
        let (x, y) = (p.0.floor(), p.1.floor());
        let inside = x >= 0.0 && y >= 0.0 && x < f64::from(grey.width()) && y < f64::from(grey.height());
        inside.then(|| grey.get_pixel(x as u32, y as u32).0[0])
    };
    let middle = |a: (f64, f64), b: (f64, f64)| ((a.0 + b.0) / 2.0, (a.1 + b.1) / 2.0);
    let cell = |i: i32, j: i32| -> Option<f32> { value(middle(*points.get(&(i, j))?, *points.get(&(i + 1, j + 1))?)) };
    let mut differences: Vec<f32> = Vec::new();
    for &(i, j) in points.keys() {
        let Some(here) = cell(i, j) else { continue };
        if kind == Kind::Squares {
            let parity = if (i + j).rem_euclid(2) == 0 { 1.0 } else { -1.0 };
            differences.extend([cell(i + 1, j), cell(i, j + 1)].into_iter().flatten().map(|o| (here - o) * parity));
        } else {
            let sides = [(i + 1, j), (i, j + 1)];
            let line = sides.iter().filter_map(|k| value(middle(points[&(i, j)], *points.get(k)?)));
            differences.extend(line.map(|l| here - l));
        }
    }
    let usual = quantile(differences.iter().map(|d| f64::from(*d)), 0.5).unwrap_or(0.0);
    let alike = differences.iter().filter(|d| f64::from(**d) * usual.signum() > 0.25 * usual.abs()).count();
    let lit = kind == Kind::Squares || (kind == Kind::DarkLines) == (usual > 0.0);
    differences.len() >= GRID_MIN / 2
        && lit
        && usual.abs() > 0.03
        && alike as f64 >= PATTERN_MIN * differences.len() as f64
}

/// The corners at which four squares meet; those on the edge of the board are placed less well.
fn crossings(grey: &GreyImage, points: &Points) -> Points {
    let step = |k: (i32, i32), d: (i32, i32)| -> Option<(f64, f64)> {
        let p = points[&k];
        let ahead = points.get(&(k.0 + d.0, k.1 + d.1)).map(|q| (q.0 - p.0, q.1 - p.1));
        ahead.or_else(|| points.get(&(k.0 - d.0, k.1 - d.1)).map(|q| (p.0 - q.0, p.1 - q.1)))
    };
    let quadrants = |k: (i32, i32)| -> Option<[f32; 4]> {
        let (p, a, b) = (points[&k], step(k, (1, 0))?, step(k, (0, 1))?);
        let mut values = [0.0; 4];
        for (v, (s, t)) in values.iter_mut().zip([(0.3, 0.3), (-0.3, 0.3), (-0.3, -0.3), (0.3, -0.3)]) {
            let (x, y) = (p.0 + s * a.0 + t * b.0, p.1 + s * a.1 + t * b.1);
            let inside = x >= 0.0 && y >= 0.0 && x < f64::from(grey.width()) && y < f64::from(grey.height());
            *v = inside.then(|| grey.get_pixel(x as u32, y as u32).0[0])?;
        }
        Some(values)
    };
    let meets = |k: (i32, i32)| {
        quadrants(k).is_some_and(|[a, b, c, d]| {
            let across = (a + c - b - d).abs() / 2.0;
            across > 0.03 && (a - c).abs() < 0.4 * across && (b - d).abs() < 0.4 * across
        })
    };
    points.iter().filter(|(k, _)| meets(**k)).map(|(k, p)| (*k, *p)).collect()
}

/// Every corner placed at full size; corners that do not settle are dropped.
fn refined(ink: &Ink, points: &Points, scale: f64) -> Option<Points> {
    let step = mean_step(points)? * scale;
    let radius = (0.22 * step).clamp(3.0, 14.0);
    let placed = points.iter().filter_map(|(&k, &(x, y))| {
        let start = (x * scale, y * scale);
        let end = (0..6).try_fold(start, |p, _| gradients_meet(ink, p, radius))?;
        ((end.0 - start.0).hypot(end.1 - start.1) < 0.15 * step + 2.0 * scale).then_some((k, end))
    });
    let placed: Points = placed.collect();
    (placed.len() >= GRID_MIN).then_some(placed)
}

/// The point to which all gradients in a window are square: Σ g gᵀ (q − p) = 0 (Förstner & Gülch 1987).
fn gradients_meet(ink: &Ink, centre: (f64, f64), radius: f64) -> Option<(f64, f64)> {
    let n = radius.ceil() as i32;
    let (mut xx, mut xy, mut yy, mut bx, mut by) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for iy in -n..=n {
        for ix in -n..=n {
            let (dx, dy) = (f64::from(ix), f64::from(iy));
            let (x, y) = (centre.0 + dx, centre.1 + dy);
            let gx = f64::from(ink.at(x + 1.0, y)? - ink.at(x - 1.0, y)?);
            let gy = f64::from(ink.at(x, y + 1.0)? - ink.at(x, y - 1.0)?);
            let weight = (-(dx * dx + dy * dy) / (0.5 * radius * radius)).exp();
            xx += weight * gx * gx;
            xy += weight * gx * gy;
            yy += weight * gy * gy;
            bx += weight * (gx * gx * dx + gx * gy * dy);
            by += weight * (gx * gy * dx + gy * gy * dy);
        }
    }
    let det = xx * yy - xy * xy;
    if det <= 1e-3 * (xx + yy).powi(2) {
        return None;
    }
    let (dx, dy) = ((yy * bx - xy * by) / det, (xx * by - xy * bx) / det);
    (dx.hypot(dy) <= radius).then_some((centre.0 + dx, centre.1 + dy))
}

fn mean_step(points: &Points) -> Option<f64> {
    let steps = points.iter().flat_map(|(&(i, j), p)| {
        [(i + 1, j), (i, j + 1)].into_iter().filter_map(|k| points.get(&k)).map(|q| (q.0 - p.0).hypot(q.1 - p.1))
    });
    quantile(steps, 0.5)
}

/// Departures of corners from the middle between their neighbours, less what perspective does to all alike: x and y.
fn bends(points: &Points) -> Vec<f64> {
    let mut all = Vec::new();
    for (di, dj) in [(1, 0), (0, 1)] {
        let along: Vec<(f64, f64)> = points
            .iter()
            .filter_map(|(&(i, j), p)| {
                let (a, b) = (points.get(&(i - di, j - dj))?, points.get(&(i + di, j + dj))?);
                Some((p.0 - (a.0 + b.0) / 2.0, p.1 - (a.1 + b.1) / 2.0))
            })
            .collect();
        let usual = |f: fn(&(f64, f64)) -> f64| quantile(along.iter().map(f), 0.5).unwrap_or(0.0);
        let (ux, uy) = (usual(|b| b.0), usual(|b| b.1));
        all.extend(along.iter().flat_map(|b| [b.0 - ux, b.1 - uy]));
    }
    all
}

/// Outline one square outside a complete rectangle of corners.
fn card_outline(points: &Points) -> Option<Vec<PhotoPoint>> {
    let (low, high) = bounds(points);
    let (ni, nj) = (high.0 - low.0 + 1, high.1 - low.1 + 1);
    if (points.len() as f64) < 0.8 * f64::from(ni * nj) || ni > 24 || nj > 24 {
        return None;
    }
    const MARGIN: f64 = 1.4;
    let corner = |i: i32, j: i32, si: i32, sj: i32| -> Option<PhotoPoint> {
        let p = points.get(&(i, j))?;
        let (a, b) = (points.get(&(i - si, j))?, points.get(&(i, j - sj))?);
        Some(PhotoPoint::new(p.0 + MARGIN * (2.0 * p.0 - a.0 - b.0), p.1 + MARGIN * (2.0 * p.1 - a.1 - b.1)))
    };
    [(low.0, low.1, -1, -1), (high.0, low.1, 1, -1), (high.0, high.1, 1, 1), (low.0, high.1, -1, 1)]
        .into_iter()
        .map(|(i, j, si, sj)| corner(i, j, si, sj))
        .collect()
}

/// Luminance of the sRGB-coded picture, reduced and softened.
fn reduced_grey(photo: &Photo, scale: f64) -> GreyImage {
    let side = |px: u32| ((f64::from(px) / scale).round() as u32).max(1);
    let small = imageops::thumbnail(&photo.rgb, side(photo.width()), side(photo.height()));
    let mut grey = GreyImage::new(small.width(), small.height());
    for (out, p) in grey.iter_mut().zip(small.pixels()) {
        let [r, g, b] = p.0.map(|c| f32::from(c) / 255.0);
        *out = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    }
    imageproc::filter::gaussian_blur_f32(&grey, 1.8)
}
