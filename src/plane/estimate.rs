//! The plane from all evidence at once: graduations, the lattice's gradient, the lens, and what is usual.
//!
//! One least-squares fit holds the camera's numbers (see [`Pose`]), the place of each scale in the plane, and the
//! lattice with a slow drift of tension. What is only usual (tilt, focal length, lens, drift) enters as a prior with its
//! standard uncertainty, so evidence and habit are weighed by how sure they are, and the effect of every input on the
//! camera is known afterwards: that is the plane's part of the uncertainty budget.

use super::camera::LENS_SIGMA;
use super::least_squares::{Fit, Model, minimise};
use super::{CameraPrior, CountSeen, Frame, PlaneMap, Pose, ScaleEvidence};
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::ruler::{GraduationTrain, RulerReading};
use nalgebra::{DMatrix, SymmetricEigen};

/// Standard deviation of each component of the tilt's tangent before anything is seen: people hold a phone within about
/// 10° of level, seldom beyond 20° (common practice, no source).
const TILT_SIGMA: f64 = 0.20;

/// Standard deviation of a linear drift of stitch or row density over 100 mm of fabric, relative. Knitters' tension and
/// blocking change the gauge by a few per cent over a swatch (a stated choice; `calibration/` tells what was seen).
const DRIFT_SIGMA_PER_100MM: f64 = 0.022;

/// Standard deviation of the bow of rows and wales over 100 mm, in the same measure.
const BOW_SIGMA_PER_100MM: f64 = 0.03;

/// How far a mark may lie off its base line, in px: where exactly a ruler's edge or mark end lies is seen less surely than
/// the mark's place along it.
const ACROSS_SIGMA_PX: f64 = 1.5;

/// Independent places on a train's base line: it is a smooth curve of four coefficients through the ends of all marks, so
/// what moves it (shadow, worn marks) moves many of them together.
const BASE_LINE_PLACES: f64 = 4.0;

/// Standard deviation of the angle by which a ruler's marks may stand off square to its edge, in radians (0.2°): printed
/// and engraved scales are far better, worn or cheap wooden ones hardly worse (a stated choice).
const SQUARENESS_SIGMA: f64 = 0.0035;

/// Smallest standard uncertainty of a mark along its ruler, in px: pixel response and JPEG blocks leave this much.
const ALONG_FLOOR_PX: f64 = 0.05;

/// What moved the estimate of the plane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaneInput {
    /// The readings of the graduations, grid corners or span ends.
    Graduations,
    /// The directions in which the ruler's marks run, and how square they stand.
    MarkDirections,
    /// What is usual about the tilt.
    TiltHabit,
    /// The focal length.
    FocalLength,
    /// Where the optical axis meets the photo: unknown when it was cut.
    OpticalAxis,
    /// The lens's radial distortion.
    Lens,
    /// Slow drift of the fabric's tension, which looks like tilt.
    Drift,
    /// Random irregularity of the stitches, as far as it turns the plane.
    Stitches,
}

impl PlaneInput {
    /// All inputs, in the order of the budget.
    pub const ALL: [Self; 8] = [
        Self::Graduations,
        Self::MarkDirections,
        Self::TiltHabit,
        Self::FocalLength,
        Self::OpticalAxis,
        Self::Lens,
        Self::Drift,
        Self::Stitches,
    ];
}

/// A change of the camera's numbers by one standard uncertainty of one independent part of an input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneEffect {
    /// Which input moves.
    pub input: PlaneInput,
    /// The change, in the order of [`Pose::to_array`].
    pub change: [f64; Pose::NUMBERS],
}

/// The plane, and how sure it is.
#[derive(Debug, Clone)]
pub struct PlaneEstimate {
    /// Camera over the plane in which the scale lies.
    pub pose: Pose,
    /// What the pose's numbers refer to.
    pub frame: Frame,
    /// Photo ↔ the plane in which the scale lies.
    pub map: PlaneMap,
    /// Independent effects whose squares add to the pose's covariance.
    pub effects: Vec<PlaneEffect>,
    /// Standard uncertainty of the tilt, in degrees (along its own direction).
    pub tilt_sigma_deg: f64,
    /// Root mean square of the graduations' residuals over their stated uncertainty.
    pub graduation_misfit: f64,
}

