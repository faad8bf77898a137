//! Chains: strokes side by side at even steps, the seeds from which a train of graduations is grown.

use super::fit::quantile;
use super::strokes::Stroke;
use crate::side_by_side::map_in_order;

/// Neighbouring marks are at most this far apart in the picture that is searched, px. At the coarsest search scale
/// (1600 px) this is a mark every 1/25 of the picture; wider spaced marks are found at no scale.
const STEP_MAX_PX: f64 = 64.0;
/// Smallest step, px: valleys nearer than this merge.
const STEP_MIN_PX: f64 = 2.4;
/// A step belongs to a chain when it differs from the chain's median by no more than this share. Perspective
/// changes the step by a few per cent along a whole ruler; single strokes are placed to about 0.3 px of 4.
const STEP_TOLERANCE: f64 = 0.22;
/// Fewest strokes in a chain.
const STROKES_MIN: usize = 6;
/// Neighbours kept of each stroke, and how many of them are tried for the first step: enough to pass over clutter
/// (numerals, grain) between two marks.
const NEIGHBOURS: usize = 6;
const STARTS: usize = 2;
/// Strokes whose middle lies this near to a longer one are the same ink, px.
const DOUBLE_PX: f64 = 1.3;
/// Most strokes looked at; noise and woven cloth give more, a ruler's own are a few hundred.
const STROKES_MAX: usize = 30_000;
/// Longest walk, in strokes.
const WALK_MAX: usize = 400;
/// How uneven the steps of graduations usually are, and how ragged their ends: the noise of single strokes, px, and a
/// share of the step for perspective and worn marks. Chains are ranked by these; the reading decides.
const UNEVEN_USUAL: (f64, f64) = (0.2, 0.01);
const RAGGED_USUAL: (f64, f64) = (0.8, 0.05);

/// A chain of strokes, in the pixels of the picture that was searched.
#[derive(Debug, Clone)]
pub(super) struct Chain {
    /// The strokes with their index along the chain; all point the same way (from `a` to `b`).
    pub strokes: Vec<(i32, Stroke)>,
    /// Step between neighbouring indices, px.
    pub step_px: f64,
    /// The larger the more like a graduation.
    pub score: f64,
}

impl Chain {
    /// Middles of the first and the last stroke.
    pub fn line(&self) -> [(f64, f64); 2] {
        let middle = |s: Option<&(i32, Stroke)>| s.map_or((0.0, 0.0), |s| s.1.middle());
        [middle(self.strokes.first()), middle(self.strokes.last())]
    }

    /// Direction of the chain, radians.
    pub fn angle(&self) -> f64 {
        let [a, b] = self.line();
        (b.1 - a.1).atan2(b.0 - a.0)
    }
}

/// All chains, the best first.
pub(super) fn find_chains(strokes: &[Stroke]) -> Vec<Chain> {
    let laid: Vec<Laid> = strongest(strokes).into_iter().map(Laid::new).collect();
    let laid = &without_doubles(&laid);
    let grid = StrokeGrid::new(laid);
    let next: Vec<Neighbours> = of_each(laid.len(), |i| [grid.neighbours(i, 1.0), grid.neighbours(i, -1.0)]);
    let mut used = vec![false; laid.len()];
    let mut chains = Vec::new();
    for start in 0..laid.len() {
        if used[start] {
            continue;
        }
        let walks = (0..next[start][0].len().min(STARTS)).map(|k| walk(laid, &next, start, k));
        let Some(members) = walks.max_by_key(Vec::len).filter(|m| m.len() >= STROKES_MIN) else { continue };
        members.iter().for_each(|&(_, i)| used[i] = true);
        chains.extend(chain_of(laid, &members));
    }
    chains.sort_by(|a, b| b.score.total_cmp(&a.score));
    chains
}

/// What is asked of each of so many strokes, some hundred of them at once.
fn of_each<R: Send>(count: usize, ask: impl Fn(usize) -> R + Send + Sync) -> Vec<R> {
    const MANY: usize = 512;
    let some = (0..count).step_by(MANY).map(|from| from..(from + MANY).min(count));
    map_in_order(some, |some| some.map(&ask).collect::<Vec<R>>()).into_iter().flatten().collect()
}

