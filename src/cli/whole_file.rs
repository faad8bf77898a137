//! Files that are written whole or not at all: under another name beside their place, and renamed there when they are
//! complete. An interrupted run takes the unfinished ones away.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tempfile::NamedTempFile;

/// Files under other names that are not complete yet. Whoever holds the lock may create, rename and remove them.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// Files that this run has read: none of them is written over.
static READ: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// Most links that are followed to a file, as systems do.
const MOST_LINKS: usize = 40;

/// Writes a file, so that a run that breaks off leaves the old file or none. A link stays, and the file it leads to is
/// written. Folders, devices, pipes, write-protected files and files that this run has read are left alone.
pub fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = Unfinished::beside(path)?;
    file.file()?.write_all(bytes)?;
    file.finish()
}

/// Whether a file could be written at `path`; leaves nothing behind.
pub fn check_writable(path: &Path) -> io::Result<()> {
    Unfinished::beside(path).map(drop)
}

/// Whether a file is at `path`, and is one of the others, by whatever names.
pub fn is_one_of(path: &Path, others: &[PathBuf]) -> bool {
    path.canonicalize().is_ok_and(|path| others.iter().any(|other| other.canonicalize().is_ok_and(|o| o == path)))
}

/// Notes that a file is read in this run.
pub fn note_read(path: &Path) {
    if let Ok(path) = path.canonicalize() {
        locked(&READ).insert(path);
    }
}

/// A file on its way, under another name beside its place; taken away again unless it is finished.
pub struct Unfinished {
    temporary: Option<NamedTempFile>,
    place: PathBuf,
}

impl Unfinished {
    /// An empty file beside `path`. Readable like any other file the user makes, or like the one it replaces.
    pub fn beside(path: &Path) -> io::Result<Self> {
        let place = behind_links(path)?;
        let replaced = replaceable(&place)?;
        interruption::watch();
        let folder = place.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let temporary = tempfile::Builder::new().prefix(".walewise-").make_in(folder, |temporary| {
            let mut unfinished = locked(&UNFINISHED);
            // Its errors don't name the temporary file, as the library's own would.
            let file = File::create_new(temporary)?;
            unfinished.insert(temporary.to_owned());
            Ok(file)
        })?;
        let unfinished = Self { temporary: Some(temporary), place };
        if let (Some(rights), Some(temporary)) = (replaced, &unfinished.temporary) {
            temporary.as_file().set_permissions(rights)?;
        }
        Ok(unfinished)
    }

    /// The open file.
    pub fn file(&mut self) -> io::Result<&mut File> {
        self.temporary.as_mut().map(NamedTempFile::as_file_mut).ok_or_else(|| ErrorKind::NotFound.into())
    }

    /// Where it is meanwhile.
    pub fn path(&self) -> &Path {
        self.temporary.as_ref().map_or(&self.place, NamedTempFile::path)
    }

    /// Puts it in its place, once all of it is on the disk: a full one may be noticed only then.
    pub fn finish(mut self) -> io::Result<()> {
        self.file()?.sync_all()?;
        let mut unfinished = locked(&UNFINISHED);
        let Some(temporary) = self.temporary.take() else { return Ok(()) };
        unfinished.remove(temporary.path());
        temporary.persist(&self.place).map(drop).map_err(|e| e.error)
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        if let Some(temporary) = self.temporary.take() {
            let mut unfinished = locked(&UNFINISHED);
            unfinished.remove(temporary.path());
            drop(temporary);
        }
    }
}

/// A list whose other user may have panicked: its paths are good all the same.
fn locked(list: &Mutex<BTreeSet<PathBuf>>) -> MutexGuard<'_, BTreeSet<PathBuf>> {
    list.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The file that links at `path` lead to, whether it is there or not.
fn behind_links(path: &Path) -> io::Result<PathBuf> {
    let mut place = path.to_owned();
    for _ in 0..MOST_LINKS {
        match std::fs::read_link(&place) {
            Ok(target) => place = place.parent().unwrap_or(Path::new("")).join(target),
            Err(_) => return Ok(place),
        }
    }
    Err(io::Error::other("links lead round in a circle"))
}

