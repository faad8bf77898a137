//! Looking for single loops, for pictures: the gauge does not need them, so it is done only when a picture is wanted.

use crate::fabric::inside;
use crate::lattice::{FollowedLattice, MOST_LOOPS, loops_within, see_loops};
use crate::photo::{LUMINANCE, Photo};
use crate::record::{Evidence, Record};

/// Looks for the loops of the fitted lattice in the photo and puts them into the evidence, where there is a lattice. Those
/// under the ruler are left out.
pub fn look_for_loops(photo: &Photo, record: &Record, evidence: &mut Evidence) {
    let Some(model) = &evidence.lattice else { return };
    let Some(followed) = FollowedLattice::new(model, &evidence.blocks) else { return };
    let hidden = |&(stitch, row): &(i32, i32)| {
        let place = followed.place(f64::from(stitch), f64::from(row));
        place.is_none_or(|p| inside(&evidence.ruler_outline_px, p))
    };
    let mut numbers = loops_within(model, &evidence.region_px, MOST_LOOPS);
    numbers.retain(|n| !hidden(n));
    let repeat = record.stitch_pattern.as_ref().map_or((1, 1), |p| (p.pattern.repeat_stitches, p.pattern.repeat_rows));
    evidence.loops = see_loops(photo, evidence.projection.unwrap_or(LUMINANCE), &followed, &numbers, repeat);
}
