//! One measured gauge as two uncertain values, rebuilt from what was kept of it.

use crate::quantity::{Confidence, Contribution, Expanded, Shape, Source, Uncertain};
use crate::record::{self, Record};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Stitches and rows per 10 cm of one swatch, with the sources of their uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredGauge {
    /// Stitches in 10 cm along the row.
    pub stitches_per_10cm: Uncertain,
    /// Rows in 10 cm along the wale.
    pub rows_per_10cm: Uncertain,
    /// How another fabric knitted alike differs; `None` where nothing of it was seen, as with a hand count.
    pub between_fabrics: Option<BetweenFabrics>,
}

/// How another 10 × 10 cm knitted alike differs from the fabric that was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BetweenFabrics {
    /// Relative standard deviation of the stitches.
    pub stitches: f64,
    /// Relative standard deviation of the rows.
    pub rows: f64,
    /// Distance over which neighbouring places are alike, in mm.
    pub correlation_mm: f64,
}

/// A value someone states with its uncertainty, without where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StatedValue {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty, in the value's unit.
    pub standard_uncertainty: f64,
    /// Degrees of freedom; `None` when taken as known.
    pub degrees_of_freedom: Option<f64>,
    /// Half-width of the 95 % interval where that is stated too; otherwise it follows from the other two.
    #[serde(default)]
    pub half_width_95: Option<f64>,
}

impl StatedValue {
    /// The value with its 95 % interval, as stated.
    pub fn expanded(&self) -> Expanded {
        let follows = whole(*self).expanded(Confidence::P95);
        match self.half_width_95 {
            Some(half_width) if self.standard_uncertainty > 0.0 => Expanded {
                expanded_uncertainty: half_width,
                coverage_factor: half_width / self.standard_uncertainty,
                ..follows
            },
            _ => follows,
        }
    }
}

/// Why a measurement can't be compared.
#[derive(Debug, Clone, PartialEq)]
pub enum GaugeError {
    /// It holds no gauge: the photo was refused.
    NotMeasured,
    /// A number in it is not one that a gauge can have.
    NotAGauge,
    /// The parts of its uncertainty don't add up to the whole it states.
    BudgetDoesNotAddUp {
        /// Relative standard uncertainty that is stated.
        stated: f64,
        /// Root sum of squares of the parts, relative.
        parts: f64,
    },
}

impl fmt::Display for GaugeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotMeasured => f.write_str("it holds no gauge: the photo was refused"),
            Self::NotAGauge => f.write_str("its gauge is not a positive number with an uncertainty"),
            Self::BudgetDoesNotAddUp { stated, parts } => write!(
                f,
                "its uncertainty is stated as {:.3} %, but its parts make {:.3} %",
                100.0 * stated,
                100.0 * parts
            ),
        }
    }
}

/// How far the parts may be from the stated whole: records are unrounded, so this is for numbers that someone rounded.
const BUDGET_TOLERANCE: f64 = 0.01;

impl MeasuredGauge {
    /// From the record of a measured photo. The parts of its budget keep their names and what they share; a record
    /// without a budget gives one part, its whole uncertainty. `occasion` marks what belongs to this measurement alone
    /// and must differ between measurements.
    pub fn from_record(record: &Record, occasion: &str) -> Result<Self, GaugeError> {
        let gauge = record.gauge.as_ref().ok_or(GaugeError::NotMeasured)?;
        let value = |of: &Expanded, percent: fn(&record::Contribution) -> f64| {
            uncertain(of, &record.budget, percent).map(|v| v.on_occasion(occasion))
        };
        let extra = |next: &Expanded, own: &Expanded| {
            (next.standard_uncertainty.powi(2) - own.standard_uncertainty.powi(2)).max(0.0).sqrt() / own.value
        };
        let between_fabrics = gauge.next_fabric.as_ref().map(|next| BetweenFabrics {
            stitches: extra(&next.stitches_per_10cm, &gauge.stitches_per_10cm),
            rows: extra(&next.rows_per_10cm, &gauge.rows_per_10cm),
            correlation_mm: next.variation.correlation_mm,
        });
        Ok(Self {
            stitches_per_10cm: value(&gauge.stitches_per_10cm, |c| c.stitches_percent)?,
            rows_per_10cm: value(&gauge.rows_per_10cm, |c| c.rows_percent)?,
            between_fabrics,
        })
    }

