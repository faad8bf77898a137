//! Recognition: which lattice is that of single stitches, and what was knitted, when nobody says.
//!
//! Two kinds of evidence are weighed: what the whole fabric shows, made even by each of the lattices that were worth
//! following, and what its places show, each by itself. The first is sharp, the second does not depend on what was
//! followed.

use super::crossing::check_not_crossing;
use super::decide::{self, RIVALS, same_counts};
use super::families::{FAMILIES, Family, spreads_off};
use super::places::{Placed, Places};
use super::reading::Reading;
use super::whole::{Whole, WholeReading};
use super::{Agreement, Basis, Decision, Declared, StandsOn, StitchPattern};
use crate::refusal::{Refusal, RefusalCode, Rival};

/// Probability of being right that an answer needs: what is below is refused with its rivals (stated choice: where places bear it
/// out it is surer than told, of 32 between 0.75 and 0.85 all were right; see `calibration/README.md`).
const SURE: f64 = 0.80;

/// The same where its places, each by itself, do not bear it out (measured on 1165 photos: with 0.85, 9 of 727 answers with
/// places that do are wrong, 5 of 91 with places that don't; on 1749 others, 8 of 41 without between 0.85 and 0.95).
const SURE_WITHOUT_PLACES: f64 = 0.95;

/// The same where the rows of a rib are as low as garter's ridges: twill and crochet have such cells (stated choice: on photos of five
/// renderers two of those, read as ribs, had 0.954 and 0.966; of 16 such ribs 13 have more than this).
const SURE_OF_LOW_ROWS: f64 = 0.97;

/// Fewest places that must agree, and which part of all, each by itself: one alone has nothing to agree with, and of a border
/// and what it surrounds each is read surely, and neither is the whole (stated choice: of 319 photos none more was wrong at 0.4
/// than at a half, and nine more were right).
const LEAST_PLACES: usize = 2;
const AGREEING: f64 = 0.4;

/// Spreads by which the rows of what is recognised may be taller or lower than is usual: one fabric in four hundred is beyond
/// (stated choice: they were weighed already).
const UNLIKE: f64 = 3.0;

/// Readings are told as rivals that stand no further behind the best (stated choice: what is behind by as much as the
/// whole fabric and every place may say is no rival).
const RIVAL_WITHIN: f64 = 25.0;

/// Rows ÷ stitches below which rows may be ridges: half of garter's 2.1 (common practice, no source), and as much more as
/// readings of one lattice differ.
const HALF_OF_GARTER: f64 = 1.13;

/// The most that either kind of evidence counts for or against a reading: a lead has told all by then.
const MOST_TOLD: f64 = 15.0;

/// Ways to count that are weighed against each other (stated choice: the right one is seldom further behind).
const WEIGHED: usize = 8;

/// The multinomial logistic regression (McFadden 1974) of which way to count is the right one, if any: of a way's log-odds against
/// none the constant, and what a unit of each adds (fitted to 1046 drawn swatches of fifteen patterns, tried on those of three
/// other renderers; see `calibration/README.md`).
const AT_NOTHING: f64 = 1.51;
/// Of how far the whole fabric puts the reading ahead.
const PER_WHOLE: f64 = 0.085;
/// Of how far its places do, for each place.
const PER_PLACE: f64 = 0.095;
/// Of the motif's symmetry about the wale less that about the row.
const PER_UPRIGHT: f64 = 8.9;
/// Of the share of the lines' power in high orders: a lattice three times too coarse puts the true stitches' lines there.
const PER_FINE: f64 = -73.0;
/// Of how well the rows' height suits the pattern that it is taken for, a log-density.
const PER_RATIO: f64 = 0.87;
/// Of the logarithm of the amplitude over noise of the weaker leg of the V, above that of legs seen plainly.
const PER_LOG_LEGS: f64 = 1.67;
/// Legs seen plainly, a logarithm; those that colour hides are taken for such.
const LOG_LEGS: f64 = 2.0;
/// Lowest log-density of the rows' height that counts: nothing is told beyond.
const LEAST_RATIO: f64 = -4.5;

