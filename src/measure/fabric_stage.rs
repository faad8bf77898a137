//! The fabric: where it is, which lattice it has, and the counts over it.

use super::Setup;
use super::alike::{Covered, FabricLook};
use super::doubts::{
    check_along, check_borne_out, check_not_across, check_not_repeats, check_outdone, check_overruled, check_ridges,
    check_shape, check_stripes, checked, contradiction,
};
use super::other_swatches;
use super::rivals::{
    self, area_mm2, as_rival, nearly_same, over_like_areas, places_differ, rival, same_counts, same_lattice,
};
use crate::fabric::{self, FabricSeed, Search, Sheet};
use crate::lattice::{
    self, Agreement, Basis, ColourChanges, Decision, Declared, LatticeReading, PhaseBlock, SaidDoubted, StitchPattern,
    Windows,
};
use crate::photo::Photo;
use crate::plane::{CountSeen, PlaneMap};
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::record::Evidence;
use crate::refusal::{Refusal, RefusalCode};
use crate::side_by_side::map_in_order;

/// Fewest stitches and rows, along either axis, that a measurement stands on (design choice: below this a lattice is too
/// easily mistaken, and edge stitches weigh too much).
const LEAST_EXTENT: f64 = 6.0;

/// Most counts given to the plane's fit: more add nothing, since neighbouring blocks repeat each other.
const COUNTS_FOR_PLANE: usize = 120;

/// How much more fabric than the runner-up, as area, a lattice must be followed over that is read faintly only. A woven cloth, however large, does not rise above that (measured: 26 at
/// most against 60 and more for most knitting).
const MUCH_MORE_FABRIC: f64 = 12.0;
pub(super) const FAINT: f64 = 40.0;

/// How much higher the score of a smaller lattice must be, where it is preferred to a larger one.
pub(super) const FAR_CLEARER: f64 = 2.0;

/// Places that must show what is followed in narrow windows, and the share of the fabric that it must reach over (stated choice:
/// of ten such answers on 327 photos eight were right, the two others had none of three places, or a third of the fabric).
const LEAST_AGREEING: usize = 2;
pub(super) const CLOSE_SHARE: f64 = 0.4;

/// How much larger its margin must be instead, where both are followed over like areas: a lattice twice as fine holds
/// wherever the true one holds, but its decision is then a narrow one.
const CLEARLY_SURER: f64 = 3.0;

/// Lattices followed one after the other, each because the whole fabric under the one before showed it better.
const LOOKS: usize = 3;

/// Stitches or rows, whichever are longer, over which light is evened for the look at the whole fabric.
const LIGHT_CELLS: f64 = 1.6;

/// The lattice that was decided on and followed.
#[derive(Clone)]
pub(super) struct Followed {
    pub decision: Decision,
    pub reading: LatticeReading,
    /// How much of the fabric in the photo, or in what the user outlined of it, it covers, where that was worked out already.
    pub covered: Option<Covered>,
    /// What of that which was said the whole fabric raises doubt about.
    pub said_doubted: SaidDoubted,
    /// Why it is not to be told, where it is what the photo is measured by; as another reading of the photo it counts.
    pub doubt: Option<Refusal>,
}

impl Followed {
    pub fn new(decision: Decision, reading: LatticeReading) -> Self {
        Self { decision, reading, covered: None, said_doubted: SaidDoubted::default(), doubt: None }
    }
}

/// A look at the whole of the fabric that a lattice was followed over.
struct Look {
    decision: Decision,
    /// What it was made on.
    sheets: Vec<Sheet>,
    /// Of two yarns, along the lattice that was followed.
    colour_changes: Option<ColourChanges>,
}

/// What one place of the fabric showed.
pub(super) struct Place {
    pub basis: Basis,
    pub score: f64,
    pub margin: f64,
}

impl Place {
    pub fn is_sure(&self) -> bool {
        self.margin >= lattice::CLEAR
    }
}

