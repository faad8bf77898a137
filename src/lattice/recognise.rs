//! Recognition: which lattice is that of single stitches, and what was knitted, when nobody says.
//!
//! One place can be read wrongly with a large margin. Places of one fabric are wrong in different ways, but right in the
//! same way: every place is read by itself, in every projection of colour, and the readings are weighed together. Each
//! look counts with how far it puts a reading behind its own best one, and no look decides alone.

use super::decide::{self, RIVALS};
use super::families::FAMILIES;
use super::hypotheses;
use super::reading::{self, Reading, Sighting};
use super::view::View;
use super::{Agreement, Basis, Decision, Declared, StandsOn, StitchPattern};
use crate::fabric::Sheet;
use crate::refusal::{Refusal, RefusalCode, Rival};

/// The most that one place may say against a reading, so that none decides alone (stated choice).
const MOST_AGAINST: f64 = 15.0;

/// Lattices closer than this, relatively, are one reading: what tension varies over a swatch.
const ONE_READING: f64 = 0.08;

/// Readings of each look that take part.
const READINGS: usize = 25;

/// Rivals are told that are not further behind than this for each place.
const RIVAL_WITHIN: f64 = 12.0;

/// Lowest score of a lattice that is worth following over the fabric before it is decided on.
const WORTH_FOLLOWING: f64 = 8.0;

/// Probability of being right that an answer needs: what is below is refused with its rivals (stated choice: most answers
/// are far above it, and none at or above it was wrong; see the table in `calibration/README.md`).
const SURE: f64 = 0.85;

/// Least margin, over all places together, of any answer: what is decided by less hangs on the motif alone (stated choice;
/// half of what one place may say). Two thirds of the places must agree as well: of a border and what it surrounds, each
/// is read surely, and neither is the whole.
const LEAST_MARGIN: f64 = 8.0;

/// Rows ÷ stitches below which rows may be ridges: half of garter's 2.1 (common practice, no source), and as much more as
/// readings of one lattice differ.
const HALF_OF_GARTER: f64 = 1.13;

/// Fewest places: one alone has nothing to agree with.
const LEAST_PLACES: usize = 2;

/// The logistic regression of being right: its constant, and what a unit of each adds to the log-odds (fitted to drawn
/// swatches of fifteen patterns, checked on photo sets not used; see `calibration/README.md`).
const AT_NOTHING: f64 = -5.85;
/// Of the logarithm of 1 + margin.
const PER_LOG_MARGIN: f64 = 1.0;
/// Of the motif's symmetry about the wale less that about the row.
const PER_UPRIGHT: f64 = 7.0;
/// Of the logarithm of the power's share in high orders.
const PER_LOG_HIGH: f64 = -1.5;
/// Where knit and purl rows are taken to differ: that doubles the repeat, which fits nearly everything.
const ROWING: f64 = -1.5;

/// Most stitches in the repeat of a pattern that is recognised. Four leave a place for nearly every line, so that textures
/// and stripes of any repeat can be read as 2×2 rib, with a large margin at all places.
const MOST_RECOGNISED: u32 = 2;

/// One place seen in one projection.
struct Look<'a> {
    view: &'a View<'a>,
    seen: Sighting,
    place: usize,
    /// Its part of what its place says.
    weight: f64,
}

/// A lattice with what all looks give it.
struct Pooled {
    /// Sum over places of how far it is behind the best reading there; 0 where it is the best everywhere.
    total: f64,
    /// Looks that see it: index of the look, and of its reading there.
    seen: Vec<(usize, usize)>,
}

/// The best reading of one place, however narrow its margin: what to follow over the fabric to find further places.
///
/// # Errors
/// `not_knit` where no lattice of two directions stands up.
pub fn lead(sheets: &[Sheet], declared: &Declared) -> Result<Decision, Refusal> {
    let views = [View::all(sheets)];
    let looks = looks(&views, declared);
    let best = looks.iter().max_by(|a, b| a.best().score.total_cmp(&b.best().score));
    match best {
        Some(look) if look.best().score > WORTH_FOLLOWING => {
            let (_, margin) = decide::chosen(&look.seen.readings, declared);
            Ok(decide::decision(look.view, &look.seen, look.best(), margin, declared))
        }
        _ => Err(Refusal::new(RefusalCode::NotKnit, "no lines in two directions stand up")),
    }
}

