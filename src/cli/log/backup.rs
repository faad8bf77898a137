//! `walewise log backup`: a consistent copy while the log is in use.

use super::{Done, Ended, open};
use crate::cli::whole_file::{self, Unfinished};
use crate::cli::{ExitStatus, output, output_file};
use crate::logbook::Access;
use std::path::{Path, PathBuf};

/// Copy the log to another file, consistently, while it is in use
#[derive(clap::Args)]
#[command(after_help = "Example:
  walewise log backup copy.sqlite")]
pub struct BackupArguments {
    /// The copy
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Replace a file that is there already
    #[arg(long)]
    force: bool,
}

/// Runs the command.
pub fn run(arguments: &BackupArguments, path: &Path) -> Done {
    let target = &arguments.file;
    if whole_file::is_one_of(target, &[path.to_owned()]) {
        return Err(Ended::bad(format!("{}: this is the log itself", target.display())));
    }
    let failed = |message| Ended::Failed(message, ExitStatus::Other);
    output_file::free(target, arguments.force).map_err(failed)?;
    let log = open(path, Access::Read)?;
    let wrong = |error: std::io::Error| failed(output_file::unwritable(target, &error));
    let copy = Unfinished::beside(target).map_err(wrong)?;
    log.backup_to(copy.path())?;
    copy.finish().map_err(wrong)?;
    output::print(&format!("Copied to {}.\n", super::screen::safe(&target.to_string_lossy())))?;
    Ok(ExitStatus::Done)
}
