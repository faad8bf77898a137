//! The page of one measurement.

use super::bars::bars;
use super::spectrum::spectrum;
use crate::lattice::{AxisSpectrum, FollowedLattice, axis_spectra};
use crate::photo::{LUMINANCE, Photo};
use crate::quantity::plus_minus;
use crate::record::{DecisionNote, Evidence, Gauge, Record};
use crate::report::page::styled_page;
use crate::report::picture::data_address;
use crate::report::place_map::{PlaceMap, legend, widest_percent};
use crate::report::{annotate, budget, text};
use image::imageops::{FilterType, resize};
use maud::{Markup, PreEscaped, html};

/// Longest side of the annotated photo in the page, in px: twice a page's width on a screen, so that stitches can be counted.
const ANNOTATED_PX: u32 = 1700;
/// The same of the photos under local maps.
const MAP_PX: u32 = 520;

/// How the page looks on a screen of any width and on A4 or Letter paper.
const STYLE: &str = "\
@page { margin: 14mm }
:root { color: #1c1c1c; background: #fff; font: 16px/1.45 system-ui, sans-serif }
body { max-width: 58rem; margin: 0 auto; padding: 1rem 1rem 2.5rem }
h1 { font-size: 1.5rem; margin: 0 0 .2rem; overflow-wrap: anywhere }
h2 { font-size: 1.2rem; margin: 1.8rem 0 .4rem; border-bottom: 1px solid #888 }
p, ul { margin: .4rem 0; max-width: 46rem } ul { padding-left: 1.3rem } .quiet { color: #555 } .small { font-size: .9rem }
.result { font-size: 1.25rem; font-weight: 600; margin: .3rem 0 } .careful { border-left: 4px solid #a33; padding-left: .7rem }
figure { margin: .6rem 0 } svg, img { max-width: 100%; height: auto; display: block }
.beside { display: flex; flex-wrap: wrap; gap: .6rem 1.6rem } .beside > figure { flex: 1 1 20rem; max-width: 27rem }
.legend { margin: .4rem 0; font-size: .9rem } figcaption { font-size: .9rem; margin-bottom: .2rem }
@media print {
  :root { font-size: 10.5pt } body { padding: 0; max-width: none }
  figure, li { break-inside: avoid } h2, figcaption { break-after: avoid } img { max-height: 200mm; width: auto }
  .beside > figure { flex: 1 1 45%; max-width: 48% }
}
";

/// The whole page, from the record, what was seen, and the photo.
pub fn page(record: &Record, evidence: &Evidence, photo: &Photo) -> String {
    let name = record.photo.file.rsplit(['/', '\\']).next().unwrap_or_default();
    let body = html! {
        h1 { bdi { (name) } }
        (result(record))
        @if !record.cautions.is_empty() {
            div.careful { strong { "Careful" } ul { @for c in &record.cautions { li { (c.message) } } } }
        }
        h2 { "What was seen" }
        (annotated(record, evidence, photo))
        @if let Some(gauge) = &record.gauge {
            (decision(record, evidence, photo, gauge))
            (maps(record, evidence, photo))
            (uncertainty(record))
        }
        p.quiet.small { "Made by Walewise " (record.version) ". ± is half of a 95 % interval." }
    };
    styled_page(&format!("Gauge of {name}"), STYLE, &body)
}

fn result(record: &Record) -> Markup {
    html! {
        @if let Some(gauge) = &record.gauge {
            @for (interval, what) in [(&gauge.stitches_per_10cm, "stitches"), (&gauge.rows_per_10cm, "rows")] {
                p.result { (text::per_10cm(interval, what)) }
            }
            p { "With 95 % confidence the true gauge of " (text::of_what(record)) ", as it lies, is in these intervals."
                @if let Some(next) = &gauge.next_fabric {
                    " Another fabric knitted alike: "
                    (plus_minus(next.stitches_per_10cm.value, next.stitches_per_10cm.expanded_uncertainty)) " stitches and "
                    (plus_minus(next.rows_per_10cm.value, next.rows_per_10cm.expanded_uncertainty)) " rows."
                }
                @if let Some(note) = &record.stitch_pattern { " Pattern: " (note.pattern.name) "." }
            }
        }
        @if let Some(refusal) = &record.refusal {
            p.result { "No gauge: " (refusal.message) "." }
            @if !refusal.rivals.is_empty() {
                p { "It could be:" }
                ul { @for rival in &refusal.rivals { li { (text::rival(rival)) } } }
            }
            p { strong { "What to do: " } (refusal.advice) }
        }
        @if let Some(error) = &record.error { p.result { "Not measured: " (error.message) "." } }
    }
}

/// The annotated photo, small enough for a page.
fn annotated(record: &Record, evidence: &Evidence, photo: &Photo) -> Markup {
    let drawn = annotate::draw(record, evidence, photo.rgb.clone());
    let longer = drawn.width().max(drawn.height());
    let small = if longer > ANNOTATED_PX {
        let side = |px: u32| (u64::from(px) * u64::from(ANNOTATED_PX) / u64::from(longer)).max(1) as u32;
        resize(&drawn, side(drawn.width()), side(drawn.height()), FilterType::Triangle)
    } else {
        drawn
    };
    html! {
        @if let Some(address) = data_address(&small) {
            figure { img src=(address) alt="The photo with the ruler's marks, the columns of stitches and the rows drawn on it as they were read"; }
        }
        p.small { "Count along: if a line drifts off its stitches, or a tick off its mark, don't trust the number." }
    }
}

/// Why these are single stitches and single rows.
fn decision(record: &Record, evidence: &Evidence, photo: &Photo, gauge: &Gauge) -> Markup {
    let note = record.lattice.as_ref().and_then(|l| l.decision.as_ref());
    let rivals = |of: fn(&crate::refusal::Rival) -> f64| {
        note.map_or_else(Vec::new, |n| n.rivals.iter().map(of).collect::<Vec<f64>>())
    };
    let stitches = rivals(|r| r.stitches_per_10cm);
    let rows = rivals(|r| r.rows_per_10cm);
    html! {
        @if let Some([across, up]) = spectra(evidence, photo) {
            h2 { "Why these are the stitches and rows" }
            p { "How much of the light and shade repeats how often. The count that was taken stands under the black line; its "
                "multiples (dotted) belong to it. Dashed lines are the other counts that were weighed." }
            div.beside {
                figure { (PreEscaped(spectrum(&across, gauge.stitches_per_10cm.value, &stitches, "stitches"))) }
                figure { (PreEscaped(spectrum(&up, gauge.rows_per_10cm.value, &rows, "rows"))) }
            }
            @if let Some(note) = note { (decision_words(note)) }
        }
    }
}

fn spectra(evidence: &Evidence, photo: &Photo) -> Option<[AxisSpectrum; 2]> {
    let model = evidence.lattice.as_ref()?;
    let followed = FollowedLattice::new(model, &evidence.blocks)?;
    axis_spectra(photo, evidence.projection.unwrap_or(LUMINANCE), model, &followed, &evidence.region_px)
}

fn decision_words(note: &DecisionNote) -> Markup {
    html! {
        p { "The decision is made on both axes at once: a stitch that hides on one axis (the two legs of a V) shows between "
            "them. The count is ahead of the best other one by " (format!("{:.0}", note.margin)) " (log-score"
            @if note.margin_needed > 0.0 { "; " (format!("{:.0}", note.margin_needed)) " were needed" }
            "), and " (note.places.agree) " of " (note.places.of) " places of the fabric, each by itself, say the same." }
        @if !note.rivals.is_empty() {
            p.small { "Other counts: "
                @for (i, rival) in note.rivals.iter().enumerate() { @if i > 0 { "; " } (text::rival(rival)) } "." }
        }
    }
}

/// How the gauge varies over the swatch.
fn maps(record: &Record, evidence: &Evidence, photo: &Photo) -> Markup {
    html! { @if let Some(map) = PlaceMap::of(record, evidence, &photo.rgb, MAP_PX) {
        @let widest = widest_percent(map.departures(0).chain(map.departures(1)));
        h2 { "From place to place" }
        p { "The gauge around each place, against the mean of these places. Neighbouring marks share stitches." }
        (legend(widest, "more stitches or rows"))
        div.beside {
            @for (axis, what) in ["stitches", "rows"].into_iter().enumerate() {
                figure {
                    figcaption { strong { (what) } ": up to " (format!("{:.1}", map.largest(axis))) " % from the mean" }
                    (PreEscaped(map.draw(axis, widest, &format!("Local gauge in {what} as coloured marks over the photo"))))
                }
            }
        }
    } }
}

/// What the interval comes from, and what makes it smaller.
fn uncertainty(record: &Record) -> Markup {
    let advice = budget::advice(record);
    html! { @if !record.budget.is_empty() {
        h2 { "What the interval comes from" }
        p { "The parts add as squares: halving the largest helps, halving a small one does not." }
        figure { (PreEscaped(bars(record))) }
        @if !advice.is_empty() {
            h2 { "To know it better" }
            ul { @for line in advice { li { (line) } } }
        }
    } }
}