/// Decides from several places of one fabric, each seen in one or several projections of colour, what was knitted and
/// which lattice is that of single stitches and rows. An expected gauge settles which of the readings that remain it is.
///
/// # Errors
/// `not_knit` where what repeats shows no stitches, and `lattice_unclear`, `axes_unclear` or `pattern_unclear`, with the
/// rivals, where readings remain.
pub fn recognise(places: &[Vec<Sheet>], declared: &Declared) -> Result<Decision, Refusal> {
    let views: Vec<Vec<View>> = places.iter().map(|sheets| View::all(sheets)).collect();
    let looks = looks(&views, declared);
    let mut pooled = pool(&looks);
    if let Some(expected) = declared.expected_per_10cm {
        settle(&mut pooled, &looks, expected);
    }
    let Some(best) = pooled.first() else {
        return Err(Refusal::new(RefusalCode::NotKnit, "no lines in two directions stand up"));
    };
    let weighed = Weighed::of(&pooled, &looks);
    let rivals = rivals(&pooled, &looks);
    if let Some(why) = not_knit(best, &looks) {
        // Where another reading shows stitches, it is knitted, but not as the best reading has it.
        let others = pooled.iter().skip(1).take(RIVALS).find(|p| not_knit(p, &looks).is_none());
        return Err(match others {
            Some(_) => Refusal::new(RefusalCode::LatticeUnclear, why).with_rivals(rivals),
            None => Refusal::new(RefusalCode::NotKnit, why),
        });
    }
    let confidence = weighed.confidence();
    if confidence < SURE || !weighed.carries() {
        let seen = format!(
            "the best reading is right with a probability of {:.0} %, {:.0} needed; it is ahead by {:.0}, {LEAST_MARGIN:.0} needed; {} of {} places agree",
            100.0 * confidence,
            100.0 * SURE,
            weighed.margin,
            weighed.stands_on.places.agree,
            weighed.stands_on.places.of
        );
        return Err(Refusal::new(code(&pooled, &looks), seen).with_rivals(rivals));
    }
    let (name, stitches, rows) = taken_for(best, &looks);
    if stitches > MOST_RECOGNISED && declared.expected_per_10cm.is_none() {
        let looks_like = format!("it looks like {name}, but other patterns do too");
        return Err(Refusal::new(RefusalCode::PatternUnclear, looks_like).with_rivals(rivals));
    }
    let (look, reading) = clearest(best, &looks);
    if rows == 1 && declared.expected_per_10cm.is_none() && may_be_half_of_garter(&reading.basis) {
        let seen = "rows as low as these may be ridges of garter, each two rows";
        return Err(Refusal::new(RefusalCode::PatternUnclear, seen).with_rivals(with_ridges(rivals)));
    }
    if declared.expected_per_10cm.is_none() && is_unlike(&reading.basis, name) {
        let seen = format!("it looks like {name}, but its rows are taller or lower than those of {name}");
        return Err(Refusal::new(RefusalCode::PatternUnclear, seen).with_rivals(rivals));
    }
    let mut decision = decide::decision(look.view, &look.seen, reading, weighed.margin, declared);
    decision.pattern = StitchPattern::with_repeat(name, stitches, rows);
    decision.confidence = Some(confidence);
    decision.rivals = rivals.into_iter().skip(1).collect();
    decision.stands_on = weighed.stands_on;
    Ok(decision)
}

impl Look<'_> {
    fn best(&self) -> &Reading {
        &self.seen.readings[0]
    }
}

