//! A value and the signed contributions, by named source, that make up its uncertainty; linear propagation.

use super::type_b::Shape;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::ops::{Add, Mul, Neg, Sub};

/// How a contribution was evaluated (JCGM 100:2008, 2.3.2 and 2.3.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Evaluation {
    /// By statistics of repeated observations.
    A,
    /// By other means: limits, a standard, experience.
    B,
}

/// What a contribution comes from. Two contributions with equal sources are one and the same influence: they add with
/// their signs. Influences that are independent must differ in name, in `shared_id` or in `occasion`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Source {
    /// Name of the influence, as a budget shows it.
    pub name: Cow<'static, str>,
    /// Which thing it belongs to when that thing is shared between measurements, such as the name of a ruler.
    pub shared_id: Option<String>,
    /// Which measurement it belongs to, once measurements are put side by side; see [`Uncertain::on_occasion`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub occasion: Option<String>,
}

impl Source {
    /// A source known by name alone: the same within one measurement.
    pub fn named(name: impl Into<Cow<'static, str>>) -> Self {
        Self { name: name.into(), shared_id: None, occasion: None }
    }

    /// A source that belongs to a named thing: the same in all measurements made with it.
    pub fn shared(name: impl Into<Cow<'static, str>>, id: impl Into<String>) -> Self {
        Self { name: name.into(), shared_id: Some(id.into()), occasion: None }
    }
}

/// The part of a value's uncertainty that comes from one source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contribution {
    /// What it comes from.
    pub source: Source,
    /// Signed standard contribution in the value's unit: sensitivity × standard uncertainty of the influence.
    pub standard: f64,
    /// How it was evaluated.
    #[serde(rename = "type")]
    pub evaluation: Evaluation,
    /// Degrees of freedom: how well the standard uncertainty itself is known; infinite when taken as known (null in
    /// JSON).
    #[serde(with = "super::degrees_of_freedom")]
    pub degrees_of_freedom: f64,
    /// Distribution of the influence.
    pub shape: Shape,
}

impl Contribution {
    /// From repeated observations: standard uncertainty `standard` (with the sign of the sensitivity) with the given
    /// degrees of freedom.
    pub fn type_a(source: Source, standard: f64, degrees_of_freedom: f64) -> Self {
        let shape = if degrees_of_freedom.is_finite() { Shape::T } else { Shape::Normal };
        Self { source, standard, evaluation: Evaluation::A, degrees_of_freedom, shape }
    }

    /// From limits ± `half_width` of the given shape times `sensitivity`, the limits taken as known.
    pub fn type_b(source: Source, half_width: f64, shape: Shape, sensitivity: f64) -> Self {
        let standard = sensitivity * shape.standard_uncertainty(half_width);
        Self { source, standard, evaluation: Evaluation::B, degrees_of_freedom: f64::INFINITY, shape }
    }

    /// From a standard uncertainty that is stated elsewhere, as known, of normal shape.
    pub fn stated(source: Source, standard: f64) -> Self {
        Self { source, standard, evaluation: Evaluation::B, degrees_of_freedom: f64::INFINITY, shape: Shape::Normal }
    }

    /// The same with other degrees of freedom.
    pub fn with_degrees_of_freedom(mut self, degrees_of_freedom: f64) -> Self {
        self.degrees_of_freedom = degrees_of_freedom;
        self
    }

    fn scaled(&self, sensitivity: f64) -> Self {
        Self { standard: self.standard * sensitivity, ..self.clone() }
    }

    /// Adds the same influence once more. The shape of the larger part stays; the fewer degrees of freedom count.
    fn absorb(&mut self, other: &Self) {
        if other.standard.abs() > self.standard.abs() {
            self.shape = other.shape;
            self.evaluation = other.evaluation;
        }
        self.standard += other.standard;
        self.degrees_of_freedom = self.degrees_of_freedom.min(other.degrees_of_freedom);
    }
}

/// A value with its uncertainty, kept as signed contributions by source so that shared influences add or cancel by
/// themselves: in rows ÷ stitches the ruler's scale error drops out.
///
/// Propagation is linear (JCGM 100:2008, 5.1.2 and, through the shared sources, 5.2.2); where the model is strongly
/// curved use [`super::propagate_distributions`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Uncertain {
    /// The nominal value.
    pub value: f64,
    /// One contribution a source.
    pub contributions: Vec<Contribution>,
}

impl Uncertain {
    /// A value without uncertainty.
    pub fn exact(value: f64) -> Self {
        Self { value, contributions: Vec::new() }
    }

    /// The same value with one more contribution, in the value's unit.
    pub fn with(mut self, contribution: Contribution) -> Self {
        self.add_contribution(&contribution);
        self
    }

    /// The same value with one more contribution, stated relative to the value (0.01 = 1 %).
    pub fn with_relative(self, contribution: Contribution) -> Self {
        let value = self.value;
        self.with(contribution.scaled(value))
    }

    /// Linear propagation through any function: its value, and its arguments with the partial derivative by each.
    pub fn combine(value: f64, arguments: &[(&Self, f64)]) -> Self {
        let mut out = Self::exact(value);
        for (argument, sensitivity) in arguments {
            for contribution in &argument.contributions {
                out.add_contribution(&contribution.scaled(*sensitivity));
            }
        }
        out
    }

