//! The whole of a fabric that a lattice was followed over, made even by it, and read under every pattern.
//!
//! A place holds a dozen stitches that lie unevenly; made even, all of them show sharp lines. Which lattice was followed hardly
//! matters for that: what is uneven about a multiple of the true lattice is uneven about the true one.

use super::decide::{self, same_counts};
use super::reading::{self, Reading};
use super::view::View;
use super::{Basis, Decision, Declared};
use crate::fabric::Sheet;

/// Readings kept: rivals come from them, and what is behind them is far behind (stated choice).
const READINGS: usize = 8;

/// The most that the whole fabric may put one reading ahead of or behind another: its score counts noise, not what no model
/// of a pattern foresees (stated choice).
const MOST_AHEAD: f64 = 20.0;

/// What the whole of a fabric shows in the projection of colour that shows it most clearly.
pub struct Whole {
    /// Best first.
    pub(super) readings: Vec<WholeReading>,
}

/// One reading of the whole fabric.
pub(super) struct WholeReading {
    pub reading: Reading,
    /// The same as what may be followed.
    pub decision: Decision,
    /// Why it is none of stitches.
    pub not_knit: Option<String>,
    /// Share of the lines' power that lies above the second order of the legs and rows.
    pub fine: f64,
}

/// Reads the even pictures of a fabric, one a projection of colour; `followed` is the lattice that made it even. `None` where no
/// lattice of two directions stands up.
pub fn look_over(sheets: &[Sheet], declared: &Declared, followed: &Basis) -> Option<Whole> {
    let views = View::all(sheets);
    let trials = reading::trials(declared);
    let sightings = decide::sightings(&views, declared, |v| reading::sighting_near(v, &trials, followed));
    let (view, seen) = sightings.first()?;
    let readings = seen.readings.iter().take(READINGS).map(|r| WholeReading {
        reading: r.clone(),
        decision: decide::decision(view, seen, r, 0.0, declared),
        not_knit: decide::not_knit(r, &Declared::default(), seen.scene.spectrum.windows),
        fine: seen.scene.power_above(&r.basis),
    });
    Some(Whole { readings: readings.collect() })
}

impl Whole {
    /// The reading of these counts, where there is one.
    pub(super) fn of(&self, basis: &Basis) -> Option<&WholeReading> {
        self.readings.iter().find(|r| same_counts(&r.reading.basis, basis))
    }

    /// How far the reading of these counts is ahead of the best other one, behind it where negative.
    pub(super) fn lead(&self, basis: &Basis) -> f64 {
        let Some(own) = self.of(basis) else { return -MOST_AHEAD };
        let other = self.readings.iter().find(|r| !same_counts(&r.reading.basis, basis));
        other.map_or(MOST_AHEAD, |o| (own.reading.score - o.reading.score).clamp(-MOST_AHEAD, MOST_AHEAD))
    }
}
