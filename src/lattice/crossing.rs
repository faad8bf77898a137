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
    let power = |h: &Harmonic| h.strength * h.strength;
    let all: f64 = harmonics.iter().filter(low).map(power).sum();
    let crossed: f64 = harmonics.iter().filter(low).filter(|h| h.h != 0.0 && h.k != 0.0).map(power).sum();
    if all > 0.0 { crossed / all } else { 1.0 }
}
