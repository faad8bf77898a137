//! Doubts: what is followed and decided, and yet not sure enough to be told.

use super::Setup;
use super::fabric_stage::{CLOSE_SHARE, FAINT, FAR_CLEARER, Followed, Place, followed_over};
use super::other_swatches;
use super::rivals::{as_rival, nearly_same, places_differ, same_counts, same_lattice};
use crate::lattice::{self, Agreement, Basis, ColourChanges, Decision, StitchPattern};
use crate::refusal::{Refusal, RefusalCode};

/// Margin from which on the whole fabric's decision stands, whatever its places said of it before it was made even (stated choice: eight
/// times what decides). Measured on photos of eight makers that were refused for their places or for the shape of their cells: of 20
/// with such a margin, and along the ruler, all were right, of 11 with less four.
const DECISIVE: f64 = 8.0 * lattice::CLEAR;

/// Skew beyond which a lattice needs a surer decision, in degrees, and the margin it then needs: twist of the yarn skews
/// fabric by a few degrees, and a sheared near-duplicate of the true lattice is the usual wrong reading.
const UNUSUAL_SKEW_DEG: f64 = 7.0;
const MARGIN_WHEN_SKEWED: f64 = 12.0;

/// Skew beyond which no decision is sure enough (stated choice): the camera is tilted too far for the plane taken so far.
const MOST_SKEW_DEG: f64 = 12.0;

/// Refuses where the whole fabric shows other stitches than a place that was sure of its own, without being nearly as sure; and
/// larger ones, where it is not far clearer than its next best reading: a lattice of larger stitches has a line for nearly
/// everything that smaller ones show.
pub(super) fn check_overruled(place: &Decision, whole: &Decision) -> Result<(), Refusal> {
    let coarser = whole.basis.stitches_per_mm2() < place.basis.stitches_per_mm2();
    let far_clearer = whole.score > FAR_CLEARER * (whole.score - whole.margin);
    let as_sure = FAR_CLEARER * whole.margin > place.margin && (far_clearer || !coarser);
    if as_sure || whole.margin > DECISIVE || place.margin < lattice::CLEAR || nearly_same(&whole.basis, &place.basis) {
        return Ok(());
    }
    let seen = "the stitches that the whole fabric shows are not those that its places show";
    let rivals = [place, whole].into_iter().filter_map(as_rival).collect();
    Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(rivals))
}

/// The refusal where two readings stood every trial and contradict each other. `sure` holds the reading that is to be
/// taken first. Of the same fabric only one can be right, so it must be far clearer. Elsewhere a table or a border may
/// repeat too, but nothing else is clearer than the fabric.
pub(super) fn contradiction(sure: &[(f64, Followed)]) -> Option<Refusal> {
    let ((_, taken), others) = sure.split_first()?;
    let contradicts = |(_, other): &&(f64, Followed)| {
        let (score, rival) = (taken.decision.score, other.decision.score);
        let same_fabric = || other_swatches::share_fabric(&taken.reading, &other.reading);
        !same_lattice(&taken.reading.basis, &other.reading.basis)
            && (score < rival || score < FAR_CLEARER * rival && same_fabric())
    };
    others.iter().find(contradicts)?;
    Some(places_differ(followed_over(sure)))
}

/// Refuses stripes that would run along the columns of stitches: a yarn is knitted along the row, so stripes do, too, and the
/// lattice is turned on its side. What the user said of the rows' direction settles it.
pub(super) fn check_stripes(changes: Option<ColourChanges>, setup: &Setup) -> Result<(), Refusal> {
    /// Least share of changes along the row, and how many times those along the wale, that stripes along the wale show
    /// (measured on 31 swatches of two colours: stripes along the row 0.13 at most, and less than along the wale; colour work
    /// 0.3 to 0.6 both ways; two that were read on their side 0.8 and 0.9, 12 to 17 times those along the wale).
    const STRIPED: f64 = 0.25;
    const TIMES: f64 = 4.0;
    match changes {
        Some(ColourChanges { along_row, along_wale })
            if along_row > STRIPED && along_row > TIMES * along_wale && setup.row_direction_deg.is_none() =>
        {
            let seen =
                "the stripes of colour would run along the columns of stitches, and yarn is knitted along the rows";
            Err(Refusal::new(RefusalCode::AxesUnclear, seen))
        }
        _ => Ok(()),
    }
}

