//! The lattice followed over the fabric, block by block, from the seed outwards.
//!
//! Blocks sit at every second stitch and row. Each is predicted from the accepted blocks around it, measured by the joint
//! phase of its window, and accepted while the motif of the seed explains enough of what is seen: where another stitch
//! pattern, an edge, the ruler or the table begins, it no longer does. The best-seen block is always continued first, so
//! a bad place is reached last and from its good side (quality-guided unwrapping; Ghiglia & Pritt 1998).

use super::field::Field;
use super::phase::{Demodulator, Frame, Motif, Shift, Window};
use super::reader::Reader;
use super::region;
use super::settle::{settle, working_sheet};
use super::trim::trim;
use super::{Decision, LatticeReading, PhaseBlock, local};
use crate::fabric::{Sheet, inside};
use crate::photo::Photo;
use crate::plane::PlaneMap;
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::refusal::{Refusal, RefusalCode};
use crate::side_by_side::map_few_in_order;
use rustfft::num_complex::Complex64;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};
use std::f64::consts::TAU;

/// Stitches and rows from one block to the next.
pub(super) const SPACING: i32 = 2;
/// Stitches and rows in one window, whose half-power width is half of that.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Windows {
    /// Six: as noise asks for.
    Wide,
    /// Four: they hold on in fabric whose stitches wander from one to the next, and are more easily led astray.
    Narrow,
}

impl Windows {
    fn cells(self) -> usize {
        match self {
            Self::Wide => 6,
            Self::Narrow => 4,
        }
    }
}

/// Share of the seed's coherence that still counts as the same fabric.
const SAME_FABRIC: f64 = 0.4;
/// Least share of a window's contrast that a lattice explains at all: noise reaches about a thousandth.
const LEAST_COHERENCE: f64 = 0.02;
/// Share of a window that must be visible.
pub(super) const VISIBLE: f64 = 0.6;
/// Largest surprise of a new block against its prediction, in stitches or rows: beyond this a neighbouring cycle of the
/// second harmonic would fit as well.
const SURPRISE: f64 = 0.2;
/// Places measured at most while growing: a fabric of 200 by 200 stitches and rows. A lattice that goes on is a fine weave
/// or has lost its steps; the bound keeps the time of a photo bounded.
const MOST_MEASURED: usize = 12_000;
/// The four neighbours of a block.
pub(super) const SIDES: [(i32, i32); 4] = [(1, 0), (-1, 0), (0, 1), (0, -1)];
/// Counts of blocks at which the motif is estimated anew while growing.
const RELEARN: [usize; 4] = [9, 25, 80, 250];

/// One block of the grown lattice.
#[derive(Debug, Clone)]
pub(super) struct Node {
    pub frame: Frame,
    pub shift: Shift,
    window: Window,
}

impl Node {
    /// The place where the count is exactly the block's own number.
    pub fn settled(&self) -> PlanePoint {
        let [s, r] = self.shift.count;
        let f = &self.frame;
        f.at.moved(-s * f.stitch_mm[0] - r * f.row_mm[0], -s * f.stitch_mm[1] - r * f.row_mm[1])
    }
}

/// Blocks by number: block (i, j) has stitch count i × SPACING and row count j × SPACING.
pub(super) type Nodes = BTreeMap<(i32, i32), Node>;

/// Follows the decided lattice over the fabric from its seed, and fits it.
///
/// `excluded` polygons (the ruler) hide what they cover; `region` limits the fabric. Refuses `lattice_unclear` where the
/// lattice does not hold even at the seed, `too_few_stitches` where fewer than about 4 × 4 stitches and rows carry it.
pub fn grow(
    photo: &Photo,
    map: &PlaneMap,
    decision: &Decision,
    excluded: &[Vec<PhotoPoint>],
    region: Option<&[PhotoPoint]>,
    windows: Windows,
) -> Result<LatticeReading, Refusal> {
    let sheet = working_sheet(photo, map, decision, excluded, region)?;
    let (nodes, hidden) = grow_sheet(&sheet, map, decision, region, windows)?;
    reading(&nodes, &hidden, map)
}

