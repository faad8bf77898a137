//! Several photos of one swatch → one gauge: what is independent from photo to photo averages, what they share does not.
//!
//! Of some influences it is known that all photos share them (the ruler's error, how high fabric and ruler stand), of some
//! that they do not (how each picture's marks were read). Of the rest it is not known how far they go together: the same
//! stitches are uneven in every photo, but each photo sees them anew. Such an influence is counted against the result
//! both times: as shared where the photos are averaged, as independent where they are asked whether they agree. The
//! interval is then never too narrow, and photos are not sent back for a difference that could be chance.

use crate::quantity::{Contribution, Uncertain};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Probability by chance below which photos contradict each other: one lesson in a hundred is sent back wrongly. It is
/// halved because stitches and rows are both asked.
const CHANCE: f64 = 0.01;

/// Names, or beginnings of names, of the influences that all photos of a swatch with one ruler share.
const SHARED: [&str; 8] = [
    "accuracy of the ruler",
    "height of the fabric's surface",
    "thickness of the ruler",
    "the typed length",
    "higher lens terms",
    "counting",
    "width of the edge stitches",
    "height of the cast-on edge",
];

/// The same for those that are each photo's own.
const OWN: [&str; 2] = ["reading of the graduations", "how the picture was cut"];

/// The camera is held anew for every photo, but by the same hands: half the variance of an unseen tilt is taken as shared
/// (a stated choice between none and all).
const HABIT: &str = "tilt that was not seen";
const HABIT_SHARED: f64 = 0.5;

/// How an influence goes together between photos: correlation where they are averaged, and where they are compared.
fn correlations(name: &str) -> (f64, f64) {
    let one_of = |known: &[&str]| known.iter().any(|k| name.starts_with(k));
    if one_of(&SHARED) {
        (1.0, 1.0)
    } else if one_of(&OWN) {
        (0.0, 0.0)
    } else if name.starts_with(HABIT) {
        (HABIT_SHARED, 0.0)
    } else {
        (1.0, 0.0)
    }
}

/// One gauge from several photos.
#[derive(Debug, Clone, PartialEq)]
pub struct Combined {
    /// Stitches and rows per 10 cm.
    pub gauge: [Uncertain; 2],
    /// Weight of each photo, for stitches and for rows; each sums to 1.
    pub weights: [Vec<f64>; 2],
}

/// Photos that contradict each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disagreement {
    /// The photo that is farthest from the others, as an index.
    pub farthest: usize,
    /// Whether it is the rows that disagree, otherwise the stitches.
    pub in_rows: bool,
    /// Probability of such a difference, or a larger one, by chance.
    pub chance: f64,
}

/// Combines the gauges (stitches, rows) of at least one photo. `Err` where they contradict each other: the weighted sum of
/// squares about the common value, which follows chi-squared when the intervals are right (Birge 1932), is too large.
pub fn combine(photos: &[[Uncertain; 2]]) -> Result<Combined, Disagreement> {
    let photos: Vec<[Uncertain; 2]> = photos.iter().map(aligned).collect();
    let mut worst: Option<Disagreement> = None;
    for axis in [0, 1] {
        let values: Vec<&Uncertain> = photos.iter().map(|p| &p[axis]).collect();
        let (chance, farthest) = agreement(&values);
        if chance < CHANCE / 2.0 && worst.is_none_or(|w| chance < w.chance) {
            worst = Some(Disagreement { farthest, in_rows: axis == 1, chance });
        }
    }
    if let Some(disagreement) = worst {
        return Err(disagreement);
    }
    let axis = |k: usize| average(&photos.iter().map(|p| &p[k]).collect::<Vec<_>>());
    let ((stitches, s), (rows, r)) = (axis(0), axis(1));
    Ok(Combined { gauge: [stitches, rows], weights: [s, r] })
}

/// The signs of an influence that is only known as a spread are arbitrary in each photo: turned alike, so that they add.
fn aligned([stitches, rows]: &[Uncertain; 2]) -> [Uncertain; 2] {
    let (mut stitches, mut rows) = (stitches.clone(), rows.clone());
    for contribution in &mut stitches.contributions {
        let known = correlations(&contribution.source.name).1 > 0.0;
        let other = rows.contributions.iter_mut().find(|c| c.source == contribution.source);
        let sum = contribution.standard + other.as_ref().map_or(0.0, |o| o.standard);
        if !known && sum < 0.0 {
            contribution.standard = -contribution.standard;
            if let Some(other) = other {
                other.standard = -other.standard;
            }
        }
    }
    for contribution in &mut rows.contributions {
        let alone = stitches.contributions.iter().all(|c| c.source != contribution.source);
        if alone && correlations(&contribution.source.name).1 == 0.0 {
            contribution.standard = contribution.standard.abs();
        }
    }
    [stitches, rows]
}

