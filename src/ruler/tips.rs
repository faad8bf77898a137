//! Tips: which way each mark of a ruler runs. The same estimator finds the mark's centre line near its base and near its
//! free end, so what shifts a whole mark (shading of an engraved groove, colour fringes, the edge) drops out.

use super::fit::quantile;
use super::ink::Ink;
use super::pull::undo_pull;
use super::{Graduation, GraduationTrain, MarkTip};
use crate::quantity::PhotoPoint;
use crate::side_by_side::map_few_in_order;
use image::RgbImage;
use nalgebra::{Matrix3, Vector3};

/// Shortest mark that is followed, px: a centre is taken over two rows at each end, with blurred ends left out.
const LENGTH_MIN_PX: f64 = 4.0;
/// Parts of a mark's length over which its centre is averaged, near the base and near the free end: for a straight line
/// seen in even noise, the outer thirds hold 8/9 of what all of it tells of its direction; a tenth at each end is left
/// out because there the ink fades or a numeral begins.
const NEAR: (f64, f64) = (0.10, 0.38);
const FAR: (f64, f64) = (0.62, 0.90);
/// Share of a pitch within which a mark's centre is looked for about its place.
const REACH_PITCHES: f64 = 0.2;
/// Depth of a mark near its free end against that near its base, and against the train's usual: what lies outside is
/// worn, covered or runs into something.
const EVEN_DEPTH: (f64, f64) = (0.6, 1.7);
/// A direction farther than this many standard deviations from the others' smooth course is not used.
const OUTLIER_SIGMAS: f64 = 3.5;
/// Least standard deviation of a miss, px, by which outliers are told: thin marks nearly along the pixel grid snap to it
/// (sampling, JPEG), most not moving at all and some by a good part of a pixel, and only together are they right.
const MISS_FLOOR_PX: f64 = 0.12;
/// Fewest marks that make a course.
const COURSE_MIN: usize = 8;
/// Share of the marks followed that must agree with the course: less means that something else was followed.
const AGREEING_SHARE: f64 = 0.6;
/// Most rows averaged in one part of a mark: for a first look, and to measure (more tell little, neighbouring rows share
/// their noise).
const ROUGH_ROWS: usize = 4;
const FULL_ROWS: usize = 14;
/// Rounds of re-weighting and leaving out.
const ROUNDS: usize = 8;

/// A mark's centre in two places.
pub(super) struct Followed {
    pub index: i32,
    /// Which of the train's marks it is.
    pub mark: usize,
    /// Heights above the base line, along the usual mark direction, px.
    pub near_h: f64,
    pub far_h: f64,
    /// Place of the centre along the ruler from the line through the base in the usual direction, px.
    pub near: f64,
    pub far: f64,
}

impl Followed {
    /// px along the ruler per px away from the base.
    fn lean(&self) -> f64 {
        (self.far - self.near) / (self.far_h - self.near_h)
    }
}

/// The marks of a train that could be followed, with the scatter of their directions as uncertainty; empty where they
/// are too short or do not agree.
pub(super) fn follow(rgb: &RgbImage, train: &GraduationTrain) -> Vec<MarkTip> {
    let Some(scene) = Scene::new(rgb, train) else { return Vec::new() };
    let Some(first) = scene.followed(&Course::level(train), ROUGH_ROWS) else { return Vec::new() };
    let Some((course, _)) = Course::through(&first) else { return Vec::new() };
    let Some(mut second) = scene.followed(&course, FULL_ROWS) else { return Vec::new() };
    let Some(left_px) = undo_pull(&scene, &mut second) else { return Vec::new() };
    let Some((course, sigma_px)) = Course::through(&second) else { return Vec::new() };
    second
        .iter()
        .filter(|m| course.miss_px(m).abs() <= OUTLIER_SIGMAS * sigma_px.max(MISS_FLOOR_PX))
        .map(|m| scene.tip(m, sigma_px.hypot(left_px)))
        .collect()
}

