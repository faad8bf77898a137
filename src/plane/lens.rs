//! The lens from photos of the calibration card: one fit of all photos, in which each has its own pose and all share the
//! lens (Zhang 2000, with the pose's numbers of [`Pose`]).

use super::least_squares::{Fit, Model, minimise};
use super::lens_profile::{MODEL, alike, aspect_ratio};
use super::{CameraPrior, LensProfile, LensTerm, Pose, ScaleEvidence};
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::ruler::CardReading;

/// Most photos of one profile: the fit's time grows with the square of their number, its sureness with the root.
const MOST_PHOTOS: usize = 40;

/// Spread of the second radial term of lenses, before it is measured: as that of the first (a stated choice).
const K2_SIGMA: f64 = 0.05;

/// Spread of the first, likewise: wide, so that the photos decide.
const K1_SIGMA: f64 = 0.1;

/// How unequally a printer may scale the two directions of a sheet, relative: half a millimetre in 150 mm (a stated
/// choice; it is fitted, since unequal scales look like tilt).
const PRINT_SIGMA: f64 = 0.003;

/// Share of the photo's half-diagonal that the corners must reach: what lies beyond is guessed.
const LEAST_REACH: f64 = 0.55;

/// Fewest corners of all photos together.
const LEAST_CORNERS: usize = 60;

/// One photo of the card.
#[derive(Debug, Clone)]
pub struct CardPhoto {
    /// What was read.
    pub card: CardReading,
    /// What is known of the camera.
    pub camera: CameraPrior,
    /// Width and height, in px.
    pub size_px: (u32, u32),
    /// Focal length as EXIF states it for 35 mm film, in mm.
    pub focal_length_35mm: Option<f64>,
}

/// Why photos give no lens profile.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LensError {
    /// The photo of this number (from 0) is of another camera, lens or setting than the first.
    Unlike(usize),
    /// More photos than one fit takes.
    TooMany,
    /// The card reaches too little of the picture in all photos together; the share of the half-diagonal, in per cent.
    TooCentral(u32),
    /// Too few corners, or views that contradict each other.
    NoFit,
}

impl std::fmt::Display for LensError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Unlike(_) => write!(f, "the photo has another shape or focal length than the first one"),
            Self::TooMany => write!(f, "more than {MOST_PHOTOS} photos: a tenth of them is enough"),
            Self::TooCentral(percent) => write!(
                f,
                "the card reaches only {percent} % of the way to the picture's corners: go closer, or let it lie in the \
                 corners of the picture in some photos"
            ),
            Self::NoFit => write!(f, "too little of the card was read, or the card was bent between the photos"),
        }
    }
}

impl std::error::Error for LensError {}

/// Measures the lens.
///
/// # Errors
/// Where the photos are not of one camera, or show too little.
pub fn measure_lens(photos: &[CardPhoto]) -> Result<LensProfile, LensError> {
    if photos.len() > MOST_PHOTOS {
        return Err(LensError::TooMany);
    }
    let first = photos.first().ok_or(LensError::NoFit)?;
    if let Some(other) = photos.iter().position(|p| !alike(&p.camera, &first.camera)) {
        return Err(LensError::Unlike(other));
    }
    let corners: usize = photos.iter().map(|p| p.card.corners.len()).sum();
    let reach = photos
        .iter()
        .flat_map(|p| p.card.corners.iter().map(|c| c.at.distance(p.camera.centre) / p.camera.half_diagonal_px))
        .fold(0.0, f64::max);
    if corners < LEAST_CORNERS {
        return Err(LensError::NoFit);
    }
    if reach < LEAST_REACH {
        return Err(LensError::TooCentral((100.0 * reach) as u32));
    }
    let mut model = LensModel { photos, sigma_scale: 1.0 };
    let start = model.start().ok_or(LensError::NoFit)?;
    let fit = minimise(&model, &start).ok_or(LensError::NoFit)?;
    let (squares, residual_px) = model.residuals_of(&fit);
    let free = (2 * corners).saturating_sub(POSE * photos.len() + SHARED).max(1) as f64;
    // Corners that scatter more than they say are believed less (Birge 1932).
    model.sigma_scale = (squares / free).sqrt().max(1.0);
    let fit = minimise(&model, &fit.parameters).ok_or(LensError::NoFit)?;
    Ok(profile(photos, &fit, corners, residual_px))
}

fn profile(photos: &[CardPhoto], fit: &Fit<()>, corners: usize, residual_px: f64) -> LensProfile {
    let first = &photos[0];
    let covariance = fit.covariance_from((), SHARED);
    let sigma = |k: usize| covariance[(k, k)].max(0.0).sqrt();
    let term = |k: usize| LensTerm { value: fit.parameters[k], standard_uncertainty: sigma(k) };
    let focal = fit.parameters[2].exp() * first.camera.focal_px / first.camera.half_diagonal_px;
    let (w, h) = first.size_px;
    LensProfile {
        schema: LensProfile::SCHEMA.to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        model: MODEL.to_owned(),
        k1: term(0),
        k2: term(1),
        correlation: (covariance[(0, 1)] / (sigma(0) * sigma(1)).max(f64::MIN_POSITIVE)).clamp(-1.0, 1.0),
        aspect_ratio: aspect_ratio(w, h),
        photo_size_px: [w.max(h), w.min(h)],
        focal_length_35mm: first.focal_length_35mm,
        focal_length_half_diagonals: LensTerm { value: focal, standard_uncertainty: focal * sigma(2) },
        photos: photos.len(),
        corners,
        residual_px,
    }
}