/// Refuses rows of garter each of which would be of another colour than the next: its stripes are knitted a ridge at a time, two rows
/// (common practice, no source: one row of a colour leaves no line), so ridges were counted for rows. An expected gauge settles it.
pub(super) fn check_ridges(
    changes: Option<ColourChanges>,
    basis: &Basis,
    pattern: &StitchPattern,
    setup: &Setup,
) -> Result<(), Refusal> {
    /// Changes per row: half-way from every second row to every one.
    const EVERY_ROW: f64 = 0.75;
    let every_row = pattern.name == "garter" && changes.is_some_and(|seen| seen.along_wale > EVERY_ROW);
    if every_row && !lattice::near_expected(basis, setup.expected) {
        let seen =
            "the colour would change at every row of the garter, and it does so at its ridges, which are two rows";
        return Err(Refusal::new(RefusalCode::LatticeUnclear, seen));
    }
    Ok(())
}

/// Refuses what lies across the ruler and may as well lie otherwise: a texture of knit and purl stitches by turns both ways (seed stitch
/// turned by 60° is nearly the same, the repeats of others stand in rows along their diagonals), and single stitches under a name that
/// is not the trade's own for them. A ruler is laid along rows or columns. What the user said of the rows' direction settles it.
pub(super) fn check_along(
    basis: &Basis,
    pattern: &StitchPattern,
    ruler_direction_deg: Option<f64>,
    setup: &Setup,
) -> Result<(), Refusal> {
    /// From which angle to the ruler on, in degrees (stated choice: half-way to seed's diagonal, at 30°, and a ruler's own 5°). How
    /// clear the reading is does not help: of eight textures read along a diagonal, of eight makers' photos, six were narrow decisions,
    /// and two among the clearest of all; beside them two were right, with the ruler laid aslant. Of single stitches of other names
    /// six were cloths, and none right.
    const ACROSS_DEG: f64 = 20.0;
    let (stitches, rows) = (pattern.repeat_stitches, pattern.repeat_rows);
    let own_name = (stitches, rows) == (1, 1) && StitchPattern::named(&pattern.name).is_none();
    let Some(((stitch, _), ruler_deg)) = basis.steps_mm().zip(ruler_direction_deg) else { return Ok(()) };
    let off = lattice::off_direction_deg(stitch, ruler_deg);
    let across = off.min(90.0 - off) > ACROSS_DEG;
    if (stitches > 1 && rows > 1 || own_name) && across && setup.row_direction_deg.is_none() {
        let seen =
            "the rows would run across the ruler, and what looks like this looks nearly the same along its diagonals";
        return Err(Refusal::new(RefusalCode::AxesUnclear, seen));
    }
    Ok(())
}

/// Refuses square cells that lie across the ruler: their diagonals make square cells as well, of half or twice the area, so stripes
/// of garter's ridges, or the threads of a cloth, may run along those; and a ruler is laid along one or the other. What the user
/// said of the rows' direction settles it.
pub(super) fn check_not_across(
    basis: &Basis,
    pattern: &StitchPattern,
    ruler_direction_deg: Option<f64>,
    setup: &Setup,
) -> Result<(), Refusal> {
    /// How nearly square (logarithm of the sides; stated choice: stockinette's cells are 1.3 times as wide as high), and how near
    /// to the diagonal, in degrees (stated choice: half-way is 22.5, a ruler laid by eye is off by a few).
    const SQUARE: f64 = 0.08;
    const NEAR_DIAGONAL_DEG: f64 = 12.0;
    let Some(((stitch, row), ruler_deg)) = basis.steps_mm().zip(ruler_direction_deg) else { return Ok(()) };
    let height = f64::from(pattern.repeat_rows) * row[0].hypot(row[1]);
    let square = (stitch[0].hypot(stitch[1]) / height).ln().abs() < SQUARE;
    let diagonal = (lattice::off_direction_deg(stitch, ruler_deg) - 45.0).abs() < NEAR_DIAGONAL_DEG;
    let single = pattern.repeat_stitches == 1 && pattern.repeat_rows <= 2;
    if single && square && diagonal && setup.row_direction_deg.is_none() {
        let seen = "rows and columns would run across the ruler, in square cells whose diagonals might be rows as well";
        return Err(Refusal::new(RefusalCode::AxesUnclear, seen));
    }
    Ok(())
}