/// The strokes with most ink, no more than [`STROKES_MAX`].
fn strongest(strokes: &[Stroke]) -> Vec<Stroke> {
    let mut list = strokes.to_vec();
    if list.len() > STROKES_MAX {
        let ink = |s: &Stroke| s.depth * s.length();
        list.select_nth_unstable_by(STROKES_MAX, |a, b| ink(b).total_cmp(&ink(a)));
        list.truncate(STROKES_MAX);
    }
    list
}

/// A stroke with what is asked of it often.
#[derive(Clone, Copy)]
struct Laid {
    stroke: Stroke,
    middle: (f64, f64),
    /// Unit vector along it, always with the same handedness: pointing down, or right when level.
    direction: (f64, f64),
    length: f64,
}

impl Laid {
    fn new(s: Stroke) -> Self {
        let length = s.length().max(1e-9);
        let (dx, dy) = ((s.b.0 - s.a.0) / length, (s.b.1 - s.a.1) / length);
        let back = dy < -1e-6 || (dy.abs() <= 1e-6 && dx < 0.0);
        let stroke = if back { Stroke { a: s.b, b: s.a, ..s } } else { s };
        let direction = if back { (-dx, -dy) } else { (dx, dy) };
        Self { stroke, middle: s.middle(), direction, length }
    }
}

/// Strokes without those that lie along a longer one: the same ink seen in two shears.
fn without_doubles(strokes: &[Laid]) -> Vec<Laid> {
    let grid = StrokeGrid::new(strokes);
    let doubled = |i: usize| {
        let s = &strokes[i];
        grid.near(StrokeGrid::cell(s.middle), None).any(|j| {
            let o = &strokes[j];
            let r = (s.middle.0 - o.middle.0, s.middle.1 - o.middle.1);
            let (along, aside) = (dot(r, o.direction), r.0 * o.direction.1 - r.1 * o.direction.0);
            aside.abs() < DOUBLE_PX
                && along.abs() < o.length / 2.0 + 1.0
                && (o.length > s.length || (o.length == s.length && j < i))
                && (s.direction.0 * o.direction.1 - s.direction.1 * o.direction.0).abs() < 0.6
        })
    };
    let doubled = of_each(strokes.len(), doubled);
    strokes.iter().zip(doubled).filter(|(_, doubled)| !doubled).map(|(s, _)| *s).collect()
}

/// Neighbours of a stroke on its left and on its right: (step, stroke), nearest first.
type Neighbours = [Vec<(f64, usize)>; 2];

/// Strokes by place: a list of stroke numbers for each square cell.
struct StrokeGrid<'a> {
    strokes: &'a [Laid],
    columns: usize,
    rows: usize,
    /// Start of each cell's list in `members`, and the end of the last.
    starts: Vec<u32>,
    members: Vec<u32>,
}

impl<'a> StrokeGrid<'a> {
    const CELL_PX: f64 = 16.0;

    fn new(strokes: &'a [Laid]) -> Self {
        let far = |f: fn(&Laid) -> f64| strokes.iter().map(f).fold(0.0, f64::max);
        let columns = (far(|s| s.stroke.a.0.max(s.stroke.b.0)) / Self::CELL_PX) as usize + 1;
        let rows = (far(|s| s.stroke.a.1.max(s.stroke.b.1)) / Self::CELL_PX) as usize + 1;
        let mut entries: Vec<(u32, u32)> = Vec::new();
        for (i, s) in strokes.iter().enumerate() {
            // A long stroke is entered in every cell it passes, so that a short neighbour finds it.
            let steps = (s.length / Self::CELL_PX).ceil().max(1.0) as usize;
            for k in 0..=steps {
                let t = k as f64 / steps as f64 - 0.5;
                let at = (s.middle.0 + s.direction.0 * s.length * t, s.middle.1 + s.direction.1 * s.length * t);
                let cell = |v: f64, n: usize| ((v / Self::CELL_PX).max(0.0) as usize).min(n - 1);
                entries.push(((cell(at.1, rows) * columns + cell(at.0, columns)) as u32, i as u32));
            }
        }
        entries.sort_unstable();
        entries.dedup();
        let mut starts = vec![0u32; columns * rows + 1];
        for e in &entries {
            starts[e.0 as usize + 1] += 1;
        }
        for k in 1..starts.len() {
            starts[k] += starts[k - 1];
        }
        Self { strokes, columns, rows, starts, members: entries.into_iter().map(|e| e.1).collect() }
    }

