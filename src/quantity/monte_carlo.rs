//! Propagation of distributions through any model by drawing (JCGM 101:2008), for models that are too curved for the
//! linear law. Deterministic: the same seed gives the same numbers.

use super::coverage::Confidence;
use super::type_b::Shape;
use super::uncertain::{Contribution, Source, Uncertain};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal, StudentT};
use std::f64::consts::TAU;

/// The drawn values of a model, sorted.
#[derive(Debug, Clone, PartialEq)]
pub struct MonteCarlo {
    /// The model's values, from small to large; never empty.
    sorted: Vec<f64>,
}

/// Draws the model `draws` times with its arguments varied within their contributions; a source that several arguments
/// share is drawn once for all of them. `None` when the model had no finite value in more than one draw of a hundred,
/// or fewer than two draws were asked for.
pub fn propagate_distributions(
    arguments: &[&Uncertain],
    model: impl Fn(&[f64]) -> Option<f64>,
    draws: usize,
    seed: u64,
) -> Option<MonteCarlo> {
    let sources = Sources::of(arguments);
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut values = vec![0.0; arguments.len()];
    let mut sorted = Vec::with_capacity(draws);
    for _ in 0..draws {
        sources.draw(arguments, &mut rng, &mut values);
        sorted.extend(model(&values).filter(|v| v.is_finite()));
    }
    sorted.sort_by(f64::total_cmp);
    (draws >= 2 && sorted.len() * 100 >= draws * 99).then_some(MonteCarlo { sorted })
}

impl MonteCarlo {
    /// Mean of the drawn values.
    pub fn mean(&self) -> f64 {
        self.sorted.iter().sum::<f64>() / self.sorted.len() as f64
    }

    /// Standard deviation of the drawn values: the standard uncertainty of the model's value.
    pub fn standard_uncertainty(&self) -> f64 {
        let mean = self.mean();
        let squares: f64 = self.sorted.iter().map(|v| (v - mean).powi(2)).sum();
        (squares / (self.sorted.len() as f64 - 1.0)).sqrt()
    }

    /// The probabilistically symmetric coverage interval (JCGM 101:2008, 7.7).
    pub fn interval(&self, confidence: Confidence) -> (f64, f64) {
        let tail = (1.0 - confidence.fraction()) / 2.0;
        (self.quantile(tail), self.quantile(1.0 - tail))
    }

    /// The share of draws for which `holds` is true, 0 to 1.
    pub fn probability(&self, holds: impl Fn(f64) -> bool) -> f64 {
        self.sorted.iter().filter(|v| holds(**v)).count() as f64 / self.sorted.len() as f64
    }

    fn quantile(&self, probability: f64) -> f64 {
        let last = self.sorted.len() - 1;
        let at = probability * last as f64;
        let low = (at.floor() as usize).min(last);
        let high = (low + 1).min(last);
        self.sorted[low] + (self.sorted[high] - self.sorted[low]) * (at - low as f64)
    }
}

/// The distinct sources of several values, and for each contribution of each value the number of its source.
struct Sources<'a> {
    distinct: Vec<&'a Contribution>,
    numbers: Vec<Vec<usize>>,
}

impl<'a> Sources<'a> {
    fn of(arguments: &[&'a Uncertain]) -> Self {
        let mut distinct: Vec<&Contribution> = Vec::new();
        let mut number = |c: &'a Contribution| {
            let same = |known: &&Contribution| -> bool { source_of(known) == &c.source };
            distinct.iter().position(same).unwrap_or_else(|| {
                distinct.push(c);
                distinct.len() - 1
            })
        };
        let numbers = arguments.iter().map(|a| a.contributions.iter().map(&mut number).collect()).collect();
        Self { distinct, numbers }
    }

    /// One joint draw of all arguments.
    fn draw(&self, arguments: &[&Uncertain], rng: &mut ChaCha8Rng, values: &mut [f64]) {
        let drawn: Vec<f64> = self.distinct.iter().map(|c| standard_draw(c, rng)).collect();
        for ((value, argument), numbers) in values.iter_mut().zip(arguments).zip(&self.numbers) {
            let moved = argument.contributions.iter().zip(numbers).map(|(c, &n)| c.standard * drawn[n]);
            *value = argument.value + moved.sum::<f64>();
        }
    }
}

fn source_of(contribution: &Contribution) -> &Source {
    &contribution.source
}

/// A draw in units of the standard uncertainty.
fn standard_draw(contribution: &Contribution, rng: &mut ChaCha8Rng) -> f64 {
    match contribution.shape {
        Shape::Rectangular => 3f64.sqrt() * rng.random_range(-1.0..1.0),
        Shape::Triangular => 6f64.sqrt() * (rng.random_range(-0.5..0.5) + rng.random_range(-0.5..0.5)),
        Shape::Arcsine => 2f64.sqrt() * rng.random_range(0.0..TAU).cos(),
        Shape::T => match StudentT::new(contribution.degrees_of_freedom) {
            Ok(t) if contribution.degrees_of_freedom.is_finite() => t.sample(rng),
            _ => StandardNormal.sample(rng),
        },
        Shape::Normal => StandardNormal.sample(rng),
    }
}
