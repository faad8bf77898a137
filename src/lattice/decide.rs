//! The octave decision: which of all lattices that fit the strong lines is the one of single stitches and single rows.

use super::crossing::check_not_crossing;
use super::hypotheses;
use super::reading::{self, Reading, Sighting};
use super::score::Scene;
use super::view::View;
use super::{Agreement, Basis, Decision, Declared, Harmonic, StandsOn, StitchPattern};
use crate::fabric::Sheet;
use crate::quantity::PlanePoint;
use crate::refusal::{Refusal, RefusalCode, Rival};
use crate::side_by_side::map_in_order;

/// Lowest score of a lattice that is one (measured: no more than 8 on wood, cloth, grass and brick, 20 and more on
/// knitting).
const KNIT: f64 = 15.0;

/// The same with the pattern declared: one family was tried, not seven with their repeats.
pub const KNIT_DECLARED: f64 = 11.0;

/// Lowest amplitude over noise of the weaker leg of the V, and how far below the strength of the lattice it may be (a
/// logarithm). Every knitted surface has legs that lean both ways (measured: 3.6 and more); combs and bricks have none.
const LEGS: f64 = 3.0;
const LEGS_BELOW: f64 = 1.4;

/// How far below it may be with the pattern named (stated choice: reverse stockinette comes to 1.7).
const LEGS_BELOW_DECLARED: f64 = 2.2;

/// Lowest score of a reading that is worth following.
const PROPOSED: f64 = 6.0;

/// Windows from which their noise is averaged, and the score needed below: the noise of one window, or of two that are
/// nearly the same, stands up in peaks of its own (measured: 23 where the lattice was off by a seventh).
const AVERAGED: usize = 3;
const KNIT_FEW_WINDOWS: f64 = 30.0;

/// Score needed where colour hides the legs (measured: 24 and less on crochet, 60 and more on striped stockinette).
const KNIT_WITHOUT_LEGS: f64 = 30.0;

/// Lowest mirror symmetry about the wale, and highest about the row. Stitches have a top and a bottom (measured: 0.80 at
/// most about the row); grids, tiles and chequered boards have not (0.93 and more). Wale: 0.50 and more.
const WALE_MIRROR: f64 = 0.45;
const ROW_MIRROR: f64 = 0.88;

/// Lowest mirror symmetry about the wale with the pattern named (measured: 0.41 on reverse stockinette lit from the side).
const WALE_MIRROR_DECLARED: f64 = 0.3;

/// Score needed where the user outlined the fabric and named the pattern, when the motif is that of a stitch: clearly more
/// its own mirror image about the wale than about the row (measured: noise scores 3 and less).
const KNIT_OUTLINED: f64 = 6.0;
const WALE_MIRROR_OUTLINED: f64 = 0.6;
const MORE_ABOUT_THE_WALE: f64 = 0.1;

/// Margin over the best rival that decides, with the pattern declared.
pub const CLEAR: f64 = 4.0;

/// The same with the pattern recognised: the families are rivals too (measured: under 10 one answer in five is wrong).
const CLEAR_UNDECLARED: f64 = 10.0;

/// The same where knit and purl rows differ: turned on its side, half of such rows can be read as stitches.
const CLEAR_ROWING: f64 = 20.0;

/// Stitches per area, over another reading's, from which on one has smaller stitches: half-way from the same to twice as many.
const FINER: f64 = 1.5;

/// Most stitches in the repeat of a pattern that is recognised. Four leave a place for nearly every line, so that textures
/// of any repeat can be read as 2×2 rib (measured: 7 of 16 so recognised were something else, whatever the margin).
const MOST_RECOGNISED: u32 = 2;

/// Largest share of the lines' power above the second order of the legs and of the rows; finer lines belong to smaller
/// stitches. Derived: amplitudes that fall with the order, as those of sharp edges do, leave 24 % there, with its square, as
/// those of round yarn do, 2 %; an eighth lies between. Measured on 130 photos: right readings 0.09 and less, octaves
/// too large 0.19 and more.
const MOST_FINE: f64 = 0.125;

/// Rivals reported at most, and how far behind they may be.
pub(super) const RIVALS: usize = 5;
const RIVAL_WITHIN: f64 = 25.0;

/// Fewest stitches and rows in sight.
const FEWEST: f64 = 6.0;