/// Slopes from which the fit is started: level, then tilted to eight sides. A strongly tilted short scale has a second,
/// wrong minimum that a level start can fall into.
const START_SLOPES: [(f64, f64); 9] =
    [(0.0, 0.0), (0.3, 0.0), (-0.3, 0.0), (0.0, 0.3), (0.0, -0.3), (0.2, 0.2), (-0.2, 0.2), (0.2, -0.2), (-0.2, -0.2)];

/// A fit whose graduations miss by less than this many standard uncertainties (root mean square) needs no other start.
const GOOD_MISFIT: f64 = 2.0;

/// Fits the plane to everything that is known. `None` where the evidence holds no length at all, or contradicts itself
/// beyond what a plane can show.
pub fn estimate(scale: &ScaleEvidence, prior: &CameraPrior, counts: &[CountSeen]) -> Option<PlaneEstimate> {
    let frame = Frame { centre: prior.centre, half_diagonal_px: prior.half_diagonal_px };
    let mut model = PlaneModel { frame, prior, scales: Scales::of(scale)?, lattice: None, misfit: 1.0 };
    let mut fit = fit_scales(&model)?;
    // Readings that scatter more than they say are believed accordingly less (Birge 1932).
    let misfit = model.along_misfit(&fit);
    if misfit > 1.0 {
        model.misfit = misfit;
        fit = minimise(&model, &fit.parameters)?;
    }
    if let Some(lattice) = Lattice::of(counts) {
        let pose = pose_of(&fit.parameters);
        let lattice_start = lattice.start(&pose.map(&frame)?)?;
        model.lattice = Some(lattice.with_drift_scale(&lattice_start));
        let mut start = fit.parameters.clone();
        start.extend(lattice_start);
        fit = minimise(&model, &start)?;
    }
    finish(&fit, &frame, misfit)
}

/// The fit to the scales alone, from as many starts as it takes.
fn fit_scales(model: &PlaneModel) -> Option<Fit<PlaneInput>> {
    let mut best: Option<(f64, Fit<PlaneInput>)> = None;
    for slopes in START_SLOPES {
        let Some(fit) = fit_scales_from(model, slopes) else { continue };
        let cost: f64 = fit.residuals.iter().map(|r| r * r).sum();
        let good = model.along_misfit(&fit) < GOOD_MISFIT;
        if best.as_ref().is_none_or(|(least, _)| cost < *least) {
            best = Some((cost, fit));
        }
        if good {
            break;
        }
    }
    best.map(|(_, fit)| fit)
}

fn fit_scales_from(model: &PlaneModel, slopes: (f64, f64)) -> Option<Fit<PlaneInput>> {
    let level = first_pose(&model.scales, model.prior)?;
    let pose = Pose { slope_x: slopes.0, slope_y: slopes.1, ..level };
    let mut start = pose.to_array().to_vec();
    start.extend(model.scales.start(&pose.map(&model.frame)?)?);
    minimise(model, &start)
}

fn pose_of(parameters: &[f64]) -> Pose {
    Pose::from_array(std::array::from_fn(|i| parameters[i]))
}

fn finish(fit: &Fit<PlaneInput>, frame: &Frame, misfit: f64) -> Option<PlaneEstimate> {
    let pose = pose_of(&fit.parameters);
    let map = pose.map(frame)?;
    let effects: Vec<PlaneEffect> = PlaneInput::ALL
        .into_iter()
        .flat_map(|input| independent_parts(input, fit.covariance_from(input, Pose::NUMBERS)))
        .collect();
    let slope = pose.slope_x.hypot(pose.slope_y);
    let (dx, dy) = if slope > 1e-6 { (pose.slope_x / slope, pose.slope_y / slope) } else { (1.0, 0.0) };
    let variance: f64 = effects.iter().map(|e| (e.change[1] * dx + e.change[2] * dy).powi(2)).sum();
    let tilt_sigma_deg = (variance.sqrt() / (1.0 + slope * slope)).to_degrees();
    Some(PlaneEstimate { pose, frame: *frame, map, effects, tilt_sigma_deg, graduation_misfit: misfit })
}

/// Splits a covariance into independent signed changes (its eigenvectors times the roots of its eigenvalues).
fn independent_parts(input: PlaneInput, covariance: DMatrix<f64>) -> Vec<PlaneEffect> {
    let eigen = SymmetricEigen::new(covariance);
    let largest = eigen.eigenvalues.iter().fold(0.0f64, |a, b| a.max(*b));
    (0..Pose::NUMBERS)
        .filter(|&i| eigen.eigenvalues[i] > 1e-12 * largest && eigen.eigenvalues[i] > 0.0)
        .map(|i| {
            let root = eigen.eigenvalues[i].sqrt();
            PlaneEffect { input, change: std::array::from_fn(|j| eigen.eigenvectors[(j, i)] * root) }
        })
        .collect()
}

