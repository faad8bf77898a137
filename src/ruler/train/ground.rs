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

#[cfg(test)]
mod tests {
    use super::super::super::fit::{Curve, IndexFit};
    use super::super::{Frame, Mark};
    use super::*;
    use crate::photo::LUMINANCE;
    use image::{Rgb, RgbImage};

    const STEP_PX: f64 = 10.0;
    const LENGTH_PX: f64 = 30.0;

    /// Dark marks half as wide as their step, that hang from the line y = 20 on a light body.
    fn picture() -> RgbImage {
        RgbImage::from_fn(220, 90, |x, y| {
            let off = (f64::from(x) + 0.5 + STEP_PX / 2.0).rem_euclid(STEP_PX) - STEP_PX / 2.0;
            let inked = off.abs() < 2.5 && (20..50).contains(&y);
            Rgb([if inked { 40 } else { 210 }; 3])
        })
    }

    /// A train on the marks, or so many px beside them.
    fn train(beside_px: f64) -> Train {
        let mark = |index: i32| Mark {
            index,
            u: STEP_PX * f64::from(index) + beside_px,
            contrast: 0.6,
            width_px: 5.0,
            base_v: 20.0,
            length_px: LENGTH_PX,
        };
        let marks: Vec<Mark> = (1..20).map(mark).collect();
        let level = |v: f64| Curve::new(&[(0.0, v), (100.0, v), (200.0, v)], 1).unwrap();
        let places: Vec<(f64, f64)> = marks.iter().map(|m| (f64::from(m.index), m.u)).collect();
        Train {
            frame: Frame { origin: (0.0, 0.0), along: (1.0, 0.0), across: (0.0, 1.0) },
            fit: IndexFit::new(&places).unwrap(),
            marks,
            base: level(20.0),
            lean: level(0.0),
            short_px: LENGTH_PX,
            mix: LUMINANCE,
        }
    }

    #[test]
    fn gaps_go_on_beyond_the_ends_of_marks_and_marks_do_not() {
        let rgb = picture();
        assert!(!is_ground_between(&train(0.0), &Ink::new(&rgb, LUMINANCE)));
        // In negative the gaps are what is dark.
        let negative = Ink::new(&rgb, LUMINANCE.map(|w| -w));
        assert!(is_ground_between(&train(STEP_PX / 2.0), &negative));
    }
}
