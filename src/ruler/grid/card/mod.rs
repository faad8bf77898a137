//! The calibration card in a photo: corners of its squares to a fraction of a pixel, known by its diamonds.
//!
//! Corners are found and linked as for any grid of squares; the diamonds around them say whether it is the card and
//! which part of it; then every other corner is looked for where the card must have it, so that a card partly under the
//! swatch, in shadow or over the picture's edge still gives all it shows.

mod decode;
mod view;

use super::corners;
use super::link;
use super::refine::edges_meet;
use crate::card;
use crate::photo::{LUMINANCE, Photo};
use crate::quantity::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};
use crate::ruler::fit::quantile;
use crate::ruler::{CardReading, PlacedPoint};
use decode::{Cells, Placement};
use nalgebra::Vector2;
use view::CardView;

/// Longer sides of the reduced picture in which corners are looked for, in px, one after the other: a card that fills
/// little of the picture or is seen obliquely needs the finer one, a blurred one the coarser one.
const SEARCH_SIDES_PX: [u32; 3] = [1600, 2600, 900];

/// How many grids are looked at in each, the largest first; fabric and chequered things make a few false ones.
const GRIDS_TRIED: usize = 12;

/// Fewest corners that make a scale: with fewer a view has no residuals left to be checked by.
const LEAST_CORNERS: usize = 12;

/// Largest scatter of corners about one view, as a share of a square's side and at least so many px: half of what any
/// grid may have, for it is known which card this is.
const SCATTER_SHARE: f64 = 0.01;
const SCATTER_FLOOR_PX: f64 = 0.3;

/// How far from its due place a corner may be found, as a share of a square's side.
const CATCH_SHARE: f64 = 0.15;

/// Contrast of a corner against the typical one below which it is left out: a card half in shadow has a third there.
const FAINT_SHARE: f64 = 0.2;

/// Corners farther than this from the view, in medians of the distance, are left out.
const OUTLIER_MEDIANS: f64 = 4.0;

/// Radius of the window about a corner, as a share of a square's side, and its limits in px.
const WINDOW_SHARE: f64 = 0.25;
const WINDOW_PX: (f64, f64) = (2.5, 20.0);

/// A corner's number along the card's longer and shorter side, and its place in the photo.
type Corner = (i32, i32, PhotoPoint);

/// Reads the calibration card. Refuses `no_scale` where it is not seen, or too little of it.
pub fn read_card(photo: &Photo) -> Result<CardReading, Refusal> {
    let longer = photo.width().max(photo.height());
    let mut factors: Vec<u32> = SEARCH_SIDES_PX.iter().map(|side| longer.div_ceil(*side).max(1)).collect();
    factors.dedup();
    factors.into_iter().find_map(|factor| card_at(photo, factor)).ok_or_else(|| {
        Refusal::new(RefusalCode::NoScale, "").in_words(
            "the calibration card was not found",
            "Lay the printed card (walewise card) flat beside the swatch, in even light and without glare, with at least a \
             third of its squares sharp in the picture; or leave --card out and use a ruler.",
        )
    })
}

fn card_at(photo: &Photo, factor: u32) -> Option<CardReading> {
    let grey = photo.reduced_projection(LUMINANCE, factor);
    let [checkers, _, _] = corners::find(&grey);
    let grids = link::grids(&checkers);
    grids.iter().filter(|g| g.is_wide()).take(GRIDS_TRIED).find_map(|grid| {
        let linked: Vec<Corner> = grid
            .nodes
            .iter()
            .map(|((i, j), (x, y))| {
                let times = f64::from(factor);
                (*i, *j, PhotoPoint::new(x * times, y * times))
            })
            .collect();
        known_card(photo, linked)
    })
}

