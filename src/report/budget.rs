//! The largest parts of the uncertainty in plain words, and what would make them smaller.

use crate::record::{Contribution, Record};

/// Sources below this share of the largest one (in variance) are not worth advice: halving them would not show.
const WORTH_ADVICE: f64 = 0.25;

/// For each source of uncertainty: a part of its name, what it is in plain words, what makes it smaller.
const SOURCES: [(&str, &str, &str); 10] = [
    ("graduation", "reading the ruler's marks", "Take the photo closer, sharp, with more of the ruler in the picture."),
    (
        "accuracy",
        "how true the ruler is",
        "Use a better ruler (steel, not a cloth tape), and more of its length; say which with --ruler-class.",
    ),
    ("tilt", "camera tilt that could not be seen", "Hold the camera level, straight above the swatch."),
    (
        "lens",
        "bending by the camera's lens",
        "Keep swatch and ruler near the middle of the picture; step back a little.",
    ),
    (
        "height",
        "ruler and fabric differ in height",
        "Take the photo from farther away, and say how thick the ruler is and what it lies on (--ruler-thickness, --ruler-on).",
    ),
    ("focal", "the camera's distance", "Use a photo straight from the camera, which still holds its focal length."),
    ("distance", "the camera's distance", "Use a photo straight from the camera, which still holds its focal length."),
    ("phase", "unevenness of the stitches", "Photograph a larger part of the fabric, or a larger swatch."),
    ("region", "which part of the fabric was taken", "Photograph a larger part of the fabric, or a larger swatch."),
    (
        "span",
        "where the ends of the given length lie",
        "Give a longer --span, with its ends read on an enlarged picture.",
    ),
];

/// The largest contributions, largest first.
pub fn largest(record: &Record, count: usize) -> Vec<&Contribution> {
    let mut parts: Vec<&Contribution> = record.budget.iter().filter(|p| variance(p) > 0.0).collect();
    parts.sort_by(|a, b| variance(b).total_cmp(&variance(a)));
    parts.truncate(count);
    parts
}

/// A source in plain words; its own name where there are none.
pub fn plain_words(source: &str) -> String {
    entry(source).map_or_else(|| source.replace('_', " "), |e| e.1.to_owned())
}

/// What would make the largest contributions smaller, each advice once.
pub fn advice(record: &Record) -> Vec<&'static str> {
    let parts = largest(record, 3);
    let Some(most) = parts.first().map(|p| variance(p)) else { return Vec::new() };
    let worth = parts.iter().filter(|p| variance(p) >= WORTH_ADVICE * most);
    let mut out: Vec<&'static str> = Vec::new();
    for advice in worth.filter_map(|p| entry(&p.source)).map(|e| e.2) {
        if !out.contains(&advice) {
            out.push(advice);
        }
    }
    out
}

fn entry(source: &str) -> Option<&'static (&'static str, &'static str, &'static str)> {
    let source = source.to_lowercase();
    SOURCES.iter().find(|e| source.contains(e.0))
}

fn variance(part: &Contribution) -> f64 {
    part.stitches_percent.powi(2) + part.rows_percent.powi(2)
}
