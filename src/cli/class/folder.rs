//! A class as a folder: KNITTER/PHOTO or KNITTER/SWATCH/PHOTO.

use super::{Ended, PhotoOf, bad, check_number};
use crate::class::{LeftOut, LeftOutKind, free_name};
use std::path::{Path, PathBuf};

/// What a folder holds.
pub struct FolderOfClass {
    /// The photos, by knitter and name.
    pub photos: Vec<PhotoOf>,
    /// What is not where a knitter's photos are.
    pub left_out: Vec<LeftOut>,
}

/// Endings of files that are taken for photos; a HEIC file may be called either way.
const ENDINGS: [&str; 8] = ["jpg", "jpeg", "png", "webp", "tif", "tiff", "heic", "heif"];

/// The photos of a class. Files without a photo's ending, and those whose name begins with a dot, are passed over. Links to
/// folders are not followed.
pub fn photos(root: &Path) -> Result<FolderOfClass, Ended> {
    let mut found = FolderOfClass { photos: Vec::new(), left_out: Vec::new() };
    let mut knitters = Vec::new();
    let mut labels = Vec::new();
    for entry in listed(root)? {
        match entry.kind {
            Kind::Photo => {
                found.leave(root, &entry.path, None, "it lies in no knitter's folder, so nobody knows whose it is")
            }
            Kind::LinkToFolder => found.leave(root, &entry.path, None, "a link to a folder, which is not followed"),
            Kind::Other => {}
            Kind::Folder => {
                let knitter = free_name(&mut knitters, file_name(&entry.path));
                found.knitter(root, &entry.path, &knitter, &mut labels)?;
            }
        }
    }
    check_number(found.photos.len())?;
    if found.photos.is_empty() && found.left_out.is_empty() {
        return Err((
            format!("{}: there is no photo in any knitter's folder (KNITTER/PHOTO.jpg)", root.display()),
            crate::cli::ExitStatus::Refused,
        ));
    }
    Ok(found)
}

impl FolderOfClass {
    /// One knitter's folder: photos, and folders of photos that show one swatch.
    fn knitter(&mut self, root: &Path, folder: &Path, knitter: &str, labels: &mut Vec<String>) -> Result<(), Ended> {
        let mut swatches = Vec::new();
        for entry in listed(folder)? {
            match entry.kind {
                Kind::Photo => {
                    let swatch = free_name(&mut swatches, stem(&entry.path));
                    self.photo(root, entry.path, knitter, swatch, labels);
                }
                Kind::LinkToFolder => {
                    self.leave(root, &entry.path, Some(knitter), "a link to a folder, which is not followed");
                }
                Kind::Other => {}
                Kind::Folder => {
                    let swatch = free_name(&mut swatches, file_name(&entry.path));
                    for inner in listed(&entry.path)? {
                        match inner.kind {
                            Kind::Photo => self.photo(root, inner.path, knitter, swatch.clone(), labels),
                            Kind::Other => {}
                            Kind::Folder | Kind::LinkToFolder => {
                                let reason = "a folder inside a swatch's folder, which is not looked into";
                                self.leave(root, &inner.path, Some(knitter), reason);
                            }
                        }
                    }
                }
            }
        }
        Ok(())
    }

    fn photo(&mut self, root: &Path, path: PathBuf, knitter: &str, swatch: String, labels: &mut Vec<String>) {
        let label = free_name(labels, within(root, &path));
        let knitter = knitter.to_owned();
        self.photos.push(PhotoOf { knitter, swatch, label, path, state: None, ruler: None });
    }

    fn leave(&mut self, root: &Path, path: &Path, knitter: Option<&str>, reason: &str) {
        self.left_out.push(LeftOut {
            knitter: knitter.map(str::to_owned),
            label: within(root, path),
            kind: LeftOutKind::Misplaced,
            reason: reason.to_owned(),
        });
    }
}

/// What an entry of a folder is.
enum Kind {
    Photo,
    Folder,
    LinkToFolder,
    Other,
}

struct Listed {
    path: PathBuf,
    kind: Kind,
}

/// A folder's entries by name, hidden ones left out.
fn listed(folder: &Path) -> Result<Vec<Listed>, Ended> {
    let wrong = |e: &std::io::Error| bad(format!("{}: the folder can't be read: {e}", folder.display()));
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(|e| wrong(&e))? {
        let path = entry.map_err(|e| wrong(&e))?.path();
        if !file_name(&path).starts_with('.') {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths.into_iter().map(|path| Listed { kind: kind(&path), path }).collect())
}

fn kind(path: &Path) -> Kind {
    let ending = path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase());
    match (path.is_dir(), path.is_symlink()) {
        (true, true) => Kind::LinkToFolder,
        (true, false) => Kind::Folder,
        (false, _) if ending.is_some_and(|e| ENDINGS.contains(&&*e)) => Kind::Photo,
        (false, _) => Kind::Other,
    }
}

/// A name for people; letters that are not Unicode are replaced.
fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}

fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}

/// The path inside the class's folder, for people.
fn within(root: &Path, path: &Path) -> String {
    path.strip_prefix(root).unwrap_or(path).to_string_lossy().into_owned()
}
