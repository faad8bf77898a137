//! The pixel grid's pull on thin marks, which places them at pixels' middles rather than where they are: told from how the
//! true places are spread, and undone.

use super::fit::Curve;
use super::tips::{Followed, Scene};
use crate::quantity::PhotoPoint;
use std::f64::consts::{PI, TAU};

/// Rounds at most, each undoing what still shows after those before it (stated choice).
const ROUNDS: usize = 8;

/// Undoes the pixel grid's pull on the marks, as far as it shows. Of it stays, relatively, what the spread of the true places
/// departs from an even one: the marks then lie at some phases oftener than at others, and their course along the ruler, which
/// is taken for the truth, is pulled itself. That part is alike for all marks; it is told as the uncertainty of one
/// mark that leaves as much for all of them together, px. `None` where the pull can't be undone.
pub(super) fn undo_pull(scene: &Scene, marks: &mut [Followed]) -> Option<f64> {
    let before: Vec<f64> = marks.iter().map(|m| m.far - m.near).collect();
    let mut spread = 0.0;
    for _ in 0..ROUNDS {
        match Pull::of(scene, marks) {
            Pull::None => break,
            Pull::Known(unlock, of_true) => {
                marks.iter_mut().for_each(|m| unlock.apply(scene, m));
                spread = f64::max(spread, of_true);
            }
            Pull::Unknown => return None,
        }
    }
    let squares: f64 = marks.iter().zip(before).map(|(m, before)| (m.far - m.near - before).powi(2)).sum();
    // The root mean square, times the root of their number.
    Some(spread * squares.sqrt())
}

/// What the pixel grid does to thin marks: it pulls them towards the middles of pixels.
enum Pull {
    /// No pull shows.
    None,
    /// One that can be undone, and the first harmonic of the true places' phases: 0 where they are spread evenly.
    Known(Unlock, f64),
    /// One that can't: the marks lie at a few phases of the grid only, and what each shows of the marks' directions is the
    /// grid's.
    Unknown,
}

/// The removal of the grid's pull: over many marks it is known how the true places are spread over a pixel, from the smooth
/// course of the marks along the ruler, so the distribution of the measured ones shows what the grid made of them, and
/// bringing the one to the other undoes the pull (as peak locking is removed in particle image velocimetry, Roth & Katz 2001,
/// whose true places are spread evenly).
struct Unlock {
    /// Whether the ruler runs more along the picture's rows than its columns.
    along_rows: bool,
    /// Cosine and sine sums of the measured places' phases less those of the expected ones, weighted so that the density
    /// stays positive (Fejér 1904).
    harmonics: [(f64, f64); Self::HARMONICS],
}

impl Pull {
    /// First harmonic of the phases, less that of the expected ones, from which the grid's pull is undone: a pull that moves
    /// places by a sixtieth of a pixel gives 0.1.
    const LOCKED: f64 = 0.1;
    /// First harmonic of the expected phases up to which their density is never less than a third of the even one (derived:
    /// 1 - 2 × 1/3), so that the pull is known at every phase.
    const SPREAD: f64 = 1.0 / 3.0;

    fn of(scene: &Scene, marks: &[Followed]) -> Self {
        let Some((ax, ay)) = scene.along.get(scene.along.len() / 2).map(|a| a.0) else { return Self::None };
        let mut unlock = Unlock { along_rows: ax.abs() > ay.abs(), harmonics: [(0.0, 0.0); Unlock::HARMONICS] };
        let places = |of: &dyn Fn(&Followed) -> PhotoPoint| -> Vec<(f64, f64)> {
            marks.iter().map(|m| (f64::from(m.index), unlock.coordinate(of(m)))).collect()
        };
        let near = places(&|m| scene.place(m, m.near_h, m.near));
        let far = places(&|m| scene.place(m, m.far_h, m.far));
        let Some((near_course, far_course)) = Curve::new(&near, 3).zip(Curve::new(&far, 3)) else { return Self::None };
        let measured: Vec<f64> = near.iter().chain(&far).map(|p| p.1).collect();
        let expected: Vec<f64> =
            near.iter().map(|p| near_course.at(p.0)).chain(far.iter().map(|p| far_course.at(p.0))).collect();
        let excess = |k: usize| {
            let (is, should) = (harmonic(&measured, k), harmonic(&expected, k));
            (is.0 - should.0, is.1 - should.1)
        };
        let (first, spread) = (excess(1), harmonic(&expected, 1));
        if first.0.hypot(first.1) < Self::LOCKED {
            return Self::None;
        }
        let spread = spread.0.hypot(spread.1);
        if spread > Self::SPREAD {
            return Self::Unknown;
        }
        for k in 1..=Unlock::HARMONICS {
            let weight = 1.0 - k as f64 / (Unlock::HARMONICS + 1) as f64;
            let (c, s) = excess(k);
            unlock.harmonics[k - 1] = (c * weight, s * weight);
        }
        Self::Known(unlock, spread)
    }
}

impl Unlock {
    const HARMONICS: usize = 6;

    fn coordinate(&self, p: PhotoPoint) -> f64 {
        if self.along_rows { p.x } else { p.y }
    }

    /// True less measured place, px: the measured places' share below the phase less that of the expected ones.
    fn correction_px(&self, place: f64) -> f64 {
        let term = |k: f64, (c, s): (f64, f64)| {
            let angle = TAU * k * place;
            (c * angle.sin() - s * angle.cos()) / (PI * k)
        };
        (1..).zip(self.harmonics).map(|(k, h)| term(f64::from(k), h)).sum()
    }

    fn apply(&self, scene: &Scene, m: &mut Followed) {
        let (ax, ay) = scene.along[m.mark].0;
        let component = if self.along_rows { ax } else { ay };
        let (near, far) = (scene.place(m, m.near_h, m.near), scene.place(m, m.far_h, m.far));
        m.near += self.correction_px(self.coordinate(near)) / component;
        m.far += self.correction_px(self.coordinate(far)) / component;
    }
}

/// Mean cosine and sine of `k` times the phases of some places within their pixel.
fn harmonic(places: &[f64], k: usize) -> (f64, f64) {
    let n = places.len().max(1) as f64;
    let sum = places.iter().fold((0.0, 0.0), |sum, p| {
        let angle = TAU * k as f64 * p;
        (sum.0 + angle.cos(), sum.1 + angle.sin())
    });
    (sum.0 / n, sum.1 / n)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equalised_places_are_even_again() {
        // Places pulled half way to the pixels' centres.
        let pull = |x: f64| x - 0.5 / TAU * (TAU * (x - 0.5)).sin();
        let places: Vec<f64> = (0..500).map(|k| pull(0.618 * f64::from(k))).collect();
        let weighted = |k: usize| {
            let weight = 1.0 - k as f64 / (Unlock::HARMONICS + 1) as f64;
            let (c, s) = harmonic(&places, k);
            (c * weight, s * weight)
        };
        let unlock = Unlock { along_rows: true, harmonics: std::array::from_fn(|i| weighted(i + 1)) };
        let left: Vec<f64> = places.iter().map(|p| p + unlock.correction_px(*p)).collect();
        let (before, after) = (harmonic(&places, 1), harmonic(&left, 1));
        assert!(after.0.hypot(after.1) < 0.4 * before.0.hypot(before.1));
    }
}
