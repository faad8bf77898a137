//! What the interval comes from, as bars, as SVG.

use crate::record::{Contribution, Record};
use crate::report::axis::{MARK, OTHER, QUIET, drawing, hundredth, words};
use crate::report::budget;
use svg::node::element::Rectangle;

/// Measures of the drawing, in px at full size, so narrow that letters stay legible on a phone: stated choices.
const WIDTH: f64 = 430.0;
const LEFT: f64 = 8.0;
const RIGHT: f64 = 74.0;
const TOP: f64 = 34.0;
const ROW: f64 = 46.0;
const BAR: f64 = 9.0;
/// Parts that are drawn; what is left is too small to matter.
const SHOWN: usize = 8;

/// The largest contributions, each with a bar for stitches and one for rows; standard uncertainty in per cent.
pub fn bars(record: &Record) -> String {
    let parts = budget::largest(record, SHOWN);
    let size = |p: &Contribution| [p.stitches_percent.abs(), p.rows_percent.abs()];
    let most = parts.iter().flat_map(|p| size(p)).fold(1e-9, f64::max);
    let height = TOP + ROW * parts.len() as f64;
    let told: Vec<String> = parts
        .iter()
        .map(|p| format!("{} {:.2} % of stitches, {:.2} % of rows", p.source, size(p)[0], size(p)[1]))
        .collect();
    let title = format!("Standard uncertainty by source: {}", told.join("; "));
    let mut document = drawing(WIDTH, height, &title);
    for (x, colour, what) in [(LEFT, MARK, "stitches"), (LEFT + 90.0, OTHER, "rows")] {
        document = document.add(bar(x, 8.0, 14.0, colour)).add(words(what, x + 20.0, 17.0, "start"));
    }
    document = document.add(words("standard uncertainty", WIDTH - 6.0, 17.0, "end").set("fill", QUIET));
    for (i, part) in parts.iter().enumerate() {
        let y = TOP + ROW * i as f64;
        document = document.add(words(part.source.clone(), LEFT, y + 12.0, "start"));
        for (axis, colour) in [MARK, OTHER].into_iter().enumerate() {
            let (top, value) = (y + 18.0 + 12.0 * axis as f64, size(part)[axis]);
            let width = (WIDTH - LEFT - RIGHT) * value / most;
            document = document
                .add(bar(LEFT, top, width.max(0.5), colour))
                .add(words(format!("{value:.2} %"), LEFT + width + 6.0, top + 9.0, "start").set("font-size", 12));
        }
    }
    document.to_string()
}

fn bar(x: f64, y: f64, width: f64, colour: &str) -> Rectangle {
    let size = Rectangle::new().set("width", hundredth(width)).set("height", BAR).set("fill", colour);
    size.set("x", hundredth(x)).set("y", hundredth(y))
}