/// Lowest amplitude over noise of a harmonic that carries the phase fit, and their number at most.
const HARMONIC_STRENGTH: f64 = 4.0;
const HARMONICS: usize = 14;

/// Relative difference of both counts below which readings are no rivals: the joint fit of the phases settles it. Places of one
/// uneven fabric differ by a tenth and a little more, a wrong octave is off by a quarter or more (stated choice: between them).
const SAME_COUNTS: f64 = 0.15;

/// How far a declared row direction may be from the reading's, in degrees (stated choice: told by eye it is off by a few, the
/// diagonals of square cells lie 45° off, so half-way is 22.5).
const DECLARED_AXIS_DEG: f64 = 20.0;

/// How far apart the rows of two readings of one pattern run when their direction tells which is right, in degrees: nearly half-way
/// to the other axis.
const TURNED_DEG: f64 = 40.0;

/// How near an expected gauge must be, relatively: a third of the way to the nearest octave (2 : 3).
const EXPECTED_WITHIN: f64 = 0.15;

/// Decides which lattice is that of single stitches and rows.
///
/// `sheets` are even-lit pictures of one or several places of the fabric, in one or several projections of colour. Those
/// whose weights add up to nearly nothing are taken as colour contrasts of the place: lines that stand up there are
/// stripes or colour work and say nothing about the stitches. `declared.row_direction_deg` is taken as a direction in
/// the plane's axes, already converted from the photo.
///
/// # Errors
/// `not_knit` where no lattice of two directions stands up, `too_few_stitches` where fewer than 6 stitches or rows are in
/// sight, and `lattice_unclear`, `axes_unclear` or `pattern_unclear`, with the rivals, where readings remain.
pub fn decide(sheets: &[Sheet], declared: &Declared) -> Result<Decision, Refusal> {
    let views = View::all(sheets);
    let trials = reading::trials(declared);
    let sightings = sightings(&views, declared, |v| reading::sighting(v, &trials));
    let decision = judged(&sightings, declared)?;
    let (view, _) = first(&sightings)?;
    let (s, r) = extent(view, &decision.basis);
    if s.min(r) < FEWEST {
        let seen = format!("{s:.1} stitches and {r:.1} rows in sight, {FEWEST:.0} needed");
        return Err(Refusal::new(RefusalCode::TooFewStitches, seen));
    }
    Ok(decision)
}

/// The best reading at a place, however narrow its margin: where the lattice that is then followed should start.
///
/// # Errors
/// `not_knit` where no lattice of two directions stands up.
pub fn propose(sheets: &[Sheet], declared: &Declared) -> Result<Decision, Refusal> {
    let views = View::all(sheets);
    let trials = reading::trials(declared);
    let sightings = sightings(&views, declared, |v| reading::sighting(v, &trials));
    let (view, seen) = first(&sightings)?;
    let Choice { best, margin, .. } = chosen(&seen.readings, declared);
    if best.score < PROPOSED {
        let why = format!("lattice score {:.1}, {PROPOSED:.0} needed", best.score);
        return Err(Refusal::new(RefusalCode::NotKnit, why));
    }
    Ok(decision(view, seen, best, margin, declared))
}

/// Decides again on fabric that was made even by a followed lattice: all of it speaks, and its lines are sharp.
///
/// # Errors
/// As [`decide`].
pub fn confirm(sheets: &[Sheet], declared: &Declared, followed: &Basis) -> Result<Decision, Refusal> {
    let views = View::all(sheets);
    let trials = reading::trials(declared);
    let mut sightings = sightings(&views, declared, |v| reading::sighting_near(v, &trials, followed));
    sightings.iter_mut().for_each(|(_, seen)| keep_possible(seen));
    sightings.sort_by(|a, b| b.1.readings[0].score.total_cmp(&a.1.readings[0].score));
    let (view, seen) = first(&sightings)?;
    let Choice { best, margin, .. } = chosen(&seen.readings, declared);
    let found = decision(view, seen, best, margin, declared);
    check_not_crossing(&found.harmonics, &seen.scene.between(&found.basis, best.family, best.repeat))?;
    let decision = judged(&sightings, declared)?;
    match impossible(best, &seen.scene) {
        Some((code, why)) => Err(Refusal::new(code, why).with_rivals(rival(best).into_iter().collect())),
        None => Ok(decision),
    }
}