/// What the stages of the fabric look at.
pub(super) struct View<'a> {
    pub photo: &'a Photo,
    pub map: &'a PlaneMap,
    pub excluded: &'a [Vec<PhotoPoint>],
    pub region: Option<&'a [PhotoPoint]>,
    /// Direction of the ruler in the plane, in degrees.
    pub ruler_direction_deg: Option<f64>,
    /// Windows in which lattices are followed.
    pub windows: Windows,
}

impl<'a> View<'a> {
    pub fn new(
        photo: &'a Photo,
        map: &'a PlaneMap,
        excluded: &'a [Vec<PhotoPoint>],
        region: Option<&'a [PhotoPoint]>,
        ruler_direction_deg: Option<f64>,
    ) -> Self {
        Self { photo, map, excluded, region, ruler_direction_deg, windows: Windows::Wide }
    }

    /// Places that may be knitted, best first.
    pub fn search(&self) -> Result<Search, Refusal> {
        fabric::search(self.photo, self.map, self.excluded, self.region)
    }

    /// Decides at each seed, follows each different lattice over the photo, and takes the one that holds over most
    /// fabric. Places disagree when a table or a garter border repeats too; when two hold over like areas, refused.
    pub fn follow(&self, seeds: &[FabricSeed], setup: &Setup) -> Result<Followed, Refusal> {
        if setup.stitch.is_none() {
            return self.recognise(seeds, setup);
        }
        let nothing = || Refusal::new(RefusalCode::NotKnit, "");
        let mut first_refusal = None;
        let mut different: Vec<Vec<Decision>> = Vec::new();
        let mut looks: Vec<Place> = Vec::new();
        let propose = |seed: &FabricSeed| lattice::propose(&seed.sheets, &self.declared(setup, seed.centre));
        for proposed in map_in_order(seeds, propose) {
            match proposed {
                Ok(decision) => {
                    looks.push(Place { basis: decision.basis, score: decision.score, margin: decision.margin });
                    put_with_alike(&mut different, decision, |d| &d.basis);
                }
                Err(refusal) => {
                    first_refusal.get_or_insert(refusal);
                }
            }
        }
        let mut followed: Vec<(f64, Followed)> = Vec::new();
        // One after the other: each takes memory for all that the photo shows.
        for mut alike in different {
            alike.sort_by(|a, b| b.margin.total_cmp(&a.margin));
            match first_held(alike, |decision| self.grow(decision)) {
                Ok((decision, reading)) => followed.push((area_mm2(&reading), Followed::new(decision, reading))),
                Err(refusal) => {
                    first_refusal.get_or_insert(refusal);
                }
            }
        }
        followed.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut chosen =
            self.surest(followed, setup).map_err(|doubt| doubt.or(first_refusal).unwrap_or_else(nothing))?;
        let agreeing = || looks.iter().filter(|place| same_lattice(&place.basis, &chosen.reading.basis));
        let sure = agreeing().filter(|place| place.is_sure()).count();
        chosen.decision.stands_on.places = Agreement { agree: agreeing().count(), of: looks.len() };
        let filled = self.region.is_some().then(|| self.covered(&chosen.reading)).flatten();
        chosen.covered = filled;
        if let Some(doubt) = chosen.doubt {
            return Err(doubt);
        }
        self.check_said(seeds, setup, &chosen)?;
        check_outdone(&chosen, &looks)?;
        check_not_repeats(&chosen, &looks)?;
        check_borne_out(chosen, sure)
    }

    /// Follows once more, in narrower windows, where the first look ended in a refusal. A second try must be surer than the
    /// first one: the lattice must reach over much of the fabric, and be what most places show. With the pattern named only;
    /// what is recognised is weighed otherwise.
    pub fn follow_closely(&self, seeds: &[FabricSeed], setup: &Setup) -> Option<Followed> {
        setup.stitch.as_ref()?;
        let close = View { windows: Windows::Narrow, ..*self };
        let mut found = close.follow_as_said(seeds, setup).ok()?;
        let Agreement { agree, of } = found.decision.stands_on.places;
        let covered = self.covered(&found.reading)?;
        found.covered = Some(covered);
        (agree >= LEAST_AGREEING && 2 * agree > of && covered.share >= CLOSE_SHARE).then_some(found)
    }

