//! The plane from all evidence at once: graduations, the lattice's gradient, the lens, and what is usual.
//!
//! One least-squares fit holds the camera's numbers (see [`Pose`]), the place of each scale in the plane, and the
//! lattice with a slow drift of tension. What is only usual (tilt, focal length, lens, drift) enters as a prior with its
//! standard uncertainty, so evidence and habit are weighed by how sure they are, and the effect of every input on the
//! camera is known afterwards: that is the plane's part of the uncertainty budget.

use super::drift::DriftingLattice;
use super::least_squares::{Fit, Model, minimise};
use super::scales::Scales;
use super::{CameraPrior, CountSeen, Frame, PlaneMap, Pose, ScaleEvidence};
use nalgebra::{DMatrix, SymmetricEigen};

/// Standard deviation of each component of the tilt's tangent before anything is seen: people hold a phone within about
/// 10° of level, seldom beyond 20° (common practice, no source).
const TILT_SIGMA: f64 = 0.20;

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
    /// Standard uncertainty of the tilt, in degrees, in the direction in which it is known least.
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

/// How much nearer, in squared standard uncertainties, the marks must lie to an arc, and run across it, than to a straight line,
/// where a ruler is not known for a tape (stated choice: a chance of one in two thousand). Their places along it do not count:
/// tilt and lens move those. Measured on photos of a renderer written apart: eight tapes in arcs of three to five metres 18 to
/// 157; of rulers whose marks' spacing alone an arc suits better 7 at most.
const SURELY_BENT: f64 = 12.0;

/// Fits the plane to everything that is known. `None` where the evidence holds no length at all, or contradicts itself
/// beyond what a plane can show.
pub fn estimate(scale: &ScaleEvidence, prior: &CameraPrior, counts: &[CountSeen]) -> Option<PlaneEstimate> {
    let frame = prior.frame();
    let mut model = PlaneModel { frame, prior, scales: Scales::of(scale)?, lattice: None, misfit: Misfit::NONE };
    let straight = fit_scales(&model)?;
    let (mut fit, mut misfit) = believed(&mut model, straight)?;
    let bends_by = match scale {
        ScaleEvidence::Ruler(_) => SURELY_BENT,
        // A tape's own course is straight at best, however little of an arc is seen.
        ScaleEvidence::Tape(_) => f64::NEG_INFINITY,
        ScaleEvidence::Grid(_) | ScaleEvidence::Places(_) | ScaleEvidence::Span(_) => f64::INFINITY,
    };
    if bends_by < f64::INFINITY
        && let Some(bent) = fit_bent(&mut model, &fit, bends_by)
    {
        (fit, misfit) = bent;
    }
    if let Some(lattice) = DriftingLattice::of(counts) {
        let pose = pose_of(&fit.parameters);
        let lattice_start = lattice.start(&pose.map(&frame)?)?;
        model.lattice = Some(lattice.with_drift_scale(&lattice_start));
        let mut start = fit.parameters.clone();
        start.extend(lattice_start);
        fit = fit_lattice(&mut model, &start)?;
    }
    finish(&fit, &frame, misfit.graduations)
}

/// The fit to the scales alone, from as many starts as it takes.
fn fit_scales(model: &PlaneModel) -> Option<Fit<PlaneInput>> {
    let mut best: Option<(f64, Fit<PlaneInput>)> = None;
    for slopes in START_SLOPES {
        let Some(fit) = fit_scales_from(model, slopes) else { continue };
        let cost: f64 = fit.residuals.iter().map(|r| r * r).sum();
        let good = model.misfit_of(&fit).graduations < GOOD_MISFIT;
        if best.as_ref().is_none_or(|(least, _)| cost < *least) {
            best = Some((cost, fit));
        }
        if good {
            break;
        }
    }
    best.map(|(_, fit)| fit)
}

