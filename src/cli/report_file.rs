//! Where reports of single measurements go, settled before anything is measured, and how they are written.

use super::{ExitStatus, whole_file};
use crate::measure::look_for_loops;
use crate::photo::Photo;
use crate::record::{Evidence, Record};
use crate::report::measurement;
use std::collections::HashSet;
use std::ffi::OsString;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// One page for each photo, or none.
pub struct ReportPaths(Vec<PathBuf>);

impl ReportPaths {
    /// A file for one photo; a folder, made when it is missing, for several. `Err` where a page would fall on
    /// one of the photos (bad arguments) or can't be written.
    pub fn plan(target: Option<&Path>, photos: &[PathBuf]) -> Result<Self, (String, ExitStatus)> {
        let Some(target) = target else { return Ok(Self(Vec::new())) };
        let wrong = |what: &str| format!("--report {}: {what}", target.display());
        let paths = if photos.len() > 1 || target.is_dir() {
            if target.exists() && !target.is_dir() {
                return Err((wrong("for several photos this must be a folder"), ExitStatus::BadArguments));
            }
            std::fs::create_dir_all(target)
                .map_err(|e| (wrong(&format!("the folder can't be made: {e}")), ExitStatus::Other))?;
            names(photos).into_iter().map(|n| target.join(n)).collect()
        } else {
            let ending = target.extension().map(|e| e.to_ascii_lowercase());
            if !ending.is_some_and(|e| e == "html" || e == "htm") {
                return Err((wrong("the name must end in .html"), ExitStatus::BadArguments));
            }
            vec![target.to_owned()]
        };
        for path in &paths {
            if whole_file::is_one_of(path, photos) {
                let message = format!("--report {}: this would overwrite a photo", path.display());
                return Err((message, ExitStatus::BadArguments));
            }
            whole_file::check_writable(path)
                .map_err(|e| (format!("--report {}: can't be written: {e}", path.display()), ExitStatus::Other))?;
        }
        Ok(Self(paths))
    }

    /// The file for the photo at `index`.
    pub fn of(&self, index: usize) -> Option<&Path> {
        self.0.get(index).map(PathBuf::as_path)
    }
}

/// `NAME-report.html` for each photo, with a number where two photos have the same name.
fn names(photos: &[PathBuf]) -> Vec<OsString> {
    let mut taken = HashSet::new();
    let name = |photo: &PathBuf, number: usize| {
        let mut name = photo.file_stem().unwrap_or_default().to_owned();
        name.push("-report");
        if number > 1 {
            name.push(format!("-{number}"));
        }
        name.push(".html");
        name
    };
    let mut free = |photo| (1..).map(|n| name(photo, n)).find(|n| taken.insert(n.clone())).unwrap_or_default();
    photos.iter().map(&mut free).collect()
}

/// Writes the page of one measurement.
pub fn write(target: &Path, photo: &Photo, evidence: &mut Evidence, record: &Record) -> Result<(), String> {
    // A mistake in the drawing must not cost the measurement.
    let page = catch_unwind(AssertUnwindSafe(|| {
        look_for_loops(photo, record, evidence);
        measurement::page(record, evidence, photo)
    }));
    let page = page.map_err(|_| format!("{}: drawing broke off through a mistake in the program", target.display()))?;
    whole_file::write_whole(target, page.as_bytes())
        .map_err(|e| format!("{}: the report can't be written: {e}", target.display()))
}
