//! The start of growing: the sheet to work on, and the steps tuned at the seed.

use super::Decision;
use super::phase::{Demodulator, Frame, Window};
use super::reader::Reader;
use crate::fabric::{Patch, Sheet, TwoColours};
use crate::photo::Photo;
use crate::plane::PlaneMap;
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::refusal::{Refusal, RefusalCode};
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Sheet pixels wanted per stitch or row, whichever is smaller: harmonics to the second keep 4.5 px a cycle.
const PX_PER_CELL: f64 = 9.0;
/// Most pixels in the working sheet (bounded memory and time).
const SHEET_LIMIT: f64 = 4.0e6;

/// Stitches or rows about the seed in which the yarns' colours are looked for, and over which one's colour is told.
const COLOUR_CELLS: f64 = 16.0;
pub(super) const DETAIL_CELLS: f64 = 0.2;

/// How much of the fabric's plane a working sheet shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Extent {
    /// A few stitches and rows around the seed.
    Near,
    /// All that the photo may show.
    Whole,
}

/// Stitches and rows, whichever are longer, that a near sheet shows to every side of its seed: eleven are followed on it, which
/// is as far as most lattices go that are none of the fabric's.
const NEAR_CELLS: f64 = 16.0;
/// Of these, what windows and evened light reach beyond the place that is read: a window of six cells three, on a slant more;
/// light is evened twice over a tent of 1.6.
const RIM_CELLS: f64 = 5.0;

/// What a lattice is followed on.
pub(super) struct WorkingSheet {
    pub sheet: Sheet,
    /// Where places can be read as on a sheet of all that the photo shows: x0, y0, x1, y1 in mm.
    pub within: [f64; 4],
}

impl WorkingSheet {
    /// Whether a place is read as on the whole sheet.
    pub fn holds(&self, at: PlanePoint) -> bool {
        let [x0, y0, x1, y1] = self.within;
        (x0..=x1).contains(&at.x) && (y0..=y1).contains(&at.y)
    }
}

/// The even-lit sheet of what the photo may show of the fabric's plane, around the seed, in the decision's projection.
pub(super) fn working_sheet(
    photo: &Photo,
    map: &PlaneMap,
    decision: &Decision,
    excluded: &[Vec<PhotoPoint>],
    region: Option<&[PhotoPoint]>,
    extent: Extent,
) -> Result<WorkingSheet, Refusal> {
    let nowhere = || Refusal::new(RefusalCode::LatticeUnclear, "the seed lies outside the photo's plane");
    let (s, r) = decision.basis.steps_mm().ok_or_else(nowhere)?;
    let (s, r) = (s[0].hypot(s[1]), r[0].hypot(r[1]));
    let photo_scale = map.px_per_mm(decision.seed).ok_or_else(nowhere)?;
    let px_per_mm = (PX_PER_CELL / s.min(r)).min(1.25 * photo_scale);
    let [x0, y0, x1, y1] = visible_plane(photo, map, region);
    // A very oblique photo sees far into the distance: keep to what bounded memory holds around the seed.
    let reach = 0.5 * SHEET_LIMIT.sqrt() / px_per_mm;
    let clip = |lo: f64, hi: f64, at: f64, reach: f64| (lo.max(at - reach), hi.min(at + reach));
    let at = decision.seed;
    let ((x0, x1), (y0, y1)) = (clip(x0, x1, at.x, 2.0 * reach), clip(y0, y1, at.y, 2.0 * reach));
    let area = (x1 - x0) * (y1 - y0) * px_per_mm * px_per_mm;
    let whole = if area > SHEET_LIMIT {
        (clip(x0, x1, at.x, reach.max(1.0)), clip(y0, y1, at.y, reach.max(1.0)))
    } else {
        ((x0, x1), (y0, y1))
    };
    let reach = NEAR_CELLS * s.max(r);
    let near = |side: (f64, f64), at: f64| on_pixels_of(side, clip(side.0, side.1, at, reach), px_per_mm);
    let near = (near(whole.0, at.x), near(whole.1, at.y));
    let size = |((x0, x1), (y0, y1)): ((f64, f64), (f64, f64))| (x1 - x0) * (y1 - y0);
    // A near sheet that shows most of the whole saves nothing.
    let shown = if extent == Extent::Near && 2.0 * size(near) < size(whole) { near } else { whole };
    let ((x0, x1), (y0, y1)) = shown;
    if !(x1 > x0 && y1 > y0) {
        return Err(nowhere());
    }
    let rim = RIM_CELLS * s.max(r);
    // Beyond an edge that the whole sheet has, too, there is nothing to be read.
    let inner = |(lo, hi): (f64, f64), whole: (f64, f64)| {
        let open = |cut: bool, value: f64, beyond: f64| if cut { value } else { beyond };
        (open(lo > whole.0, lo + rim, f64::NEG_INFINITY), open(hi < whole.1, hi - rim, f64::INFINITY))
    };
    let (across, down) = (inner(shown.0, whole.0), inner(shown.1, whole.1));
    let centre = PlanePoint::new((x0 + x1) / 2.0, (y0 + y1) / 2.0);
    let patch = Patch::resample(photo, map, centre, (x1 - x0, y1 - y0), px_per_mm, excluded);
    let colours = TwoColours::seen(&patch, decision.seed, COLOUR_CELLS * s.max(r), DETAIL_CELLS * s.min(r));
    let patch = if let Some(colours) = &colours { patch.in_one_colour(colours) } else { patch };
    // Light is evened over about one and a half stitches or rows, whichever is longer: the lattice's own lines pass.
    let sheet = patch.sheet(decision.weights, 1.6 * s.max(r));
    Ok(WorkingSheet { sheet, within: [across.0, down.0, across.1, down.1] })
}

