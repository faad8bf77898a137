//! Several places of one fabric, each read by itself.
//!
//! One place can be read wrongly with a large margin. Places of one fabric are wrong in different ways, but right in the
//! same way: every place is read in every projection of colour, and the readings are weighed together. Each look counts
//! with how far it puts a reading behind its own best one, and no look decides alone.

use super::decide::{self, same_counts};
use super::families::Family;
use super::hypotheses;
use super::reading::{self, Reading, Sighting};
use super::view::View;
use super::{Agreement, Basis, Decision, Declared, StandsOn, StitchPattern};
use crate::fabric::Sheet;
use crate::refusal::{Refusal, RefusalCode};
use crate::side_by_side::map_in_order;

/// The most that one place may say against a reading, so that none decides alone (stated choice).
const MOST_AGAINST: f64 = 15.0;

/// Lattices closer than this, relatively, are one reading: what tension varies over a swatch.
const ONE_READING: f64 = 0.08;

/// Readings of each look that take part.
const READINGS: usize = 25;

/// Counts that are told of, at most: what is behind more than these is nobody's reading.
const COUNTS: usize = 12;

/// Lowest score of a lattice that is worth following over the fabric before it is decided on.
const WORTH_FOLLOWING: f64 = 8.0;

/// Counts worth following over the fabric: at most so many, and no further behind the best than this for each place.
const FOLLOWED: usize = 3;
const FOLLOWED_WITHIN: f64 = 12.0;

/// What the places of one fabric show together.
pub struct Places {
    /// Each counts other stitches or rows, the one that is nearest to being the best everywhere first.
    pub(super) seen: Vec<Placed>,
    /// Number of places.
    pub(super) count: usize,
}

/// One reading with what all looks give it.
pub(super) struct Placed {
    pub reading: Reading,
    /// The same as what may be followed.
    pub decision: Decision,
    /// Sum over places of how far it is behind the best reading there; 0 where it is the best everywhere.
    pub total: f64,
    /// Why most looks say that it is none of stitches.
    pub not_knit: Option<String>,
}

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
            let margin = decide::chosen(&look.seen.readings, declared).margin;
            Ok(decide::decision(look.view, &look.seen, look.best(), margin, declared))
        }
        _ => Err(Refusal::new(RefusalCode::NotKnit, "no lines in two directions stand up")),
    }
}

impl Places {
    /// Reads places of one fabric, each in one or several projections of colour.
    ///
    /// # Errors
    /// `not_knit` where no lattice of two directions stands up at any of them.
    pub fn read(places: &[Vec<Sheet>], declared: &Declared) -> Result<Self, Refusal> {
        let views: Vec<Vec<View>> = places.iter().map(|sheets| View::all(sheets)).collect();
        let looks = looks(&views, declared);
        let mut seen: Vec<Placed> = Vec::new();
        for pooled in pool(&looks) {
            if seen.len() < COUNTS
                && !seen.iter().any(|s| same_counts(&s.reading.basis, &clearest(&pooled, &looks).1.basis))
            {
                seen.push(placed(&pooled, &looks, declared));
            }
        }
        if seen.is_empty() {
            return Err(Refusal::new(RefusalCode::NotKnit, "no lines in two directions stand up"));
        }
        Ok(Self { seen, count: places.len() })
    }

    /// What is worth following over the fabric, best first.
    pub fn leads(&self) -> impl Iterator<Item = &Decision> {
        let best = self.seen[0].total;
        let within = FOLLOWED_WITHIN * self.count as f64;
        self.seen.iter().take(FOLLOWED).take_while(move |s| best - s.total <= within).map(|s| &s.decision)
    }

    /// The reading of these counts, where there is one.
    pub(super) fn of(&self, basis: &Basis) -> Option<&Placed> {
        self.seen.iter().find(|s| same_counts(&s.reading.basis, basis))
    }

