//! The same piece in every knitter's hands, drawn to scale, as SVG.

use crate::class::{AsWritten, Class, KnitterPiece, Meaning};
use crate::report::axis::{Axis, BAND, FAINT, INK, MARK, OTHER, QUIET, drawing, hundredth, line, words};
use crate::report::comparison::bare_number;
use crate::report::one_line::shortened;
use svg::node::element::{Circle, Group, Rectangle};

/// Measures of the drawing, in px at full size, so narrow that letters stay legible on a phone: stated choices.
const WIDTH: f64 = 430.0;
const LEFT: f64 = 76.0;
const RIGHT: f64 = 14.0;
const GAP: f64 = 14.0;
const ROW: f64 = 20.0;
/// Letters of a name that fit beside the widths.
const LETTERS: usize = 9;
/// Height of a piece that holds its words, in px.
const ROOM_FOR_WORDS: f64 = 44.0;
/// Tallest a piece is drawn, in px.
const TALLEST: f64 = 90.0;

/// Narrowest, wanted and widest piece to scale, and below them every knitter's width, enlarged.
pub fn sizes(class: &Class, piece: &Meaning, names: &[String]) -> String {
    let own: Vec<(usize, &KnitterPiece)> =
        class.knitters.iter().enumerate().filter_map(|(k, knitter)| Some((k, knitter.piece.as_ref()?))).collect();
    let width = |k: &usize| own[*k].1.width_mm.value;
    let by_width = |a: &usize, b: &usize| width(a).total_cmp(&width(b));
    let (Some(narrow), Some(wide)) = ((0..own.len()).min_by(by_width), (0..own.len()).max_by(by_width)) else {
        return String::new();
    };
    let height = |k: usize| own[k].1.height_mm.map_or(piece.height_mm, |h| h.value);
    let longest = own.iter().map(|(_, p)| p.width_mm.interval().1).fold(piece.width_mm + piece.tolerance_mm, f64::max);
    let tallest = (0..own.len()).map(height).fold(piece.height_mm, f64::max);
    // One scale for widths and heights: as large as both allow.
    let per_mm = ((WIDTH - LEFT - RIGHT) / (longest * 1.03)).min(TALLEST / tallest);
    let shapes = [
        (format!("{}: narrowest", names[own[narrow].0]), width(&narrow), height(narrow)),
        ("wanted".to_owned(), piece.width_mm, piece.height_mm),
        (format!("{}: widest", names[own[wide].0]), width(&wide), height(wide)),
    ];
    let mut top = 8.0;
    let mut pieces = Group::new();
    for (i, (label, width_mm, height_mm)) in shapes.iter().enumerate() {
        let (w, h) = (width_mm * per_mm, height_mm * per_mm);
        pieces = pieces.add(outline(top, w, h, i == 1)).add(piece_words(label, *width_mm, *height_mm, top, h, w));
        top += h + if h > ROOM_FOR_WORDS { GAP } else { GAP + 14.0 };
    }
    let ends = own.iter().flat_map(|(_, p)| [p.width_mm.interval().0, p.width_mm.interval().1]);
    let near = [piece.width_mm - piece.tolerance_mm, piece.width_mm + piece.tolerance_mm];
    let scale = Axis::holding(ends.chain(near), 10.0, LEFT, WIDTH - LEFT - RIGHT);
    let foot = top + ROW * own.len() as f64;
    let whole = foot + 62.0;
    drawing(WIDTH, whole, &title(piece, &own, names))
        .add(wanted(piece, &scale, top, foot))
        .add(scale_lines(&scale, top, foot))
        .add(knitters(&own, names, &scale, top))
        .add(pieces)
        .to_string()
}

fn title(piece: &Meaning, own: &[(usize, &KnitterPiece)], names: &[String]) -> String {
    let each: Vec<String> =
        own.iter().map(|(k, p)| format!("{} {:.1} cm", names[*k], p.width_mm.value / 10.0)).collect();
    format!("Width of {} stitches in each knitter's hands: {}", piece.stitches, each.join(", "))
}

