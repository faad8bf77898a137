//! The sheet as SVG, one unit a millimetre.

use super::sheet::{Shape, Sheet, Tone};
use svg::Document;
use svg::node::element::{Line, Polygon, Rectangle, Text};

/// The sheet as an SVG file: its size in mm, coordinates in mm.
pub fn svg_string(sheet: &Sheet) -> String {
    let [w, h] = sheet.paper.size_mm();
    let mut document = Document::new()
        .set("width", format!("{w}mm"))
        .set("height", format!("{h}mm"))
        .set("viewBox", format!("0 0 {w} {h}"))
        .add(Rectangle::new().set("width", w).set("height", h).set("fill", "white"));
    for shape in &sheet.shapes {
        document = match shape {
            Shape::Polygon { corners, tone } => {
                let points: Vec<String> =
                    corners.iter().map(|[x, y]| format!("{},{}", number(*x), number(*y))).collect();
                document.add(Polygon::new().set("points", points.join(" ")).set("fill", colour(*tone)))
            }
            Shape::Line { from, to, width_mm, tone } => document.add(
                Line::new()
                    .set("x1", number(from[0]))
                    .set("y1", number(from[1]))
                    .set("x2", number(to[0]))
                    .set("y2", number(to[1]))
                    .set("stroke", colour(*tone))
                    .set("stroke-width", number(*width_mm)),
            ),
            Shape::Text { at, size_mm, words } => document.add(
                Text::new(words.as_str())
                    .set("x", number(at[0]))
                    .set("y", number(at[1]))
                    .set("font-family", "Helvetica, Arial, sans-serif")
                    .set("font-size", number(*size_mm))
                    .set("xml:space", "preserve"),
            ),
        };
    }
    format!("{document}\n")
}

/// A length to a ten-thousandth of a mm, without the noise of binary fractions.
fn number(mm: f64) -> f64 {
    (mm * 1e4).round() / 1e4
}

fn colour(tone: Tone) -> &'static str {
    match tone {
        Tone::Black => "black",
        Tone::White => "white",
        Tone::Grey => "#999999",
    }
}
