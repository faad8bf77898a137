//! The four sides: where lines across the swatch leave it, and a robust curve through these places.

use super::ground::{Ground, place};
use super::{MeanLength, NoOutline};
use crate::quantity::PlanePoint;
use nalgebra::{Matrix3, Vector3};

/// How far from the presumed side the true one is looked for: so many mm and so much of the swatch's size.
const REACH_MM: f64 = 6.0;
const REACH_SHARE: f64 = 0.12;
/// Half-width of the strip over which evidence is gathered along a side, in mm: about one stitch altogether.
const STRIP_MM: f64 = 2.0;
/// Share of a side left out at each end: corners are rounded and curl.
const CORNER: f64 = 0.06;
/// Least share of a side that must be seen.
const LEAST_SEEN: f64 = 0.45;
/// Largest share of a side's places that may lie at the picture's edge.
const MOST_CUT: f64 = 0.08;
/// Largest scatter of a side's places, as a share of the swatch's size (and least such scatter in mm): beyond it no side
/// was seen.
const MOST_SCATTER: f64 = 0.04;
/// How surely an edge of fabric is defined, standard uncertainty in mm a side: yarn is 1 to 3 mm thick, and the outermost
/// loop is round.
const EDGE_MM: f64 = 0.3;

/// One side: its distance from the middle line as a parabola over the place along it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Side {
    /// Distance at the middle of the side, and its first and second order over −1 … 1 along it.
    curve: [f64; 3],
    /// Standard uncertainty of its mean distance, in mm, and its degrees of freedom.
    mean: (f64, f64),
    /// Share of it that was hidden.
    pub hidden: f64,
}

impl Side {
    fn at(&self, s: f64) -> f64 {
        self.curve[0] + self.curve[1] * s + self.curve[2] * s * s
    }

    /// Mean over its length.
    fn level(&self) -> f64 {
        self.curve[0] + self.curve[2] / 3.0
    }
}

/// The swatch in coordinates along its row (n) and wale (t), in mm from a point in its middle.
pub(super) struct Frame {
    origin: PlanePoint,
    row: [f64; 2],
    wale: [f64; 2],
}

impl Frame {
    fn point(&self, n: f64, t: f64) -> PlanePoint {
        self.origin.moved(n * self.row[0] + t * self.wale[0], n * self.row[1] + t * self.wale[1])
    }

    fn coordinates(&self, p: PlanePoint) -> (f64, f64) {
        let (x, y) = (p.x - self.origin.x, p.y - self.origin.y);
        let d = self.row[0] * self.wale[1] - self.row[1] * self.wale[0];
        ((x * self.wale[1] - y * self.wale[0]) / d, (y * self.row[0] - x * self.row[1]) / d)
    }
}

/// Four sides in a frame: row begins, row ends, wale begins, wale ends.
pub(super) struct FourSides {
    frame: Frame,
    sides: [Side; 4],
}

/// What one line across the swatch says of a side.
#[derive(Clone, Copy, PartialEq)]
enum Seen {
    At(f64),
    Hidden,
    Cut,
}

/// Looks for the four sides of an area in the given directions.
pub(super) fn four_sides(
    ground: &Ground,
    evidence: &[f32],
    area: &[bool],
    (row, wale): ([f64; 2], [f64; 2]),
) -> Result<FourSides, NoOutline> {
    let frame = Frame { origin: middle(ground, area).ok_or(NoOutline::Unclear)?, row, wale };
    let mut bounds = bounds(ground, area, &frame).ok_or(NoOutline::Unclear)?;
    let mut sides = None;
    // Once from the area's extent, once from the sides that gave.
    for _ in 0..2 {
        let strip = Strip { ground, evidence, frame: &frame };
        let found = [(0, false), (0, true), (1, false), (1, true)].map(|(axis, end)| strip.side(&bounds, axis, end));
        let [a, b, c, d] = found;
        let four = [a?, b?, c?, d?];
        bounds = [[four[0].level(), four[1].level()], [four[2].level(), four[3].level()]];
        sides = Some(four);
    }
    let sides = sides.ok_or(NoOutline::Unclear)?;
    Ok(FourSides { frame, sides })
}

