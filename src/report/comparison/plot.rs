//! Stitches and rows of several swatches as points with their intervals, as SVG.

use super::{ComparedSwatch, bare_number};
use crate::quantity::Expanded;
use svg::Document;
use svg::node::element::{Circle, Group, Line, Rectangle, Text};

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

const INK: &str = "#1c1c1c";
const QUIET: &str = "#777";
const MARK: &str = "#0b5a8a";
const BAND: &str = "#f2f2f0";

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
    let scale = Scale::of(intervals, left);
    let foot = TOP + ROW * intervals.len() as f64;
    let mut group = Group::new().add(Text::new(title).set("x", left).set("y", 20).set("font-weight", 600)).add(line(
        left,
        foot,
        left + PANEL,
        foot,
        QUIET,
    ));
    for tick in scale.ticks() {
        let x = scale.x(tick);
        let number = Text::new(bare_number(tick)).set("x", x).set("y", foot + 18.0).set("fill", QUIET);
        group = group
            .add(line(x, TOP - 6.0, x, foot + 4.0, "#ccc"))
            .add(number.set("text-anchor", "middle").set("font-size", 12));
    }
    for (i, interval) in intervals.iter().enumerate() {
        let y = TOP + ROW * (i as f64 + 0.5);
        let (low, high) = interval.interval();
        group = group
            .add(line(scale.x(low), y, scale.x(high), y, MARK).set("stroke-width", 2))
            .add(line(scale.x(low), y - 4.0, scale.x(low), y + 4.0, MARK).set("stroke-width", 2))
            .add(line(scale.x(high), y - 4.0, scale.x(high), y + 4.0, MARK).set("stroke-width", 2))
            .add(Circle::new().set("cx", scale.x(interval.value)).set("cy", y).set("r", 4).set("fill", MARK));
    }
    group
}

fn line(x1: f64, y1: f64, x2: f64, y2: f64, colour: &str) -> Line {
    Line::new().set("x1", x1).set("y1", y1).set("x2", x2).set("y2", y2).set("stroke", colour)
}

/// Values → places across one panel.
struct Scale {
    low: f64,
    high: f64,
    left: f64,
}

impl Scale {
    /// Holds all intervals with a little room; never narrower than one stitch.
    fn of(intervals: &[&Expanded], left: f64) -> Self {
        let low = intervals.iter().map(|i| i.interval().0).fold(f64::INFINITY, f64::min);
        let high = intervals.iter().map(|i| i.interval().1).fold(f64::NEG_INFINITY, f64::max);
        let (low, high) = if low.is_finite() && high.is_finite() { (low, high) } else { (0.0, 1.0) };
        let room = ((high - low) * 0.06).max((1.0 - (high - low)) / 2.0);
        Self { low: low - room, high: high + room, left }
    }

    fn x(&self, value: f64) -> f64 {
        let place = self.left + PANEL * (value - self.low) / (self.high - self.low);
        (place * 100.0).round() / 100.0
    }

    /// Round numbers: steps of 1, 2 or 5 times a power of ten, four to eight of them.
    fn ticks(&self) -> Vec<f64> {
        const FEWEST: f64 = 4.0;
        let span = self.high - self.low;
        let power = 10f64.powf((span / FEWEST).log10().floor());
        let step = [5.0, 2.0, 1.0].map(|s| s * power).into_iter().find(|s| span / s >= FEWEST).unwrap_or(power);
        let first = (self.low / step).ceil();
        let count = ((self.high / step).floor() - first) as usize;
        (0..=count).map(|i| (first + i as f64) * step).collect()
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
    fn every_interval_lies_in_its_panel_between_round_ticks() {
        for (a, b) in [((20.0, 0.1), (24.0, 0.3)), ((20.0, 0.0), (20.0, 0.0)), ((0.9, 0.2), (140.0, 9.0))] {
            let intervals = [interval(a.0, a.1), interval(b.0, b.1)];
            let scale = Scale::of(&[&intervals[0], &intervals[1]], 100.0);
            for i in &intervals {
                for end in [i.interval().0, i.interval().1] {
                    assert!((100.0..=100.0 + PANEL).contains(&scale.x(end)), "{end}");
                }
            }
            assert!((4..=11).contains(&scale.ticks().len()), "{:?}", scale.ticks());
            assert!(scale.ticks().iter().all(|t| (scale.low..=scale.high).contains(t)));
        }
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
