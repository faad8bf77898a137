//! Standard output, standard error, and files that are written whole or not at all.

use std::fs::File;
use std::io::{self, Write};
use std::path::Path;
use tempfile::NamedTempFile;

/// One line on stderr.
pub fn complain(message: &str) {
    // A file's name may hold anything; it must neither break the line nor steer the terminal.
    let message: String = message.chars().map(|c| if c.is_control() { '\u{FFFD}' } else { c }).collect();
    // Nobody is left to tell when stderr is gone.
    let _ = writeln!(anstream::stderr(), "walewise: {message}");
}

/// Results on stdout. `Err` means that nobody reads them any more, or that they can't be written.
pub fn print(text: &str) -> io::Result<()> {
    let mut out = anstream::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()
}

/// Writes a file beside its final place and renames it there, so that a broken run leaves the old file or none.
pub fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = temporary_beside(path)?;
    // The file itself, not its wrapper, which would put the temporary name into messages.
    file.as_file_mut().write_all(bytes)?;
    file.persist(path).map_err(|e| e.error)?;
    Ok(())
}

/// Whether a file could be written at `path`; leaves nothing behind.
pub fn check_writable(path: &Path) -> io::Result<()> {
    if path.is_dir() {
        return Err(io::Error::new(io::ErrorKind::IsADirectory, "it is a folder"));
    }
    temporary_beside(path)?.close()
}

fn temporary_beside(path: &Path) -> io::Result<NamedTempFile> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // An ordinary new file: readable like any other file the user makes, and its errors don't name the temporary file.
    tempfile::Builder::new().prefix(".walewise-").make_in(folder, |temporary| File::create_new(temporary))
}

#[cfg(test)]
mod tests {
    use super::{check_writable, write_whole};

    #[test]
    fn messages_are_about_the_file_that_was_asked_for() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("file");
        std::fs::write(&file, b"before").expect("a file");
        for path in [folder.path().join("no such folder").join("seen.jpg"), file.join("seen.jpg")] {
            for error in [check_writable(&path).unwrap_err(), write_whole(&path, b"after").unwrap_err()] {
                assert!(!error.to_string().contains("walewise"), "{error}");
            }
        }
        assert!(check_writable(folder.path()).is_err());
        assert!(write_whole(folder.path(), b"after").is_err());
        write_whole(&file, b"after").expect("the file can be replaced");
        assert_eq!(std::fs::read(&file).expect("the file is there"), b"after");
        assert_eq!(std::fs::read_dir(folder.path()).expect("a folder").count(), 1, "nothing temporary is left");
    }
}
