//! A card of the size ISO/IEC 7810 ID-1 (bank and identity cards) as a scale, only when the user says so.
//!
//! It has no marks, so its outline is measured: a light or dark patch with four straight sides is looked for, each side
//! is fitted as a line through many places on it, and the corners must be as round as the standard has them. The corners
//! themselves are never used: they are round, and where exactly they lie hangs on light and wear.

mod patches;
mod sides;

use super::{Id1Reading, PlacedPoint};
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};
use nalgebra::Matrix3;

/// Width and height of the card, in mm: ISO/IEC 7810:2003, 5.1 (85.60 mm × 53.98 mm, from memory).
pub const SIZE_MM: [f64; 2] = [85.60, 53.98];

/// Radius of its corners, in mm: 3.18 ± 0.30 (ISO/IEC 7810, from memory).
pub const CORNER_RADIUS_MM: f64 = 3.18;

/// How far beyond the card's edge pictures are blanked, in mm: its rounded edge, its side and its shadow's begin.
const BLANK_BEYOND_MM: f64 = 1.2;

/// Fewest round corners that must be seen; the fourth may be worn, shaded or under yarn.
const LEAST_ROUND: usize = 3;

/// How far a whole side may lie off its fitted line, in px: blur over unequal surroundings, its shadow and its side face
/// move all places on it together. A stated choice.
const SIDE_SIGMA_PX: f64 = 0.25;

/// Uncertainty of a place along its own edge, in px: none is known.
const FREE_PX: f64 = 1e4;

/// Reads an ID-1 card. Refuses `no_scale` where none is seen.
pub fn read_id1(photo: &Photo) -> Result<Id1Reading, Refusal> {
    let best = patches::quadrilaterals(photo)
        .into_iter()
        .filter_map(|corners| sides::measure(photo, corners))
        .filter(|card| card.round_corners >= LEAST_ROUND)
        .max_by(|a, b| a.quality.total_cmp(&b.quality));
    best.and_then(|card| reading(&card)).ok_or_else(|| no_id1(""))
}

/// The refusal of a photo without a readable ID-1 card.
pub fn no_id1(seen: &str) -> Refusal {
    Refusal::new(RefusalCode::NoScale, seen).in_words(
        "no card of the size of a bank card was found",
        "Lay the card blank side up on the table beside the swatch, touching nothing, whole in the picture, on something \
         clearly lighter or darker than it; or leave --id1 out and use a ruler.",
    )
}

fn reading(card: &sides::MeasuredCard) -> Option<Id1Reading> {
    let to_mm = card.to_px.try_inverse()?;
    let mut edges = Vec::new();
    for (side, places) in card.sides.iter().enumerate() {
        let sigma = (card.scatter_px[side].powi(2) + SIDE_SIGMA_PX.powi(2) * places.len() as f64).sqrt();
        for at in places {
            let (x, y) = mapped(&to_mm, at.x, at.y)?;
            let place = match side {
                0 => (x, 0.0, FREE_PX, sigma),
                1 => (SIZE_MM[0], y, sigma, FREE_PX),
                2 => (x, SIZE_MM[1], FREE_PX, sigma),
                _ => (0.0, y, sigma, FREE_PX),
            };
            let (along_mm, across_mm, along_sigma_px, across_sigma_px) = place;
            edges.push(PlacedPoint { along_mm, across_mm, at: *at, along_sigma_px, across_sigma_px });
        }
    }
    let (low, [w, h]) = (-BLANK_BEYOND_MM, SIZE_MM.map(|s| s + BLANK_BEYOND_MM));
    let outline_px = [(low, low), (w, low), (w, h), (low, h)]
        .into_iter()
        .map(|(x, y)| seen(&card.to_px, x, y))
        .collect::<Option<_>>()?;
    Some(Id1Reading { edges, outline_px })
}

/// A projective map applied to a point; `None` at infinity.
fn mapped(m: &Matrix3<f64>, x: f64, y: f64) -> Option<(f64, f64)> {
    let v = m * nalgebra::Vector3::new(x, y, 1.0);
    (v.z.abs() > 1e-12).then(|| (v.x / v.z, v.y / v.z))
}

fn seen(to_px: &Matrix3<f64>, x: f64, y: f64) -> Option<PhotoPoint> {
    mapped(to_px, x, y).map(|(x, y)| PhotoPoint::new(x, y))
}