/// The marks in the picture.
pub(super) struct Scene<'a> {
    ink: Ink<'a>,
    train: &'a GraduationTrain,
    /// Unit vector along the ruler at each mark, and the local pitch, px.
    pub along: Vec<((f64, f64), f64)>,
    /// Width of the centre finder, px.
    sigma_px: f64,
}

impl<'a> Scene<'a> {
    fn new(rgb: &'a RgbImage, train: &'a GraduationTrain) -> Option<Self> {
        let marks = &train.marks;
        let along: Option<Vec<_>> = (0..marks.len()).map(|k| course_at(marks, k)).collect();
        let along = along.filter(|a| a.len() >= COURSE_MIN)?;
        let (dx, dy) = train.mark_direction;
        let heights = [0.3, 0.5, 0.7];
        let place = |m: &Graduation, (course, pitch): &((f64, f64), f64), height: f64| {
            [0.0, -0.5, 0.5].map(|share| {
                let (out, on) = (height * m.length_px, share * pitch);
                (m.at.x + dx * out + course.0 * on, m.at.y + dy * out + course.1 * on)
            })
        };
        let places: Vec<[(f64, f64); 3]> =
            marks.iter().zip(&along).flat_map(|(m, a)| heights.map(|height| place(m, a, height))).collect();
        let ink = Ink::best_mix(rgb, &places);
        let mut scene = Self { ink, train, along, sigma_px: 1.0 };
        scene.sigma_px = scene.usual_width()?;
        Some(scene)
    }

    /// Standard deviation of the bell as wide as the marks usually are at half depth.
    fn usual_width(&self) -> Option<f64> {
        let widths = (0..self.train.marks.len()).filter_map(|k| {
            let (m, pitch) = (&self.train.marks[k], self.along[k].1);
            let step = (pitch / 40.0).max(0.25);
            let half = (0.5 * pitch / step) as usize;
            let profile =
                self.profile(k, (0.3 * m.length_px, 0.7 * m.length_px), (0.0, 0.0), (step, half), ROUGH_ROWS)?;
            let low = profile[half - half / 3..=half + half / 3].iter().copied().fold(f64::MAX, f64::min);
            let level = (low + profile[0].min(profile[2 * half])) / 2.0;
            let below = profile.iter().filter(|v| **v < level).count();
            (below > 0).then_some(below as f64 * step)
        });
        // 2.355: full width at half depth of a bell in standard deviations.
        quantile(widths, 0.5).map(|w| (w / 2.355).max(0.6))
    }

    /// Mean over a band of heights of the ink along the ruler about mark `k`, shifted by `offset` + `lean`·height.
    fn profile(
        &self,
        k: usize,
        band: (f64, f64),
        (offset, lean): (f64, f64),
        (step, half): (f64, usize),
        rows_max: usize,
    ) -> Option<Vec<f64>> {
        let (m, (ax, ay)) = (&self.train.marks[k], self.along[k].0);
        let (dx, dy) = self.train.mark_direction;
        let rows = ((band.1 - band.0).round() as usize).clamp(2, rows_max);
        let mut sum = vec![0.0; 2 * half + 1];
        for row in 0..rows {
            let h = band.0 + (band.1 - band.0) * (row as f64 + 0.5) / rows as f64;
            let from = offset + lean * h - half as f64 * step;
            for (i, s) in sum.iter_mut().enumerate() {
                let u = from + i as f64 * step;
                *s += f64::from(self.ink.at(m.at.x + dx * h + ax * u, m.at.y + dy * h + ay * u)?) / rows as f64;
            }
        }
        Some(sum)
    }