/// One way to count, with all that is seen of it.
struct Counts<'a> {
    basis: Basis,
    /// What the whole fabric shows of it, once for each lattice that was followed.
    whole: Vec<&'a WholeReading>,
    place: Option<&'a Placed>,
    /// How far the whole fabric puts it ahead, the mean over lattices that were followed.
    whole_lead: f64,
    /// How far its places put it ahead, for each place.
    place_lead: f64,
    /// Probability of being the right one.
    chance: f64,
}

/// Decides what was knitted and which lattice is that of single stitches and rows. `wholes` is what the whole fabric shows, made
/// even by each of the leads of `places`. An expected gauge settles which of the readings that remain it is, where it fits one.
///
/// # Errors
/// `not_knit` where what repeats shows no stitches, and `lattice_unclear`, `axes_unclear` or `pattern_unclear`, with the
/// rivals, where readings remain.
pub fn recognise(places: &Places, wholes: &[Whole], declared: &Declared) -> Result<Decision, Refusal> {
    let mut all = all_counts(places, wholes);
    let ahead = all.first().map_or(0.0, Counts::standing);
    let near = |c: &Counts| {
        ahead - c.standing() <= RIVAL_WITHIN && decide::near_expected(&c.basis, declared.expected_per_10cm)
    };
    let settled = all.iter().any(near);
    if settled {
        all.retain(near);
    }
    let Some((best, seen)) = all.first().and_then(|c| Some((c, c.clearest()?))) else {
        return Err(Refusal::new(RefusalCode::NotKnit, "no lines in two directions stand up"));
    };
    let rivals = rivals(&all);
    if let Some(why) = best.not_knit() {
        // Where another reading shows stitches, it is knitted, but not as the best reading has it.
        let others = all.iter().skip(1).take(RIVALS).any(|c| !c.whole.is_empty() && c.not_knit().is_none());
        let code = if others { RefusalCode::LatticeUnclear } else { RefusalCode::NotKnit };
        return Err(Refusal::new(code, why).with_rivals(if others { rivals } else { Vec::new() }));
    }
    check_not_crossing(&seen.decision.harmonics, &[])?;
    let confidence = best.chance;
    let (name, stitches, rows) = best.pattern();
    let low_rows = rows == 1 && may_be_half_of_garter(&best.basis);
    let needed = if low_rows {
        SURE_OF_LOW_ROWS
    } else if best.carries() {
        SURE
    } else {
        SURE_WITHOUT_PLACES
    };
    if confidence < needed && !settled {
        let Agreement { agree, of } = best.places();
        let seen = format!(
            "the best reading is right with a probability of {:.0} %, {:.0} needed; {agree} of {of} places agree",
            (100.0 * confidence).floor(),
            100.0 * needed,
        );
        return Err(Refusal::new(code(&all), seen).with_rivals(rivals));
    }
    if low_rows && stitches == 1 && !settled {
        let seen = "rows as low as these may be ridges of garter, each two rows";
        return Err(Refusal::new(RefusalCode::PatternUnclear, seen).with_rivals(with_ridges(rivals)));
    }
    if !settled && spreads_off(&best.basis, name).is_some_and(|off| off > UNLIKE) {
        let seen = format!("it looks like {name}, but its rows are taller or lower than those of {name}");
        return Err(Refusal::new(RefusalCode::PatternUnclear, seen).with_rivals(rivals));
    }
    let margin = best.log_odds() - all.get(1).map_or(0.0, |c| c.log_odds().max(0.0));
    let decision = best.decided(seen, rivals);
    Ok(Decision { confidence: Some(confidence), margin, ..decision })
}

