//! Lattices of two stitches or two rows, told from those of one by what only they show.

use super::crossing::share_of_power;
use super::reading::RATIO_NEVER;
use super::{Basis, Decision, Harmonic, spreads_off};
use crate::refusal::{Refusal, RefusalCode, Rival};

/// Most of the lines' power that may lie at even multiples of the stitches, or of the rows: a lattice half as wide, or half as
/// tall, would show all that. The legs of a loop lie at odd ones (measured on 700 right answers of five renderers and real
/// photos: 0.93 at most for stitches, but for one of five lines whose legs colour hides, and 0.87 for rows).
const MOST_EVEN: (f64, f64) = (0.95, 0.93);

/// Least share of the power off both axes that must lie at even multiples as well: the finer lattice has loops, too, whose legs lean
/// (derived: the leaning lines alone tell a lattice of two directions; right answers have a quarter, a lattice of two stitches
/// nearly all). Columns that stand out far more than rows have their power on one axis, where nothing is told of rows.
const LEANING_EVEN: f64 = 0.5;

/// Refuses a lattice that shows next to nothing which one half as wide, or half as tall, would not show.
///
/// # Errors
/// `lattice_unclear`, with the finer lattice as a rival.
pub fn check_not_too_coarse(decision: &Decision) -> Result<(), Refusal> {
    let lines = &decision.harmonics;
    let leaning: Vec<Harmonic> = lines.iter().filter(|l| l.h != 0.0 && l.k != 0.0).copied().collect();
    let even = |multiple: fn(&Harmonic) -> f64, most: f64| {
        let share = even_share(lines, multiple);
        (share, share > most && (leaning.is_empty() || even_share(&leaning, multiple) > LEANING_EVEN))
    };
    let ((stitches, two_stitches), (rows, two_rows)) = (even(|l| l.h, MOST_EVEN.0), even(|l| l.k, MOST_EVEN.1));
    let (share, finer, what) = if two_stitches {
        (stitches, (2.0, 1.0), "stitches half as wide")
    } else if two_rows {
        (rows, (1.0, 2.0), "rows half as tall")
    } else {
        return Ok(());
    };
    let (stitch, row) = (decision.basis.stitch, decision.basis.row);
    let half = Basis { stitch: stitch.map(|f| finer.0 * f), row: row.map(|f| finer.1 * f) };
    if decision.declared && shape_tells(&decision.basis, &half, &decision.pattern.name) {
        return Ok(());
    }
    let seen = format!("{what} would show {:.0} % of what repeats as well", (100.0 * share).floor());
    let rival = decision.basis.per_10cm().map(|(s, r)| Rival {
        stitches_per_10cm: s * finer.0,
        rows_per_10cm: r * finer.1,
        why: what.to_owned(),
        score: decision.score,
    });
    let rivals = rival.into_iter().chain(decision.rivals.iter().cloned()).collect();
    Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(rivals))
}

/// Whether the pattern that was named has rows as tall, against its stitches, as those of a lattice, and never as those of the finer:
/// of stitches whose legs are alike, half a stitch apart, the odd multiples cancel each other.
fn shape_tells(basis: &Basis, finer: &Basis, name: &str) -> bool {
    /// Spreads within which a fabric is of its pattern (nineteen of twenty).
    const USUAL: f64 = 2.0;
    spreads_off(basis, name).is_some_and(|off| off < USUAL)
        && spreads_off(finer, name).is_some_and(|off| off > RATIO_NEVER)
}

/// Share of the lines' power at even multiples.
fn even_share(lines: &[Harmonic], multiple: fn(&Harmonic) -> f64) -> f64 {
    share_of_power(lines.iter(), |l| (multiple(l) / 2.0).fract().abs() < 1e-6).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::super::{Basis, StandsOn, StitchPattern};
    use super::*;
    use crate::quantity::PlanePoint;

    fn shares(lines: &[(f64, f64, f64)]) -> (f64, f64) {
        let lines: Vec<Harmonic> = lines.iter().map(|&(h, k, strength)| Harmonic { h, k, strength }).collect();
        (even_share(&lines, |l| l.h), even_share(&lines, |l| l.k))
    }

    #[test]
    fn a_lattice_of_two_stitches_shows_even_multiples_only() {
        // Stockinette: legs at (±1, 1), two legs a stitch at (2, 0), rows at (0, 1).
        let one = [(1.0, 1.0, 20.0), (-1.0, 1.0, 18.0), (2.0, 0.0, 25.0), (0.0, 1.0, 8.0)];
        let (stitches, rows) = shares(&one);
        assert!(stitches < MOST_EVEN.0 && rows < MOST_EVEN.1, "{stitches} {rows}");
        assert!(shares(&one.map(|(h, k, s)| (2.0 * h, k, s))).0 > MOST_EVEN.0);
        assert!(shares(&one.map(|(h, k, s)| (h, 2.0 * k, s))).1 > MOST_EVEN.1);
    }

    /// Columns far stronger than rows have their power at even multiples on one axis; what leans lies at odd ones.
    #[test]
    fn strong_columns_are_no_lattice_of_two() {
        let decision = |stitches_per_mm: f64, lines: &[(f64, f64, f64)]| Decision {
            basis: Basis { stitch: [stitches_per_mm, 0.0], row: [0.0, 0.27] },
            seed: PlanePoint { x: 0.0, y: 0.0 },
            pattern: StitchPattern::named("stockinette").unwrap(),
            declared: true,
            confidence: None,
            harmonics: lines.iter().map(|&(h, k, strength)| Harmonic { h, k, strength }).collect(),
            score: 30.0,
            margin: 20.0,
            rivals: Vec::new(),
            weights: [0.3, 0.5, 0.2],
            stands_on: StandsOn::default(),
        };
        let columns = [(2.0, 0.0, 45.0), (4.0, 0.0, 24.0), (1.0, 1.0, 8.0), (-1.0, 1.0, 7.0)];
        assert!(check_not_too_coarse(&decision(0.2, &columns)).is_ok());
        let of_two = columns.map(|(h, k, s)| (2.0 * h, k, s));
        let refused = check_not_too_coarse(&decision(0.1, &of_two)).unwrap_err();
        assert_eq!(refused.code, RefusalCode::LatticeUnclear);
        // 20 stitches by 27 rows are stockinette's (common practice, no source), 40 by 27 nobody's.
        assert!(check_not_too_coarse(&decision(0.2, &of_two)).is_ok());
        let recognised = Decision { declared: false, ..decision(0.2, &of_two) };
        assert!(check_not_too_coarse(&recognised).is_err());
    }

    #[test]
    fn nothing_is_told_of_no_lines() {
        assert_eq!(shares(&[]), (0.0, 0.0));
    }
}
