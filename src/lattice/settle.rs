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

/// The even-lit sheet of all that the photo may show of the fabric's plane, around the seed, in the decision's projection.
pub(super) fn working_sheet(
    photo: &Photo,
    map: &PlaneMap,
    decision: &Decision,
    excluded: &[Vec<PhotoPoint>],
    region: Option<&[PhotoPoint]>,
) -> Result<Sheet, Refusal> {
    let nowhere = || Refusal::new(RefusalCode::LatticeUnclear, "the seed lies outside the photo's plane");
    let (s, r) = decision.basis.steps_mm().ok_or_else(nowhere)?;
    let (s, r) = (s[0].hypot(s[1]), r[0].hypot(r[1]));
    let photo_scale = map.px_per_mm(decision.seed).ok_or_else(nowhere)?;
    let px_per_mm = (PX_PER_CELL / s.min(r)).min(1.25 * photo_scale);
    let [x0, y0, x1, y1] = visible_plane(photo, map, region);
    // A very oblique photo sees far into the distance: keep to what bounded memory holds around the seed.
    let reach = 0.5 * SHEET_LIMIT.sqrt() / px_per_mm;
    let clip = |lo: f64, hi: f64, at: f64| (lo.max(at - 2.0 * reach), hi.min(at + 2.0 * reach));
    let ((x0, x1), (y0, y1)) = (clip(x0, x1, decision.seed.x), clip(y0, y1, decision.seed.y));
    let area = (x1 - x0) * (y1 - y0) * px_per_mm * px_per_mm;
    let ((x0, x1), (y0, y1)) = if area > SHEET_LIMIT {
        let k = reach.max(1.0);
        let cut = |lo: f64, hi: f64, at: f64| (lo.max(at - k), hi.min(at + k));
        (cut(x0, x1, decision.seed.x), cut(y0, y1, decision.seed.y))
    } else {
        ((x0, x1), (y0, y1))
    };
    if !(x1 > x0 && y1 > y0) {
        return Err(nowhere());
    }
    let centre = PlanePoint::new((x0 + x1) / 2.0, (y0 + y1) / 2.0);
    let patch = Patch::resample(photo, map, centre, (x1 - x0, y1 - y0), px_per_mm, excluded);
    let colours = TwoColours::seen(&patch, decision.seed, COLOUR_CELLS * s.max(r), DETAIL_CELLS * s.min(r));
    let patch = if let Some(colours) = &colours { patch.in_one_colour(colours) } else { patch };
    // Light is evened over about one and a half stitches or rows, whichever is longer: the lattice's own lines pass.
    Ok(patch.sheet(decision.weights, 1.6 * s.max(r)))
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