/// What the views show, the clearest first.
pub(super) fn sightings<'a, 'b>(
    views: &'a [View<'b>],
    declared: &Declared,
    look: impl Fn(&View<'b>) -> Option<Sighting> + Send + Sync,
) -> Vec<(&'a View<'b>, Sighting)> {
    let seen_in = |v: &'a View<'b>| {
        let mut seen = look(v)?;
        seen.readings.retain(|r| along_declared(r, declared));
        if declared.pattern.is_some() {
            let all = seen.readings.clone();
            keep_stitches(&mut seen.readings);
            seen.righted = seen.readings.first().and_then(|best| righted(best, &all).cloned());
        }
        (!seen.readings.is_empty()).then_some((v, seen))
    };
    let mut sightings: Vec<(&View, Sighting)> = map_in_order(views, seen_in).into_iter().flatten().collect();
    sightings.sort_by(|a, b| b.1.readings[0].score.total_cmp(&a.1.readings[0].score));
    sightings
}

fn first<'a, 'b, 'c>(sightings: &'c [(&'a View<'b>, Sighting)]) -> Result<(&'a View<'b>, &'c Sighting), Refusal> {
    let found = sightings.first().map(|(view, seen)| (*view, seen));
    found.ok_or_else(|| Refusal::new(RefusalCode::NotKnit, "no lines in two directions stand up"))
}

/// The decision between the readings of the clearest view.
fn judged(sightings: &[(&View, Sighting)], declared: &Declared) -> Result<Decision, Refusal> {
    let (view, seen) = first(sightings)?;
    let choice = chosen(&seen.readings, declared);
    let (best, mut margin) = (choice.best, choice.margin);
    // A projection that shows other stitches is a rival too: noise and light differ between them, stitches don't.
    let others = sightings.iter().map(|(_, s)| &s.readings[0]).filter(|r| !same_counts(&r.basis, &best.basis));
    let settled = near_expected(&best.basis, declared.expected_per_10cm);
    if !settled {
        margin = others.map(|r| best.score - r.score).fold(margin, f64::min);
    }
    if let Some(why) = not_knit(best, declared, seen.scene.spectrum.windows) {
        return Err(Refusal::new(RefusalCode::NotKnit, why));
    }
    let found = decision(view, seen, best, margin, declared);
    let clear = match declared.pattern {
        Some(_) if choice.against_finer_rowing() => CLEAR_ROWING,
        Some(_) => CLEAR,
        None if best.rowing => CLEAR_ROWING,
        None => CLEAR_UNDECLARED,
    };
    if let Some(righted) = seen.righted.as_ref().filter(|r| best.score - r.score < CLEAR_ROWING) {
        let seen = format!(
            "on its side, with a pair of rows for a stitch, it would be read nearly as well ({:.0} of {:.0})",
            righted.score, best.score
        );
        let rivals = [best, righted].into_iter().filter_map(rival).collect();
        return Err(Refusal::new(RefusalCode::AxesUnclear, seen).with_rivals(rivals));
    }
    let recognised = best.repeat.0 <= MOST_RECOGNISED || declared.pattern.is_some() || settled;
    if margin < clear {
        return Err(unclear(&seen.readings, &choice, declared, margin, clear));
    }
    if !recognised {
        let looks = format!("it looks like {}, but other patterns do too", best.family.pattern.0);
        return Err(Refusal::new(RefusalCode::PatternUnclear, looks).with_rivals(rivals(&seen.readings, 0)));
    }
    let looks = || sightings.iter().map(|(_, s)| &s.readings[0].basis);
    let projections = Agreement { agree: looks().filter(|b| same_counts(b, &best.basis)).count(), of: looks().count() };
    let places = Agreement { agree: 1, of: 1 };
    let stands_on = StandsOn { score: best.score, margin_needed: clear, places, projections };
    Ok(Decision { stands_on, ..found })
}

/// Of a fabric whose pattern is named, only readings whose motif is that of a stitch: such a one is there. Those whose legs
/// colour hides count where no other is clear, or they are clearer than all others.
fn keep_stitches(readings: &mut Vec<Reading>) {
    let stitches = |r: &Reading| no_stitches(r, true).is_none();
    let shown = |r: &Reading| stitches(r) && r.legs.is_some();
    let hidden = readings.iter().find(|r| stitches(r) && r.legs.is_none()).map_or(KNIT_WITHOUT_LEGS, |r| r.score);
    if readings.iter().any(|r| shown(r) && r.score > hidden.max(KNIT_WITHOUT_LEGS)) {
        readings.retain(shown);
    } else if readings.iter().any(stitches) {
        readings.retain(stitches);
    }
}