/// A level camera at the distance that gives the longest scale its length.
fn first_pose(scales: &Scales, prior: &CameraPrior) -> Option<Pose> {
    let (px, mm) = scales.longest()?;
    let depth = prior.focal_px * mm / px;
    Some(Pose {
        ln_inverse_depth: -depth.ln(),
        slope_x: 0.0,
        slope_y: 0.0,
        ln_focal: prior.focal_px.ln(),
        k1: 0.0,
        axis_x: 0.0,
        axis_y: 0.0,
    })
}

/// One point of a scale: its place on the scale's own straight or square axes, and where the photo shows it.
struct ScalePoint {
    line: usize,
    along_mm: f64,
    across_mm: f64,
    at: PhotoPoint,
    along_sigma_px: f64,
    across_sigma_px: f64,
}

/// Two places on a mark: as far along the scale as each other, but for how square the marks stand.
struct ScaleTip {
    from: PhotoPoint,
    at: PhotoPoint,
    sigma_px: f64,
}

/// From the first to the last mark of a train, in px.
fn course(train: &GraduationTrain) -> Option<(f64, f64)> {
    let (a, b) = (train.marks.first()?.at, train.marks.last()?.at);
    Some((b.x - a.x, b.y - a.y))
}

/// Scales of known lengths: parallel straight lines (or one square grid) with a common direction.
struct Scales {
    points: Vec<ScalePoint>,
    tips: Vec<ScaleTip>,
    lines: usize,
}

impl Scales {
    fn of(evidence: &ScaleEvidence) -> Option<Self> {
        let scales = match evidence {
            ScaleEvidence::Ruler(reading) => Self::of_ruler(reading)?,
            ScaleEvidence::Grid(grid) => {
                let points = grid.corners.iter().map(|(i, j, at)| ScalePoint {
                    line: 0,
                    along_mm: f64::from(*i) * grid.pitch_mm,
                    across_mm: f64::from(*j) * grid.pitch_mm,
                    at: *at,
                    along_sigma_px: grid.sigma_px.max(ALONG_FLOOR_PX),
                    across_sigma_px: grid.sigma_px.max(ALONG_FLOOR_PX),
                });
                Self { points: points.collect(), tips: Vec::new(), lines: 1 }
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
                Self { points: vec![end(0.0, span.from), end(span.length_mm, span.to)], tips: Vec::new(), lines: 1 }
            }
        };
        (scales.points.len() >= 2).then_some(scales)
    }

    fn of_ruler(reading: &RulerReading) -> Option<Self> {
        let leading = reading.trains.first().and_then(course)?;
        let mut scales = Self { points: Vec::new(), tips: Vec::new(), lines: reading.trains.len() };
        for (line, train) in reading.trains.iter().enumerate() {
            // The second edge of a ruler may count the other way.
            let own = course(train)?;
            let step_mm = (own.0 * leading.0 + own.1 * leading.1).signum() * train.pitch_mm;
            let first = train.marks.first()?.index;
            let shared = (train.marks.len() as f64 / BASE_LINE_PLACES).sqrt().max(1.0);
            scales.points.extend(train.marks.iter().map(|mark| ScalePoint {
                line,
                along_mm: step_mm * f64::from(mark.index - first),
                across_mm: 0.0,
                at: mark.at,
                along_sigma_px: mark.along_sigma_px.max(ALONG_FLOOR_PX),
                across_sigma_px: ACROSS_SIGMA_PX * shared,
            }));
            scales.tips.extend(train.tips.iter().map(|tip| ScaleTip {
                from: tip.from,
                at: tip.at,
                sigma_px: tip.along_sigma_px.max(ALONG_FLOOR_PX),
            }));
        }
        Some(scales)
    }

    /// Direction, squareness, and an origin for each line.
    fn parameters(&self) -> usize {
        2 + 2 * self.lines
    }

