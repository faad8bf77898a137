//! A class in words for a terminal: short lines that fit 80 columns.

use super::words::{
    as_written_briefly, counts, deviation, interval, mean_sentence, needle, part_name, piece_sentence,
    precision_sentence, rows_sentence, share_sentence, sharing_sentence, spread_sentence, stands_apart,
};
use crate::class::{Class, Spread};
use crate::report::one_line::{safe, shortened};
use crate::report::text::Lines;

/// Columns a name may take.
const NAME: usize = 16;

/// The class in words.
pub fn describe(class: &Class) -> String {
    let mut out = Lines::default();
    let title = if class.title.is_empty() { "The class" } else { &class.title };
    out.plain(&format!("{}: {}", safe(title), counts(class)));
    for spread in &class.spread {
        axis(&mut out, spread);
    }
    knitters(&mut out, class);
    if let Some(piece) = &class.piece {
        out.plain("");
        out.paragraph(&piece_sentence(piece));
        if let Some(rows) = rows_sentence(piece) {
            out.paragraph(&rows);
        }
        out.paragraph(&sharing_sentence(class, piece));
        pieces(&mut out, class);
    }
    if !class.notes.is_empty() {
        out.plain("");
        out.heading("What can and can't be concluded");
        class.notes.iter().for_each(|n| out.item(&safe(&n.message)));
    }
    if !class.left_out.is_empty() {
        out.heading("Left out");
        for left in &class.left_out {
            out.item(&format!("{}: {}", safe(&left.label), safe(&left.reason)));
        }
    }
    out.0
}

fn axis(out: &mut Lines, spread: &Spread) {
    out.plain("");
    out.paragraph(&mean_sentence(spread));
    if let Some(sentence) = spread_sentence(spread) {
        out.paragraph(&sentence);
    }
    out.plain(&format!(
        "  {:<37}{:>9}  {:<16}{:>5}  {:>6}",
        "Standard deviation", "per 10 cm", "95 % interval", "%", "share"
    ));
    for part in &spread.parts {
        let (value, ends) = deviation(part);
        out.plain(&format!(
            "  {:<37}{value:>9}  {ends:<16}{:>5.1}  {:>4.0} %",
            part_name(part.what),
            part.percent,
            100.0 * part.share
        ));
    }
    for sentence in [share_sentence(spread), precision_sentence(spread)].into_iter().flatten() {
        out.paragraph(&sentence);
    }
}

fn knitters(out: &mut Lines, class: &Class) {
    out.plain("");
    out.plain(&format!("  {:<NAME$}  {:>8}  {:>13}  {:>13}", "Knitter", "Swatches", "Stitches", "Rows"));
    for knitter in &class.knitters {
        let value = |axis: usize| knitter.per_10cm[axis].map_or_else(String::new, |g| interval(&g));
        let apart = if stands_apart(knitter) { "  stands apart" } else { "" };
        let line = format!(
            "  {:<NAME$}  {:>8}  {:>13}  {:>13}{apart}",
            name(&knitter.name),
            knitter.swatches,
            value(0),
            value(1)
        );
        out.plain(line.trim_end());
    }
}

fn pieces(out: &mut Lines, class: &Class) {
    out.plain("");
    out.plain(&format!(
        "  {:<NAME$}  {:>14}  {:<16}  {:>7}  {}",
        "Knitter", "As written, cm", "Near enough", "Cast on", "Needle"
    ));
    for knitter in &class.knitters {
        let Some(piece) = &knitter.piece else { continue };
        let width =
            crate::quantity::plus_minus(piece.width_mm.value / 10.0, piece.width_mm.expanded_uncertainty / 10.0);
        out.plain(&format!(
            "  {:<NAME$}  {width:>14}  {:<16}  {:>7}  {}",
            name(&knitter.name),
            as_written_briefly(piece),
            piece.cast_on,
            needle(piece)
        ));
    }
}

/// A name on one line, cut to its column.
fn name(name: &str) -> String {
    safe(&shortened(name, NAME))
}
