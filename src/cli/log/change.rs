//! `walewise log change`: what washing, or anything between two states, did.

use super::about;
use super::filter::FilterArguments;
use super::screen::{Column, columns, safe, table, wrapped};
use super::{Done, Ended, open};
use crate::cli::{ExitStatus, output};
use crate::compare::{Change, MeasuredGauge, change};
use crate::logbook::{Access, Logbook, SortKey, State, SwatchLine};
use crate::quantity::{Expanded, plus_minus};
use std::path::Path;

/// What happened to swatches between two states, such as by washing: stitches, rows and area, in per cent
///
/// A swatch must have been measured in both states, relaxed. Exit status 3 when none was.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise log change
  walewise log change --yarn alpaca")]
pub struct ChangeArguments {
    /// Numbers of the swatches; all that fit the filters when none is given
    #[arg(value_name = "NUMBER")]
    swatches: Vec<i64>,
    /// The state before
    #[arg(long, value_name = "STATE", value_parser = about::state, default_value = "off-needle")]
    from: State,
    /// The state after
    #[arg(long, value_name = "STATE", value_parser = about::state, default_value = "washed")]
    to: State,
    #[command(flatten)]
    filter: FilterArguments,
    /// Write JSON, one line a swatch
    #[arg(long)]
    json: bool,
}

/// Most swatches in one table (a stated choice).
const MOST_SWATCHES: usize = 5000;

/// Runs the command.
pub fn run(arguments: &ChangeArguments, path: &Path) -> Done {
    if arguments.from == arguments.to {
        return Err(Ended::bad("--from and --to name the same state"));
    }
    let log = open(path, Access::Read)?;
    let mut filter = arguments.filter.filter(&arguments.swatches);
    filter.state = Some(arguments.to);
    let found = log.find(&filter, SortKey::Yarn, false, MOST_SWATCHES)?;
    let mut changes = Vec::new();
    for line in found.lines {
        if let Some(seen) = change_of(&log, &line, arguments)? {
            changes.push((line, seen));
        }
    }
    if changes.is_empty() {
        return Err(Ended::inconclusive(format!(
            "no swatch that fits was measured both {} and {}, relaxed",
            arguments.from.name(),
            arguments.to.name()
        )));
    }
    let text = if arguments.json { json(&changes) } else { in_words(&changes, arguments) };
    output::print(&text)?;
    Ok(ExitStatus::Done)
}

/// The change of one swatch; `None` where one of the states is missing.
fn change_of(log: &Logbook, line: &SwatchLine, arguments: &ChangeArguments) -> Result<Option<Change>, Ended> {
    let [before, after] = [arguments.from, arguments.to].map(|state| relaxed(log, line.id, state));
    Ok(before?.zip(after?).and_then(|(before, after)| change(&before, &after)))
}

fn relaxed(log: &Logbook, swatch: i64, state: State) -> Result<Option<MeasuredGauge>, Ended> {
    let measurement = log.counting(swatch, Some(state))?.filter(|m| m.stretched_to_mm.is_none());
    let gauge = measurement.map(|m| m.reading.gauge(&m.uid)).transpose();
    gauge.map_err(|e| Ended::inconclusive(format!("swatch {swatch}: {e}")))
}

fn in_words(changes: &[(SwatchLine, Change)], arguments: &ChangeArguments) -> String {
    let headings = [
        Column::number("No."),
        Column::words("Yarn", 14),
        Column::number("mm"),
        Column::number("Stitches %"),
        Column::number("Rows %"),
        Column::number("Area %"),
    ];
    let percent = |e: &Expanded| {
        let text = plus_minus(e.value, e.expanded_uncertainty);
        if e.value > 0.0 { format!("+{text}") } else { text }
    };
    let row = |(line, seen): &(SwatchLine, Change)| {
        vec![
            line.id.to_string(),
            line.yarn.as_deref().map_or_else(String::new, safe),
            line.needle_mm.map_or_else(String::new, |mm| mm.to_string()),
            percent(&seen.stitches_percent),
            percent(&seen.rows_percent),
            percent(&seen.area_percent),
        ]
    };
    let rows: Vec<Vec<String>> = changes.iter().map(row).collect();
    let width = columns();
    let foot = format!(
        "Change from {} to {}, with 95 % intervals: more stitches or rows per 10 cm mean narrower or shorter; the area is \
         that of the same stitches and rows.",
        arguments.from.name(),
        arguments.to.name()
    );
    format!("{}\n{}", table(&headings, &rows, width), wrapped(&foot, "", width))
}

fn json(changes: &[(SwatchLine, Change)]) -> String {
    let line = |(line, seen): &(SwatchLine, Change)| {
        serde_json::json!({"swatch": line.id, "yarn": line.yarn, "change": seen}).to_string() + "\n"
    };
    changes.iter().map(line).collect()
}
