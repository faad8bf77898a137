//! Crossing lines, told from loops.

use super::Harmonic;
use crate::refusal::{Refusal, RefusalCode};

/// Least share of the lattice lines' power that lies off both axes. Crossing lines (a cutting mat, ruled paper) add up to
/// f(x) + g(y), whose spectrum lies on the axes alone; loops lean, and put a fifth to two thirds of it between them.
const CROSSED_SHARE: f64 = 0.06;

/// How strong a repeat's own line must be to tell something, against the strongest line (stated choice: noise stands up at a place
/// or other of a large repeat, but not so high).
const TELLING: f64 = 0.25;

/// Refuses crossing lines as `not_knit`: hardly any of the power lies off both axes. `own` are lines of the stitches, `of_repeat`
/// those between them that knit and purl stitches make, which lie off both axes where they alternate both ways.
pub(super) fn check_not_crossing(own: &[Harmonic], of_repeat: &[Harmonic]) -> Result<(), Refusal> {
    let strongest = own.iter().fold(0.0, |most, l| l.strength.max(most));
    let telling = of_repeat.iter().filter(|l| l.strength > TELLING * strongest);
    if crossed_share(own.iter().chain(telling)) < CROSSED_SHARE {
        return Err(Refusal::new(RefusalCode::NotKnit, "what repeats are crossing lines, not loops"));
    }
    Ok(())
}

/// Share of the low lattice lines' power that lies off both axes.
fn crossed_share<'a>(lines: impl Iterator<Item = &'a Harmonic> + Clone) -> f64 {
    let low = lines.filter(|h| h.h.abs() <= 2.0 && h.k.abs() <= 2.0);
    share_of_power(low, |h| h.h != 0.0 && h.k != 0.0).unwrap_or(1.0)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crossing_lines_have_nothing_between_their_axes() {
        let lines =
            |of: &[(f64, f64, f64)]| of.iter().map(|&(h, k, strength)| Harmonic { h, k, strength }).collect::<Vec<_>>();
        let crossing = lines(&[(2.0, 0.0, 44.0), (0.0, 1.0, 24.0), (1.0, 1.0, 7.0)]);
        assert_eq!(check_not_crossing(&crossing, &[]).map_err(|e| e.code), Err(RefusalCode::NotKnit));
        let noise = lines(&[(0.5, 0.75, 6.0), (0.5, -0.75, 5.0), (1.5, 0.25, 6.0)]);
        assert!(check_not_crossing(&crossing, &noise).is_err());
        let ridges = lines(&[(0.0, 0.5, 20.0), (0.5, 0.0, 20.0)]);
        assert!(check_not_crossing(&crossing, &ridges).is_err());
        let knit_and_purl = lines(&[(0.5, 0.75, 22.0), (0.5, -0.75, 20.0)]);
        assert!(check_not_crossing(&crossing, &knit_and_purl).is_ok());
        let loops = lines(&[(1.0, 0.0, 20.0), (0.0, 1.0, 20.0), (1.0, 1.0, 15.0), (1.0, -1.0, 14.0)]);
        assert!(check_not_crossing(&loops, &[]).is_ok());
    }
}
