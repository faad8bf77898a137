//! Crossing lines, told from loops.

use super::Harmonic;
use crate::refusal::{Refusal, RefusalCode};

/// Least share of the lattice lines' power that lies off both axes. Crossing lines (a cutting mat, ruled paper) add up to
/// f(x) + g(y), whose spectrum lies on the axes alone; loops lean, and put a fifth to two thirds of it between them.
const CROSSED_SHARE: f64 = 0.06;

/// Least share of what lies off both axes and on the weaker of them that lies off both: it takes lines along both axes to cross;
/// columns that stand out far more than rows have hardly anything on the other axis (measured: 0.06 at most on what crosses, 0.4
/// and more on knitting that has less than the share above).
const CROSSED_OF_WEAKER: f64 = 0.2;

/// Refuses crossing lines as `not_knit`: hardly any of their power lies off both axes.
pub(super) fn check_not_crossing(harmonics: &[Harmonic]) -> Result<(), Refusal> {
    if crossed_share(harmonics) < CROSSED_SHARE && crossed_of_weaker(harmonics) < CROSSED_OF_WEAKER {
        return Err(Refusal::new(RefusalCode::NotKnit, "what repeats are crossing lines, not loops"));
    }
    Ok(())
}

/// Whether a line is one of the low ones, which are looked at.
fn is_low(line: &&Harmonic) -> bool {
    line.h.abs() <= 2.0 && line.k.abs() <= 2.0
}

/// Whether a line lies off both axes.
fn is_off_axes(line: &Harmonic) -> bool {
    line.h != 0.0 && line.k != 0.0
}

/// Share of the low lattice lines' power that lies off both axes.
fn crossed_share(harmonics: &[Harmonic]) -> f64 {
    share_of_power(harmonics.iter().filter(is_low), is_off_axes).unwrap_or(1.0)
}

/// The same, of what lies off both axes and on the weaker of them.
fn crossed_of_weaker(harmonics: &[Harmonic]) -> f64 {
    let beside = |along: fn(&Harmonic) -> bool| {
        let some = harmonics.iter().filter(is_low).filter(move |l| is_off_axes(l) || along(l));
        share_of_power(some, is_off_axes).unwrap_or(0.0)
    };
    beside(|l| l.k == 0.0).max(beside(|l| l.h == 0.0))
}

/// Share of lines' power that some of them have; `None` of no lines.
pub(super) fn share_of_power<'a>(
    lines: impl Iterator<Item = &'a Harmonic> + Clone,
    of: impl Fn(&Harmonic) -> bool,
) -> Option<f64> {
    let power = |l: &Harmonic| l.strength * l.strength;
    let all: f64 = lines.clone().map(power).sum();
    (all > 0.0).then(|| lines.filter(|l| of(l)).map(power).sum::<f64>() / all)
}
