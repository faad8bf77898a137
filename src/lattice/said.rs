//! Whether the fabric looks like the pattern that was named, counted as it was followed.
//!
//! A name tells which lines to expect, and with the wrong one other stitches are counted: the two legs of a stockinette stitch make two
//! columns of a 1×1 rib, the columns of a rib halves of stockinette stitches. So the whole fabric, made even, is read once more under
//! every pattern: all readings are log-likelihoods of one spectrum. Where that raises doubt, the photo is looked at as if nothing had been
//! said (`measure::fabric_stage`).

use super::decide::{self, CLEAR, same_counts};
use super::reading::{self, Reading};
use super::view::View;
use super::{Basis, Decision, Declared};
use crate::fabric::Sheet;

/// Whether the fabric, made even by the lattice that was `followed` (`sheets`), shows other stitches under another pattern more clearly
/// than those that were counted under the pattern that was named, by as much as decides between readings of one pattern. It is a reason
/// to doubt the name, and no proof: models of patterns foresee some fabrics better than others (measured: so it is for 80 of 102 wrong
/// counts under wrong names, for none of 145 right answers of four sets, and for 18 of some 810 of the study). With an
/// expected gauge the name is not doubted.
pub fn another_explains_better(sheets: &[Sheet], declared: &Declared, followed: &Basis, decision: &Decision) -> bool {
    if declared.pattern.is_none() || declared.expected_per_10cm.is_some() {
        return false;
    }
    let nothing_said = Declared { pattern: None, ..declared.clone() };
    // The pattern that was named comes with its own repeat.
    let mut trials = reading::trials(&nothing_said);
    trials.extend(reading::trials(declared));
    let views = View::all(sheets);
    let view = views.iter().find(|view| view.sheet.weights == decision.weights);
    let Some(seen) = view.and_then(|view| reading::sighting_near(view, &trials, followed)) else { return false };
    let along = || seen.readings.iter().filter(|r| decide::along_declared(r, declared));
    let counted = |r: &&Reading| same_counts(&r.basis, &decision.basis);
    let knitted = |r: &&Reading| decide::not_knit(r, &nothing_said, seen.scene.spectrum.windows).is_none();
    let own = along().find(counted);
    let other = along().find(|r| !counted(r) && knitted(r));
    own.zip(other).is_some_and(|(own, other)| other.score - own.score > CLEAR)
}
