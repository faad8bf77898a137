//! A consistent copy of the log while it is in use.

use super::{Logbook, LogbookError};
use rusqlite::Connection;
use rusqlite::backup::{Backup, StepResult};
use std::path::Path;

impl Logbook {
    /// Copies the log as it is at this moment to a new file, through SQLite's online backup; others may go on writing.
    /// The copy is one file that needs no other beside it, and is checked before this returns.
    pub fn backup_to(&self, path: &Path) -> Result<(), LogbookError> {
        let mut copy = Connection::open(path)?;
        {
            // All pages in one step: one moment of the log, however long it takes.
            let backup = Backup::new(&self.connection, &mut copy)?;
            match backup.step(-1)? {
                StepResult::Done => {}
                _ => return Err(LogbookError::Busy),
            }
        }
        copy.query_row("PRAGMA journal_mode = DELETE", [], |row| row.get::<_, String>(0))?;
        let verdict: String = copy.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
        if verdict == "ok" { Ok(()) } else { Err(LogbookError::Damaged(verdict)) }
    }
}
