//! The loops themselves: places that look like the fabric's own mean stitch, so that a person can check the count by eye.
//!
//! The mean stitch is gathered over the whole region; then every cell is searched for the place that looks most like it
//! (normalised cross-correlation; Lewis 1995). A loop is found where it is, not where the fitted lines say; a cell in
//! which nothing looks like a stitch stays empty.

use super::phase::Reader;
use super::settle::working_sheet;
use super::{Decision, LatticeReading, PhaseBlock};
use crate::fabric::Sheet;
use crate::photo::Photo;
use crate::plane::PlaneMap;
use crate::quantity::{PhotoPoint, PlanePoint};
use std::collections::BTreeMap;

/// One loop that was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoopSeen {
    /// Stitch and row number, from the zero of the reading's counts.
    pub index: (i64, i64),
    /// Where its middle lies in the photo.
    pub at_px: PhotoPoint,
    /// How much it looks like the mean stitch: correlation, −1 to 1.
    pub score: f64,
}

/// Samples along a side of the motif, and its side in stitches and rows.
const SIDE: usize = 10;
const SIDE_CELLS: f64 = 1.25;
/// Steps from a cell's middle to its edge in the search.
const STEPS: i32 = 3;
/// Least correlation of a loop (stated choice: half-way to unrelated texture, which stays under a quarter).
const LEAST_SCORE: f64 = 0.35;
/// Different stitches kept apart in one repeat at most (knit and purl look different; larger repeats are averaged).
const MOST_KINDS: u32 = 4;

/// Finds the loops of the grown region. `excluded` as for [`super::grow`].
pub fn loops(
    photo: &Photo,
    map: &PlaneMap,
    decision: &Decision,
    reading: &LatticeReading,
    excluded: &[Vec<PhotoPoint>],
) -> Vec<LoopSeen> {
    let Some((stitch_mm, row_mm)) = reading.basis.steps_mm() else { return Vec::new() };
    let Ok(sheet) = working_sheet(photo, map, decision, excluded, Some(&reading.region_px)) else { return Vec::new() };
    let (a, b) = (decision.pattern.repeat_stitches.max(1), decision.pattern.repeat_rows.max(1));
    let kinds = if a * b <= MOST_KINDS { (i64::from(a), i64::from(b)) } else { (1, 1) };
    let cells = cells(&reading.blocks);
    let finder = Finder { sheet: &sheet, stitch_mm, row_mm };
    let middle = finder.middle(&cells);
    let mut motifs: BTreeMap<(i64, i64), Patch> = BTreeMap::new();
    for (index, block) in &cells {
        let patch = finder.patch(finder.place(block, *index, middle));
        let motif = motifs.entry(kind(*index, kinds)).or_insert([0.0; SIDE * SIDE]);
        motif.iter_mut().zip(patch).for_each(|(m, p)| *m += p);
    }
    let seen = |(index, block): (&(i64, i64), &&PhaseBlock)| {
        let motif = motifs.get(&kind(*index, kinds))?;
        let (at, score) = finder.best(motif, finder.place(block, *index, middle))?;
        let at_px = map.to_photo(at)?;
        Some(LoopSeen { index: *index, at_px, score })
    };
    cells.iter().filter_map(seen).collect()
}

type Patch = [f32; SIDE * SIDE];

fn kind(index: (i64, i64), kinds: (i64, i64)) -> (i64, i64) {
    (index.0.rem_euclid(kinds.0), index.1.rem_euclid(kinds.1))
}

/// Every stitch within one stitch and row of a block, with the nearest block.
fn cells(blocks: &[PhaseBlock]) -> BTreeMap<(i64, i64), &PhaseBlock> {
    let mut cells: BTreeMap<(i64, i64), &PhaseBlock> = BTreeMap::new();
    let off = |b: &PhaseBlock, (s, r): (i64, i64)| (b.stitches - s as f64).hypot(b.rows - r as f64);
    for block in blocks {
        let (s, r) = (block.stitches.round() as i64, block.rows.round() as i64);
        for index in (-1..=1).flat_map(|i| (-1..=1).map(move |j| (s + i, r + j))) {
            let nearest = cells.entry(index).or_insert(block);
            if off(block, index) < off(nearest, index) {
                *nearest = block;
            }
        }
    }
    cells
}

struct Finder<'a> {
    sheet: &'a Sheet,
    stitch_mm: [f64; 2],
    row_mm: [f64; 2],
}