    /// The two points of one line that lie farthest apart: their distance in px and in mm.
    fn longest(&self) -> Option<(f64, f64)> {
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
    fn start(&self, map: &PlaneMap) -> Option<Vec<f64>> {
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
    fn residuals(&self, map: &PlaneMap, place: &[f64], misfit: f64, out: &mut Vec<f64>) -> Option<()> {
        let (sin, cos) = place[0].sin_cos();
        for p in &self.points {
            let (x, y) = (place[2 + 2 * p.line], place[3 + 2 * p.line]);
            let on_plane =
                PlanePoint::new(x + cos * p.along_mm - sin * p.across_mm, y + sin * p.along_mm + cos * p.across_mm);
            let seen = map.to_photo(on_plane)?;
            let step = map.photo_per_plane(on_plane)? * nalgebra::Vector2::new(cos, sin);
            let length = step.norm().max(1e-12);
            let (ux, uy) = (step.x / length, step.y / length);
            let (dx, dy) = (seen.x - p.at.x, seen.y - p.at.y);
            out.push((dx * ux + dy * uy) / (p.along_sigma_px * misfit));
            out.push((dy * ux - dx * uy) / p.across_sigma_px);
        }
        for tip in &self.tips {
            let (from, at) = (map.to_plane(tip.from)?, map.to_plane(tip.at)?);
            let (dx, dy) = (at.x - from.x, at.y - from.y);
            let (along, across) = (cos * dx + sin * dy, cos * dy - sin * dx);
            let px_per_mm = (map.photo_per_plane(at)? * nalgebra::Vector2::new(cos, sin)).norm();
            out.push((along - place[1] * across) * px_per_mm / tip.sigma_px);
        }
        out.push(place[1] / SQUARENESS_SIGMA);
        Some(())
    }
}

/// Counts over the fabric: a lattice with slow drift, in coordinates about the middle of the region.
struct Lattice {
    counts: Vec<CountSeen>,
    middle: PhotoPoint,
    /// Standard deviation of each second-order coefficient, in the order of [`Lattice::terms`]: x², xy, y² for stitches,
    /// the same for rows, along the lattice's own axes.
    second_order_sigma: [f64; 6],
    /// Unit vectors of the stitch and row direction in the plane.
    axes: [[f64; 2]; 2],
}

impl Lattice {
    /// Parameters: constant and two slopes for stitches, three second-order terms, then the same for rows.
    const PARAMETERS: usize = 12;

    fn of(counts: &[CountSeen]) -> Option<Self> {
        if counts.len() < 8 {
            return None;
        }
        let n = counts.len() as f64;
        let middle = PhotoPoint::new(
            counts.iter().map(|c| c.at.x).sum::<f64>() / n,
            counts.iter().map(|c| c.at.y).sum::<f64>() / n,
        );
        Some(Self { counts: counts.to_vec(), middle, second_order_sigma: [1.0; 6], axes: [[1.0, 0.0], [0.0, 1.0]] })
    }

    /// An affine lattice by least squares under a map; second-order terms zero.
    fn start(&self, map: &PlaneMap) -> Option<Vec<f64>> {
        let middle = map.to_plane(self.middle)?;
        let mut out = vec![0.0; Self::PARAMETERS];
        let n = self.counts.len();
        let mut a = DMatrix::zeros(n, 3);
        let mut b = DMatrix::zeros(n, 2);
        for (i, c) in self.counts.iter().enumerate() {
            let p = map.to_plane(c.at)?;
            a[(i, 0)] = 1.0;
            a[(i, 1)] = p.x - middle.x;
            a[(i, 2)] = p.y - middle.y;
            b[(i, 0)] = c.stitches;
            b[(i, 1)] = c.rows;
        }
        let solution = a.svd(true, true).solve(&b, 1e-12).ok()?;
        for k in 0..3 {
            out[k] = solution[(k, 0)];
            out[6 + k] = solution[(k, 1)];
        }
        Some(out)
    }

    /// Drift is a share of the density, so its absolute size follows from the first lattice.
    fn with_drift_scale(mut self, start: &[f64]) -> Self {
        for (axis, at) in [(0, 0), (1, 6)] {
            let (fx, fy) = (start[at + 1], start[at + 2]);
            let density = fx.hypot(fy).max(1e-9);
            self.axes[axis] = [fx / density, fy / density];
            let drift = density * DRIFT_SIGMA_PER_100MM / 100.0;
            let bow = density * BOW_SIGMA_PER_100MM / 100.0;
            // Density f(1 + d·x/100 mm) integrates to f d x²/200 along the axis; across it, to f d xy/100; a bow is y²/200.
            let (own, other) = if axis == 0 { (0, 2) } else { (5, 3) };
            self.second_order_sigma[own] = drift / 2.0;
            self.second_order_sigma[if axis == 0 { 1 } else { 4 }] = drift;
            self.second_order_sigma[other] = bow / 2.0;
        }
        self
    }

    fn terms(&self, p: PlanePoint, middle: PlanePoint) -> [f64; 6] {
        let (x, y) = (p.x - middle.x, p.y - middle.y);
        let s = self.axes[0][0] * x + self.axes[0][1] * y;
        let r = self.axes[1][0] * x + self.axes[1][1] * y;
        [1.0, x, y, s * s, s * r, r * r]
    }

    fn residuals(&self, map: &PlaneMap, parameters: &[f64], out: &mut Vec<f64>) -> Option<()> {
        let middle = map.to_plane(self.middle)?;
        for c in &self.counts {
            let terms = self.terms(map.to_plane(c.at)?, middle);
            let value = |at: usize| terms.iter().zip(&parameters[at..at + 6]).map(|(t, p)| t * p).sum::<f64>();
            out.push((value(0) - c.stitches) / c.stitches_sigma);
            out.push((value(6) - c.rows) / c.rows_sigma);
        }
        for (k, sigma) in self.second_order_sigma.iter().enumerate() {
            let at = if k < 3 { 3 + k } else { 6 + k };
            out.push(parameters[at] / sigma);
        }
        Some(())
    }
}

struct PlaneModel<'a> {
    frame: Frame,
    prior: &'a CameraPrior,
    scales: Scales,
    lattice: Option<Lattice>,
    misfit: f64,
}

impl PlaneModel<'_> {
    /// Root mean square of the along-scale residuals, with the parameters that the scales alone determine counted: two
    /// for each line, scale, gradient and curvature. 1 where too few points are left to tell.
    fn along_misfit(&self, fit: &Fit<PlaneInput>) -> f64 {
        let along: Vec<f64> = fit.residuals_of(PlaneInput::Graduations).step_by(2).collect();
        let free = along.len() as f64 - 3.0 - self.scales.lines as f64;
        if free < 4.0 { 1.0 } else { (along.iter().map(|r| r * r).sum::<f64>() / free).sqrt() }
    }
}

