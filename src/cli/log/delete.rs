//! `walewise log delete` and `walewise log restore`.

use super::{Done, Ended, now, open};
use crate::cli::{ExitStatus, output};
use crate::logbook::Access;
use std::path::Path;

/// Take swatches out of the log; `log restore` brings them back
#[derive(clap::Args)]
#[command(after_help = "Example:
  walewise log delete 2")]
pub struct DeleteArguments {
    #[command(flatten)]
    which: Which,
}

/// Bring deleted swatches back
#[derive(clap::Args)]
#[command(after_help = "Example:
  walewise log restore 2")]
pub struct RestoreArguments {
    #[command(flatten)]
    which: Which,
}

#[derive(clap::Args)]
struct Which {
    /// Numbers of the swatches
    #[arg(required = true, value_name = "NUMBER")]
    swatches: Vec<i64>,
    /// Only this measurement of the swatch
    #[arg(long, value_name = "NUMBER")]
    measurement: Option<i64>,
}

/// Runs `log delete`.
pub fn delete(arguments: &DeleteArguments, path: &Path) -> Done {
    mark(&arguments.which, path, true)
}

/// Runs `log restore`.
pub fn restore(arguments: &RestoreArguments, path: &Path) -> Done {
    mark(&arguments.which, path, false)
}

fn mark(which: &Which, path: &Path, delete: bool) -> Done {
    if which.measurement.is_some() && which.swatches.len() > 1 {
        return Err(Ended::bad("--measurement goes with one swatch"));
    }
    let mut log = open(path, Access::Write)?;
    // A mistyped number must not leave half of them done.
    which.swatches.iter().try_for_each(|id| log.swatch(*id).map(drop))?;
    for &swatch in &which.swatches {
        let changed = match (which.measurement, delete) {
            (None, true) => log.delete(swatch, now())?,
            (None, false) => log.restore(swatch, now())?,
            (Some(id), true) => log.delete_measurement(swatch, id, now())?,
            (Some(id), false) => log.restore_measurement(swatch, id, now())?,
        };
        let what = which
            .measurement
            .map_or_else(|| format!("Swatch {swatch}"), |id| format!("Measurement {id} of swatch {swatch}"));
        let said = match (delete, changed) {
            (true, true) => "deleted; `log restore` brings it back",
            (true, false) => "was deleted already",
            (false, true) => "is back",
            (false, false) => "was not deleted",
        };
        output::print(&format!("{what} {said}.\n"))?;
    }
    Ok(ExitStatus::Done)
}