/// Every way to count that the whole fabric or its places show, the likeliest first.
fn all_counts<'a>(places: &'a Places, wholes: &'a [Whole]) -> Vec<Counts<'a>> {
    let of_places = places.seen.iter().map(|s| s.reading.basis);
    let of_whole = wholes.iter().flat_map(|w| w.readings.iter().map(|r| r.reading.basis));
    let mut all: Vec<Counts> = Vec::new();
    for basis in of_places.chain(of_whole) {
        if all.iter().any(|c| same_counts(&c.basis, &basis)) {
            continue;
        }
        let leads = wholes.iter().map(|w| w.lead(&basis));
        all.push(Counts {
            basis,
            whole: wholes.iter().filter_map(|w| w.of(&basis)).collect(),
            place: places.of(&basis),
            whole_lead: leads.sum::<f64>() / wholes.len().max(1) as f64,
            place_lead: places.lead(&basis) / places.count.max(1) as f64,
            chance: 0.0,
        });
    }
    all.sort_by(|a, b| b.standing().total_cmp(&a.standing()));
    weigh(&mut all);
    all
}

/// Gives those that stand best their probabilities, and puts the likeliest first. What the whole fabric shows nothing of is weighed
/// only where it stands best.
fn weigh(all: &mut [Counts]) {
    let weighed = |(i, c): (usize, &Counts)| i == 0 || (i < WEIGHED && !c.whole.is_empty());
    let log_odds = |(i, c)| if weighed((i, c)) { c.log_odds() } else { f64::NEG_INFINITY };
    let chances = chances(&all.iter().enumerate().map(log_odds).collect::<Vec<f64>>());
    all.iter_mut().zip(chances).for_each(|(c, chance)| c.chance = chance);
    all.sort_by(|a, b| b.chance.total_cmp(&a.chance));
}

/// Probabilities of alternatives of which one at most is right, from the log-odds of each against none being right.
fn chances(log_odds: &[f64]) -> Vec<f64> {
    let most = log_odds.iter().copied().fold(0.0, f64::max);
    let odds = log_odds.iter().map(|l| (l - most).exp());
    let sum = (-most).exp() + odds.clone().sum::<f64>();
    odds.map(|odds| odds / sum).collect()
}

