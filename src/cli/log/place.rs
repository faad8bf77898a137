//! Where the log is.

use etcetera::BaseStrategy;
use std::path::{Path, PathBuf};

/// The file named by option or environment, else `walewise/logbook.sqlite` in the platform's folder for a user's data.
pub fn of(given: Option<&Path>) -> Result<PathBuf, String> {
    match given {
        Some(path) if path.as_os_str().is_empty() => Err("the log's file has an empty name".to_owned()),
        Some(path) => Ok(path.to_owned()),
        None => etcetera::base_strategy::choose_native_strategy()
            .map(|strategy| strategy.data_dir().join("walewise").join("logbook.sqlite"))
            .map_err(|_| "there is no home folder to keep the log in: name its file with --logbook".to_owned()),
    }
}
