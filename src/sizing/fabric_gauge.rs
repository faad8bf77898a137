//! The gauge of one fabric as a plan uses it: what was measured on the swatch, and how the next fabric varies.

use super::FabricVariation;
use crate::quantity::{Contribution, Evaluation, Expanded, Shape, Source, Uncertain};
use crate::record::{self, Record, Status};
use std::fmt;

/// The gauge of one fabric.
#[derive(Debug, Clone, PartialEq)]
pub struct FabricGauge {
    /// What the gauge is called; sources that belong to this swatch alone carry it.
    pub name: String,
    /// Stitches in 10 cm along the row, of the swatch.
    pub stitches_per_10cm: Uncertain,
    /// Rows in 10 cm along the wale, of the swatch; `None` where nobody counted them.
    pub rows_per_10cm: Option<Uncertain>,
    /// How another piece of this fabric varies.
    pub variation: FabricVariation,
    /// Relative standard deviation of whole fabrics knitted on other days; 0 where the user does not say.
    pub between_fabrics: f64,
}

/// Why a measurement gives no gauge for a plan.
#[derive(Debug, Clone, PartialEq)]
pub enum RecordGaugeError {
    /// The photo was refused, could not be read, or the measuring failed.
    NotMeasured {
        /// How it ended.
        status: Status,
        /// Why, in the record's words.
        why: String,
    },
}

impl fmt::Display for RecordGaugeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotMeasured { why, .. } => write!(f, "the photo gave no gauge: {why}"),
        }
    }
}

impl FabricGauge {
    /// From a record of one measured photo. Its budget is taken over source by source, so that a ruler named in it is the
    /// same ruler in every gauge measured with it; the variation is what the next fabric's interval adds to the swatch's.
    pub fn from_record(name: &str, record: &Record) -> Result<Self, RecordGaugeError> {
        let Some(gauge) = &record.gauge else {
            let why = match (&record.refusal, &record.error) {
                (Some(refusal), _) => refusal.message.clone(),
                (None, Some(error)) => error.message.clone(),
                (None, None) => "the record holds none".to_owned(),
            };
            return Err(RecordGaugeError::NotMeasured { status: record.status, why });
        };
        let value = |of: &Expanded, percent: fn(&record::Contribution) -> f64| swatch_value(name, of, record, percent);
        Ok(Self {
            name: name.to_owned(),
            stitches_per_10cm: value(&gauge.stitches_per_10cm, |c| c.stitches_percent),
            rows_per_10cm: Some(value(&gauge.rows_per_10cm, |c| c.rows_percent)),
            variation: gauge.next_fabric.as_ref().map_or_else(FabricVariation::usual, |next| FabricVariation {
                stitches: added(&gauge.stitches_per_10cm, &next.stitches_per_10cm),
                rows: added(&gauge.rows_per_10cm, &next.rows_per_10cm),
                correlation_mm: next.variation.correlation_mm,
                known: true,
            }),
            between_fabrics: 0.0,
        })
    }

    /// Stitches per 10 cm of a piece of this fabric of so many mm: the swatch's, and how such a piece varies. `piece` tells
    /// the variation of one piece from that of another.
    pub fn stitches_over(&self, width_mm: f64, height_mm: f64, piece: &str) -> Uncertain {
        let [stitches, _] = self.variation.over(width_mm, height_mm);
        self.next(&self.stitches_per_10cm, stitches, "stitches", piece)
    }

    /// Rows per 10 cm of a piece of this fabric, likewise; `None` where the rows were not counted.
    pub fn rows_over(&self, width_mm: f64, height_mm: f64, piece: &str) -> Option<Uncertain> {
        let [_, rows] = self.variation.over(width_mm, height_mm);
        self.rows_per_10cm.as_ref().map(|swatch| self.next(swatch, rows, "rows", piece))
    }

    fn next(&self, swatch: &Uncertain, varies: f64, axis: &str, piece: &str) -> Uncertain {
        let place = Source::named(format!("{axis} vary from place to place, {piece}"));
        let day = Source::named(format!("{axis} vary from fabric to fabric, {}", self.name));
        let relative = |source, standard: f64| Contribution::stated(source, standard);
        let with_place = swatch.clone().with_relative(relative(place, varies));
        if self.between_fabrics > 0.0 {
            with_place.with_relative(relative(day, self.between_fabrics))
        } else {
            with_place
        }
    }
}

/// What the next fabric's standard uncertainty adds to the swatch's, relative.
fn added(swatch: &Expanded, next: &Expanded) -> f64 {
    let variance = next.standard_uncertainty.powi(2) - swatch.standard_uncertainty.powi(2);
    variance.max(0.0).sqrt() / next.value
}

/// The swatch's value with the record's budget; with its standard uncertainty alone where the budget does not add up to it.
fn swatch_value(
    name: &str,
    stated: &Expanded,
    record: &Record,
    percent: fn(&record::Contribution) -> f64,
) -> Uncertain {
    /// A budget further off than this, relative, is of something else.
    const AGREES: f64 = 0.01;
    let parts = record.budget.iter().map(|c| contribution(c, percent(c) / 100.0));
    let value = parts.fold(Uncertain::exact(stated.value), Uncertain::with_relative).on_occasion(name);
    let off = value.standard_uncertainty() - stated.standard_uncertainty;
    if off.abs() <= AGREES * stated.standard_uncertainty {
        return value;
    }
    let whole = Contribution::stated(Source::named("gauge of the swatch"), stated.standard_uncertainty);
    Uncertain::exact(stated.value).with(whole).on_occasion(name)
}

fn contribution(of: &record::Contribution, relative: f64) -> Contribution {
    let source = match &of.shared_id {
        Some(id) => Source::shared(of.source.clone(), id.clone()),
        None => Source::named(of.source.clone()),
    };
    let degrees_of_freedom = of.degrees_of_freedom.unwrap_or(f64::INFINITY);
    let usual = if of.evaluation == Evaluation::A && degrees_of_freedom.is_finite() { Shape::T } else { Shape::Normal };
    Contribution {
        source,
        standard: relative,
        evaluation: of.evaluation,
        degrees_of_freedom,
        shape: of.shape.unwrap_or(usual),
    }
}