    /// Offset of the mark's centre from where it is expected in a band, and its depth: the place where the second
    /// derivative of a bell answers most. It is even and sums to zero, so that even light and a steady change of light
    /// across the mark do not move it.
    fn centre(&self, k: usize, band: (f64, f64), expected: (f64, f64), rows_max: usize) -> Option<(f64, f64)> {
        let sigma = self.sigma_px;
        let step = (sigma / 3.0).max(0.25);
        let reach = ((REACH_PITCHES * self.along[k].1 / step).ceil() as usize).max(2);
        let arm = (3.5 * sigma / step).ceil() as usize;
        let profile = self.profile(k, band, expected, (step, reach + arm), rows_max)?;
        let kernel: Vec<f64> = (0..=2 * arm)
            .map(|i| {
                let t = (i as f64 - arm as f64) * step / sigma;
                (1.0 - t * t) * (-0.5 * t * t).exp()
            })
            .collect();
        let rest = kernel.iter().sum::<f64>() / kernel.len() as f64;
        let answer: Vec<f64> = profile
            .windows(kernel.len())
            .map(|w| -w.iter().zip(&kernel).map(|(p, k)| p * (k - rest)).sum::<f64>())
            .collect();
        let best = (0..answer.len()).max_by(|&a, &b| answer[a].total_cmp(&answer[b]))?;
        if best == 0 || best + 1 == answer.len() || answer[best] <= 0.0 {
            return None;
        }
        let (l, c, r) = (answer[best - 1], answer[best], answer[best + 1]);
        let shift = 0.5 * (l - r) / (l - 2.0 * c + r).min(-1e-12);
        Some(((best as f64 + shift - reach as f64) * step, c))
    }

    /// Every mark long enough, followed along the course; marks whose depth is unlike the others' left out.
    fn followed(&self, course: &Course, rows_max: usize) -> Option<Vec<Followed>> {
        /// Marks that are followed at once.
        const FEW: usize = 12;
        let marks: Vec<usize> = (0..self.train.marks.len()).collect();
        let seen = map_few_in_order(&marks, FEW, |&k| self.followed_one(k, course, rows_max));
        let seen: Vec<_> = seen.into_iter().flatten().collect();
        let usual = quantile(seen.iter().map(|s| s.1), 0.5)?;
        let even = |a: f64, b: f64| (EVEN_DEPTH.0..=EVEN_DEPTH.1).contains(&(a / b));
        Some(seen.into_iter().filter(|s| even(s.1, usual) && even(s.2, s.1)).map(|s| s.0).collect())
    }

    /// One mark, with its depth near the base and near the free end.
    fn followed_one(&self, k: usize, course: &Course, rows_max: usize) -> Option<(Followed, f64, f64)> {
        let (index, l) = (self.train.marks[k].index, self.train.marks[k].length_px);
        if l < LENGTH_MIN_PX {
            return None;
        }
        let lean = course.lean(f64::from(index));
        let (near, near_depth) = self.centre(k, (NEAR.0 * l, NEAR.1 * l), (0.0, lean), rows_max)?;
        let (far, far_depth) = self.centre(k, (FAR.0 * l, FAR.1 * l), (near, lean), rows_max)?;
        let (near_h, far_h) = ((NEAR.0 + NEAR.1) / 2.0 * l, (FAR.0 + FAR.1) / 2.0 * l);
        let (near, far) = (near + lean * near_h, near + far + lean * far_h);
        Some((Followed { index, mark: k, near_h, far_h, near, far }, near_depth, far_depth))
    }

    /// Photo point of a followed mark at height `h`, `u` along the ruler.
    pub fn place(&self, m: &Followed, h: f64, u: f64) -> PhotoPoint {
        let (at, (ax, ay), (dx, dy)) = (self.train.marks[m.mark].at, self.along[m.mark].0, self.train.mark_direction);
        PhotoPoint::new(at.x + dx * h + ax * u, at.y + dy * h + ay * u)
    }

    fn tip(&self, m: &Followed, sigma_px: f64) -> MarkTip {
        let (from, at) = (self.place(m, m.near_h, m.near), self.place(m, m.far_h, m.far));
        MarkTip { index: m.index, from, at, along_sigma_px: sigma_px }
    }
}

