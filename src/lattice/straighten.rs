//! The fabric with its unevenness taken out: resampled so that the lattice that was followed is even all over.
//!
//! A spectrum of uneven fabric is blurred, the more the larger its windows are. Where a lattice was followed, its counts
//! tell how the fabric departs from an even one, whichever multiple of the true lattice it is. Without the departures the
//! lines are as sharp as the windows allow, and what is no line of the fabric blurs away.

use super::LatticeReading;
use crate::fabric::{Patch, TwoColours};
use crate::photo::Photo;
use crate::plane::PlaneMap;
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::side_by_side::map_in_order;

/// Pixels per stitch or row of the lattice that was followed, whichever is smaller. A lattice twice too coarse still
/// leaves 8 px a stitch, 4 px a cycle of its second harmonic.
const PX_PER_CELL: f64 = 16.0;
/// Most pixels (bounded memory and time).
const PIXELS: f64 = 1.6e6;
/// Most block places in the rectangle about a reading: a lattice reaches 150 blocks to every side of its seed, which a fit may
/// stretch a little.
const MOST_PLACES: usize = 400 * 400;

/// Departures of the counts from an even lattice, at block places of the counts.
struct Departures {
    spacing: f64,
    offset: [f64; 2],
    /// Block places of the first column and row.
    first: [i32; 2],
    columns: usize,
    /// By rows; `None` where no block is.
    at: Vec<Option<[f64; 2]>>,
}

impl Departures {
    fn of(reading: &LatticeReading) -> Option<Self> {
        let spacing = f64::from(super::grow::SPACING);
        let n = reading.blocks.len() as f64;
        let even = |p: PlanePoint| counts(reading, p);
        let rests: Vec<[f64; 2]> = reading
            .blocks
            .iter()
            .map(|b| {
                let [s, r] = even(b.at);
                [b.stitches - s, b.rows - r]
            })
            .collect();
        let mean = |axis: usize| rests.iter().map(|r| r[axis]).sum::<f64>() / n;
        let offset = [mean(0), mean(1)];
        if !(offset[0].is_finite() && offset[1].is_finite()) {
            return None;
        }
        let number = |v: f64| (v / spacing).round() as i32;
        let places: Vec<[i32; 2]> = reading.blocks.iter().map(|b| [number(b.stitches), number(b.rows)]).collect();
        let range = |axis: usize| Some((places.iter().map(|p| p[axis]).min()?, places.iter().map(|p| p[axis]).max()?));
        let (columns, rows) = (range(0)?, range(1)?);
        let count = |(low, high): (i32, i32)| high.abs_diff(low) as usize + 1;
        let mut departures = Self {
            spacing,
            offset,
            first: [columns.0, rows.0],
            columns: count(columns),
            at: vec![None; count(columns).checked_mul(count(rows)).filter(|n| *n <= MOST_PLACES)?],
        };
        for (place, r) in places.iter().zip(&rests) {
            if let Some(index) = departures.index(*place) {
                departures.at[index] = Some([r[0] - offset[0], r[1] - offset[1]]);
            }
        }
        Some(departures)
    }

    fn index(&self, [i, j]: [i32; 2]) -> Option<usize> {
        let column = usize::try_from(i.checked_sub(self.first[0])?).ok().filter(|i| *i < self.columns)?;
        let row = usize::try_from(j.checked_sub(self.first[1])?).ok()?;
        Some(row * self.columns + column).filter(|index| *index < self.at.len())
    }

    /// Departure at counts, bilinear between the blocks around; `None` where fewer than two of the four are known.
    fn near(&self, count: [f64; 2]) -> Option<[f64; 2]> {
        let counted = count.map(|c| c / self.spacing);
        let low = counted.map(f64::floor);
        let (mut weight, mut known, mut sum) = (0.0, 0, [0.0; 2]);
        for (di, dj) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
            let place = [low[0] as i32 + di, low[1] as i32 + dj];
            let Some(d) = self.index(place).and_then(|index| self.at[index]) else { continue };
            let part = |axis: usize, k: i32| {
                let t = counted[axis] - low[axis];
                if k == 1 { t } else { 1.0 - t }
            };
            let w = part(0, di) * part(1, dj) + 1e-6;
            known += 1;
            weight += w;
            sum = [sum[0] + w * d[0], sum[1] + w * d[1]];
        }
        (known >= 2).then(|| sum.map(|s| s / weight))
    }
}

/// Counts of the even lattice at a plane point, from an arbitrary zero.
fn counts(reading: &LatticeReading, p: PlanePoint) -> [f64; 2] {
    let b = &reading.basis;
    [b.stitch[0] * p.x + b.stitch[1] * p.y, b.row[0] * p.x + b.row[1] * p.y]
}