    /// How much of the fabric, or of what the user outlined of it, was followed; `None` where too little was.
    fn covered(&self, reading: &LatticeReading) -> Option<Covered> {
        let ruler = self.excluded.first().map_or(&[][..], Vec::as_slice);
        Some(FabricLook::of(self.photo, reading)?.covered(&reading.region_px, ruler, self.region))
    }

    /// Decides at one place, and follows what is decided over the photo.
    pub fn follow_from(&self, seed: &FabricSeed, setup: &Setup) -> Result<Followed, Refusal> {
        let decision = lattice::propose(&seed.sheets, &self.declared(setup, seed.centre))?;
        let reading = self.grow(&decision)?;
        Ok(Followed::new(decision, reading))
    }

    /// The same, and looks at all of it again.
    pub fn read_at(&self, seed: &FabricSeed, setup: &Setup) -> Result<Followed, Refusal> {
        self.sure(self.follow_from(seed, setup)?, setup)
    }

    /// Of the lattices that were followed, the largest first, the one that the fabric under it confirms. A smaller one is
    /// asked where the larger is no knitting or only faintly so, as a table cloth is, and must then be far clearer.
    fn surest(&self, followed: Vec<(f64, Followed)>, setup: &Setup) -> Result<Followed, Option<Refusal>> {
        let (mut sure, mut doubt): (Vec<(f64, Followed)>, Option<Refusal>) = (Vec::new(), None);
        let (mut unclear, mut doubted) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
        let mut clearest_place = f64::NEG_INFINITY;
        for (area, found) in followed {
            let enough =
                |s: &Followed| if s.decision.score > FAINT { rivals::CLEARLY_MORE_FABRIC } else { MUCH_MORE_FABRIC };
            let score = found.decision.score;
            // What stood up more clearly at its place is heard, however little of the fabric it was followed over.
            if sure.first().is_some_and(|(most, s)| *most > enough(s) * area) && score < clearest_place {
                continue;
            }
            match self.sure(found, setup) {
                Ok(found) => {
                    clearest_place = clearest_place.max(score);
                    sure.push((area_mm2(&found.reading), found));
                }
                Err(refusal) => {
                    let best = refusal.rivals.first().map_or(f64::NEG_INFINITY, |r| r.score);
                    if refusal.code != RefusalCode::NotKnit {
                        doubted = doubted.max(score);
                        unclear = if sure.is_empty() { unclear.max(best) } else { unclear };
                    }
                    doubt.get_or_insert(refusal);
                }
            }
        }
        sure.sort_by(|a, b| b.0.total_cmp(&a.0));
        self.check_one_fabric(&sure).map_err(Some)?;
        prefer_clearer_of_same(&mut sure);
        if let Some(clearer) =
            sure.iter().skip(1).position(|(_, f)| f.decision.score > FAR_CLEARER * sure[0].1.decision.score)
        {
            sure.drain(..=clearer);
        }
        // Nor is what stands where another place showed its own far more clearly, though that did not stand the trial.
        sure.retain(|(_, f)| f.decision.score > FAR_CLEARER * unclear && FAR_CLEARER * f.decision.score > doubted);
        if let Some(contradicted) = contradiction(&sure) {
            return Err(Some(contradicted));
        }
        match self.between(sure) {
            Some(chosen) => chosen.map_err(Some),
            None => Err(doubt),
        }
    }

    /// Refuses two swatches, and counts that stood every trial and nearly agree: they are the same stitches at other places,
    /// too uneven, or followed wrongly at one of them.
    fn check_one_fabric(&self, sure: &[(f64, Followed)]) -> Result<(), Refusal> {
        for (i, (most, a)) in sure.iter().enumerate() {
            for (area, b) in &sure[i + 1..] {
                let (one, other) = (&a.reading.basis, &b.reading.basis);
                if !same_lattice(one, other) {
                    other_swatches::check_one_fabric(self, a, b)?;
                    if over_like_areas(*most, *area) && nearly_same(one, other) {
                        return Err(places_differ(followed_over(sure)));
                    }
                }
            }
        }
        Ok(())
    }

