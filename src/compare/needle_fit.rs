//! How the gauge follows the needle, from swatches of one yarn and stitch pattern on several sizes.
//!
//! The *size* of a stitch, 100 mm ÷ gauge, grows with the needle it is formed on; over a few sizes it is taken as a
//! straight line in the needle's diameter (a stated choice: the loop is laid around the needle). Each swatch is
//! weighted by how well it was measured. Swatches scatter about the line by more than their measuring: the scatter
//! seen, never less than the measuring's, carries the prediction, with Student's t for swatches − 2 degrees of freedom.
//! With three swatches that makes wide intervals, as it should.

use super::gauge::MeasuredGauge;
use super::needle_sizes::STANDARD_SIZES_MM;
use super::weighted_line::WeightedLine;
use crate::quantity::{Confidence, Contribution, Expanded, Source, Uncertain};
use serde::{Deserialize, Serialize};
use std::fmt;

/// A swatch on one needle size.
#[derive(Debug, Clone, PartialEq)]
pub struct NeedleSwatch {
    /// Diameter of the needle, in mm.
    pub needle_mm: f64,
    /// Its gauge.
    pub gauge: MeasuredGauge,
}

/// Fewest different sizes that show how the gauge follows the needle: two always lie on a line.
const FEWEST_SIZES: usize = 3;

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NeedleFitError {
    /// Swatches on fewer than three different sizes.
    TooFewSizes {
        /// Different sizes there are.
        sizes: usize,
    },
    /// A needle size or gauge is not a positive number with an uncertainty.
    NotAGauge,
}

impl fmt::Display for NeedleFitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewSizes { sizes } => write!(
                f,
                "swatches on {FEWEST_SIZES} different needle sizes or more are needed to see how the gauge follows the \
                 needle; there {} {sizes}",
                if *sizes == 1 { "is" } else { "are" }
            ),
            Self::NotAGauge => f.write_str("a needle size or gauge is not a positive number with an uncertainty"),
        }
    }
}

/// How stitches and rows follow the needle.
#[derive(Debug, Clone, PartialEq)]
pub struct NeedleFit {
    stitches: Axis,
    rows: Axis,
    /// The needle sizes of the swatches, in mm, each once, rising.
    pub sizes_mm: Vec<f64>,
    /// Swatches in the fit.
    pub swatches: usize,
}

/// What another swatch on some needle would give.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Stitches per 10 cm.
    pub stitches_per_10cm: Uncertain,
    /// Rows per 10 cm.
    pub rows_per_10cm: Uncertain,
}

/// A gauge that is wanted, and how far from it is still right.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Wanted {
    /// Stitches per 10 cm.
    pub stitches_per_10cm: f64,
    /// ± stitches per 10 cm.
    pub stitches_tolerance: f64,
    /// Rows per 10 cm; `None` when any will do.
    pub rows_per_10cm: Option<f64>,
    /// ± rows per 10 cm.
    pub rows_tolerance: f64,
}

/// A standard size and what another swatch on it would give.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SizeChoice {
    /// Diameter, in mm.
    pub needle_mm: f64,
    /// Stitches per 10 cm, with the 95 % interval of another swatch.
    pub stitches_per_10cm: Expanded,
    /// Rows per 10 cm, likewise.
    pub rows_per_10cm: Expanded,
    /// Probability that the stitches of another swatch are as wanted.
    pub stitches_probability: f64,
    /// Probability that its rows are; `None` when any will do.
    pub rows_probability: Option<f64>,
    /// Whether the size lies outside those that were tried.
    pub beyond_those_tried: bool,
}

impl NeedleFit {
    /// Fits both axes. Order does not matter. Errors for fewer than three different sizes or numbers that are no gauge.
    pub fn of(swatches: &[NeedleSwatch]) -> Result<Self, NeedleFitError> {
        let mut sizes_mm: Vec<f64> = swatches.iter().map(|s| s.needle_mm).collect();
        if sizes_mm.iter().any(|mm| !(*mm > 0.0 && mm.is_finite())) {
            return Err(NeedleFitError::NotAGauge);
        }
        sizes_mm.sort_by(f64::total_cmp);
        sizes_mm.dedup();
        if sizes_mm.len() < FEWEST_SIZES {
            return Err(NeedleFitError::TooFewSizes { sizes: sizes_mm.len() });
        }
        let axis = |of: fn(&MeasuredGauge) -> &Uncertain| {
            let points: Vec<(f64, &Uncertain)> = swatches.iter().map(|s| (s.needle_mm, of(&s.gauge))).collect();
            Axis::fit(&points).ok_or(NeedleFitError::NotAGauge)
        };
        Ok(Self {
            stitches: axis(|g| &g.stitches_per_10cm)?,
            rows: axis(|g| &g.rows_per_10cm)?,
            sizes_mm,
            swatches: swatches.len(),
        })
    }

