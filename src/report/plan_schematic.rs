//! Each piece drawn to scale, with its measures and counts, as SVG in millimetres of paper.

use super::plan_measures::{cm, count};
use crate::plan::{CordPlan, PartPlan, PiecePlan, SizedPiece};
use crate::sizing::{Counted, Direction};
use svg::Document;
use svg::node::element::{Line, Polygon, Text};

/// Scales that are drawn in: one mm on paper is so many of the piece.
const SCALES: [u32; 14] = [1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 40, 100];
/// Room for the outline of a piece in one size on paper, in mm: an A4 page within its margins, less the labels.
const ROOM_MM: (f64, f64) = (110.0, 110.0);
/// The same where several sizes stand side by side, two in a row.
const ROOM_OF_SEVERAL_MM: (f64, f64) = (40.0, 70.0);
/// Margins about the outline for measures, in mm of paper: left, top, right, bottom.
const MARGINS_MM: [f64; 4] = [4.0, 3.0, 40.0, 16.0];
/// Height of letters, in mm of paper.
const LETTERS_MM: f64 = 3.2;
/// How much of a cord is drawn, in mm of paper.
const CORD_MM: f64 = 12.0;
/// Length of the bar that proves the scale, in mm of the piece.
const BAR_MM: f64 = 100.0;

/// The finest scale in which all sizes of a piece fit a page.
pub fn scale_of(piece: &PiecePlan) -> u32 {
    let outlines: Vec<Outline> = piece.sizes.iter().map(|sized| Outline::of(piece, sized)).collect();
    let room = if outlines.len() > 1 { ROOM_OF_SEVERAL_MM } else { ROOM_MM };
    let fits = |n: &&u32| {
        let n = f64::from(**n);
        outlines.iter().all(|o| o.width_mm / n <= room.0 && o.height_mm / n <= room.1)
    };
    SCALES.iter().find(fits).copied().unwrap_or(SCALES[SCALES.len() - 1])
}

/// One size of a piece at 1 : `scale`.
pub fn draw(piece: &PiecePlan, sized: &SizedPiece, scale: u32) -> String {
    let outline = Outline::of(piece, sized);
    let n = f64::from(scale);
    let [left, top, right, bottom] = MARGINS_MM;
    let cord = if outline.cord { CORD_MM } else { 0.0 };
    let (width, height) = (outline.width_mm / n, outline.height_mm / n);
    // The bar has to fit beside narrow pieces too.
    let whole = (left + width.max(BAR_MM / n) + 2.0 * cord + right, top + height + bottom);
    let paper = Paper { left: left + cord, base: top + height, per_mm: 1.0 / n };
    let mut page = Document::new()
        .set("viewBox", (0, 0, round(whole.0), round(whole.1)))
        .set("width", format!("{}mm", round(whole.0)))
        .set("height", format!("{}mm", round(whole.1)))
        .set("font-size", LETTERS_MM)
        .set("font-family", "sans-serif")
        .set("role", "img");
    if outline.cord {
        page = draw_cords(page, paper, &outline);
    }
    for part in &outline.parts {
        page = page.add(paper.polygon(&part.corners));
    }
    page = draw_labels(page, paper, &outline);
    draw_bar(page, paper, scale).to_string()
}

/// A place on paper from mm of the piece: x to the right, y upwards from the cast-on edge.
#[derive(Clone, Copy)]
struct Paper {
    left: f64,
    base: f64,
    per_mm: f64,
}

impl Paper {
    fn at(self, x: f64, y: f64) -> (f64, f64) {
        (round(self.left + x * self.per_mm), round(self.base - y * self.per_mm))
    }

    fn polygon(self, corners: &[(f64, f64)]) -> Polygon {
        let points: Vec<String> = corners.iter().map(|c| self.at(c.0, c.1)).map(|(x, y)| format!("{x},{y}")).collect();
        Polygon::new()
            .set("points", points.join(" "))
            .set("fill", "#f2efe8")
            .set("stroke", "#222222")
            .set("stroke-width", 0.35)
            .set("stroke-linejoin", "round")
    }
}

/// Hundredths of a millimetre are finer than any printer.
fn round(mm: f64) -> f64 {
    (mm * 100.0).round() / 100.0
}

/// A piece as it is drawn, in mm of the piece.
struct Outline {
    width_mm: f64,
    height_mm: f64,
    parts: Vec<PartOutline>,
    /// Whether it ends in cords.
    cord: bool,
    /// What is measured below the cast-on edge, from where to where.
    below: Below,
}