/// Of all readings the one that the best is on its side, where a pair of its rows is a stitch: knit and purl rows that differ may be
/// the two legs. It counts where its motif stands clearly more upright, though too little of its legs be seen; that it is the clearer
/// tells nothing, for rows that differ make it so.
pub(super) fn righted<'a>(best: &Reading, all: &'a [Reading]) -> Option<&'a Reading> {
    /// How nearly the same, relatively.
    const SAME: f64 = 0.08;
    let basis = Basis { stitch: best.basis.row.map(|f| 0.5 * f), row: best.basis.stitch };
    let more_upright =
        |r: &&Reading| r.upright().zip(best.upright()).is_some_and(|(r, best)| r - best > MORE_ABOUT_THE_WALE);
    all.iter().find(|r| hypotheses::alike(&r.basis, &basis, SAME)).filter(more_upright)
}

/// Leaves those readings that stitches can show, where there are any.
fn keep_possible(seen: &mut Sighting) {
    let scene = &seen.scene;
    let kept: Vec<Reading> = seen.readings.iter().filter(|r| impossible(r, scene).is_none()).cloned().collect();
    if !kept.is_empty() {
        seen.readings = kept;
    }
}

/// Why stitches can't show a reading, with the refusal's code: its lines are too fine for them, or its motif lies on its side.
fn impossible(r: &Reading, scene: &Scene) -> Option<(RefusalCode, String)> {
    let fine = scene.power_above(&r.basis);
    if fine > MOST_FINE {
        let seen = format!("{:.0} % of what repeats is finer than such stitches can be", 100.0 * fine);
        return Some((RefusalCode::LatticeUnclear, seen));
    }
    on_its_side(r).then(|| {
        let seen = "what repeats is more symmetric about the row than about the wale, as if it lay on its side";
        (RefusalCode::AxesUnclear, seen.to_owned())
    })
}

/// Symmetry about the wale less that about the row from which down a motif lies on its side: right readings have 0.45 ± 0.22
/// (measured over rendered and real photos), those that lie on their side the opposite; strong light from the side upsets the
/// symmetry about the wale, so what lies between is left to the score.
const ON_ITS_SIDE: f64 = -0.06;

/// The same of garter's glides (measured on 100 right answers: -0.09 and more, but for garter of fewer than ten stitches; on five
/// that lay on their side -0.12 to -0.7).
const GLIDES_ON_ITS_SIDE: f64 = -0.1;

/// Whether the motif is clearly more its own mirror image about the row than about the wale: of stitches it is the other way round.
/// Read on its side, half of the rows may pass for the stitches. Garter's ridges are upper and lower arcs, mirror images of each
/// other, half a stitch apart along the row.
fn on_its_side(r: &Reading) -> bool {
    r.mirror.is_some_and(|m| match m.glide {
        Some(glide) => glide < GLIDES_ON_ITS_SIDE,
        None => m.upright() < ON_ITS_SIDE,
    })
}

/// Whether the user says where the fabric is and what was knitted: that it is knitted needs less proof then.
fn vouched(declared: &Declared) -> bool {
    declared.outlined && declared.pattern.is_some()
}

/// Why a lattice, however clear, is none of stitches.
pub(super) fn not_knit(r: &Reading, declared: &Declared, windows: usize) -> Option<String> {
    let like_stitches = r.mirror.is_some_and(|m| m.wale > WALE_MIRROR_OUTLINED && m.upright() > MORE_ABOUT_THE_WALE);
    let needed = match r.legs {
        _ if vouched(declared) && like_stitches => KNIT_OUTLINED,
        Some(_) if windows < AVERAGED => KNIT_FEW_WINDOWS,
        Some(_) if declared.pattern.is_some() => KNIT_DECLARED,
        Some(_) => KNIT,
        None => KNIT_WITHOUT_LEGS,
    };
    if r.score < needed {
        return Some(format!("lattice score {:.1}, {needed:.0} needed", r.score));
    }
    no_stitches(r, declared.pattern.is_some())
}