/// Refuses rows that are taller or lower, against the stitches, than those of the pattern that was named: on their side where that
/// would suit it, else counted wrongly unless the decision's `margin` is decisive. An expected gauge settles it.
pub(super) fn check_shape(basis: &Basis, pattern: &StitchPattern, margin: f64, setup: &Setup) -> Result<(), Refusal> {
    /// Spreads beyond which they are: one fabric in eighty is (stated choice).
    const UNLIKE: f64 = 2.5;
    let name = pattern.name.as_str();
    let unlike = |basis: &Basis| lattice::spreads_off(basis, name).is_some_and(|off| off > UNLIKE);
    if lattice::near_expected(basis, setup.expected) || StitchPattern::named(name).is_none() || !unlike(basis) {
        return Ok(());
    }
    let on_its_side = !unlike(&Basis { stitch: basis.row, row: basis.stitch });
    if !on_its_side && margin > DECISIVE {
        return Ok(());
    }
    let seen = format!("the rows would be taller or lower, against the stitches, than those of {name} are");
    let turn = on_its_side && setup.row_direction_deg.is_none();
    Err(Refusal::new(if turn { RefusalCode::AxesUnclear } else { RefusalCode::LatticeUnclear }, seen))
}

/// Refuses what more sure places contradict than bear out, or what is read faintly, where one of those shows its own stitches far more
/// clearly than the whole fabric shows these: the whole has more of them to show.
pub(super) fn check_outdone(found: &Followed, places: &[Place]) -> Result<(), Refusal> {
    let sure = || places.iter().filter(|place| place.is_sure());
    let agrees = |place: &&Place| same_counts(&place.basis, &found.reading.basis);
    let agree = sure().filter(agrees).count();
    let clearest = sure().filter(|p| !agrees(p)).fold(0.0, |most: f64, p| most.max(p.score));
    let on = &found.decision.stands_on;
    let outvoted = sure().count() - agree > agree;
    if (outvoted || on.score < FAINT) && clearest > FAR_CLEARER * on.score {
        let seen = "places that were read show other stitches, and more clearly, than the whole fabric does";
        let rivals = found.decision.rivals.clone();
        return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(rivals));
    }
    Ok(())
}

/// Refuses stitches of which a place shows a whole number of smaller ones in each, along both axes: what is larger has a line for
/// everything that smaller stitches show, and a motif or stripes in two colours repeat as clearly as stitches do. Places that are sure of
/// their own say so where fewer sure ones bear the larger out; any place does of what would be stitches of super bulky yarn, since such motifs are
/// knitted more often than those.
pub(super) fn check_not_repeats(found: &Followed, places: &[Place]) -> Result<(), Refusal> {
    /// Fewest stitches in 10 cm of usual yarns (Craft Yarn Council, Standard Yarn Weight System: bulky has 12 to 15 in 4 in, super bulky
    /// 7 to 11).
    const BULKY_FROM_PER_10CM: f64 = 12.0;
    /// How nearly whole the numbers are, relatively (stated choice: places of one uneven fabric differ by as much).
    const WHOLE: f64 = 0.08;
    let Some((stitches, rows)) = found.reading.basis.per_10cm() else { return Ok(()) };
    let several = |ratio: f64| ratio > 1.5 && (ratio / ratio.round() - 1.0).abs() < WHOLE;
    let divides = |place: &&Place| {
        place.basis.per_10cm().is_some_and(|(s, r)| several(s / stitches) && several(r / rows))
            && place.score > lattice::KNIT_DECLARED
    };
    let agrees = |place: &&Place| place.is_sure() && same_counts(&place.basis, &found.reading.basis);
    let bulky = stitches < BULKY_FROM_PER_10CM;
    let surely =
        places.iter().filter(divides).filter(|place| place.is_sure()).count() > places.iter().filter(agrees).count();
    if surely || bulky && places.iter().any(|place| divides(&place)) {
        let seen = "what repeats may be a motif or stripes in several colours: a place shows smaller stitches, a whole number in each";
        let rivals = found.decision.rivals.clone();
        return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(rivals));
    }
    Ok(())
}