/// The fit once more, with readings that scatter more than they say believed accordingly less (Birge 1932), and how much more.
fn believed(model: &mut PlaneModel, fit: Fit<PlaneInput>) -> Option<(Fit<PlaneInput>, Misfit)> {
    let misfit = model.misfit_of(&fit);
    model.misfit = Misfit { graduations: misfit.graduations.max(1.0), directions: misfit.directions.max(1.0) };
    let as_said = misfit.graduations.max(misfit.directions) <= 1.0;
    let fit = if as_said { fit } else { minimise(model, &fit.parameters)? };
    Some((fit, misfit))
}

/// The fit to a tape that lies in an arc, where that explains what was read better by so much than a straight ruler does, with what
/// its readings scatter.
fn fit_bent(model: &mut PlaneModel, straight: &Fit<PlaneInput>, least: f64) -> Option<(Fit<PlaneInput>, Misfit)> {
    let off_its_line = |fit: &Fit<PlaneInput>| {
        let across = fit.residuals_of(PlaneInput::Graduations).skip(1).step_by(2);
        across.chain(fit.residuals_of(PlaneInput::MarkDirections)).map(|r| r * r).sum::<f64>()
    };
    let straight_misfit = model.misfit;
    let mut start = straight.parameters.clone();
    start.push(0.0);
    (model.scales.bends, model.misfit) = (true, Misfit::NONE);
    let bent = minimise(model, &start).and_then(|bent| believed(model, bent));
    // Both by the same measure of scatter.
    model.scales.bends = false;
    let as_straight = minimise(model, &straight.parameters);
    if let (Some((bent, misfit)), Some(as_straight)) = (bent, as_straight)
        && off_its_line(&as_straight) - off_its_line(&bent) > least
    {
        model.scales.bends = true;
        return Some((bent, misfit));
    }
    model.misfit = straight_misfit;
    None
}

fn fit_scales_from(model: &PlaneModel, slopes: (f64, f64)) -> Option<Fit<PlaneInput>> {
    let level = first_pose(&model.scales, model.prior)?;
    let pose = Pose { slope_x: slopes.0, slope_y: slopes.1, ..level };
    let mut start = pose.to_array().to_vec();
    start.extend(model.scales.start(&pose.map(&model.frame)?)?);
    minimise(model, &start)
}

/// The fit to scales and lattice. Fabric that drifts farther than is usual, or counts that scatter more than they say,
/// are believed accordingly less.
fn fit_lattice(model: &mut PlaneModel, start: &[f64]) -> Option<Fit<PlaneInput>> {
    /// Rounds after which the factors have settled.
    const ROUNDS: usize = 8;
    let mut fit = minimise(model, start)?;
    for _ in 0..ROUNDS {
        let Some(lattice) = &mut model.lattice else { break };
        let (counts, drift) = (fit.residuals_of(PlaneInput::Stitches), fit.residuals_of(PlaneInput::Drift));
        let Some(wider) = lattice.wider(counts, drift) else { break };
        lattice.widen(wider);
        fit = minimise(model, &fit.parameters)?;
    }
    Some(fit)
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
    let sum = |of: fn(&[f64; Pose::NUMBERS]) -> f64| effects.iter().map(|e| of(&e.change)).sum::<f64>();
    let (xx, xy, yy) = (sum(|c| c[1] * c[1]), sum(|c| c[1] * c[2]), sum(|c| c[2] * c[2]));
    // The larger root of the slopes' 2 × 2 covariance.
    let largest = (xx + yy) / 2.0 + ((xx - yy) / 2.0).hypot(xy);
    let flattened = 1.0 + pose.slope_x.powi(2) + pose.slope_y.powi(2);
    let tilt_sigma_deg = (largest.sqrt() / flattened).to_degrees();
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
        k1: prior.k1,
        axis_x: 0.0,
        axis_y: 0.0,
    })
}

/// Root mean squares of what was read along the scales over its stated uncertainty.
#[derive(Debug, Clone, Copy)]
pub(super) struct Misfit {
    pub graduations: f64,
    pub directions: f64,
}

