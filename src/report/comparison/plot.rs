//! Stitches and rows of several swatches as points with their intervals, as SVG.

use super::{ComparedSwatch, bare_number};
use crate::quantity::Expanded;
use crate::report::axis::{Axis, BAND, FAINT, MARK, QUIET, drawing, line};
use crate::report::one_line::shortened;
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

/// On a narrow screen: width, and the height of a swatch, whose name stands above its interval.
const NARROW: f64 = 350.0;
const TALL_ROW: f64 = 42.0;

/// The plot: a line for each swatch, two panels with a scale of their own, side by side.
pub fn plot(swatches: &[ComparedSwatch]) -> String {
    let width = LABELS + 2.0 * PANEL + GAP + RIGHT;
    let mut page = document(width, TOP + ROW * swatches.len() as f64 + BOTTOM);
    for (i, swatch) in swatches.iter().enumerate() {
        let y = TOP + ROW * i as f64;
        page = page.add(label(i, swatch, [y, ROW], y + ROW / 2.0 + 4.5, width));
    }
    let panel_at = |left| Panel { left, width: PANEL, top: TOP, row: ROW, middle: ROW / 2.0 };
    page.add(panel_at(LABELS).draw(STITCHES, &stitches(swatches)))
        .add(panel_at(LABELS + PANEL + GAP).draw(ROWS, &rows(swatches)))
        .to_string()
}

/// The same for a narrow screen: one panel below the other, each name above its interval.
pub fn narrow_plot(swatches: &[ComparedSwatch]) -> String {
    let whole = TOP + TALL_ROW * swatches.len() as f64 + BOTTOM;
    let mut page = document(NARROW, 2.0 * whole);
    for (n, (title, intervals)) in [(STITCHES, stitches(swatches)), (ROWS, rows(swatches))].into_iter().enumerate() {
        let top = TOP + whole * n as f64;
        for (i, swatch) in swatches.iter().enumerate() {
            let y = top + TALL_ROW * i as f64;
            page = page.add(label(i, swatch, [y, TALL_ROW], y + 16.0, NARROW));
        }
        let panel = Panel { left: 10.0, width: NARROW - 20.0, top, row: TALL_ROW, middle: 30.0 };
        page = page.add(panel.draw(title, &intervals));
    }
    page.to_string()
}

const STITCHES: &str = "stitches per 10 cm";
const ROWS: &str = "rows per 10 cm";

fn stitches(swatches: &[ComparedSwatch]) -> Vec<&Expanded> {
    swatches.iter().map(|s| &s.stitches).collect()
}

fn rows(swatches: &[ComparedSwatch]) -> Vec<&Expanded> {
    swatches.iter().map(|s| &s.rows).collect()
}

fn document(width: f64, height: f64) -> Document {
    drawing(width, height, "Stitches and rows per 10 cm of each swatch with their 95 % intervals")
}

/// Background and name of one swatch; `[top, height]` of its band, and the base line of its name.
fn label(i: usize, swatch: &ComparedSwatch, [top, height]: [f64; 2], base: f64, width: f64) -> Group {
    let whole = format!("{}  {}", swatch.number, swatch.label);
    let mut group = Group::new();
    if i.is_multiple_of(2) {
        group = group.add(Rectangle::new().set("y", top).set("width", width).set("height", height).set("fill", BAND));
    }
    group.add(Text::new(shortened(&whole, LABEL_LETTERS)).set("x", 10).set("y", base))
}

/// Where one panel lies.
#[derive(Clone, Copy)]
struct Panel {
    left: f64,
    width: f64,
    top: f64,
    /// Height of a swatch.
    row: f64,
    /// Height of its interval below the row's upper edge.
    middle: f64,
}

impl Panel {
    fn draw(self, title: &str, intervals: &[&Expanded]) -> Group {
        // Never narrower than one stitch.
        let ends = intervals.iter().flat_map(|i| [i.interval().0, i.interval().1]);
        let scale = Axis::holding(ends, 1.0, self.left, self.width);
        let (top, left) = (self.top, self.left);
        let foot = top + self.row * intervals.len() as f64;
        let title = Text::new(title).set("x", left).set("y", top - 30.0).set("font-weight", 600);
        let mut group = Group::new().add(title).add(line(left, foot, left + self.width, foot, QUIET));
        for tick in scale.ticks(4.0) {
            let x = scale.place(tick);
            let number = Text::new(bare_number(tick)).set("x", x).set("y", foot + 18.0).set("fill", QUIET);
            group = group
                .add(line(x, top - 6.0, x, foot + 4.0, FAINT))
                .add(number.set("text-anchor", "middle").set("font-size", 12));
        }
        for (i, interval) in intervals.iter().enumerate() {
            let y = top + self.row * i as f64 + self.middle;
            let (low, high) = interval.interval();
            group = group
                .add(line(scale.place(low), y, scale.place(high), y, MARK).set("stroke-width", 2))
                .add(line(scale.place(low), y - 4.0, scale.place(low), y + 4.0, MARK).set("stroke-width", 2))
                .add(line(scale.place(high), y - 4.0, scale.place(high), y + 4.0, MARK).set("stroke-width", 2))
                .add(Circle::new().set("cx", scale.place(interval.value)).set("cy", y).set("r", 4).set("fill", MARK));
        }
        group
    }
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
        for drawn in [plot(std::slice::from_ref(&swatch)), narrow_plot(&[swatch])] {
            assert!(drawn.contains("&lt;script&gt;&amp;") && !drawn.contains("<script>"));
        }
    }
}
