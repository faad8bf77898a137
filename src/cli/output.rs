//! Standard output and standard error.

use super::ExitStatus;
use std::io::{self, Write};

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

/// Says why results could not be written; nothing where only their reader left.
pub fn unwritten(error: &io::Error) -> ExitStatus {
    if error.kind() != io::ErrorKind::BrokenPipe {
        complain(&format!("the results can't be written: {error}"));
    }
    ExitStatus::Other
}