/// Why the motif is not that of a stitch; with the pattern `named` light from the side may spoil its symmetry more.
fn no_stitches(r: &Reading, named: bool) -> Option<String> {
    if let Some(legs) = r.legs
        && (legs < LEGS || legs.ln() < r.strength - if named { LEGS_BELOW_DECLARED } else { LEGS_BELOW })
    {
        return Some(format!("what repeats shows too little of the two legs of a stitch ({legs:.1} over noise)"));
    }
    let mirror = r.mirror?;
    let least = if named { WALE_MIRROR_DECLARED } else { WALE_MIRROR };
    (mirror.wale < least || mirror.row > ROW_MIRROR).then(|| {
        format!(
            "the motif's symmetry is not that of stitches: {:.2} about the wale, {:.2} about the row",
            mirror.wale, mirror.row
        )
    })
}

/// The reading that is chosen of those of one view.
pub(super) struct Choice<'a> {
    best: &'a Reading,
    /// The best of the others that counts other stitches or rows.
    rival: Option<&'a Reading>,
    /// How far the best of all readings is ahead of its rival.
    pub margin: f64,
}

impl Choice<'_> {
    /// Whether the rival has smaller stitches and knit and purl rows that differ: such rows are half-way to a lattice of
    /// larger stitches that lies aslant.
    fn against_finer_rowing(&self) -> bool {
        let area = |r: &Reading| r.basis.stitches_per_mm2();
        self.rival.is_some_and(|r| r.rowing && !self.best.rowing && area(r) > FINER * area(self.best))
    }
}

/// The best reading; an expected gauge settles which of the readings that remain it is.
pub(super) fn chosen<'a>(readings: &'a [Reading], declared: &Declared) -> Choice<'a> {
    let fits = |r: &&Reading| near_expected(&r.basis, declared.expected_per_10cm);
    let rival_of = |best: &Reading| readings.iter().find(|r| !same_counts(&r.basis, &best.basis));
    let best = &readings[0];
    let rival = rival_of(best);
    let margin = rival.map_or(best.score, |r| best.score - r.score);
    match readings.iter().take_while(|r| best.score - r.score < RIVAL_WITHIN).find(fits) {
        Some(expected) => Choice { best: expected, rival: rival_of(expected), margin: margin.max(CLEAR_ROWING) },
        None => Choice { best, rival, margin },
    }
}

/// Whether a lattice has about the gauge that is expected, stitches and rows per 10 cm; false where none is. What fits no reading settles
/// nothing.
pub fn near_expected(basis: &Basis, expected_per_10cm: Option<(f64, f64)>) -> bool {
    let near = |counted: f64, expected: f64| (counted / expected - 1.0).abs() < EXPECTED_WITHIN;
    basis.per_10cm().zip(expected_per_10cm).is_some_and(|((s, r), (t, u))| near(s, t) && near(r, u))
}

/// Whether two lattices count the same stitches and rows, and differ in their shear only.
pub(super) fn same_counts(a: &Basis, b: &Basis) -> bool {
    let (Some((s, r)), Some((t, u))) = (a.per_10cm(), b.per_10cm()) else { return false };
    let cross = (a.stitch[0] * b.stitch[1] - a.stitch[1] * b.stitch[0]).abs();
    let along = cross < 0.35 * a.stitch[0].hypot(a.stitch[1]) * b.stitch[0].hypot(b.stitch[1]);
    along && (s / t - 1.0).abs() < SAME_COUNTS && (r / u - 1.0).abs() < SAME_COUNTS
}

/// Whether a reading's rows run as declared.
pub(super) fn along_declared(r: &Reading, declared: &Declared) -> bool {
    let (Some(wanted), Some((step, _))) = (declared.row_direction_deg, r.basis.steps_mm()) else { return true };
    super::off_direction_deg(step, wanted) < DECLARED_AXIS_DEG
}

/// The refusal where readings remain.
fn unclear(readings: &[Reading], choice: &Choice, declared: &Declared, margin: f64, clear: f64) -> Refusal {
    let code = code_between(choice.best, choice.rival.unwrap_or(choice.best), declared.pattern.is_none());
    let seen = format!("the best reading is ahead by {margin:.1}, {clear:.0} needed");
    Refusal::new(code, seen).with_rivals(rivals(readings, 0))
}

