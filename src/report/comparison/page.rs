//! The comparison as one HTML page.

use super::{
    SwatchComparison, axis_sentence, bare_number, chance_words, finding_words, narrow_plot, plot, speaks_of_words,
};
use crate::compare::{Comparison, Pair};
use crate::quantity::{Expanded, plus_minus};
use crate::report::page::page as frame;
use crate::sizing::Counted;
use maud::{Markup, PreEscaped, html};

/// The page: plot, table of swatches, and a sentence for each pair.
pub fn page(comparison: &SwatchComparison) -> String {
    let body = html! {
        h1 { "Swatches compared" }
        p.quiet {
            "Stitches and rows per 10 cm, each with its 95 % interval. "
            (speaks_of_words(comparison.speaks_of))
        }
        @for caution in &comparison.cautions { p { strong { "Careful: " } bdi { (caution) } } }
        figure.desk { (PreEscaped(plot(&comparison.swatches))) }
        figure.phone { (PreEscaped(narrow_plot(&comparison.swatches))) }
        (swatches(comparison))
        @if !comparison.pairs.is_empty() { (pairs(comparison)) }
    };
    frame("Swatches compared", &body)
}

fn swatches(comparison: &SwatchComparison) -> Markup {
    let value = |e: &Expanded| plus_minus(e.value, e.expanded_uncertainty);
    html! {
        h2 { "The swatches" }
        div.wide { table {
            thead { tr { th { "No." } th { "Swatch" } th.desk { "" } th.number { "Stitches" } th.number { "Rows" } } }
            tbody { @for swatch in &comparison.swatches { tr {
                td { (swatch.number) }
                td.words { bdi { (swatch.label) } span.phone.quiet { bdi { (swatch.details) } } }
                td.words.quiet.desk { bdi { (swatch.details) } }
                td.number { (value(&swatch.stitches)) }
                td.number { (value(&swatch.rows)) }
            } } }
        } }
    }
}

fn pairs(comparison: &SwatchComparison) -> Markup {
    let tolerance = comparison.tolerance;
    html! {
        h2 { "Pair by pair" }
        p {
            (chance_words(comparison)) " Alike means closer than "
            (bare_number(tolerance.stitches)) " stitches or " (bare_number(tolerance.rows))
            " rows per 10 cm, with 95 % confidence: two one-sided tests, whose 90 % interval is given."
        }
        div.wide { table {
            thead { tr {
                th { "Pair" } th { "" } th { "Finding" } th.number.desk { "Difference (95 %)" }
                th.number.desk { "90 % interval" } th { "In words" }
            } }
            tbody { @for pair in &comparison.pairs { (pair_rows(comparison, pair)) } }
        } }
    }
}

fn pair_rows(comparison: &SwatchComparison, pair: &Pair) -> Markup {
    let [first, second] = [pair.first, pair.second].map(|i| format!("No. {}", comparison.swatches[i].number));
    let row = |seen: &Comparison, counted: Counted, names: Option<String>| {
        let [low, high] = seen.equivalence.interval_90;
        html! { tr {
            @if let Some(names) = names { td.pair rowspan="2" { (names) } }
            td { (counted.word(2)) }
            td { (finding_words(seen.finding)) }
            td.number.desk { (signed(&plus_minus(seen.difference.value, seen.difference.expanded_uncertainty))) }
            td.number.desk { (signed(&format!("{low:.2} to {high:.2}"))) }
            td.words { (axis_sentence(seen, counted, &first, &second)) }
        } }
    };
    let names = format!("{first} and {}", comparison.swatches[pair.second].number);
    html! { (row(&pair.stitches, Counted::Stitches, Some(names))) (row(&pair.rows, Counted::Rows, None)) }
}

/// Numbers with a minus sign as wide as a plus.
fn signed(numbers: &str) -> String {
    numbers.replace('-', "\u{2212}")
}
