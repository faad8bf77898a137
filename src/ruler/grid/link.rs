//! Linking corners into a grid: from a corner and two neighbours outwards, always to the corner where the next is due.

use super::corners::Crossing;
use std::collections::{BTreeMap, VecDeque};

/// Strongest corners tried as the start of a grid.
const SEEDS: usize = 60;

/// Nearest corners looked at as a seed's neighbours.
const NEIGHBOURS: usize = 10;

/// How far from its due place the next corner may lie, as a share of the step.
const CATCH_SHARE: f64 = 0.2;

/// Corners by their numbers along both directions.
pub(super) struct Linked {
    /// Places in the reduced picture.
    pub nodes: BTreeMap<(i32, i32), (f64, f64)>,
}

/// Grids that can be grown from the strongest corners, each corner in one of them, the largest first.
pub(super) fn grids(crossings: &[Crossing]) -> Vec<Linked> {
    let mut found = Vec::new();
    let mut taken = vec![false; crossings.len()];
    for seed in 0..crossings.len().min(SEEDS) {
        if taken[seed] {
            continue;
        }
        let grown = frames(crossings, seed).into_iter().map(|(u, v)| grow(crossings, seed, u, v));
        if let Some((nodes, used)) = grown.max_by_key(|(nodes, _)| nodes.len()) {
            used.into_iter().for_each(|i| taken[i] = true);
            found.push(Linked { nodes });
        }
    }
    found.sort_by_key(|g| std::cmp::Reverse(g.nodes.len()));
    found
}

/// Pairs of steps from a corner to neighbours, roughly square to each other and of like length, shortest first.
fn frames(crossings: &[Crossing], seed: usize) -> Vec<((f64, f64), (f64, f64))> {
    let from = crossings[seed];
    let mut near: Vec<(f64, f64)> = crossings
        .iter()
        .enumerate()
        .filter(|(i, c)| *i != seed && is_neighbour(&from, c))
        .map(|(_, c)| (c.x - from.x, c.y - from.y))
        .collect();
    near.sort_by(|a, b| a.0.hypot(a.1).total_cmp(&b.0.hypot(b.1)));
    near.truncate(NEIGHBOURS);
    let mut frames = Vec::new();
    for (i, u) in near.iter().enumerate() {
        for v in &near[i + 1..] {
            let (a, b) = (u.0.hypot(u.1), v.0.hypot(v.1));
            let sine = (u.0 * v.1 - u.1 * v.0) / (a * b).max(1e-9);
            if a > 4.0 && b / a < 1.7 && sine.abs() > 0.8 {
                frames.push((*u, *v));
            }
        }
    }
    frames.truncate(6);
    frames
}

/// Whether two corners may be neighbours: on a checkerboard their dark sectors are turned by a quarter.
fn is_neighbour(a: &Crossing, b: &Crossing) -> bool {
    match (a.phase, b.phase) {
        (Some(a), Some(b)) => (a - b).cos() < -0.5,
        _ => true,
    }
}

type Nodes = BTreeMap<(i32, i32), (f64, f64)>;

/// Grows from one corner; also tells which corners were used.
fn grow(crossings: &[Crossing], seed: usize, u: (f64, f64), v: (f64, f64)) -> (Nodes, Vec<usize>) {
    let start = crossings[seed];
    let mut nodes: Nodes = BTreeMap::from([((0, 0), (start.x, start.y))]);
    let mut used = vec![seed];
    let mut free: Vec<bool> = (0..crossings.len()).map(|i| i != seed).collect();
    let mut queue = VecDeque::from([(0, 0)]);
    let mut of: BTreeMap<(i32, i32), usize> = BTreeMap::from([((0, 0), seed)]);
    while let Some(at) = queue.pop_front() {
        for (di, dj) in [(1, 0), (-1, 0), (0, 1), (0, -1)] {
            let next = (at.0 + di, at.1 + dj);
            if nodes.contains_key(&next) {
                continue;
            }
            let (due, step) = due(&nodes, at, (di, dj), u, v);
            let found = crossings
                .iter()
                .enumerate()
                .filter(|(i, c)| free[*i] && is_neighbour(&crossings[of[&at]], c))
                .map(|(i, c)| (i, (c.x - due.0).hypot(c.y - due.1)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            if let Some((i, _)) = found.filter(|(_, off)| *off < CATCH_SHARE * step) {
                free[i] = false;
                used.push(i);
                of.insert(next, i);
                nodes.insert(next, (crossings[i].x, crossings[i].y));
                queue.push_back(next);
            }
        }
    }
    (nodes, used)
}

/// Where the corner one step on is due, and the step's length: as the last step went where there is one, else as a
/// parallel step next to it, else as at the start.
fn due(nodes: &Nodes, at: (i32, i32), d: (i32, i32), u: (f64, f64), v: (f64, f64)) -> ((f64, f64), f64) {
    let here = nodes[&at];
    let behind = nodes.get(&(at.0 - d.0, at.1 - d.1)).map(|b| (here.0 - b.0, here.1 - b.1));
    let beside = [(d.1, d.0), (-d.1, -d.0)].into_iter().find_map(|s| {
        let from = nodes.get(&(at.0 + s.0, at.1 + s.1))?;
        let to = nodes.get(&(at.0 + s.0 + d.0, at.1 + s.1 + d.1))?;
        Some((to.0 - from.0, to.1 - from.1))
    });
    let start = (f64::from(d.0) * u.0 + f64::from(d.1) * v.0, f64::from(d.0) * u.1 + f64::from(d.1) * v.1);
    let step = behind.or(beside).unwrap_or(start);
    ((here.0 + step.0, here.1 + step.1), step.0.hypot(step.1))
}
