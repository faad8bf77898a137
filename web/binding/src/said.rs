//! A record's numbers as people are shown them: the core's rounding, per 10 cm and per 4 in, in cm and in inches.

use serde_json::{Map, Value, json};
use walewise::lattice::StitchPattern;
use walewise::quantity::{Expanded, FOUR_INCHES_PER_10CM, INCH_MM, plus_minus};
use walewise::record::{Record, Size};

/// Centimetres in an inch.
const INCH_CM: f64 = INCH_MM / 10.0;

/// The texts, by name.
pub fn of(record: &Record) -> String {
    let mut said = Map::new();
    if let Some(gauge) = &record.gauge {
        said.insert("stitches".to_owned(), per_length(&gauge.stitches_per_10cm));
        said.insert("rows".to_owned(), per_length(&gauge.rows_per_10cm));
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
        said.insert("rivals".to_owned(), refusal.rivals.iter().map(|r| json!(pattern(&r.why))).collect());
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

/// The stitch pattern that a rival was read as; `None` where it says something else for itself.
fn pattern(why: &str) -> Option<String> {
    let name = why.strip_prefix("read as ")?.split([' ', ',']).next()?;
    StitchPattern::named(name).map(|known| known.name)
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
