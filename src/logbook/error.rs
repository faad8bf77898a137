//! What can go wrong with the log's file, in words that say what to do.

use super::FieldError;
use rusqlite::ErrorCode;
use rusqlite::ffi::SQLITE_IOERR_SHMSIZE;
use std::fmt;

/// An error of the log. Nothing was changed when one is returned.
#[derive(Debug)]
#[non_exhaustive]
pub enum LogbookError {
    /// There is no log at the path.
    Missing,
    /// The file is not an SQLite file, or one that something else made.
    NotALogbook,
    /// A newer version of the program wrote the log.
    NewerSchema {
        /// Version of the log.
        found: i64,
        /// Newest version this program knows.
        known: i64,
    },
    /// The log must be brought up to date first, and can't be written.
    OldAndReadOnly,
    /// The file or its folder can't be written.
    ReadOnly,
    /// The file can't be opened, read or written.
    CantOpen(String),
    /// The disk is full.
    Full,
    /// The file is damaged.
    Damaged(String),
    /// Another program kept the log locked.
    Busy,
    /// There is no swatch of that number.
    NoSuchSwatch(i64),
    /// There is no measurement of that number in the swatch.
    NoSuchMeasurement {
        /// The swatch.
        swatch: i64,
        /// The measurement.
        measurement: i64,
    },
    /// A value that a field can't have.
    Field(FieldError),
    /// A measurement that can't be kept.
    Measurement(String),
    /// Anything else the database says.
    Database(rusqlite::Error),
}

impl fmt::Display for LogbookError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing => f.write_str("there is no swatch log yet; adding a swatch begins one"),
            Self::NotALogbook => f.write_str("the file is not a swatch log; it was left as it is"),
            Self::NewerSchema { found, known } => write!(
                f,
                "the log was written by a newer version of the program (format {found}, this one knows {known}); it was \
                 left as it is"
            ),
            Self::OldAndReadOnly => {
                f.write_str("the log is of an older version and can't be brought up to date: the file can't be written")
            }
            Self::ReadOnly => f.write_str("the log can't be written: the file or its folder is read-only"),
            Self::CantOpen(why) => write!(f, "the log can't be used: {why}"),
            Self::Full => f.write_str("the disk is full; nothing was stored"),
            Self::Damaged(why) => write!(
                f,
                "the log's file is damaged ({why}); nothing was changed. Keep the file, and go back to a backup or export \
                 what can still be read"
            ),
            Self::Busy => f.write_str("another program keeps the log locked; nothing was stored"),
            Self::NoSuchSwatch(id) => write!(f, "there is no swatch {id} in the log"),
            Self::NoSuchMeasurement { swatch, measurement } => {
                write!(f, "swatch {swatch} has no measurement {measurement}")
            }
            Self::Field(error) => error.fmt(f),
            Self::Measurement(why) => f.write_str(why),
            Self::Database(error) => write!(f, "the log's database says: {error}"),
        }
    }
}

impl std::error::Error for LogbookError {}

impl From<FieldError> for LogbookError {
    fn from(error: FieldError) -> Self {
        Self::Field(error)
    }
}

impl From<rusqlite::Error> for LogbookError {
    fn from(error: rusqlite::Error) -> Self {
        let extended = error.sqlite_error().map(|e| e.extended_code);
        match error.sqlite_error_code() {
            // The index of the write-ahead file found no room on the disk.
            _ if extended == Some(SQLITE_IOERR_SHMSIZE) => Self::Full,
            Some(ErrorCode::SystemIoFailure) => Self::CantOpen(format!("reading or writing it failed ({error})")),
            Some(ErrorCode::NotADatabase) => Self::NotALogbook,
            Some(ErrorCode::ReadOnly) => Self::ReadOnly,
            Some(ErrorCode::CannotOpen) => Self::CantOpen("no such folder, or opening it is not allowed".to_owned()),
            Some(ErrorCode::PermissionDenied) => Self::CantOpen("opening it is not allowed".to_owned()),
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged(error.to_string()),
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy,
            _ => Self::Database(error),
        }
    }
}
