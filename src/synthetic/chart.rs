//! Stitch charts: which stitch is knit or purl, where eyelets are, and which colour each stitch has.

use serde::{Deserialize, Serialize};

/// One repeat of a stitch pattern as seen from the right side; the first row is the lowest.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Chart {
    /// What the pattern is called.
    pub name: String,
    /// +1 knit, −1 purl, as rows of equal length; at least one stitch.
    pub stitches: Vec<Vec<i8>>,
    /// Eyelets as (stitch, row) within the repeat.
    pub eyelets: Vec<(u32, u32)>,
    /// Palette index of each stitch; a repeat of its own, counted from the same corner. Empty: colour 0.
    pub colours: Vec<Vec<u8>>,
}

/// No pattern of that name is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownPattern(pub String);

impl std::fmt::Display for UnknownPattern {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "no stitch pattern is called '{}'; known: {}", self.0, Chart::NAMES.join(", "))
    }
}

impl std::error::Error for UnknownPattern {}

impl Chart {
    /// The patterns that [`Chart::named`] knows.
    pub const NAMES: [&'static str; 12] = [
        "stockinette",
        "reverse-stockinette",
        "garter",
        "seed",
        "moss",
        "rib-1x1",
        "rib-2x2",
        "basketweave",
        "broken-rib",
        "waffle",
        "eyelets",
        "stripes",
    ];

    /// A pattern by its name (`_` counts as `-`).
    ///
    /// The charts are common knowledge of the trade (no source); moss is double moss, every stitch kept for two rows.
    pub fn named(name: &str) -> Result<Self, UnknownPattern> {
        let wanted = name.replace('_', "-");
        let rows: &[&str] = match wanted.as_str() {
            "stockinette" | "eyelets" | "stripes" => &["k"],
            "reverse-stockinette" => &["p"],
            "garter" => &["k", "p"],
            "seed" => &["kp", "pk"],
            "moss" => &["kp", "kp", "pk", "pk"],
            "rib-1x1" => &["kp"],
            "rib-2x2" => &["kkpp"],
            "basketweave" => {
                &["kkkkpppp", "kkkkpppp", "kkkkpppp", "kkkkpppp", "ppppkkkk", "ppppkkkk", "ppppkkkk", "ppppkkkk"]
            }
            "broken-rib" => &["kp", "kk"],
            "waffle" => &["kpp", "kpp", "kkk", "kpp"],
            _ => return Err(UnknownPattern(name.to_owned())),
        };
        let mut chart = Self::from_rows(&wanted, rows);
        if wanted == "eyelets" {
            chart.stitches = vec![vec![1; 6]; 8];
            chart.eyelets = vec![(1, 1), (4, 5)];
        }
        if wanted == "stripes" {
            chart.colours = (0..8).map(|row| vec![u8::from(row >= 4)]).collect();
        }
        Ok(chart)
    }

    /// A chart from rows of `k` and `p`, the lowest first; every other letter counts as knit.
    ///
    /// Rows of unequal length are cut to the shortest; nothing at all becomes one knit stitch.
    pub fn from_rows(name: &str, rows: &[&str]) -> Self {
        let width = rows.iter().map(|row| row.chars().count()).min().unwrap_or(0);
        let sign = |letter: char| if letter == 'p' { -1 } else { 1 };
        let mut stitches: Vec<Vec<i8>> = rows.iter().map(|row| row.chars().take(width).map(sign).collect()).collect();
        if width == 0 {
            stitches = vec![vec![1]];
        }
        Self { name: name.to_owned(), stitches, eyelets: Vec::new(), colours: Vec::new() }
    }

    /// Stitches and rows of one repeat of knit and purl (and eyelets), colours aside.
    pub fn repeat(&self) -> (u32, u32) {
        let rows = self.stitches.len().max(1);
        let stitches = self.stitches.first().map_or(1, Vec::len).max(1);
        (stitches as u32, rows as u32)
    }

    /// +1 for knit, −1 for purl at a stitch and row counted from the repeat's lower left corner.
    pub(super) fn sign(&self, stitch: i64, row: i64) -> i8 {
        let Some(line) = pick(&self.stitches, row) else { return 1 };
        pick(line, stitch).map_or(1, |&s| if s < 0 { -1 } else { 1 })
    }

    /// Palette index at a stitch and row counted as for [`Chart::sign`].
    pub(super) fn colour(&self, stitch: i64, row: i64) -> u8 {
        pick(&self.colours, row).and_then(|line| pick(line, stitch)).copied().unwrap_or(0)
    }

    /// Whether an eyelet lies at a stitch and row counted as for [`Chart::sign`].
    pub(super) fn is_eyelet(&self, stitch: i64, row: i64) -> bool {
        let (a, b) = self.repeat();
        let here = (stitch.rem_euclid(i64::from(a)) as u32, row.rem_euclid(i64::from(b)) as u32);
        self.eyelets.contains(&here)
    }
}

/// The element at `index`, counted around.
fn pick<T>(list: &[T], index: i64) -> Option<&T> {
    if list.is_empty() {
        return None;
    }
    list.get(index.rem_euclid(list.len() as i64) as usize)
}