    /// What another swatch on a needle of `needle_mm` would give; `None` where the line leaves the positive.
    pub fn at(&self, needle_mm: f64) -> Option<Prediction> {
        Some(Prediction {
            stitches_per_10cm: self.stitches.gauge_at(needle_mm)?,
            rows_per_10cm: self.rows.gauge_at(needle_mm)?,
        })
    }

    /// Growth of the stitch's width for one mm of needle, in mm, with its 95 % interval.
    pub fn width_per_needle_mm(&self) -> Expanded {
        self.stitches.slope().expanded(Confidence::P95)
    }

    /// Whether a larger needle surely made larger stitches here: without that the fit says nothing about needles.
    pub fn needle_shows(&self) -> bool {
        self.width_per_needle_mm().interval().0 > 0.0
    }

    /// The standard sizes from one below to one above those that were tried, the likeliest to meet the wanted stitches
    /// first.
    pub fn choices(&self, wanted: Wanted) -> Vec<SizeChoice> {
        let mut choices: Vec<SizeChoice> = self.near_sizes().filter_map(|mm| self.choice(mm, wanted)).collect();
        choices.sort_by(|a, b| b.stitches_probability.total_cmp(&a.stitches_probability));
        choices
    }

    fn choice(&self, needle_mm: f64, wanted: Wanted) -> Option<SizeChoice> {
        let next = self.at(needle_mm)?;
        let meets = |value: &Uncertain, wish: f64, tolerance: f64| {
            value.probability_between(wish - tolerance, wish + tolerance)
        };
        Some(SizeChoice {
            needle_mm,
            stitches_per_10cm: next.stitches_per_10cm.expanded(Confidence::P95),
            rows_per_10cm: next.rows_per_10cm.expanded(Confidence::P95),
            stitches_probability: meets(&next.stitches_per_10cm, wanted.stitches_per_10cm, wanted.stitches_tolerance),
            rows_probability: wanted.rows_per_10cm.map(|wish| meets(&next.rows_per_10cm, wish, wanted.rows_tolerance)),
            beyond_those_tried: needle_mm < self.smallest() || needle_mm > self.largest(),
        })
    }

    fn near_sizes(&self) -> impl Iterator<Item = f64> {
        let (smallest, largest) = (self.smallest(), self.largest());
        let below = STANDARD_SIZES_MM.into_iter().rfind(|mm| *mm < smallest).unwrap_or(smallest);
        let above = STANDARD_SIZES_MM.into_iter().find(|mm| *mm > largest).unwrap_or(largest);
        STANDARD_SIZES_MM.into_iter().filter(move |mm| (below..=above).contains(mm))
    }

    fn smallest(&self) -> f64 {
        self.sizes_mm.first().copied().unwrap_or_default()
    }

    fn largest(&self) -> f64 {
        self.sizes_mm.last().copied().unwrap_or_default()
    }
}

/// One axis: the size of a stitch (its width, or a row's height) in mm against the needle.
#[derive(Debug, Clone, PartialEq)]
struct Axis {
    line: WeightedLine,
    /// The stitch sizes with the parts of their uncertainty that are shared between swatches.
    shared: Vec<Uncertain>,
    /// Variance of one more swatch, in mm².
    one_swatch_variance: f64,
    /// Factor on all standard uncertainties from scatter, at least 1.
    scatter: f64,
}

impl Axis {
    fn fit(swatches: &[(f64, &Uncertain)]) -> Option<Self> {
        let sizes: Vec<Uncertain> =
            swatches.iter().map(|(_, gauge)| Uncertain::exact(100.0).divided_by(gauge)).collect::<Option<_>>()?;
        let own = |size: &Uncertain| part(size, false).standard_uncertainty();
        let points: Vec<(f64, f64, f64)> =
            swatches.iter().zip(&sizes).map(|((mm, _), size)| (*mm, size.value, own(size))).collect();
        let line = WeightedLine::fit(&points)?;
        Some(Self {
            scatter: line.scatter_ratio().max(1.0),
            one_swatch_variance: line.height_variance * swatches.len() as f64,
            shared: sizes.iter().map(|size| part(size, true)).collect(),
            line,
        })
    }

    /// The size of the next swatch's stitch turned into a gauge.
    fn gauge_at(&self, needle_mm: f64) -> Option<Uncertain> {
        let variance = self.line.variance_at(needle_mm) + self.one_swatch_variance;
        let scatter = self.type_a("scatter of the swatches", variance);
        let size = self.with_shared(self.line.at(needle_mm), &self.line.sensitivities_at(needle_mm)).with(scatter);
        (size.value > 0.0).then(|| Uncertain::exact(100.0).divided_by(&size)).flatten()
    }