impl Model for PlaneModel<'_> {
    type Input = PlaneInput;

    fn residuals(&self, parameters: &[f64]) -> Option<Vec<f64>> {
        let pose = pose_of(parameters);
        let map = pose.map(&self.frame)?;
        let mut out = vec![
            pose.slope_x / TILT_SIGMA,
            pose.slope_y / TILT_SIGMA,
            (pose.ln_focal - self.prior.focal_px.ln()) / self.prior.focal_relative,
            pose.k1 / LENS_SIGMA,
            pose.axis_x / self.prior.axis_sigma,
            pose.axis_y / self.prior.axis_sigma,
        ];
        let place = Pose::NUMBERS + self.scales.parameters();
        self.scales.residuals(&map, &parameters[Pose::NUMBERS..place], self.misfit, &mut out)?;
        if let Some(lattice) = &self.lattice {
            lattice.residuals(&map, &parameters[place..], &mut out)?;
        }
        out.iter().all(|v| v.is_finite()).then_some(out)
    }

    fn inputs(&self) -> Vec<PlaneInput> {
        let mut out = vec![
            PlaneInput::TiltHabit,
            PlaneInput::TiltHabit,
            PlaneInput::FocalLength,
            PlaneInput::Lens,
            PlaneInput::OpticalAxis,
            PlaneInput::OpticalAxis,
        ];
        out.extend(std::iter::repeat_n(PlaneInput::Graduations, 2 * self.scales.points.len()));
        out.extend(std::iter::repeat_n(PlaneInput::MarkDirections, self.scales.tips.len() + 1));
        if let Some(lattice) = &self.lattice {
            out.extend(std::iter::repeat_n(PlaneInput::Stitches, 2 * lattice.counts.len()));
            out.extend([PlaneInput::Drift; 6]);
        }
        out
    }

    fn steps(&self) -> Vec<f64> {
        let mut out = vec![1e-5; Pose::NUMBERS + 2];
        out.extend(std::iter::repeat_n(1e-3, 2 * self.scales.lines));
        if self.lattice.is_some() {
            out.extend([1e-3, 1e-6, 1e-6, 1e-8, 1e-8, 1e-8, 1e-3, 1e-6, 1e-6, 1e-8, 1e-8, 1e-8]);
        }
        out
    }
}
