//! Standard output, standard error, and files that are written whole or not at all.

use std::io::{self, Write};
use std::path::Path;

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
    file.write_all(bytes)?;
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

fn temporary_beside(path: &Path) -> io::Result<tempfile::NamedTempFile> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".walewise-");
    // Without this the file would be readable by its owner alone, unlike any other file the user makes.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    builder.tempfile_in(folder).map_err(without_temporary_name)
}

/// The system's own error, without the temporary file's name around it, which would only puzzle.
fn without_temporary_name(error: io::Error) -> io::Error {
    let inner = error.get_ref().and_then(|e| e.source()).and_then(|e| e.downcast_ref::<io::Error>());
    inner.and_then(io::Error::raw_os_error).map_or(error, io::Error::from_raw_os_error)
}
