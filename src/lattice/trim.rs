//! What of the grown lattice is kept: blocks that do not belong, a rim that looks over the fabric's edge, and tongues go.

use super::grow::{Node, Nodes, SIDES, around, least_coherence, median};
use super::region;
use std::collections::BTreeSet;

/// Blocks at the rim whose misfit exceeds this many medians go: inside the fabric one in twenty does (measured).
const PEEL_MISFIT: f64 = 2.2;
/// Blocks at the rim whose contrast is under this share of the median go.
const PEEL_GAIN: f64 = 0.75;
/// Layers taken off at most: wider than the border of a usual swatch.
const PEEL_LAYERS: usize = 6;

/// Drops blocks that no longer belong or that contradict their neighbours, peels off the rim where it does not look like the
/// inside, and keeps the part that hangs together, through `hidden` places too.
pub(super) fn trim(nodes: &mut Nodes, hidden: &BTreeSet<(i32, i32)>) {
    let least = least_coherence(nodes);
    let spread = |axis: usize| 1.4826 * median(nodes.values().map(|n| n.shift.count[axis].abs()).collect());
    let limit = [(5.0 * spread(0)).max(0.02), (5.0 * spread(1)).max(0.02)];
    nodes.retain(|_, n| n.shift.coherence >= least && (0..2).all(|axis| n.shift.count[axis].abs() <= limit[axis]));
    let whole = nodes.clone();
    peel(nodes);
    even_out(nodes, &whole, hidden);
    region::keep_largest(nodes, hidden);
}

/// Takes off the rim, layer by layer, blocks whose lines fit the motif clearly worse or fainter than usual: windows that look
/// over the fabric's edge, or at a border in another stitch.
fn peel(nodes: &mut Nodes) {
    let misfit = PEEL_MISFIT * median(nodes.values().map(|n| n.shift.misfit).collect());
    let gain = PEEL_GAIN * median(nodes.values().map(|n| n.shift.gain).collect());
    for _ in 0..PEEL_LAYERS {
        let at_rim = |k: &(i32, i32)| SIDES.iter().any(|(di, dj)| !nodes.contains_key(&(k.0 + di, k.1 + dj)));
        let odd = |n: &Node| n.shift.misfit > misfit || n.shift.gain < gain;
        let off: Vec<_> = nodes.iter().filter(|(k, n)| odd(n) && at_rim(k)).map(|(k, _)| *k).collect();
        if off.is_empty() || off.len() + 12 > nodes.len() {
            return;
        }
        off.iter().for_each(|k| drop(nodes.remove(k)));
    }
}

/// Evens the outline: takes back those of the `whole` that were peeled and lie among kept ones, and drops tongues.
fn even_out(nodes: &mut Nodes, whole: &Nodes, hidden: &BTreeSet<(i32, i32)>) {
    for _ in 0..2 {
        let among = |k: &(i32, i32)| !nodes.contains_key(k) && around(nodes, *k, 1).len() >= 5;
        let back: Vec<_> = whole.iter().filter(|(k, _)| among(k)).map(|(k, n)| (*k, n.clone())).collect();
        nodes.extend(back);
    }
    let blocks: BTreeSet<_> = nodes.keys().copied().collect();
    let solid = blocks.union(&region::enclosed(&blocks, hidden)).copied().collect();
    let (wide, narrow) = (region::opened(&solid, 3), region::opened(&solid, 2));
    // A small swatch may be narrower than three blocks where the ruler lies.
    let kept = if 10 * wide.len() >= 8 * narrow.len() { wide } else { narrow };
    // A single line of blocks beyond a ruler is the fabric's edge: it must be broader without what is hidden, too.
    let seen = region::opened(&blocks, 2);
    nodes.retain(|k, _| kept.contains(k) && seen.contains(k));
}