/// Grows the lattice over a prepared sheet: its blocks, and the places where nothing can be seen.
pub(super) fn grow_sheet(
    sheet: &Sheet,
    map: &PlaneMap,
    decision: &Decision,
    region: Option<&[PhotoPoint]>,
    windows: Windows,
) -> Result<(Nodes, BTreeSet<(i32, i32)>), Refusal> {
    let demodulator = Demodulator::new(&decision.harmonics, windows.cells());
    let lost = |why: &str| Refusal::new(RefusalCode::LatticeUnclear, why);
    if !demodulator.spans_both() {
        return Err(lost("the lines of the spectrum fix only one direction"));
    }
    let reader = Reader::new(sheet);
    let start =
        settle(&demodulator, &reader, decision).ok_or_else(|| lost("the two directions of the lattice coincide"))?;
    let mut growth = Growth::start(&demodulator, &reader, map, region, start);
    growth.run();
    growth.bridge();
    for _ in 0..2 {
        growth.learn();
        growth.polish();
    }
    let Growth { mut nodes, hidden, .. } = growth;
    trim(&mut nodes, &hidden);
    Ok((nodes, hidden))
}

fn reading(nodes: &Nodes, hidden: &BTreeSet<(i32, i32)>, map: &PlaneMap) -> Result<LatticeReading, Refusal> {
    let (mut blocks, mut coherence) = (Vec::with_capacity(nodes.len()), Vec::with_capacity(nodes.len()));
    for (&(i, j), node) in nodes {
        let Some(at_px) = map.to_photo(node.frame.at) else { continue };
        coherence.push(node.shift.coherence);
        blocks.push(PhaseBlock {
            at: node.frame.at,
            at_px,
            stitches: f64::from(i * SPACING) + node.shift.count[0],
            rows: f64::from(j * SPACING) + node.shift.count[1],
            stitches_sigma: node.shift.variance[0].sqrt(),
            rows_sigma: node.shift.variance[1].sqrt(),
        });
    }
    let few = || Refusal::new(RefusalCode::TooFewStitches, format!("the lattice holds at {} places only", nodes.len()));
    if blocks.len() < 6 {
        return Err(few());
    }
    let fit = local::fit(&blocks).ok_or_else(few)?;
    local::widen(&mut blocks, &fit);
    let extent = region::extent(nodes.keys().copied(), SPACING);
    Ok(LatticeReading {
        correlation_mm: fit.correlation_mm,
        basis: fit.basis,
        region_px: region::outline(&places(nodes, hidden), SPACING, map),
        extent,
        blocks,
        coherence,
    })
}

/// Settled frames of the blocks, and of the places between them that are hidden or were passed over.
fn places(nodes: &Nodes, hidden: &BTreeSet<(i32, i32)>) -> BTreeMap<(i32, i32), Frame> {
    let settled = |n: &Node| Frame { at: n.settled(), ..n.frame };
    let mut places: BTreeMap<_, _> = nodes.iter().map(|(k, n)| (*k, settled(n))).collect();
    if let Some(field) = Field::fit(nodes) {
        for at in region::enclosed(&nodes.keys().copied().collect(), hidden) {
            if let Some(frame) = field.frame(at) {
                places.insert(at, frame);
            }
        }
    }
    places
}

/// Why a place gives no block.
enum Unread {
    /// Nothing of the plane is to be seen there.
    Hidden,
    /// It lies outside the region, or its lines fix no phase.
    Elsewhere,
}

/// The state of growing.
pub(super) struct Growth<'a> {
    pub demodulator: &'a Demodulator,
    pub reader: &'a Reader<'a>,
    map: &'a PlaneMap,
    region: Option<&'a [PhotoPoint]>,
    motif: Motif,
    pub nodes: Nodes,
    pub tried: BTreeMap<(i32, i32), u8>,
    /// Places where the photo shows nothing of the plane: outside the frame, under the ruler.
    pub hidden: BTreeSet<(i32, i32)>,
    queue: BinaryHeap<(u64, (i32, i32))>,
    places_left: usize,
}

impl<'a> Growth<'a> {
    fn start(
        demodulator: &'a Demodulator,
        reader: &'a Reader<'a>,
        map: &'a PlaneMap,
        region: Option<&'a [PhotoPoint]>,
        frame: Frame,
    ) -> Self {
        let window = demodulator.window(reader, &frame);
        let amplitude = window.lines.clone();
        let power: f64 = amplitude.iter().map(|a| a.norm_sqr()).sum::<f64>() / amplitude.len() as f64;
        let motif = Motif { noise: vec![(0.05 * power).max(1e-12); amplitude.len()], amplitude };
        let mut growth = Self {
            demodulator,
            reader,
            map,
            region,
            motif,
            nodes: Nodes::new(),
            tried: BTreeMap::new(),
            hidden: BTreeSet::new(),
            queue: BinaryHeap::new(),
            places_left: MOST_MEASURED,
        };
        if let Some(shift) = demodulator.shift(&growth.motif, &window, [0.0, 0.0], 0.0) {
            growth.nodes.insert((0, 0), Node { frame, shift, window });
            growth.offer((0, 0));
        }
        growth
    }