/// Covariance of the photos' values; `correlation` tells how far an influence goes together.
fn covariance(values: &[&Uncertain], correlation: fn(&str) -> f64) -> DMatrix<f64> {
    DMatrix::from_fn(values.len(), values.len(), |k, l| {
        let (a, b) = (values[k], values[l]);
        let pairs = a.contributions.iter().filter_map(|c| {
            let other = if k == l { c } else { b.contributions.iter().find(|o| o.source.name == c.source.name)? };
            let together = if k == l { 1.0 } else { correlation(&c.source.name) };
            Some(together * c.standard * other.standard)
        });
        pairs.sum()
    })
}

/// Probability that values of one quantity scatter so much by chance, and which one is farthest from the others.
fn agreement(values: &[&Uncertain]) -> (f64, usize) {
    let n = values.len();
    let covariance = covariance(values, |name| correlations(name).1);
    let Some(inverse) = covariance.try_inverse().filter(|_| n > 1) else { return (1.0, 0) };
    let x = DVector::from_iterator(n, values.iter().map(|v| v.value));
    let ones = DVector::from_element(n, 1.0);
    let weight = &inverse * &ones;
    let mean = weight.dot(&x) / weight.sum();
    let residual = x.add_scalar(-mean);
    let pull = &inverse * &residual;
    let chi_squared = residual.dot(&pull).max(0.0);
    let chance = ChiSquared::new(n as f64 - 1.0).map_or(1.0, |law| law.sf(chi_squared));
    // How far each lies from what the others say, in standard deviations: pull over its own.
    let away = |k: usize| pull[k].abs() / inverse[(k, k)].max(f64::MIN_POSITIVE).sqrt();
    let farthest = (0..n).max_by(|a, b| away(*a).total_cmp(&away(*b))).unwrap_or(0);
    (chance, farthest)
}

/// The average of least variance with weights of zero or more, and the weights.
fn average(values: &[&Uncertain]) -> (Uncertain, Vec<f64>) {
    let weights = weights(&covariance(values, |name| correlations(name).0));
    let value = values.iter().zip(&weights).map(|(v, w)| v.value * w).sum();
    let mut shared = Uncertain::exact(value);
    let mut own: Vec<(Contribution, f64, f64)> = Vec::new();
    for (photo, weight) in values.iter().zip(&weights) {
        for part in &photo.contributions {
            let together = correlations(&part.source.name).0;
            let scaled = |share: f64| Contribution { standard: part.standard * weight * share.sqrt(), ..part.clone() };
            if together > 0.0 {
                shared = shared.with(scaled(together));
            }
            if together < 1.0 {
                add_square(&mut own, scaled(1.0 - together));
            }
        }
    }
    let both = own.into_iter().fold(shared, |sum, (mut part, square, fourth)| {
        part.standard = square.sqrt().copysign(part.standard);
        part.degrees_of_freedom = if fourth > 0.0 { square * square / fourth } else { f64::INFINITY };
        if correlations(&part.source.name).0 > 0.0 {
            part.source.name = format!("{}, each photo's own", part.source.name).into();
        }
        sum.with(part)
    });
    (both, weights)
}

/// Adds a photo's own part to those of the other photos, in quadrature; with it the sum for Welch and Satterthwaite.
fn add_square(own: &mut Vec<(Contribution, f64, f64)>, part: Contribution) {
    let square = part.standard * part.standard;
    let fourth = square * square / part.degrees_of_freedom;
    match own.iter_mut().find(|(known, _, _)| known.source == part.source) {
        Some((_, s, f)) => (*s, *f) = (*s + square, *f + fourth),
        None => own.push((part, square, fourth)),
    }
}

/// Weights of least variance that are not negative and sum to 1: the most negative one is taken out until none is left
/// (active set; Lawson and Hanson 1974).
fn weights(covariance: &DMatrix<f64>) -> Vec<f64> {
    let n = covariance.nrows();
    let mut active: Vec<usize> = (0..n).collect();
    loop {
        let part = DMatrix::from_fn(active.len(), active.len(), |k, l| covariance[(active[k], active[l])]);
        let ones = DVector::from_element(active.len(), 1.0);
        let solution = part.clone().cholesky().map(|c| c.solve(&ones));
        let Some(solution) = solution.filter(|s| s.iter().all(|v| v.is_finite()) && s.sum() > 0.0) else {
            // Photos that share everything: each says the same.
            return (0..n).map(|k| if active.contains(&k) { 1.0 / active.len() as f64 } else { 0.0 }).collect();
        };
        let least = solution.imin();
        if solution[least] >= 0.0 || active.len() == 1 {
            let sum = solution.sum();
            let mut out = vec![0.0; n];
            active.iter().zip(solution.iter()).for_each(|(k, w)| out[*k] = w / sum);
            return out;
        }
        active.remove(least);
    }
}

#[cfg(test)]
#[path = "same_swatch_tests.rs"]
mod tests;