/// Refuses a small piece of fabric, or one read faintly, that was not read surely at two places at least: nothing bears out
/// what was read there, unless it fills what the user outlined.
pub(super) fn check_borne_out(found: Followed, sure_places: usize) -> Result<Followed, Refusal> {
    /// Stitches and rows from which a region holds more than one place (stated choice: a place takes a dozen).
    const SEVERAL_PLACES: f64 = 10.0;
    /// Places from which on they tell something together (stated choice).
    const SOME_OF: usize = 3;
    /// By how much clearer the whole fabric must be where no more than a third of its places show the same (stated choice: of 52 such
    /// answers 50 have 2.7 times the usual margin and more, the least of the others, a wrong one, 1.5).
    const CLEARER: f64 = 2.0;
    let (stitches, rows) = found.reading.extent;
    let on = &found.decision.stands_on;
    // What not every projection of colour shows as well, most places must show: one colour's own period is none of stitches.
    let of_one_colour = on.projections.agree < on.projections.of && 2 * on.places.agree <= on.places.of;
    let hardly_agree = on.places.of >= SOME_OF && 3 * on.places.agree <= on.places.of;
    let narrow = found.decision.margin < CLEARER * lattice::CLEAR;
    // Measured: of 1100 answers three stood on none of two places and one of them was wrong; of 1180 four on none of more, two wrong.
    let none_agrees = on.places.agree == 0 && on.places.of > 1;
    let decisive = found.decision.margin > DECISIVE;
    if !decisive && (of_one_colour || none_agrees) || hardly_agree && narrow {
        let Agreement { agree, of } = on.places;
        let seen = format!("{of} places were read, and {agree} of them show the stitches that the whole fabric shows");
        return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(found.decision.rivals));
    }
    let fills_outline = found.covered.is_some_and(|covered| covered.share >= CLOSE_SHARE);
    if stitches.min(rows) < SEVERAL_PLACES && sure_places < 2 && !(fills_outline && on.places.agree > 0) {
        let seen = format!("{stitches:.0} stitches by {rows:.0} rows, read at one place only");
        return Err(Refusal::new(RefusalCode::TooFewStitches, seen));
    }
    if on.score < FAINT && on.places.of > 1 && sure_places < 2 {
        let seen = "the stitches stand up faintly, and other places do not show the same";
        return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(found.decision.rivals));
    }
    Ok(found)
}

/// Refuses a lattice that a finer one explains, and one whose skew is unusual and whose decision is not sure enough for that.
pub(super) fn checked(found: Followed) -> Result<Followed, Refusal> {
    lattice::check_not_too_coarse(&found.decision)?;
    let skew_deg = skew_deg(&found.reading.basis);
    let surer = found.decision.margin >= MARGIN_WHEN_SKEWED && skew_deg.abs() <= MOST_SKEW_DEG;
    if skew_deg.abs() > UNUSUAL_SKEW_DEG && !surer {
        let seen = format!("the best reading would be skewed by {skew_deg:.0} degrees");
        return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(found.decision.rivals));
    }
    Ok(found)
}