    /// Which of the lattices that hold is that of the fabric; `None` where there are none.
    fn between(&self, mut followed: Vec<(f64, Followed)>) -> Option<Result<Followed, Refusal>> {
        if let [(most, a), (next, b), ..] = followed.as_slice()
            && over_like_areas(*most, *next)
            && !same_lattice(&a.reading.basis, &b.reading.basis)
        {
            if b.decision.margin > CLEARLY_SURER * a.decision.margin {
                followed.swap(0, 1);
            } else if a.decision.margin < CLEARLY_SURER * b.decision.margin {
                return Some(Err(places_differ(followed_over(&followed))));
            }
        }
        followed.into_iter().next().map(|(_, chosen)| Ok(chosen))
    }

    /// Decides again on all the fabric that a lattice was followed over, made even by it. Where another lattice is better
    /// there, that one is followed; it must then stand the same trial.
    pub fn sure(&self, found: Followed, setup: &Setup) -> Result<Followed, Refusal> {
        let mut found = found;
        for look in 0..LOOKS {
            let Look { decision, sheets, colour_changes } = self.looked_over(&found, setup)?;
            if same_lattice(&decision.basis, &found.reading.basis) {
                check_not_across(&found.reading.basis, &decision.pattern, self.ruler_direction_deg, setup)?;
                check_along(&found.reading.basis, &decision.pattern, self.ruler_direction_deg, setup)?;
                check_shape(&found.reading.basis, &decision.pattern, decision.margin, setup)?;
                lattice::check_comes_back(&sheets, &found.reading.basis, &decision)?;
                let said = self.declared(setup, decision.seed);
                found.said_doubted = lattice::said_doubted(&sheets, &said, &found.reading.basis, &decision);
                let no_garter = self.check_no_garter(&sheets, setup, &decision);
                if StitchPattern::named(&decision.pattern.name).is_some() {
                    found.doubt = no_garter.err();
                } else {
                    no_garter?;
                }
                check_ridges(colour_changes, &found.reading.basis, &decision.pattern, setup)?;
                // Columns of a rib look otherwise by the knitting itself.
                check_stripes(colour_changes.filter(|_| !decision.pattern.is_rib()), setup)?;
                found.decision = decision;
                return checked(found);
            }
            if look == 0 {
                check_overruled(&found.decision, &decision)?;
            }
            let reading = self.grow(&decision)?;
            found = Followed::new(decision, reading);
        }
        let seen = "the stitches that the whole fabric shows are not those that were followed over it";
        Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(found.decision.rivals))
    }

    /// What was recognised, where the whole fabric under it bears it out as if that pattern had been named.
    pub(super) fn borne_out(&self, found: Followed, setup: &Setup) -> Result<Followed, Refusal> {
        let named = Setup { stitch: Some(found.decision.pattern.clone()), ..setup.clone() };
        let own = rival(area_mm2(&found.reading), &found);
        let with_own = |mut refusal: Refusal| {
            let untold = own.clone().filter(|own| !refusal.rivals.iter().any(|r| r.counts_as(own)));
            refusal.rivals.splice(0..0, untold);
            refusal
        };
        let Look { decision: whole, sheets, colour_changes } = self.looked_over(&found, &named).map_err(with_own)?;
        if !same_counts(&whole.basis, &found.decision.basis) {
            let seen = "the stitches that the whole fabric shows are not those that its places show";
            let rivals = own.into_iter().chain(as_rival(&whole)).collect();
            return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(rivals));
        }
        check_not_across(&found.reading.basis, &found.decision.pattern, self.ruler_direction_deg, setup)?;
        check_along(&found.reading.basis, &whole.pattern, self.ruler_direction_deg, setup)?;
        lattice::check_comes_back(&sheets, &found.reading.basis, &whole)?;
        check_ridges(colour_changes, &found.reading.basis, &whole.pattern, setup)?;
        check_stripes(colour_changes, setup)?;
        checked(found)
    }

    /// The decision on the whole of the fabric that a lattice was followed over.
    fn looked_over(&self, found: &Followed, setup: &Setup) -> Result<Look, Refusal> {
        let basis = &found.reading.basis;
        let nothing = || Refusal::new(RefusalCode::NotKnit, "");
        let light_mm = light_mm(basis).ok_or_else(nothing)?;
        let even = lattice::straightened(self.photo, self.map, &found.reading, self.excluded).ok_or_else(nothing)?;
        let centre = found.decision.seed;
        let sheets = even.patch.sheets(light_mm);
        let decision = lattice::confirm(&sheets, &self.declared(setup, centre), basis)?;
        Ok(Look { decision, sheets, colour_changes: even.colour_changes })
    }

    /// Refuses what is read under another pattern, where garter explains the whole fabric better: garter turned on its side, a ridge
    /// for a stitch. Many a swatch has a garter border, and a repeat has a place for nearly every line.
    fn check_no_garter(&self, sheets: &[Sheet], setup: &Setup, decision: &Decision) -> Result<(), Refusal> {
        let garter = Setup { stitch: StitchPattern::named("garter"), ..setup.clone() };
        if garter.stitch.as_ref() == Some(&decision.pattern) {
            return Ok(());
        }
        let Basis { stitch: ridge, row } = decision.basis;
        let turned = Basis { stitch: row, row: ridge.map(|f| 2.0 * f) };
        match lattice::confirm(sheets, &self.declared(&garter, decision.seed), &turned) {
            Ok(garter) if garter.score > decision.score && same_counts(&garter.basis, &turned) => {
                // Without rivals: it is a border, and says nothing against another reading of what lies inside it.
                let seen = "what was found of the pattern looks more like garter turned on its side, as of a border; \
                            mark what lies inside it with --region";
                Err(Refusal::new(RefusalCode::LatticeUnclear, seen))
            }
            _ => Ok(()),
        }
    }

    /// What was declared, as it lies in the plane at a place.
    pub(super) fn declared(&self, setup: &Setup, at: PlanePoint) -> Declared {
        Declared {
            pattern: setup.stitch.clone(),
            row_direction_deg: setup.row_direction_deg.and_then(|deg| on_plane_deg(self.map, at, deg)),
            expected_per_10cm: setup.expected,
            ruler_direction_deg: self.ruler_direction_deg,
            outlined: self.region.is_some(),
        }
    }

    /// Follows the lattice over the fabric, and refuses a region too small to stand on.
    pub(super) fn grow(&self, decision: &Decision) -> Result<LatticeReading, Refusal> {
        let reading = lattice::grow(self.photo, self.map, decision, self.excluded, self.region, self.windows)?;
        let (stitches, rows) = reading.extent;
        if stitches < LEAST_EXTENT || rows < LEAST_EXTENT {
            let seen = format!(
                "{stitches:.0} stitches by {rows:.0} rows could be followed, at least {LEAST_EXTENT:.0} of each are needed"
            );
            return Err(Refusal::new(RefusalCode::TooFewStitches, seen));
        }
        if !same_counts(&reading.basis, &decision.basis) {
            let seen = "the counts over the fabric are not those that its lines show at the place read first";
            return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(decision.rivals.clone()));
        }
        Ok(reading)
    }
}

