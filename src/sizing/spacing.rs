//! Increases or decreases spaced evenly in one row.
//!
//! The plain stitches between them differ by at most one; in a flat row the two ends together make one interval, so that a
//! seamed edge looks like the rest, and in the round the last interval closes on the first.

use super::shaping::even_parts;
use serde::Serialize;
use std::fmt;

/// Where the row begins and ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Arrangement {
    /// A flat row: half an interval at either end.
    HalfAtEnds,
    /// A flat row in equal sections: a whole interval at either end.
    EqualSections,
    /// In the round: each increase ends an interval.
    Round,
}

/// The plain stitches of one row between its increases or decreases.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Spacing {
    /// Stitches before the row.
    pub from: u32,
    /// Stitches after it.
    pub to: u32,
    /// How the row begins and ends.
    pub arrangement: Arrangement,
    /// Plain stitches before each increase or decrease.
    pub before_each: Vec<u32>,
    /// Plain stitches after the last one.
    pub after_last: u32,
}

/// Spacing that can't be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SpacingError {
    stitches: u32,
    changes: u32,
    most: u32,
    gains: bool,
}

impl fmt::Display for SpacingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = if self.gains { "increases" } else { "decreases" };
        let Self { stitches, changes, most, .. } = self;
        write!(f, "{changes} {what} don't fit into one row of {stitches} stitches; {most} at most do")
    }
}

/// One row from so many stitches to so many: increases, or decreases.
pub fn space(from: u32, to: u32, arrangement: Arrangement) -> Result<Spacing, SpacingError> {
    if to > from {
        space_increases(from, to - from, arrangement)
    } else {
        space_decreases(from, from - to, arrangement)
    }
}

/// So many increases, each made between stitches, in a row of so many stitches; at most one after each stitch.
pub fn space_increases(stitches: u32, increases: u32, arrangement: Arrangement) -> Result<Spacing, SpacingError> {
    if increases > stitches {
        return Err(SpacingError { stitches, changes: increases, most: stitches, gains: true });
    }
    Ok(spaced(stitches, increases, arrangement, stitches, stitches + increases))
}

/// So many decreases, each of two stitches into one.
pub fn space_decreases(stitches: u32, decreases: u32, arrangement: Arrangement) -> Result<Spacing, SpacingError> {
    if decreases > stitches / 2 {
        return Err(SpacingError { stitches, changes: decreases, most: stitches / 2, gains: false });
    }
    Ok(spaced(stitches, decreases, arrangement, stitches - 2 * decreases, stitches - decreases))
}

fn spaced(from: u32, changes: u32, arrangement: Arrangement, plain: u32, to: u32) -> Spacing {
    let (before_each, after_last) = match arrangement {
        _ if changes == 0 => (Vec::new(), plain),
        Arrangement::Round => (even_parts(plain, changes), 0),
        Arrangement::EqualSections => {
            // The shorter sections come first; turned round, the first one is empty only where all are.
            let mut sections = even_parts(plain, changes + 1);
            sections.reverse();
            let last = sections.pop().unwrap_or(0);
            (sections, last)
        }
        Arrangement::HalfAtEnds => half_at_ends(plain, changes),
    };
    Spacing { from, to, arrangement, before_each, after_last }
}

/// The i-th change after (2i − 1)/2n of the plain stitches, rounded half up, i from 1 to n.
fn half_at_ends(plain: u32, changes: u32) -> (Vec<u32>, u32) {
    let (plain, n) = (u64::from(plain), u64::from(changes));
    let place = |i: u64| ((2 * i - 1) * plain + n) / (2 * n);
    let mut done = 0;
    // Places are at most `plain`, which is a u32.
    let before_each = (1..=n).map(|i| (place(i) - std::mem::replace(&mut done, place(i))) as u32).collect();
    (before_each, (plain - done) as u32)
}

impl Spacing {
    /// Whether stitches are gained.
    pub fn increases(&self) -> bool {
        self.to > self.from
    }

    /// After which stitches of the old row each change lies: for increases the stitch before it, for decreases the last of
    /// its two.
    pub fn places(&self) -> Vec<u32> {
        let taken = if self.increases() { 0 } else { 2 };
        let mut at = 0;
        self.before_each
            .iter()
            .map(|plain| {
                at += plain + taken;
                at
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As many increases as stitches: each behind a stitch, none before the first.
    #[test]
    fn a_full_row_has_no_increase_before_its_first_stitch() {
        for arrangement in [Arrangement::HalfAtEnds, Arrangement::EqualSections, Arrangement::Round] {
            let row = space_increases(5, 5, arrangement).unwrap();
            assert_eq!((row.places(), row.after_last), (vec![1, 2, 3, 4, 5], 0), "{arrangement:?}");
        }
    }
}