/// Departure of the angle between row and wale from a right angle, in degrees.
fn skew_deg(basis: &Basis) -> f64 {
    let (s, r) = (basis.stitch, basis.row);
    let sine = (s[0] * r[0] + s[1] * r[1]) / (s[0].hypot(s[1]) * r[0].hypot(r[1])).max(1e-12);
    sine.clamp(-1.0, 1.0).asin().to_degrees()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lattice::StandsOn;
    use crate::quantity::PlanePoint;

    /// A decision on stitches and rows per 10 cm.
    fn decision((stitches, rows): (f64, f64), score: f64, margin: f64) -> Decision {
        Decision {
            basis: Basis { stitch: [stitches / 100.0, 0.0], row: [0.0, rows / 100.0] },
            seed: PlanePoint::new(0.0, 0.0),
            pattern: StitchPattern::named("stockinette").unwrap(),
            declared: true,
            confidence: None,
            harmonics: Vec::new(),
            score,
            margin,
            rivals: Vec::new(),
            weights: [0.2126, 0.7152, 0.0722],
            stands_on: StandsOn::default(),
        }
    }

    #[test]
    fn a_decisive_whole_stands_against_its_places() {
        let place = decision((20.0, 28.0), 40.0, 12.0);
        // Larger stitches, and not far clearer than the next best reading of the whole.
        let whole = |margin: f64| decision((14.0, 20.0), 150.0, margin);
        let refused = check_overruled(&place, &whole(0.75 * DECISIVE)).unwrap_err();
        assert_eq!((refused.code, refused.rivals.len()), (RefusalCode::LatticeUnclear, 2));
        assert!(check_overruled(&place, &whole(1.25 * DECISIVE)).is_ok());
        let unsure = decision((20.0, 28.0), 40.0, 0.5 * lattice::CLEAR);
        assert!(check_overruled(&unsure, &whole(5.0)).is_ok());
    }

    #[test]
    fn stripes_run_along_the_rows() {
        let seen = |along_row, along_wale| Some(ColourChanges { along_row, along_wale });
        let setup = Setup::default();
        assert!(check_stripes(None, &setup).is_ok());
        assert!(check_stripes(seen(0.1, 0.5), &setup).is_ok() && check_stripes(seen(0.5, 0.5), &setup).is_ok());
        let turned = check_stripes(seen(0.8, 0.06), &setup).unwrap_err();
        assert_eq!(turned.code, RefusalCode::AxesUnclear);
        let told = Setup { row_direction_deg: Some(0.0), ..setup };
        assert!(check_stripes(seen(0.8, 0.06), &told).is_ok());
    }

    #[test]
    fn garter_changes_colour_at_its_ridges() {
        let changing = |along_wale| Some(ColourChanges { along_row: 0.05, along_wale });
        let (garter, plain) = (StitchPattern::named("garter").unwrap(), StitchPattern::named("stockinette").unwrap());
        let basis = Basis { stitch: [0.2, 0.0], row: [0.0, 0.4] };
        let setup = Setup::default();
        let check = |along_wale, pattern: &StitchPattern, setup: &Setup| {
            check_ridges(changing(along_wale), &basis, pattern, setup).map_err(|refusal| refusal.code)
        };
        assert!(check_ridges(None, &basis, &garter, &setup).is_ok());
        assert_eq!(check(0.5, &garter, &setup), Ok(()));
        assert_eq!(check(0.95, &garter, &setup), Err(RefusalCode::LatticeUnclear));
        assert_eq!(check(0.95, &plain, &setup), Ok(()));
        assert_eq!(check(0.95, &garter, &Setup { expected: Some((20.0, 40.0)), ..setup.clone() }), Ok(()));
        // What is expected settles only what it fits.
        assert!(check(0.95, &garter, &Setup { expected: Some((20.0, 80.0)), ..setup }).is_err());
    }

    #[test]
    fn square_cells_lie_along_the_ruler() {
        // Stitches of 5 mm, rows of 5 mm or 2.5 mm.
        let cells = |row_per_mm: f64| Basis { stitch: [0.2, 0.0], row: [0.0, row_per_mm] };
        let named = |name: &str| StitchPattern::named(name).unwrap();
        let (plain, garter) = (named("stockinette"), named("garter"));
        let setup = Setup::default();
        let across = Some(40.0);
        assert!(check_not_across(&cells(0.2), &plain, Some(5.0), &setup).is_ok());
        assert!(check_not_across(&cells(0.2), &plain, None, &setup).is_ok());
        assert!(check_not_across(&cells(0.26), &plain, across, &setup).is_ok());
        let refused = check_not_across(&cells(0.2), &plain, across, &setup).unwrap_err();
        assert_eq!(refused.code, RefusalCode::AxesUnclear);
        assert!(check_not_across(&cells(0.4), &garter, across, &setup).is_err());
        assert!(check_not_across(&cells(0.4), &garter, Some(-50.0), &setup).is_err());
        let told = Setup { row_direction_deg: Some(0.0), ..setup };
        assert!(check_not_across(&cells(0.2), &plain, across, &told).is_ok());
    }

    #[test]
    fn textures_and_cloths_lie_along_the_ruler() {
        // Stitches of 5 mm, rows of 3 mm.
        let basis = Basis { stitch: [0.2, 0.0], row: [0.0, 1.0 / 3.0] };
        let (seed, rib) = (StitchPattern::named("seed").unwrap(), StitchPattern::with_repeat("rib", 4, 1));
        let dots = StitchPattern::with_repeat("dots", 4, 4);
        let setup = Setup::default();
        let code = |pattern: &StitchPattern, ruler_deg: Option<f64>, setup: &Setup| {
            check_along(&basis, pattern, ruler_deg, setup).map_err(|e| e.code)
        };
        assert_eq!(code(&seed, Some(-8.0), &setup), Ok(()));
        assert_eq!(code(&seed, Some(99.0), &setup), Ok(()));
        assert_eq!(code(&seed, Some(32.0), &setup), Err(RefusalCode::AxesUnclear));
        assert_eq!(code(&dots, Some(32.0), &setup), Err(RefusalCode::AxesUnclear));
        assert_eq!(code(&rib, Some(32.0), &setup), Ok(()));
        assert_eq!(code(&StitchPattern::named("stockinette").unwrap(), Some(32.0), &setup), Ok(()));
        assert_eq!(code(&StitchPattern::with_repeat("tweed", 1, 1), Some(32.0), &setup), Err(RefusalCode::AxesUnclear));
        let told = Setup { row_direction_deg: Some(0.0), ..setup };
        assert_eq!(code(&seed, Some(32.0), &told), Ok(()));
    }

    #[test]
    fn rows_have_the_height_of_what_was_named() {
        let basis = |stitches: f64, rows: f64| Basis { stitch: [stitches / 100.0, 0.0], row: [0.0, rows / 100.0] };
        let named = |name: &str| StitchPattern::named(name).unwrap();
        let setup = Setup::default();
        let checked = |basis: &Basis, name: &str, margin: f64, setup: &Setup| {
            check_shape(basis, &named(name), margin, setup).map_err(|e| e.code)
        };
        let code = |basis: &Basis, name: &str, setup: &Setup| checked(basis, name, 10.0, setup);
        // 22 stitches by 30 rows is the usual stockinette (common practice, no source); garter has twice as many rows as stitches.
        assert_eq!(code(&basis(22.0, 30.0), "stockinette", &setup), Ok(()));
        assert_eq!(code(&basis(20.0, 40.0), "garter", &setup), Ok(()));
        assert_eq!(code(&basis(30.0, 22.0), "reverse-stockinette", &setup), Err(RefusalCode::AxesUnclear));
        assert_eq!(code(&basis(25.0, 57.0), "rib-1x1", &setup), Err(RefusalCode::LatticeUnclear));
        assert_eq!(checked(&basis(25.0, 57.0), "rib-1x1", 2.0 * DECISIVE, &setup), Ok(()));
        assert!(checked(&basis(30.0, 22.0), "reverse-stockinette", 2.0 * DECISIVE, &setup).is_err());
        let told = Setup { row_direction_deg: Some(0.0), ..setup.clone() };
        assert_eq!(code(&basis(30.0, 22.0), "reverse-stockinette", &told), Err(RefusalCode::LatticeUnclear));
        let expected = |gauge| Setup { expected: Some(gauge), ..setup.clone() };
        assert_eq!(code(&basis(30.0, 22.0), "reverse-stockinette", &expected((30.0, 22.0))), Ok(()));
        assert!(code(&basis(30.0, 22.0), "reverse-stockinette", &expected((15.0, 22.0))).is_err());
    }

    #[test]
    fn ribs_have_columns_of_their_own() {
        let named = |name: &str| StitchPattern::named(name).unwrap();
        assert!(named("rib-1x1").is_rib() && named("rib-2x2").is_rib());
        assert!(!named("stockinette").is_rib() && !named("garter").is_rib() && !named("seed").is_rib());
    }
}
