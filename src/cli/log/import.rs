//! `walewise log import`: bring swatches in from JSON Lines or a table.

use super::export::{Format, format_of};
use super::{Done, Ended, now, open, today};
use crate::cli::input_file::{self, Kind};
use crate::cli::{ExitStatus, output};
use crate::logbook::{Access, Entry, Imported, read_lines, read_table};
use std::path::{Path, PathBuf};

/// Bring swatches in from a file written by `log export`, or from a table of your own
///
/// All or nothing: a mistake in the file leaves the log as it is. A swatch that is in the log already is never changed.
#[derive(clap::Args)]
#[command(after_help = "Example:
  walewise log import swatches.jsonl")]
pub struct ImportArguments {
    /// The file; its name ends in .jsonl or .csv
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

/// Runs the command.
pub fn run(arguments: &ImportArguments, path: &Path) -> Done {
    let file = &arguments.file;
    let wrong = |why: String| Ended::bad(format!("{}: {why}", file.display()));
    let format = format_of(file)?;
    let text = input_file::text(file, Kind::LOG_EXPORT).map_err(wrong)?;
    let mut log;
    let entries: Vec<Entry> = match format {
        Format::Lines => {
            let entries = read_lines(&text).map_err(wrong)?;
            log = open(path, Access::Begin)?;
            entries
        }
        Format::Table => {
            log = open(path, Access::Begin)?;
            let names = log.new_uids(2 * text.lines().count() + 2)?;
            let mut names = names.into_iter();
            read_table(&text, today(), now(), || names.next().unwrap_or_default()).map_err(|e| wrong(e.to_string()))?
        }
    };
    let became = log.import(&entries)?;
    let count = |of: fn(&Imported) -> bool| became.iter().filter(|i| of(i)).count();
    let differing: Vec<String> =
        became.iter().filter_map(|i| if let Imported::Differs(id) = i { Some(id.to_string()) } else { None }).collect();
    output::print(&format!(
        "{} added, {} there already.\n",
        count(|i| matches!(i, Imported::Added(_))),
        count(|i| !matches!(i, Imported::Added(_)))
    ))?;
    // A table never says all that the log holds, so a difference says nothing.
    if format == Format::Lines && !differing.is_empty() {
        output::complain(&format!(
            "left as they are, though the file says something else of them: swatch {}",
            differing.join(", ")
        ));
    }
    Ok(ExitStatus::Done)
}
