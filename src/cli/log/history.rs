//! `walewise log history`: what happened to a swatch, and when.

use super::screen::{Column, columns, safe, table};
use super::{Done, open};
use crate::cli::{ExitStatus, output};
use crate::logbook::{Access, Event, EventKind};
use std::path::Path;

/// Show what happened to a swatch, and when
#[derive(clap::Args)]
#[command(after_help = "Example:
  walewise log history 1")]
pub struct HistoryArguments {
    /// Number of the swatch
    #[arg(value_name = "NUMBER")]
    swatch: i64,
}

/// Runs the command.
pub fn run(arguments: &HistoryArguments, path: &Path) -> Done {
    let log = open(path, Access::Read)?;
    log.swatch(arguments.swatch)?;
    let headings =
        [Column::fixed("When"), Column::fixed("What"), Column::words("Before", 10), Column::words("After", 10)];
    let rows: Vec<Vec<String>> = log.history(arguments.swatch)?.iter().map(cells).collect();
    output::print(&table(&headings, &rows, columns()))?;
    Ok(ExitStatus::Done)
}

fn cells(event: &Event) -> Vec<String> {
    let number = event.field.as_deref().unwrap_or_default();
    let what = match event.kind {
        EventKind::Added => "added".to_owned(),
        EventKind::Edited => format!("changed {number}"),
        EventKind::Tagged => "changed tags".to_owned(),
        EventKind::Measured => format!("measurement {number} added"),
        EventKind::Deleted => "deleted".to_owned(),
        EventKind::Restored => "brought back".to_owned(),
        EventKind::MeasurementDeleted => format!("measurement {number} deleted"),
        EventKind::MeasurementRestored => format!("measurement {number} brought back"),
    };
    let text = |t: &Option<String>| t.as_deref().map_or_else(String::new, safe);
    // To the second; the log keeps all digits.
    let when: String = event.at.to_string().chars().take(19).collect();
    vec![when.replace('T', " "), safe(&what), text(&event.before), text(&event.after)]
}
