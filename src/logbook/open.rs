//! Opening the log's file: telling it from other files before anything is written, and bringing it up to date.

use super::LogbookError;
use super::schema::{self, APPLICATION_ID};
use rusqlite::{Connection, ErrorCode, OpenFlags};
use std::path::Path;

/// What the log is opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// Reading. A file that can't be written is read all the same.
    Read,
    /// Changing what is there.
    Write,
    /// Adding: a log that does not exist is begun.
    Begin,
}

/// Smallest page of an SQLite file, in bytes: a file with content is never shorter (SQLite's file format, 1.3.2).
const SHORTEST_FILE: u64 = 512;

/// An open log.
pub struct Logbook {
    pub(super) connection: Connection,
}

/// What a program does while another one writes: it is called with the number of times it was called before, waits a
/// little, and says whether to try again.
pub trait Waiting: FnMut(i32) -> bool + Send + 'static {}
impl<F: FnMut(i32) -> bool + Send + 'static> Waiting for F {}

impl Logbook {
    /// Opens the log at `path`. A file that is not a log of a known version is left untouched.
    pub fn open(path: &Path, access: Access, waiting: impl Waiting) -> Result<Self, LogbookError> {
        let mut flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        flags.set(OpenFlags::SQLITE_OPEN_CREATE, access == Access::Begin);
        if access != Access::Begin && !path.exists() {
            return Err(LogbookError::Missing);
        }
        if path.is_dir() {
            return Err(LogbookError::CantOpen("it is a folder".to_owned()));
        }
        // A pipe would be waited for, a device never end.
        if path.metadata().is_ok_and(|about| !about.is_file()) {
            return Err(LogbookError::NotALogbook);
        }
        // SQLite takes so short a file for one without content, and would write over it.
        if path.metadata().is_ok_and(|about| (1..SHORTEST_FILE).contains(&about.len())) {
            return Err(LogbookError::NotALogbook);
        }
        let opened = Connection::open_with_flags(path, flags)
            .map_err(LogbookError::from)
            .and_then(|connection| Self::prepare(connection, access, waiting));
        match opened {
            // A log in write-ahead mode in a folder that takes no files, such as a disc or a full disk: nobody can be
            // writing to it.
            Err(LogbookError::ReadOnly | LogbookError::Full | LogbookError::CantOpen(_)) if access == Access::Read => {
                Self::unchanging(path)
            }
            other => other,
        }
    }

    fn prepare(mut connection: Connection, access: Access, waiting: impl Waiting) -> Result<Self, LogbookError> {
        connection.busy_handler(Some(waiting))?;
        protect(&connection)?;
        let writable = !connection.is_readonly("main")?;
        if access != Access::Read && !writable {
            return Err(LogbookError::ReadOnly);
        }
        let known = is_known(&connection)?;
        if !known && access != Access::Begin {
            return Err(LogbookError::Missing);
        }
        let current = schema::version(&connection)? == schema::newest_version() && known;
        if writable {
            write_ahead(&connection)?;
            connection.pragma_update(None, "synchronous", "FULL")?;
        }
        if !current {
            schema::migrate(&mut connection).map_err(|error| match error {
                LogbookError::ReadOnly if known => LogbookError::OldAndReadOnly,
                other => other,
            })?;
        }
        Ok(Self { connection })
    }

    /// Opens a file that cannot change while it is read.
    fn unchanging(path: &Path) -> Result<Self, LogbookError> {
        let mut wal = path.as_os_str().to_owned();
        wal.push("-wal");
        let wal = Path::new(&wal);
        if wal.metadata().is_ok_and(|m| m.len() > 0) {
            // Entries that were not yet moved into the file would be missed.
            return Err(LogbookError::ReadOnly);
        }
        // Any byte may stand in a name; coded, none has a meaning in the address.
        let name: String = path.as_os_str().as_encoded_bytes().iter().map(|byte| format!("%{byte:02x}")).collect();
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX | OpenFlags::SQLITE_OPEN_URI;
        let connection = Connection::open_with_flags(format!("file:{name}?immutable=1"), flags)?;
        protect(&connection)?;
        if !is_known(&connection)? {
            return Err(LogbookError::Missing);
        }
        if schema::version(&connection)? != schema::newest_version() {
            return Err(LogbookError::OldAndReadOnly);
        }
        Ok(Self { connection })
    }

    /// Looks through the whole file for damage and broken references; an empty list means sound.
    pub fn check(&self) -> Result<Vec<String>, LogbookError> {
        let mut found = Vec::new();
        let mut integrity = self.connection.prepare("PRAGMA integrity_check(20)")?;
        for line in integrity.query_map([], |row| row.get::<_, String>(0))? {
            found.push(line?);
        }
        found.retain(|line| line != "ok");
        let mut references = self.connection.prepare("PRAGMA foreign_key_check")?;
        for line in references.query_map([], |row| row.get::<_, String>(0))? {
            found.push(format!("a row of {} points to nothing", line?));
        }
        Ok(found)
    }
}

/// Settings that keep a file of unknown origin from doing harm, and the references whole.
fn protect(connection: &Connection) -> Result<(), LogbookError> {
    connection.pragma_update(None, "trusted_schema", false)?;
    connection.pragma_update(None, "cell_size_check", true)?;
    connection.pragma_update(None, "foreign_keys", true)?;
    Ok(())
}

/// Whether the file is a log; `false` for a file without any content. Errors for what is something else, or newer.
fn is_known(connection: &Connection) -> Result<bool, LogbookError> {
    let id = || connection.pragma_query_value(None, "application_id", |row| row.get::<_, i64>(0));
    let first = id()?;
    if first != APPLICATION_ID {
        let tables: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
        if tables == 0 && first == 0 {
            return Ok(false);
        }
        // Another program may have begun the log between the two looks: tables and id come in one step.
        if id()? != APPLICATION_ID {
            return Err(LogbookError::NotALogbook);
        }
    }
    match (schema::version(connection)?, schema::newest_version()) {
        (found, known) if found > known => Err(LogbookError::NewerSchema { found, known }),
        _ => Ok(true),
    }
}

/// Write-ahead mode: readers and a writer don't stop each other. A file that is in use in its old mode stays in it.
fn write_ahead(connection: &Connection) -> Result<(), LogbookError> {
    let set = connection.query_row("PRAGMA journal_mode = WAL", [], |row| row.get::<_, String>(0));
    match set {
        Err(error) if error.sqlite_error_code() == Some(ErrorCode::DatabaseBusy) => Ok(()),
        other => Ok(other.map(drop)?),
    }
}
