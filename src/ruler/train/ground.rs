//! Ground: whether what was taken for marks is the ground between them.
//!
//! Marks half as wide as their step leave gaps that look like marks of the other shade, at the same step. Beyond the end of a
//! mark there is ground; the ground between two marks goes on there as it is.

use super::super::fit::quantile;
use super::super::ink::Ink;
use super::Train;

/// Heights that are looked at: on the marks, in lengths of the short ones; and beyond the end of each, in the same or in px,
/// whichever is more: clear of its blurred edge, and below the numerals of a narrow tape.
const ON_MARK: [f64; 3] = [0.4, 0.5, 0.6];
const BEYOND: [f64; 3] = [0.08, 0.12, 0.16];
const BEYOND_PX: [f64; 3] = [1.5, 2.0, 2.5];
/// Fewest marks that tell.
const FEWEST: usize = 6;
/// Of the difference between a mark and the places beside it, the part by which the place beyond its end must differ from the mark
/// (stated choice: half-way; 1 on sharp marks, 0 on the ground between), and the share of marks of which it must: numerals
/// that stand on the marks of a narrow tape hide the ends of others.
const DIFFERS: f64 = 0.5;
const OF_MARKS: f64 = 1.0 / 3.0;

/// Whether the ink goes on beyond the ends of most marks as it is on them: these are the gaps between marks of the other shade.
pub(super) fn is_ground_between(train: &Train, ink: &Ink) -> bool {
    let half_step = train.pitch_px() / 2.0;
    let mean = |u: f64, heights_px: [f64; 3]| -> Option<f64> {
        let at = |height_px: f64| {
            let (x, y) = train.point(u, height_px);
            ink.at(x, y).map(f64::from)
        };
        Some(heights_px.into_iter().map(at).sum::<Option<f64>>()? / heights_px.len() as f64)
    };
    let on_mark = ON_MARK.map(|height| height * train.short_px);
    let beyond: [f64; 3] = std::array::from_fn(|k| (BEYOND[k] * train.short_px).max(BEYOND_PX[k]));
    let shades = train.marks.iter().filter_map(|m| {
        let beside = (mean(m.u - half_step, on_mark)? + mean(m.u + half_step, on_mark)?) / 2.0;
        let on = mean(m.u, on_mark)?;
        Some((beside - on, mean(m.u, beyond.map(|more| m.length_px + more))? - on))
    });
    let (beside, beyond): (Vec<f64>, Vec<f64>) = shades.unzip();
    let of = |values: &[f64], share: f64| quantile(values.iter().copied(), share).unwrap_or(0.0);
    beside.len() >= FEWEST && of(&beyond, 1.0 - OF_MARKS) < DIFFERS * of(&beside, 0.5)
}
