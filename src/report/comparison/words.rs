//! Comparisons in plain sentences.

use super::SwatchComparison;
use crate::compare::{Comparison, Finding, SpeaksOf};
use crate::quantity::plus_minus;
use crate::sizing::Counted;

/// Words in the name of a source, and what makes a difference surer where that source is the largest part of it. The
/// first that fits counts.
const SURER: [(&str, &str); 9] = [
    ("next fabric", "knit and measure larger swatches"),
    ("irregular", "measure a larger swatch"),
    ("counting", "count over a longer stretch"),
    ("followed", "measure a larger swatch"),
    ("accuracy", "use one ruler for both and name it with --ruler-id"),
    ("height", "say how thick the ruler is and what it lies on, or hold the camera higher"),
    ("thickness", "say how thick the ruler is and what it lies on, or hold the camera higher"),
    ("tilt", "hold the camera level"),
    ("stated", "measure both again"),
];

/// The advice where no source has its own.
const MEASURE_LARGER: &str = "measure a larger swatch";

/// One axis of one pair in a sentence; `first` and `second` name the swatches.
pub fn axis_sentence(comparison: &Comparison, counted: Counted, first: &str, second: &str) -> String {
    let tolerance = comparison.equivalence.tolerance;
    let difference = comparison.difference;
    let size = plus_minus(difference.value.abs(), difference.expanded_uncertainty);
    let (more, less) = if difference.value >= 0.0 { (first, second) } else { (second, first) };
    let within = stitch_words(tolerance, counted);
    match comparison.finding {
        Finding::Equivalent => format!("closer than {within} per 10 cm, with 95 % confidence"),
        Finding::SmallDifference => format!(
            "{more} has {size} more than {less}; surely less than {within} per 10 cm, which was said not to matter"
        ),
        Finding::Different => {
            format!("{more} has {size} more than {less}; whether that is less than {within} can't be told")
        }
        Finding::LargeDifference => format!("differs: {more} has {size} more than {less}"),
        Finding::CantTell => format!("can't tell ({size} apart): {}", surer(comparison)),
    }
}

/// The finding in two or three words, for a table.
pub fn finding_words(finding: Finding) -> &'static str {
    match finding {
        Finding::Equivalent => "alike",
        Finding::SmallDifference => "alike, small difference",
        Finding::Different => "different",
        Finding::LargeDifference => "clearly different",
        Finding::CantTell => "can't tell",
    }
}

fn surer(comparison: &Comparison) -> &'static str {
    let largest = comparison.largest_source.as_deref().unwrap_or_default();
    SURER.iter().find(|(word, _)| largest.contains(word)).map_or(MEASURE_LARGER, |(_, advice)| advice)
}

/// `half a stitch`, `1 row`, `0.7 stitches`.
pub fn stitch_words(count: f64, counted: Counted) -> String {
    if count == 0.5 {
        format!("half a {}", counted.word(1))
    } else if count == 1.0 {
        format!("1 {}", counted.word(1))
    } else {
        format!("{} {}", bare_number(count), counted.word(2))
    }
}

/// A number as short as it can be written.
pub fn bare_number(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// What the comparison is about.
pub fn speaks_of_words(speaks_of: SpeaksOf) -> &'static str {
    match speaks_of {
        SpeaksOf::TheseSwatches => {
            "This speaks of these very swatches, as they lay; the next fabric knitted alike varies more."
        }
        SpeaksOf::TheNextFabric => {
            "This speaks of the next 10 x 10 cm knitted alike; another day, or working in the round, is not in it."
        }
    }
}

/// How many comparisons there are, and what chance alone does among so many.
pub fn chance_words(comparison: &SwatchComparison) -> String {
    /// Share of differences that a 95 % interval finds where there is none.
    const BY_CHANCE: f64 = 0.05;
    match comparison.pairs.len() {
        0 => String::new(),
        1 => "1 pair was compared, in stitches and in rows, each at 95 %.".to_owned(),
        n => format!(
            "{n} pairs were compared, in stitches and in rows: {} comparisons, each at 95 % on its own. If all were the \
             same fabric, about {} of them would show a difference by chance.",
            2 * n,
            bare_number((2.0 * n as f64 * BY_CHANCE * 10.0).round() / 10.0)
        ),
    }
}
