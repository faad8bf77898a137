//! Stitch patterns by the names of the trade, and the size of their repeat.

use serde::{Deserialize, Serialize};

/// A stitch pattern: a name and the smallest block of stitches × rows that repeats.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StitchPattern {
    /// What the pattern is called.
    pub name: String,
    /// Stitches in one repeat, at least 1.
    pub repeat_stitches: u32,
    /// Rows in one repeat, at least 1. A garter row is a row: its ridge is two.
    pub repeat_rows: u32,
}

impl StitchPattern {
    /// The patterns whose repeat is known by name.
    pub const NAMED: [(&'static str, u32, u32); 6] = [
        ("stockinette", 1, 1),
        ("reverse-stockinette", 1, 1),
        ("garter", 1, 2),
        ("seed", 2, 2),
        ("rib-1x1", 2, 1),
        ("rib-2x2", 4, 1),
    ];

    /// A pattern known by name; `None` for any other name.
    pub fn named(name: &str) -> Option<Self> {
        let &(name, stitches, rows) = Self::NAMED.iter().find(|(n, _, _)| *n == name)?;
        Some(Self { name: name.to_owned(), repeat_stitches: stitches, repeat_rows: rows })
    }

    /// A pattern of the user's own, by name and repeat.
    pub fn with_repeat(name: &str, repeat_stitches: u32, repeat_rows: u32) -> Self {
        Self { name: name.to_owned(), repeat_stitches, repeat_rows }
    }

    /// Whether it is a rib: all its rows are alike, and its columns are not.
    pub fn is_rib(&self) -> bool {
        self.repeat_stitches > 1 && self.repeat_rows == 1
    }
}