/// The fabric that a lattice was followed over, in a plane where that lattice is even and has its mean basis.
pub struct Straightened {
    /// As if knitted in one colour.
    pub patch: Patch,
    /// Where there are two colours: how often they change, per half stitch along the row and half row along the wale.
    pub colour_changes: Option<ColourChanges>,
}

/// Shares of places from which a step leads to the other of two yarns, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ColourChanges {
    /// A step of half a stitch or a whole one along the row, whichever changes more often.
    pub along_row: f64,
    /// The same along the wale, half a row or a whole one.
    pub along_wale: f64,
}

/// The fabric that a lattice was followed over, made even. `None` where the lattice has no area.
pub fn straightened(
    photo: &Photo,
    map: &PlaneMap,
    reading: &LatticeReading,
    excluded: &[Vec<PhotoPoint>],
) -> Option<Straightened> {
    let (stitch_mm, row_mm) = reading.basis.steps_mm()?;
    let departures = Departures::of(reading)?;
    let mut b = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
    for block in &reading.blocks {
        b = [b[0].min(block.at.x), b[1].min(block.at.y), b[2].max(block.at.x), b[3].max(block.at.y)];
    }
    let rim = 1.5 * stitch_mm[0].hypot(stitch_mm[1]).max(row_mm[0].hypot(row_mm[1]));
    let size = (b[2] - b[0] + 2.0 * rim, b[3] - b[1] + 2.0 * rim);
    let centre = PlanePoint::new((b[0] + b[2]) / 2.0, (b[1] + b[3]) / 2.0);
    let cell = stitch_mm[0].hypot(stitch_mm[1]).min(row_mm[0].hypot(row_mm[1]));
    let photo_scale = map.px_per_mm(centre)?;
    let px_per_mm = (PX_PER_CELL / cell).min(1.25 * photo_scale).min((PIXELS / (size.0 * size.1)).sqrt());
    let seen = Patch::resample(photo, map, centre, size, px_per_mm, excluded);
    let (log_rgb, valid) = (vec![[0.0; 3]; seen.log_rgb.len()], vec![0.0; seen.valid.len()]);
    let mut even = Patch { log_rgb, valid, ..seen };
    let rows = even.log_rgb.chunks_mut(even.width).zip(even.valid.chunks_mut(even.width)).enumerate();
    let (origin, even_counts) = (even.origin, |at| counts(reading, at));
    map_in_order(rows, |(y, (log_rgb, valid))| {
        for (x, (log_rgb, valid)) in log_rgb.iter_mut().zip(valid).enumerate() {
            let at = origin.moved((x as f64 + 0.5) / px_per_mm, (y as f64 + 0.5) / px_per_mm);
            let [s, r] = even_counts(at);
            let Some([ds, dr]) = departures.near([s + departures.offset[0], r + departures.offset[1]]) else {
                continue;
            };
            let from = at.moved(-ds * stitch_mm[0] - dr * row_mm[0], -ds * stitch_mm[1] - dr * row_mm[1]);
            if let Some(rgb) = colour_at(&seen, from) {
                (*log_rgb, *valid) = (rgb, 1.0);
            }
        }
    });
    let side_mm = size.0.max(size.1);
    let colours = TwoColours::seen(&even, centre, side_mm, super::settle::DETAIL_CELLS * cell);
    let colour_changes = colours.as_ref().map(|colours| {
        let half = |step: [f64; 2]| step.map(|v| v / 2.0);
        let steps = [half(stitch_mm), stitch_mm, half(row_mm), row_mm];
        let [a, b, c, d] = colours.changes(&even, centre, side_mm, steps);
        ColourChanges { along_row: a.max(b), along_wale: c.max(d) }
    });
    let patch = if let Some(colours) = &colours { even.in_one_colour(colours) } else { even };
    Some(Straightened { patch, colour_changes })
}

/// Colour of a patch at a plane point, bilinear; `None` where one of the four pixels is hidden.
fn colour_at(patch: &Patch, p: PlanePoint) -> Option<[f32; 3]> {
    let x = (p.x - patch.origin.x) * patch.px_per_mm - 0.5;
    let y = (p.y - patch.origin.y) * patch.px_per_mm - 0.5;
    if !(x >= 0.0 && y >= 0.0 && x < patch.width as f64 - 1.0 && y < patch.height as f64 - 1.0) {
        return None;
    }
    let (fx, fy) = (x.fract() as f32, y.fract() as f32);
    let i = y as u32 as usize * patch.width + x as u32 as usize;
    let four = [i, i + 1, i + patch.width, i + patch.width + 1];
    if four.iter().any(|&k| patch.valid[k] < 0.5) {
        return None;
    }
    let [a, b, c, d] = four.map(|k| patch.log_rgb[k]);
    Some(std::array::from_fn(|k| {
        let (top, low) = (a[k] + (b[k] - a[k]) * fx, c[k] + (d[k] - c[k]) * fx);
        top + (low - top) * fy
    }))
}
