//! Other swatches: whether a second piece of knitting lies in the photo, so that the gauge could be either's.

use super::Setup;
use super::fabric_stage::{Followed, View, area_mm2, rival, same_lattice};
use super::under_ruler::{goes_on, typical_stitch_px};
use crate::fabric::{self, Search};
use crate::lattice::LatticeReading;
use crate::quantity::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};

/// Least share of the first swatch's area that a second one has; smaller patches are borders, loose yarn, a label.
const LEAST_SHARE: f64 = 0.15;
/// Least width of what lies between two swatches, in stitches. Where one fabric is lost and found again (a colour change,
/// a fold, a flaw), a block or two of two stitches are missing.
const LEAST_GAP: f64 = 4.0;
/// Least share of the places between two swatches that lie outside both.
const MOST_SHARED: f64 = 0.1;

/// Refuses `several_swatches` where knitting beyond the followed region is not part of the same fabric. A region that the
/// user marked settles the question.
pub(super) fn check_alone(view: &View, search: &Search, setup: &Setup, first: &Followed) -> Result<(), Refusal> {
    if view.region.is_some() {
        return Ok(());
    }
    let undeclared = Setup { stitch: None, ..setup.clone() };
    for seed in search.beyond(view.photo, view.map, view.excluded, &first.reading.region_px) {
        let decision = view.decide(&seed, setup).or_else(|_| view.decide(&seed, &undeclared));
        if let Ok(decision) = decision
            && let Ok(reading) = view.grow(&decision)
        {
            check_one_fabric(view, first, &Followed { decision, reading })?;
        }
    }
    Ok(())
}

/// Refuses `several_swatches` where two followed regions lie apart, with something else between them.
pub(super) fn check_one_fabric(view: &View, a: &Followed, b: &Followed) -> Result<(), Refusal> {
    let (first, second) = (area_mm2(&a.reading), area_mm2(&b.reading));
    if second < LEAST_SHARE * first || !lie_apart(view, &a.reading, &b.reading) {
        return Ok(());
    }
    let rivals = [(first, a), (second, b)].into_iter().filter_map(|(area, f)| rival(area, f)).collect();
    let seen = "two pieces of knitting with something else between them";
    Err(Refusal::new(RefusalCode::SeveralSwatches, seen).with_rivals(rivals))
}

/// Whether two regions share no fabric: they do not overlap, and what lies between them does not look like the first.
/// Where only the ruler lies between them, their lattices must differ.
fn lie_apart(view: &View, a: &LatticeReading, b: &LatticeReading) -> bool {
    let shared = |of: &LatticeReading, other: &LatticeReading| {
        let within = of.blocks.iter().filter(|block| fabric::inside(&other.region_px, block.at_px)).count();
        within as f64 > MOST_SHARED * of.blocks.len() as f64
    };
    let Some(stitch_px) = typical_stitch_px(a).filter(|_| !shared(a, b) && !shared(b, a)) else { return false };
    let (open, covered, gap_px) = between(view, a, b);
    if gap_px < LEAST_GAP * stitch_px {
        return false;
    }
    match goes_on(view.photo, &open, a) {
        Some(alike) => !alike,
        None => covered > open.len() && !same_lattice(&a.basis, &b.basis),
    }
}

/// Places between two regions, on the shortest ways from one to the other: those in the open, how many the ruler covers,
/// and the usual width of the gap, px.
fn between(view: &View, a: &LatticeReading, b: &LatticeReading) -> (Vec<PhotoPoint>, usize, f64) {
    /// Ways that are looked at, and places on each.
    const WAYS: usize = 12;
    const PLACES: usize = 24;
    let mut ways: Vec<(f64, PhotoPoint, PhotoPoint)> = b
        .blocks
        .iter()
        .filter_map(|to| {
            let away = |from: &PhotoPoint| from.distance(to.at_px);
            let from = a.blocks.iter().map(|f| f.at_px).min_by(|p, q| away(p).total_cmp(&away(q)))?;
            Some((away(&from), from, to.at_px))
        })
        .collect();
    ways.sort_by(|p, q| p.0.total_cmp(&q.0));
    ways.truncate(WAYS);
    let (mut open, mut covered, mut widths) = (Vec::new(), 0, Vec::new());
    for (length, from, to) in &ways {
        let mut outside = 0;
        for k in 0..PLACES {
            let t = (k as f64 + 0.5) / PLACES as f64;
            let at = from.moved(t * (to.x - from.x), t * (to.y - from.y));
            if fabric::inside(&a.region_px, at) || fabric::inside(&b.region_px, at) {
                continue;
            }
            outside += 1;
            if view.excluded.iter().any(|polygon| fabric::inside(polygon, at)) {
                covered += 1;
            } else {
                open.push(at);
            }
        }
        widths.push(length * f64::from(outside) / PLACES as f64);
    }
    widths.sort_by(f64::total_cmp);
    (open, covered, widths.get(widths.len() / 2).copied().unwrap_or(0.0))
}
