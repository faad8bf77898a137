//! Why a class can't be analysed.

use crate::sizing::CountError;
use std::fmt;

/// Measurements of a class at most: the fit's time grows with the cube of them (a stated choice: sixty knitters with three
/// swatches, and more).
pub const MOST_READINGS: usize = 200;

/// Why there is no result.
#[derive(Debug, Clone, PartialEq)]
pub enum ClassError {
    /// Nothing was measured.
    Empty,
    /// More measurements than are taken.
    TooMany(usize),
    /// The swatches are in several stitch patterns, which have gauges of their own.
    MixedPatterns(Vec<String>),
    /// The swatches were measured in several states, and washing moves the gauge.
    MixedStates(Vec<String>),
    /// No count of stitches or rows fits the piece.
    Piece(CountError),
}

impl fmt::Display for ClassError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("no swatch was measured: nothing can be said of this class"),
            Self::TooMany(count) => {
                write!(f, "{count} measurements; at most {MOST_READINGS} are taken together: split the class")
            }
            Self::MixedPatterns(patterns) => write!(
                f,
                "the swatches are in different stitch patterns ({}): a difference between knitters could be one of patterns",
                patterns.join(", ")
            ),
            Self::MixedStates(states) => write!(
                f,
                "the swatches were measured in different states ({}): a difference between knitters could be one of washing",
                states.join(", ")
            ),
            Self::Piece(error) => write!(f, "the piece can't be knitted so: {error}"),
        }
    }
}

impl std::error::Error for ClassError {}

impl From<CountError> for ClassError {
    fn from(error: CountError) -> Self {
        Self::Piece(error)
    }
}
