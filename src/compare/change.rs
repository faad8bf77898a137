//! Before and after: what happened to one swatch between two states, such as by washing.

use super::gauge::MeasuredGauge;
use crate::quantity::{Confidence, Expanded, Uncertain};
use serde::Serialize;

/// Change from one state of a swatch to another, in per cent of the first, each with its 95 % interval.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// Of stitches per 10 cm: more than 0 when the fabric became narrower.
    pub stitches_percent: Expanded,
    /// Of rows per 10 cm: more than 0 when it became shorter.
    pub rows_percent: Expanded,
    /// Of the area of the same stitches and rows: less than 0 when it shrank.
    pub area_percent: Expanded,
}

/// The change between two measurements of one swatch; a ruler named in both cancels. `None` where a gauge is not
/// positive.
///
/// The same stitches × rows cover an area that goes as 1 / (stitches per 10 cm × rows per 10 cm), so its change is that
/// of the inverse product. Sources that act on both axes alike, such as the scale, count twice in it.
pub fn change(before: &MeasuredGauge, after: &MeasuredGauge) -> Option<Change> {
    let stitches = log_ratio(&after.stitches_per_10cm, &before.stitches_per_10cm)?;
    let rows = log_ratio(&after.rows_per_10cm, &before.rows_per_10cm)?;
    let area = -&(&stitches + &rows);
    Some(Change { stitches_percent: percent(&stitches), rows_percent: percent(&rows), area_percent: percent(&area) })
}

fn log_ratio(after: &Uncertain, before: &Uncertain) -> Option<Uncertain> {
    Some(&after.ln()? - &before.ln()?)
}

fn percent(log_ratio: &Uncertain) -> Expanded {
    log_ratio.exp().shifted(-1.0).scaled(100.0).expanded(Confidence::P95)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Contribution, Source};

    fn gauge(stitches: f64, rows: f64, occasion: &str) -> MeasuredGauge {
        let value = |value: f64, name: &'static str| {
            Uncertain::exact(value)
                .with_relative(Contribution::stated(Source::named(name), 0.003))
                .with_relative(Contribution::stated(Source::named("scale"), 0.004))
                .with_relative(Contribution::stated(Source::shared("ruler", "steel".to_owned()), 0.01))
                .on_occasion(occasion)
        };
        MeasuredGauge {
            stitches_per_10cm: value(stitches, "stitches"),
            rows_per_10cm: value(rows, "rows"),
            between_fabrics: None,
        }
    }

    /// 20 × 28 → 21 × 31.5: +5 %, +12.5 %, and 560 / 661.5 of the area (derived).
    #[test]
    fn area_follows_from_both_axes() {
        let seen = change(&gauge(20.0, 28.0, "a"), &gauge(21.0, 31.5, "b")).unwrap();
        assert!((seen.stitches_percent.value - 5.0).abs() < 1e-9);
        assert!((seen.rows_percent.value - 12.5).abs() < 1e-9);
        assert!((seen.area_percent.value - 100.0 * (560.0 / 661.5 - 1.0)).abs() < 1e-9);
        // Two occasions of 0.3 % and 0.4 %; the ruler of 1 % is gone.
        let u = |e: &Expanded, factor: f64| e.standard_uncertainty / factor;
        assert!((u(&seen.stitches_percent, 105.0) - 2f64.sqrt() * 0.005).abs() < 1e-9);
        // In the area each occasion's scale acts twice: √2 × √(0.3² + 0.3² + 0.8²) %.
        let expected = (2.0f64 * (2.0 * 0.003f64.powi(2) + 0.008f64.powi(2))).sqrt();
        assert!((u(&seen.area_percent, 100.0 * 560.0 / 661.5) - expected).abs() < 1e-9);
    }
}
