//! Whether the fabric comes back to itself after as many stitches, and as many rows, as its pattern's repeat has.
//!
//! Columns that recede, as purl columns between knit ones do, can be counted as half a stitch or as none: those beside them are the
//! wider, and every line of the spectrum is where it should be. The repeat then comes back sooner than its stitches are counted.
//! So it does where the rows are taken for the stitches. A lattice of two stitches each has its repeat after half as many.

use super::{Basis, Decision};
use crate::fabric::Sheet;
use crate::refusal::{Refusal, RefusalCode};
use image::imageops::interpolate_bilinear;

/// By how much the fabric may come back better elsewhere (measured on three sets: of 124 right answers one had 0.02, the others
/// nothing; three wrong lattices had 0.18, 0.41 and 0.71).
const BETTER: f64 = 0.1;

/// Within which it comes back as well after half of the repeat (measured on two sets: of 69 right answers the nearest has 0.08 less
/// there, 0.38 and 0.46; a rib counted at half its stitches has 0.09 more).
const AS_GOOD: f64 = 0.03;

/// Stitches or rows beyond the repeat within which another is looked for: of a repeat that is counted too long.
const BEYOND: f64 = 1.5;

/// Samples of the fabric compared with each other, about (bounded time).
const SAMPLES: f64 = 20_000.0;
/// Fewest that say something.
const FEWEST: f64 = 400.0;

/// Refuses a lattice in which the repeat of its pattern comes back after other than its own number of stitches or rows: where the
/// fabric, moved by another number of them, from one to somewhat more than the repeat has, is far more like itself. `sheets` show it
/// made even by that lattice. After half of its repeat it may not even be as like itself: there knit and purl
/// change places, or a motif is set off.
///
/// # Errors
/// `lattice_unclear`, with what the repeat comes back after.
pub fn check_comes_back(sheets: &[Sheet], basis: &Basis, decision: &Decision) -> Result<(), Refusal> {
    let pattern = &decision.pattern;
    let sheet = sheets.iter().find(|sheet| sheet.weights == decision.weights);
    let Some((sheet, (stitch, row))) = sheet.zip(basis.steps_mm()) else { return Ok(()) };
    for (step, repeat, what) in [(stitch, pattern.repeat_stitches, "stitches"), (row, pattern.repeat_rows, "rows")] {
        if repeat < 2 {
            continue;
        }
        let repeat = f64::from(repeat);
        let Some(mut own) = likeness(sheet, step, repeat) else { continue };
        if repeat == 2.0 {
            // Stripes of one ridge come back after two.
            own = likeness(sheet, step, 2.0 * repeat).map_or(own, |twice| own.max(twice));
        }
        let most = repeat + BEYOND.min(0.5 * repeat);
        let better = (2..=(2.0 * most) as u32).map(|half| 0.5 * f64::from(half)).filter_map(|lag| {
            let like = likeness(sheet, step, lag)?;
            let over = if lag == 0.5 * repeat { -AS_GOOD } else { BETTER };
            (like > own + over).then_some((lag, like))
        });
        if let Some((lag, _)) = better.max_by(|a, b| a.1.total_cmp(&b.1)) {
            let seen = format!(
                "the fabric comes back to itself after {lag} of the {what} that were followed, not after {repeat}: it has another \
                 repeat, or these are not its {what}"
            );
            return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(decision.rivals.clone()));
        }
    }
    Ok(())
}

