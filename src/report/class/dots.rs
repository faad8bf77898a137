//! Every knitter's gauge as dots with intervals, beside the class's mean, as SVG.

use crate::class::{Class, Spread};
use crate::quantity::{Expanded, plus_minus};
use crate::report::axis::{Axis, BAND, FAINT, MARK, OTHER, QUIET, drawing, hundredth, line, words};
use crate::report::comparison::bare_number;
use crate::report::one_line::shortened;
use crate::sizing::Counted;
use svg::node::element::{Circle, Group, Rectangle};

/// Measures of the drawing, in its own units (px at full size), so narrow that letters stay legible on a phone: stated
/// choices.
const WIDTH: f64 = 430.0;
const LABELS: f64 = 96.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 34.0;
const ROW: f64 = 22.0;
const BOTTOM: f64 = 46.0;
/// Letters of a name that fit beside the dots.
const LETTERS: usize = 13;

/// The drawing of one axis; `names` are those of the knitters.
pub fn dots(class: &Class, spread: &Spread, names: &[String]) -> String {
    let axis = usize::from(spread.counted == Counted::Rows);
    let rows: Vec<Row> = (0..class.knitters.len()).filter_map(|k| Row::of(class, axis, k)).collect();
    let ends = rows.iter().flat_map(|r| r.dots.iter().flat_map(|d| [d.interval().0, d.interval().1]));
    let scale = Axis::holding(ends, 1.0, LABELS, WIDTH - LABELS - RIGHT);
    let foot = TOP + ROW * rows.len() as f64;
    let what = spread.counted.word(2);
    let mut document = drawing(WIDTH, foot + BOTTOM, &title(class, spread, axis, names));
    for (i, row) in rows.iter().enumerate() {
        document = document.add(ground(i, &names[row.knitter]));
    }
    document = document.add(scale_lines(&scale, foot, what)).add(mean_line(spread, &scale, foot));
    for (i, row) in rows.iter().enumerate() {
        document = document.add(row.draw(&scale, TOP + ROW * (i as f64 + 0.5)));
    }
    document.to_string()
}

/// What a person who can't see the drawing needs.
fn title(class: &Class, spread: &Spread, axis: usize, names: &[String]) -> String {
    let each: Vec<String> = class
        .knitters
        .iter()
        .zip(names)
        .filter_map(|(k, name)| {
            k.per_10cm[axis].map(|g| format!("{name} {}", plus_minus(g.value, g.expanded_uncertainty)))
        })
        .collect();
    format!(
        "{} per 10 cm of each knitter with 95 % intervals: {}. Mean of the class {}.",
        spread.counted.word(2),
        each.join(", "),
        plus_minus(spread.mean_per_10cm.value, spread.mean_per_10cm.expanded_uncertainty)
    )
}

/// One knitter's line.
struct Row {
    knitter: usize,
    /// The swatches' gauges.
    dots: Vec<Expanded>,
    apart: bool,
}

impl Row {
    fn of(class: &Class, axis: usize, knitter: usize) -> Option<Self> {
        let own = class.swatches.iter().filter(|s| s.knitter == knitter);
        let dots: Vec<Expanded> = own.filter_map(|s| s.per_10cm[axis]).collect();
        let apart = class.knitters[knitter].apart[axis].is_some();
        (!dots.is_empty()).then_some(Self { knitter, dots, apart })
    }

    fn draw(&self, scale: &Axis, middle: f64) -> Group {
        let mut group = Group::new();
        let apart = (ROW - 10.0) / self.dots.len() as f64;
        for (i, dot) in self.dots.iter().enumerate() {
            let y = middle + (i as f64 - (self.dots.len() as f64 - 1.0) / 2.0) * apart;
            let (low, high) = dot.interval();
            let (x1, x2) = (scale.place(low), scale.place(high));
            group = group.add(line(x1, y, x2, y, MARK).set("stroke-width", 2));
            for x in [x1, x2] {
                group = group.add(line(x, y - 3.0, x, y + 3.0, MARK).set("stroke-width", 2));
            }
            // A knitter who stands apart has rings: seen without colour.
            let fill = if self.apart { "#fff" } else { MARK };
            group = group.add(
                Circle::new()
                    .set("cx", scale.place(dot.value))
                    .set("cy", hundredth(y))
                    .set("r", 4)
                    .set("fill", fill)
                    .set("stroke", MARK)
                    .set("stroke-width", 2),
            );
        }
        group
    }
}

fn ground(i: usize, name: &str) -> Group {
    let y = TOP + ROW * i as f64;
    let mut group = Group::new();
    if i.is_multiple_of(2) {
        group = group.add(Rectangle::new().set("y", y).set("width", WIDTH).set("height", ROW).set("fill", BAND));
    }
    group.add(words(shortened(name, LETTERS), 6.0, y + ROW / 2.0 + 4.5, "start"))
}

fn scale_lines(scale: &Axis, foot: f64, what: &str) -> Group {
    let middle = (LABELS + WIDTH - RIGHT) / 2.0;
    let mut group = Group::new().add(line(LABELS, foot, WIDTH - RIGHT, foot, QUIET)).add(words(
        format!("{what} per 10 cm"),
        middle,
        foot + 38.0,
        "middle",
    ));
    for tick in scale.ticks(4.0) {
        let x = scale.place(tick);
        let number = words(bare_number(tick), x, foot + 18.0, "middle");
        group = group.add(line(x, TOP - 4.0, x, foot + 4.0, FAINT)).add(number.set("font-size", 12));
    }
    group
}

/// The class's mean as a dashed line with its words above.
fn mean_line(spread: &Spread, scale: &Axis, foot: f64) -> Group {
    let mean = spread.mean_per_10cm.value;
    let x = scale.place(mean);
    let anchor = if x > WIDTH - 90.0 { "end" } else { "middle" };
    Group::new()
        .add(line(x, TOP - 8.0, x, foot, OTHER).set("stroke-width", 2).set("stroke-dasharray", "6 4"))
        .add(words(format!("mean {mean:.1}"), x, TOP - 14.0, anchor).set("font-weight", 600))
}
