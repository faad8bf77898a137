//! Scales as evidence of the plane: places of known spacing on parallel straight lines, and which way marks run.

use super::estimate::Misfit;
use super::{PlaneMap, ScaleEvidence};
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::ruler::{Graduation, GraduationTrain, RulerReading};

/// How far a mark may lie off its base line, in px: where exactly a ruler's edge or mark end lies is seen less surely than
/// the mark's place along it.
const ACROSS_SIGMA_PX: f64 = 1.5;

/// Independent places on a train's base line: it is a smooth curve of four coefficients through the ends of all marks, so
/// what moves it (shadow, worn marks) moves many of them together.
const BASE_LINE_PLACES: f64 = 4.0;

/// Standard deviation of the angle by which a ruler's marks may stand off square to its edge, in radians (0.2°): printed
/// and engraved scales are far better, worn or cheap wooden ones hardly worse (a stated choice).
const SQUARENESS_SIGMA: f64 = 0.0035;

/// Standard deviation of the curvature of a tape that lies in an arc, per mm: a radius of three metres, a sagitta of a third of a
/// centimetre over 30 cm (a stated choice).
const BEND_SIGMA: f64 = 1.0 / 3000.0;

/// Smallest standard uncertainty of a mark along its ruler, in px: pixel response and JPEG blocks leave this much.
const ALONG_FLOOR_PX: f64 = 0.05;

/// Most places into which the marks of one train are gathered: the fit's time grows with them, and the sagitta of a
/// fortieth of a 300 mm ruler under 30° of tilt is below 0.01 px.
const GATHERED_MAX: usize = 40;

/// Step by which the direction of a scale in the photo is found, in mm.
const AHEAD_MM: f64 = 0.1;

/// One point of a scale: its place on the scale's own straight or square axes, and where the photo shows it.
pub(super) struct ScalePoint {
    line: usize,
    along_mm: f64,
    across_mm: f64,
    at: PhotoPoint,
    along_sigma_px: f64,
    across_sigma_px: f64,
}

/// Two places on a mark: as far along the scale as each other, but for how square the marks stand.
pub(super) struct ScaleTip {
    from: PhotoPoint,
    at: PhotoPoint,
    /// Standard uncertainty of the second along the scale as seen from the first, in mm.
    sigma_mm: f64,
}

/// Neighbouring things gathered, at most [`GATHERED_MAX`] together: over so small a part of a scale perspective is straight.
fn gathered<T>(things: &[T]) -> impl Iterator<Item = &[T]> {
    things.chunks(things.len().div_ceil(GATHERED_MAX).max(1))
}

fn mean(weights: &[f64], values: impl Iterator<Item = f64>) -> Option<f64> {
    let sum: f64 = weights.iter().sum();
    (sum > 0.0).then(|| weights.iter().zip(values).map(|(w, v)| w * v).sum::<f64>() / sum)
}

fn mean_point(weights: &[f64], points: impl Iterator<Item = PhotoPoint> + Clone) -> Option<PhotoPoint> {
    let x = mean(weights, points.clone().map(|p| p.x))?;
    Some(PhotoPoint::new(x, mean(weights, points.map(|p| p.y))?))
}

/// From the first to the last mark of a train, in px.
fn course(train: &GraduationTrain) -> Option<(f64, f64)> {
    let (a, b) = (train.marks.first()?.at, train.marks.last()?.at);
    Some((b.x - a.x, b.y - a.y))
}

/// Scales of known lengths: parallel straight lines (or one square grid) with a common direction, or arcs about a common middle.
pub(super) struct Scales {
    pub points: Vec<ScalePoint>,
    pub tips: Vec<ScaleTip>,
    pub lines: usize,
    /// Whether it may lie in an arc, as a tape does: one more parameter, its curvature.
    pub bends: bool,
    /// Middle of the first line along the scale, in mm, where the common direction is that of the scale.
    middle_mm: f64,
}

/// How a scale lies in the plane.
struct Course<'a> {
    scales: &'a Scales,
    place: &'a [f64],
    /// Curvature, per mm.
    bend: f64,
    /// Mean place of the lines across the scale, where its length is what is printed: a tape is stretched outside an arc's middle
    /// and pressed together inside.
    neutral_mm: f64,
}

impl<'a> Course<'a> {
    fn new(scales: &'a Scales, place: &'a [f64]) -> Self {
        let bend = if scales.bends { place[2 + 2 * scales.lines] } else { 0.0 };
        let course = Self { scales, place, bend, neutral_mm: 0.0 };
        let across = (0..scales.lines).map(|line| course.along_and_across(course.origin(line)).1);
        let neutral_mm = across.sum::<f64>() / scales.lines as f64;
        Self { neutral_mm, ..course }
    }

    fn origin(&self, line: usize) -> PlanePoint {
        PlanePoint::new(self.place[2 + 2 * line], self.place[3 + 2 * line])
    }

