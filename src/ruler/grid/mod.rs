//! Square grids as a scale, only when the user says so: checkerboards, squared cards, cutting mats.
//!
//! Corners are found where squares meet or lines cross, linked into a grid, refined to a fraction of a pixel at full
//! size, and accepted only when one projective view of even squares explains them all.

mod card;
mod corners;
mod link;
mod refine;

pub use card::read_card;

use super::GridReading;
use crate::photo::{LUMINANCE, Photo};
use crate::quantity::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};
use link::Linked;

/// Longer side of the reduced picture in which corners are looked for, in px: squares of 10 mm are then 15 px or more
/// wherever stitches are large enough to be measured.
const SEARCH_SIDE_PX: u32 = 1600;

/// Fewest corners, and fewest along each direction, that make a grid.
const LEAST_CORNERS: usize = 9;
const LEAST_ALONG: i32 = 3;

/// How many grids are refined at full size, the largest first; fabric makes a few false ones.
const GRIDS_TRIED: usize = 12;

/// Largest scatter of corners about one projective view, as a share of a square's side. Printed squares stay below a
/// hundredth; stitches, which cross like a grid too, scatter by five hundredths and more.
const SCATTER_LIMIT: f64 = 0.02;

/// Scatter below this many px is reading noise and never speaks against a grid.
const SCATTER_FLOOR_PX: f64 = 0.3;

/// Reads a grid of squares of side `pitch_mm`. Refuses `no_scale` where none is seen, and for a pitch that is no
/// length.
pub fn read_grid(photo: &Photo, pitch_mm: f64) -> Result<GridReading, Refusal> {
    let none = |seen: &str| Refusal::new(RefusalCode::NoScale, seen);
    if !(pitch_mm > 0.0 && pitch_mm.is_finite()) {
        return Err(none("the squares were given no size"));
    }
    let factor = photo.width().max(photo.height()).div_ceil(SEARCH_SIDE_PX).max(1);
    let grey = photo.reduced_projection(LUMINANCE, factor);
    let mut linked: Vec<Linked> = corners::find(&grey).iter().flat_map(|kind| link::grids(kind)).collect();
    linked.retain(Linked::is_wide);
    linked.sort_by_key(|g| std::cmp::Reverse(g.nodes.len()));
    if linked.is_empty() {
        return Err(none("no grid of squares was seen"));
    }
    linked
        .iter()
        .take(GRIDS_TRIED)
        .find_map(|grid| accepted(photo, grid, f64::from(factor), pitch_mm))
        .ok_or_else(|| none("what looks like squares is too uneven for a printed grid"))
}

/// The grid at full size, if one projective view of even squares explains it.
fn accepted(photo: &Photo, linked: &Linked, factor: f64, pitch_mm: f64) -> Option<GridReading> {
    let (corners, scatter_px, side_px) = refine::projective(refine::at_full_size(photo, linked, factor))?;
    if corners.len() < LEAST_CORNERS || scatter_px > (SCATTER_LIMIT * side_px).max(SCATTER_FLOOR_PX) {
        return None;
    }
    let outline_px = refine::outline(&corners)?;
    Some(GridReading { pitch_mm, corners, sigma_px: scatter_px.max(0.05), outline_px })
}

impl Linked {
    /// Whether there are enough corners, and enough in each direction.
    fn is_wide(&self) -> bool {
        let along = |of: fn(&(i32, i32)) -> i32| {
            let (low, high) = self.nodes.keys().map(of).fold((i32::MAX, i32::MIN), |(l, h), v| (l.min(v), h.max(v)));
            high.saturating_sub(low) + 1
        };
        self.nodes.len() >= LEAST_CORNERS && along(|n| n.0).min(along(|n| n.1)) >= LEAST_ALONG
    }
}

/// A corner's number along both directions, and its place.
type Corner = (i32, i32, PhotoPoint);
