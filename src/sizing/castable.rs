//! Which counts can be cast on (or which rows knitted), what each would measure, and which to take.

use super::body::Target;
use crate::quantity::{Confidence, Expanded, Uncertain};
use serde::Serialize;
use std::fmt;

/// What is counted along a measure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Counted {
    /// Stitches, along the row.
    Stitches,
    /// Rows, along the wale.
    Rows,
}

impl Counted {
    /// The word for so many of them.
    pub fn word(self, count: u32) -> &'static str {
        match (self, count) {
            (Self::Stitches, 1) => "stitch",
            (Self::Stitches, _) => "stitches",
            (Self::Rows, 1) => "row",
            (Self::Rows, _) => "rows",
        }
    }
}

/// Which way a piece is knitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// Along its length: the width is stitches, the length is rows.
    Upwards,
    /// Across: the width (often a circumference) is rows, the length is stitches.
    Sideways,
}

/// Which counts are possible: k × multiple + balance + edge + seam with k ≥ 1, and where needed of one remainder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct CountRule {
    /// The pattern's multiple, at least 1.
    pub multiple: u32,
    /// What the pattern needs beyond whole multiples.
    pub balance: u32,
    /// Edge stitches on both sides together; they are seen and count in the width.
    pub edge: u32,
    /// Stitches that vanish in seams, on both sides together; they do not count in the width.
    pub seam: u32,
    /// (modulus, remainder) the whole count must also have, so that shaping in steps of the modulus meets it.
    pub also: Option<(u32, u32)>,
}

impl CountRule {
    /// Any count.
    pub const ANY: Self = Self { multiple: 1, balance: 0, edge: 0, seam: 0, also: None };

    /// The same worked in the round: the pattern closes on itself, so there is no balance, no edge and no seam.
    pub fn in_the_round(self) -> Self {
        Self { balance: 0, edge: 0, seam: 0, ..self }
    }

    /// Whether a whole count is possible.
    pub fn allows(self, count: u32) -> bool {
        let rest = count.checked_sub(self.beside_multiples());
        rest.is_some_and(|rest| rest >= self.multiple && rest % self.multiple == 0) && self.reached(count)
    }

    /// What stands beside the whole multiples: balance, edges and seams.
    fn beside_multiples(self) -> u32 {
        self.balance + self.edge + self.seam
    }

    /// Whether a count has the remainder that shaping needs.
    fn reached(self, count: u32) -> bool {
        self.also.is_none_or(|(modulus, remainder)| count % modulus == remainder % modulus)
    }

    /// The possible counts up to `most`, downwards from it, at most so many.
    fn downwards(self, most: u32, how_many: usize) -> impl Iterator<Item = u32> {
        let multiples = most.saturating_sub(self.beside_multiples()) / self.multiple;
        self.counts_of((1..=multiples).rev(), how_many)
    }

    /// The possible counts above `least`, upwards, at most so many.
    fn upwards(self, least: u32, how_many: usize) -> impl Iterator<Item = u32> {
        let first = least.checked_sub(self.beside_multiples()).map_or(1, |rest| rest / self.multiple + 1);
        self.counts_of(first.., how_many)
    }

    /// The counts of so many multiples. Remainders come round again after as many multiples as the modulus has at most, so no
    /// more are looked through for each count.
    fn counts_of(self, multiples: impl Iterator<Item = u32>, how_many: usize) -> impl Iterator<Item = u32> {
        let round = self.also.map_or(1, |(modulus, _)| modulus as usize);
        let counts = multiples.take(round * how_many).map(move |k| self.beside_multiples() + k * self.multiple);
        counts.filter(move |count| self.reached(*count)).take(how_many)
    }

    /// `a multiple of 4 plus 2`, with edges and seams, in words.
    pub fn words(self) -> String {
        let mut words = match self.multiple {
            1 => "any number".to_owned(),
            m => format!("a multiple of {m}"),
        };
        for (count, what) in [(self.balance, ""), (self.edge, " at the edges"), (self.seam, " for seams")] {
            if count > 0 {
                words += &format!(" plus {count}{what}");
            }
        }
        if let Some((modulus, remainder)) = self.also.filter(|(modulus, _)| *modulus > 1) {
            words += &format!(", reached from {remainder} in steps of {modulus}");
        }
        words
    }
}

/// One count and what it would measure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Candidate {
    /// The whole count, seams included.
    pub count: u32,
    /// Finished measure with its 95 % interval, in mm.
    pub finished_mm: Expanded,
    /// Finished minus wanted measure, in mm.
    pub off_mm: f64,
    /// Probability that the finished measure lies within the tolerance, 0 to 1.
    pub probability_within_tolerance: f64,
}

