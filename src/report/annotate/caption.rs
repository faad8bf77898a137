//! The bar below the picture: the result or the refusal in words, and what the marks mean.

use super::canvas::{Canvas, Mark, colour, words_size};
use crate::record::{Evidence, Record, Status};
use crate::report::text;
use image::{Rgb, RgbImage};

/// Adds the bar below the picture; the picture itself stays as it is.
pub fn add_below(picture: RgbImage, record: &Record, evidence: &Evidence, pen: f64) -> RgbImage {
    let width = picture.width();
    let size = 22.0 * pen;
    let margin = size;
    let room = f64::from(width) - 2.0 * margin;
    let lines: Vec<String> = paragraphs(record).iter().flat_map(|p| wrapped(p, room, size)).collect();
    let legend: Vec<Entry> = legend(evidence).into_iter().flat_map(|e| e.wrapped(room, size)).collect();
    let step = 1.35 * size;
    let rows = lines.len() + legend.len();
    let height = (step * rows as f64 + 1.6 * margin).ceil() as u32;
    let mut bar = Canvas::new(RgbImage::from_pixel(width, height, colour::WHITE));
    for (i, line) in lines.iter().enumerate() {
        let y = margin + step * (i as f64 + 0.4);
        write(&mut bar, margin, y, size, line);
    }
    for (i, entry) in legend.iter().enumerate() {
        let y = margin + step * ((lines.len() + i) as f64 + 0.5);
        entry.draw(&mut bar, margin, y, size);
    }
    below(picture, bar.into_picture())
}

/// Two pictures of one width, one below the other.
fn below(upper: RgbImage, lower: RgbImage) -> RgbImage {
    let (width, height) = (upper.width(), upper.height() + lower.height());
    let mut pixels = upper.into_raw();
    pixels.extend_from_slice(&lower);
    RgbImage::from_raw(width, height, pixels).unwrap_or(lower)
}

fn write(bar: &mut Canvas, left: f64, y: f64, size: f64, text: &str) {
    let centre = (left + words_size(text, size).0 / 2.0, y);
    let words = [Mark::Words { centre, size, text: text.to_owned() }];
    bar.layer(&words, colour::BLACK, (colour::WHITE, 0.0), 1.0);
}

/// The text in lines that fit.
fn wrapped(text: &str, width: f64, size: f64) -> Vec<String> {
    // All letters of the font are equally wide.
    let letters = (width / words_size("n", size).0.max(1.0)).max(10.0) as usize;
    text::wrap(text, letters)
}

/// The result, or why there is none.
fn paragraphs(record: &Record) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(gauge) = &record.gauge {
        out.push(text::per_10cm(&gauge.stitches_per_10cm, "stitches"));
        out.push(text::per_10cm(&gauge.rows_per_10cm, "rows"));
        out.push(format!("({:.0} % confidence)", gauge.stitches_per_10cm.confidence.fraction() * 100.0));
    }
    if let Some(refusal) = &record.refusal {
        out.push(format!("No gauge: {}.", refusal.message));
        out.extend(refusal.rivals.iter().take(3).map(text::rival));
        out.push(refusal.advice.clone());
    }
    if let (Some(error), Status::Failed | Status::Unreadable) = (&record.error, record.status) {
        out.push(format!("No gauge: {}.", error.message));
    }
    out
}

/// One kind of mark and what it means.
struct Entry {
    kind: Option<Kind>,
    means: String,
}

enum Kind {
    Disc(Rgb<u8>, Rgb<u8>),
    Cross,
    Tick,
    Lines,
}

fn legend(evidence: &Evidence) -> Vec<Entry> {
    let mut out = Vec::new();
    let mut add = |kind, count: usize, means: &str| {
        if count > 0 {
            out.push(Entry { kind: Some(kind), means: format!("{means} ({count})") });
        }
    };
    let marks = || evidence.trains.iter().flat_map(|t| &t.marks);
    let loops = &evidence.loops;
    add(Kind::Tick, marks().filter(|m| m.matched).count(), "mark of the ruler that was read");
    let strange = marks().filter(|m| !m.matched).count() + loops.iter().filter(|l| !l.matched).count();
    add(
        Kind::Disc(colour::VERMILION, colour::BLACK),
        loops.iter().filter(|l| l.matched).count(),
        "stitch that was seen",
    );
    add(Kind::Cross, strange, "expected and not seen, or does not fit: look here");
    if evidence.lattice.is_some() {
        let means = "one line through each column of stitches and each row; yellow every tenth".to_owned();
        out.push(Entry { kind: Some(Kind::Lines), means });
    }
    if !evidence.other_parts_px.is_empty() {
        let means = "outlined without lines: another part of the fabric, measured too".to_owned();
        out.push(Entry { kind: None, means });
    }
    out
}

/// Height of the legend's words, as a part of the result's.
const LEGEND_SIZE: f64 = 0.75;
/// Room for the mark in front of them, in units of their height.
const LEGEND_INDENT: f64 = 2.4;

impl Entry {
    /// The entry in lines that fit; the mark stands before the first.
    fn wrapped(self, width: f64, size: f64) -> Vec<Self> {
        let size = LEGEND_SIZE * size;
        let mut kind = Some(self.kind);
        let lines = wrapped(&self.means, width - LEGEND_INDENT * size, size);
        lines.into_iter().map(|means| Self { kind: kind.take().flatten(), means }).collect()
    }

    fn draw(&self, bar: &mut Canvas, left: f64, y: f64, size: f64) {
        let size = LEGEND_SIZE * size;
        let centre = (left + size, y);
        let line = |dx0: f64, dy0: f64, dx1: f64, dy1: f64| Mark::Line {
            from: (centre.0 + dx0 * size, y + dy0 * size),
            to: (centre.0 + dx1 * size, y + dy1 * size),
            width: 0.12 * size,
        };
        match self.kind {
            None => {}
            Some(Kind::Disc(ink, casing)) => {
                bar.layer(&[Mark::Disc { centre, radius: 0.3 * size }], ink, (casing, 0.06 * size), 1.0);
            }
            Some(Kind::Cross) => {
                let cross = Mark::cross(centre, 0.4 * size, 0.15 * size);
                bar.layer(&cross, colour::BLACK, (colour::YELLOW, 0.12 * size), 1.0);
            }
            Some(Kind::Tick) => {
                let ticks = [line(-0.4, -0.4, -0.4, 0.4), line(0.0, -0.1, 0.0, 0.4), line(0.4, -0.1, 0.4, 0.4)];
                bar.layer(&ticks, colour::VERMILION, (colour::WHITE, 0.0), 1.0);
            }
            Some(Kind::Lines) => {
                let casing = (colour::BLACK, 0.05 * size);
                bar.layer(&[line(-0.8, -0.2, 0.8, -0.2), line(-0.3, -0.5, -0.3, 0.5)], colour::SKY, casing, 1.0);
                bar.layer(&[line(0.3, -0.5, 0.3, 0.5)], colour::YELLOW, casing, 1.0);
            }
        }
        write(bar, left + LEGEND_INDENT * size, y, size, &self.means);
    }
}