/// Which refusal two readings call for that remain: the same pattern turned so far that its rows' direction tells it from the other,
/// other patterns, or other counts.
pub(super) fn code_between(best: &Reading, second: &Reading, recognising: bool) -> RefusalCode {
    let swapped = Basis { stitch: second.basis.row, row: second.basis.stitch };
    let same_pattern = best.family.pattern == second.family.pattern;
    let turned = best
        .basis
        .steps_mm()
        .zip(second.basis.steps_mm())
        .is_some_and(|((a, _), (b, _))| super::off_direction_deg(a, b[1].atan2(b[0]).to_degrees()) > TURNED_DEG);
    if hypotheses::alike(&best.basis, &swapped, 0.08) || same_pattern && turned {
        RefusalCode::AxesUnclear
    } else if recognising && !same_pattern {
        RefusalCode::PatternUnclear
    } else {
        RefusalCode::LatticeUnclear
    }
}

/// The readings from `skip` on that are not far behind the first; of those that count and are read alike the first only.
fn rivals(readings: &[Reading], skip: usize) -> Vec<Rival> {
    let best = readings[0].score;
    let mut known: Vec<Rival> = readings.iter().take(skip).filter_map(rival).collect();
    let before = known.len();
    for r in readings.iter().skip(skip).take_while(|r| best - r.score < RIVAL_WITHIN).filter_map(rival) {
        if !known.iter().any(|k| k.counts_as(&r) && k.why == r.why) {
            known.push(r);
        }
    }
    known.drain(before..).take(RIVALS).collect()
}

fn rival(r: &Reading) -> Option<Rival> {
    let (stitches_per_10cm, rows_per_10cm) = r.basis.per_10cm()?;
    let rows = if r.rowing { ", knit and purl rows differing" } else { "" };
    Some(Rival {
        stitches_per_10cm,
        rows_per_10cm,
        why: format!("read as {}{rows}", r.family.pattern.0),
        score: r.score,
    })
}

/// Stitches and rows across the largest window.
fn extent(view: &View, basis: &Basis) -> (f64, f64) {
    let long = |v: [f64; 2]| v[0].hypot(v[1]) * view.side_mm;
    (long(basis.stitch), long(basis.row))
}

pub(super) fn decision(view: &View, seen: &Sighting, best: &Reading, margin: f64, declared: &Declared) -> Decision {
    let basis = seen.scene.fitted(&best.basis, best.family, best.repeat);
    let (name, a, b) = best.family.pattern;
    Decision {
        basis,
        seed: seed(view),
        pattern: declared.pattern.clone().unwrap_or_else(|| StitchPattern::with_repeat(name, a, b)),
        declared: declared.pattern.is_some(),
        confidence: declared.pattern.is_none().then(|| 1.0 / (1.0 + (-0.5 * margin).exp())),
        harmonics: harmonics(seen, &basis, best),
        score: best.score,
        margin,
        rivals: rivals(&seen.readings, 1),
        weights: view.sheet.weights,
        stands_on: StandsOn::default(),
    }
}

/// Middle of what is in sight in the sheet.
fn seed(view: &View) -> PlanePoint {
    let (mut x, mut y, mut n) = (0.0, 0.0, 0.0);
    for (px, py, valid) in view.sheet.valid.enumerate_pixels() {
        if valid.0[0] > 0.5 {
            x += f64::from(px) + 0.5;
            y += f64::from(py) + 0.5;
            n += 1.0;
        }
    }
    let mm = |sum: f64| sum / f64::max(n, 1.0) / view.sheet.px_per_mm;
    view.sheet.origin.moved(mm(x), mm(y))
}

/// The strongest harmonics, strongest first; at least two that are not parallel.
fn harmonics(seen: &Sighting, basis: &Basis, best: &Reading) -> Vec<Harmonic> {
    let mut all: Vec<Harmonic> = seen.scene.harmonics(basis, best.family, best.repeat);
    all.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    let mut kept: Vec<Harmonic> = Vec::new();
    for h in all {
        let needed = kept.iter().all(|k| (k.h * h.k - k.k * h.h).abs() < 1e-9);
        if kept.len() < HARMONICS && (h.strength >= HARMONIC_STRENGTH || needed) {
            kept.push(h);
        }
    }
    kept
}
