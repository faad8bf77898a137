//! `walewise log export`: the log as JSON Lines (all of it) or as a table.

use super::filter::FilterArguments;
use super::{Done, Ended, open, write_new};
use crate::cli::{ExitStatus, output};
use crate::logbook::{Access, Entry, Filter, Logbook, write_line, write_table};
use std::path::{Path, PathBuf};

/// Write the log to a file: .jsonl holds all of it, .csv is a table for spreadsheets
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise log export swatches.jsonl
  walewise log export alpaca.csv --yarn alpaca")]
pub struct ExportArguments {
    /// The file; its name ends in .jsonl or .csv
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    filter: FilterArguments,
    /// Replace a file that is there already
    #[arg(long)]
    force: bool,
}

/// The two formats.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// JSON Lines.
    Lines,
    /// CSV.
    Table,
}

/// The format a file's name asks for.
pub fn format_of(path: &Path) -> Result<Format, Ended> {
    let ending = path.extension().map(|e| e.to_ascii_lowercase());
    match ending.as_deref().and_then(|e| e.to_str()) {
        Some("jsonl" | "ndjson") => Ok(Format::Lines),
        Some("csv") => Ok(Format::Table),
        _ => Err(Ended::bad(format!("{}: the name must end in .jsonl or .csv", path.display()))),
    }
}

/// Runs the command.
pub fn run(arguments: &ExportArguments, path: &Path) -> Done {
    let format = format_of(&arguments.file)?;
    let log = open(path, Access::Read)?;
    let filter = arguments.filter.filter(&[]);
    let entries = entries(&log, &filter, format)?;
    let text = match format {
        Format::Lines => entries.iter().map(write_line).collect::<Result<String, _>>()?,
        Format::Table => write_table(&entries).map_err(|e| Ended::Failed(e.to_string(), ExitStatus::Other))?,
    };
    write_new(&arguments.file, text.as_bytes(), arguments.force)?;
    let many = if entries.len() == 1 { "" } else { "es" };
    output::print(&format!("Wrote {} swatch{many}.\n", entries.len()))?;
    Ok(ExitStatus::Done)
}

/// The swatches that fit; JSON Lines hold the deleted ones too.
fn entries(log: &Logbook, filter: &Filter, format: Format) -> Result<Vec<Entry>, Ended> {
    let mut ids = log.find_ids(filter)?;
    if format == Format::Lines {
        ids.extend(log.find_ids(&Filter { deleted: true, ..filter.clone() })?);
        ids.sort_unstable();
    }
    Ok(ids.into_iter().map(|id| log.entry(id)).collect::<Result<_, _>>()?)
}
