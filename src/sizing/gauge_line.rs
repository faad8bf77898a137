//! The gauge as a pattern prints it: rounded to half a stitch and half a row.

use super::{FabricGauge, Length};
use serde::Serialize;

/// A gauge rounded for print.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GaugeLine {
    /// Stitches over the length, to half a stitch.
    pub stitches: f64,
    /// Rows over the length, to half a row; `None` where they were not counted.
    pub rows: Option<f64>,
    /// The length, in mm.
    pub over: Length,
    /// What the rounding changes the stitches by, relative (0.01 = 1 %): widths knitted by the line are off by as much.
    pub stitches_changed: f64,
    /// The same of the rows.
    pub rows_changed: Option<f64>,
}

/// The nearest half.
pub fn half_stitch(count: f64) -> f64 {
    (2.0 * count).round() / 2.0
}

impl GaugeLine {
    /// The line of a gauge over a length; `None` where it would round to nothing.
    pub fn of(gauge: &FabricGauge, over: Length) -> Option<Self> {
        let scale = over.mm() / Length::TEN_CM.mm();
        let line = |per_10cm: f64| {
            let exact = per_10cm * scale;
            let printed = half_stitch(exact);
            (printed > 0.0).then_some((printed, printed / exact - 1.0))
        };
        let (stitches, stitches_changed) = line(gauge.stitches_per_10cm.value)?;
        let rows = gauge.rows_per_10cm.as_ref().and_then(|rows| line(rows.value));
        Some(Self {
            stitches,
            rows: rows.map(|(printed, _)| printed),
            over,
            stitches_changed,
            rows_changed: rows.map(|(_, changed)| changed),
        })
    }

    /// The printed stitches per 10 cm.
    pub fn stitches_per_10cm(&self) -> f64 {
        self.stitches * Length::TEN_CM.mm() / self.over.mm()
    }

    /// The printed rows per 10 cm.
    pub fn rows_per_10cm(&self) -> Option<f64> {
        self.rows.map(|rows| rows * Length::TEN_CM.mm() / self.over.mm())
    }
}
