//! `walewise log needles`: how the gauge follows the needle, and which needle meets a wanted gauge.

use super::count::one_or_pair;
use super::filter::FilterArguments;
use super::list::state_words;
use super::screen::{Column, columns, safe, table, wrapped};
use super::{Done, Ended, open};
use crate::cli::{ExitStatus, numbers, output};
use crate::compare::{NeedleFit, STANDARD_SIZES_MM, SizeChoice, Wanted};
use crate::logbook::{Access, Logbook, NeedleGroup, SortKey};
use crate::quantity::{Confidence, plus_minus};
use crate::report::comparison::stitch_words;
use crate::sizing::Counted;
use std::path::Path;

/// How the gauge follows the needle, for each yarn and stitch pattern, and which needle meets a wanted gauge
///
/// Swatches on three different sizes or more are needed. Exit status 3 when no yarn has them.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise log needles --yarn alpaca
  walewise log needles --wanted 22x30")]
pub struct NeedlesArguments {
    #[command(flatten)]
    filter: FilterArguments,
    /// Wanted gauge per 10 cm: stitches, or stitches x rows
    #[arg(long, value_name = "S|SxR", value_parser = wanted)]
    wanted: Option<(f64, Option<f64>)>,
    /// How far from it is still right, in stitches (x rows) per 10 cm
    #[arg(long, value_name = "N|SxR", value_parser = one_or_pair, default_value = "0.5")]
    within: (f64, f64),
    /// Write JSON, one line a yarn and stitch pattern
    #[arg(long)]
    json: bool,
}

fn wanted(text: &str) -> Result<(f64, Option<f64>), String> {
    if text.contains(['x', 'X', '×']) {
        numbers::gauge(text).map(|(stitches, rows)| (stitches, Some(rows)))
    } else {
        numbers::positive(text).map(|stitches| (stitches, None))
    }
}

/// Most swatches that are read for the fits (a stated choice: more of one yarn than anybody knits).
const MOST_SWATCHES: usize = 5000;

/// Runs the command.
pub fn run(arguments: &NeedlesArguments, path: &Path) -> Done {
    let log = open(path, Access::Read)?;
    let groups = groups(&log, arguments)?;
    if groups.is_empty() {
        return Err(Ended::inconclusive("no swatch fits that has a gauge and a needle size"));
    }
    let mut fitted = 0;
    for group in &groups {
        match NeedleFit::of(&group.swatches) {
            Ok(fit) => {
                fitted += 1;
                let text = if arguments.json { json(group, &fit, arguments) } else { in_words(group, &fit, arguments) };
                output::print(&text)?;
            }
            Err(error) => output::complain(&format!("{}: {error}", group_name(group))),
        }
    }
    Ok(if fitted > 0 { ExitStatus::Done } else { ExitStatus::Refused })
}

fn groups(log: &Logbook, arguments: &NeedlesArguments) -> Result<Vec<NeedleGroup>, Ended> {
    let found = log.find(&arguments.filter.filter(&[]), SortKey::Yarn, false, MOST_SWATCHES)?;
    if found.total > MOST_SWATCHES {
        return Err(Ended::bad(format!("{} swatches fit; filter for {MOST_SWATCHES} or fewer", found.total)));
    }
    Ok(log.needle_groups(&found.lines, arguments.filter.state())?)
}

/// `undyed alpaca, garter, washed`.
fn group_name(group: &NeedleGroup) -> String {
    let yarn = group.yarn.as_deref().map_or_else(|| "yarn not said".to_owned(), safe);
    let state = state_words(group.state, group.stretched_to_mm);
    let parts = [group.stitch.as_deref().map(safe), (!state.is_empty()).then_some(state)];
    std::iter::once(yarn).chain(parts.into_iter().flatten()).collect::<Vec<_>>().join(", ")
}

fn wish(arguments: &NeedlesArguments) -> Option<Wanted> {
    arguments.wanted.map(|(stitches, rows)| Wanted {
        stitches_per_10cm: stitches,
        stitches_tolerance: arguments.within.0,
        rows_per_10cm: rows,
        rows_tolerance: arguments.within.1,
    })
}

