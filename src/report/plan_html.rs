//! A plan as one printable page of HTML, with a drawing to scale of every piece. It holds all it needs: no scripts, no
//! fonts, no pictures from elsewhere.

use super::one_line::harmless;
use super::page::styled_page;
use super::plan_instructions::{ABBREVIATIONS, graded, instructions, worked};
use super::plan_measures::{cm, cm_interval, count, in_interval};
use super::plan_schematic::{draw, scale_of};
use super::plan_text::{
    count_words, evenly_words, gauge_over, needle_words, needs_abbreviations, printed_line, reason_words,
    regauged_words, shown, substitution_words, yarn_words,
};
use crate::plan::{AxisPlan, GaugeNote, PartPlan, PiecePlan, Plan, RegaugePlan};
use crate::quantity::Expanded;
use crate::sizing::{Counted, Direction, probability_percent};
use maud::{Markup, PreEscaped, html};

/// How the page looks on screen and on A4 or Letter paper.
const STYLE: &str = "\
@page { margin: 15mm }
body { font: 10.5pt/1.4 sans-serif; color: #222; max-width: 180mm; margin: 1em auto; padding: 0 1em }
h1 { font-size: 17pt; margin: 0 0 .3em } h2 { font-size: 13pt; margin: 1.4em 0 .3em; border-bottom: 1px solid #999 }
h3 { font-size: 10.5pt; margin: 1em 0 .2em }
table { border-collapse: collapse; margin: .4em 0; font-variant-numeric: tabular-nums; width: 100% }
th, td { text-align: left; padding: .15em .7em .15em 0; vertical-align: top; border-bottom: 1px solid #ddd }
td.number, th.number { text-align: right } .whole, td.number { white-space: nowrap } tr { color: #666 } thead tr, tr.chosen { color: #000 } tr.chosen { font-weight: bold }
.drawings { display: flex; flex-wrap: wrap; gap: 3mm 6mm; align-items: flex-end }
figure { margin: .4em 0 } figcaption { font-size: 9.5pt } figure svg { max-width: 100%; display: block }
.careful { border: 1.5px solid #a33; padding: .2em .9em; margin: 1em 0 }
.small { font-size: 9pt; color: #444 } .graded { margin: .1em 0 }
ol, ul { margin: .2em 0; padding-left: 2.2em }
tr, figure, .careful, li { break-inside: avoid } h2, h3, .graded { break-after: avoid }
@media (max-width: 30em) { table { font-size: 9pt } th, td { padding-right: .45em } ol, ul { padding-left: 1.4em } }
@media print { body { margin: 0; padding: 0; max-width: none } }
";

/// The whole page.
pub fn page(plan: &Plan) -> String {
    let title = if plan.title.is_empty() { "Knitting plan" } else { &plan.title };
    let body = html! {
        h1 { (title) }
        @if !plan.cautions.is_empty() {
            section.careful { h3 { "Careful" } ul { @for c in &plan.cautions { li { (c.message) } } } }
        }
        @if !plan.gauges.is_empty() { h2 { "Gauge" } }
        @for gauge in &plan.gauges { (gauge_section(gauge)) }
        @if !plan.sizes_source.is_empty() { p.small { "Sizes: " (plan.sizes_source) "." } }
        @for piece in &plan.pieces { (piece_section(piece)) }
        @if !plan.evenly.is_empty() {
            h2 { "Evenly in one row" }
            ul { @for evenly in &plan.evenly { li { (evenly_words(evenly)) } } }
        }
        @if needs_abbreviations(plan) { p.small { (ABBREVIATIONS) "." } }
        @if let Some(regauge) = &plan.regauge { (regauge_section(regauge)) }
        (yarn_section(plan))
        p.small {
            "Made by Walewise " (plan.version) ". ± is half of a 95 % interval: for the next piece knitted alike, as far as "
            "this swatch can tell. It does not know another day, needle or yarn. 1 in = 2.54 cm."
        }
    };
    harmless(&styled_page(title, STYLE, &body))
}

fn gauge_section(gauge: &GaugeNote) -> Markup {
    let [ten_cm, four_in] = gauge_over(gauge);
    html! {
        p {
            b { (gauge.name) } @if !gauge.stitch.is_empty() { ", " (gauge.stitch) } ": " (ten_cm) " (" (four_in) "). "
            "To print: " @for (i, line) in gauge.lines.iter().enumerate() { @if i > 0 { "; " } b { (printed_line(line)) } } "."
            br;
            span.small { "For the next 10 × 10 cm knitted alike; " (gauge.source) "." }
        }
    }
}

fn piece_section(piece: &PiecePlan) -> Markup {
    let scale = scale_of(piece);
    let parts = piece.sizes.first().map_or(0, |s| s.parts.len());
    html! {
        div {
            h2 { (piece.name) " (" (worked(piece)) ")" }
            @for line in graded(piece) { p.graded { (line) } }
            div.drawings {
                @for sized in &piece.sizes {
                    figure {
                        @if !sized.size.is_empty() { figcaption { b { (sized.size) } } }
                        (PreEscaped(draw(piece, sized, scale)))
                    }
                }
            }
        }
        p.small { (drawing_words(piece)) }
        @for index in 0..parts { (part_table(piece, index)) }
        @for sized in &piece.sizes {
            h3 { "To knit" @if !sized.size.is_empty() { ", size " (sized.size) } }
            ol { @for step in instructions(piece, sized) { li { (step) } } }
            @for part in &sized.parts { (shaping_table(part)) }
        }
    }
}

fn drawing_words(piece: &PiecePlan) -> &'static str {
    match (piece.round, piece.direction) {
        (true, _) => "Drawn to scale as the tube lies flat, cast-on edge below: half as wide as it is round.",
        (false, Direction::Upwards) => "Drawn to scale, cast-on edge below.",
        (false, Direction::Sideways) => {
            "Drawn to scale; the rows run from left to right. Cords are cut short (dashed)."
        }
    }
}

/// One part in all sizes: the possible counts, what each would measure, and which to take.
fn part_table(piece: &PiecePlan, index: usize) -> Markup {
    let several = piece.sizes.first().is_some_and(|s| s.parts.len() > 1);
    html! {
        @if several { @if let Some(first) = piece.sizes.first() { h3 { (first.parts[index].name) } } }
        table {
            thead {
                tr { th { "Size" } th { "Wanted" } th.number { "Count" } th { "Finished" } th { "Within tolerance" } }
            }
            tbody {
                @for sized in &piece.sizes {
                    @let part = &sized.parts[index];
                    (axis_rows(&sized.size, &part.stitches, Counted::Stitches, piece.round))
                    @if let Some(rows) = &part.rows { (axis_rows("", rows, Counted::Rows, piece.round)) }
                }
            }
        }
        ul.small {
            @for sized in &piece.sizes {
                @if let Some(castable) = &sized.parts[index].stitches.castable {
                    li { @if !sized.size.is_empty() { (sized.size) ": " } (reason_words(castable)) }
                }
            }
        }
    }
}

fn axis_rows(size: &str, axis: &AxisPlan, counted: Counted, round: bool) -> Markup {
    html! {
        @match &axis.castable {
            Some(castable) => {
                @for (i, candidate) in shown(castable).enumerate() {
                    tr.chosen[candidate.count == axis.count] {
                        td { @if i == 0 { (size) } }
                        td { @if i == 0 { (cm(castable.target.finished_mm)) " ± " (cm(castable.target.tolerance_mm)) } }
                        td.number { (count(candidate.count, counted, round)) }
                        td { (finished(&candidate.finished_mm)) }
                        td { (probability_percent(candidate.probability_within_tolerance)) }
                    }
                }
            }
            None => {
                tr.chosen {
                    td { (size) }
                    td { "from the part before" }
                    td.number { (count(axis.count, counted, round)) }
                    td { (finished(&axis.finished_mm)) }
                    td {}
                }
            }
        }
    }
}

/// A finished measure, broken between centimetres and inches only.
fn finished(mm: &Expanded) -> Markup {
    html! { span.whole { (cm_interval(mm)) } " " span.whole { "(" (in_interval(mm)) ")" } }
}

/// Every shaping row with its stitches.
fn shaping_table(part: &PartPlan) -> Markup {
    html! {
        @for step in part.shaping.iter().filter(|s| !s.schedule.intervals.is_empty()) {
            p.small {
                (part.name) ", stitches after each shaping row: "
                @for (i, (row, stitches)) in step.schedule.table().iter().enumerate() {
                    @if i > 0 { " · " } (row) ": " b { (stitches) }
                }
            }
        }
    }
}

fn regauge_section(regauge: &RegaugePlan) -> Markup {
    html! {
        h2 { "The pattern at the gauge '" (regauge.gauge) "'" }
        ul {
            @for count in &regauge.counts { li { (regauged_words(count)) } }
            li { (needle_words(&regauge.needle)) }
        }
    }
}

fn yarn_section(plan: &Plan) -> Markup {
    html! {
        @if !plan.yarn.is_empty() || plan.substitution.is_some() {
            h2 { "Yarn" }
            ul {
                @for yarn in &plan.yarn { li { (yarn_words(yarn)) } }
                @if let Some(yarn) = plan.yarn.first() { li { (count_words(yarn)) } }
                @if let Some(substitution) = &plan.substitution { li { (substitution_words(substitution)) } }
            }
            p.small { "Pieces, swatch, tails, seams and what you want to spare. Buy one dye lot." }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::page;
    use crate::plan::{compose, read};
    use std::collections::BTreeMap;

    #[test]
    fn names_turn_no_direction_on_the_page() {
        let gauge = "[gauge.a]\nstitches = 20\nover = \"10 cm\"\n";
        let text = format!("title = \"a\\u202Eb\"\n{gauge}[[piece]]\nname = \"c\\u2066d\"\nwidth = \"20 cm\"\n");
        let file = read(&text).expect("a plan file");
        let page = page(&compose(&file.request, &BTreeMap::new()).expect("a plan"));
        assert!(page.contains("a\u{FFFD}b") && page.contains("c\u{FFFD}d") && !page.contains(['\u{202E}', '\u{2066}']));
    }
}