fn middle(ground: &Ground, area: &[bool]) -> Option<PlanePoint> {
    let (mut x, mut y, mut n) = (0.0, 0.0, 0.0);
    for i in (0..area.len()).filter(|&i| area[i]) {
        let p = place(&ground.patch, i);
        (x, y, n) = (x + p.x, y + p.y, n + 1.0);
    }
    (n > 0.0).then(|| PlanePoint::new(x / n, y / n))
}

/// Extent of the area along row and wale: lowest and highest, leaving out what sticks out.
fn bounds(ground: &Ground, area: &[bool], frame: &Frame) -> Option<[[f64; 2]; 2]> {
    const LEFT_OUT: f64 = 0.01;
    let (mut n, mut t): (Vec<f64>, Vec<f64>) =
        (0..area.len()).filter(|&i| area[i]).map(|i| frame.coordinates(place(&ground.patch, i))).unzip();
    let range = |v: &mut Vec<f64>| {
        let cut = (LEFT_OUT * v.len() as f64) as usize;
        v.sort_by(f64::total_cmp);
        Some([*v.get(cut)?, *v.get(v.len().checked_sub(1 + cut)?)?])
    };
    Some([range(&mut n)?, range(&mut t)?])
}

struct Strip<'a> {
    ground: &'a Ground,
    evidence: &'a [f32],
    frame: &'a Frame,
}