impl Misfit {
    const NONE: Self = Self { graduations: 1.0, directions: 1.0 };
}

struct PlaneModel<'a> {
    frame: Frame,
    prior: &'a CameraPrior,
    scales: Scales,
    lattice: Option<DriftingLattice>,
    misfit: Misfit,
}

impl PlaneModel<'_> {
    /// With the parameters that the scales alone determine counted: an origin for each line, scale, gradient and curvature
    /// for the graduations; a slope, its change and curvature for the directions.
    fn misfit_of(&self, fit: &Fit<PlaneInput>) -> Misfit {
        let along = fit.residuals_of(PlaneInput::Graduations).step_by(2);
        let directions = fit.residuals_of(PlaneInput::MarkDirections).take(self.scales.tips.len());
        Misfit {
            graduations: root_mean_square(along, 3 + self.scales.lines),
            directions: root_mean_square(directions, 3),
        }
    }
}

/// Root mean square of normalised residuals when `used` of them were used up by parameters; 1 where too few are left.
fn root_mean_square(residuals: impl Iterator<Item = f64>, used: usize) -> f64 {
    let (n, sum) = residuals.fold((0usize, 0.0), |(n, sum), r| (n + 1, sum + r * r));
    if n < used + 4 { 1.0 } else { (sum / (n - used) as f64).sqrt() }
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
            (pose.k1 - self.prior.k1) / self.prior.k1_sigma,
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
        out.extend(std::iter::repeat_n(
            PlaneInput::MarkDirections,
            self.scales.tips.len() + 1 + usize::from(self.scales.bends),
        ));
        if let Some(lattice) = &self.lattice {
            out.extend(std::iter::repeat_n(PlaneInput::Stitches, 2 * lattice.counts.len()));
            out.extend([PlaneInput::Drift; 6]);
        }
        out
    }

    fn steps(&self) -> Vec<f64> {
        let mut out = vec![1e-5; Pose::NUMBERS];
        out.extend(self.scales.steps());
        if self.lattice.is_some() {
            out.extend([1e-3, 1e-6, 1e-6, 1e-8, 1e-8, 1e-8, 1e-3, 1e-6, 1e-6, 1e-8, 1e-8, 1e-8]);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{PhotoPoint, PlanePoint};
    use crate::ruler::{Graduation, GraduationTrain, MarkTip, RulerReading, RulerUnit};

    const PRIOR: (u32, u32, f64) = (3000, 2000, 26.0);

    /// A camera at 300 mm, tilted across the ruler and a little along it.
    fn tilted() -> (CameraPrior, Pose) {
        let prior = CameraPrior::new(PRIOR.0, PRIOR.1, Some(PRIOR.2));
        let pose = Pose {
            ln_inverse_depth: -300f64.ln(),
            slope_x: 0.05,
            slope_y: 0.2,
            ln_focal: prior.focal_px.ln(),
            k1: -0.004,
            axis_x: 0.0,
            axis_y: 0.0,
        };
        (prior, pose)
    }

    /// A ruler of 150 mm seen without error, its marks of 3 mm square to its edge.
    fn reading(map: &PlaneMap) -> RulerReading {
        let at = |i: i32, across: f64| map.to_photo(PlanePoint::new(f64::from(i) - 75.0, 60.0 + across)).unwrap();
        let mark = |index| Graduation { index, at: at(index, 0.0), along_sigma_px: 0.1, length_px: 20.0 };
        let tip = |index| MarkTip { index, from: at(index, 0.7), at: at(index, 2.3), along_sigma_px: 0.15 };
        let train = GraduationTrain {
            unit: RulerUnit::Cm,
            pitch_mm: 1.0,
            marks: (0..=150).map(mark).collect(),
            tips: (0..=150).map(tip).collect(),
            mark_direction: (0.0, 1.0),
            residual_rms_px: 0.1,
            hierarchy: 1.0,
        };
        RulerReading { trains: vec![train], outline_px: Vec::new() }
    }

    #[test]
    fn mark_directions_show_the_tilt_across_the_ruler() {
        let (prior, pose) = tilted();
        let frame = prior.frame();
        let map = pose.map(&frame).unwrap();
        let mut reading = reading(&map);
        let with = estimate(&ScaleEvidence::Ruler(&reading), &prior, &[]).unwrap();
        reading.trains[0].tips.clear();
        let without = estimate(&ScaleEvidence::Ruler(&reading), &prior, &[]).unwrap();
        assert!((with.pose.slope_y - 0.2).abs() < 0.01, "{:?}", with.pose);
        assert!(
            with.tilt_sigma_deg < 2.0 && without.tilt_sigma_deg > 5.0,
            "{} {}",
            with.tilt_sigma_deg,
            without.tilt_sigma_deg
        );
        // The scale at the far side of the photo, which hangs on the tilt.
        let far = PhotoPoint::new(1500.0, 400.0);
        let scale = |m: &PlaneMap| m.px_per_mm(m.to_plane(far).unwrap()).unwrap();
        assert!((scale(&with.map) / scale(&map)).ln().abs() < 0.002);
    }

    /// A tape of 250 mm with marks along both edges in an arc of 4 m: edges and marks turn about one point.
    #[test]
    fn a_tape_in_an_arc_is_no_tilt() {
        let (prior, pose) = tilted();
        let map = pose.map(&prior.frame()).unwrap();
        let (radius, width) = (4000.0, 16.0);
        let at = |index: i32, across: f64| {
            let turned = (f64::from(index) - 125.0) / radius;
            let r = radius - across + width / 2.0;
            map.to_photo(PlanePoint::new(r * turned.sin(), 40.0 + radius - r * turned.cos())).unwrap()
        };
        let edge = |from: f64, inwards: f64| {
            let mark = |index| Graduation { index, at: at(index, from), along_sigma_px: 0.1, length_px: 20.0 };
            let tip = |index| {
                let along = |more: f64| at(index, from + inwards * more);
                MarkTip { index, from: along(0.7), at: along(2.3), along_sigma_px: 0.15 }
            };
            GraduationTrain {
                marks: (0..=250).map(mark).collect(),
                tips: (0..=250).map(tip).collect(),
                mark_direction: (0.0, inwards),
                ..reading(&map).trains.remove(0)
            }
        };
        let tape = RulerReading { trains: vec![edge(0.0, 1.0), edge(width, -1.0)], outline_px: Vec::new() };
        let seen = estimate(&ScaleEvidence::Ruler(&tape), &prior, &[]).unwrap();
        let (dx, dy) = (seen.pose.slope_x - pose.slope_x, seen.pose.slope_y - pose.slope_y);
        assert!(dx.hypot(dy) < 0.01, "{:?}", seen.pose);
        let middle = at(125, width / 2.0);
        let scale = |m: &PlaneMap| m.px_per_mm(m.to_plane(middle).unwrap()).unwrap();
        assert!((scale(&seen.map) / scale(&map)).ln().abs() < 0.0005);
    }

    #[test]
    fn inputs_add_up_to_what_is_left_unknown() {
        let (prior, pose) = tilted();
        let frame = prior.frame();
        let reading = reading(&pose.map(&frame).unwrap());
        let estimate = estimate(&ScaleEvidence::Ruler(&reading), &prior, &[]).unwrap();
        let part = |input| {
            let of = estimate.effects.iter().filter(|e| e.input == input);
            of.map(|e| e.change[3].powi(2)).sum::<f64>().sqrt()
        };
        // A ruler hardly tells the focal length: what is known of it is what was stated.
        let focal = part(PlaneInput::FocalLength);
        assert!(focal > 0.5 * prior.focal_relative && focal <= prior.focal_relative, "{focal}");
        assert!(estimate.graduation_misfit < 0.2);
    }
}