/// Direction along the ruler and pitch at mark `k`, from the marks up to ten places away on either side.
fn course_at(marks: &[Graduation], k: usize) -> Option<((f64, f64), f64)> {
    const REACH: usize = 10;
    let (a, b) = (&marks[k.saturating_sub(REACH)], &marks[(k + REACH).min(marks.len() - 1)]);
    let (dx, dy) = (b.at.x - a.at.x, b.at.y - a.at.y);
    let length = dx.hypot(dy);
    let steps = f64::from(b.index - a.index);
    (length > 1.0 && steps > 0.0).then(|| ((dx / length, dy / length), length / steps))
}

/// How the marks' lean changes along the ruler: a parabola in the index. A pinhole makes it a ratio of linear terms and a
/// lens bends it a little; over the tilts that are measured the next term stays below 1/1000.
struct Course {
    centre: f64,
    half: f64,
    coefficients: Vector3<f64>,
}

impl Course {
    fn level(train: &GraduationTrain) -> Self {
        let (a, b) = (train.marks.first().map_or(0, |m| m.index), train.marks.last().map_or(1, |m| m.index));
        let (a, b) = (f64::from(a), f64::from(b));
        Self { centre: (a + b) / 2.0, half: ((b - a) / 2.0).max(1.0), coefficients: Vector3::zeros() }
    }

    fn basis(&self, index: f64) -> Vector3<f64> {
        let x = (index - self.centre) / self.half;
        Vector3::new(1.0, x, x * x)
    }

    fn lean(&self, index: f64) -> f64 {
        self.coefficients.dot(&self.basis(index))
    }

    /// How far a mark's far place lies from where the course puts it as seen from the near one, px along the ruler.
    fn miss_px(&self, m: &Followed) -> f64 {
        (m.lean() - self.lean(f64::from(m.index))) * (m.far_h - m.near_h)
    }

