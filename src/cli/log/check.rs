//! `walewise log check`: is the file sound?

use super::{Done, Ended, open};
use crate::cli::{ExitStatus, output};
use crate::logbook::Access;
use std::path::Path;

/// Look through the whole file for damage
#[derive(clap::Args)]
#[command(after_help = "Example:
  walewise log check")]
pub struct CheckArguments {}

/// Runs the command.
pub fn run(path: &Path) -> Done {
    let found = open(path, Access::Read)?.check()?;
    if found.is_empty() {
        output::print("The log is sound.\n")?;
        return Ok(ExitStatus::Done);
    }
    let first: Vec<&str> = found.iter().take(3).map(String::as_str).collect();
    let message = format!("{}: the log's file is damaged: {}", path.display(), first.join("; "));
    Err(Ended::Failed(message, ExitStatus::Other))
}