/// What was followed, with its area.
pub(super) fn followed_over(sure: &[(f64, Followed)]) -> impl Iterator<Item = (f64, &Followed)> {
    sure.iter().map(|(area, found)| (*area, found))
}

/// Puts first, of all that follow the same lattice as the first over like areas, the one that the fabric shows most clearly:
/// one that slipped a stitch on its way shows less.
fn prefer_clearer_of_same(sure: &mut [(f64, Followed)]) {
    let Some((most, first)) = sure.first() else { return };
    let (most, basis) = (*most, first.reading.basis);
    let alike = |(area, f): &(f64, Followed)| over_like_areas(most, *area) && same_lattice(&f.reading.basis, &basis);
    let clearest = (0..sure.len())
        .filter(|i| alike(&sure[*i]))
        .max_by(|a, b| sure[*a].1.decision.score.total_cmp(&sure[*b].1.decision.score));
    if let Some(clearest) = clearest {
        sure[..=clearest].rotate_right(1);
    }
}

/// Puts what was read at a place with what has the same lattice.
pub(super) fn put_with_alike<T>(different: &mut Vec<Vec<T>>, read: T, basis: impl Fn(&T) -> &Basis) {
    match different.iter_mut().find(|alike| same_lattice(basis(&alike[0]), basis(&read))) {
        Some(alike) => alike.push(read),
        None => different.push(vec![read]),
    }
}

