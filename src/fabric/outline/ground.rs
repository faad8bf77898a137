//! The photo on a millimetre grid, and which part of it is the swatch.

use super::NoOutline;
use super::looks::Looks;
use crate::fabric::Bands;
use crate::fabric::even_light::box_blur;
use crate::fabric::patch::Patch;
use crate::photo::Photo;
use crate::plane::PlaneMap;
use crate::quantity::{PhotoPoint, PlanePoint};

/// Longest side of the grid, in pixels: 0.4 mm a pixel for a photo 28 cm wide, as fine as fabric's edge is defined.
const GRID_PX: f64 = 700.0;
/// Finest grid, in pixels per mm.
const FINEST_PX_PER_MM: f64 = 3.0;
/// Width of the band along the photo's edge that is taken to show the surroundings first, as a share of its shorter side.
const RIM: f64 = 0.05;
/// How often fabric and surroundings are learned anew from what the last round found.
const ROUNDS: usize = 3;
/// Neighbourhood over which evidence is gathered when areas are looked for, in mm: half a stitch of common yarn each way.
const AREA_MM: f64 = 1.5;
/// Least distance of samples from the presumed edge, in mm.
const CLEAR_MM: f64 = 1.5;

/// The photo on a millimetre grid, and what is known of each place.
pub(super) struct Ground {
    /// The grid.
    pub patch: Patch,
    /// Whether the photo shows the place, hidden by a ruler or not.
    pub in_picture: Vec<bool>,
    /// Places near the photo's edge.
    rim: Vec<bool>,
    /// Places that surely are fabric.
    known: Vec<bool>,
}

