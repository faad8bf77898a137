//! The gauge of one fabric as a plan uses it: what was measured on the swatch, and how the next fabric varies.

use super::{FabricVariation, Length};
use crate::compare::{GaugeError, MeasuredGauge};
use crate::quantity::{Contribution, Source, Uncertain};
use crate::record::Record;
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

/// Why a measurement gives no gauge for a plan, in words.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordGaugeError(String);

impl fmt::Display for RecordGaugeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FabricGauge {
    /// From a record of one measured photo: see [`Self::from_measured`]. Fails for a photo that was not measured, in the
    /// record's own words, and for a budget that does not add up.
    pub fn from_record(name: &str, record: &Record) -> Result<Self, RecordGaugeError> {
        match MeasuredGauge::from_record(record, name) {
            Ok(gauge) => Ok(Self::from_measured(name, gauge)),
            Err(GaugeError::NotMeasured) => {
                let why = match (&record.refusal, &record.error) {
                    (Some(refusal), _) => &refusal.message,
                    (None, Some(error)) => &error.message,
                    (None, None) => "the record holds none",
                };
                Err(RecordGaugeError(format!("the photo gave no gauge: {why}")))
            }
            Err(error) => Err(RecordGaugeError(error.to_string())),
        }
    }

    /// From a measured gauge. Its sources are taken over one by one, so that a ruler named in it is the same ruler in every
    /// gauge measured with it; the variation is what the next fabric's interval adds to the swatch's.
    pub fn from_measured(name: &str, gauge: MeasuredGauge) -> Self {
        let variation = gauge.between_fabrics.map_or_else(FabricVariation::usual, |between| FabricVariation {
            stitches: between.stitches,
            rows: between.rows,
            correlation_mm: between.correlation_mm,
            known: true,
        });
        Self {
            name: name.to_owned(),
            stitches_per_10cm: gauge.stitches_per_10cm,
            rows_per_10cm: Some(gauge.rows_per_10cm),
            variation,
            between_fabrics: 0.0,
        }
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

    /// Stitches per 10 cm, and rows where they were counted, of the next 10 × 10 cm of this fabric.
    pub fn of_next_ten_cm(&self) -> (Uncertain, Option<Uncertain>) {
        let (side, piece) = (Length::TEN_CM.mm(), "10 × 10 cm");
        (self.stitches_over(side, side, piece), self.rows_over(side, side, piece))
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