    /// From two stated values.
    pub fn stated(stitches: StatedValue, rows: StatedValue, occasion: &str) -> Result<Self, GaugeError> {
        let value = |of: StatedValue| {
            let sound = of.value > 0.0 && of.value.is_finite() && of.standard_uncertainty >= 0.0;
            let finite = of.standard_uncertainty.is_finite()
                && of.degrees_of_freedom.is_none_or(|d| d > 0.0)
                && of.half_width_95.is_none_or(|h| h >= 0.0 && h.is_finite());
            (sound && finite).then(|| whole(of).on_occasion(occasion)).ok_or(GaugeError::NotAGauge)
        };
        Ok(Self { stitches_per_10cm: value(stitches)?, rows_per_10cm: value(rows)?, between_fabrics: None })
    }

    /// The gauge of another 10 × 10 cm knitted alike; `None` where nothing is known of how the fabric varies.
    pub fn of_next_fabric(&self, occasion: &str) -> Option<Self> {
        let BetweenFabrics { stitches, rows, .. } = self.between_fabrics?;
        let with = |value: &Uncertain, relative: f64| {
            let own = Contribution::stated(Source::named("the next fabric"), value.value * relative);
            value.clone().with(own).on_occasion(occasion)
        };
        Some(Self {
            stitches_per_10cm: with(&self.stitches_per_10cm, stitches),
            rows_per_10cm: with(&self.rows_per_10cm, rows),
            between_fabrics: self.between_fabrics,
        })
    }
}

fn uncertain(
    of: &Expanded,
    budget: &[record::Contribution],
    percent: fn(&record::Contribution) -> f64,
) -> Result<Uncertain, GaugeError> {
    if !(of.value > 0.0 && of.value.is_finite() && of.standard_uncertainty >= 0.0) {
        return Err(GaugeError::NotAGauge);
    }
    if budget.is_empty() {
        let degrees_of_freedom = of.degrees_of_freedom.is_finite().then_some(of.degrees_of_freedom);
        return Ok(whole(StatedValue {
            value: of.value,
            standard_uncertainty: of.standard_uncertainty,
            degrees_of_freedom,
            half_width_95: None,
        }));
    }
    let parts = budget
        .iter()
        .fold(Uncertain::exact(of.value), |sum, part| sum.with(contribution(part, of.value * percent(part) / 100.0)));
    let (stated, summed) = (of.standard_uncertainty / of.value, parts.standard_uncertainty() / of.value);
    if (summed - stated).abs() <= BUDGET_TOLERANCE * stated {
        Ok(parts)
    } else {
        Err(GaugeError::BudgetDoesNotAddUp { stated, parts: summed })
    }
}

fn contribution(part: &record::Contribution, standard: f64) -> Contribution {
    let source = match &part.shared_id {
        Some(id) => Source::shared(part.source.clone(), id.clone()),
        None => Source::named(part.source.clone()),
    };
    let degrees_of_freedom = part.degrees_of_freedom.unwrap_or(f64::INFINITY);
    Contribution {
        source,
        standard,
        evaluation: part.evaluation,
        degrees_of_freedom,
        shape: part.shape.unwrap_or(if degrees_of_freedom.is_finite() { Shape::T } else { Shape::Normal }),
    }
}