/// The rights of the file that is there, if one is; an error where it must not be replaced.
fn replaceable(place: &Path) -> io::Result<Option<std::fs::Permissions>> {
    let Ok(about) = place.metadata() else { return Ok(None) };
    let no = |kind, why| Err(io::Error::new(kind, why));
    if about.is_dir() {
        return no(ErrorKind::IsADirectory, "it is a folder");
    }
    if !about.is_file() {
        return no(ErrorKind::InvalidInput, "it is a pipe or a device");
    }
    if about.permissions().readonly() {
        return no(ErrorKind::PermissionDenied, "the file that is there is write-protected");
    }
    if place.canonicalize().is_ok_and(|place| locked(&READ).contains(&place)) {
        return no(ErrorKind::InvalidInput, "this would overwrite a file that was read");
    }
    Ok(Some(about.permissions()))
}

/// What happens when the user or the system ends the program (Ctrl-C, SIGTERM).
#[cfg(unix)]
mod interruption {
    use super::{UNFINISHED, locked};
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    use signal_hook::low_level::emulate_default_handler;
    use std::sync::Once;

    /// Whether whoever started the program made it deaf for a signal, as shells do with what scripts run in the background;
    /// known on Linux only.
    fn is_ignored(signal: i32) -> bool {
        let about = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let mask = about.lines().find_map(|line| line.strip_prefix("SigIgn:"));
        let mask = mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0);
        mask >> (signal - 1) & 1 == 1
    }

    /// From now on, unfinished files are taken away before the program ends as it would have ended anyway.
    pub fn watch() {
        static WATCHED: Once = Once::new();
        WATCHED.call_once(|| {
            // Without it, an interruption just ends the program.
            let heard = [SIGINT, SIGTERM].into_iter().filter(|signal| !is_ignored(*signal));
            let Ok(mut signals) = Signals::new(heard) else { return };
            std::thread::spawn(move || {
                if let Some(signal) = signals.forever().next() {
                    // Held to the end, so that nothing is created or renamed any more.
                    let unfinished = locked(&UNFINISHED);
                    for file in unfinished.iter() {
                        // It may just have been finished.
                        let _ = std::fs::remove_file(file);
                    }
                    let _ = emulate_default_handler(signal);
                    std::process::exit(128 + signal);
                }
            });
        });
    }
}

#[cfg(not(unix))]
mod interruption {
    /// Elsewhere an interruption just ends the program.
    pub fn watch() {}
}

#[cfg(test)]
mod tests {
    use super::{check_writable, note_read, write_whole};
    use std::path::Path;

    fn names(folder: &Path) -> Vec<String> {
        let entries = std::fs::read_dir(folder).expect("a folder");
        let mut names: Vec<String> =
            entries.map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

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
        assert_eq!(names(folder.path()), ["file"], "nothing temporary is left");
    }

    #[test]
    fn what_was_read_is_not_written_over() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("photo");
        std::fs::write(&file, b"before").expect("a file");
        note_read(&file);
        assert!(write_whole(&folder.path().join(".").join("photo"), b"after").is_err());
        assert_eq!(std::fs::read(&file).expect("the file is there"), b"before");
    }

    #[cfg(unix)]
    #[test]
    fn links_stay_and_rights_are_kept() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        std::fs::create_dir(at("sub")).expect("a folder");
        std::fs::write(at("sub/file"), b"before").expect("a file");
        std::fs::set_permissions(at("sub/file"), PermissionsExt::from_mode(0o600)).expect("rights");
        symlink("sub/file", at("link")).expect("a link");
        symlink("sub/new", at("to nothing")).expect("a link");
        symlink("round", at("round")).expect("a link");
        write_whole(&at("link"), b"after").expect("written");
        write_whole(&at("to nothing"), b"new").expect("written");
        assert!(write_whole(&at("round"), b"after").is_err());
        assert!(at("link").is_symlink() && at("to nothing").is_symlink());
        assert_eq!(std::fs::read(at("sub/file")).expect("the file"), b"after");
        assert_eq!(std::fs::read(at("sub/new")).expect("the file"), b"new");
        assert_eq!(at("sub/file").metadata().expect("the file").permissions().mode() & 0o777, 0o600);
        std::fs::set_permissions(at("sub/file"), PermissionsExt::from_mode(0o400)).expect("rights");
        assert!(write_whole(&at("sub/file"), b"later").is_err(), "write-protected");
        assert_eq!(names(&at("sub")), ["file", "new"]);
    }
}
