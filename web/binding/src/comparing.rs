//! Kept swatches: the gauge of each, and two of them side by side, with intervals and whether they are alike.

use crate::said;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use walewise::compare::{Comparison, HandCount, MeasuredGauge, StatedValue, Tolerance, pairs};
use walewise::quantity::{Confidence, Expanded};
use walewise::record::Record;

/// Differences that do not matter, in stitches and rows per 10 cm, as `walewise log compare` has them unless told.
const TOLERANCE: Tolerance = Tolerance { stitches: 0.5, rows: 0.5 };

/// A measurement as the log keeps it.
#[derive(Debug, Deserialize)]
struct Compared {
    /// Marks what belongs to this measurement alone.
    uid: String,
    reading: Reading,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Reading {
    Photo(Box<Record>),
    Count(HandCount),
    Stated { stitches_per_10cm: StatedValue, rows_per_10cm: StatedValue },
}

/// `{"shared", "stitches", "rows"}`, or `{"error": message}`.
pub fn answer(first: &str, second: &str) -> String {
    let compared = gauge(first).and_then(|a| Ok([a, gauge(second)?])).map(|gauges| {
        let pair = pairs(&gauges, TOLERANCE).pop();
        pair.map(|p| json!({"shared": p.stitches.shared, "stitches": axis(&p.stitches), "rows": axis(&p.rows)}))
    });
    compared.map_or_else(|error| json!({ "error": error }), Value::from).to_string()
}

/// The gauge of one measurement in words: `{"stitches", "rows"}`, empty for a photo that was refused, or `{"error": message}`.
pub fn gauge_words(text: &str) -> String {
    let said =
        serde_json::from_str(text).map_err(|e| e.to_string()).and_then(|Compared { reading, uid }| match reading {
            Reading::Photo(record) => Ok(record.gauge.map(|g| [g.stitches_per_10cm, g.rows_per_10cm])),
            Reading::Stated { stitches_per_10cm, rows_per_10cm } => {
                Ok(Some([stitches_per_10cm.expanded(), rows_per_10cm.expanded()]))
            }
            Reading::Count(count) => {
                let gauge = count.gauge(&uid).ok_or_else(no_count)?;
                Ok(Some([gauge.stitches_per_10cm, gauge.rows_per_10cm].map(|of| of.expanded(Confidence::P95))))
            }
        });
    let words = said.map(|gauge| gauge.map_or_else(Map::new, |[s, r]| said::stitches_and_rows(&s, &r)));
    words.map_or_else(|error| json!({ "error": error }), Value::from).to_string()
}

fn no_count() -> String {
    "its count is none".to_owned()
}

fn gauge(text: &str) -> Result<MeasuredGauge, String> {
    let Compared { uid, reading } = serde_json::from_str(text).map_err(|e| e.to_string())?;
    match reading {
        Reading::Photo(record) => MeasuredGauge::from_record(&record, &uid).map_err(|e| e.to_string()),
        Reading::Count(count) => count.gauge(&uid).ok_or_else(no_count),
        Reading::Stated { stitches_per_10cm, rows_per_10cm } => {
            MeasuredGauge::stated(stitches_per_10cm, rows_per_10cm, &uid).map_err(|e| e.to_string())
        }
    }
}

fn axis(of: &Comparison) -> Value {
    let size = Expanded { value: of.difference.value.abs(), ..of.difference };
    json!({
        "finding": of.finding,
        "more": if of.difference.value >= 0.0 { "first" } else { "second" },
        "size": said::per_length(&size),
        "tolerance": of.equivalence.tolerance,
        "source": of.largest_source,
    })
}