/// What every place shows in every projection.
fn looks<'a>(places: &'a [Vec<View<'a>>], declared: &Declared) -> Vec<Look<'a>> {
    let trials = reading::trials(declared);
    let mut looks = Vec::new();
    for (place, views) in places.iter().enumerate() {
        let from = looks.len();
        for view in views {
            let Some(mut seen) = reading::sighting(view, &trials) else { continue };
            seen.readings.retain(|r| decide::along_declared(r, declared));
            seen.readings.truncate(READINGS);
            if !seen.readings.is_empty() {
                looks.push(Look { view, seen, place, weight: 1.0 });
            }
        }
        let count = (looks.len() - from) as f64;
        looks[from..].iter_mut().for_each(|l| l.weight = 1.0 / count);
    }
    looks
}

/// All lattices that any look reads, the one that is nearest to being the best everywhere first.
fn pool(looks: &[Look]) -> Vec<Pooled> {
    let mut pooled: Vec<(Basis, Pooled)> = Vec::new();
    for (at, look) in looks.iter().enumerate() {
        for (index, reading) in look.seen.readings.iter().enumerate() {
            let known = pooled.iter_mut().find(|(basis, _)| hypotheses::alike(basis, &reading.basis, ONE_READING));
            match known {
                Some((_, p)) if p.seen.last().is_some_and(|s| s.0 == at) => {}
                Some((_, p)) => p.seen.push((at, index)),
                None => pooled.push((reading.basis, Pooled { total: 0.0, seen: vec![(at, index)] })),
            }
        }
    }
    let mut pooled: Vec<Pooled> = pooled.into_iter().map(|(_, p)| p).collect();
    for p in &mut pooled {
        let behind = |(at, look): (usize, &Look)| {
            let seen = p.seen.iter().find(|s| s.0 == at).map(|s| look.seen.readings[s.1].score - look.best().score);
            look.weight * seen.unwrap_or(-MOST_AGAINST).max(-MOST_AGAINST)
        };
        p.total = looks.iter().enumerate().map(behind).sum();
    }
    pooled.sort_by(|a, b| b.total.total_cmp(&a.total));
    pooled
}

/// Leaves those readings that come near an expected gauge, where there are any.
fn settle(pooled: &mut Vec<Pooled>, looks: &[Look], expected: (f64, f64)) {
    let near = |p: &Pooled| decide::near_expected(&clearest(p, looks).1.basis, expected);
    if pooled.iter().take(RIVALS).any(near) {
        pooled.retain(near);
    }
}

/// Whether the rows of a lattice are taller or lower, against its stitches, than those of the pattern it is taken for: three
/// spreads off, which one fabric in four hundred is.
fn is_unlike(basis: &Basis, name: &str) -> bool {
    const SPREADS: f64 = 3.0;
    let family = FAMILIES.iter().find(|f| f.pattern.0 == name);
    let Some((family, (stitches, rows))) = family.zip(basis.per_10cm()) else { return false };
    let (middle, spread) = family.rows_over_stitches;
    ((rows / stitches).ln() - middle).abs() > SPREADS * spread
}

/// The look that shows a reading best, with that reading.
fn clearest<'a, 'b>(p: &Pooled, looks: &'b [Look<'a>]) -> (&'b Look<'a>, &'b Reading) {
    let score = |s: &&(usize, usize)| looks[s.0].seen.readings[s.1].score;
    let best = p.seen.iter().max_by(|a, b| score(a).total_cmp(&score(b))).copied().unwrap_or((0, 0));
    (&looks[best.0], &looks[best.0].seen.readings[best.1])
}

/// Whether a lattice has so few rows to its stitches that they may be the ridges of garter.
fn may_be_half_of_garter(basis: &Basis) -> bool {
    basis.per_10cm().is_some_and(|(stitches, rows)| rows < HALF_OF_GARTER * stitches)
}

/// The rivals with the first one's rows taken for ridges added.
fn with_ridges(mut rivals: Vec<Rival>) -> Vec<Rival> {
    if let Some(first) = rivals.first().cloned() {
        let why = "read as garter, each row being a ridge".to_owned();
        rivals.insert(1, Rival { rows_per_10cm: 2.0 * first.rows_per_10cm, why, ..first });
    }
    rivals
}

/// The pattern that most looks at a reading take it for, with its repeat.
fn taken_for(p: &Pooled, looks: &[Look]) -> (&'static str, u32, u32) {
    let families = || p.seen.iter().map(|s| looks[s.0].seen.readings[s.1].family);
    let votes = |name: &str| families().filter(|f| f.pattern.0 == name).count();
    let clearest = clearest(p, looks).1.family;
    families().fold(clearest, |best, f| if votes(f.pattern.0) > votes(best.pattern.0) { f } else { best }).pattern
}

/// Why most looks say that a reading, however clear, is none of stitches.
fn not_knit(p: &Pooled, looks: &[Look]) -> Option<String> {
    let declared = Declared::default();
    let why = |s: &(usize, usize)| {
        let seen = &looks[s.0].seen;
        decide::not_knit(&seen.readings[s.1], &declared, seen.scene.spectrum.windows)
    };
    let reasons: Vec<String> = p.seen.iter().filter_map(why).collect();
    if 2 * reasons.len() > p.seen.len() { reasons.into_iter().next() } else { None }
}

/// Which refusal the two best readings call for.
fn code(pooled: &[Pooled], looks: &[Look]) -> RefusalCode {
    let (_, best) = clearest(&pooled[0], looks);
    let Some((_, second)) = pooled.get(1).map(|p| clearest(p, looks)) else { return RefusalCode::PatternUnclear };
    decide::code_between(best, second, true)
}

