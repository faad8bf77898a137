//! What all drawings share: their opening, their colours, and values → places along an axis with round numbers to mark.

use svg::Document;
use svg::node::element::{Line, Rectangle, Text, Title};

/// Lines and letters.
pub const INK: &str = "#1c1c1c";
/// What stands back: axis lines, numbers. Contrast with white is 4.6 : 1, enough for small letters (WCAG 2.2, 1.4.3).
pub const QUIET: &str = "#737373";
/// Lines that lead the eye.
pub const FAINT: &str = "#ccc";
/// Every second line's ground.
pub const BAND: &str = "#f2f2f0";
/// What was measured.
pub const MARK: &str = "#0b5a8a";
/// What is to be compared with it: apart from blue for every kind of colour vision, and lighter in grey.
pub const OTHER: &str = "#c8690a";

/// A white drawing of a size in px, with the words that stand for it where it can't be seen.
pub fn drawing(width: f64, height: f64, title: &str) -> Document {
    let (width, height) = (hundredth(width), hundredth(height));
    Document::new()
        .set("viewBox", (0.0, 0.0, width, height))
        .set("width", width)
        .set("height", height)
        .set("font-family", "system-ui, sans-serif")
        .set("font-size", 13)
        .set("fill", INK)
        .set("role", "img")
        .add(Title::new(title))
        .add(Rectangle::new().set("width", width).set("height", height).set("fill", "#fff"))
}

/// Values → places.
#[derive(Debug, Clone, Copy)]
pub struct Axis {
    /// Least value that has a place.
    pub low: f64,
    /// Largest value that has a place.
    pub high: f64,
    start: f64,
    length: f64,
}

impl Axis {
    /// An axis that holds all these ends with a little room, never shorter than `least`; its place begins at `start`.
    pub fn holding(ends: impl Iterator<Item = f64>, least: f64, start: f64, length: f64) -> Self {
        let (low, high) = ends
            .filter(|e| e.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), e| (low.min(e), high.max(e)));
        let (low, high) = if low <= high { (low, high) } else { (0.0, 1.0) };
        let room = ((high - low) * 0.06).max((least - (high - low)) / 2.0);
        Self { low: low - room, high: high + room, start, length }
    }

    /// An axis from one value to another.
    pub fn between(low: f64, high: f64, start: f64, length: f64) -> Self {
        Self { low, high, start, length }
    }

    /// The place of a value, to a hundredth.
    pub fn place(&self, value: f64) -> f64 {
        hundredth(self.start + self.length * (value - self.low) / (self.high - self.low))
    }

    /// Round numbers on the axis: steps of 1, 2 or 5 times a power of ten, about `fewest` to twice as many.
    pub fn ticks(&self, fewest: f64) -> Vec<f64> {
        let span = self.high - self.low;
        let power = 10f64.powf((span / fewest).log10().floor());
        let step = [5.0, 2.0, 1.0].map(|s| s * power).into_iter().find(|s| span / s >= fewest).unwrap_or(power);
        let first = (self.low / step).ceil();
        let count = ((self.high / step).floor() - first) as usize;
        (0..=count).map(|i| (first + i as f64) * step).collect()
    }
}

/// Hundredths of a drawing's unit are finer than any screen or printer.
pub fn hundredth(place: f64) -> f64 {
    (place * 100.0).round() / 100.0
}

/// A line in one colour.
pub fn line(x1: f64, y1: f64, x2: f64, y2: f64, colour: &str) -> Line {
    Line::new()
        .set("x1", hundredth(x1))
        .set("y1", hundredth(y1))
        .set("x2", hundredth(x2))
        .set("y2", hundredth(y2))
        .set("stroke", colour)
}

/// Words at a place; `anchor` is `start`, `middle` or `end`.
pub fn words(text: impl Into<String>, x: f64, y: f64, anchor: &str) -> Text {
    Text::new(text.into()).set("x", hundredth(x)).set("y", hundredth(y)).set("text-anchor", anchor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_has_its_place_between_round_ticks() {
        for (a, b) in [(19.8, 24.6), (20.0, 20.0), (0.5, 158.0), (-1.0, 1.0)] {
            let axis = Axis::holding([a, b].into_iter(), 1.0, 100.0, 300.0);
            for value in [a, b] {
                assert!((100.0..=400.0).contains(&axis.place(value)), "{value}");
            }
            assert!((4..=11).contains(&axis.ticks(4.0).len()), "{:?}", axis.ticks(4.0));
            assert!(axis.ticks(4.0).iter().all(|t| (axis.low..=axis.high).contains(t)));
        }
        assert!(Axis::holding(std::iter::empty(), 1.0, 0.0, 10.0).place(0.5).is_finite());
    }
}
