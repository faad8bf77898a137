//! A file that a command was told to write: whether it may be there, and what is said when it can't. One wording for all
//! commands.

use super::whole_file;
use std::io;
use std::path::Path;

/// Before the work: `Err` says, in one line, that a file is there already (unless it may be replaced by `force`).
pub fn free(path: &Path, force: bool) -> Result<(), String> {
    if force || !path.exists() {
        Ok(())
    } else {
        Err(format!("{} is there already; --force replaces it", path.display()))
    }
}

/// The same, and that the place takes a file at all.
pub fn free_and_writable(path: &Path, force: bool) -> Result<(), String> {
    free(path, force)?;
    whole_file::check_writable(path).map_err(|error| unwritable(path, &error))
}

/// Writes the file whole or not at all. `Err` says why not, in one line.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), String> {
    whole_file::write_whole(path, bytes).map_err(|error| unwritable(path, &error))
}

/// `FILE can't be written: …`
pub fn unwritable(path: &Path, error: &io::Error) -> String {
    format!("{} can't be written: {error}", path.display())
}