    /// Goes on from the best-seen block until none is left.
    pub fn run(&mut self) {
        while let Some((_, at)) = self.queue.pop() {
            if self.nodes.contains_key(&at) {
                continue;
            }
            let Some(node) = self.measure(at, 3, SURPRISE) else { continue };
            if self.belongs(&node) {
                self.nodes.insert(at, node);
                if RELEARN.contains(&self.nodes.len()) {
                    self.learn();
                    self.polish();
                }
                self.offer(at);
            }
        }
    }

    /// Puts the neighbours of an accepted block in the queue; a rejected place is tried again from other sides.
    pub fn offer(&mut self, at: (i32, i32)) {
        const TRIES: u8 = 3;
        let quality = self.nodes.get(&at).map_or(0.0, |n| n.shift.coherence);
        for (di, dj) in SIDES {
            let next = (at.0 + di, at.1 + dj);
            let tries = self.tried.entry(next).or_insert(0);
            if within_reach(next) && *tries < TRIES && !self.nodes.contains_key(&next) {
                *tries += 1;
                self.queue.push(((quality * 1e9) as u64, next));
            }
        }
    }

    /// Predicts a block from its accepted neighbours and reads its phase; a block that does not fit there is searched for
    /// around.
    fn measure(&mut self, at: (i32, i32), radius: i32, search: f64) -> Option<Node> {
        self.places_left = self.places_left.checked_sub(1)?;
        let frame = self.predict(at, radius)?;
        let node = self.read(at, frame, 0.0)?;
        if search <= 0.0 || self.belongs(&node) {
            return Some(node);
        }
        self.read(at, frame, search)
    }

    /// Reads the phase of a block at a predicted place, and keeps in mind where nothing can be seen.
    pub fn read(&mut self, at: (i32, i32), frame: Frame, search: f64) -> Option<Node> {
        let seen = self.seen(at, frame, search);
        self.kept(at, seen)
    }

    fn kept(&mut self, at: (i32, i32), seen: Result<Node, Unread>) -> Option<Node> {
        if let Err(Unread::Hidden) = seen {
            self.hidden.insert(at);
        }
        seen.ok()
    }

    /// The phase of a block at a predicted place.
    fn seen(&self, at: (i32, i32), frame: Frame, search: f64) -> Result<Node, Unread> {
        if let Some(polygon) = self.region {
            self.map.to_photo(frame.at).filter(|p| inside(polygon, *p)).ok_or(Unread::Elsewhere)?;
        }
        let window = self.demodulator.window(self.reader, &frame);
        if window.valid < VISIBLE {
            return Err(Unread::Hidden);
        }
        let shift = self.demodulator.shift(&self.motif, &window, counts(at), search).ok_or(Unread::Elsewhere)?;
        Ok(Node { frame, shift, window })
    }

    /// Whether a measured block is the same fabric as the seed.
    pub fn belongs(&self, node: &Node) -> bool {
        let s = &node.shift;
        s.gain > 0.0
            && s.coherence >= least_coherence(&self.nodes)
            && s.count[0].abs() <= 1.2 * SURPRISE
            && s.count[1].abs() <= 1.2 * SURPRISE
    }

    /// Place and steps at a block by a local weighted least-squares plane through the accepted blocks around it, held to
    /// the nearest block's own steps where they are too few to say (ridge).
    fn predict(&self, at: (i32, i32), radius: i32) -> Option<Frame> {
        let near = around(&self.nodes, at, radius);
        let distance = |k: &(i32, i32)| (k.0 - at.0).pow(2) + (k.1 - at.1).pow(2);
        let &(origin, parent) = near.iter().min_by_key(|(k, _)| distance(k))?;
        let base = parent.settled();
        let f = parent.frame;
        let offset = |k: &(i32, i32)| (f64::from((k.0 - origin.0) * SPACING), f64::from((k.1 - origin.1) * SPACING));
        let expected = |k: &(i32, i32)| {
            let (u, v) = offset(k);
            base.moved(u * f.stitch_mm[0] + v * f.row_mm[0], u * f.stitch_mm[1] + v * f.row_mm[1])
        };
        const RIDGE: f64 = 8.0;
        let mut normal = nalgebra::Matrix3::from_diagonal(&nalgebra::Vector3::new(1e-9, RIDGE, RIDGE));
        let mut right = nalgebra::Matrix3x2::<f64>::zeros();
        for (k, node) in &near {
            let (u, v) = (f64::from((k.0 - at.0) * SPACING), f64::from((k.1 - at.1) * SPACING));
            let spread = f64::from(radius * SPACING).powi(2) / 2.0;
            let weight = (-(u * u + v * v) / (2.0 * spread)).exp() * node.shift.coherence.max(1e-3);
            let (is, should) = (node.settled(), expected(k));
            let row = nalgebra::Vector3::new(1.0, u, v);
            normal += row * row.transpose() * weight;
            right += row * nalgebra::RowVector2::new(is.x - should.x, is.y - should.y) * weight;
        }
        let d = normal.try_inverse()? * right;
        let place = expected(&at).moved(d[(0, 0)], d[(0, 1)]);
        let frame = Frame {
            at: place,
            stitch_mm: [f.stitch_mm[0] + d[(1, 0)], f.stitch_mm[1] + d[(1, 1)]],
            row_mm: [f.row_mm[0] + d[(2, 0)], f.row_mm[1] + d[(2, 1)]],
        };
        (place.x.is_finite() && place.y.is_finite()).then_some(frame)
    }

