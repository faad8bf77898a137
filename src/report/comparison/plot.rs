//! Stitches and rows of several swatches as points with their intervals, as SVG.

use super::{ComparedSwatch, bare_number};
use crate::quantity::Expanded;
use crate::report::axis::{Axis, BAND, FAINT, INK, MARK, QUIET, line};
use svg::Document;
use svg::node::element::{Circle, Group, Rectangle, Text};

/// Measures of the drawing, in its own units (px at full size): stated choices.
const LABELS: f64 = 250.0;
const PANEL: f64 = 300.0;
const GAP: f64 = 28.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 50.0;
const ROW: f64 = 26.0;
const BOTTOM: f64 = 30.0;
/// Letters of a label that fit beside the panels.
const LABEL_LETTERS: usize = 34;

/// The plot: a line for each swatch, two panels with a scale of their own.
pub fn plot(swatches: &[ComparedSwatch]) -> String {
    let width = LABELS + 2.0 * PANEL + GAP + RIGHT;
    let height = TOP + ROW * swatches.len() as f64 + BOTTOM;
    let mut document = Document::new()
        .set("viewBox", (0.0, 0.0, width, height))
        .set("width", width)
        .set("height", height)
        .set("font-family", "system-ui, sans-serif")
        .set("font-size", 13)
        .set("fill", INK)
        .set("role", "img")
        .add(svg::node::element::Title::new("Stitches and rows per 10 cm of each swatch with their 95 % intervals"))
        .add(Rectangle::new().set("width", width).set("height", height).set("fill", "#fff"));
    for (i, swatch) in swatches.iter().enumerate() {
        document = document.add(label(i, swatch, width));
    }
    let stitches: Vec<&Expanded> = swatches.iter().map(|s| &s.stitches).collect();
    let rows: Vec<&Expanded> = swatches.iter().map(|s| &s.rows).collect();
    document
        .add(panel(LABELS, "stitches per 10 cm", &stitches))
        .add(panel(LABELS + PANEL + GAP, "rows per 10 cm", &rows))
        .to_string()
}

/// Background and name of one line.
fn label(i: usize, swatch: &ComparedSwatch, width: f64) -> Group {
    let y = TOP + ROW * i as f64;
    let whole = format!("{}  {}", swatch.number, swatch.label);
    let short: String = if whole.chars().count() > LABEL_LETTERS {
        whole.chars().take(LABEL_LETTERS - 1).chain(['…']).collect()
    } else {
        whole
    };
    let mut group = Group::new();
    if i.is_multiple_of(2) {
        group = group.add(Rectangle::new().set("y", y).set("width", width).set("height", ROW).set("fill", BAND));
    }
    group.add(Text::new(short).set("x", 10).set("y", y + ROW / 2.0 + 4.5))
}

fn panel(left: f64, title: &str, intervals: &[&Expanded]) -> Group {
    // Never narrower than one stitch.
    let ends = intervals.iter().flat_map(|i| [i.interval().0, i.interval().1]);
    let scale = Axis::holding(ends, 1.0, left, PANEL);
    let foot = TOP + ROW * intervals.len() as f64;
    let mut group = Group::new().add(Text::new(title).set("x", left).set("y", 20).set("font-weight", 600)).add(line(
        left,
        foot,
        left + PANEL,
        foot,
        QUIET,
    ));
    for tick in scale.ticks(4.0) {
        let x = scale.place(tick);
        let number = Text::new(bare_number(tick)).set("x", x).set("y", foot + 18.0).set("fill", QUIET);
        group = group
            .add(line(x, TOP - 6.0, x, foot + 4.0, FAINT))
            .add(number.set("text-anchor", "middle").set("font-size", 12));
    }
    for (i, interval) in intervals.iter().enumerate() {
        let y = TOP + ROW * (i as f64 + 0.5);
        let (low, high) = interval.interval();
        group = group
            .add(line(scale.place(low), y, scale.place(high), y, MARK).set("stroke-width", 2))
            .add(line(scale.place(low), y - 4.0, scale.place(low), y + 4.0, MARK).set("stroke-width", 2))
            .add(line(scale.place(high), y - 4.0, scale.place(high), y + 4.0, MARK).set("stroke-width", 2))
            .add(Circle::new().set("cx", scale.place(interval.value)).set("cy", y).set("r", 4).set("fill", MARK));
    }
    group
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Confidence, Contribution, Source, Uncertain};

    fn interval(value: f64, u: f64) -> Expanded {
        Uncertain::exact(value).with(Contribution::stated(Source::named("x"), u)).expanded(Confidence::P95)
    }

    #[test]
    fn a_hostile_name_stays_text() {
        let swatch = ComparedSwatch {
            number: 1,
            label: "<script>&".to_owned(),
            details: String::new(),
            stitches: interval(20.0, 0.1),
            rows: interval(28.0, 0.1),
        };
        let drawn = plot(&[swatch]);
        assert!(drawn.contains("&lt;script&gt;&amp;") && !drawn.contains("<script>"));
    }
}
