//! Trains: from a chain of strokes to every graduation along the edge, placed to a fraction of a pixel at full size.

mod between;
mod ground;
mod growth;
mod look;
mod seed;

use super::chain::Chain;
use super::fit::{Curve, IndexFit, quantile, robust_sigma};
use super::ink::Ink;
use crate::quantity::PhotoPoint;
use between::parts_between;
use ground::is_ground_between;
use growth::Growth;
use image::RgbImage;
use seed::Seed;

/// No mark is placed better than this, px: the sampling of the picture by bilinear interpolation (measured on marks
/// drawn without noise).
const SIGMA_FLOOR_PX: f64 = 0.01;

/// Axes along a ruler's edge in the full-size photo.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    origin: (f64, f64),
    along: (f64, f64),
    across: (f64, f64),
}

impl Frame {
    /// Photo point of (u along, v across).
    pub fn point(&self, u: f64, v: f64) -> (f64, f64) {
        (self.origin.0 + self.along.0 * u + self.across.0 * v, self.origin.1 + self.along.1 * u + self.across.1 * v)
    }

    /// (u, v) of a photo point.
    pub fn place(&self, p: (f64, f64)) -> (f64, f64) {
        let (x, y) = (p.0 - self.origin.0, p.1 - self.origin.1);
        (x * self.along.0 + y * self.along.1, x * self.across.0 + y * self.across.1)
    }

    /// Unit vector in the photo of a direction given as (du, dv).
    pub fn direction(&self, du: f64, dv: f64) -> (f64, f64) {
        let l = du.hypot(dv).max(1e-12);
        ((self.along.0 * du + self.across.0 * dv) / l, (self.along.1 * du + self.across.1 * dv) / l)
    }
}

/// One mark of a train.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mark {
    pub index: i32,
    /// Place along the frame where the mark meets the base line, px.
    pub u: f64,
    /// Depth of the mark against its surroundings.
    pub contrast: f32,
    /// Full width at half depth, px.
    pub width_px: f64,
    /// Place across the frame where the ink ends on the base side, px.
    pub base_v: f64,
    /// Length from the base line to the free end, px; contiguous ink only.
    pub length_px: f64,
}

/// A row of evenly spaced marks; what they count is not known yet.
#[derive(Debug, Clone)]
pub(super) struct Train {
    pub frame: Frame,
    pub marks: Vec<Mark>,
    /// Index → place along the frame, px.
    pub fit: IndexFit,
    /// Base line: place across against place along, px.
    pub base: Curve,
    /// Lean of the marks: px along per px across, against place along.
    pub lean: Curve,
    /// Usual length of the short marks, px.
    pub short_px: f64,
    /// Weights of the sRGB-coded channels in which the marks were read.
    pub mix: [f32; 3],
}

impl Train {
    /// Where a mark meets the base line.
    pub fn at(&self, mark: &Mark) -> PhotoPoint {
        let (x, y) = self.frame.point(mark.u, self.base.at(mark.u));
        PhotoPoint::new(x, y)
    }

    /// The photo point at a height above the base line, along the lean of the marks.
    pub fn point(&self, u: f64, height: f64) -> (f64, f64) {
        self.frame.point(u + self.lean.at(u) * height, self.base.at(u) + height)
    }

    /// Share of the indices between the first and the last mark that were seen.
    pub fn density(&self) -> f64 {
        let (Some(a), Some(b)) = (self.marks.first(), self.marks.last()) else { return 0.0 };
        self.marks.len() as f64 / (b.index - a.index + 1) as f64
    }

    /// Spacing of the marks in the middle of the train, px.
    pub fn pitch_px(&self) -> f64 {
        let (Some(a), Some(b)) = (self.marks.first(), self.marks.last()) else { return 0.0 };
        self.fit.step((a.index + b.index) as f64 / 2.0).abs()
    }
}

/// Grows a train from a chain found in a picture `1/scale` times the size of the photo; `None` where it holds no marks.
pub(super) fn grow_train(rgb: &RgbImage, chain: &Chain, scale: f64) -> Option<Train> {
    let seed = Seed::new(chain, scale)?;
    let ink = seed.ink(rgb);
    for turned in [false, true] {
        let seed = if turned { seed.turned() } else { seed.clone() };
        let train = Growth::new(&ink, &seed)?.grown()?;
        if turned || !free_end_is_even(&train) {
            return with_all_marks(train, &ink).filter(|train| !is_ground_between(train, &ink));
        }
    }
    None
}

/// Scatter of marks about their fit up to which a row is as even as a ruler's, in pitches and px: fabric, whose rows have legs
/// half-way between them, scatters by more (measured: rulers by 0.02 and less, ribs and cloth by 0.03 and more; marks as narrow
/// as pixels are not placed better).
const EVEN: (f64, f64) = (0.02, 0.1);

/// The train with the marks that it stepped over, where there are any; `None` where those can't be read one by one, or are not
/// as even as marks.
fn with_all_marks(train: Train, ink: &Ink) -> Option<Train> {
    let Some(parts) = parts_between(&train, ink) else { return Some(train) };
    let finer = Growth::divided(ink, &train, parts)?.grown()?;
    let even = residual_rms_px(&finer) < (EVEN.0 * finer.pitch_px()).max(EVEN.1);
    (even && parts_between(&finer, ink).is_none()).then_some(finer)
}

/// True when the ends taken for free lie more evenly than those taken for the base: the sides were mistaken.
fn free_end_is_even(train: &Train) -> bool {
    let base: Vec<f64> = train.marks.iter().map(|m| m.base_v - train.base.at(m.u)).collect();
    let free: Vec<(f64, f64)> = train.marks.iter().map(|m| (m.u, m.length_px + train.base.at(m.u))).collect();
    let Some(curve) = Curve::new(&free, 1) else { return false };
    // Outward excursions only: covered or worn marks end early on either side.
    let outward_base = quantile(base.iter().map(|r| (-r).max(0.0)), 0.93).unwrap_or(0.0);
    let outward_free = quantile(free.iter().map(|p| (p.1 - curve.at(p.0)).max(0.0)), 0.93).unwrap_or(0.0);
    outward_base > 2.0 * outward_free + 0.1 * train.pitch_px()
}

/// Robust scatter of a train's marks about its fit, px.
pub(super) fn residual_rms_px(train: &Train) -> f64 {
    let r: Vec<f64> = train.marks.iter().map(|m| m.u - train.fit.at(m.index as f64)).collect();
    robust_sigma(&r)
}

/// Standard uncertainty of one mark along the ruler, px: from each mark's departure from the line between its two
/// neighbours, whose variance is 3/2 of a mark's; a bend of the ruler does not enter.
pub(super) fn mark_sigma_px(train: &Train) -> f64 {
    let bends = train.marks.windows(3).filter(|w| w[2].index - w[0].index == 2);
    let departures: Vec<f64> = bends
        .map(|w| {
            let expected = |m: &Mark| m.u - train.fit.at(m.index as f64);
            (expected(&w[1]) - (expected(&w[0]) + expected(&w[2])) / 2.0) / 1.5f64.sqrt()
        })
        .collect();
    let residual = residual_rms_px(train);
    if departures.len() < 5 {
        return residual.max(SIGMA_FLOOR_PX);
    }
    // Slow departures from the fit that neighbours share count too, up to what a bend of the tape would add.
    let local = robust_sigma(&departures).max(SIGMA_FLOOR_PX);
    residual.clamp(local, 2.0 * local)
}