impl Ground {
    /// Resamples the whole photo. `fabric` is what surely is fabric, in the photo.
    pub fn of(photo: &Photo, map: &PlaneMap, excluded: &[Vec<PhotoPoint>], fabric: &[PhotoPoint]) -> Option<Self> {
        let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
        let border = [(0.0, 0.0), (0.5, 0.0), (1.0, 0.0), (1.0, 0.5), (1.0, 1.0), (0.5, 1.0), (0.0, 1.0), (0.0, 0.5)];
        let points: Vec<PlanePoint> =
            border.iter().map(|(x, y)| map.to_plane(PhotoPoint::new(x * w, y * h))).collect::<Option<_>>()?;
        let range = |of: fn(&PlanePoint) -> f64| {
            points.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, u), v| (l.min(v), u.max(v)))
        };
        let ((x0, x1), (y0, y1)) = (range(|p| p.x), range(|p| p.y));
        let px_per_mm = (GRID_PX / (x1 - x0).max(y1 - y0)).min(FINEST_PX_PER_MM);
        if !(px_per_mm.is_finite() && px_per_mm > 0.0) {
            return None;
        }
        let centre = PlanePoint::new((x0 + x1) / 2.0, (y0 + y1) / 2.0);
        let patch = Patch::resample(photo, map, centre, (x1 - x0, y1 - y0), px_per_mm, excluded);
        let fabric = Bands::of(fabric);
        let n = patch.valid.len();
        let (mut in_picture, mut rim, mut known) = (vec![false; n], vec![false; n], vec![false; n]);
        for i in 0..n {
            let Some(p) = map.to_photo(place(&patch, i)) else { continue };
            let edge = p.x.min(w - p.x).min(p.y).min(h - p.y);
            in_picture[i] = edge >= 0.0;
            rim[i] = edge >= 0.0 && edge < RIM * w.min(h);
            known[i] = edge >= 0.0 && fabric.hold(p);
        }
        Some(Self { patch, in_picture, rim, known })
    }

    /// How many pixels so many mm are, at least one.
    pub fn radius(&self, mm: f64) -> usize {
        ((mm * self.patch.px_per_mm).round() as usize).max(1)
    }

    fn seen(&self, i: usize) -> bool {
        self.patch.valid[i] > 0.0
    }

    fn grown(&self, mask: &[bool], mm: f64) -> Vec<bool> {
        let share: Vec<f32> = mask.iter().map(|m| f32::from(u8::from(*m))).collect();
        box_blur(&share, self.patch.width, self.patch.height, self.radius(mm)).iter().map(|s| *s > 1e-6).collect()
    }

    /// Evidence for fabric against surroundings at every pixel, learned from the known fabric and the photo's rim, then
    /// from what that found.
    pub fn evidence(&self) -> Result<Vec<f32>, NoOutline> {
        /// Least share of the rim that must show the surroundings.
        const LEAST_RIM: f64 = 0.4;
        let n = self.known.len();
        let near = self.grown(&self.known, 3.0 * CLEAR_MM);
        let rim = (0..n).filter(|&i| self.rim[i] && self.seen(i)).count() as f64;
        let mut around: Vec<bool> = (0..n).map(|i| self.rim[i] && self.seen(i) && !near[i]).collect();
        if (around.iter().filter(|a| **a).count() as f64) < LEAST_RIM * rim {
            return Err(NoOutline::LeavesPicture);
        }
        let mut fabric: Vec<bool> = (0..n).map(|i| self.known[i] && self.seen(i)).collect();
        let looks = Looks::of(&self.patch);
        let mut evidence = looks.evidence(&fabric, &around);
        for _ in 1..ROUNDS {
            let area = self.area(&evidence);
            let outside: Vec<bool> = area.iter().map(|a| !a).collect();
            let (outer, inner) = (self.grown(&area, CLEAR_MM), self.grown(&outside, CLEAR_MM));
            fabric = (0..n).map(|i| self.seen(i) && (self.known[i] || area[i] && !inner[i])).collect();
            around = (0..n).map(|i| self.seen(i) && !outer[i] && !self.known[i]).collect();
            evidence = looks.evidence(&fabric, &around);
        }
        Ok(evidence)
    }

    /// The connected part that looks like fabric and holds the known fabric; what a ruler hides connects.
    pub fn area(&self, evidence: &[f32]) -> Vec<bool> {
        let (width, height) = (self.patch.width, self.patch.height);
        let smooth = self.gathered(evidence);
        let open = |i: usize| smooth[i] > 0.0 || self.in_picture[i] && !self.seen(i);
        let mut area = vec![false; smooth.len()];
        let mut stack: Vec<usize> = (0..smooth.len()).filter(|&i| self.known[i] && open(i)).collect();
        stack.iter().for_each(|&i| area[i] = true);
        while let Some(i) = stack.pop() {
            let (x, y) = (i % width, i / width);
            let around = [
                (x > 0).then(|| i - 1),
                (x + 1 < width).then(|| i + 1),
                (y > 0).then(|| i - width),
                (y + 1 < height).then(|| i + width),
            ];
            for next in around.into_iter().flatten() {
                if !area[next] && open(next) {
                    area[next] = true;
                    stack.push(next);
                }
            }
        }
        (0..area.len()).map(|i| area[i] && self.seen(i)).collect()
    }

    /// Mean evidence of the seen pixels about each pixel; 0 where none is seen.
    pub fn gathered(&self, evidence: &[f32]) -> Vec<f32> {
        let (width, height) = (self.patch.width, self.patch.height);
        let radius = self.radius(AREA_MM / 2.0);
        let blur = |v: &[f32]| box_blur(&box_blur(v, width, height, radius), width, height, radius);
        let seen = blur(&self.patch.valid);
        blur(evidence).iter().zip(&seen).map(|(v, s)| if *s > 0.05 { v / s } else { 0.0 }).collect()
    }

    /// Directions of the sides of the smallest rectangle about an area, as unit vectors along its width and height.
    pub fn rectangle_axes(&self, area: &[bool]) -> Option<([f64; 2], [f64; 2])> {
        /// Points looked at: enough for every side to hold some hundred.
        const MOST: usize = 6000;
        /// Share of the points left out at each end: what sticks out is no side.
        const LEFT_OUT: f64 = 0.01;
        let all: Vec<usize> = (0..area.len()).filter(|&i| area[i]).collect();
        let points: Vec<PlanePoint> =
            all.iter().step_by(all.len() / MOST + 1).map(|&i| place(&self.patch, i)).collect();
        if points.len() < 100 {
            return None;
        }
        let extent = |cos: f64, sin: f64| {
            let mut along: Vec<f64> = points.iter().map(|p| p.x * cos + p.y * sin).collect();
            let cut = (LEFT_OUT * along.len() as f64) as usize;
            let last = along.len() - 1 - cut;
            let (_, low, _) = along.select_nth_unstable_by(cut, f64::total_cmp);
            let low = *low;
            let (_, high, _) = along.select_nth_unstable_by(last, f64::total_cmp);
            *high - low
        };
        let size = |half_degrees: i32| {
            let (sin, cos) = (0.5 * f64::from(half_degrees)).to_radians().sin_cos();
            extent(cos, sin) * extent(-sin, cos)
        };
        let best = (-90..90).min_by(|a, b| size(*a).total_cmp(&size(*b)))?;
        let (sin, cos) = (0.5 * f64::from(best)).to_radians().sin_cos();
        Some(([cos, sin], [-sin, cos]))
    }
}

/// The middle of a pixel in the plane.
pub(super) fn place(patch: &Patch, i: usize) -> PlanePoint {
    let mm = |k: usize| (k as f64 + 0.5) / patch.px_per_mm;
    patch.origin.moved(mm(i % patch.width), mm(i / patch.width))
}