fn in_words(group: &NeedleGroup, fit: &NeedleFit, arguments: &NeedlesArguments) -> String {
    let width = columns();
    let slope = fit.width_per_needle_mm();
    let sizes = fit.sizes_mm.iter().map(|mm| mm.to_string()).collect::<Vec<_>>().join(", ");
    let mut out = format!("{}\n", group_name(group));
    out.push_str(&wrapped(&format!("{} swatches on needles of {sizes} mm.", fit.swatches), "  ", width));
    let grows = format!(
        "A needle 1 mm thicker makes a stitch {} mm wider.",
        plus_minus(slope.value, slope.expanded_uncertainty)
    );
    out.push_str(&wrapped(&grows, "  ", width));
    if !fit.needle_shows() {
        let careful = "Careful: the effect of the needle is not seen surely in these swatches.";
        out.push_str(&wrapped(careful, "  ", width));
    }
    match wish(arguments) {
        Some(wish) => out.push_str(&choice_lines(fit, wish, width)),
        None => out.push_str(&prediction_lines(fit, width)),
    }
    out
}

fn prediction_lines(fit: &NeedleFit, width: usize) -> String {
    let (Some(smallest), Some(largest)) = (fit.sizes_mm.first(), fit.sizes_mm.last()) else { return String::new() };
    let sizes = STANDARD_SIZES_MM.into_iter().filter(|mm| (*smallest..=*largest).contains(mm));
    let headings = [Column::number("    Needle"), Column::number("Stitches of another swatch"), Column::number("Rows")];
    let rows: Vec<Vec<String>> = sizes
        .filter_map(|mm| {
            let next = fit.at(mm)?;
            let value = |v: &crate::quantity::Uncertain| {
                let interval = v.expanded(Confidence::P95);
                plus_minus(interval.value, interval.expanded_uncertainty)
            };
            Some(vec![format!("{mm} mm"), value(&next.stitches_per_10cm), value(&next.rows_per_10cm)])
        })
        .collect();
    table(&headings, &rows, width)
}

fn choice_lines(fit: &NeedleFit, wish: Wanted, width: usize) -> String {
    let choices = fit.choices(wish);
    let mut out = String::new();
    if let Some(best) = choices.first() {
        let percent = percent(best.stitches_probability);
        let tolerance = stitch_words(wish.stitches_tolerance, Counted::Stitches);
        let said = format!(
            "Best for {} stitches: {} mm. Another swatch on it is within {tolerance} per 10 cm with {percent} \
             probability.",
            wish.stitches_per_10cm, best.needle_mm
        );
        out.push_str(&wrapped(&said, "  ", width));
    }
    let headings = [
        Column::number("    Needle"),
        Column::number("Stitches"),
        Column::number("as wanted"),
        Column::number("Rows"),
        Column::number("as wanted"),
        Column::words("", 6),
    ];
    let rows: Vec<Vec<String>> = choices.iter().map(choice_cells).collect();
    out.push_str(&table(&headings, &rows, width));
    out
}

fn choice_cells(choice: &SizeChoice) -> Vec<String> {
    let (stitches, rows) = (choice.stitches_per_10cm, choice.rows_per_10cm);
    vec![
        format!("{} mm", choice.needle_mm),
        plus_minus(stitches.value, stitches.expanded_uncertainty),
        percent(choice.stitches_probability),
        plus_minus(rows.value, rows.expanded_uncertainty),
        choice.rows_probability.map_or_else(String::new, percent),
        if choice.beyond_those_tried { "not tried yet".to_owned() } else { String::new() },
    ]
}

/// A probability without false certainty.
fn percent(probability: f64) -> String {
    match probability * 100.0 {
        p if p < 1.0 => "< 1 %".to_owned(),
        p if p > 99.0 => "> 99 %".to_owned(),
        p => format!("{p:.0} %"),
    }
}

fn json(group: &NeedleGroup, fit: &NeedleFit, arguments: &NeedlesArguments) -> String {
    let line = serde_json::json!({
        "swatches": group_name(group), "count": fit.swatches, "needles_mm": fit.sizes_mm,
        "stitch_width_mm_per_needle_mm": fit.width_per_needle_mm(), "needle_shows": fit.needle_shows(),
        "wanted": wish(arguments), "choices": wish(arguments).map(|w| fit.choices(w)),
    });
    format!("{line}\n")
}