    /// A place of the plane along and across the scale, from the origin of the first line; across from the arc that it lies in.
    fn along_and_across(&self, at: PlanePoint) -> (f64, f64) {
        let (first, (sin, cos)) = (self.origin(0), self.place[0].sin_cos());
        let (dx, dy) = (at.x - first.x, at.y - first.y);
        let along = cos * dx + sin * dy;
        let middle = self.scales.middle_mm;
        (along, cos * dy - sin * dx - self.bend * along * (along / 2.0 - middle))
    }

    /// Direction of the scale at so many mm from the origin of the first line.
    fn direction(&self, along_mm: f64) -> f64 {
        self.place[0] + self.bend * (along_mm - self.scales.middle_mm)
    }

    /// Where a point of the scale lies, and the direction of the scale there. An arc's chord over s lies in the direction of its
    /// middle, and is s sin(x)/x long, where x is half the angle that the arc turns.
    fn point(&self, p: &ScalePoint) -> (PlanePoint, f64) {
        let origin = self.origin(p.line);
        let (from, across) = self.along_and_across(origin);
        let turned = self.bend * p.along_mm / 2.0;
        let chord = p.along_mm * (1.0 - self.bend * (across - self.neutral_mm)) * (1.0 - turned * turned / 6.0);
        let middle = self.direction(from + p.along_mm / 2.0);
        let direction = self.direction(from + p.along_mm);
        let at = origin.moved(
            chord * middle.cos() - p.across_mm * direction.sin(),
            chord * middle.sin() + p.across_mm * direction.cos(),
        );
        (at, direction)
    }
}

impl Scales {
    pub fn of(evidence: &ScaleEvidence) -> Option<Self> {
        let scales = match evidence {
            ScaleEvidence::Ruler(reading) | ScaleEvidence::Tape(reading) => Self::of_ruler(reading)?,
            ScaleEvidence::Grid(grid) => {
                let points = grid.corners.iter().map(|(i, j, at)| ScalePoint {
                    line: 0,
                    along_mm: f64::from(*i) * grid.pitch_mm,
                    across_mm: f64::from(*j) * grid.pitch_mm,
                    at: *at,
                    along_sigma_px: grid.sigma_px.max(ALONG_FLOOR_PX),
                    across_sigma_px: grid.sigma_px.max(ALONG_FLOOR_PX),
                });
                Self::lying_straight(points.collect())
            }
            ScaleEvidence::Places(places) => {
                let points = places.iter().map(|p| ScalePoint {
                    line: 0,
                    along_mm: p.along_mm,
                    across_mm: p.across_mm,
                    at: p.at,
                    along_sigma_px: p.along_sigma_px,
                    across_sigma_px: p.across_sigma_px,
                });
                Self::lying_straight(points.collect())
            }
            ScaleEvidence::Span(span) => {
                let end = |along_mm, at| ScalePoint {
                    line: 0,
                    along_mm,
                    across_mm: 0.0,
                    at,
                    along_sigma_px: span.sigma_px,
                    across_sigma_px: span.sigma_px,
                };
                Self::lying_straight(vec![end(0.0, span.from), end(span.length_mm, span.to)])
            }
        };
        (scales.points.len() >= 2).then_some(scales)
    }

    fn of_ruler(reading: &RulerReading) -> Option<Self> {
        let leading = reading.trains.first().and_then(course)?;
        let mut scales = Self { lines: reading.trains.len(), ..Self::lying_straight(Vec::new()) };
        for (line, train) in reading.trains.iter().enumerate() {
            // The second edge of a ruler may count the other way.
            let own = course(train)?;
            let step_mm = (own.0 * leading.0 + own.1 * leading.1).signum() * train.pitch_mm;
            let first = train.marks.first()?.index;
            let shared = (train.marks.len() as f64 / BASE_LINE_PLACES).sqrt().max(1.0);
            scales.points.extend(gathered(&train.marks).filter_map(|marks| {
                let sigma = |m: &Graduation| m.along_sigma_px.max(ALONG_FLOOR_PX);
                let weights: Vec<f64> = marks.iter().map(|m| sigma(m).powi(-2)).collect();
                let index = mean(&weights, marks.iter().map(|m| f64::from(m.index - first)))?;
                Some(ScalePoint {
                    line,
                    along_mm: step_mm * index,
                    across_mm: 0.0,
                    at: mean_point(&weights, marks.iter().map(|m| m.at))?,
                    along_sigma_px: weights.iter().sum::<f64>().powf(-0.5),
                    across_sigma_px: ACROSS_SIGMA_PX * shared / (marks.len() as f64).sqrt(),
                })
            }));
            let px_per_mm = own.0.hypot(own.1) / train.pitch_mm / f64::from(train.marks.last()?.index - first).abs();
            scales.tips.extend(gathered(&train.tips).filter_map(|tips| {
                // Direction by least squares: displacements weighted by the lengths over which they were seen.
                let weights: Vec<f64> = tips.iter().map(|t| t.at.distance(t.from)).collect();
                let sum: f64 = weights.iter().sum();
                let squares: f64 =
                    tips.iter().zip(&weights).map(|(t, w)| (w * t.along_sigma_px.max(ALONG_FLOOR_PX)).powi(2)).sum();
                Some(ScaleTip {
                    from: mean_point(&weights, tips.iter().map(|t| t.from))?,
                    at: mean_point(&weights, tips.iter().map(|t| t.at))?,
                    sigma_mm: squares.sqrt() / sum / px_per_mm,
                })
            }));
        }
        let first = || scales.points.iter().filter(|p| p.line == 0).map(|p| p.along_mm);
        scales.middle_mm = first().sum::<f64>() / first().count().max(1) as f64;
        Some(scales)
    }

