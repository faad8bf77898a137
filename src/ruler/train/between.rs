//! Between: whether a train holds every second, third … mark of a scale only. Where marks are nearly as narrow as pixels, a
//! chain may step over some of them; the lengths of the rest can still count like a ruler's (every third mark of a
//! millimetre scale has its longest at every tenth).
//!
//! Single marks that faint or fine are not seen one by one. Here the gaps between the train's marks are laid over each other, by
//! tens, so that noise averages out and what stands at the same place in every gap remains.

use super::super::fit::quantile;
use super::super::ink::Ink;
use super::Train;
use crate::side_by_side::map_few_in_order;

/// Steps of the profile across one gap: a multiple of twice every division that is tried would be 5040; at 120 a place is
/// off by less than a hundredth of the gap.
const STEPS: usize = 120;
/// Heights above the base, as shares of the short marks, in which the gaps are looked at: the shorter marks between longer
/// ones reach that far.
const BAND: (f64, f64) = (0.1, 0.45);
/// Gaps laid over each other, and fewest of such lots.
const LOT: usize = 10;
const LOTS_MIN: usize = 2;
/// Least depth of what stands between, over that of the train's own marks, both against what is half-way to the next: worn
/// marks fade to a third (as in the growing of a train).
const DEPTH_SHARE: f64 = 0.3;
/// Finest marks that can show, px: below two samples a mark there is nothing to see.
const FINEST_PX: f64 = 2.1;
/// Most parts of a gap that are tried.
const PARTS_MAX: usize = 10;

/// The number of parts into which marks between them divide the gaps of a train; `None` where nothing stands between.
pub(super) fn parts_between(train: &Train, ink: &Ink) -> Option<i32> {
    let lots = lots(train, ink);
    if lots.len() < LOTS_MIN {
        return None;
    }
    let pitch = train.pitch_px();
    (2..=PARTS_MAX).rev().filter(|&parts| pitch / parts as f64 >= FINEST_PX).find_map(|parts| {
        let shares = lots.iter().filter_map(|lot| least_depth(lot, parts));
        (quantile(shares, 0.5)? > DEPTH_SHARE).then_some(parts as i32)
    })
}

/// Of the places that divide a gap, the least depth against the places half-way to their neighbours, over that of the marks
/// themselves; `None` where the marks do not show in this lot.
fn least_depth(lot: &[f64; STEPS], parts: usize) -> Option<f64> {
    let at = |place: f64| lot[(place * STEPS as f64).round() as usize % STEPS];
    let half = 0.5 / parts as f64;
    let depth = |place: f64| (at(place + 1.0 - half) + at(place + half)) / 2.0 - at(place);
    let own = depth(0.0);
    let least = (1..parts).map(|k| depth(k as f64 / parts as f64)).fold(f64::INFINITY, f64::min);
    (own > 0.0).then(|| least / own)
}

/// Mean profiles across a gap, each of [`LOT`] neighbouring gaps.
fn lots(train: &Train, ink: &Ink) -> Vec<[f64; STEPS]> {
    let neighbours = train.marks.windows(2).filter(|w| w[1].index == w[0].index + 1);
    let gaps: Vec<(f64, f64)> = neighbours.map(|w| (w[0].u, w[1].u)).collect();
    let gaps = map_few_in_order(&gaps, LOT, |gap| across(train, ink, *gap));
    let gaps: Vec<[f64; STEPS]> = gaps.into_iter().flatten().collect();
    let mean = |lot: &[[f64; STEPS]]| std::array::from_fn(|k| lot.iter().map(|g| g[k]).sum::<f64>() / lot.len() as f64);
    gaps.chunks_exact(LOT).map(mean).collect()
}

/// The ink from one mark to the next, a mean over the heights of [`BAND`]; `None` where the picture ends.
fn across(train: &Train, ink: &Ink, (from, to): (f64, f64)) -> Option<[f64; STEPS]> {
    let rows = (((BAND.1 - BAND.0) * train.short_px).round() as usize).clamp(1, 8);
    let mut profile = [0.0; STEPS];
    for row in 0..rows {
        let height = (BAND.0 + (BAND.1 - BAND.0) * (row as f64 + 0.5) / rows as f64) * train.short_px;
        for (k, value) in profile.iter_mut().enumerate() {
            let u = from + (to - from) * k as f64 / STEPS as f64;
            let (x, y) = train.point(u, height);
            *value += f64::from(ink.at(x, y)?) / rows as f64;
        }
    }
    Some(profile)
}

#[cfg(test)]
mod tests {
    use super::super::super::fit::{Curve, IndexFit};
    use super::super::{Frame, Mark, Train};
    use super::*;
    use crate::photo::LUMINANCE;
    use image::{Rgb, RgbImage};

    /// A picture of dark marks every `drawn_px`, from y = 20 to 32, blurred to the width of the gaps, with noise.
    fn picture(drawn_px: f64) -> RgbImage {
        let mut seed = 7u32;
        RgbImage::from_fn(700, 60, |x, y| {
            // Numerical Recipes' quick generator (Press et al. 1992).
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(seed >> 16) / 65_536.0 * 24.0 - 12.0;
            let wave = (f64::from(x) + 0.5 - 30.0) / drawn_px;
            let ink = (0.5 + 0.5 * (std::f64::consts::TAU * wave).cos()).powi(2);
            let depth = if (20..32).contains(&y) { 40.0 * ink } else { 0.0 };
            Rgb([(180.0 - depth + noise) as u8; 3])
        })
    }

    /// A train of marks every `read_px`, as it would be read there.
    fn train(read_px: f64) -> Train {
        let count = (640.0 / read_px) as i32;
        let place = |i: i32| 30.0 + read_px * f64::from(i);
        let marks: Vec<Mark> = (0..count)
            .map(|index| Mark { index, u: place(index), contrast: 0.1, width_px: 1.5, base_v: 20.0, length_px: 12.0 })
            .collect();
        let flat: Vec<(f64, f64)> = marks.iter().map(|m| (m.u, 20.0)).collect();
        let upright: Vec<(f64, f64)> = marks.iter().map(|m| (m.u, 0.0)).collect();
        let places: Vec<(f64, f64)> = marks.iter().map(|m| (f64::from(m.index), m.u)).collect();
        Train {
            frame: Frame { origin: (0.0, 0.0), along: (1.0, 0.0), across: (0.0, 1.0) },
            fit: IndexFit::new(&places).unwrap(),
            base: Curve::new(&flat, 1).unwrap(),
            lean: Curve::new(&upright, 1).unwrap(),
            short_px: 12.0,
            mix: LUMINANCE,
            marks,
        }
    }

    #[test]
    fn stepped_over_marks_are_counted() {
        for (drawn_px, parts) in [(2.9, 2), (2.9, 3), (2.9, 5), (4.7, 2), (4.7, 3), (8.0, 3)] {
            let rgb = picture(drawn_px);
            let found = parts_between(&train(drawn_px * f64::from(parts)), &Ink::new(&rgb, LUMINANCE));
            assert_eq!(found, Some(parts), "every {parts}th of marks {drawn_px} px apart");
        }
    }

    #[test]
    fn nothing_is_seen_between_all_marks() {
        for drawn_px in [2.9, 4.7, 8.0, 20.0] {
            let rgb = picture(drawn_px);
            assert_eq!(parts_between(&train(drawn_px), &Ink::new(&rgb, LUMINANCE)), None, "{drawn_px}");
        }
    }
}
