//! A lens as it was measured: its radial terms, how sure they are, and which photos they hold for.

use super::CameraPrior;
use serde::{Deserialize, Serialize};

/// Name and version of the profile's format.
const SCHEMA: &str = "walewise.lens/1";

/// What the terms mean, for people who read the file.
pub(super) const MODEL: &str = "distorted = centre + (undistorted - centre) * (1 + k1 r^2 + k2 r^4), r in halves of the \
                                photo's diagonal from its centre";

/// Part of the lens term that changes with focus and temperature from one photo to the next, relative at the corner: a
/// stated choice, an eighth of what is assumed of an unknown lens.
const BETWEEN_PHOTOS: f64 = 0.002;

/// Largest terms that a profile may hold: a fisheye has not more.
const LARGEST_TERM: f64 = 0.5;

/// How far apart the shapes of two pictures of one camera are at most.
const SHAPE_MARGIN: f64 = 0.01;

/// How far apart stated focal lengths of one lens are at most: they are stated in whole mm of about 25.
const FOCAL_MARGIN: f64 = 0.05;

/// A number of the lens and how sure it is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LensTerm {
    /// Its value.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
}

/// The radial distortion of one camera at one focal length.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LensProfile {
    /// Always `walewise.lens/1`.
    pub schema: String,
    /// Version of the program that measured.
    pub version: String,
    /// What the terms mean, in words.
    pub model: String,
    /// First radial coefficient; r in halves of the photo's diagonal.
    pub k1: LensTerm,
    /// Second radial coefficient.
    pub k2: LensTerm,
    /// Correlation of the errors of `k1` and `k2`, −1 to 1.
    pub correlation: f64,
    /// Longer over shorter side of the photos.
    pub aspect_ratio: f64,
    /// Width and height of the photos, in px, the longer side first.
    pub photo_size_px: [u32; 2],
    /// Focal length as EXIF states it for 35 mm film, in mm; `None` where the photos do not say.
    pub focal_length_35mm: Option<f64>,
    /// Focal length as it was measured, in halves of the photo's diagonal.
    pub focal_length_half_diagonals: LensTerm,
    /// Photos that were used.
    pub photos: usize,
    /// Corners of the card that were used, over all photos.
    pub corners: usize,
    /// Root mean square of the corners about the fit, each way, in px.
    pub residual_px: f64,
}

/// Why a text is no lens profile.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProfileError(String);

impl std::fmt::Display for ProfileError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for ProfileError {}

/// Why a profile does not hold for a photo, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LensMismatch(pub String);

impl LensProfile {
    /// Name and version of the format.
    pub const SCHEMA: &'static str = SCHEMA;

    /// Reads a profile and checks that its numbers can be a lens's.
    ///
    /// # Errors
    /// Where the text is no JSON, no profile of this version, or holds numbers that no lens has.
    pub fn from_json(text: &str) -> Result<Self, ProfileError> {
        let wrong = |what: String| ProfileError(what);
        let schema = serde_json::from_str::<serde_json::Value>(text)
            .map_err(|e| wrong(format!("not JSON: {e}")))?
            .get("schema")
            .and_then(|s| s.as_str().map(str::to_owned));
        if schema.as_deref() != Some(SCHEMA) {
            return Err(wrong(format!("not a lens profile: \"schema\" is not \"{SCHEMA}\"")));
        }
        let profile: Self = serde_json::from_str(text).map_err(|e| wrong(format!("not a whole lens profile: {e}")))?;
        profile.check().map_err(|what| wrong(format!("no lens has this: {what}")))?;
        Ok(profile)
    }

    /// The profile as JSON text of several lines.
    pub fn to_json(&self) -> String {
        // Plain numbers and words can always be written.
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }

    fn check(&self) -> Result<(), &'static str> {
        let term =
            |t: &LensTerm| t.value.abs() <= LARGEST_TERM && (0.0..=LARGEST_TERM).contains(&t.standard_uncertainty);
        if !term(&self.k1) || !term(&self.k2) {
            return Err("k1 and k2 must lie within 0.5 of 0");
        }
        if !(-1.0..=1.0).contains(&self.correlation) {
            return Err("a correlation lies between -1 and 1");
        }
        if !(1.0..=4.0).contains(&self.aspect_ratio) {
            return Err("the aspect ratio of photos lies between 1 and 4");
        }
        if self.focal_length_35mm.is_some_and(|f| !(5.0..=1000.0).contains(&f)) {
            return Err("the focal length must lie between 5 and 1000 mm");
        }
        let focal = &self.focal_length_half_diagonals;
        if !(0.2..=100.0).contains(&focal.value) || !(0.0..=100.0).contains(&focal.standard_uncertainty) {
            return Err("the measured focal length must lie between 0.2 and 100 half-diagonals");
        }
        if !(0.0..=1e6).contains(&self.residual_px) {
            return Err("the residual must not be negative");
        }
        Ok(())
    }

    /// Standard uncertainty of `k1` when `k2` is taken as it is: that of the whole term, expressed in `k1` by least squares
    /// over the area of the picture. With x = r² even over the area and an error e1 x + e2 x², the slope that fits best is
    /// e1 + ¾ e2 (weights x dx), which makes u² = u1² + 3/2 ρ u1 u2 + 9/16 u2².
    pub fn k1_sigma(&self) -> f64 {
        let (u1, u2) = (self.k1.standard_uncertainty, self.k2.standard_uncertainty);
        let square = u1 * u1 + 1.5 * self.correlation * u1 * u2 + 0.5625 * u2 * u2;
        square.max(0.0).sqrt().hypot(BETWEEN_PHOTOS)
    }

    /// Whether the profile holds for a photo of this size and stated focal length; a focal length that either does not
    /// say can't be compared.
    ///
    /// # Errors
    /// Where shape or focal length differ.
    pub fn check_photo(
        &self,
        width_px: u32,
        height_px: u32,
        focal_length_35mm: Option<f64>,
    ) -> Result<(), LensMismatch> {
        let shape = aspect_ratio(width_px, height_px);
        if (shape / self.aspect_ratio - 1.0).abs() > SHAPE_MARGIN {
            return Err(LensMismatch(format!(
                "the lens profile is for photos of shape {:.3}, this one has {shape:.3}: another camera setting, or the \
                 photo was cut",
                self.aspect_ratio
            )));
        }
        match (self.focal_length_35mm, focal_length_35mm) {
            (Some(own), Some(photo)) if (photo / own - 1.0).abs() > FOCAL_MARGIN => Err(LensMismatch(format!(
                "the lens profile is for a focal length of {own:.0} mm (35 mm film), the photo has {photo:.0} mm: \
                 another lens or zoom"
            ))),
            _ => Ok(()),
        }
    }
}

/// Longer over shorter side.
pub(super) fn aspect_ratio(width_px: u32, height_px: u32) -> f64 {
    let (w, h) = (f64::from(width_px.max(1)), f64::from(height_px.max(1)));
    w.max(h) / w.min(h)
}

/// Whether two cameras can have taken photos for one profile: shape and focal length alike.
pub(super) fn alike(a: &CameraPrior, b: &CameraPrior) -> bool {
    let shape = |c: &CameraPrior| aspect_ratio((2.0 * c.centre.x) as u32, (2.0 * c.centre.y) as u32);
    let focal = |c: &CameraPrior| c.focal_px / c.half_diagonal_px;
    (shape(a) / shape(b) - 1.0).abs() <= SHAPE_MARGIN && (focal(a) / focal(b) - 1.0).abs() <= FOCAL_MARGIN
}
