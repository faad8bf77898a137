//! One line of progress on stderr while photos are measured; nothing when stderr is no terminal.

use crate::measure::Stage;
use std::io::{IsTerminal, Write};
use std::sync::Mutex;

/// Progress over a number of photos, fed from several threads.
pub struct Progress {
    shown: bool,
    total: usize,
    done: Mutex<usize>,
}

impl Progress {
    /// Progress over `total` photos.
    pub fn new(total: usize) -> Self {
        Self { shown: std::io::stderr().is_terminal(), total, done: Mutex::new(0) }
    }

    /// A photo entered a stage.
    pub fn stage(&self, photo: &str, stage: Stage) {
        self.show(0, &format!("{photo}: {}", stage.label()));
    }

    /// A photo is finished.
    pub fn finished(&self) {
        self.show(1, "");
    }

    /// Takes the line away, so that results can be printed.
    pub fn clear(&self) {
        if self.shown {
            let _ = write!(anstream::stderr(), "\r\x1b[K");
        }
    }

    fn show(&self, newly_done: usize, what: &str) {
        if !self.shown {
            return;
        }
        // A thread that panicked while counting leaves a number that is still good enough to show.
        let mut done = self.done.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        *done += newly_done;
        let count = if self.total > 1 { format!("{} of {} done  ", *done, self.total) } else { String::new() };
        let line: String = format!("{count}{what}").chars().filter(|c| !c.is_control()).take(79).collect();
        let _ = write!(anstream::stderr(), "\r\x1b[K{line}");
        let _ = anstream::stderr().flush();
    }
}