/// Counts around a wanted measure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Castable {
    /// What is counted.
    pub counted: Counted,
    /// What is wanted.
    pub target: Target,
    /// Which counts are possible.
    pub rule: CountRule,
    /// The wanted measure in stitches or rows, unrounded, seams not counted.
    pub exact: f64,
    /// Possible counts about it, by rising count; never empty.
    pub candidates: Vec<Candidate>,
    /// Which of them to take.
    pub recommended: usize,
    /// Why, in words.
    pub reason: String,
}

impl Castable {
    /// The count to take.
    pub fn chosen(&self) -> &Candidate {
        &self.candidates[self.recommended]
    }
}

/// Why no count fits.
#[derive(Debug, Clone, PartialEq)]
pub enum CountError {
    /// Even the smallest possible count is more than twice what is wanted.
    TooCoarse {
        /// The smallest possible count; `None` where multiple and shaping never meet.
        smallest: Option<u32>,
        /// What is wanted, in stitches or rows.
        exact: f64,
    },
    /// More stitches or rows than any piece has.
    TooMany,
}

impl fmt::Display for CountError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooCoarse { smallest: Some(smallest), exact } => {
                write!(
                    f,
                    "the smallest possible count is {smallest}, but about {exact:.0} are wanted; a smaller multiple, or a larger measure, is accepted"
                )
            }
            Self::TooCoarse { smallest: None, .. } => {
                write!(
                    f,
                    "no count fits both the multiple and the steps of the shaping; another multiple, or another per_row, is accepted"
                )
            }
            Self::TooMany => {
                write!(f, "more than {MOST} stitches or rows would be needed; a smaller measure is accepted")
            }
        }
    }
}

/// No piece has more stitches in a row, or more rows (a stated choice).
const MOST: u32 = 100_000;

/// Candidates on either side of the wanted measure.
const EITHER_SIDE: usize = 2;

/// A count within this of a whole number is that number: the wanted measure times a gauge in f64 is off by 1e-12 or so.
const WHOLE: f64 = 1e-6;

/// The possible counts about a wanted measure, two either side, for a gauge per 10 cm (greater than 0). A count that hits
/// the measure exactly counts as being below it.
pub fn castable(
    counted: Counted,
    target: Target,
    rule: CountRule,
    per_10cm: &Uncertain,
) -> Result<Castable, CountError> {
    let exact = target.finished_mm * per_10cm.value / 100.0;
    if exact + f64::from(rule.seam) > f64::from(MOST) {
        return Err(CountError::TooMany);
    }
    let start = (exact + WHOLE).floor() as u32 + rule.seam;
    let mut counts: Vec<u32> = rule.downwards(start, EITHER_SIDE).collect();
    counts.reverse();
    counts.extend(rule.upwards(start, EITHER_SIDE));
    // Far above the wanted measure a count is no help; below it there is at least one wherever the rule is not too coarse.
    counts.retain(|c| f64::from(c - rule.seam) <= 2.0 * exact + WHOLE);
    if counts.is_empty() {
        return Err(CountError::TooCoarse { smallest: rule.upwards(0, 1).next(), exact });
    }
    let candidates: Vec<Candidate> = counts.iter().map(|c| candidate(*c, target, rule, per_10cm)).collect();
    let recommended = best(&candidates);
    let reason = reason(&candidates, recommended, target, counted);
    Ok(Castable { counted, target, rule, exact, candidates, recommended, reason })
}

/// What so many stitches or rows measure, in mm: linear propagation of the gauge.
pub fn finished_mm(seen: u32, per_10cm: &Uncertain) -> Uncertain {
    let mm = 100.0 * f64::from(seen) / per_10cm.value;
    Uncertain::combine(mm, &[(per_10cm, -mm / per_10cm.value)])
}

fn candidate(count: u32, target: Target, rule: CountRule, per_10cm: &Uncertain) -> Candidate {
    let seen = count - rule.seam;
    let finished = finished_mm(seen, per_10cm);
    Candidate {
        count,
        off_mm: finished.value - target.finished_mm,
        finished_mm: finished.expanded(Confidence::P95),
        probability_within_tolerance: probability_within(seen, target, per_10cm),
    }
}

/// Probability, 0 to 1, that so many stitches or rows measure what is wanted, within its tolerance. It is asked of the gauge:
/// n stitches lie between two widths just when the gauge lies between 100 n / width of either, so nothing is made linear.
pub fn probability_within(seen: u32, target: Target, per_10cm: &Uncertain) -> f64 {
    /// A measure on the very edge of the tolerance lies within it.
    const ON_THE_EDGE_MM: f64 = 1e-6;
    let n = 100.0 * f64::from(seen);
    let reach = target.tolerance_mm + ON_THE_EDGE_MM;
    let (low, high) = (target.finished_mm - reach, target.finished_mm + reach);
    if low > 0.0 { per_10cm.probability_between(n / high, n / low) } else { 1.0 - per_10cm.probability_below(n / high) }
}