/// Numbers that all photos share: k1, k2, logarithm of the focal length over the stated one, how much longer the card's
/// shorter side was printed, and the optical axis (x, y, in half-diagonals along longer and shorter side).
const SHARED: usize = 6;

/// Numbers of each photo: inverse depth, two slopes, the card's direction and place.
const POSE: usize = 6;

struct LensModel<'a> {
    photos: &'a [CardPhoto],
    sigma_scale: f64,
}

impl LensModel<'_> {
    /// Each photo's pose from its own fit, with an unknown lens.
    fn start(&self) -> Option<Vec<f64>> {
        let mut out = vec![0.0; SHARED];
        let (mut k1, mut n) = (0.0, 0.0);
        for photo in self.photos {
            let estimate = super::estimate(&ScaleEvidence::Places(&photo.card.corners), &photo.camera, &[])?;
            let (first, last) = (photo.card.corners.first()?, photo.card.corners.last()?);
            let (a, b) = (estimate.map.to_plane(first.at)?, estimate.map.to_plane(last.at)?);
            let own = (last.across_mm - first.across_mm).atan2(last.along_mm - first.along_mm);
            let angle = (b.y - a.y).atan2(b.x - a.x) - own;
            let (sin, cos) = angle.sin_cos();
            let p = estimate.pose;
            out.extend([p.ln_inverse_depth, p.slope_x, p.slope_y, angle]);
            out.push(a.x - cos * first.along_mm + sin * first.across_mm);
            out.push(a.y - sin * first.along_mm - cos * first.across_mm);
            (k1, n) = (k1 + p.k1, n + 1.0);
        }
        out[0] = k1 / n;
        Some(out)
    }

    /// Where photo `k` shows a place of the card.
    fn seen(&self, k: usize, parameters: &[f64]) -> Option<impl Fn(f64, f64) -> Option<PhotoPoint>> {
        let photo = &self.photos[k];
        let own = &parameters[SHARED + POSE * k..SHARED + POSE * (k + 1)];
        // Upright and sideways photos of one camera: the axis is shifted along the sensor's own sides.
        let upright = photo.size_px.1 > photo.size_px.0;
        let (axis_x, axis_y) = if upright { (parameters[5], parameters[4]) } else { (parameters[4], parameters[5]) };
        let pose = Pose {
            ln_inverse_depth: own[0],
            slope_x: own[1],
            slope_y: own[2],
            ln_focal: photo.camera.focal_px.ln() + parameters[2],
            k1: parameters[0],
            axis_x,
            axis_y,
        };
        let frame = super::Frame { k2: parameters[1], ..photo.camera.frame() };
        let map = pose.map(&frame)?;
        let (sin, cos) = own[3].sin_cos();
        let (x, y, longer) = (own[4], own[5], 1.0 + parameters[3]);
        Some(move |along: f64, across: f64| {
            let across = across * longer;
            map.to_photo(PlanePoint::new(x + cos * along - sin * across, y + sin * along + cos * across))
        })
    }

    /// Sum of squares over the stated uncertainty, and root mean square in px, of the corners' residuals.
    fn residuals_of(&self, fit: &Fit<()>) -> (f64, f64) {
        let own = &fit.residuals[SHARED..];
        let sigmas = self.photos.iter().flat_map(|p| p.card.corners.iter().flat_map(|c| [c.along_sigma_px; 2]));
        let px: f64 = own.iter().zip(sigmas).map(|(r, s)| (r * s * self.sigma_scale).powi(2)).sum();
        (own.iter().map(|r| r * r).sum::<f64>(), (px / own.len().max(1) as f64).sqrt())
    }
}

impl Model for LensModel<'_> {
    type Input = ();

    fn residuals(&self, p: &[f64]) -> Option<Vec<f64>> {
        let camera = &self.photos.first()?.camera;
        let mut out = vec![
            p[0] / K1_SIGMA,
            p[1] / K2_SIGMA,
            p[2] / camera.focal_relative,
            p[3] / PRINT_SIGMA,
            p[4] / camera.axis_sigma,
            p[5] / camera.axis_sigma,
        ];
        for (k, photo) in self.photos.iter().enumerate() {
            let seen = self.seen(k, p)?;
            for c in &photo.card.corners {
                let at = seen(c.along_mm, c.across_mm)?;
                let sigma = c.along_sigma_px * self.sigma_scale;
                out.extend([(at.x - c.at.x) / sigma, (at.y - c.at.y) / sigma]);
            }
        }
        out.iter().all(|v| v.is_finite()).then_some(out)
    }

    fn inputs(&self) -> Vec<()> {
        vec![(); SHARED + self.photos.iter().map(|p| 2 * p.card.corners.len()).sum::<usize>()]
    }

    fn steps(&self) -> Vec<f64> {
        let mut out = vec![1e-5; SHARED];
        for _ in self.photos {
            out.extend([1e-5, 1e-5, 1e-5, 1e-5, 1e-3, 1e-3]);
        }
        out
    }
}
