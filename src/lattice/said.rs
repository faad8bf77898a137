//! Whether the fabric looks like what was said of it, counted as it was followed.
//!
//! A name tells which lines to expect, and with the wrong one other stitches are counted: the two legs of a stockinette stitch make two
//! columns of a 1×1 rib, the columns of a rib halves of stockinette stitches. A direction of the rows leaves out the readings that run
//! otherwise, and with the wrong one garter's ridges pass for its columns. So the whole fabric, made even, is read once more under every
//! pattern and in every direction: all readings are log-likelihoods of one spectrum. Where that raises doubt, the photo is looked at as if
//! it had not been said (`measure::what_was_said`).

use super::decide::{self, CLEAR, near_expected, same_counts};
use super::families::spreads_off;
use super::reading::{self, Reading};
use super::view::View;
use super::{Basis, Decision, Declared};
use crate::fabric::Sheet;

/// What of that which was said the fabric raises doubt about. They are reasons to look again, and no proof: models of patterns foresee
/// some fabrics better than others (measured: a likelihood doubts 80 of 102 wrong counts under wrong names, none of 145 right answers of
/// four sets, and 18 of some 810 of the study).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct SaidDoubted {
    /// Another pattern explains it more clearly, with other stitches than those that were counted, by as much as decides between
    /// readings of one pattern.
    pub by_likelihood: bool,
    /// Its rows are taller or lower, against the stitches, than those of the pattern that was named usually are.
    pub by_shape: bool,
    /// Rows that run otherwise than was said explain it more clearly, by as much.
    pub row_direction: bool,
}

impl SaidDoubted {
    /// Whether the pattern that was named is doubted.
    pub fn pattern(&self) -> bool {
        self.by_likelihood || self.by_shape
    }
}

/// Spreads from the usual height of rows from which a name is doubted (stated choice: one fabric in seven is beyond; of 25 wrong counts
/// that a likelihood did not doubt, or recognition was not sure of, 18 were).
const UNUSUAL: f64 = 1.5;

/// What is doubted of that which was `declared`, on the whole fabric (`sheets`), made even by the lattice that was `followed`. What an
/// expected gauge bears out is not doubted.
pub fn said_doubted(sheets: &[Sheet], declared: &Declared, followed: &Basis, decision: &Decision) -> SaidDoubted {
    let borne_out = near_expected(&decision.basis, declared.expected_per_10cm);
    let Some(pattern) = declared.pattern.as_ref().filter(|_| !borne_out) else { return SaidDoubted::default() };
    let turned_freely = Declared { row_direction_deg: None, ..declared.clone() };
    let no_pattern = Declared { pattern: None, ..declared.clone() };
    // The pattern that was named comes with its own repeat.
    let named = reading::trials(&turned_freely);
    let mut trials = reading::trials(&no_pattern);
    trials.extend(reading::trials(declared));
    let views = View::all(sheets);
    let view = views.iter().find(|view| view.sheet.weights == decision.weights);
    let counted = |r: &&Reading| same_counts(&r.basis, &decision.basis);
    // How far ahead the best of those readings is that count other stitches, of those that are left.
    let behind = |trials: &[reading::Trial], declared: &Declared, left: &dyn Fn(&Reading) -> bool| -> Option<f64> {
        let seen = reading::sighting_near(view?, trials, followed)?;
        let knitted = |r: &&Reading| decide::not_knit(r, declared, seen.scene.spectrum.windows).is_none();
        let own = seen.readings.iter().find(counted)?;
        let other = seen.readings.iter().find(|r| !counted(r) && left(r) && knitted(r))?;
        Some(other.score - own.score)
    };
    let along = |r: &Reading| decide::along_declared(r, declared);
    let across = |r: &Reading| !along(r);
    let doubts = |behind: Option<f64>| behind.is_some_and(|score| score > CLEAR);
    SaidDoubted {
        by_likelihood: doubts(behind(&trials, &no_pattern, &along)),
        by_shape: spreads_off(&decision.basis, &pattern.name).is_some_and(|off| off > UNUSUAL),
        row_direction: declared.row_direction_deg.is_some() && doubts(behind(&named, declared, &across)),
    }
}
