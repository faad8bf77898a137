//! What the variance consists of, as bars, as SVG.

use super::words::part_name;
use crate::class::{PartKind, Spread};
use crate::report::axis::{INK, drawing, hundredth, words};
use crate::report::one_line::capital;
use svg::node::element::{Definitions, Group, Line, Pattern, Rectangle};

/// Measures of the drawing, in px at full size: stated choices.
const WIDTH: f64 = 430.0;
const LEFT: f64 = 8.0;
const BAR: f64 = 34.0;
const LINE: f64 = 22.0;
const TOP: f64 = 30.0;

/// Ground of each part: lightness falls from part to part, and one has strokes, so that grey print tells them apart.
fn fill(what: PartKind) -> &'static str {
    match what {
        PartKind::Knitters | PartKind::KnittersAndSwatches => "#12355b",
        PartKind::Swatches => "#5b95bf",
        PartKind::Places => "#f0c75e",
        PartKind::Measuring => "url(#strokes)",
    }
}

/// The bar of one axis with a line of words for each part.
pub fn shares(spread: &Spread) -> String {
    let height = TOP + BAR + 12.0 + LINE * spread.parts.len() as f64 + 4.0;
    let told: Vec<String> =
        spread.parts.iter().map(|p| format!("{} {:.0} %", part_name(p.what), 100.0 * p.share)).collect();
    let title = format!("Shares in the variance of {} per 10 cm: {}", spread.counted.word(2), told.join(", "));
    let mut document = drawing(WIDTH, height, &title).add(Definitions::new().add(strokes())).add(
        words(format!("{}: shares in the variance", capital(spread.counted.word(2))), LEFT, 18.0, "start")
            .set("font-weight", 600),
    );
    let whole = WIDTH - 2.0 * LEFT;
    let mut from = LEFT;
    for (i, part) in spread.parts.iter().enumerate() {
        let width = whole * part.share;
        document = document.add(ground(from, TOP, width, BAR, part.what));
        from += width;
        let y = TOP + BAR + 12.0 + LINE * i as f64;
        let percent = if part.share > 0.0 && part.share < 0.005 {
            "< 1 %".to_owned()
        } else {
            format!("{:.0} %", 100.0 * part.share)
        };
        document = document
            .add(ground(LEFT, y, 16.0, 14.0, part.what))
            .add(words(percent, LEFT + 64.0, y + 12.0, "end").set("font-weight", 600))
            .add(words(part_name(part.what), LEFT + 74.0, y + 12.0, "start"));
    }
    document.to_string()
}

fn ground(x: f64, y: f64, width: f64, height: f64, what: PartKind) -> Group {
    let shape = Rectangle::new()
        .set("x", hundredth(x))
        .set("y", hundredth(y))
        .set("width", hundredth(width))
        .set("height", hundredth(height))
        .set("fill", fill(what))
        .set("stroke", INK)
        .set("stroke-width", 0.8);
    Group::new().add(shape)
}

/// Slanting strokes on white.
fn strokes() -> Pattern {
    let stroke = |x: f64| {
        Line::new().set("x1", x).set("y1", 0).set("x2", x).set("y2", 6).set("stroke", INK).set("stroke-width", 1.2)
    };
    Pattern::new()
        .set("id", "strokes")
        .set("patternUnits", "userSpaceOnUse")
        .set("width", 6)
        .set("height", 6)
        .set("patternTransform", "rotate(45)")
        .add(Rectangle::new().set("width", 6).set("height", 6).set("fill", "#fff"))
        .add(stroke(1.0))
}
