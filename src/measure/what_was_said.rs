//! Whether the photo, looked at as if it had not been said, contradicts what the user said of the fabric.

use super::Setup;
use super::fabric_stage::{Followed, View};
use super::rivals::{area_mm2, is_of_counts, rival, same_counts, same_lattice};
use crate::fabric::FabricSeed;
use crate::lattice::near_expected;
use crate::refusal::{Refusal, RefusalCode};

impl View<'_> {
    /// Follows the fabric as the user said. What is expected settles nothing where what was followed does not fit it: it is then followed
    /// as if nothing had been expected, since a contradicting place may have been read as what was expected.
    pub fn follow_as_said(&self, seeds: &[FabricSeed], setup: &Setup) -> Result<Followed, Refusal> {
        let found = self.follow(seeds, setup)?;
        if setup.expected.is_none() || near_expected(&found.reading.basis, setup.expected) {
            return Ok(found);
        }
        self.follow(seeds, &Setup { expected: None, ..setup.clone() })
    }

    /// Refuses what was counted under a name or a direction of the rows that the fabric raises doubt about, where without it the photo
    /// shows other stitches.
    pub fn check_said(&self, seeds: &[FabricSeed], setup: &Setup, as_said: &Followed) -> Result<(), Refusal> {
        if as_said.said_doubted.row_direction {
            let seen = self.follow(seeds, &Setup { row_direction_deg: None, ..setup.clone() });
            check_direction(as_said, seen.as_ref().ok())?;
        }
        if as_said.said_doubted.pattern() {
            check_name(as_said, &self.recognise(seeds, &Setup { stitch: None, ..setup.clone() }))?;
        }
        Ok(())
    }
}

/// Refuses what was counted along the rows' direction that was said, where without it the same pattern is followed otherwise.
fn check_direction(as_said: &Followed, otherwise: Option<&Followed>) -> Result<(), Refusal> {
    let Some(seen) = otherwise.filter(|seen| !same_lattice(&as_said.reading.basis, &seen.reading.basis)) else {
        return Ok(());
    };
    let refusal = Refusal::new(RefusalCode::AxesUnclear, "the stitches are clearer along other rows").in_words(
        "the rows do not seem to run in the direction that was said",
        "Look once more in which direction the rows run (0 is to the right, 90 is down), and say that with --axes, or leave it out. If it \
         is as you said, add the gauge that you expect with --expect; or count by hand and say --counted.",
    );
    Err(refusal.with_rivals(rival(area_mm2(&seen.reading), seen).into_iter().collect()))
}

/// Refuses what was counted under the name that was said, where with nothing said the fabric is recognised with other stitches; and
/// where both its likelihood and its shape speak against the name, where that is not among the readings that remain.
fn check_name(as_said: &Followed, recognised: &Result<Followed, Refusal>) -> Result<(), Refusal> {
    let counted = &as_said.reading.basis;
    let said = &as_said.decision.pattern.name;
    let doubted = &as_said.said_doubted;
    let (seen, rivals) = match recognised {
        Ok(found) if same_counts(counted, &found.reading.basis) => return Ok(()),
        Ok(found) => (
            format!("{said} was said, but it is recognised as {} with other stitches", found.decision.pattern.name),
            rival(area_mm2(&found.reading), found).into_iter().collect(),
        ),
        Err(refusal) => {
            let among = refusal.rivals.iter().any(|r| is_of_counts(r, counted));
            if !(doubted.by_likelihood && doubted.by_shape) || refusal.rivals.is_empty() || among {
                return Ok(());
            }
            (format!("{said} was said, but other stitches are seen more clearly than those"), refusal.rivals.clone())
        }
    };
    let refusal = Refusal::new(RefusalCode::PatternUnclear, seen).in_words(
        "the fabric does not look like the stitch pattern that was said",
        "Look once more at what was knitted, and say that with --stitch, or leave it out. If it is as you said, add the gauge that you \
         expect with --expect; or count by hand and say --counted.",
    );
    Err(refusal.with_rivals(rivals))
}
