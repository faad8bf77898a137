//! A gauge counted by hand: so many stitches and rows over a length read from a ruler.

use super::MeasuredGauge;
use crate::quantity::{Contribution, NORMAL_95, RulerClass, Shape, Source, Uncertain};
use serde::{Deserialize, Serialize};

/// Limits of a bare count, ± stitches or rows: it ends on whole ones, so the true number is within half of one.
const HALF_A_STITCH: f64 = 0.5;

/// What was counted, over what length, and how surely.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HandCount {
    /// Stitches counted, more than 0; fractions allowed.
    pub stitches: f64,
    /// Over this length along the row, in mm.
    pub stitches_over_mm: f64,
    /// 95 % half-width of the count, in stitches; `None`: a bare count, within half a stitch.
    pub stitches_plus_minus: Option<f64>,
    /// Rows counted, more than 0.
    pub rows: f64,
    /// Over this length along the wale, in mm.
    pub rows_over_mm: f64,
    /// 95 % half-width of the count, in rows; `None`: a bare count, within half a row.
    pub rows_plus_minus: Option<f64>,
    /// Accuracy class of the ruler; `None`: II is assumed.
    pub ruler_class: Option<RulerClass>,
    /// Name of the ruler: its error is the same wherever the name is used.
    pub ruler_id: Option<String>,
}

impl HandCount {
    /// The count in the columns of a table's line, `None` where all four that it needs are empty. `number` and `text` read the
    /// column of a name, lengths in mm.
    ///
    /// # Errors
    /// In words, where a number is none, some of the four are empty, or the ruler's class is unknown.
    pub fn of_columns(
        number: impl Fn(&str) -> Result<Option<f64>, String>,
        text: impl Fn(&str) -> Option<String>,
    ) -> Result<Option<Self>, String> {
        let names = ["counted_stitches", "counted_stitches_over_mm", "counted_rows", "counted_rows_over_mm"];
        let mut values = [None; 4];
        for (value, name) in values.iter_mut().zip(names) {
            *value = number(name)?;
        }
        let [Some(stitches), Some(stitches_over_mm), Some(rows), Some(rows_over_mm)] = values else {
            let none = values.iter().all(Option::is_none);
            return if none { Ok(None) } else { Err(format!("a hand count needs {}", names.join(", "))) };
        };
        let class = |cell: String| match cell.trim() {
            "I" => Ok(RulerClass::I),
            "II" => Ok(RulerClass::II),
            "III" => Ok(RulerClass::III),
            _ => Err(format!("ruler_class: '{cell}' is not I, II or III")),
        };
        Ok(Some(Self {
            stitches,
            stitches_over_mm,
            stitches_plus_minus: number("counted_stitches_plus_minus")?,
            rows,
            rows_over_mm,
            rows_plus_minus: number("counted_rows_plus_minus")?,
            ruler_class: text("ruler_class").map(class).transpose()?,
            ruler_id: text("ruler_id"),
        }))
    }

    /// The gauge it gives; `None` unless counts and lengths are positive and finite, and each ± is not negative.
    pub fn gauge(&self, occasion: &str) -> Option<MeasuredGauge> {
        let axis = |count, over_mm, plus_minus, name| self.per_10cm(count, over_mm, plus_minus, name);
        let stitches = axis(self.stitches, self.stitches_over_mm, self.stitches_plus_minus, "counting the stitches")?;
        let rows = axis(self.rows, self.rows_over_mm, self.rows_plus_minus, "counting the rows")?;
        Some(MeasuredGauge {
            stitches_per_10cm: stitches.on_occasion(occasion),
            rows_per_10cm: rows.on_occasion(occasion),
            between_fabrics: None,
        })
    }

    fn per_10cm(&self, count: f64, over_mm: f64, plus_minus: Option<f64>, name: &'static str) -> Option<Uncertain> {
        let positive = |x: f64| x > 0.0 && x.is_finite();
        if !positive(count) || !positive(over_mm) || plus_minus.is_some_and(|p| !(p >= 0.0 && p.is_finite())) {
            return None;
        }
        let source = Source::named(name);
        let counting = match plus_minus {
            Some(half_width) => Contribution::stated(source, half_width / NORMAL_95 / count),
            None => Contribution::type_b(source, HALF_A_STITCH / count, Shape::Rectangular, 1.0),
        };
        let ruler = match &self.ruler_id {
            Some(id) => Source::shared("accuracy of the ruler", id.clone()),
            None => Source::named("accuracy of the ruler"),
        };
        let ruler = self.ruler_class.unwrap_or(RulerClass::II).scale_contribution(ruler, over_mm);
        Some(Uncertain::exact(count * 100.0 / over_mm).with_relative(counting).with_relative(ruler))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count() -> HandCount {
        HandCount {
            stitches: 22.0,
            stitches_over_mm: 100.0,
            stitches_plus_minus: None,
            rows: 45.0,
            rows_over_mm: 150.0,
            rows_plus_minus: Some(0.5),
            ruler_class: None,
            ruler_id: Some("steel 30".to_owned()),
        }
    }

    /// Half a stitch in 22 is u = 0.5/√3/22 = 1.312 % (derived); the ruler's 0.5 mm in 100 adds 0.289 %.
    #[test]
    fn a_bare_count_is_within_half_a_stitch() {
        let gauge = count().gauge("a").unwrap();
        assert_eq!((gauge.stitches_per_10cm.value, gauge.rows_per_10cm.value), (22.0, 30.0));
        let expected = (0.5 / 3f64.sqrt() / 22.0).hypot(0.005 / 3f64.sqrt());
        let got = gauge.stitches_per_10cm.relative_standard_uncertainty().unwrap();
        assert!((got - expected).abs() < 1e-12, "{got}");
        let rows = gauge.rows_per_10cm.relative_standard_uncertainty().unwrap();
        assert!((rows - (0.5 / 1.96 / 45.0f64).hypot(0.5 / 150.0 / 3f64.sqrt())).abs() < 1e-6, "{rows}");
    }

    #[test]
    fn one_ruler_drops_out_between_counts_over_like_lengths() {
        let (a, b) = (count().gauge("a").unwrap(), count().gauge("b").unwrap());
        let difference = &a.stitches_per_10cm - &b.stitches_per_10cm;
        // Only the two counting errors are left.
        assert!((difference.standard_uncertainty() - 2f64.sqrt() * 0.5 / 3f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_count_gives_no_gauge() {
        for bad in [
            HandCount { stitches: 0.0, ..count() },
            HandCount { rows: f64::NAN, ..count() },
            HandCount { rows_over_mm: -1.0, ..count() },
            HandCount { rows_plus_minus: Some(f64::INFINITY), ..count() },
        ] {
            assert_eq!(bad.gauge("a"), None);
        }
    }
}
