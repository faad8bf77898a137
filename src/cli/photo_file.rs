//! Photo files → bytes, with plain words for what can go wrong.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Largest file that is read, in bytes: a 100-megapixel picture uncompressed at 16 bits a channel takes 600 MB.
const LARGEST: u64 = 1 << 30;

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

/// The bytes of the file at `path`.
pub fn read(path: &Path) -> Result<Vec<u8>, FileError> {
    let file = File::open(path).map_err(|e| explain(&e))?;
    let about = file.metadata().map_err(|e| explain(&e))?;
    if about.is_dir() {
        return Err(FileError::new("is_a_folder", "this is a folder, not a photo"));
    }
    if about.len() > LARGEST {
        return Err(too_large());
    }
    let mut bytes = Vec::new();
    file.take(LARGEST + 1).read_to_end(&mut bytes).map_err(|e| explain(&e))?;
    match bytes.len() as u64 {
        0 => Err(FileError::new("empty_file", "the file is empty")),
        n if n > LARGEST => Err(too_large()),
        _ => Ok(bytes),
    }
}

fn too_large() -> FileError {
    FileError::new("file_too_large", "the file is larger than 1 GiB")
}

fn explain(error: &io::Error) -> FileError {
    match error.kind() {
        io::ErrorKind::NotFound => FileError::new("file_missing", "there is no such file"),
        io::ErrorKind::PermissionDenied => FileError::new("no_permission", "reading the file is not allowed"),
        io::ErrorKind::IsADirectory => FileError::new("is_a_folder", "this is a folder, not a photo"),
        _ => FileError::new("file_error", format!("the file can't be read: {error}")),
    }
}
