//! Files that are read → bytes or text, with plain words for what can go wrong. Every file the user names comes through
//! here, except the log, which SQLite opens.

use super::whole_file;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// What a file should be, and how large it may be.
#[derive(Debug, Clone, Copy)]
pub struct Kind {
    /// In words, with its article.
    pub what: &'static str,
    /// Most bytes that are read.
    pub largest: u64,
}

impl Kind {
    /// A photo: a 100-megapixel picture uncompressed at 16 bits a channel takes 600 MB.
    pub const PHOTO: Self = Self { what: "a photo", largest: 1 << 30 };

    /// A lens profile: it has a kilobyte.
    pub const LENS: Self = Self { what: "a lens profile", largest: 64 << 10 };

    /// A plan file: long ones have some kilobytes.
    pub const PLAN: Self = Self { what: "a plan file", largest: 1 << 20 };

    /// Measurements as JSON: one has 10 to 30 kB, so this holds more than a thousand.
    pub const MEASUREMENT: Self = Self { what: "a measurement", largest: 64 << 20 };

    /// A class as a table: a line for every measurement takes a thousandth of it.
    pub const CLASS_TABLE: Self = Self { what: "a table of a class", largest: 4 << 20 };

    /// An export of the log: a measured photo has some 30 kB, so this holds thirty thousand of them.
    pub const LOG_EXPORT: Self = Self { what: "an export of the log", largest: 1 << 30 };
}

/// Why a file can't be read: a short code and words.
#[derive(Debug, PartialEq, Eq)]
pub struct FileError {
    /// Short name of the kind of error.
    pub code: &'static str,
    /// What went wrong, in words.
    pub message: String,
}

impl FileError {
    fn new(code: &'static str, message: impl Into<String>) -> Self {
        Self { code, message: message.into() }
    }
}

/// The bytes of the file at `path`, at least one. Only ordinary files are read: a pipe may never speak, and a device
/// never end.
pub fn read(path: &Path, kind: Kind) -> Result<Vec<u8>, FileError> {
    let failed = |e: io::Error| explain(&e, kind);
    // Before it is opened, which would wait for a pipe's other end.
    let about = std::fs::metadata(path).map_err(failed)?;
    if about.is_dir() {
        return Err(FileError::new("is_a_folder", format!("this is a folder, not {}", kind.what)));
    }
    if !about.is_file() {
        let message = format!("this is a pipe or a device, not {}: save it as a file first", kind.what);
        return Err(FileError::new("not_a_file", message));
    }
    whole_file::note_read(path);
    let too_large = || FileError::new("file_too_large", format!("the file is larger than {}", size(kind.largest)));
    if about.len() > kind.largest {
        return Err(too_large());
    }
    let mut bytes = Vec::new();
    // A file may grow while it is read.
    File::open(path).and_then(|file| file.take(kind.largest + 1).read_to_end(&mut bytes)).map_err(failed)?;
    match bytes.len() as u64 {
        0 => Err(FileError::new("empty_file", "the file is empty")),
        n if n > kind.largest => Err(too_large()),
        _ => Ok(bytes),
    }
}

/// The text of the file at `path`, which may be empty; the error is in words.
pub fn text(path: &Path, kind: Kind) -> Result<String, String> {
    match read(path, kind) {
        Ok(bytes) => String::from_utf8(bytes).map_err(|_| format!("this is not text in UTF-8, so not {}", kind.what)),
        Err(error) if error.code == "empty_file" => Ok(String::new()),
        Err(error) => Err(error.message),
    }
}

fn size(bytes: u64) -> String {
    match bytes {
        b if b >= 1 << 30 => format!("{} GiB", b >> 30),
        b if b >= 1 << 20 => format!("{} MiB", b >> 20),
        b => format!("{} KiB", b >> 10),
    }
}

fn explain(error: &io::Error, kind: Kind) -> FileError {
    match error.kind() {
        io::ErrorKind::NotFound => FileError::new("file_missing", "there is no such file"),
        io::ErrorKind::PermissionDenied => FileError::new("no_permission", "reading the file is not allowed"),
        io::ErrorKind::IsADirectory => FileError::new("is_a_folder", format!("this is a folder, not {}", kind.what)),
        _ => FileError::new("file_error", format!("the file can't be read: {error}")),
    }
}