    /// Estimates the motif and its noise anew from all accepted blocks.
    fn learn(&mut self) {
        let lines = &self.demodulator.lines;
        let mut change = vec![Complex64::ZERO; lines.len()];
        let mut weight = 0.0;
        let mut rests: Vec<Vec<f64>> = vec![Vec::new(); lines.len()];
        for (&at, node) in &self.nodes {
            let n = counts(at);
            let count = [n[0] + node.shift.count[0], n[1] + node.shift.count[1]];
            let expected = self.demodulator.expected(&self.motif, count);
            let gain = node.shift.gain.clamp(0.2, 5.0);
            for (q, &(h, k)) in lines.iter().enumerate() {
                let rest = node.window.lines[q] - expected[q] * gain;
                change[q] += rest * Complex64::from_polar(gain, -TAU * (h * count[0] + k * count[1]));
                rests[q].push(rest.norm_sqr());
            }
            weight += gain * gain;
        }
        for (q, change) in change.into_iter().enumerate() {
            self.motif.amplitude[q] += change / weight.max(1e-9);
        }
        let power: f64 = self.motif.amplitude.iter().map(|a| a.norm_sqr()).sum::<f64>() / lines.len() as f64;
        for (noise, rests) in self.motif.noise.iter_mut().zip(rests) {
            // The median of a squared complex normal is ln 2 of its mean.
            *noise = (median(rests) / std::f64::consts::LN_2).max(1e-4 * power).max(1e-12);
        }
    }

    /// Measures every block again at the place and with the steps its neighbours give together.
    fn polish(&mut self) {
        /// Blocks that are measured at once.
        const FEW: usize = 32;
        let places: Vec<(i32, i32)> = self.nodes.keys().copied().collect();
        let again = |&at: &(i32, i32)| (at, self.predict(at, 2).map(|frame| self.seen(at, frame, 0.0)));
        for (at, seen) in map_few_in_order(&places, FEW, again) {
            match seen.and_then(|seen| self.kept(at, seen)) {
                Some(node) => self.nodes.insert(at, node),
                None => self.nodes.remove(&at),
            };
        }
    }
}

/// Whether a block lies so near the seed that it may belong to one swatch: 300 stitches or rows.
pub(super) fn within_reach(at: (i32, i32)) -> bool {
    const REACH: i32 = 150;
    at.0.abs() <= REACH && at.1.abs() <= REACH
}

/// The blocks within so many blocks of one, in their order.
pub(super) fn around(nodes: &Nodes, at: (i32, i32), radius: i32) -> Vec<(&(i32, i32), &Node)> {
    let columns = (at.0 - radius)..=(at.0 + radius);
    let column = |i: i32| nodes.range((i, at.1 - radius)..=(i, at.1 + radius));
    columns.flat_map(column).collect()
}

/// Coherence from which on a block is of the same fabric as those nearest the seed.
pub(super) fn least_coherence(nodes: &Nodes) -> f64 {
    let near = nodes.iter().filter(|((i, j), _)| i.abs() <= 2 && j.abs() <= 2);
    (SAME_FABRIC * median(near.map(|(_, n)| n.shift.coherence).collect())).max(LEAST_COHERENCE)
}

fn counts(at: (i32, i32)) -> [f64; 2] {
    [f64::from(at.0 * SPACING), f64::from(at.1 * SPACING)]
}

/// The middle value; 0 of nothing.
pub(crate) fn median(mut v: Vec<f64>) -> f64 {
    if v.is_empty() {
        return 0.0;
    }
    let middle = v.len() / 2;
    *v.select_nth_unstable_by(middle, f64::total_cmp).1
}
