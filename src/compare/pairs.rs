//! All pairs of a set of swatches.

use super::difference::{Comparison, compare};
use super::gauge::MeasuredGauge;
use serde::{Deserialize, Serialize};

/// Largest difference that does not matter, per 10 cm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Tolerance {
    /// In stitches per 10 cm.
    pub stitches: f64,
    /// In rows per 10 cm.
    pub rows: f64,
}

/// What a comparison is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SpeaksOf {
    /// These very swatches, as they lay.
    TheseSwatches,
    /// Other fabric knitted alike: how the gauge varies from place to place is added.
    TheNextFabric,
}

/// Two swatches of a set, by their places in it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    /// Place of the first swatch in the set, from 0.
    pub first: usize,
    /// Place of the second, larger than the first.
    pub second: usize,
    /// First minus second, in stitches per 10 cm.
    pub stitches: Comparison,
    /// First minus second, in rows per 10 cm.
    pub rows: Comparison,
}

/// Compares every pair once, in the order of the set: n (n − 1) / 2 pairs, each on its own at its own 95 %.
pub fn pairs(gauges: &[MeasuredGauge], tolerance: Tolerance) -> Vec<Pair> {
    let mut found = Vec::new();
    for (first, a) in gauges.iter().enumerate() {
        for (second, b) in gauges.iter().enumerate().skip(first + 1) {
            found.push(Pair {
                first,
                second,
                stitches: compare(&a.stitches_per_10cm, &b.stitches_per_10cm, tolerance.stitches),
                rows: compare(&a.rows_per_10cm, &b.rows_per_10cm, tolerance.rows),
            });
        }
    }
    found
}