impl Strip<'_> {
    /// One side: `axis` 0 for those across the row, 1 for those across the wale; `end` for the one at the high end.
    fn side(&self, bounds: &[[f64; 2]; 2], axis: usize, end: bool) -> Result<Side, NoOutline> {
        let ([low, high], [from, to]) = (bounds[axis], bounds[1 - axis]);
        let (size, length) = (high - low, to - from);
        if size.min(length) < 10.0 {
            return Err(NoOutline::Unclear);
        }
        let (level, outward) = if end { (high, 1.0) } else { (low, -1.0) };
        let reach = (REACH_MM + REACH_SHARE * size).min(0.45 * size);
        let step = 1.0 / self.ground.patch.px_per_mm;
        let lines = ((1.0 - 2.0 * CORNER) * length / step).ceil() as usize;
        let along = |k: usize| from + CORNER * length + (k as f64 + 0.5) * step;
        let profiles: Vec<Vec<Pixel>> =
            (0..lines).map(|k| self.profile(axis, along(k), level - outward * reach, outward, 2.0 * reach)).collect();
        let half = self.ground.radius(STRIP_MM);
        let seen: Vec<(f64, Seen)> = (0..lines)
            .step_by(half.max(1))
            .map(|k| {
                let strip = &profiles[k.saturating_sub(half)..(k + half + 1).min(lines)];
                let s = 2.0 * (along(k) - from) / length - 1.0;
                let place = change_point(strip, step);
                let place = match place {
                    Seen::At(mm) => Seen::At(level + outward * (mm - reach)),
                    other => other,
                };
                (s, place)
            })
            .collect();
        fit(&seen, size, step)
    }

    /// Evidence along a line outwards.
    fn profile(&self, axis: usize, along: f64, start: f64, outward: f64, length: f64) -> Vec<Pixel> {
        let patch = &self.ground.patch;
        let step = 1.0 / patch.px_per_mm;
        (0..(length / step) as usize)
            .map(|k| {
                let across = start + outward * (k as f64 + 0.5) * step;
                let p = if axis == 0 { self.frame.point(across, along) } else { self.frame.point(along, across) };
                let (x, y) = ((p.x - patch.origin.x) * patch.px_per_mm, (p.y - patch.origin.y) * patch.px_per_mm);
                if x < 0.0 || y < 0.0 || x >= patch.width as f64 || y >= patch.height as f64 {
                    return Pixel::Outside;
                }
                let i = y as usize * patch.width + x as usize;
                match (self.ground.in_picture[i], patch.valid[i] > 0.0) {
                    (false, _) => Pixel::Outside,
                    (true, false) => Pixel::Hidden,
                    (true, true) => Pixel::Evidence(self.evidence[i]),
                }
            })
            .collect()
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Pixel {
    Evidence(f32),
    Hidden,
    Outside,
}

/// Where a strip of lines passes from fabric to surroundings, in mm from its start: the place before which the evidence
/// sums highest.
fn change_point(strip: &[Vec<Pixel>], step: f64) -> Seen {
    /// So near to a hidden stretch or to the picture's edge the true place may lie in it, in mm.
    const NEAR_MM: f64 = 1.5;
    /// So far beyond a hidden stretch fabric must go on to be fabric: a ruler's own edge and shadow are narrower, in mm.
    const BEYOND_MM: f64 = 5.0;
    let length = strip.iter().map(Vec::len).min().unwrap_or(0);
    let at = |k: usize| {
        let (mut sum, mut seen, mut hidden) = (0.0, 0, 0);
        for line in strip {
            match line[k] {
                Pixel::Evidence(e) => (sum, seen) = (sum + f64::from(e), seen + 1),
                Pixel::Hidden => hidden += 1,
                Pixel::Outside => {}
            }
        }
        if 2 * seen >= strip.len() {
            Some(sum / seen as f64)
        } else if hidden > 0 {
            None
        } else {
            Some(f64::NEG_INFINITY)
        }
    };
    let values: Vec<Option<f64>> = (0..length).map(at).collect();
    let outside = values.iter().position(|v| *v == Some(f64::NEG_INFINITY)).unwrap_or(length);
    let (mut sum, mut best, mut place) = (0.0, 0.0, 0);
    for (k, value) in values[..outside].iter().enumerate() {
        sum += value.unwrap_or(0.0);
        if sum > best {
            (best, place) = (sum, k + 1);
        }
    }
    let near = (NEAR_MM / step).ceil() as usize;
    if outside < length && place + near >= outside {
        return Seen::Cut;
    }
    let beyond = (BEYOND_MM / step).ceil() as usize;
    if values[place.saturating_sub(beyond)..(place + near).min(outside)].iter().any(Option::is_none) {
        return Seen::Hidden;
    }
    Seen::At(place as f64 * step)
}

/// A parabola through the places of one side, by Tukey's biweight (Beaton and Tukey 1974).
fn fit(seen: &[(f64, Seen)], size: f64, step: f64) -> Result<Side, NoOutline> {
    let all = seen.len() as f64;
    let share = |what: Seen| seen.iter().filter(|(_, s)| *s == what).count() as f64 / all;
    if share(Seen::Cut) > MOST_CUT {
        return Err(NoOutline::LeavesPicture);
    }
    let hidden = share(Seen::Hidden);
    let places: Vec<(f64, f64)> =
        seen.iter().filter_map(|(s, place)| if let Seen::At(mm) = place { Some((*s, *mm)) } else { None }).collect();
    if (places.len() as f64) < LEAST_SEEN * all || places.len() < 8 {
        return Err(NoOutline::Hidden);
    }
    let (curve, scatter, weights) = robust_parabola(&places, step).ok_or(NoOutline::Unclear)?;
    let kept = weights.iter().filter(|w| **w > 0.2).count() as f64;
    if kept < 0.6 * places.len() as f64 || scatter > MOST_SCATTER * size {
        return Err(NoOutline::Unclear);
    }
    let side = Side { curve, mean: (0.0, 0.0), hidden };
    // Neighbouring places go together over a few stitches: they are so many fewer.
    let residuals: Vec<f64> = places.iter().map(|(s, mm)| mm - side.at(*s)).collect();
    let together = lag_one(&residuals, &weights).clamp(0.0, 0.9);
    let independent = (kept * (1.0 - together) / (1.0 + together)).max(4.0);
    let mean = (scatter / independent.sqrt(), independent - 3.0);
    Ok(Side { mean, ..side })
}

/// `step` is the grid's: places fall on it, so no scatter below it means anything.
fn robust_parabola(places: &[(f64, f64)], step: f64) -> Option<([f64; 3], f64, Vec<f64>)> {
    const STEPS: usize = 12;
    let mut middle: Vec<f64> = places.iter().map(|p| p.1).collect();
    middle.sort_by(f64::total_cmp);
    let mut curve = [middle[middle.len() / 2], 0.0, 0.0];
    let (mut scatter, mut weights) = (0.0, Vec::new());
    for _ in 0..STEPS {
        let residual = |(s, mm): &(f64, f64)| mm - (curve[0] + curve[1] * s + curve[2] * s * s);
        let mut sizes: Vec<f64> = places.iter().map(|p| residual(p).abs()).collect();
        sizes.sort_by(f64::total_cmp);
        // 1.4826 makes the median of sizes a standard deviation; 4.685 keeps 95 % of a normal sample's power.
        scatter = (1.4826 * sizes[sizes.len() / 2]).max(step);
        weights = places.iter().map(|p| (1.0 - (residual(p) / (4.685 * scatter)).powi(2)).max(0.0).powi(2)).collect();
        let (mut normal, mut sides) = (Matrix3::zeros(), Vector3::zeros());
        for ((s, mm), w) in places.iter().zip(&weights) {
            let v = Vector3::new(1.0, *s, s * s);
            normal += v * v.transpose() * *w;
            sides += v * *mm * *w;
        }
        let solution = normal.try_inverse()? * sides;
        curve = [solution.x, solution.y, solution.z];
    }
    curve.iter().all(|c| c.is_finite()).then_some((curve, scatter, weights))
}

/// Correlation of neighbouring residuals.
fn lag_one(residuals: &[f64], weights: &[f64]) -> f64 {
    let all: f64 = residuals.iter().zip(weights).map(|(r, w)| w * r * r).sum();
    let next: f64 = residuals.windows(2).zip(weights.windows(2)).map(|(r, w)| w[0].min(w[1]) * r[0] * r[1]).sum();
    if all > 0.0 { next / all } else { 0.0 }
}

impl FourSides {
    /// Where curves of sides across the row and across the wale meet, and points evenly between, along each side.
    pub fn points(&self, count: usize) -> [Vec<PlanePoint>; 4] {
        let [a, b, c, d] = &self.sides;
        let levels = [[a.level(), b.level()], [c.level(), d.level()]];
        let s_of = |v: f64, [low, high]: [f64; 2]| 2.0 * (v - low) / (high - low) - 1.0;
        // Corners: fixed point of one curve in the other; sides are nearly straight, so a few steps do.
        let corner = |across: &Side, along: &Side| {
            let (mut n, mut t) = (across.level(), along.level());
            for _ in 0..6 {
                n = across.at(s_of(t, levels[1]));
                t = along.at(s_of(n, levels[0]));
            }
            (n, t)
        };
        let part = |k: usize| k as f64 / (count - 1) as f64;
        let across = |side: &Side| {
            let (from, to) = (corner(side, c).1, corner(side, d).1);
            (0..count)
                .map(|k| {
                    let t = from + (to - from) * part(k);
                    self.frame.point(side.at(s_of(t, levels[1])), t)
                })
                .collect()
        };
        let along = |side: &Side| {
            let (from, to) = (corner(a, side).0, corner(b, side).0);
            (0..count)
                .map(|k| {
                    let n = from + (to - from) * part(k);
                    self.frame.point(n, side.at(s_of(n, levels[0])))
                })
                .collect()
        };
        [across(a), across(b), along(c), along(d)]
    }

    /// Mean width along the row and mean height along the wale.
    pub fn lengths(&self) -> [MeanLength; 2] {
        let [a, b, c, d] = &self.sides;
        [(a, b), (c, d)].map(|(low, high)| {
            let seen = low.mean.0.powi(2) + high.mean.0.powi(2);
            MeanLength {
                mm: high.level() - low.level(),
                standard_mm: (seen + 2.0 * EDGE_MM * EDGE_MM).sqrt(),
                degrees_of_freedom: low.mean.1 + high.mean.1,
            }
        })
    }

    /// Share of the whole outline that was hidden.
    pub fn hidden(&self) -> f64 {
        self.sides.iter().map(|s| s.hidden).sum::<f64>() / 4.0
    }
}
