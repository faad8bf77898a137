//! Single loops: looked for to draw them, and to try what the lattice foretells. The gauge itself rests on the phases.

use crate::fabric::inside;
use crate::lattice::{FollowedLattice, LatticeModel, MOST_LOOPS, PhaseBlock, StitchPattern, loops_within, see_loops};
use crate::photo::{LUMINANCE, Photo};
use crate::quantity::PhotoPoint;
use crate::record::{Evidence, Record};
use crate::refusal::{Refusal, RefusalCode};

/// Looks for the loops of the fitted lattice in the photo and puts them into the evidence, where there is a lattice. Those
/// under the ruler are left out.
pub fn look_for_loops(photo: &Photo, record: &Record, evidence: &mut Evidence) {
    let Some(model) = &evidence.lattice else { return };
    let Some(followed) = FollowedLattice::new(model, &evidence.blocks) else { return };
    let numbers = in_sight(model, &followed, &evidence.region_px, &evidence.ruler_outline_px);
    let repeat = record.stitch_pattern.as_ref().map_or((1, 1), |p| repeat_of(&p.pattern));
    evidence.loops = see_loops(photo, evidence.projection.unwrap_or(LUMINANCE), &followed, &numbers, repeat);
}

/// What was followed over the fabric, for the trial of its loops.
pub(super) struct FollowedLoops<'a> {
    pub model: &'a LatticeModel,
    pub blocks: &'a [PhaseBlock],
    pub region_px: &'a [PhotoPoint],
    pub ruler_px: &'a [PhotoPoint],
    /// Weights of the colours in which the stitches show.
    pub projection: [f32; 3],
    pub pattern: &'a StitchPattern,
}

/// Refuses a lattice whose loops are not there: phases can be followed along whatever repeats in one direction, as stripes do, while
/// hardly one loop looks like the others of its kind.
pub(super) fn check_loops(photo: &Photo, of: &FollowedLoops) -> Result<(), Refusal> {
    /// Least share of the loops that must be seen (stated choice: of 317 answers a wrong one has 0.09, and the right ones 0.41 and more,
    /// but for five 0.55 and more).
    const LEAST_SEEN: f64 = 0.25;
    /// Loops looked at, at most, and so many more for each kind of a repeat (bounded time): each is compared with its kind.
    const MOST: usize = 300;
    const OF_A_KIND: usize = 24;
    let Some(followed) = FollowedLattice::new(of.model, of.blocks) else { return Ok(()) };
    let repeat = repeat_of(of.pattern);
    let most = MOST.max(OF_A_KIND.saturating_mul(repeat.0.saturating_mul(repeat.1) as usize));
    let all = in_sight(of.model, &followed, of.region_px, of.ruler_px);
    let numbers: Vec<(i32, i32)> = all.iter().step_by(all.len().div_ceil(most).max(1)).copied().collect();
    let loops = see_loops(photo, of.projection, &followed, &numbers, repeat);
    let seen = loops.iter().filter(|l| l.matched).count() as f64 / loops.len().max(1) as f64;
    if loops.is_empty() || seen >= LEAST_SEEN {
        return Ok(());
    }
    let seen =
        format!("only {:.0} % of the stitches that the count foretells can be seen where they should be", 100.0 * seen);
    Err(Refusal::new(RefusalCode::LatticeUnclear, seen))
}

/// Numbers of the loops within an outline that the ruler does not hide.
fn in_sight(
    model: &LatticeModel,
    followed: &FollowedLattice,
    region_px: &[PhotoPoint],
    ruler_px: &[PhotoPoint],
) -> Vec<(i32, i32)> {
    let hidden = |&(stitch, row): &(i32, i32)| {
        let place = followed.place(f64::from(stitch), f64::from(row));
        place.is_none_or(|p| inside(ruler_px, p))
    };
    let mut numbers = loops_within(model, region_px, MOST_LOOPS);
    numbers.retain(|n| !hidden(n));
    numbers
}

fn repeat_of(pattern: &StitchPattern) -> (u32, u32) {
    (pattern.repeat_stitches, pattern.repeat_rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Setup, measure};
    use crate::synthetic::{Scene, jpeg_with_exif, photograph};
    use std::ops::ControlFlow;

    #[test]
    fn loops_are_where_the_lattice_foretells_them() {
        let scene = Scene::plain(5);
        let drawn = photograph(&scene).expect("the scene is in range");
        let jpeg = jpeg_with_exif(&drawn.image, &scene).expect("the photo can be encoded");
        let pattern = StitchPattern::named("stockinette").expect("a known pattern");
        let setup = Setup { stitch: Some(pattern.clone()), ..Setup::default() };
        let outcome = measure(&jpeg, &setup, &mut |_| ControlFlow::Continue(()));
        let (photo, evidence) = (outcome.photo.expect("a photo"), outcome.evidence.expect("evidence"));
        let followed = evidence.lattice.expect("measured");
        let tried = |model: &LatticeModel| {
            let of = FollowedLoops {
                model,
                blocks: &[],
                region_px: &evidence.region_px,
                ruler_px: &evidence.ruler_outline_px,
                projection: evidence.projection.unwrap_or(LUMINANCE),
                pattern: &pattern,
            };
            check_loops(&photo, &of)
        };
        assert_eq!(tried(&followed), Ok(()));
        // Of a lattice that keeps step with the fabric in neither direction hardly a loop is where it should be.
        let mut wrong = followed.clone();
        (wrong.basis.stitch, wrong.basis.row) =
            (wrong.basis.stitch.map(|f| f * 1.37), wrong.basis.row.map(|f| f * 0.81));
        assert_eq!(tried(&wrong).map_err(|refusal| refusal.code), Err(RefusalCode::LatticeUnclear));
    }
}