    /// Column and row of the cell that holds a point; it may lie outside.
    fn cell(p: (f64, f64)) -> (i64, i64) {
        ((p.0 / Self::CELL_PX).floor() as i64, (p.1 / Self::CELL_PX).floor() as i64)
    }

    /// Strokes in the nine cells about one, without those that are about another; some twice.
    fn near(&self, (cx, cy): (i64, i64), seen: Option<(i64, i64)>) -> impl Iterator<Item = usize> {
        let inside = move |v: i64, n: usize| v >= 0 && v < n as i64;
        let is_seen = move |(x, y): (i64, i64)| {
            seen.is_some_and(|(sx, sy): (i64, i64)| (sx - x).abs() <= 1 && (sy - y).abs() <= 1)
        };
        (-1..=1)
            .flat_map(move |dy| (-1..=1).map(move |dx| (cx + dx, cy + dy)))
            .filter(move |&(x, y)| inside(x, self.columns) && inside(y, self.rows) && !is_seen((x, y)))
            .flat_map(move |(x, y)| {
                let cell = y as usize * self.columns + x as usize;
                self.members[self.starts[cell] as usize..self.starts[cell + 1] as usize].iter().map(|&i| i as usize)
            })
    }

    /// The nearest strokes on one side that run parallel beside stroke `i`: (step, stroke), nearest first. The side
    /// is 1 for that to the left of the stroke's direction, -1 for the other.
    fn neighbours(&self, i: usize, hand: f64) -> Vec<(f64, usize)> {
        let s = &self.strokes[i];
        let side = (hand * s.direction.1, -hand * s.direction.0);
        let mut found: Vec<(f64, usize)> = Vec::with_capacity(NEIGHBOURS);
        let mut reach = Self::CELL_PX / 2.0;
        // Along a straight line what is about one cell and about one before is about those between, too.
        let mut seen = None;
        while reach < STEP_MAX_PX && found.len() < NEIGHBOURS {
            let cell = Self::cell((s.middle.0 + side.0 * reach, s.middle.1 + side.1 * reach));
            for j in self.near(cell, seen) {
                if let Some(step) = beside(s, &self.strokes[j], hand)
                    && !found.iter().any(|f| f.1 == j)
                {
                    found.push((step, j));
                }
            }
            seen = Some(cell);
            reach += Self::CELL_PX;
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        found.truncate(NEIGHBOURS);
        found
    }
}

/// Sideways step from `s` to `o` if `o` runs parallel beside it on the side `hand`.
fn beside(s: &Laid, o: &Laid, hand: f64) -> Option<f64> {
    let (d, od) = (s.direction, o.direction);
    let r = (o.middle.0 - s.middle.0, o.middle.1 - s.middle.1);
    let step = hand * (r.0 * d.1 - r.1 * d.0);
    if !(STEP_MIN_PX..=STEP_MAX_PX).contains(&step) {
        return None;
    }
    let along = dot(r, d);
    let shorter = s.length.min(o.length);
    let turn = (d.0 * od.1 - d.1 * od.0).abs();
    let overlap = (s.length / 2.0).min(along + o.length / 2.0) - (-s.length / 2.0).max(along - o.length / 2.0);
    let alike = s.stroke.depth < 3.5 * o.stroke.depth && o.stroke.depth < 3.5 * s.stroke.depth;
    (turn < 0.05 + 0.7 / shorter && overlap > 0.5 * shorter && alike).then_some(step)
}

/// Follows neighbours from `start`, whose `first`-nearest neighbour gives the first step, while the steps stay even;
/// one missing mark is passed over. Indices and stroke numbers.
fn walk(strokes: &[Laid], next: &[Neighbours], start: usize, first: usize) -> Vec<(i32, usize)> {
    let mut members = vec![(0i32, start)];
    let mut steps: Vec<f64> = Vec::new();
    let mut at = start;
    // Neighbouring strokes that are nearly level may point either way: keep to one side of the first.
    let side_of = |i: usize| (dot(strokes[i].direction, strokes[start].direction) < 0.0) as usize;
    while members.len() < WALK_MAX {
        let usual = quantile(steps.iter().rev().take(9).copied(), 0.5);
        let best = match usual {
            None => next[at][0].get(first).map(|&(step, j)| (1.0, step, j)),
            Some(usual) => next[at][side_of(at)]
                .iter()
                .map(|&(step, j)| ((step / usual).round(), step, j))
                .filter(|&(count, step, _)| {
                    (1.0..=2.0).contains(&count) && (step / usual - count).abs() <= STEP_TOLERANCE
                })
                .min_by(|a, b| unlike(strokes, usual, at, *a).total_cmp(&unlike(strokes, usual, at, *b))),
        };
        let Some((count, step, j)) = best else { break };
        steps.push(step / count);
        members.push((members[members.len() - 1].0 + count as i32, j));
        at = j;
    }
    members
}

/// How badly a neighbour (count of steps, step, stroke) continues a chain: uneven step, passed-over mark, other ink.
fn unlike(strokes: &[Laid], usual: f64, at: usize, (count, step, j): (f64, f64, usize)) -> f64 {
    let (s, o) = (&strokes[at], &strokes[j]);
    (step / usual - count).abs() + (count - 1.0) + 0.1 * (s.stroke.depth / o.stroke.depth).ln().abs()
}

/// Chain with its score: many strokes at even steps, with the ends of one side in line.
fn chain_of(strokes: &[Laid], members: &[(i32, usize)]) -> Option<Chain> {
    let list: Vec<(i32, Stroke)> = members
        .iter()
        .map(|&(i, j)| {
            let s = strokes[j].stroke;
            let with_first = dot(strokes[j].direction, strokes[members[0].1].direction) >= 0.0;
            (i, if with_first { s } else { Stroke { a: s.b, b: s.a, ..s } })
        })
        .collect();
    let (d, side) = mean_axes(&list);
    let places: Vec<(f64, f64)> = list.iter().map(|m| (m.0 as f64, dot(m.1.middle(), side))).collect();
    let step = quantile(places.windows(2).map(|w| (w[1].1 - w[0].1) / (w[1].0 - w[0].0)), 0.5)?;
    let uneven = bend(&places)? / (UNEVEN_USUAL.0 + UNEVEN_USUAL.1 * step);
    let ends = |end: fn(&Stroke) -> (f64, f64)| -> Vec<(f64, f64)> {
        list.iter().map(|m| (m.0 as f64, dot(end(&m.1), d))).collect()
    };
    let ragged = bend(&ends(|s| s.a))?.min(bend(&ends(|s| s.b))?) / (RAGGED_USUAL.0 + RAGGED_USUAL.1 * step);
    let score = list.len() as f64 * (-uneven - ragged).exp();
    (step >= STEP_MIN_PX && score.is_finite()).then_some(Chain { strokes: list, step_px: step, score })
}

/// Unit vectors along the strokes of a chain, on average, and square to them.
fn mean_axes(list: &[(i32, Stroke)]) -> ((f64, f64), (f64, f64)) {
    let (x, y) = list.iter().fold((0.0, 0.0), |(x, y), (_, s)| (x + s.b.0 - s.a.0, y + s.b.1 - s.a.1));
    let l = x.hypot(y).max(1e-9);
    ((x / l, y / l), (y / l, -x / l))
}

fn dot(p: (f64, f64), q: (f64, f64)) -> f64 {
    p.0 * q.0 + p.1 * q.1
}

/// Median departure of a point from the straight line between its two neighbours.
fn bend(points: &[(f64, f64)]) -> Option<f64> {
    let bends: Vec<f64> = points
        .windows(3)
        .map(|w| {
            let t = (w[1].0 - w[0].0) / (w[2].0 - w[0].0);
            (w[0].1 + (w[2].1 - w[0].1) * t - w[1].1).abs()
        })
        .collect();
    quantile(bends, 0.5)
}