    /// Robust fit, longer marks counting more, and the standard deviation of the miss, px. `None` where too few agree.
    fn through(marks: &[Followed]) -> Option<(Self, f64)> {
        let (first, last) = (marks.first()?, marks.last()?);
        let (a, b) = (f64::from(first.index), f64::from(last.index));
        let mut course = Self { centre: (a + b) / 2.0, half: ((b - a) / 2.0).max(1.0), coefficients: Vector3::zeros() };
        let middle = quantile(marks.iter().map(Followed::lean), 0.5)?;
        course.coefficients[0] = middle;
        for _ in 0..ROUNDS {
            let spread = (1.4826 * quantile(marks.iter().map(|m| course.miss_px(m).abs()), 0.5)?).max(MISS_FLOOR_PX);
            let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
            for m in marks {
                let t = course.miss_px(m) / (OUTLIER_SIGMAS * spread);
                let weight = if t.abs() < 1.0 { (1.0 - t * t).powi(2) } else { 0.0 } * (m.far_h - m.near_h).powi(2);
                let basis = course.basis(f64::from(m.index));
                normal += weight * basis * basis.transpose();
                right += weight * m.lean() * basis;
            }
            // A weak pull to a level course keeps few marks from bending it.
            normal += Matrix3::identity() * (1e-6 * normal.trace());
            course.coefficients = normal.cholesky()?.solve(&right);
        }
        let spread = (1.4826 * quantile(marks.iter().map(|m| course.miss_px(m).abs()), 0.5)?).max(MISS_FLOOR_PX);
        let agreeing: Vec<f64> =
            marks.iter().map(|m| course.miss_px(m)).filter(|r| r.abs() <= OUTLIER_SIGMAS * spread).collect();
        let n = agreeing.len();
        if n < COURSE_MIN || (n as f64) < AGREEING_SHARE * marks.len() as f64 {
            return None;
        }
        let sigma = (agreeing.iter().map(|r| r * r).sum::<f64>() / (n - 3) as f64).sqrt();
        Some((course, sigma))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ruler::RulerUnit;

    /// Marks every 11.3 px along y = 20, 1.6 px wide, whose lean grows along the ruler.
    fn lean(u: f64) -> f64 {
        0.04 + 1e-4 * (u - 300.0)
    }

    fn drawn(length: f64, clipped: bool) -> (RgbImage, GraduationTrain) {
        drawn_at((0..50).map(|k| 20.0 + 11.3 * f64::from(k)).collect(), 1.6, length, clipped)
    }

    /// Marks that start at places along y = 20.
    fn drawn_at(starts: Vec<f64>, width: f64, length: f64, clipped: bool) -> (RgbImage, GraduationTrain) {
        let ink = |x: f64, y: f64| {
            let h = y - 20.0;
            let nearest = |s: &&f64| (x - **s - lean(**s) * h).abs() < width / 2.0;
            (0.0..length).contains(&h) && starts.iter().any(|s| nearest(&s))
        };
        const PARTS: u32 = 8;
        let rgb = RgbImage::from_fn(620, 90, |x, y| {
            let part = |i: u32| (f64::from(i) + 0.5) / f64::from(PARTS);
            let covered = (0..PARTS * PARTS)
                .filter(|i| ink(f64::from(x) + part(i % PARTS), f64::from(y) + part(i / PARTS)))
                .count() as f64
                / f64::from(PARTS * PARTS);
            // A picture too bright loses what is little covered.
            let light = if clipped { 350.0 } else { 230.0 };
            image::Rgb([(light * (1.0 - 0.7 * covered)).min(255.0) as u8; 3])
        });
        let mark = |(k, s): (usize, &f64)| Graduation {
            index: k as i32,
            at: PhotoPoint::new(*s, 20.0),
            along_sigma_px: 0.05,
            length_px: length,
        };
        let train = GraduationTrain {
            unit: RulerUnit::Cm,
            pitch_mm: 1.0,
            marks: starts.iter().enumerate().map(mark).collect(),
            tips: Vec::new(),
            mark_direction: (0.04, 1.0),
            residual_rms_px: 0.05,
            hierarchy: 1.0,
        };
        (rgb, train)
    }

    fn errors_in_sigmas(tips: &[MarkTip], train: &GraduationTrain) -> Vec<f64> {
        let miss = |t: &MarkTip| {
            let true_lean = lean(train.marks[t.index as usize].at.x);
            (t.at.x - t.from.x - true_lean * (t.at.y - t.from.y)) / t.along_sigma_px.max(0.02)
        };
        tips.iter().map(miss).collect()
    }

    #[test]
    fn marks_are_followed_where_they_lean() {
        for clipped in [false, true] {
            let (rgb, train) = drawn(24.0, clipped);
            let tips = follow(&rgb, &train);
            assert!(tips.len() >= 40, "{}", tips.len());
            let z = errors_in_sigmas(&tips, &train);
            let mean = z.iter().sum::<f64>() / z.len() as f64;
            let rms = (z.iter().map(|z| z * z).sum::<f64>() / z.len() as f64).sqrt();
            assert!(mean.abs() < 0.4 && rms < 1.4, "{mean} {rms}");
        }
    }

    #[test]
    fn what_the_grid_leaves_of_thin_marks_is_in_their_uncertainty() {
        // Steps from a little under to a little over three pixels: the marks' phases go round once.
        let starts: Vec<f64> = (0..160).map(f64::from).map(|k| 20.0 + 2.9 * k + 6e-4 * k * k).collect();
        let (rgb, train) = drawn_at(starts, 0.7, 9.0, false);
        let tips = follow(&rgb, &train);
        let z = errors_in_sigmas(&tips, &train);
        let fan: f64 = z.iter().zip(&tips).map(|(z, t)| z * (f64::from(t.index) - 80.0) / 46.0).sum::<f64>();
        // Over all marks: the sum of so many, each as sure as it says.
        assert!(tips.is_empty() || fan.abs() < 2.5 * (tips.len() as f64).sqrt(), "{} {fan}", tips.len());
    }

    #[test]
    fn what_is_too_short_or_not_there_is_not_followed() {
        let (rgb, train) = drawn(3.5, false);
        assert!(follow(&rgb, &train).is_empty());
        let (_, train) = drawn(24.0, false);
        assert!(follow(&RgbImage::from_pixel(620, 90, image::Rgb([200; 3])), &train).is_empty());
    }
}