/// A measure below the outline.
#[derive(Default)]
struct Below {
    from_mm: f64,
    to_mm: f64,
    words: String,
}

struct PartOutline {
    corners: Vec<(f64, f64)>,
    /// Height at which its label stands.
    middle_mm: f64,
    label: Vec<String>,
}

impl Outline {
    fn of(piece: &PiecePlan, sized: &SizedPiece) -> Self {
        match piece.direction {
            Direction::Upwards => Self::upwards(piece, sized),
            Direction::Sideways => Self::sideways(piece, sized),
        }
    }

    /// Parts stacked on each other, each from its width below to its width above. A tube lies flat: half as wide.
    fn upwards(piece: &PiecePlan, sized: &SizedPiece) -> Self {
        let flat = |mm: f64| if piece.round { mm / 2.0 } else { mm };
        let widest = sized.parts.iter().flat_map(widths).map(flat).fold(0.0, f64::max);
        let mut y = 0.0;
        let mut parts = Vec::new();
        for part in &sized.parts {
            let start = y;
            let mut left = Vec::new();
            for (width, rise) in edge(part, widest) {
                y += rise;
                left.push((flat(width), y));
            }
            let middle = widest / 2.0;
            let mut corners: Vec<(f64, f64)> = left.iter().map(|(w, y)| (middle - w / 2.0, *y)).collect();
            corners.extend(left.iter().rev().map(|(w, y)| (middle + w / 2.0, *y)));
            parts.push(PartOutline { corners, middle_mm: (start + y) / 2.0, label: part_label(piece, part) });
        }
        let below = sized.parts.first().map_or_else(Below::default, |first| {
            let mm = first.stitches.finished_mm.value;
            let round = if piece.round { " round" } else { "" };
            let words = format!("{}{round} · {}", cm(mm), count(first.stitches.count, Counted::Stitches, piece.round));
            Below { from_mm: (widest - flat(mm)) / 2.0, to_mm: (widest + flat(mm)) / 2.0, words }
        });
        Self { width_mm: widest, height_mm: y, parts, cord: false, below }
    }

    /// The rows run to the right, the stitches upwards; a band narrows to its cords at both ends.
    fn sideways(piece: &PiecePlan, sized: &SizedPiece) -> Self {
        let Some(part) = sized.parts.first() else {
            return Self { width_mm: 0.0, height_mm: 0.0, parts: Vec::new(), cord: false, below: Below::default() };
        };
        let (width, height) =
            (part.rows.as_ref().map_or(0.0, |r| r.finished_mm.value), widths(part).fold(0.0, f64::max));
        let corners = match &part.cord {
            None => lying(part, height),
            Some(cord) => {
                let taper = cord.taper_mm.value.min(width / 2.0);
                let (low, high) = cord_edges(part, cord, height);
                let (a, b) = (taper, width - taper);
                vec![(0.0, low), (0.0, high), (a, height), (b, height), (width, high), (width, low), (b, 0.0), (a, 0.0)]
            }
        };
        let words = part
            .rows
            .as_ref()
            .map_or_else(String::new, |r| format!("{} · {}", cm(width), count(r.count, Counted::Rows, piece.round)));
        let most = part.shaping.iter().map(|s| s.schedule.to).fold(part.stitches.count, u32::max);
        let mut label = vec![part.name.clone(), format!("{} · {}", cm(height), count(most, Counted::Stitches, false))];
        let below = Below { from_mm: 0.0, to_mm: width, words };
        label.extend(part.cord.as_ref().map(|cord| format!("cords {}", cm(cord.length_mm.mm()))));
        let outline = PartOutline { corners, middle_mm: height / 2.0, label };
        Self { width_mm: width, height_mm: height, parts: vec![outline], cord: part.cord.is_some(), below }
    }
}

/// The outline of a shaped part whose rows run to the right, about the middle of `height`.
fn lying(part: &PartPlan, height: f64) -> Vec<(f64, f64)> {
    let mut x = 0.0;
    let ends: Vec<(f64, f64)> = edge(part, height)
        .into_iter()
        .map(|(stitches, rows)| {
            x += rows;
            (x, stitches / 2.0)
        })
        .collect();
    let upper = ends.iter().map(|(x, half)| (*x, height / 2.0 + half));
    upper.chain(ends.iter().rev().map(|(x, half)| (*x, height / 2.0 - half))).collect()
}

