//! The gauge from place to place, drawn over the photo of its swatch.

use super::axis::{INK, hundredth, words};
use super::picture::Picture;
use crate::quantity::PhotoPoint;
use crate::record::{Evidence, Record};
use image::RgbImage;
use maud::{Markup, PreEscaped, html};
use svg::Document;
use svg::node::element::{Circle, Image, Rectangle};

/// A swatch's photo with the places of its local map.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceMap {
    picture: Picture,
    /// Place in the picture, and stitches and rows there against the map's mean, in per cent.
    places: Vec<((f64, f64), [f64; 2])>,
    /// Radius of a mark, in px of the picture.
    radius: f64,
}

/// Five steps from light to dark: fewer stitches (looser) to more (tighter). Lightness falls evenly, so the steps stay in
/// order in grey print and for every kind of colour vision (yellow to blue, sampled by us).
const STEPS: [&str; 5] = ["#fff6c2", "#f0c95a", "#9fa58a", "#4f6d8f", "#102a54"];

impl PlaceMap {
    /// From a measured photo, at most `widest` px wide or high; `None` where there is no map.
    pub fn of(record: &Record, evidence: &Evidence, photo: &RgbImage, widest: u32) -> Option<Self> {
        let local = &record.lattice.as_ref()?.local;
        let n = local.len() as f64;
        if local.is_empty() {
            return None;
        }
        let corners: Vec<[f64; 2]> = evidence.region_px.iter().map(|p: &PhotoPoint| [p.x, p.y]).collect();
        let picture = Picture::of(photo, &corners, &evidence.blanked_px, widest)?;
        let gauge = |l: &crate::record::LocalGauge| [l.stitches_per_10cm, l.rows_per_10cm];
        let mean = [0, 1].map(|a| local.iter().map(|l| gauge(l)[a]).sum::<f64>() / n);
        let percent = |l| [0, 1].map(|a| 100.0 * (gauge(l)[a] / mean[a] - 1.0));
        let places: Vec<_> = local.iter().map(|l| (picture.place(l.x_px, l.y_px), percent(l))).collect();
        let area = f64::from(picture.size.0) * f64::from(picture.size.1);
        // Marks that cover an eighth of the ground between them leave the stitches to be seen.
        let radius = (area / 8.0 / n / std::f64::consts::PI).sqrt().clamp(4.0, 16.0);
        Some(Self { picture, places, radius })
    }

    /// Largest departure from the mean, in per cent, of stitches (0) or rows (1).
    pub fn largest(&self, axis: usize) -> f64 {
        self.places.iter().map(|p| p.1[axis].abs()).fold(0.0, f64::max)
    }

    /// Departures from the mean, in per cent, without their signs.
    pub fn departures(&self, axis: usize) -> impl Iterator<Item = f64> {
        self.places.iter().map(move |p| p.1[axis].abs())
    }

    /// The drawing; `widest_percent` is the departure that takes the outermost colours, and `title` says what is seen.
    pub fn draw(&self, axis: usize, widest_percent: f64, title: &str) -> String {
        let (w, h) = self.picture.size;
        let image = Image::new().set("href", self.picture.address.clone()).set("width", w).set("height", h);
        let mut document = Document::new()
            .set("viewBox", (0, 0, w, h))
            .set("width", w)
            .set("height", h)
            .set("role", "img")
            .add(svg::node::element::Title::new(title))
            .add(image);
        for ((x, y), percent) in &self.places {
            let mark = Circle::new()
                .set("cx", hundredth(*x))
                .set("cy", hundredth(*y))
                .set("r", hundredth(self.radius))
                .set("fill", step_colour(percent[axis], widest_percent))
                .set("stroke", INK)
                .set("stroke-width", 1.2);
            document = document.add(mark);
        }
        document.to_string()
    }
}

/// The colour of a departure from the mean.
fn step_colour(percent: f64, widest_percent: f64) -> &'static str {
    let part = (percent / widest_percent.max(1e-9) + 1.0) / 2.0;
    STEPS[((part * STEPS.len() as f64) as usize).min(STEPS.len() - 1)]
}

/// The departure that takes the outermost colours, for several maps: nineteen of twenty lie within it, up to the next half
/// per cent; the few beyond take the outermost colours too.
pub fn widest_percent(departures: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = departures.filter(|d| d.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let within = sorted.get(sorted.len().saturating_sub(1) * 19 / 20).copied().unwrap_or(0.0);
    ((2.0 * within).ceil() / 2.0).max(0.5)
}

/// What the colours mean.
pub fn legend(widest_percent: f64, more: &str) -> Markup {
    let width = 44.0;
    let mut document = Document::new()
        .set("viewBox", (0, 0, 5.0 * width + 40.0, 46))
        .set("width", 5.0 * width + 40.0)
        .set("height", 46)
        .set("font-family", "system-ui, sans-serif")
        .set("font-size", 12)
        .set("fill", INK)
        .set("role", "img")
        .add(svg::node::element::Title::new(format!(
            "Colours from {widest_percent} % fewer to {widest_percent} % {more}"
        )));
    for (i, colour) in STEPS.iter().enumerate() {
        let left = 20.0 + width * i as f64;
        let ends = Rectangle::new().set("x", left).set("y", 4).set("width", width).set("height", 16);
        document = document.add(ends.set("fill", *colour).set("stroke", INK).set("stroke-width", 0.7));
    }
    for i in 0..=STEPS.len() {
        let value = widest_percent * (2.0 * i as f64 / STEPS.len() as f64 - 1.0);
        let text = format!("{value:+.1}").replace('-', "\u{2212}");
        document = document.add(words(text, 20.0 + width * i as f64, 38.0, "middle"));
    }
    html! { div.legend { (PreEscaped(document.to_string())) span { "% " (more) " than the mean of the swatch (dark: tighter; the ends hold what is beyond)" } } }
}
