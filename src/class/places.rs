//! How the gauge varies from place to place within one swatch, from its local map.
//!
//! The map's cells are no replicates: fabric that is tight here is tight a centimetre on, and neighbouring cells even share
//! stitches. Let the local gauge be a field of variance s² about the swatch's mean whose correlation falls off as
//! exp(−d/L). With the cells' correlation matrix R(L), the restricted likelihood of the cells is highest for
//!
//! s² = y'Py/(n − 1), and that L for which log|R| + log(1'R⁻¹1) + (n − 1) log(y'Py) is smallest,
//! P = R⁻¹ − R⁻¹1(1'R⁻¹1)⁻¹1'R⁻¹
//!
//! (Kitanidis 1983: unlike binned correlations it allows for the mean that was taken from the same cells). The plain mean of
//! the cells has the variance s² 1'R1/n². Independent cells would give s²/m; so the map is worth
//!
//! m = n² / 1'R1
//!
//! independent cells (for a series: Bayley & Hammersley 1946), and that is what its degrees of freedom are counted by, m − 1.
//! Reading a small place has noise of its own, which is in s: it is an upper limit of what the fabric does.

use super::reading::Place;
use nalgebra::{DMatrix, DVector};
use serde::Serialize;

/// Variation of one swatch's gauge from place to place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PlaceVariation {
    /// Standard deviation from place to place, per 10 cm.
    pub standard_deviation: f64,
    /// Distance at which the correlation has fallen to 1/e, in mm.
    pub alike_over_mm: f64,
    /// Places in the map.
    pub places: usize,
    /// Independent places they are worth.
    pub independent_places: f64,
}

/// Fewer cells than this show no correlation.
const FEWEST: usize = 8;
/// Cells used at most; a map of more is thinned evenly.
const MOST: usize = 150;
/// Lengths that are tried, from a quarter of the least distance of two cells to twice the largest, evenly in logarithm.
const TRIED: i32 = 40;

/// Variation of stitches (`axis` 0) or rows (1) over a map. `None` for fewer than eight places, or where all are alike.
pub fn place_variation(places: &[Place], axis: usize) -> Option<PlaceVariation> {
    let step = places.len().div_ceil(MOST).max(1);
    let places: Vec<&Place> = places.iter().step_by(step).filter(|p| p.per_10cm[axis].is_finite()).collect();
    let n = places.len();
    if n < FEWEST {
        return None;
    }
    let origin = places[0].per_10cm[axis];
    let values = DVector::from_iterator(n, places.iter().map(|p| p.per_10cm[axis] - origin));
    let distance = DMatrix::from_fn(n, n, |i, j| {
        let (a, b) = (places[i].at_mm, places[j].at_mm);
        (a[0] - b[0]).hypot(a[1] - b[1])
    });
    let apart = distance.iter().copied().filter(|d| *d > 0.0).fold(f64::INFINITY, f64::min);
    let far = distance.max();
    if values.iter().all(|v| *v == 0.0) || !(apart.is_finite() && far.is_finite() && far > 0.0) {
        return None;
    }
    let (shortest, longest) = (apart / 4.0, 2.0 * far);
    let length = |i: i32| shortest * (longest / shortest).powf(f64::from(i) / f64::from(TRIED));
    let fits: Vec<Fit> = (0..=TRIED).filter_map(|i| Fit::at(&distance, &values, length(i))).collect();
    let best = fits.into_iter().min_by(|a, b| a.criterion.total_cmp(&b.criterion))?;
    Some(PlaceVariation {
        standard_deviation: best.variance.sqrt(),
        alike_over_mm: best.length_mm,
        places: n,
        independent_places: best.independent,
    })
}

/// The restricted likelihood at one correlation length.
struct Fit {
    length_mm: f64,
    criterion: f64,
    variance: f64,
    independent: f64,
}

impl Fit {
    fn at(distance: &DMatrix<f64>, values: &DVector<f64>, length_mm: f64) -> Option<Self> {
        let n = values.len() as f64;
        let alike = distance.map(|d| (-d / length_mm).exp());
        let independent = n * n / alike.sum();
        let factor = alike.cholesky()?;
        let log_determinant = 2.0 * factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let weights = factor.solve(&DVector::from_element(values.len(), 1.0));
        let information = weights.sum();
        let side = weights.dot(values);
        let squares = values.dot(&factor.solve(values)) - side * side / information;
        let criterion = log_determinant + information.ln() + (n - 1.0) * squares.ln();
        (squares > 0.0 && criterion.is_finite()).then(|| Self {
            length_mm,
            criterion,
            variance: squares / (n - 1.0),
            independent,
        })
    }
}

/// Several swatches' variation together: the root of the mean variance, weighted by each map's degrees of freedom, with
/// their sum. `None` where no map is worth more than one independent place.
pub fn pooled(swatches: &[PlaceVariation]) -> Option<(f64, f64)> {
    let freedom = |v: &PlaceVariation| (v.independent_places - 1.0).max(0.0);
    let sum: f64 = swatches.iter().map(freedom).sum();
    let squares: f64 = swatches.iter().map(|v| freedom(v) * v.standard_deviation.powi(2)).sum();
    (sum > 0.0).then(|| ((squares / sum).sqrt(), sum))
}
