//! A band that grows out of a narrow cord and goes back to it, such as a headband with ties.
//!
//! The band is knitted lengthwise: its height is stitches, its length is rows. At either end it narrows to the cord by so
//! many stitches a shaping row; the cords themselves are knitted to length.

use super::shaping::{Pace, Schedule, ShapingError, ShapingStep, schedule};
use serde::Serialize;
use std::fmt;

/// Rows of a band between two cords.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Band {
    /// From the cord to the band.
    pub widen: Schedule,
    /// Rows at full width.
    pub straight_rows: u32,
    /// From the band to the cord.
    pub narrow: Schedule,
}

/// A band that can't be knitted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BandError {
    /// Widening and narrowing alone take more rows than the band has.
    TooShort {
        /// Rows both ends take.
        ends: u32,
        /// Rows of the whole band.
        rows: u32,
    },
    /// The widening does not add up.
    Shaping(ShapingError),
}

impl fmt::Display for BandError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooShort { ends, rows } => {
                write!(
                    f,
                    "widening and narrowing take {ends} rows, but the whole band has {rows}; shape more stitches a row"
                )
            }
            Self::Shaping(error) => error.fmt(f),
        }
    }
}

impl Band {
    /// All rows, both ends included.
    pub fn rows(&self) -> u32 {
        self.widen.rows() + self.straight_rows + self.narrow.rows()
    }

    /// Stitches worked over all rows, the cords not included.
    pub fn stitches_worked(&self) -> u64 {
        let straight = u64::from(self.straight_rows) * u64::from(self.widen.to);
        self.widen.stitches_worked() + straight + self.narrow.stitches_worked()
    }
}

/// A band of `band` stitches and `rows` rows in all between two cords of `cord` stitches, shaped by `per_row` stitches every
/// `every` rows.
pub fn band_from_cord(cord: u32, band: u32, rows: u32, per_row: u32, every: u32) -> Result<Band, BandError> {
    let end = |from, to| {
        schedule(ShapingStep { from, to, per_row, pace: Pace::Every(every), right_side_only: false })
            .map_err(BandError::Shaping)
    };
    let (widen, narrow) = (end(cord, band)?, end(band, cord)?);
    let ends = widen.rows() + narrow.rows();
    let straight_rows = rows.checked_sub(ends).ok_or(BandError::TooShort { ends, rows })?;
    Ok(Band { widen, straight_rows, narrow })
}