/// Correlation, -1 to 1, of the fabric with itself moved by a number of steps of mm; `None` where hardly any of it overlaps.
fn likeness(sheet: &Sheet, step_mm: [f64; 2], steps: f64) -> Option<f64> {
    let [dx, dy] = step_mm.map(|v| (v * steps * sheet.px_per_mm) as f32);
    let (width, height) = sheet.grey.dimensions();
    let every = (f64::from(width) * f64::from(height) / SAMPLES).sqrt().ceil().max(1.0) as u32;
    let (mut n, mut a, mut b, mut aa, mut bb, mut ab) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for j in 0..height / every {
        for i in 0..width / every {
            // Set off from row to row and from column to column, so that they fall on every part of a stitch.
            let (x, y) = (i * every + 5 * j % every, j * every + 7 * i % every);
            let there = (x as f32 + dx, y as f32 + dy);
            let seen = |at: (f32, f32)| interpolate_bilinear(&sheet.valid, at.0, at.1).is_some_and(|v| v.0[0] > 0.999);
            if sheet.valid.get_pixel(x, y).0[0] < 0.5 || !seen(there) {
                continue;
            }
            let Some(moved) = interpolate_bilinear(&sheet.grey, there.0, there.1) else { continue };
            let (here, moved) = (f64::from(sheet.grey.get_pixel(x, y).0[0]), f64::from(moved.0[0]));
            n += 1.0;
            a += here;
            b += moved;
            aa += here * here;
            bb += moved * moved;
            ab += here * moved;
        }
    }
    let spread = ((aa / n - (a / n).powi(2)) * (bb / n - (b / n).powi(2))).sqrt();
    (n >= FEWEST && spread > 0.0).then(|| (ab / n - a / n * (b / n)) / spread)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lattice::{StandsOn, StitchPattern};
    use crate::quantity::PlanePoint;
    use image::{ImageBuffer, Luma};

    /// Columns of two legs each, 10 px wide, of which every `apart`-th (a place along the row, in columns) is dark; rows of 8 px.
    fn sheet(apart: f64) -> Sheet {
        let grey = ImageBuffer::from_fn(400, 240, |x, y| {
            let (s, r) = (f64::from(x) / 10.0, f64::from(y) / 8.0);
            let turn = |v: f64| (std::f64::consts::TAU * v).cos();
            Luma([(turn(2.0 * s) + 0.5 * turn(r) + 4.0 * (0.5 + 0.5 * turn(s / apart)).powi(4)) as f32])
        });
        let valid = ImageBuffer::from_pixel(400, 240, Luma([1.0]));
        Sheet { origin: PlanePoint::new(0.0, 0.0), px_per_mm: 2.0, grey, valid, weights: [0.2, 0.7, 0.1] }
    }

    fn checked(sheet: Sheet, repeat: (u32, u32)) -> Result<(), Refusal> {
        let basis = Basis { stitch: [0.2, 0.0], row: [0.0, 0.25] };
        let decision = Decision {
            basis,
            seed: PlanePoint::new(100.0, 60.0),
            pattern: StitchPattern::with_repeat("columns", repeat.0, repeat.1),
            declared: true,
            confidence: None,
            harmonics: Vec::new(),
            score: 40.0,
            margin: 20.0,
            rivals: Vec::new(),
            weights: sheet.weights,
            stands_on: StandsOn::default(),
        };
        check_comes_back(&[sheet], &basis, &decision)
    }

    #[test]
    fn a_repeat_comes_back_after_its_own_stitches() {
        assert_eq!(checked(sheet(6.0), (6, 1)), Ok(()));
        // A column in six that recedes and is counted as half of one.
        let refused = checked(sheet(5.5), (6, 1)).unwrap_err();
        assert_eq!(refused.code, RefusalCode::LatticeUnclear);
        assert!(refused.seen.contains("5.5"), "{refused:?}");
        // One that is not counted at all.
        assert!(checked(sheet(5.0), (6, 1)).is_err());
        // Two of them counted as one.
        assert!(checked(sheet(3.0), (6, 1)).is_err());
        // A pattern without a repeat has nothing that could come back.
        assert_eq!(checked(sheet(5.5), (1, 1)), Ok(()));
        // Nor does what is too small to hold it twice say anything.
        assert_eq!(checked(sheet(5.5), (60, 1)), Ok(()));
    }
}
