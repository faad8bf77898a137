//! Crossing lines, told from loops.

use super::Harmonic;
use crate::refusal::{Refusal, RefusalCode};

/// Least share of the lattice lines' power that lies off both axes. Crossing lines (a cutting mat, ruled paper) add up to
/// f(x) + g(y), whose spectrum lies on the axes alone; loops lean, and put a fifth to two thirds of it between them.
const CROSSED_SHARE: f64 = 0.06;

/// Refuses crossing lines as `not_knit`: hardly any of their power lies off both axes.
pub(super) fn check_not_crossing(harmonics: &[Harmonic]) -> Result<(), Refusal> {
    if crossed_share(harmonics) < CROSSED_SHARE {
        return Err(Refusal::new(RefusalCode::NotKnit, "what repeats are crossing lines, not loops"));
    }
    Ok(())
}

/// Share of the low lattice lines' power that lies off both axes.
fn crossed_share(harmonics: &[Harmonic]) -> f64 {
    let low = |h: &&Harmonic| h.h.abs() <= 2.0 && h.k.abs() <= 2.0;
    share_of_power(harmonics.iter().filter(low), |h| h.h != 0.0 && h.k != 0.0).unwrap_or(1.0)
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
