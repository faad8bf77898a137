//! What a train counts in, from the pattern of its mark lengths.
//!
//! Common practice, no source: on millimetre scales every tenth mark is longest and every fifth between them longer
//! than the rest; on inch scales the lengths halve: 1, 1/2, 1/4, 1/8 …

use super::RulerUnit;
use super::fit::quantile;
use super::train::Train;

/// One inch, exactly (International yard and pound agreement, 1959).
const INCH_MM: f64 = 25.4;
/// Finest marks of inches.
const FINEST_INCH_MM: f64 = INCH_MM / 32.0;
/// Measured lengths scatter by about this share of a pitch even on clean marks; smaller steps between classes are not
/// taken for a hierarchy.
const LENGTH_FLOOR_PITCHES: f64 = 0.06;
/// Neighbouring classes of marks differ by at least this share of the short marks' length.
const CLASS_STEP: f64 = 0.10;
/// The longest marks stand out beyond the next by at least this share of what those and all shorter ones differ by (stated
/// choice: of 351 right scales 350 have half and more; a longest class by chance has little).
const LONGEST_STEP: f64 = 0.25;

/// Part of the longest marks that may be no longer than the next, where without that difference the marks count in steps twice as
/// large.
const LOW_LONGEST: f64 = 0.25;

/// Which marks of a scale are how long.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    /// Unit of the scale.
    pub unit: RulerUnit,
    /// Step from mark to mark, mm.
    pub pitch_mm: f64,
    /// Multiples (in marks) at which a mark is longer, the longest first.
    levels: &'static [i32],
    /// The pattern alone settles the unit.
    pub sure: bool,
}

const fn cm(pitch_mm: f64, levels: &'static [i32], sure: bool) -> Scale {
    Scale { unit: RulerUnit::Cm, pitch_mm, levels, sure }
}

const fn inch(parts: i32, levels: &'static [i32], sure: bool) -> Scale {
    Scale { unit: RulerUnit::Inch, pitch_mm: INCH_MM / parts as f64, levels, sure }
}

impl Scale {
    /// Marks from one of the longest to the next.
    pub fn period(&self) -> i32 {
        self.levels[0]
    }

    /// Whether the same marks without the longest class are a scale of twice the pitch.
    fn doubles(&self) -> bool {
        SCALES.iter().any(|s| s.levels == &self.levels[1..] && s.unit == self.unit && s.pitch_mm > 1.5 * self.pitch_mm)
    }
}

/// The scales that are known.
const SCALES: [Scale; 16] = [
    cm(1.0, &[10, 5], true),
    cm(1.0, &[10], false),
    cm(1.0, &[5], false),
    cm(0.5, &[20, 10, 2], true),
    cm(0.5, &[20, 10], true),
    cm(0.5, &[20, 2], true),
    cm(0.5, &[10, 2], true),
    inch(8, &[8, 4, 2], true),
    inch(8, &[8, 4], true),
    inch(8, &[8, 2], false),
    inch(16, &[16, 8, 4, 2], true),
    inch(16, &[16, 8, 4], true),
    inch(16, &[16, 4, 2], true),
    inch(16, &[16, 8, 2], true),
    inch(32, &[32, 16, 8, 4, 2], true),
    inch(32, &[32, 16, 8, 4], true),
];

/// Numbered units and their halves, centimetres first, as rulers for cutting have them: the marks alone do not tell which unit.
const HALVES: [Scale; 2] = [cm(5.0, &[2], false), inch(2, &[2], false)];

/// A scale laid on a train.
#[derive(Debug, Clone, Copy)]
pub(super) struct Match {
    pub scale: Scale,
    /// Index of one of the longest marks.
    pub phase: i32,
    /// Bayesian information score over that of marks all alike; its differences on one train rank the scales.
    pub gain: f64,
    /// Share of the marks' differences in length that the scale explains, 0 to 1.
    pub explained: f64,
    /// The longest class was seen at two places at least.
    pub repeated: bool,
}

impl Match {
    /// Whether it is numbered marks and those half-way between, no others.
    pub fn is_halves(&self) -> bool {
        self.scale.period() == 2
    }

    /// The same marks with another pitch.
    pub fn times(mut self, factor: f64) -> Self {
        self.scale.pitch_mm *= factor;
        self
    }

    /// The same marks of an inch half as far apart, whose longest are worn off: ink that is gone makes a mark shorter, never longer.
    pub fn worn(self) -> Option<Self> {
        (self.scale.unit == RulerUnit::Inch && self.scale.pitch_mm > 1.5 * FINEST_INCH_MM).then(|| self.times(0.5))
    }

