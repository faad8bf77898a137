//! The shape of the grown region: its connected part, outline and extent.

use super::grow::{Node, Nodes};
use crate::plane::PlaneMap;
use crate::quantity::PhotoPoint;
use std::collections::BTreeSet;

/// Keeps the largest set of blocks connected by sides.
pub(super) fn keep_largest(nodes: &mut Nodes) {
    let mut left: BTreeSet<(i32, i32)> = nodes.keys().copied().collect();
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
        if part.len() > largest.len() {
            largest = part;
        }
    }
    nodes.retain(|at, _| largest.contains(at));
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
pub(super) fn outline(nodes: &Nodes, spacing: i32, map: &PlaneMap) -> Vec<PhotoPoint> {
    // Corner (i, j) is the low corner of block (i, j). Each border edge leads from corner to corner, block on the right.
    let Some(&start) = nodes.keys().next() else { return Vec::new() };
    let has = |i: i32, j: i32| nodes.contains_key(&(i, j));
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
    for _ in 0..4 * nodes.len() + 4 {
        points.extend(corner_px(nodes, corner, spacing, map));
        corner = (corner.0 + STEP[d].0, corner.1 + STEP[d].1);
        d = [(d + 3) % 4, d, (d + 1) % 4].into_iter().find(|&next| open(corner, next)).unwrap_or((d + 2) % 4);
        if corner == start && d == 0 {
            break;
        }
    }
    points
}

/// A block corner in the photo, from the mean of the blocks that meet there.
fn corner_px(nodes: &Nodes, (i, j): (i32, i32), spacing: i32, map: &PlaneMap) -> Option<PhotoPoint> {
    let half = f64::from(spacing) / 2.0;
    let meets = [(i, j, -half, -half), (i - 1, j, half, -half), (i, j - 1, -half, half), (i - 1, j - 1, half, half)];
    let place = |n: &Node, u: f64, v: f64| {
        let (u, v) = (u - n.shift.count[0], v - n.shift.count[1]);
        let f = &n.frame;
        f.at.moved(u * f.stitch_mm[0] + v * f.row_mm[0], u * f.stitch_mm[1] + v * f.row_mm[1])
    };
    let places: Vec<_> = meets.iter().filter_map(|&(i, j, u, v)| Some(place(nodes.get(&(i, j))?, u, v))).collect();
    let n = places.len() as f64;
    let mean = crate::quantity::PlanePoint::new(
        places.iter().map(|p| p.x).sum::<f64>() / n,
        places.iter().map(|p| p.y).sum::<f64>() / n,
    );
    map.to_photo(mean)
}
