//! The numbers of a class as CSV: one swatch a row, with its knitter's piece.
//!
//! No cell can run as a formula: a text that begins like one gets an apostrophe in front; every text is quoted, so that no
//! separator of any country's spreadsheet splits it.

use crate::class::{Class, Swatch};
use crate::quantity::Expanded;
use crate::spreadsheet::guarded;

/// The columns, in order.
const COLUMNS: [&str; 17] = [
    "knitter",
    "swatch",
    "measurements",
    "stitches_per_10cm",
    "stitches_plus_minus",
    "rows_per_10cm",
    "rows_plus_minus",
    "stitches_place_to_place_sd",
    "rows_place_to_place_sd",
    "independent_places",
    "stands_apart",
    "piece_width_mm",
    "piece_width_plus_minus_mm",
    "probability_within_tolerance",
    "cast_on",
    "own_rows",
    "needle_sizes",
];

/// The table in UTF-8 with a byte order mark, without which spreadsheets misread it. Numbers have a decimal point.
pub fn table(class: &Class) -> String {
    let mut out = format!("\u{FEFF}{}\r\n", COLUMNS.map(quoted).join(","));
    for swatch in &class.swatches {
        out.push_str(&row(class, swatch).join(","));
        out.push_str("\r\n");
    }
    out
}

fn row(class: &Class, swatch: &Swatch) -> [String; COLUMNS.len()] {
    let knitter = &class.knitters[swatch.knitter];
    let piece = knitter.piece.as_ref();
    let number = |v: Option<f64>| v.map_or_else(String::new, |v| v.to_string());
    let value = |axis: usize| number(swatch.per_10cm[axis].map(|g| g.value));
    let half = |e: Option<Expanded>| number(e.map(|e| e.expanded_uncertainty));
    let places = |axis: usize| number(swatch.places[axis].map(|p| p.standard_deviation));
    let apart = ["stitches", "rows"].into_iter().zip(knitter.apart).filter_map(|(what, a)| a.map(|_| what));
    [
        quoted(&knitter.name),
        quoted(&swatch.name),
        swatch.readings.len().to_string(),
        value(0),
        half(swatch.per_10cm[0]),
        value(1),
        half(swatch.per_10cm[1]),
        places(0),
        places(1),
        number(swatch.places[0].map(|p| p.independent_places)),
        quoted(&apart.collect::<Vec<_>>().join(" ")),
        number(piece.map(|p| p.width_mm.value)),
        half(piece.map(|p| p.width_mm)),
        number(piece.map(|p| p.probability_within_tolerance)),
        number(piece.map(|p| f64::from(p.cast_on))),
        number(piece.and_then(|p| p.rows).map(f64::from)),
        number(piece.map(|p| f64::from(p.needle_sizes))),
    ]
}

/// A text cell.
fn quoted(text: &str) -> String {
    format!("\"{}\"", guarded(text).replace('"', "\"\""))
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn no_cell_runs() {
        assert_eq!(quoted("=1+1"), "\"'=1+1\"");
        assert_eq!(quoted("Ann \"A\", B"), "\"Ann \"\"A\"\", B\"");
    }
}