    /// The same, as one of several measurements put side by side: sources without a shared identity are marked as
    /// belonging to this occasion, so that they add in quadrature with those of other occasions.
    pub fn on_occasion(mut self, occasion: &str) -> Self {
        for contribution in &mut self.contributions {
            if contribution.source.shared_id.is_none() {
                contribution.source.occasion = Some(occasion.to_owned());
            }
        }
        self
    }

    /// The value times a number without uncertainty.
    pub fn scaled(&self, factor: f64) -> Self {
        Self::combine(self.value * factor, &[(self, factor)])
    }

    /// The value plus a number without uncertainty.
    pub fn shifted(&self, by: f64) -> Self {
        Self { value: self.value + by, ..self.clone() }
    }

    /// The quotient; `None` where the divisor is zero.
    pub fn divided_by(&self, divisor: &Self) -> Option<Self> {
        let d = divisor.value;
        (d != 0.0).then(|| Self::combine(self.value / d, &[(self, 1.0 / d), (divisor, -self.value / (d * d))]))
    }

    /// An integer power; `None` for zero to a power below one, where there is no finite value or sensitivity.
    pub fn powi(&self, exponent: i32) -> Option<Self> {
        (self.value != 0.0 || exponent >= 1).then(|| {
            Self::combine(
                self.value.powi(exponent),
                &[(self, f64::from(exponent) * self.value.powi(exponent.saturating_sub(1)))],
            )
        })
    }

    /// The square root; `None` unless the value is positive.
    pub fn sqrt(&self) -> Option<Self> {
        (self.value > 0.0).then(|| Self::combine(self.value.sqrt(), &[(self, 0.5 / self.value.sqrt())]))
    }

    /// The natural logarithm; `None` unless the value is positive.
    pub fn ln(&self) -> Option<Self> {
        (self.value > 0.0).then(|| Self::combine(self.value.ln(), &[(self, 1.0 / self.value)]))
    }

    /// The exponential.
    pub fn exp(&self) -> Self {
        let e = self.value.exp();
        Self::combine(e, &[(self, e)])
    }

    /// The arithmetic mean of several values; `None` for none.
    pub fn mean(values: &[Self]) -> Option<Self> {
        let weight = 1.0 / values.len() as f64;
        let arguments: Vec<_> = values.iter().map(|v| (v, weight)).collect();
        (!values.is_empty()).then(|| Self::combine(values.iter().map(|v| v.value * weight).sum(), &arguments))
    }

    /// Combined standard uncertainty, in the value's unit: the root sum of squares of the contributions.
    pub fn standard_uncertainty(&self) -> f64 {
        self.contributions.iter().map(|c| c.standard * c.standard).sum::<f64>().sqrt()
    }

    /// Standard uncertainty relative to the value's size (0.01 = 1 %); `None` for a value of zero.
    pub fn relative_standard_uncertainty(&self) -> Option<f64> {
        (self.value != 0.0).then(|| self.standard_uncertainty() / self.value.abs())
    }

    /// Correlation with another value through shared sources, −1 to 1; `None` if one of the two has no uncertainty.
    pub fn correlation(&self, other: &Self) -> Option<f64> {
        let both = self.standard_uncertainty() * other.standard_uncertainty();
        let shared = self
            .contributions
            .iter()
            .filter_map(|c| other.contributions.iter().find(|o| o.source == c.source).map(|o| o.standard * c.standard));
        (both > 0.0).then(|| shared.sum::<f64>() / both)
    }

    /// Effective degrees of freedom, Welch (1947) and Satterthwaite (1946), JCGM 100:2008 G.4.1; infinite when no
    /// contribution limits them.
    pub fn effective_degrees_of_freedom(&self) -> f64 {
        effective_degrees_of_freedom(self.contributions.iter())
    }

    fn add_contribution(&mut self, contribution: &Contribution) {
        match self.contributions.iter_mut().find(|c| c.source == contribution.source) {
            Some(known) => known.absorb(contribution),
            None => self.contributions.push(contribution.clone()),
        }
    }
}

/// The Welch–Satterthwaite formula over some contributions; shares of the variance keep it free of underflow.
pub(super) fn effective_degrees_of_freedom<'a>(contributions: impl Iterator<Item = &'a Contribution> + Clone) -> f64 {
    let variance: f64 = contributions.clone().map(|c| c.standard * c.standard).sum();
    if variance <= 0.0 {
        return f64::INFINITY;
    }
    let limited: f64 = contributions
        .filter(|c| c.standard != 0.0)
        .map(|c| (c.standard * c.standard / variance).powi(2) / c.degrees_of_freedom)
        .sum();
    if limited > 0.0 { 1.0 / limited } else { f64::INFINITY }
}

impl Add for &Uncertain {
    type Output = Uncertain;
    fn add(self, other: Self) -> Uncertain {
        Uncertain::combine(self.value + other.value, &[(self, 1.0), (other, 1.0)])
    }
}

impl Sub for &Uncertain {
    type Output = Uncertain;
    fn sub(self, other: Self) -> Uncertain {
        Uncertain::combine(self.value - other.value, &[(self, 1.0), (other, -1.0)])
    }
}

impl Mul for &Uncertain {
    type Output = Uncertain;
    fn mul(self, other: Self) -> Uncertain {
        Uncertain::combine(self.value * other.value, &[(self, other.value), (other, self.value)])
    }
}

impl Neg for &Uncertain {
    type Output = Uncertain;
    fn neg(self) -> Uncertain {
        self.scaled(-1.0)
    }
}