/// Probabilities closer than this are alike: the nearer measure is then taken.
const ALIKE: f64 = 0.005;

fn best(candidates: &[Candidate]) -> usize {
    let better = |a: &Candidate, b: &Candidate| {
        let more = a.probability_within_tolerance - b.probability_within_tolerance;
        if more.abs() > ALIKE { more > 0.0 } else { a.off_mm.abs() < b.off_mm.abs() }
    };
    (1..candidates.len()).fold(0, |best, i| if better(&candidates[i], &candidates[best]) { i } else { best })
}

fn reason(candidates: &[Candidate], recommended: usize, target: Target, counted: Counted) -> String {
    let chosen = &candidates[recommended];
    let cm = |mm: f64| format!("{:.1} cm", mm / 10.0);
    let words = |c: &Candidate| format!("{} {}", c.count, counted.word(c.count));
    let percent = |c: &Candidate| probability_percent(c.probability_within_tolerance);
    let verb = |c: &Candidate, one: &'static str, more: &'static str| if c.count == 1 { one } else { more };
    let (wanted, tolerance) = (cm(target.finished_mm), cm(target.tolerance_mm));
    let nearest = candidates.iter().min_by(|a, b| a.off_mm.abs().total_cmp(&b.off_mm.abs())).unwrap_or(chosen);
    if nearest.count == chosen.count {
        let off = if chosen.off_mm.abs() < 0.5 {
            verb(chosen, "hits", "hit").to_owned()
        } else {
            format!(
                "{} nearest ({} {}) to",
                verb(chosen, "comes", "come"),
                cm(chosen.off_mm.abs()),
                if chosen.off_mm < 0.0 { "under" } else { "over" }
            )
        };
        return format!("{} {off} the wanted {wanted}: within {tolerance} with {}", words(chosen), percent(chosen));
    }
    format!(
        "{} {} likelier to come within {tolerance} of the wanted {wanted} ({}) than {}, which {} nearer ({})",
        words(chosen),
        verb(chosen, "is", "are"),
        percent(chosen),
        words(nearest),
        verb(nearest, "is", "are"),
        percent(nearest)
    )
}

/// A probability as whole per cent that never claims certainty.
pub fn probability_percent(probability: f64) -> String {
    match (probability * 100.0).round() {
        p if p >= 100.0 => "more than 99 %".to_owned(),
        p if p < 1.0 => "less than 1 %".to_owned(),
        p => format!("{p:.0} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn target(finished_mm: f64) -> Target {
        Target { body_mm: finished_mm, ease_mm: 0.0, finished_mm, tolerance_mm: 5.0 }
    }

    /// Against looking through all counts, one by one.
    #[test]
    fn the_next_counts_either_way_are_found() {
        let rules = [
            CountRule::ANY,
            CountRule { multiple: 4, balance: 2, edge: 2, seam: 2, also: None },
            CountRule { multiple: 6, balance: 3, also: Some((4, 1)), ..CountRule::ANY },
            CountRule { multiple: 10, also: Some((4, 1)), ..CountRule::ANY },
            CountRule { multiple: 7, edge: 1, also: Some((30, 17)), ..CountRule::ANY },
        ];
        for rule in rules {
            for start in 0..300 {
                let below: Vec<u32> = (1..=start).rev().filter(|c| rule.allows(*c)).take(2).collect();
                let above: Vec<u32> = (start + 1..2000).filter(|c| rule.allows(*c)).take(2).collect();
                assert_eq!(rule.downwards(start, 2).collect::<Vec<_>>(), below, "{rule:?} {start}");
                assert_eq!(rule.upwards(start, 2).collect::<Vec<_>>(), above, "{rule:?} {start}");
            }
        }
    }

    #[test]
    fn what_does_not_fit_says_what_would() {
        let of = |mm: f64, rule: CountRule| {
            let found = castable(Counted::Stitches, target(mm), rule, &Uncertain::exact(20.0));
            found.map(|found| found.reason).map_err(|error| error.to_string())
        };
        let multiple = CountRule { multiple: 100, ..CountRule::ANY };
        assert!(of(50.0, multiple).unwrap_err().contains("is 100, but about 10 are wanted; a smaller multiple"));
        let never = CountRule { multiple: 10, also: Some((4, 1)), ..CountRule::ANY };
        assert!(of(500.0, never).unwrap_err().contains("another per_row"));
        assert!(of(1e6, CountRule::ANY).unwrap_err().contains("a smaller measure"));
        assert!(of(5.0, CountRule::ANY).unwrap().starts_with("1 stitch hits the wanted"));
    }
}