    /// How far a reading is behind the best everywhere, as a sum over places: 0 at best.
    pub(super) fn total(&self, basis: &Basis) -> f64 {
        self.of(basis).map_or(-MOST_AGAINST * self.count as f64, |s| s.total)
    }

    /// How far the reading of these counts is ahead of the best other one, behind it where negative.
    pub(super) fn lead(&self, basis: &Basis) -> f64 {
        let other = self.seen.iter().find(|s| !same_counts(&s.reading.basis, basis));
        self.total(basis) - other.map_or(-MOST_AGAINST * self.count as f64, |o| o.total)
    }
}

/// One reading of the places, with what it stands on.
fn placed(p: &Pooled, looks: &[Look], declared: &Declared) -> Placed {
    let (look, reading) = clearest(p, looks);
    let (name, stitches, rows) = taken_for(p, looks);
    let mut decision = decide::decision(look.view, &look.seen, reading, 0.0, declared);
    decision.pattern = StitchPattern::with_repeat(name, stitches, rows);
    decision.stands_on = stands_on(reading, looks);
    Placed { reading: reading.clone(), decision, total: p.total, not_knit: not_knit(p, looks) }
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

/// How many looks and places count as a reading does.
fn stands_on(reading: &Reading, looks: &[Look]) -> StandsOn {
    let agrees = |l: &&Look| same_counts(&l.best().basis, &reading.basis);
    let read: Vec<usize> =
        (0..=looks.last().map_or(0, |l| l.place)).filter(|p| looks.iter().any(|l| l.place == *p)).collect();
    let clearest_at = |place: usize| {
        let here = looks.iter().filter(move |l| l.place == place);
        here.max_by(|a, b| a.best().score.total_cmp(&b.best().score))
    };
    let place_agrees = |place: &&usize| clearest_at(**place).as_ref().is_some_and(agrees);
    StandsOn {
        score: reading.score,
        places: Agreement { agree: read.iter().filter(place_agrees).count(), of: read.len() },
        projections: Agreement { agree: looks.iter().filter(agrees).count(), of: looks.len() },
        ..StandsOn::default()
    }
}

impl Look<'_> {
    fn best(&self) -> &Reading {
        &self.seen.readings[0]
    }
}

/// What every place shows in every projection.
fn looks<'a>(places: &'a [Vec<View<'a>>], declared: &Declared) -> Vec<Look<'a>> {
    let trials = reading::trials(declared);
    let views = places.iter().enumerate().flat_map(|(place, views)| views.iter().map(move |view| (place, view)));
    let looks = map_in_order(views, |(place, view)| {
        let mut seen = reading::sighting(view, &trials)?;
        seen.readings.retain(|r| decide::along_declared(r, declared));
        seen.readings.truncate(READINGS);
        (!seen.readings.is_empty()).then_some(Look { view, seen, place, weight: 1.0 })
    });
    let mut looks: Vec<Look> = looks.into_iter().flatten().collect();
    for of_place in looks.chunk_by_mut(|a, b| a.place == b.place) {
        let count = of_place.len() as f64;
        of_place.iter_mut().for_each(|l| l.weight = 1.0 / count);
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

/// The look that shows a reading best, with that reading.
fn clearest<'a, 'b>(p: &Pooled, looks: &'b [Look<'a>]) -> (&'b Look<'a>, &'b Reading) {
    let score = |s: &&(usize, usize)| looks[s.0].seen.readings[s.1].score;
    let best = p.seen.iter().max_by(|a, b| score(a).total_cmp(&score(b))).copied().unwrap_or((0, 0));
    (&looks[best.0], &looks[best.0].seen.readings[best.1])
}

/// The pattern that most looks at a reading take it for, with its repeat.
fn taken_for(p: &Pooled, looks: &[Look]) -> (&'static str, u32, u32) {
    let families: Vec<&'static Family> = p.seen.iter().map(|s| looks[s.0].seen.readings[s.1].family).collect();
    Family::of_most(&families, clearest(p, looks).1.family).pattern
}
