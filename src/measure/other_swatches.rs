//! Other swatches: whether a second piece of knitting lies in the photo, so that the gauge could be either's, or further
//! parts of the same.

use super::Setup;
use super::alike::FabricLook;
use super::fabric_stage::{Followed, View};
use super::parts::Part;
use super::rivals::{area_mm2, rival, same_lattice};
use super::under_ruler::RulerBand;
use crate::fabric::{self, FabricSeed, Search};
use crate::lattice::{self, LatticeReading};
use crate::quantity::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};
use crate::side_by_side::map_in_order;

/// Least share of the first swatch's area that a second one has; smaller patches are borders, loose yarn, a label.
const LEAST_SHARE: f64 = 0.15;
/// Least distance of two swatches' regions, in stitches: an edge stitch of each is not followed.
const LEAST_GAP: f64 = 2.0;
/// Share of the ways from one region to the other that must lead over something that looks like neither.
const PARTED_WAYS: f64 = 0.7;
/// Most of a region's blocks that may lie in the other region where the two are to lie apart.
const MOST_SHARED: f64 = 0.1;

/// Further parts of the fabric, beyond the followed region. Refuses `several_swatches` where knitting there is not part of
/// the same fabric. A region that the user marked settles the question.
pub(super) fn parts_beyond(
    view: &View,
    search: &Search,
    setup: &Setup,
    first: &Followed,
) -> Result<Vec<Part>, Refusal> {
    let mut parts = Vec::new();
    if view.region.is_some() {
        return Ok(parts);
    }
    let undeclared = Setup { stitch: None, ..setup.clone() };
    let seeds = search.beyond(view.photo, view.map, view.excluded, &first.reading.region_px);
    let read = |seed: FabricSeed| {
        let read = |setup: &Setup| read_beyond(view, &seed, setup, first);
        // What was not declared is not read a second time.
        read(setup).or_else(|refusal| if setup.stitch.is_some() { read(&undeclared) } else { Err(refusal) })
    };
    for second in map_in_order(seeds, read).into_iter().flatten() {
        check_one_fabric(view, first, &second)?;
        let part = Part::of(second, first, &parts);
        parts.extend(part);
    }
    Ok(parts)
}

/// What is knitted at a place beyond the first region. It is looked at again unless the first look shows that it is too little
/// of the same fabric to matter.
fn read_beyond(view: &View, seed: &FabricSeed, setup: &Setup, first: &Followed) -> Result<Followed, Refusal> {
    let found = view.follow_from(seed, setup)?;
    let same = same_lattice(&found.reading.basis, &first.reading.basis);
    if same && !Part::matters(&found, first) && check_one_fabric(view, first, &found).is_ok() {
        return Ok(found);
    }
    view.sure(found, setup)
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

/// Whether two regions share no fabric: they do not overlap, and the ways from one to the other lead over something that
/// looks like neither. Where the ruler lies between them nothing is told: it parts one fabric, too, and on one of its sides
/// the lattice may be misread.
fn lie_apart(view: &View, a: &LatticeReading, b: &LatticeReading) -> bool {
    let Some(first) = FabricLook::of(view.photo, a).filter(|_| !share_fabric(a, b)) else { return false };
    let Some(second) = FabricLook::of(view.photo, b) else { return false };
    let ways = between(view, a, b, first.stitch_px);
    let gap_px = lattice::median(ways.iter().map(|w| w.gap_px).collect());
    if gap_px < LEAST_GAP * first.stitch_px {
        return false;
    }
    // The ruler's outline may be seen too narrow, so a way that touches it is the ruler's.
    let ruled = ways.iter().filter(|w| w.covered).count();
    if ruled * 2 > ways.len() {
        return false;
    }
    let other = |at: &PhotoPoint| first.alike(*at) == Some(false) && second.alike(*at) == Some(false);
    let parted = ways.iter().filter(|w| !w.covered && w.open.iter().any(other)).count();
    parted as f64 > PARTED_WAYS * (ways.len() - ruled) as f64
}

/// Whether two regions lie on the same fabric in part.
pub(super) fn share_fabric(a: &LatticeReading, b: &LatticeReading) -> bool {
    let shared = |of: &LatticeReading, other: &LatticeReading| {
        let within = of.blocks.iter().filter(|block| fabric::inside(&other.region_px, block.at_px)).count();
        within as f64 > MOST_SHARED * of.blocks.len() as f64
    };
    shared(a, b) || shared(b, a)
}

/// The ruler, which may go on where its marks can't be read any more.
struct Ruler<'a> {
    body: RulerBand,
    look: FabricLook<'a>,
}

impl<'a> Ruler<'a> {
    fn of(view: &View<'a>, stitch_px: f64) -> Option<Self> {
        view.ruler_direction_deg?;
        let body = RulerBand::of(view.excluded.first()?)?;
        let look = FabricLook::of_places(view.photo, body.places(), (0.75 * stitch_px).max(3.0) as u32, stitch_px)?;
        Some(Self { body, look })
    }

    /// Whether a place in line with it looks like it.
    fn goes_on(&self, at: PhotoPoint) -> bool {
        self.body.in_line(at) && self.look.alike(at) == Some(true)
    }
}

/// A shortest way from one region to another.
struct Way {
    /// Places on it that lie in neither region.
    open: Vec<PhotoPoint>,
    /// Whether the ruler lies on it.
    covered: bool,
    /// Length of its part outside both regions, px.
    gap_px: f64,
}

/// The shortest ways from blocks of one region to the other.
fn between(view: &View, a: &LatticeReading, b: &LatticeReading, stitch_px: f64) -> Vec<Way> {
    /// Ways that are looked at, and places on each.
    const WAYS: usize = 12;
    const PLACES: usize = 24;
    let mut ends: Vec<(f64, PhotoPoint, PhotoPoint)> = b
        .blocks
        .iter()
        .filter_map(|to| {
            let away = |from: &PhotoPoint| from.distance(to.at_px);
            let from = a.blocks.iter().map(|f| f.at_px).min_by(|p, q| away(p).total_cmp(&away(q)))?;
            Some((away(&from), from, to.at_px))
        })
        .collect();
    ends.sort_by(|p, q| p.0.total_cmp(&q.0));
    ends.truncate(WAYS);
    let way = |(length, from, to): (f64, PhotoPoint, PhotoPoint)| {
        let at = |k: usize| (k as f64 + 0.5) / PLACES as f64;
        let places = (0..PLACES).map(|k| from.moved(at(k) * (to.x - from.x), at(k) * (to.y - from.y)));
        let outside = |p: &PhotoPoint| !fabric::inside(&a.region_px, *p) && !fabric::inside(&b.region_px, *p);
        let open: Vec<PhotoPoint> = places.filter(outside).collect();
        let ruler = Ruler::of(view, stitch_px);
        let under = |p: &PhotoPoint| {
            view.excluded.iter().any(|polygon| fabric::inside(polygon, *p))
                || ruler.as_ref().is_some_and(|r| r.goes_on(*p))
        };
        Way { covered: open.iter().any(under), gap_px: length * open.len() as f64 / PLACES as f64, open }
    };
    ends.into_iter().map(way).collect()
}