/// Lower and upper edge of the cord where it meets the band.
fn cord_edges(part: &PartPlan, cord: &CordPlan, height: f64) -> (f64, f64) {
    let half = height * f64::from(cord.stitches) / f64::from(part.stitches.count.max(1)) / 2.0;
    (height / 2.0 - half, height / 2.0 + half)
}

/// All widths a part has from bottom to top, in mm.
fn widths(part: &PartPlan) -> impl Iterator<Item = f64> + '_ {
    let start = std::iter::once(part.stitches.finished_mm.value);
    start.chain(part.shaping.iter().map(|s| s.width_after_mm.value))
}

/// The widths of a part and how far each lies above the one before, in mm. A part of unknown length is drawn a third as
/// high as the piece is wide.
fn edge(part: &PartPlan, widest: f64) -> Vec<(f64, f64)> {
    let mut edge = vec![(part.stitches.finished_mm.value, 0.0)];
    let shaped: f64 = part.shaping.iter().filter_map(|s| s.length_mm.as_ref().map(|l| l.value)).sum();
    for step in &part.shaping {
        edge.push((step.width_after_mm.value, step.length_mm.as_ref().map_or(0.0, |l| l.value)));
    }
    let unknown = if shaped > 0.0 { shaped } else { widest / 3.0 };
    let rest = part.rows.as_ref().map_or(unknown, |r| r.finished_mm.value) - shaped;
    if rest > 0.0 {
        edge.push((part.shaping.last().map_or(part.stitches.finished_mm.value, |s| s.width_after_mm.value), rest));
    }
    edge
}

fn part_label(piece: &PiecePlan, part: &PartPlan) -> Vec<String> {
    let rows = part.rows.as_ref().map_or_else(
        || "length as you like".to_owned(),
        |r| format!("{} · {}", cm(r.finished_mm.value), count(r.count, Counted::Rows, piece.round)),
    );
    let end = count(part.stitches_at_end, Counted::Stitches, piece.round);
    let stitches = match part.stitches.count {
        same if same == part.stitches_at_end => end,
        start => format!("{start} to {end}"),
    };
    vec![format!("{}: {stitches}", part.name), rows]
}

fn text(words: &str, x: f64, y: f64) -> Text {
    Text::new(words).set("x", round(x)).set("y", round(y)).set("fill", "#222222")
}

fn line(from: (f64, f64), to: (f64, f64)) -> Line {
    Line::new()
        .set("x1", from.0)
        .set("y1", from.1)
        .set("x2", to.0)
        .set("y2", to.1)
        .set("stroke", "#222222")
        .set("stroke-width", 0.25)
}

fn draw_cords(mut page: Document, paper: Paper, outline: &Outline) -> Document {
    let y = outline.height_mm / 2.0;
    for (x, away) in [(0.0, -CORD_MM), (outline.width_mm, CORD_MM)] {
        let from = paper.at(x, y);
        page = page
            .add(line(from, (round(from.0 + away), from.1)).set("stroke-width", 0.9).set("stroke-dasharray", "2 1"));
    }
    page
}

fn draw_labels(mut page: Document, paper: Paper, outline: &Outline) -> Document {
    let cord = if outline.cord { CORD_MM } else { 0.0 };
    let (right, base) = (paper.at(outline.width_mm, 0.0).0, paper.base);
    for part in &outline.parts {
        let y = paper.at(0.0, part.middle_mm).1;
        for (i, words) in part.label.iter().enumerate() {
            let label = text(words, right + cord + 2.0, y + LETTERS_MM * 1.25 * i as f64);
            page = page.add(if i == 0 { label.set("font-weight", "bold") } else { label });
        }
    }
    let below = round(base + 2.0);
    let ends = [outline.below.from_mm, outline.below.to_mm].map(|mm| paper.at(mm, 0.0).0);
    page = page.add(line((ends[0], below), (ends[1], below)));
    for x in ends {
        page = page.add(line((x, below - 1.0), (x, below + 1.0)));
    }
    page.add(text(&outline.below.words, ends[0], below + LETTERS_MM * 1.4))
}

fn draw_bar(page: Document, paper: Paper, scale: u32) -> Document {
    let y = round(paper.base + 11.0);
    let end = round(paper.left + BAR_MM * paper.per_mm);
    page.add(line((paper.left, y), (end, y)).set("stroke-width", 0.8)).add(
        text(&format!("10 cm at 1 : {scale}"), paper.left, y + LETTERS_MM * 1.3).set("font-size", LETTERS_MM * 0.85),
    )
}