    /// The same marks as tenths or twentieths of an inch.
    pub fn in_tenths(mut self) -> Self {
        self.scale.unit = RulerUnit::Inch;
        self.times(INCH_MM / 10.0)
    }
}

/// Every scale that fits the mark lengths, the best first; of long and short marks by turns, which fit halves best, those only.
pub(super) fn match_scales(train: &Train) -> Vec<Match> {
    let lengths = lengths_in_pitches(train);
    let mut matches: Vec<Match> = SCALES.iter().filter_map(|s| best_phase(s, &lengths)).collect();
    matches.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    let halves: Vec<Match> = HALVES.iter().filter_map(|s| best_phase(s, &lengths)).collect();
    let best = matches.first().map_or(f64::NEG_INFINITY, |m| m.gain);
    if halves.iter().any(|m| m.gain > best) { halves } else { matches }
}

/// (index, length in local pitches); of lines that cross the whole ruler no more than a longest mark's.
fn lengths_in_pitches(train: &Train) -> Vec<(i32, f64)> {
    /// Length of the longest marks over that of the shortest, at most (common practice, no source: 2 to 6), and the quantile of the
    /// lengths that stands for the shortest.
    const LONGEST_OVER_SHORTEST: f64 = 6.0;
    const SHORTEST: f64 = 0.25;
    let mut lengths: Vec<(i32, f64)> = train
        .marks
        .iter()
        .map(|m| (m.index, m.length_px / train.fit.step(m.index as f64).abs().max(0.5)))
        .filter(|m| m.1 > 0.0)
        .collect();
    let most =
        quantile(lengths.iter().map(|m| m.1), SHORTEST).map_or(f64::INFINITY, |short| LONGEST_OVER_SHORTEST * short);
    lengths.iter_mut().for_each(|m| m.1 = m.1.min(most));
    lengths
}

fn best_phase(scale: &Scale, lengths: &[(i32, f64)]) -> Option<Match> {
    let period = scale.levels[0];
    (0..period).filter_map(|phase| fit_phase(scale, phase, lengths)).max_by(|a, b| a.gain.total_cmp(&b.gain))
}

fn fit_phase(scale: &Scale, phase: i32, lengths: &[(i32, f64)]) -> Option<Match> {
    let classes = scale.levels.len() + 1;
    let class_of = |index: i32| {
        let i = index - phase;
        scale.levels.iter().position(|&l| i.rem_euclid(l) == 0).unwrap_or(classes - 1)
    };
    let mut members: Vec<Vec<f64>> = vec![Vec::new(); classes];
    for &(i, l) in lengths {
        members[class_of(i)].push(l);
    }
    let centres: Vec<f64> = members.iter().map(|m| quantile(m.iter().copied(), 0.5)).collect::<Option<Vec<f64>>>()?;
    let short = centres[classes - 1];
    let least_step = (CLASS_STEP * short).max(LENGTH_FLOOR_PITCHES);
    // Numerals lengthen some of the marks that they stand at, as if every second of the longest were longer.
    let longest = quantile(members[0].iter().copied(), if scale.doubles() { LOW_LONGEST } else { 0.5 })?;
    let ordered = centres.windows(2).all(|w| w[0] - w[1] > least_step) && longest - centres[1] > least_step;
    let steps: Vec<f64> = centres.windows(2).map(|w| w[0] - w[1]).collect();
    let usual = quantile(steps.iter().skip(1).copied(), 0.5);
    let longest_stand_out = usual.is_none_or(|usual| steps[0] > LONGEST_STEP * usual);
    if !ordered || !longest_stand_out || members[0].is_empty() {
        return None;
    }
    // A numeral that touches a mark lengthens it without end; such marks count no more than one class step too long.
    let cap = centres[0] - short + LENGTH_FLOOR_PITCHES;
    let all = quantile(lengths.iter().map(|l| l.1), 0.5)?;
    let error = |centre: &dyn Fn(i32) -> f64| -> f64 {
        lengths.iter().map(|&(i, l)| (l - centre(i)).abs().min(cap)).sum::<f64>() / lengths.len() as f64
    };
    let within = error(&|i| centres[class_of(i)]);
    let without = error(&|_| all);
    let n = lengths.len() as f64;
    Some(Match {
        scale: *scale,
        phase,
        gain: n * ((without + LENGTH_FLOOR_PITCHES) / (within + LENGTH_FLOOR_PITCHES)).ln()
            - (classes - 1) as f64 * n.ln(),
        explained: (1.0 - within / without.max(1e-9)).clamp(0.0, 1.0),
        repeated: members[0].len() >= 2,
    })
}
