//! The frame of an HTML page: one file, no script, nothing fetched, fit to be printed.

use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Type and rules for screen and paper: dark on light, tables with thin lines, wide tables scroll inside themselves.
const STYLE: &str = "
:root { color: #1c1c1c; background: #fff; font: 16px/1.45 system-ui, sans-serif; }
body { max-width: 62rem; margin: 0 auto; padding: 1.5rem 1rem 3rem; }
h1 { font-size: 1.6rem; margin: 0 0 .3rem; } h2 { font-size: 1.15rem; margin: 2rem 0 .5rem; }
p { margin: .4rem 0; max-width: 46rem; } .quiet { color: #555; }
figure { margin: 1rem 0; } svg { max-width: 100%; height: auto; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: .3rem .8rem .3rem 0; border-bottom: 1px solid #ddd; }
th { font-weight: 600; border-bottom-color: #888; } .number { text-align: right; white-space: nowrap; }
td.words { overflow-wrap: anywhere; min-width: 12rem; } td.pair { white-space: nowrap; } .phone { display: none; }
@media (max-width: 40em) {
  .desk { display: none; } .phone { display: block; } td.words { min-width: 0; } table { font-size: .85rem; }
  th, td { padding-right: .5rem; }
}
@media print { body { padding: 0; max-width: none; } tr, figure { break-inside: avoid; } }
";

/// A whole page around `body`, in this frame's own style.
pub fn page(title: &str, body: &Markup) -> String {
    styled_page(title, STYLE, body)
}

/// A whole page around `body` with a style of its own.
pub fn styled_page(title: &str, style: &str, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(style)) }
            }
            body { (body) }
        }
    }
    .into_string()
}