/// The whole card, if these corners are part of it.
fn known_card(photo: &Photo, mut linked: Vec<Corner>) -> Option<CardReading> {
    let mut view = CardView::fit(photo, &linked)?;
    if view.is_mirrored(&linked)? {
        linked.iter_mut().for_each(|c| c.1 = -c.1);
        view = CardView::fit(photo, &linked)?;
    }
    let placement = Placement::of(&Cells::seen(photo, &view, &linked))?;
    let corners: Vec<Corner> = linked
        .iter()
        .map(|c| {
            let (i, j) = placement.corner(c.0, c.1);
            (i, j, c.2)
        })
        .collect();
    let view = CardView::fit(photo, &corners)?;
    // Twice: corners found anew say better where the others are due.
    let corners = consistent(photo, all_corners(photo, &view))?.0;
    let view = CardView::fit(photo, &corners)?;
    let (corners, view, scatter_px) = consistent(photo, all_corners(photo, &view))?;
    let side_px = view.side_px(&corners)?;
    let sound = corners.len() >= LEAST_CORNERS && scatter_px <= (SCATTER_SHARE * side_px).max(SCATTER_FLOOR_PX);
    sound.then(|| reading(&corners, &view, scatter_px))?
}

/// Every corner of the card that is seen where the view has it.
fn all_corners(photo: &Photo, view: &CardView) -> Vec<Corner> {
    let numbers = (1..card::ROWS).flat_map(|j| (1..card::COLUMNS).map(move |i| (i, j)));
    let contrasts: Vec<(i32, i32, f64)> =
        numbers.filter_map(|(i, j)| Some((i, j, decode::corner_contrast(photo, view, i, j)?))).collect();
    let typical = quantile(contrasts.iter().map(|c| c.2), 0.5).unwrap_or(0.0);
    let seen = contrasts.iter().filter(|c| c.2 > FAINT_SHARE * typical);
    seen.filter_map(|(i, j, _)| Some((*i, *j, corner_at(photo, view, *i, *j)?))).collect()
}

/// One corner, refined from where it is due; `None` where something else is seen there.
fn corner_at(photo: &Photo, view: &CardView, i: i32, j: i32) -> Option<PhotoPoint> {
    let (u, v) = (f64::from(i), f64::from(j));
    let due = view.at(u, v)?;
    let side = due.distance(view.at(u + 1.0, v)?).min(due.distance(view.at(u, v + 1.0)?));
    let radius = (WINDOW_SHARE * side).clamp(WINDOW_PX.0, WINDOW_PX.1);
    let mut at = Vector2::new(due.x, due.y);
    for _ in 0..4 {
        at = edges_meet(photo, at, radius)?;
    }
    let found = PhotoPoint::new(at.x, at.y);
    (found.distance(due) <= CATCH_SHARE * side + 0.5).then_some(found)
}

/// The corners that one view explains, that view, and their scatter about it (root mean square each way, px).
fn consistent(photo: &Photo, mut corners: Vec<Corner>) -> Option<(Vec<Corner>, CardView, f64)> {
    for _ in 0..5 {
        let view = CardView::fit(photo, &corners)?;
        let off: Vec<f64> = corners.iter().map(|c| view.distance(c)).collect();
        let limit = OUTLIER_MEDIANS * quantile(off.iter().copied(), 0.5)?.max(0.05);
        if off.iter().all(|o| *o <= limit) {
            let free = (2.0 * off.len() as f64 - 9.0).max(1.0);
            let scatter = (off.iter().map(|o| o * o).sum::<f64>() / free).sqrt();
            return Some((corners, view, scatter));
        }
        let mut off = off.into_iter();
        corners.retain(|_| off.next().is_some_and(|o| o <= limit));
    }
    None
}

fn reading(corners: &[Corner], view: &CardView, scatter_px: f64) -> Option<CardReading> {
    let sigma_px = scatter_px.max(0.03);
    let places = corners.iter().map(|(i, j, at)| PlacedPoint {
        along_mm: f64::from(*i) * card::SQUARE_MM,
        across_mm: f64::from(*j) * card::SQUARE_MM,
        at: *at,
        along_sigma_px: sigma_px,
        across_sigma_px: sigma_px,
    });
    let outline_px = view.outline()?;
    Some(CardReading { corners: places.collect(), sigma_px, outline_px })
}
