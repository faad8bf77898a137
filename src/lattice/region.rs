//! The shape of the grown region: its connected part, outline and extent.

use super::grow::Nodes;
use super::phase::Frame;
use crate::plane::PlaneMap;
use crate::quantity::PhotoPoint;
use std::collections::{BTreeMap, BTreeSet};

/// Keeps the largest set of blocks connected by sides, or through hidden places.
pub(super) fn keep_largest(nodes: &mut Nodes, hidden: &BTreeSet<(i32, i32)>) {
    let blocks: BTreeSet<_> = nodes.keys().copied().collect();
    let kept = largest(&blocks, hidden);
    nodes.retain(|at, _| kept.contains(at));
}

/// The largest part, by its number of blocks, connected by sides or through hidden places.
fn largest(blocks: &BTreeSet<(i32, i32)>, hidden: &BTreeSet<(i32, i32)>) -> BTreeSet<(i32, i32)> {
    let mut left: BTreeSet<(i32, i32)> = blocks.union(hidden).copied().collect();
    let mut largest = BTreeSet::new();
    while let Some(&start) = left.iter().next() {
        let mut part = BTreeSet::new();
        let mut stack = vec![start];
        while let Some(at) = stack.pop() {
            if left.remove(&at) {
                part.insert(at);
                stack.extend([(1, 0), (-1, 0), (0, 1), (0, -1)].map(|(di, dj)| (at.0 + di, at.1 + dj)));
            }
        }
        let size = |part: &BTreeSet<(i32, i32)>| part.intersection(blocks).count();
        if size(&part) > size(&largest) {
            largest = part;
        }
    }
    largest.intersection(blocks).copied().collect()
}

/// Places that are no blocks but lie between two of one row or column with nothing but hidden places, or one missing
/// block, between: what a ruler hides, and single holes.
pub(super) fn enclosed(blocks: &BTreeSet<(i32, i32)>, hidden: &BTreeSet<(i32, i32)>) -> BTreeSet<(i32, i32)> {
    let mut filled = BTreeSet::new();
    let mut fill = |line: &[(i32, i32)]| {
        for pair in line.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            let step = ((b.0 - a.0).signum(), (b.1 - a.1).signum());
            let length = (b.0 - a.0).abs().max((b.1 - a.1).abs());
            let gap: Vec<_> = (1..length).map(|k| (a.0 + k * step.0, a.1 + k * step.1)).collect();
            if gap.len() <= 1 || gap.iter().all(|k| hidden.contains(k)) {
                filled.extend(gap);
            }
        }
    };
    let (mut columns, mut rows) = (BTreeMap::<i32, Vec<_>>::new(), BTreeMap::<i32, Vec<_>>::new());
    for &(i, j) in blocks {
        columns.entry(i).or_default().push((i, j));
        rows.entry(j).or_default().push((i, j));
    }
    columns.values().chain(rows.values()).for_each(|line| fill(line));
    filled
}

/// The parts of a set of blocks into which a square of `side` blocks fits: tongues narrower than that go (morphological
/// opening; Serra 1982).
pub(super) fn opened(blocks: &BTreeSet<(i32, i32)>, side: i32) -> BTreeSet<(i32, i32)> {
    let square = |(i, j): (i32, i32)| (0..side * side).map(move |k| (i + k % side, j + k / side));
    let fits = |at: &(i32, i32)| square(*at).all(|k| blocks.contains(&k));
    blocks.iter().filter(|at| fits(at)).flat_map(|at| square(*at)).collect()
}

/// Whole stitches along the row and rows along the wale from one end of the region to the other.
pub(super) fn extent(blocks: impl Iterator<Item = (i32, i32)>, spacing: i32) -> (f64, f64) {
    let (mut lo, mut hi) = ((i32::MAX, i32::MAX), (i32::MIN, i32::MIN));
    for (i, j) in blocks {
        lo = (lo.0.min(i), lo.1.min(j));
        hi = (hi.0.max(i), hi.1.max(j));
    }
    let span = |lo: i32, hi: i32| if hi >= lo { f64::from((hi - lo + 1) * spacing) } else { 0.0 };
    (span(lo.0, hi.0), span(lo.1, hi.1))
}

/// Outer outline of the blocks in the photo: each block is a square of `spacing` stitches by rows, and the border of
/// their union is walked with the fabric on one side (boundary following; Pavlidis 1982).
pub(super) fn outline(places: &BTreeMap<(i32, i32), Frame>, spacing: i32, map: &PlaneMap) -> Vec<PhotoPoint> {
    // Corner (i, j) is the low corner of block (i, j). Each border edge leads from corner to corner, block on the right.
    let part = largest(&places.keys().copied().collect(), &BTreeSet::new());
    let Some(&start) = part.first() else { return Vec::new() };
    let has = |i: i32, j: i32| part.contains(&(i, j));
    let open = |(i, j): (i32, i32), d: usize| match d {
        0 => has(i, j) && !has(i, j - 1),
        1 => has(i - 1, j) && !has(i, j),
        2 => has(i - 1, j - 1) && !has(i - 1, j),
        _ => has(i, j - 1) && !has(i - 1, j - 1),
    };
    const STEP: [(i32, i32); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];
    let (mut corner, mut d) = (start, 0);
    let mut points = Vec::new();
    // Every border edge is walked once: no more than four a block.
    for _ in 0..4 * part.len() + 4 {
        points.extend(corner_px(places, corner, spacing, map));
        corner = (corner.0 + STEP[d].0, corner.1 + STEP[d].1);
        d = [(d + 3) % 4, d, (d + 1) % 4].into_iter().find(|&next| open(corner, next)).unwrap_or((d + 2) % 4);
        if corner == start && d == 0 {
            break;
        }
    }
    points
}

/// A block corner in the photo, from the mean of the blocks that meet there.
fn corner_px(
    places: &BTreeMap<(i32, i32), Frame>,
    (i, j): (i32, i32),
    spacing: i32,
    map: &PlaneMap,
) -> Option<PhotoPoint> {
    let half = f64::from(spacing) / 2.0;
    let meets = [(i, j, -half, -half), (i - 1, j, half, -half), (i, j - 1, -half, half), (i - 1, j - 1, half, half)];
    let place = |f: &Frame, u: f64, v: f64| {
        f.at.moved(u * f.stitch_mm[0] + v * f.row_mm[0], u * f.stitch_mm[1] + v * f.row_mm[1])
    };
    let corners: Vec<_> = meets.iter().filter_map(|&(i, j, u, v)| Some(place(places.get(&(i, j))?, u, v))).collect();
    let n = corners.len() as f64;
    let mean = crate::quantity::PlanePoint::new(
        corners.iter().map(|p| p.x).sum::<f64>() / n,
        corners.iter().map(|p| p.y).sum::<f64>() / n,
    );
    map.to_photo(mean)
}