    /// One line or grid, without marks whose directions are known.
    fn lying_straight(points: Vec<ScalePoint>) -> Self {
        Self { points, tips: Vec::new(), lines: 1, bends: false, middle_mm: 0.0 }
    }

    /// Direction, squareness, an origin for each line, and the curvature where it may bend.
    pub fn parameters(&self) -> usize {
        2 + 2 * self.lines + usize::from(self.bends)
    }

    /// Steps for the derivatives by the parameters.
    pub fn steps(&self) -> impl Iterator<Item = f64> {
        let origins = std::iter::repeat_n(1e-3, 2 * self.lines);
        [1e-5; 2].into_iter().chain(origins).chain(self.bends.then_some(1e-8))
    }

    /// The two points of one line that lie farthest apart: their distance in px and in mm.
    pub fn longest(&self) -> Option<(f64, f64)> {
        let first = self.points.first()?;
        let far = |from: &ScalePoint| {
            self.points
                .iter()
                .filter(|p| p.line == from.line)
                .max_by(|a, b| a.at.distance(from.at).total_cmp(&b.at.distance(from.at)))
        };
        let a = far(first)?;
        let b = far(a)?;
        let px = a.at.distance(b.at);
        let mm = (a.along_mm - b.along_mm).hypot(a.across_mm - b.across_mm);
        (px > 1.0 && mm > 0.0).then_some((px, mm))
    }

    /// Start for direction and origins: from the first and last point of each line under a map.
    pub fn start(&self, map: &PlaneMap) -> Option<Vec<f64>> {
        let mut parameters = vec![self.start_angle(map)?, 0.0];
        let (sin, cos) = parameters[0].sin_cos();
        for line in 0..self.lines {
            let p = self.points.iter().find(|p| p.line == line)?;
            let at = map.to_plane(p.at)?;
            parameters.push(at.x - cos * p.along_mm + sin * p.across_mm);
            parameters.push(at.y - sin * p.along_mm - cos * p.across_mm);
        }
        Some(parameters)
    }

    fn start_angle(&self, map: &PlaneMap) -> Option<f64> {
        let first = self.points.first()?;
        let far = self
            .points
            .iter()
            .filter(|p| p.line == first.line)
            .max_by(|a, b| a.at.distance(first.at).total_cmp(&b.at.distance(first.at)))?;
        let (a, b) = (map.to_plane(first.at)?, map.to_plane(far.at)?);
        let own = (far.across_mm - first.across_mm).atan2(far.along_mm - first.along_mm);
        Some((b.y - a.y).atan2(b.x - a.x) - own)
    }

    /// Residuals along and across, in standard uncertainties.
    pub fn residuals(&self, map: &PlaneMap, place: &[f64], misfit: Misfit, out: &mut Vec<f64>) -> Option<()> {
        let course = Course::new(self, place);
        for p in &self.points {
            let (on_plane, direction) = course.point(p);
            let seen = map.to_photo(on_plane)?;
            let ahead = map.to_photo(on_plane.moved(AHEAD_MM * direction.cos(), AHEAD_MM * direction.sin()))?;
            let length = ahead.distance(seen).max(1e-12);
            let (ux, uy) = ((ahead.x - seen.x) / length, (ahead.y - seen.y) / length);
            let (dx, dy) = (seen.x - p.at.x, seen.y - p.at.y);
            out.push((dx * ux + dy * uy) / (p.along_sigma_px * misfit.graduations));
            out.push((dy * ux - dx * uy) / p.across_sigma_px);
        }
        for tip in &self.tips {
            let (from, at) = (map.to_plane(tip.from)?, map.to_plane(tip.at)?);
            let (sin, cos) = course.direction(course.along_and_across(from).0).sin_cos();
            let (dx, dy) = (at.x - from.x, at.y - from.y);
            let (along, across) = (cos * dx + sin * dy, cos * dy - sin * dx);
            out.push((along - place[1] * across) / (tip.sigma_mm * misfit.directions));
        }
        out.push(place[1] / SQUARENESS_SIGMA);
        if self.bends {
            out.push(course.bend / BEND_SIGMA);
        }
        Some(())
    }
}
