//! From one number of stitches to another over rows: schedules that add up exactly.
//!
//! With n shaping rows in R rows, q = ⌊R/n⌋ and m = R mod n, the shaping falls on every q-th row n − m times and on every
//! (q+1)-th row m times: nothing else adds up with intervals that differ by at most one. Which intervals are the longer
//! ones is Bresenham's question (1965, lines on a grid), and so is the answer: the i-th shaping row is row ⌊i R / n⌋, which
//! spreads the odd rows evenly instead of leaving them all at one end.

use serde::Serialize;
use std::fmt;

/// How fast the shaping goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// A shaping row every so many rows.
    Every(u32),
    /// Evenly over so many rows.
    Over(u32),
}

/// From so many stitches to so many.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ShapingStep {
    /// Stitches before.
    pub from: u32,
    /// Stitches after.
    pub to: u32,
    /// Stitches gained or lost in one shaping row, both ends together; at least 1.
    pub per_row: u32,
    /// How fast.
    pub pace: Pace,
    /// Shape on right-side rows only: all intervals are even.
    pub right_side_only: bool,
}

/// Which rows shape. Rows are counted from 1, the first one a right-side row unless said ([`Schedule::behind_a_wrong_side_row`]).
/// The last row of each interval is the shaping row; where only right-side rows shape it is the last but one, so that all of
/// them have odd numbers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Schedule {
    /// Stitches before.
    pub from: u32,
    /// Stitches after.
    pub to: u32,
    /// Stitches gained or lost in one shaping row.
    pub per_row: u32,
    /// Rows of each interval; their sum and `plain_after` are all rows.
    pub intervals: Vec<u32>,
    /// Plain rows after the last shaping row.
    pub plain_after: u32,
    /// Whether all shaping rows are right-side rows.
    pub right_side_only: bool,
}

/// Shaping that can't be done; the numbers say what could.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ShapingError {
    /// The difference is no multiple of the stitches changed in one row.
    NotWhole {
        /// Stitches to gain or lose.
        difference: u32,
        /// Stitches changed in one row.
        per_row: u32,
    },
    /// More shaping rows than rows.
    TooFewRows {
        /// Shaping rows that are needed.
        shaping_rows: u32,
        /// Rows that are there.
        rows: u32,
        /// Rows that would be enough.
        enough: u32,
    },
    /// A pace of no rows, or of an odd number of rows where only right-side rows shape; or nothing changed in a row.
    Pace,
}

impl fmt::Display for ShapingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotWhole { difference, per_row } => {
                let (less, more) = (difference / per_row * per_row, difference.div_ceil(*per_row) * per_row);
                write!(
                    f,
                    "a change by {difference} stitches is no whole number of rows at {per_row} a row; {less} or {more} would be"
                )
            }
            Self::TooFewRows { shaping_rows, rows, enough } => write!(
                f,
                "{shaping_rows} shaping rows don't fit into {rows} rows; at least {enough} rows, or more stitches a row, are needed"
            ),
            Self::Pace => {
                write!(
                    f,
                    "at least 1 stitch every row is accepted; every 2nd, 4th, 6th… row where only right-side rows shape"
                )
            }
        }
    }
}

/// The schedule of a step; a step that changes nothing has no shaping rows.
pub fn schedule(step: ShapingStep) -> Result<Schedule, ShapingError> {
    let difference = step.from.abs_diff(step.to);
    let unit = if step.right_side_only { 2 } else { 1 };
    if step.per_row == 0 || matches!(step.pace, Pace::Every(k) if k == 0 || k % unit != 0) {
        return Err(ShapingError::Pace);
    }
    if !difference.is_multiple_of(step.per_row) {
        return Err(ShapingError::NotWhole { difference, per_row: step.per_row });
    }
    let n = difference / step.per_row;
    let (intervals, plain_after) = match step.pace {
        Pace::Every(k) => (vec![k; n as usize], 0),
        Pace::Over(rows) if n == 0 => (Vec::new(), rows),
        Pace::Over(rows) => {
            if rows / unit < n {
                return Err(ShapingError::TooFewRows { shaping_rows: n, rows, enough: n.saturating_mul(unit) });
            }
            let intervals: Vec<u32> = even_parts(rows / unit, n).into_iter().map(|part| part * unit).collect();
            (intervals, rows % unit)
        }
    };
    Ok(Schedule {
        from: step.from,
        to: step.to,
        per_row: step.per_row,
        intervals,
        plain_after,
        right_side_only: step.right_side_only,
    })
}

/// `total` in `parts` whole parts that differ by at most one, the longer ones spread evenly; none for no parts.
pub fn even_parts(total: u32, parts: u32) -> Vec<u32> {
    let end = |i: u32| u64::from(total) * u64::from(i) / u64::from(parts.max(1));
    // Differences of ends that are at most `total`, so they fit.
    (0..parts).map(|i| (end(i + 1) - end(i)) as u32).collect()
}

impl Schedule {
    /// The same with one plain row before it, where the step begins with a wrong-side row: right-side rows then have even
    /// numbers. Without shaping rows it stays as it is.
    pub fn behind_a_wrong_side_row(mut self) -> Self {
        if let Some(first) = self.intervals.first_mut() {
            *first += 1;
        }
        self
    }

    /// All rows it takes.
    pub fn rows(&self) -> u32 {
        self.intervals.iter().sum::<u32>() + self.plain_after
    }

    /// Whether stitches are gained.
    pub fn increases(&self) -> bool {
        self.to > self.from
    }

    /// Stitches after so many shaping rows.
    fn stitches_after(&self, shaping_rows: u32) -> u32 {
        let change = shaping_rows * self.per_row;
        if self.increases() { self.from + change } else { self.from - change }
    }

    /// Rows of an interval after its shaping row.
    fn rows_after_shaping(&self) -> u32 {
        u32::from(self.right_side_only)
    }

    /// Each shaping row with the stitches after it.
    pub fn table(&self) -> Vec<(u32, u32)> {
        let mut end = 0;
        (1u32..)
            .zip(&self.intervals)
            .map(|(number, interval)| {
                end += interval;
                (end - self.rows_after_shaping(), self.stitches_after(number))
            })
            .collect()
    }

    /// How often each interval occurs: (rows, times), the shorter first.
    pub fn intervals_by_length(&self) -> Vec<(u32, u32)> {
        let mut sorted = self.intervals.clone();
        sorted.sort_unstable();
        run_lengths(&sorted)
    }

    /// Stitches worked over all its rows: a shaping row counts with the stitches it ends with.
    pub fn stitches_worked(&self) -> u64 {
        let worked = |rows: u32, stitches: u32| u64::from(rows) * u64::from(stitches);
        let shaped_rows = 1 + self.rows_after_shaping();
        let shaped: u64 = (0u32..)
            .zip(&self.intervals)
            .map(|(done, interval)| {
                worked(interval - shaped_rows, self.stitches_after(done))
                    + worked(shaped_rows, self.stitches_after(done + 1))
            })
            .sum();
        shaped + worked(self.plain_after, self.to)
    }
}

/// Equal neighbours together, with how many there are.
pub fn run_lengths(values: &[u32]) -> Vec<(u32, u32)> {
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for &value in values {
        match runs.last_mut() {
            Some((last, times)) if *last == value => *times += 1,
            _ => runs.push((value, 1)),
        }
    }
    runs
}
