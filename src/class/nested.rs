//! Measurements in a nest: knitters, their swatches, and each swatch's photos; with what is known of the measuring.

use crate::quantity::Uncertain;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use serde::Serialize;
use std::collections::HashMap;

/// A level at which measurements differ by chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// From knitter to knitter.
    Knitter,
    /// From swatch to swatch of one knitter. With one swatch a knitter this stands for both: they can't be told apart.
    Swatch,
    /// From photo to photo of one swatch, beyond what the measuring states of itself.
    Photo,
}

/// The measurements of one axis.
#[derive(Debug, Clone)]
pub struct Nested {
    /// The values, less `origin`.
    values: DVector<f64>,
    origin: f64,
    /// Which group each value belongs to, by level: knitters, swatches, photos.
    groups: [Vec<usize>; 3],
    counts: [usize; 3],
    /// Covariance of the measuring errors as they are stated.
    known: DMatrix<f64>,
}

impl Nested {
    /// Measurements with the number of their knitter and of their swatch, each from 0 without gaps. Errors that share a
    /// source are correlated by it. `None` for no values, or any that is not finite.
    pub fn new(values: &[Uncertain], knitters: &[usize], swatches: &[usize]) -> Option<Self> {
        let n = values.len();
        let sound = |v: &Uncertain| v.value.is_finite() && v.standard_uncertainty().is_finite();
        if n == 0 || knitters.len() != n || swatches.len() != n || !values.iter().all(sound) {
            return None;
        }
        let count = |of: &[usize]| of.iter().max().map_or(0, |m| m + 1);
        let origin = values[0].value;
        Some(Self {
            values: DVector::from_iterator(n, values.iter().map(|v| v.value - origin)),
            origin,
            groups: [knitters.to_vec(), swatches.to_vec(), (0..n).collect()],
            counts: [count(knitters), count(swatches), n],
            known: covariance(values),
        })
    }

    /// Number of knitters, swatches and photos.
    pub fn counts(&self) -> [usize; 3] {
        self.counts
    }

    /// The levels whose variance the data can show, from the outermost.
    pub fn levels(&self) -> Vec<Level> {
        let [knitters, swatches, photos] = self.counts;
        let told_apart = knitters > 1 && swatches > knitters;
        [(told_apart, Level::Knitter), (swatches > 1, Level::Swatch), (photos > swatches, Level::Photo)]
            .into_iter()
            .filter_map(|(can, level)| can.then_some(level))
            .collect()
    }

    /// Sample variance of all values; 0 for one.
    pub fn total_variance(&self) -> f64 {
        let n = self.values.len() as f64;
        let mean = self.values.mean();
        if n < 2.0 { 0.0 } else { self.values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0) }
    }

    /// Stated covariance of the measuring errors.
    pub fn known(&self) -> &DMatrix<f64> {
        &self.known
    }

    /// The same values as if nothing were known of the measuring.
    pub(super) fn without_measuring(&self) -> Self {
        Self { known: DMatrix::zeros(self.known.nrows(), self.known.ncols()), ..self.clone() }
    }

    /// Whether every value states an uncertainty of its own.
    pub fn measuring_is_stated(&self) -> bool {
        self.known.diagonal().iter().all(|v| *v > 0.0)
    }

    /// Group of each value at a level.
    pub(super) fn groups(&self, level: Level) -> (&[usize], usize) {
        (&self.groups[level as usize], self.counts[level as usize])
    }

    /// The values less a constant.
    pub(super) fn values(&self) -> &DVector<f64> {
        &self.values
    }

    /// A value near all of them that was taken off.
    pub(super) fn origin(&self) -> f64 {
        self.origin
    }

    /// Covariance of the values when the levels have these variances, factored. A variance of nothing at all (no spread
    /// and nothing stated) is raised to a trillionth of the values' own, so that a factor exists.
    pub(super) fn covariance(&self, variances: &[(Level, f64)]) -> Option<Cholesky<f64, Dyn>> {
        const LEAST_SHARE: f64 = 1e-12;
        let mut v = self.known.clone();
        let n = v.nrows();
        for (level, variance) in variances {
            let group = &self.groups[*level as usize];
            for i in 0..n {
                for j in 0..n {
                    if group[i] == group[j] {
                        v[(i, j)] += variance;
                    }
                }
            }
        }
        let least = LEAST_SHARE * self.total_variance().max(f64::MIN_POSITIVE);
        (0..n).for_each(|i| v[(i, i)] += least);
        v.cholesky()
    }
}

/// Covariance of values through the sources they share.
fn covariance(values: &[Uncertain]) -> DMatrix<f64> {
    let mut known = DMatrix::zeros(values.len(), values.len());
    // In the order in which they are met, so that the same input gives the same digits.
    let mut place_of = HashMap::new();
    let mut by_source: Vec<Vec<(usize, f64)>> = Vec::new();
    for (i, value) in values.iter().enumerate() {
        for c in &value.contributions {
            let place = *place_of.entry(&c.source).or_insert(by_source.len());
            if place == by_source.len() {
                by_source.push(Vec::new());
            }
            by_source[place].push((i, c.standard));
        }
    }
    for parts in &by_source {
        for (i, a) in parts {
            for (j, b) in parts {
                known[(*i, *j)] += a * b;
            }
        }
    }
    known
}
