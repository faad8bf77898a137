//! The handout: a class as one printable page of HTML that holds all it needs.

use super::words::{
    as_written, counts, deviation, interval, mean_sentence, needle, part_name, piece_sentence, precision_sentence,
    rows_sentence, share_sentence, sharing_sentence, spread_sentence, stands_apart,
};
use super::{Naming, dots::dots, initials, shares::shares, sizes::sizes};
use crate::class::{Class, Knitter, Note, Spread, Swatch};
use crate::report::one_line::capital;
use crate::report::page::styled_page;
use crate::report::place_map::{PlaceMap, legend, widest_percent};
use crate::report::plan_measures::cm_interval;
use maud::{Markup, PreEscaped, html};

/// A swatch's photo with its local map: place of the swatch in [`Class::swatches`], and the map.
#[derive(Debug, Clone, PartialEq)]
pub struct SwatchPicture {
    /// Which swatch.
    pub swatch: usize,
    /// Its map.
    pub map: PlaceMap,
}

/// How the handout looks on a screen of any width and on A4 or Letter paper (margins leave both room).
const STYLE: &str = "\
@page { margin: 14mm }
:root { color: #1c1c1c; background: #fff; font: 16px/1.45 system-ui, sans-serif }
body { max-width: 58rem; margin: 0 auto; padding: 1rem 1rem 2.5rem }
h1 { font-size: 1.6rem; margin: 0 0 .2rem } h2 { font-size: 1.2rem; margin: 1.8rem 0 .4rem; border-bottom: 1px solid #888 }
p, ul { margin: .4rem 0; max-width: 46rem } ul { padding-left: 1.3rem } .quiet { color: #555 } .small { font-size: .9rem }
.lead { font-size: 1.1rem }
figure { margin: .6rem 0 } svg { max-width: 100%; height: auto; display: block }
.beside { display: flex; flex-wrap: wrap; gap: .6rem 1.6rem } .beside > figure { flex: 1 1 20rem; max-width: 27rem }
.maps { display: flex; flex-wrap: wrap; gap: .8rem } .maps > figure { flex: 1 1 9.5rem; max-width: 12.5rem; margin: 0 }
.legend { margin: .4rem 0; font-size: .9rem }
figcaption { font-size: .9rem; margin-bottom: .2rem }
.wide { overflow-x: auto }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; margin: .4rem 0; font-size: .95rem }
th, td { text-align: left; vertical-align: top; padding: .2rem .8rem .2rem 0; border-bottom: 1px solid #ddd }
th { font-weight: 600; border-bottom-color: #888 } .number { text-align: right; white-space: nowrap }
.names td, .names th { white-space: nowrap }
@media print {
  :root { font-size: 9.5pt } body { padding: 0; max-width: none } p, ul { max-width: none } h2 { margin-top: 1.1rem }
  tr, figure, li { break-inside: avoid } h2, figcaption { break-after: avoid } .wide { overflow: visible }
  .beside { flex-wrap: nowrap } .beside > figure { flex: 0 0 47%; max-width: 47% } .beside > .wide { flex: 1 1 50% } .beside table { font-size: .85rem }
  .maps { gap: .5rem } .maps > figure { flex: 0 0 18.5% } .sizes svg { max-width: 100mm }
  .legend, .before { break-after: avoid }
  .together { break-inside: avoid }
}
";

/// The whole page.
pub fn page(class: &Class, naming: Naming, pictures: &[SwatchPicture]) -> String {
    let full: Vec<String> = class.knitters.iter().map(|k| k.name.clone()).collect();
    let names = if naming == Naming::Names { full } else { initials(&full) };
    let title = if class.title.is_empty() { "One pattern, many hands" } else { &class.title };
    let body = html! {
        h1 { (title) }
        p.quiet { (counts(class)) ". Gauge is the number of stitches and rows in 10 cm." }
        (lead(class))
        h2 { "What each knitter's swatch measured" }
        p { "A dot is a swatch, the line through it its 95 % interval: how far the measuring can be off. The dashed line is the "
            "mean of the class." }
        div.beside { @for spread in &class.spread { figure { (PreEscaped(dots(class, spread, &names))) } } }
        h2 { "Where the differences come from" }
        @for spread in &class.spread { (parts(spread)) }
        (piece(class, &names))
        (maps(class, &names, pictures))
        h2 { "What can and can't be concluded" }
        (conclusions(class, &names, naming))
        p.quiet.small {
            "± is half of a 95 % interval. A standard deviation says how far apart values lie: about two of three are within one "
            "of the mean, nineteen of twenty within two. Components of variance by restricted maximum likelihood, each "
            "measurement's own stated error taken out; needle sizes by common practice. Made by Walewise " (class.version) "."
        }
    };
    styled_page(title, STYLE, &body)
}

/// What a reader should take home.
fn lead(class: &Class) -> Markup {
    html! {
        @if let Some(piece) = &class.piece { p.lead { strong { (piece_sentence(piece)) } } }
        @for spread in &class.spread { p { (mean_sentence(spread)) @if let Some(s) = spread_sentence(spread) { " " (s) } } }
    }
}

/// One axis: shares, and a table of the parts.
fn parts(spread: &Spread) -> Markup {
    let what = spread.counted.word(2);
    html! {
        div.together {
            div.beside {
                figure { (PreEscaped(shares(spread))) }
                div.wide { table {
                    thead { tr {
                        th { (capital(what)) ", standard deviation" } th.number { "per 10 cm" } th { "95 % interval" } th.number { "%" }
                    } }
                    tbody { @for part in &spread.parts {
                        @let (value, ends) = deviation(part);
                        tr {
                            td { (part_name(part.what)) }
                            td.number { (value) }
                            td { (ends) }
                            td.number { (format!("{:.1}", part.percent)) }
                        }
                    } }
                } }
            }
            @for sentence in [share_sentence(spread), precision_sentence(spread)].into_iter().flatten() { p { (sentence) } }
        }
    }
}

/// The piece in every knitter's hands.
fn piece(class: &Class, names: &[String]) -> Markup {
    html! { @if let Some(piece) = &class.piece {
        h2 { "What that does to one piece" }
        p { (piece_sentence(piece)) @if let Some(rows) = rows_sentence(piece) { " " (rows) } }
        p { (sharing_sentence(class, piece)) }
        figure.sizes { (PreEscaped(sizes(class, piece, names))) }
        p.small { "The pieces are drawn to one scale; below them the widths, enlarged. A filled dot: within the shaded range with 95 %. An open one: surely outside. A pale one: it "
            "can't be told. The lines are 95 % intervals of the next piece." }
        div.wide { table.names {
            thead { tr {
                th { "Knitter" } th { "Width as written" } th { "Near enough?" } th.number { "Cast on instead" }
                @if piece.rows.is_some() { th.number { "Rows" } } th { "Needle to try" }
            } }
            tbody { @for (knitter, name) in class.knitters.iter().zip(names) { (piece_row(knitter, name, piece.rows.is_some())) } }
        } }
    } }
}

fn piece_row(knitter: &Knitter, name: &str, rows: bool) -> Markup {
    html! { @if let Some(piece) = &knitter.piece { tr {
        td { bdi { (name) } }
        td { (cm_interval(&piece.width_mm)) }
        td { (as_written(piece)) }
        td.number { (piece.cast_on) }
        @if rows { td.number { @if let Some(own) = piece.rows { (own) } } }
        td { (needle(piece)) }
    } } }
}

/// The local maps over the photos.
fn maps(class: &Class, names: &[String], pictures: &[SwatchPicture]) -> Markup {
    let widest = widest_percent(pictures.iter().flat_map(|p| p.map.departures(0)));
    html! { @if !pictures.is_empty() {
        h2 { "Within one swatch" }
        p.before { "Even one knitter's swatch is not the same everywhere. Each mark is the stitch gauge around its place, against the "
            "mean of that swatch." }
        (legend(widest, "more stitches"))
        div.maps { @for picture in pictures { (map(class, names, picture, widest)) } }
        @if let Some(worth) = worth(class) { p.small { (worth) } }
    } }
}

/// Why marks are no measurements.
fn worth(class: &Class) -> Option<String> {
    let maps: Vec<_> = class.swatches.iter().filter_map(|s| s.places[0]).collect();
    let n = maps.len() as f64;
    let marks = maps.iter().map(|m| m.places as f64).sum::<f64>() / n;
    let places = maps.iter().map(|m| m.independent_places).sum::<f64>() / n;
    (!maps.is_empty()).then(|| {
        format!(
            "Neighbouring marks share stitches and tension: the {marks:.0} marks of a swatch are worth about {places:.0} \
             independent places."
        )
    })
}

fn map(class: &Class, names: &[String], picture: &SwatchPicture, widest: f64) -> Markup {
    let swatch = &class.swatches[picture.swatch];
    let name = &names[swatch.knitter];
    let several = class.knitters[swatch.knitter].swatches > 1;
    let mean = swatch.per_10cm[0].map_or(1.0, |g| g.value);
    let varies = swatch.places[0].map(|p| format!("{:.1} % from place to place", 100.0 * p.standard_deviation / mean));
    let title = format!("Photo of the swatch of {name} with the local stitch gauge as coloured marks");
    html! { figure {
        (PreEscaped(picture.map.draw(0, widest, &title)))
        figcaption {
            bdi { strong { (name) } @if several { ", " (swatch_label(swatch, class)) } }
            @if let Some(g) = swatch.per_10cm[0] { ": " (interval(&g)) }
            @if let Some(varies) = varies { br; span.quiet { (varies) } }
        }
    } }
}

/// `swatch 2`: names of folders and files stay out of handouts.
fn swatch_label(swatch: &Swatch, class: &Class) -> String {
    let own: Vec<_> = class.swatches.iter().filter(|s| s.knitter == swatch.knitter).collect();
    format!("swatch {}", own.iter().position(|s| s.name == swatch.name).map_or(1, |i| i + 1))
}

/// Notes, and what was left out; with initials no name and no file's name appears.
fn conclusions(class: &Class, names: &[String], naming: Naming) -> Markup {
    // A note about a knitter begins with the full name.
    let worded = |note: &Note| {
        let about = note.knitter.and_then(|k| Some((&names[k], note.message.strip_prefix(&class.knitters[k].name)?)));
        about.map_or_else(|| note.message.clone(), |(name, rest)| format!("{name}{rest}"))
    };
    let apart = class.knitters.iter().any(stands_apart);
    html! {
        ul { @for note in &class.notes { li { (worded(note)) } } }
        @if apart { p.small { "Who stands apart has open dots above." } }
        @if !class.left_out.is_empty() {
            p { "Left out:" }
            ul { @for (i, left) in class.left_out.iter().enumerate() {
                @if naming == Naming::Names {
                    li { bdi { (left.label) } ": " (left.reason) }
                } @else {
                    li { (i + 1) ": " (left.kind.words()) "." }
                }
            } }
        }
    }
}