/// Follows one lattice from the places that show it, in their order, until it is held from one: that place, and what was followed.
pub(super) fn first_held<T>(
    alike: Vec<T>,
    grow: impl Fn(&T) -> Result<LatticeReading, Refusal>,
) -> Result<(T, LatticeReading), Refusal> {
    /// Places tried, at most (bounded time).
    const TIMES: usize = 3;
    let mut first_refusal = None;
    for place in alike.into_iter().take(TIMES) {
        match grow(&place) {
            Ok(reading) => return Ok((place, reading)),
            Err(refusal) => {
                first_refusal.get_or_insert(refusal);
            }
        }
    }
    Err(first_refusal.unwrap_or_else(|| Refusal::new(RefusalCode::NotKnit, "")))
}

/// Width in mm over which light is evened for the look at a whole fabric; `None` for a lattice of one direction.
pub(super) fn light_mm(basis: &Basis) -> Option<f64> {
    let (s, r) = basis.steps_mm()?;
    Some((LIGHT_CELLS * s[0].hypot(s[1]).max(r[0].hypot(r[1]))).clamp(2.0, 16.0))
}

/// A direction in the photo, as it lies in the plane at a place, both in degrees.
pub(super) fn on_plane_deg(map: &PlaneMap, at: PlanePoint, photo_deg: f64) -> Option<f64> {
    let inverse = map.photo_per_plane(at)?.try_inverse()?;
    let (sin, cos) = photo_deg.to_radians().sin_cos();
    let direction = inverse * nalgebra::Vector2::new(cos, sin);
    Some(direction.y.atan2(direction.x).to_degrees())
}

/// Puts what was followed into the evidence for pictures.
pub(super) fn show(reading: &LatticeReading, evidence: &mut Evidence) {
    evidence.region_px = reading.region_px.clone();
    evidence.blocks = reading.blocks.clone();
}

/// Blocks spaced widely enough to be independent of each other, as evidence for the plane.
pub(super) fn independent_counts(reading: &LatticeReading) -> Vec<CountSeen> {
    let mut spacing = reading.correlation_mm.max(1e-3);
    let mut kept = spaced(&reading.blocks, spacing);
    while kept.len() > COUNTS_FOR_PLANE {
        spacing *= 1.3;
        kept = spaced(&reading.blocks, spacing);
    }
    kept.into_iter()
        .map(|b| CountSeen {
            at: b.at_px,
            stitches: b.stitches,
            rows: b.rows,
            stitches_sigma: b.stitches_sigma.max(1e-3),
            rows_sigma: b.rows_sigma.max(1e-3),
        })
        .collect()
}

/// Blocks no two of which are nearer than `spacing` mm; one more than the limit at most.
fn spaced(blocks: &[PhaseBlock], spacing: f64) -> Vec<&PhaseBlock> {
    let mut kept: Vec<&PhaseBlock> = Vec::new();
    for block in blocks {
        if kept.iter().all(|k| k.at.distance(block.at) >= spacing) {
            kept.push(block);
            if kept.len() > COUNTS_FOR_PLANE {
                break;
            }
        }
    }
    kept
}
