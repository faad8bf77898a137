//! `walewise log`: the swatch log. One file a subcommand.

mod about;
mod add;
mod backup;
mod change;
mod check;
mod compare;
mod count;
mod delete;
mod edit;
mod export;
mod filter;
mod for_plan;
mod history;
mod import;
mod keep;
mod keeping;
mod list;
mod needles;
pub(super) mod place;
mod remeasure;
mod screen;
mod show;

pub use for_plan::swatch as swatch_for_plan;

use super::{ExitStatus, output, output_file, whole_file};
use crate::logbook::{Access, Logbook, LogbookError};
use clap::{ArgMatches, Args, Subcommand};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Keep swatches in a log: add, find, compare, and see what needle and washing do
///
/// The log is one file. Where it is: --logbook, else the environment variable WALEWISE_LOGBOOK, else the platform's
/// folder for a user's data.
///
/// Exit status: 0 done, 2 bad arguments or input file, 3 it can't be concluded honestly (a refused photo, too few
/// swatches), 1 anything else.
#[derive(Args)]
#[command(after_help = "Examples:
  walewise log add swatch.jpg --stitch stockinette --yarn \"grey lambswool\" --needle 4
  walewise log list
  walewise log compare --yarn alpaca")]
pub struct LogArguments {
    /// The log's file
    #[arg(long, global = true, value_name = "FILE", env = "WALEWISE_LOGBOOK", hide_env_values = true)]
    logbook: Option<PathBuf>,
    #[command(subcommand)]
    command: LogCommand,
}

#[derive(Subcommand)]
enum LogCommand {
    Add(Box<add::AddArguments>),
    Count(Box<count::CountArguments>),
    Keep(Box<keep::KeepArguments>),
    Remeasure(remeasure::RemeasureArguments),
    List(list::ListArguments),
    Show(show::ShowArguments),
    Edit(Box<edit::EditArguments>),
    History(history::HistoryArguments),
    Delete(delete::DeleteArguments),
    Restore(delete::RestoreArguments),
    Compare(compare::CompareArguments),
    Needles(needles::NeedlesArguments),
    Change(change::ChangeArguments),
    Export(export::ExportArguments),
    Import(import::ImportArguments),
    Backup(backup::BackupArguments),
    Check(check::CheckArguments),
}

/// Why a subcommand ended without doing what it was asked.
enum Ended {
    /// The message and exit status of a mistake in arguments or an input file, or of something else.
    Failed(String, ExitStatus),
    /// The log said no.
    Log(LogbookError),
    /// Nobody reads the results any more, or they can't be written.
    Unwritten(std::io::Error),
}

impl Ended {
    fn bad(message: impl Into<String>) -> Self {
        Self::Failed(message.into(), ExitStatus::BadArguments)
    }

    fn inconclusive(message: impl Into<String>) -> Self {
        Self::Failed(message.into(), ExitStatus::Refused)
    }
}

impl From<LogbookError> for Ended {
    fn from(error: LogbookError) -> Self {
        Self::Log(error)
    }
}

impl From<std::io::Error> for Ended {
    fn from(error: std::io::Error) -> Self {
        Self::Unwritten(error)
    }
}

type Done = Result<ExitStatus, Ended>;

/// Runs the subcommand. `matches` are the arguments of `log` as they were typed.
pub fn run(arguments: &LogArguments, matches: &ArgMatches) -> ExitStatus {
    let path = match place::of(arguments.logbook.as_deref()) {
        Ok(path) => path,
        Err(message) => {
            output::complain(&message);
            return ExitStatus::Other;
        }
    };
    dispatch(&arguments.command, &path, matches).unwrap_or_else(|ended| explain(&ended, &path))
}

fn dispatch(command: &LogCommand, path: &Path, matches: &ArgMatches) -> Done {
    match command {
        LogCommand::Add(a) => add::run(a, path, matches.subcommand_matches("add")),
        LogCommand::Count(a) => count::run(a, path),
        LogCommand::Keep(a) => keep::run(a, path),
        LogCommand::Remeasure(a) => remeasure::run(a, path),
        LogCommand::List(a) => list::run(a, path),
        LogCommand::Show(a) => show::run(a, path),
        LogCommand::Edit(a) => edit::run(a, path),
        LogCommand::History(a) => history::run(a, path),
        LogCommand::Delete(a) => delete::delete(a, path),
        LogCommand::Restore(a) => delete::restore(a, path),
        LogCommand::Compare(a) => compare::run(a, path),
        LogCommand::Needles(a) => needles::run(a, path),
        LogCommand::Change(a) => change::run(a, path),
        LogCommand::Export(a) => export::run(a, path),
        LogCommand::Import(a) => import::run(a, path),
        LogCommand::Backup(a) => backup::run(a, path),
        LogCommand::Check(_) => check::run(path),
    }
}

fn explain(ended: &Ended, path: &Path) -> ExitStatus {
    match ended {
        Ended::Failed(message, status) => {
            output::complain(message);
            *status
        }
        Ended::Log(error) => {
            output::complain(&format!("{}: {error}", path.display()));
            status_of(error)
        }
        Ended::Unwritten(error) => output::unwritten(error),
    }
}

fn status_of(error: &LogbookError) -> ExitStatus {
    match error {
        LogbookError::Missing
        | LogbookError::NotALogbook
        | LogbookError::NewerSchema { .. }
        | LogbookError::NoSuchSwatch(_)
        | LogbookError::NoSuchMeasurement { .. }
        | LogbookError::Field(_)
        | LogbookError::Measurement(_) => ExitStatus::BadArguments,
        _ => ExitStatus::Other,
    }
}

/// Opens the log; while another program writes to it, says so once and waits up to half a minute.
fn open(path: &Path, access: Access) -> Result<Logbook, Ended> {
    /// One round of waiting (a stated choice: short beside a person's patience, long beside one entry's 10 ms).
    const ROUND: Duration = Duration::from_millis(20);
    const SAY_AFTER: i32 = 25;
    const GIVE_UP_AFTER: i32 = 1500;
    if access == Access::Begin
        && let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty())
    {
        std::fs::create_dir_all(folder).map_err(|e| {
            Ended::Failed(format!("{}: the folder can't be made: {e}", folder.display()), ExitStatus::Other)
        })?;
    }
    let waiting = |times: i32| {
        if times == SAY_AFTER {
            output::complain("another program is writing to the log; waiting for it");
        }
        std::thread::sleep(ROUND);
        times < GIVE_UP_AFTER
    };
    let log = Logbook::open(path, access, waiting)?;
    whole_file::note_read(path);
    Ok(log)
}

fn now() -> jiff::Timestamp {
    jiff::Timestamp::now()
}

fn today() -> jiff::civil::Date {
    jiff::ZonedDateTime::now().date()
}

/// Writes a file whole, or not at all; one that is there already only by force.
fn write_new(path: &Path, bytes: &[u8], force: bool) -> Result<(), Ended> {
    output_file::free(path, force)
        .and_then(|()| output_file::write(path, bytes))
        .map_err(|message| Ended::Failed(message, ExitStatus::Other))
}
