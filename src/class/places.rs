//! How the gauge varies from place to place within one swatch, from its local map.
//!
//! The map's cells are no replicates: fabric that is tight here is tight a centimetre on, and neighbouring cells even share
//! stitches. Let the local gauge be a field of variance s² whose correlation falls off as exp(−d/L), R(L) the cells'
//! correlation matrix and y their gauges. The restricted likelihood is highest where
//!
//! L is the length for which log|R| + log(1'R⁻¹1) + (n − 1) log(y'Py) is smallest,
//! P = R⁻¹ − R⁻¹1(1'R⁻¹1)⁻¹1'R⁻¹
//!
//! (Kitanidis 1983: unlike binned correlations it allows for the mean that was taken from the same cells). What is asked is
//! how far places lie from *this swatch's* mean: the mean square of the cells about their own mean. With C = I − 11'/n its
//! expectation is s² tr(CR)/n, and it varies as chi-squared with
//!
//! ν = tr(CR)² / |CRC|²
//!
//! degrees of freedom would (Satterthwaite 1946; |·|² the sum of squared elements). Independent cells would give n − 1; so
//! the map is worth ν + 1 independent places. A slow trend over the whole swatch is worth two or three, however many cells
//! show it. Reading a small place has noise of its own, which is in the result: it is an upper limit of what the fabric does.

use super::reading::Place;
use nalgebra::{DMatrix, DVector};
use serde::Serialize;

/// Variation of one swatch's gauge from place to place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PlaceVariation {
    /// Standard deviation of places about this swatch's mean, per 10 cm.
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
    let mean = values.mean();
    Some(PlaceVariation {
        standard_deviation: (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n as f64).sqrt(),
        alike_over_mm: best.length_mm,
        places: n,
        independent_places: 1.0 + freedom(&distance.map(|d| (-d / best.length_mm).exp())),
    })
}

/// Degrees of freedom of the squares about their own mean of values that are correlated so.
pub fn freedom(alike: &DMatrix<f64>) -> f64 {
    let n = alike.nrows() as f64;
    let (rows, all) = (alike.row_mean(), alike.mean());
    let centred = DMatrix::from_fn(alike.nrows(), alike.ncols(), |i, j| alike[(i, j)] - rows[i] - rows[j] + all);
    let trace = centred.trace();
    let squares = centred.norm_squared();
    if squares > 0.0 { (trace * trace / squares).min(n - 1.0) } else { 0.0 }
}

/// The restricted likelihood at one correlation length.
struct Fit {
    length_mm: f64,
    criterion: f64,
}

impl Fit {
    fn at(distance: &DMatrix<f64>, values: &DVector<f64>, length_mm: f64) -> Option<Self> {
        let n = values.len() as f64;
        let factor = distance.map(|d| (-d / length_mm).exp()).cholesky()?;
        let log_determinant = 2.0 * factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let weights = factor.solve(&DVector::from_element(values.len(), 1.0));
        let information = weights.sum();
        let side = weights.dot(values);
        let squares = values.dot(&factor.solve(values)) - side * side / information;
        let criterion = log_determinant + information.ln() + (n - 1.0) * squares.ln();
        (squares > 0.0 && criterion.is_finite()).then_some(Self { length_mm, criterion })
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
