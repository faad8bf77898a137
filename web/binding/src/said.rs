//! A record's numbers as people are shown them: the core's rounding, per 10 cm and per 4 in, in cm and in inches.

use serde_json::{Map, Value, json};
use walewise::lattice::StitchPattern;
use walewise::quantity::{Expanded, FOUR_INCHES_PER_10CM, INCH_MM, plus_minus};
use walewise::record::{Record, Size};
use walewise::refusal::Rival;

/// Centimetres in an inch.
const INCH_CM: f64 = INCH_MM / 10.0;

/// The texts, by name.
pub fn of(record: &Record) -> String {
    let mut said = Map::new();
    if let Some(gauge) = &record.gauge {
        said.extend(stitches_and_rows(&gauge.stitches_per_10cm, &gauge.rows_per_10cm));
        said.insert("stitches_between".to_owned(), ends(&gauge.stitches_per_10cm));
        said.insert("rows_between".to_owned(), ends(&gauge.rows_per_10cm));
        if let Some(next) = &gauge.next_fabric {
            said.insert("next_stitches".to_owned(), per_length(&next.stitches_per_10cm));
            said.insert("next_rows".to_owned(), per_length(&next.rows_per_10cm));
        }
    }
    if let Some(wanted) = &record.wanted {
        said.insert("wanted_stitches".to_owned(), centimetres(&wanted.stitches.piece_comes_out_cm));
        said.insert("wanted_rows".to_owned(), centimetres(&wanted.rows.piece_comes_out_cm));
    }
    if let Some(counted) = &record.counted {
        let side = |mm: f64| size(Size { value: mm, standard_uncertainty: 0.0 });
        said.insert("counted".to_owned(), json!({"width": side(counted.width_mm), "height": side(counted.height_mm)}));
    }
    if let Some(swatch) = &record.swatch
        && let (Some(width), Some(height)) = (swatch.width_mm, swatch.height_mm)
    {
        said.insert("swatch".to_owned(), json!({"width": size(width), "height": size(height)}));
    }
    if let Some(refusal) = &record.refusal {
        said.insert("rivals".to_owned(), refusal.rivals.iter().map(rival).collect());
    }
    if let Some(parts) = &record.photos {
        let each = parts.iter().map(|part| {
            json!({
                "file": part.photo.file,
                "stitches": part.stitches_per_10cm.as_ref().map(per_length),
                "rows": part.rows_per_10cm.as_ref().map(per_length),
                "weights": part.weights,
                "left_out": part.left_out,
            })
        });
        said.insert("photos".to_owned(), each.collect());
    }
    Value::Object(said).to_string()
}

/// One of the readings that remain, to a tenth of a stitch.
fn rival(of: &Rival) -> Value {
    let count = |per_10cm: f64| json!({"cm": format!("{per_10cm:.1}"), "in": format!("{:.1}", per_10cm * FOUR_INCHES_PER_10CM)});
    json!({"stitches": count(of.stitches_per_10cm), "rows": count(of.rows_per_10cm), "pattern": pattern(&of.why)})
}

/// The stitch pattern that a rival was read as; `None` where it says something else for itself.
fn pattern(why: &str) -> Option<String> {
    let name = why.strip_prefix("read as ")?.split([' ', ',']).next()?;
    StitchPattern::named(name).map(|known| known.name)
}

/// The two numbers of a gauge, by name.
pub fn stitches_and_rows(stitches: &Expanded, rows: &Expanded) -> Map<String, Value> {
    [("stitches", stitches), ("rows", rows)].map(|(name, of)| (name.to_owned(), per_length(of))).into_iter().collect()
}

/// The ends of an interval per 10 cm, and per 4 in, each to the place that its ± ends on.
fn ends(of: &Expanded) -> Value {
    let within = |times: f64| {
        let (value, half_width) = (of.value * times, of.expanded_uncertainty * times);
        let text = plus_minus(value, half_width);
        let places = text.split_once(' ').and_then(|(v, _)| v.split_once('.')).map_or(0, |(_, places)| places.len());
        [value - half_width, value + half_width].map(|end| format!("{end:.places$}"))
    };
    json!({"cm": within(1.0), "in": within(FOUR_INCHES_PER_10CM)})
}

/// A number per 10 cm, and per 4 in.
pub fn per_length(of: &Expanded) -> Value {
    json!({
        "cm": plus_minus(of.value, of.expanded_uncertainty),
        "in": plus_minus(of.value * FOUR_INCHES_PER_10CM, of.expanded_uncertainty * FOUR_INCHES_PER_10CM),
    })
}

/// A length in cm, in both units.
pub fn centimetres(of: &Expanded) -> Value {
    both(of.value, of.expanded_uncertainty)
}

/// A length in mm, in both units.
pub fn millimetres(of: &Expanded) -> Value {
    both(of.value / 10.0, of.expanded_uncertainty / 10.0)
}

fn size(of: Size) -> Value {
    both(of.value / 10.0, of.half_width_95() / 10.0)
}

fn both(cm: f64, half_width_cm: f64) -> Value {
    json!({"cm": plus_minus(cm, half_width_cm), "in": plus_minus(cm / INCH_CM, half_width_cm / INCH_CM)})
}