/// A part of a sheet's side, in mm, widened to whole cells of the sheet's map grid: so a sheet of the part has the same pixels.
fn on_pixels_of((from, to): (f64, f64), part: (f64, f64), px_per_mm: f64) -> (f64, f64) {
    let cell = Patch::MAP_STEP as f64 / px_per_mm;
    let pixels = ((to - from) * px_per_mm - 1e-6).ceil();
    let (start, end) = ((from + to) / 2.0 - pixels / 2.0 / px_per_mm, (from + to) / 2.0 + pixels / 2.0 / px_per_mm);
    let cells = |mm: f64| (mm - start) / cell;
    ((start + cell * cells(part.0).floor()).max(start), (start + cell * cells(part.1).ceil()).min(end))
}

/// Bounding box in the plane of the photo's frame, or of the region: x0, y0, x1, y1 in mm.
fn visible_plane(photo: &Photo, map: &PlaneMap, region: Option<&[PhotoPoint]>) -> [f64; 4] {
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    let (mut lo, mut hi) = (PhotoPoint::new(0.0, 0.0), PhotoPoint::new(w, h));
    if let Some(polygon) = region.filter(|p| !p.is_empty()) {
        let min = |f: fn(&PhotoPoint) -> f64| polygon.iter().map(f).fold(f64::INFINITY, f64::min);
        let max = |f: fn(&PhotoPoint) -> f64| polygon.iter().map(f).fold(f64::NEG_INFINITY, f64::max);
        lo = PhotoPoint::new(min(|p| p.x).max(0.0), min(|p| p.y).max(0.0));
        hi = PhotoPoint::new(max(|p| p.x).min(w), max(|p| p.y).min(h));
    }
    let mut b = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
    const SIDE: usize = 9;
    for k in 0..SIDE * SIDE {
        let part = |i: usize| i as f64 / (SIDE - 1) as f64;
        let at = PhotoPoint::new(lo.x + (hi.x - lo.x) * part(k % SIDE), lo.y + (hi.y - lo.y) * part(k / SIDE));
        if let Some(p) = map.to_plane(at) {
            b = [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)];
        }
    }
    b
}

/// Tunes the coarse basis at the seed: phase differences between windows some cells apart give the true steps.
pub(super) fn settle(demodulator: &Demodulator, reader: &Reader, decision: &Decision) -> Option<Frame> {
    let (stitch_mm, row_mm) = decision.basis.steps_mm()?;
    let mut frame = Frame { at: decision.seed, stitch_mm, row_mm };
    // A basis off by 4 % is 0.16 of a stitch over 4, a third of a cycle of the second harmonic: no ambiguity yet.
    for reach in [4.0, 4.0, 6.0, 8.0] {
        let excess = |step: [f64; 2]| {
            let side = |k: f64| {
                let at = frame.at.moved(k * step[0] * reach / 2.0, k * step[1] * reach / 2.0);
                demodulator.window(reader, &Frame { at, ..frame })
            };
            (side(-1.0), side(1.0))
        };
        let along_row = count_between(demodulator, &excess(frame.stitch_mm), [reach, 0.0])?;
        let along_wale = count_between(demodulator, &excess(frame.row_mm), [0.0, reach])?;
        let m = nalgebra::Matrix2::new(along_row[0], along_wale[0], along_row[1], along_wale[1]) / reach;
        let steps = nalgebra::Matrix2::new(frame.stitch_mm[0], frame.row_mm[0], frame.stitch_mm[1], frame.row_mm[1]);
        let steps = steps * m.try_inverse()?;
        frame.stitch_mm = [steps[(0, 0)], steps[(1, 0)]];
        frame.row_mm = [steps[(0, 1)], steps[(1, 1)]];
    }
    Some(frame)
}

/// Counts from one window to another, near `assumed`, by weighted least squares of the lines' phase differences.
fn count_between(demodulator: &Demodulator, ends: &(Window, Window), assumed: [f64; 2]) -> Option<[f64; 2]> {
    let mut normal = nalgebra::Matrix2::<f64>::zeros();
    let mut right = nalgebra::Vector2::<f64>::zeros();
    for (q, &(h, k)) in demodulator.lines.iter().enumerate() {
        let turn = ends.1.lines[q] * ends.0.lines[q].conj();
        let rest = turn * Complex64::from_polar(1.0, -TAU * (h * assumed[0] + k * assumed[1]));
        let (weight, cycles) = (turn.norm(), rest.arg() / TAU);
        normal += nalgebra::Matrix2::new(h * h, h * k, h * k, k * k) * weight;
        right += nalgebra::Vector2::new(h, k) * (cycles * weight);
    }
    let d = normal.try_inverse()? * right;
    (d.x.is_finite() && d.y.is_finite()).then_some([assumed[0] + d.x, assumed[1] + d.y])
}