    fn slope(&self) -> Uncertain {
        let (here, there) = (self.line.sensitivities_at(0.0), self.line.sensitivities_at(1.0));
        let sensitivities: Vec<f64> = there.iter().zip(&here).map(|(t, h)| t - h).collect();
        let scatter = self.type_a("scatter of the swatches", self.line.slope_variance);
        self.with_shared(self.line.slope, &sensitivities).with(scatter)
    }

    fn type_a(&self, name: &'static str, variance: f64) -> Contribution {
        Contribution::type_a(Source::named(name), self.scatter * variance.sqrt(), self.line.degrees_of_freedom)
    }

    fn with_shared(&self, value: f64, sensitivities: &[f64]) -> Uncertain {
        let arguments: Vec<(&Uncertain, f64)> = self.shared.iter().zip(sensitivities.iter().copied()).collect();
        Uncertain::combine(value, &arguments)
    }
}

/// The part of a value's uncertainty that is shared with other measurements, or the part that is not.
fn part(value: &Uncertain, shared: bool) -> Uncertain {
    let contributions = value.contributions.iter().filter(|c| c.source.shared_id.is_some() == shared);
    Uncertain { value: value.value, contributions: contributions.cloned().collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn swatch(needle_mm: f64, stitches: f64, occasion: &str) -> NeedleSwatch {
        let value = |value: f64| {
            Uncertain::exact(value)
                .with_relative(Contribution::stated(Source::named("own"), 0.005))
                .with_relative(Contribution::stated(Source::shared("ruler", "steel".to_owned()), 0.003))
                .on_occasion(occasion)
        };
        let gauge = MeasuredGauge {
            stitches_per_10cm: value(stitches),
            rows_per_10cm: value(stitches * 1.35),
            between_fabrics: None,
        };
        NeedleSwatch { needle_mm, gauge }
    }

    /// Stitches whose width is exactly 1.5 mm + 0.7 × the needle.
    fn on_a_line() -> Vec<NeedleSwatch> {
        let sizes = [3.0, 3.5, 4.0, 4.5, 5.0];
        sizes.iter().map(|mm| swatch(*mm, 100.0 / (1.5 + 0.7 * mm), &format!("{mm}"))).collect()
    }

    #[test]
    fn an_exact_line_is_found_and_the_wanted_needle_named() {
        let fit = NeedleFit::of(&on_a_line()).unwrap();
        assert!((fit.width_per_needle_mm().value - 0.7).abs() < 1e-9 && fit.needle_shows());
        let at = fit.at(3.75).unwrap();
        assert!((at.stitches_per_10cm.value - 100.0 / 4.125).abs() < 1e-9);
        let wanted = Wanted {
            stitches_per_10cm: 100.0 / (1.5 + 0.7 * 3.75),
            stitches_tolerance: 0.5,
            rows_per_10cm: None,
            rows_tolerance: 0.5,
        };
        let choices = fit.choices(wanted);
        assert_eq!(choices[0].needle_mm, 3.75);
        assert!(choices[0].stitches_probability > 0.8 && choices[0].rows_probability.is_none());
        let sizes: Vec<f64> = choices.iter().map(|c| c.needle_mm).collect();
        assert!(sizes.contains(&2.75) && sizes.contains(&5.5) && !sizes.contains(&2.5) && !sizes.contains(&6.0));
        assert!(choices.iter().all(|c| c.beyond_those_tried == (c.needle_mm < 3.0 || c.needle_mm > 5.0)));
    }

    #[test]
    fn a_shared_ruler_stays_in_the_prediction_whatever_the_number_of_swatches() {
        let fit = NeedleFit::of(&on_a_line()).unwrap();
        let at = fit.at(4.0).unwrap().stitches_per_10cm;
        let ruler = at.contributions.iter().find(|c| c.source.shared_id.is_some()).unwrap();
        assert!((ruler.standard.abs() / at.value - 0.003).abs() < 1e-9);
    }

    #[test]
    fn fewer_than_three_sizes_are_refused() {
        let two = [swatch(3.0, 25.0, "a"), swatch(3.0, 25.2, "b"), swatch(4.0, 22.0, "c"), swatch(4.0, 22.1, "d")];
        assert_eq!(NeedleFit::of(&two).unwrap_err(), NeedleFitError::TooFewSizes { sizes: 2 });
        assert_eq!(NeedleFit::of(&[]).unwrap_err(), NeedleFitError::TooFewSizes { sizes: 0 });
        assert_eq!(NeedleFit::of(&[swatch(f64::NAN, 25.0, "a")]).unwrap_err(), NeedleFitError::NotAGauge);
    }

    #[test]
    fn a_gauge_that_does_not_follow_the_needle_is_seen() {
        let none = [swatch(3.0, 22.0, "a"), swatch(3.5, 22.4, "b"), swatch(4.0, 21.9, "c"), swatch(4.5, 22.2, "d")];
        assert!(!NeedleFit::of(&none).unwrap().needle_shows());
    }
}
