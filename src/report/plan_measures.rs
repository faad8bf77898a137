//! Measures of a plan for people: centimetres, and inches beside them.

use crate::quantity::{Expanded, INCH_MM, plus_minus};
use crate::sizing::Counted;

/// `46.2 cm`.
pub fn cm(mm: f64) -> String {
    format!("{:.1} cm", mm / 10.0)
}

/// `46.2 cm (18.2 in)`.
pub fn cm_and_in(mm: f64) -> String {
    format!("{} ({:.1} in)", cm(mm), mm / INCH_MM)
}

/// `46.2 ± 0.8 cm`.
pub fn cm_interval(mm: &Expanded) -> String {
    format!("{} cm", plus_minus(mm.value / 10.0, mm.expanded_uncertainty / 10.0))
}

/// `18.2 ± 0.3 in`.
pub fn in_interval(mm: &Expanded) -> String {
    format!("{} in", plus_minus(mm.value / INCH_MM, mm.expanded_uncertainty / INCH_MM))
}

/// `46.2 ± 0.8 cm (18.2 ± 0.3 in)`.
pub fn cm_and_in_interval(mm: &Expanded) -> String {
    format!("{} ({})", cm_interval(mm), in_interval(mm))
}

/// `64 sts` or `120 rows`; a row of work in the round is a round.
pub fn count(count: u32, counted: Counted, round: bool) -> String {
    let word = match (counted, round, count) {
        (Counted::Stitches, _, 1) => "st",
        (Counted::Stitches, _, _) => "sts",
        (Counted::Rows, false, 1) => "row",
        (Counted::Rows, false, _) => "rows",
        (Counted::Rows, true, 1) => "round",
        (Counted::Rows, true, _) => "rounds",
    };
    format!("{count} {word}")
}

/// A number with its decimals only where it has any: `22.5`, `22`.
pub fn plain(number: f64) -> String {
    format!("{number}")
}
