//! The shape of the grown region: its connected part, outline and extent.

use super::grow::Nodes;
use super::phase::Frame;
use crate::plane::PlaneMap;
use crate::quantity::PhotoPoint;
use std::collections::{BTreeMap, BTreeSet};

/// Keeps the largest set of blocks connected by sides, or through hidden places.
pub(super) fn keep_largest(nodes: &mut Nodes, hidden: &BTreeSet<(i32, i32)>) {
    let mut left: BTreeSet<(i32, i32)> = nodes.keys().chain(hidden).copied().collect();
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
        let size = |part: &BTreeSet<(i32, i32)>| part.iter().filter(|k| nodes.contains_key(k)).count();
        if size(&part) > size(&largest) {
            largest = part;
        }
    }
    nodes.retain(|at, _| largest.contains(at));
}

/// Places that are no blocks but lie between two in both their row and their column: holes, and what a ruler hides.
pub(super) fn enclosed(blocks: impl Iterator<Item = (i32, i32)>) -> Vec<(i32, i32)> {
    let blocks: BTreeSet<(i32, i32)> = blocks.collect();
    let (mut columns, mut rows) = (BTreeMap::new(), BTreeMap::new());
    let widen = |range: &mut (i32, i32), v: i32| *range = (range.0.min(v), range.1.max(v));
    for &(i, j) in &blocks {
        widen(columns.entry(i).or_insert((j, j)), j);
        widen(rows.entry(j).or_insert((i, i)), i);
    }
    let between = |i: i32, j: i32| {
        let in_row = rows.get(&j).is_some_and(|r| (r.0..=r.1).contains(&i));
        in_row || !rows.contains_key(&j)
    };
    let column = |(&i, &(lo, hi)): (&i32, &(i32, i32))| (lo..=hi).map(move |j| (i, j)).collect::<Vec<_>>();
    columns.iter().flat_map(column).filter(|&(i, j)| !blocks.contains(&(i, j)) && between(i, j)).collect()
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
    let Some(&start) = places.keys().next() else { return Vec::new() };
    let has = |i: i32, j: i32| places.contains_key(&(i, j));
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
    for _ in 0..4 * places.len() + 4 {
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