impl Counts<'_> {
    /// How it stands against the others: what the whole fabric says and what its places say, alike.
    fn standing(&self) -> f64 {
        self.whole_lead + self.place_lead.clamp(-MOST_TOLD, MOST_TOLD)
    }

    /// Log-odds of being right against none being right.
    fn log_odds(&self) -> f64 {
        let fine = mean(self.whole.iter().map(|w| w.fine)).unwrap_or(1.0);
        let reading = self.reading();
        let ratio = reading.map_or(LEAST_RATIO, |r| r.parts[1].max(LEAST_RATIO));
        let log_legs = reading.and_then(|r| r.legs).map_or(LOG_LEGS, f64::ln);
        AT_NOTHING
            + PER_WHOLE * self.whole_lead.clamp(-MOST_TOLD, MOST_TOLD)
            + PER_PLACE * self.place_lead.clamp(-MOST_TOLD, MOST_TOLD)
            + PER_UPRIGHT * self.upright().unwrap_or(0.0).clamp(-0.3, 0.4)
            + PER_FINE * fine.min(0.15)
            + PER_RATIO * ratio
            + PER_LOG_LEGS * (log_legs - LOG_LEGS)
    }

    /// How many of its places, each by itself, count the same.
    fn places(&self) -> Agreement {
        self.place.map_or(Agreement { agree: 0, of: 0 }, |p| p.decision.stands_on.places)
    }

    /// Whether its places bear it out, whatever the whole fabric says.
    fn carries(&self) -> bool {
        let Agreement { agree, of } = self.places();
        agree >= LEAST_PLACES && agree as f64 >= AGREEING * of as f64
    }

    /// Mirror symmetry of the motif about the wale less that about the row, the mean over looks at the whole fabric.
    fn upright(&self) -> Option<f64> {
        mean(self.whole.iter().filter_map(|w| w.reading.mirror).map(|m| m.upright()))
    }

    /// The look at the whole fabric that shows it best.
    fn clearest(&self) -> Option<&WholeReading> {
        self.whole.iter().copied().max_by(|a, b| a.reading.score.total_cmp(&b.reading.score))
    }

    /// The reading of the clearest look, or of the places where the whole fabric shows nothing of it.
    fn reading(&self) -> Option<&Reading> {
        self.clearest().map(|w| &w.reading).or(self.place.map(|p| &p.reading))
    }

    /// Why what repeats is none of stitches, where neither the whole fabric nor its places show them.
    fn not_knit(&self) -> Option<String> {
        let whole = self.clearest().and_then(|w| w.not_knit.clone())?;
        self.place.is_none_or(|p| p.not_knit.is_some()).then_some(whole)
    }

    /// What most looks at the whole fabric take it for, with its repeat.
    fn pattern(&self) -> (&'static str, u32, u32) {
        let families: Vec<&'static Family> = self.whole.iter().map(|w| w.reading.family).collect();
        let clearest = self.clearest().map_or(&FAMILIES[0], |w| w.reading.family);
        Family::of_most(&families, clearest).pattern
    }

    /// The decision for these counts, as `seen` shows them.
    fn decided(&self, seen: &WholeReading, rivals: Vec<Rival>) -> Decision {
        let of_places = self.place.map_or_else(StandsOn::default, |p| p.decision.stands_on);
        let stands_on = StandsOn { score: seen.reading.score, margin_needed: 0.0, ..of_places };
        let (name, stitches, rows) = self.pattern();
        Decision {
            pattern: StitchPattern::with_repeat(name, stitches, rows),
            rivals: rivals.into_iter().skip(1).collect(),
            stands_on,
            ..seen.decision.clone()
        }
    }

    fn rival(&self) -> Option<Rival> {
        let reading = self.reading()?;
        let (stitches_per_10cm, rows_per_10cm) = self.basis.per_10cm()?;
        let rows = if reading.rowing { ", knit and purl rows differing" } else { "" };
        let why = format!("read as {}{rows}", reading.family.pattern.0);
        Some(Rival { stitches_per_10cm, rows_per_10cm, why, score: self.standing() })
    }
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

/// Which refusal the two best readings call for.
fn code(all: &[Counts]) -> RefusalCode {
    match (all.first().and_then(Counts::reading), all.get(1).and_then(Counts::reading)) {
        (Some(best), Some(second)) => decide::code_between(best, second, true),
        _ => RefusalCode::PatternUnclear,
    }
}

/// The readings that remain, best first.
fn rivals(all: &[Counts]) -> Vec<Rival> {
    let best = all.first().map_or(0.0, Counts::standing);
    let near = all.iter().take(RIVALS + 1).filter(|c| best - c.standing() <= RIVAL_WITHIN);
    near.filter_map(Counts::rival).collect()
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), v| (sum + v, count + 1.0));
    (count > 0.0).then(|| sum / count)
}

#[cfg(test)]
mod tests {
    use super::chances;

    #[test]
    fn of_readings_that_exclude_each_other_two_likely_ones_leave_neither_sure() {
        let alone = chances(&[3.0]);
        assert!((alone[0] - 1.0 / (1.0 + (-3.0f64).exp())).abs() < 1e-12);
        let (even, unlike) = (chances(&[3.0, 3.0]), chances(&[3.0, -2.0, f64::NEG_INFINITY]));
        assert!(even[0] == even[1] && even[0] < 0.5, "{even:?}");
        assert!(unlike[0] > 0.94 && unlike[0] < alone[0] && unlike[2] == 0.0, "{unlike:?}");
        // However large, they stay probabilities.
        assert!(chances(&[900.0, 899.0]).iter().all(|c| (0.0..=1.0).contains(c)));
    }
}
