//! Swatches side by side: a sentence for each pair, a plot, and a page.

mod page;
mod plot;
mod words;

pub use page::page;
pub use plot::{narrow_plot, plot};
pub use words::{axis_sentence, bare_number, chance_words, finding_words, speaks_of_words, stitch_words};

use crate::compare::{Pair, SpeaksOf, Tolerance};
use crate::quantity::Expanded;

/// One swatch of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct ComparedSwatch {
    /// Its number in the log.
    pub number: i64,
    /// What it is: yarn and needle.
    pub label: String,
    /// What else matters: stitch pattern, state.
    pub details: String,
    /// Stitches per 10 cm.
    pub stitches: Expanded,
    /// Rows per 10 cm.
    pub rows: Expanded,
}

/// A set of swatches and all their pairs.
#[derive(Debug, Clone, PartialEq)]
pub struct SwatchComparison {
    /// The swatches.
    pub swatches: Vec<ComparedSwatch>,
    /// Every pair, by place in `swatches`.
    pub pairs: Vec<Pair>,
    /// Differences that do not matter.
    pub tolerance: Tolerance,
    /// What it is about.
    pub speaks_of: SpeaksOf,
    /// What to be careful about, in whole sentences.
    pub cautions: Vec<String>,
}