fn whole(of: StatedValue) -> Uncertain {
    let source = Source::named("uncertainty as stated");
    let part = match of.degrees_of_freedom {
        Some(degrees) => Contribution::type_a(source, of.standard_uncertainty, degrees),
        None => Contribution::stated(source, of.standard_uncertainty),
    };
    Uncertain::exact(of.value).with(part)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Evaluation;
    use crate::record::{Gauge, NextFabric, PhotoFacts, Status, Variation};

    fn expanded(value: f64, u: f64) -> Expanded {
        Uncertain::exact(value).with(Contribution::stated(Source::named("x"), u)).expanded(Confidence::P95)
    }

    fn record(parts: &[(f64, f64)]) -> Record {
        let mut record = Record::new(Status::Measured, PhotoFacts::default());
        record.gauge = Some(Gauge {
            stitches_per_10cm: expanded(20.0, 0.1),
            rows_per_10cm: expanded(30.0, 0.15),
            next_fabric: Some(NextFabric {
                stitches_per_10cm: expanded(20.0, 0.125),
                rows_per_10cm: expanded(30.0, 0.25),
                variation: Variation { between_places_percent: [1.0, 1.0], correlation_mm: 30.0 },
            }),
        });
        record.budget = parts
            .iter()
            .enumerate()
            .map(|(i, &(stitches_percent, rows_percent))| record::Contribution {
                source: format!("source {i}"),
                evaluation: Evaluation::B,
                shared_id: (i == 0).then(|| "steel 30".to_owned()),
                stitches_percent,
                rows_percent,
                degrees_of_freedom: None,
                shape: None,
            })
            .collect();
        record
    }

    #[test]
    fn budget_is_taken_over_source_by_source() {
        let gauge = MeasuredGauge::from_record(&record(&[(0.3, -0.3), (0.4, 0.4)]), "a").unwrap();
        assert!((gauge.stitches_per_10cm.standard_uncertainty() - 0.1).abs() < 1e-12);
        assert_eq!(gauge.stitches_per_10cm.contributions[0].source.occasion, None);
        assert_eq!(gauge.stitches_per_10cm.contributions[1].source.occasion.as_deref(), Some("a"));
        assert!(gauge.rows_per_10cm.contributions[0].standard < 0.0);
        // √(0.125² − 0.1²) / 20 and √(0.25² − 0.15²) / 30.
        let BetweenFabrics { stitches, rows, .. } = gauge.between_fabrics.unwrap();
        assert!((stitches - 0.00375).abs() < 1e-12 && (rows - 0.2 / 30.0).abs() < 1e-12);
        let next = gauge.of_next_fabric("a").unwrap();
        assert!((next.rows_per_10cm.standard_uncertainty() - 0.25).abs() < 1e-12);
    }

    #[test]
    fn without_a_budget_the_whole_is_one_part() {
        let gauge = MeasuredGauge::from_record(&record(&[]), "a").unwrap();
        assert_eq!(gauge.rows_per_10cm.contributions.len(), 1);
        assert!((gauge.rows_per_10cm.standard_uncertainty() - 0.15).abs() < 1e-15);
    }

    #[test]
    fn what_does_not_add_up_is_refused() {
        let wrong = MeasuredGauge::from_record(&record(&[(0.3, 0.3), (0.1, 0.4)]), "a");
        assert!(matches!(wrong, Err(GaugeError::BudgetDoesNotAddUp { .. })), "{wrong:?}");
        let refused = Record::new(Status::Refused, PhotoFacts::default());
        assert_eq!(MeasuredGauge::from_record(&refused, "a"), Err(GaugeError::NotMeasured));
        let good =
            StatedValue { value: 20.0, standard_uncertainty: 0.1, degrees_of_freedom: Some(4.0), half_width_95: None };
        for bad in [
            StatedValue { value: f64::NAN, ..good },
            StatedValue { value: 0.0, ..good },
            StatedValue { standard_uncertainty: -0.1, ..good },
            StatedValue { degrees_of_freedom: Some(0.0), ..good },
        ] {
            assert_eq!(MeasuredGauge::stated(good, bad, "a"), Err(GaugeError::NotAGauge));
        }
    }
}