fn outline(top: f64, w: f64, h: f64, wanted: bool) -> Rectangle {
    let shape = Rectangle::new()
        .set("x", LEFT)
        .set("y", hundredth(top))
        .set("width", hundredth(w))
        .set("height", hundredth(h))
        .set("fill", if wanted { "#fff" } else { BAND })
        .set("stroke", if wanted { OTHER } else { INK })
        .set("stroke-width", 1.5);
    if wanted { shape.set("stroke-dasharray", "6 4") } else { shape }
}

/// What a piece is and how large, inside it.
fn piece_words(label: &str, width_mm: f64, height_mm: f64, top: f64, h: f64, w: f64) -> Group {
    let size = format!("{:.1} cm wide, {:.1} cm high", width_mm / 10.0, height_mm / 10.0);
    let middle = LEFT + w / 2.0;
    if h > ROOM_FOR_WORDS {
        return Group::new()
            .add(words(label, middle, top + h / 2.0 - 4.0, "middle").set("font-weight", 600))
            .add(words(size, middle, top + h / 2.0 + 14.0, "middle"));
    }
    Group::new().add(words(format!("{label}: {size}"), LEFT, top + h + 13.0, "start"))
}

/// The wanted width as a dashed line, and what is near enough as a band.
fn wanted(piece: &Meaning, scale: &Axis, top: f64, foot: f64) -> Group {
    let x = scale.place(piece.width_mm);
    let (low, high) = (piece.width_mm - piece.tolerance_mm, piece.width_mm + piece.tolerance_mm);
    let band = Rectangle::new()
        .set("x", scale.place(low))
        .set("y", hundredth(top - 6.0))
        .set("width", hundredth(scale.place(high) - scale.place(low)))
        .set("height", hundredth(foot - top + 6.0))
        .set("fill", "#fbe6cc");
    Group::new().add(band).add(line(x, top - 6.0, x, foot, OTHER).set("stroke-width", 2).set("stroke-dasharray", "6 4"))
}

fn scale_lines(scale: &Axis, top: f64, foot: f64) -> Group {
    let mut group = Group::new().add(line(LEFT, foot, WIDTH - RIGHT, foot, QUIET)).add(words(
        "width of the piece in cm, enlarged (shaded: near enough)",
        (LEFT + WIDTH - RIGHT) / 2.0,
        foot + 42.0,
        "middle",
    ));
    let centimetres = Axis::between(scale.low / 10.0, scale.high / 10.0, LEFT, WIDTH - LEFT - RIGHT);
    for tick in centimetres.ticks(5.0) {
        let x = centimetres.place(tick);
        let number = words(bare_number(tick), x, foot + 18.0, "middle");
        group = group.add(line(x, top, x, foot + 4.0, FAINT)).add(number.set("font-size", 12));
    }
    group
}

fn knitters(own: &[(usize, &KnitterPiece)], names: &[String], scale: &Axis, top: f64) -> Group {
    let mut group = Group::new();
    for (i, (k, piece)) in own.iter().enumerate() {
        let y = top + ROW * (i as f64 + 0.5);
        let (low, high) = piece.width_mm.interval();
        // Filled where the pattern fits as written, a ring where it surely does not, half-tone where it can't be told.
        let fill = match piece.pattern_as_written {
            AsWritten::Yes => MARK,
            AsWritten::No => "#fff",
            AsWritten::CantTell => "#a9c8dc",
        };
        group = group
            .add(words(shortened(&names[*k], LETTERS), 6.0, y + 4.5, "start"))
            .add(line(scale.place(low), y, scale.place(high), y, MARK).set("stroke-width", 2))
            .add(
                Circle::new()
                    .set("cx", scale.place(piece.width_mm.value))
                    .set("cy", hundredth(y))
                    .set("r", 4.5)
                    .set("fill", fill)
                    .set("stroke", MARK)
                    .set("stroke-width", 1.6),
            );
    }
    group
}