impl Finder<'_> {
    fn moved(&self, at: PlanePoint, stitches: f64, rows: f64) -> PlanePoint {
        at.moved(
            stitches * self.stitch_mm[0] + rows * self.row_mm[0],
            stitches * self.stitch_mm[1] + rows * self.row_mm[1],
        )
    }

    /// The place of a stitch number, whose middle lies `middle` off the whole count.
    fn place(&self, block: &PhaseBlock, index: (i64, i64), middle: (f64, f64)) -> PlanePoint {
        let (s, r) = (index.0 as f64 + middle.0, index.1 as f64 + middle.1);
        self.moved(block.at, s - block.stitches, r - block.rows)
    }

    /// The sheet around a place in the lattice's own coordinates.
    fn patch(&self, at: PlanePoint) -> Patch {
        let reader = Reader::new(self.sheet);
        let off = |k: usize| ((k as f64 + 0.5) / SIDE as f64 - 0.5) * SIDE_CELLS;
        std::array::from_fn(|k| {
            let p = self.moved(at, off(k % SIDE), off(k / SIDE));
            reader.at(p.x, p.y).unwrap_or(0.0)
        })
    }

    /// Where in the cell the stitch's middle lies: the brightest place of the mean cell, where the yarn is nearest the
    /// light, along the row as far as it is the mirror's axis.
    fn middle(&self, cells: &BTreeMap<(i64, i64), &PhaseBlock>) -> (f64, f64) {
        const PARTS: i32 = 8;
        let step = cells.len().div_ceil(200);
        let mean = |u: f64, v: f64| -> Patch {
            let mut sum = [0.0_f32; SIDE * SIDE];
            for (index, block) in cells.iter().step_by(step) {
                let patch = self.patch(self.place(block, *index, (u, v)));
                sum.iter_mut().zip(patch).for_each(|(s, p)| *s += p);
            }
            sum
        };
        let mut best = (f32::NEG_INFINITY, (0.0, 0.0));
        for k in 0..PARTS * PARTS {
            let part = |i: i32| f64::from(i) / f64::from(PARTS) - 0.5;
            let (u, v) = (part(k % PARTS), part(k / PARTS));
            let m = mean(u, v);
            let mirror: f32 = (0..SIDE * SIDE).map(|i| m[i] * m[i / SIDE * SIDE + SIDE - 1 - i % SIDE]).sum();
            let power: f32 = m.iter().map(|v| v * v).sum::<f32>().max(1e-12);
            let bright: f32 = m.iter().sum::<f32>() / (power * (SIDE * SIDE) as f32).sqrt();
            if mirror / power + bright > best.0 {
                best = (mirror / power + bright, (u, v));
            }
        }
        best.1
    }

    /// The place within half a cell that looks most like the motif, and how much. `None` where nothing does, or where the
    /// likeness still grows beyond the cell.
    fn best(&self, motif: &Patch, at: PlanePoint) -> Option<(PlanePoint, f64)> {
        let score = |a: f64, b: f64| correlation(motif, &self.patch(self.moved(at, a, b)));
        let coarse = 0.5 / f64::from(STEPS);
        let mut best = (f64::NEG_INFINITY, 0, 0);
        for a in -STEPS..=STEPS {
            for b in -STEPS..=STEPS {
                let s = score(f64::from(a) * coarse, f64::from(b) * coarse);
                if s > best.0 {
                    best = (s, a, b);
                }
            }
        }
        let (top, a, b) = best;
        if top < LEAST_SCORE || a.abs() == STEPS || b.abs() == STEPS {
            return None;
        }
        let (u, v) = (f64::from(a) * coarse, f64::from(b) * coarse);
        let vertex = |below: f64, above: f64| {
            let bend = 2.0 * top - below - above;
            if bend > 1e-9 { (0.5 * (above - below) / bend).clamp(-0.5, 0.5) * coarse } else { 0.0 }
        };
        let du = vertex(score(u - coarse, v), score(u + coarse, v));
        let dv = vertex(score(u, v - coarse), score(u, v + coarse));
        Some((self.moved(at, u + du, v + dv), top))
    }
}

/// Correlation of two patches about their means, −1 to 1.
fn correlation(a: &Patch, b: &Patch) -> f64 {
    let n = (SIDE * SIDE) as f32;
    let (ma, mb) = (a.iter().sum::<f32>() / n, b.iter().sum::<f32>() / n);
    let (mut ab, mut aa, mut bb) = (0.0_f32, 1e-12_f32, 1e-12_f32);
    for (x, y) in a.iter().zip(b) {
        let (x, y) = (x - ma, y - mb);
        ab += x * y;
        aa += x * x;
        bb += y * y;
    }
    f64::from(ab / (aa * bb).sqrt())
}