/// The readings that remain, best first, each counted over all looks that see it.
fn rivals(pooled: &[Pooled], looks: &[Look]) -> Vec<Rival> {
    let places = looks.last().map_or(1.0, |l| (l.place + 1) as f64);
    let best = pooled[0].total;
    let near = pooled.iter().take_while(|p| best - p.total <= RIVAL_WITHIN * places);
    let mut told: Vec<Rival> = Vec::new();
    for p in near {
        let Some(rival) = rival(p, looks) else { continue };
        let known = told.iter().any(|t| t.counts_as(&rival));
        if !known && told.len() < RIVALS + 1 {
            told.push(rival);
        }
    }
    told
}

fn rival(p: &Pooled, looks: &[Look]) -> Option<Rival> {
    let counts: Vec<(f64, f64)> =
        p.seen.iter().filter_map(|s| looks[s.0].seen.readings[s.1].basis.per_10cm()).collect();
    let middle = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    let (_, reading) = clearest(p, looks);
    let rows = if reading.rowing { ", knit and purl rows differing" } else { "" };
    Some(Rival {
        stitches_per_10cm: middle(counts.iter().map(|c| c.0).collect())?,
        rows_per_10cm: middle(counts.iter().map(|c| c.1).collect())?,
        why: format!("read as {}{rows}", reading.family.pattern.0),
        score: p.total,
    })
}

/// What speaks for the best reading.
struct Weighed {
    margin: f64,
    /// Whether knit and purl rows were taken to differ.
    rowing: bool,
    /// Mirror symmetry of the motif about the wale less that about the row, the mean over looks.
    upright: f64,
    /// Share of the lines' power that lies above the second order of the legs and rows, the mean over looks.
    high: f64,
    stands_on: StandsOn,
}

impl Weighed {
    fn of(pooled: &[Pooled], looks: &[Look]) -> Self {
        let best = &pooled[0];
        let (_, reading) = clearest(best, looks);
        let differs = |p: &&Pooled| !decide::same_counts(&clearest(p, looks).1.basis, &reading.basis);
        let read = (0..=looks.last().map_or(0, |l| l.place)).filter(|p| looks.iter().any(|l| l.place == *p));
        let read: Vec<usize> = read.collect();
        let margin = match pooled[1..].iter().find(differs) {
            Some(rival) => best.total - rival.total,
            None => MOST_AGAINST * read.len() as f64,
        };
        let agrees = |l: &&Look| decide::same_counts(&l.best().basis, &reading.basis);
        let clearest_at = |place: usize| {
            let here = looks.iter().filter(move |l| l.place == place);
            here.max_by(|a, b| a.best().score.total_cmp(&b.best().score))
        };
        let place_agrees = |place: &&usize| clearest_at(**place).as_ref().is_some_and(agrees);
        let seen = || best.seen.iter().map(|s| (&looks[s.0], &looks[s.0].seen.readings[s.1]));
        let upright: Vec<f64> = seen().filter_map(|(_, r)| r.mirror).map(|m| m.wale - m.row).collect();
        let high: Vec<f64> = seen().map(|(look, r)| look.seen.scene.share_above(&r.basis)).collect();
        let fine: Vec<f64> = seen().map(|(look, r)| look.seen.scene.power_above(&r.basis)).collect();
        Self {
            margin,
            rowing: reading.rowing,
            upright: mean(&upright),
            high: mean(&high),
            stands_on: StandsOn {
                score: reading.score,
                margin_needed: LEAST_MARGIN,
                places: Agreement { agree: read.iter().filter(place_agrees).count(), of: read.len() },
                projections: Agreement { agree: looks.iter().filter(agrees).count(), of: looks.len() },
                fine_share: mean(&fine),
                upright: (!upright.is_empty()).then(|| mean(&upright)),
            },
        }
    }

    /// Probability that the counts are right: a logistic regression.
    fn confidence(&self) -> f64 {
        let upright = self.upright.clamp(-0.3, 0.4);
        let log_odds = AT_NOTHING
            + PER_LOG_MARGIN * (1.0 + self.margin.max(0.0)).ln()
            + PER_UPRIGHT * upright
            + PER_LOG_HIGH * self.high.max(0.05).ln()
            + if self.rowing { ROWING } else { 0.0 };
        1.0 / (1.0 + (-log_odds).exp())
    }

    /// Whether margin and agreement are large enough for any answer.
    fn carries(&self) -> bool {
        let places = self.stands_on.places;
        self.margin >= LEAST_MARGIN && places.of >= LEAST_PLACES && 3 * places.agree >= 2 * places.of
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}
