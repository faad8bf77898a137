//! Where annotated pictures go, settled before anything is measured, and how they are written.

use super::ExitStatus;
use super::whole_file;
use image::{ExtendedColorType, ImageEncoder, RgbImage};
use std::collections::HashSet;
use std::ffi::OsString;
use std::path::{Path, PathBuf};

/// JPEG quality of annotated pictures: thin lines stay clean, files stay small (a stated choice).
const JPEG_QUALITY: u8 = 90;

/// One picture file for each photo, or none.
pub struct AnnotatedPaths(Vec<PathBuf>);

impl AnnotatedPaths {
    /// A file for one photo; a folder, made when it is missing, for several. `Err` when a picture would fall on one of
    /// the photos (bad arguments) or can't be written.
    pub fn plan(target: Option<&Path>, photos: &[PathBuf]) -> Result<Self, (String, ExitStatus)> {
        let Some(target) = target else { return Ok(Self(Vec::new())) };
        let paths = if photos.len() > 1 || target.is_dir() {
            make_folder(target)?;
            names(photos).into_iter().map(|n| target.join(n)).collect()
        } else {
            if format_of(target).is_none() {
                let message = format!("--annotate {}: the name must end in .jpg, .jpeg or .png", target.display());
                return Err((message, ExitStatus::BadArguments));
            }
            vec![target.to_owned()]
        };
        for path in &paths {
            check(path, photos)?;
        }
        Ok(Self(paths))
    }

    /// The file for the photo at `index`.
    pub fn of(&self, index: usize) -> Option<&Path> {
        self.0.get(index).map(PathBuf::as_path)
    }
}

fn make_folder(folder: &Path) -> Result<(), (String, ExitStatus)> {
    if folder.exists() && !folder.is_dir() {
        let message = format!("--annotate {}: for several photos this must be a folder", folder.display());
        return Err((message, ExitStatus::BadArguments));
    }
    std::fs::create_dir_all(folder)
        .map_err(|e| (format!("--annotate {}: the folder can't be made: {e}", folder.display()), ExitStatus::Other))
}

fn check(path: &Path, photos: &[PathBuf]) -> Result<(), (String, ExitStatus)> {
    if whole_file::is_one_of(path, photos) {
        let message = format!("--annotate {}: this would overwrite a photo", path.display());
        return Err((message, ExitStatus::BadArguments));
    }
    whole_file::check_writable(path)
        .map_err(|e| (format!("--annotate {}: can't be written: {e}", path.display()), ExitStatus::Other))
}

/// `NAME-annotated.jpg` for each photo, with a number where two photos have the same name.
fn names(photos: &[PathBuf]) -> Vec<OsString> {
    let mut taken = HashSet::new();
    let name = |photo: &PathBuf, number: usize| {
        let mut name = photo.file_stem().unwrap_or_default().to_owned();
        name.push("-annotated");
        if number > 1 {
            name.push(format!("-{number}"));
        }
        name.push(".jpg");
        name
    };
    let mut free = |photo| (1..).map(|n| name(photo, n)).find(|n| taken.insert(n.clone())).unwrap_or_default();
    photos.iter().map(&mut free).collect()
}

#[derive(Clone, Copy)]
enum Format {
    Jpeg,
    Png,
}

fn format_of(path: &Path) -> Option<Format> {
    let extension = path.extension()?.to_str()?.to_ascii_lowercase();
    match extension.as_str() {
        "jpg" | "jpeg" => Some(Format::Jpeg),
        "png" => Some(Format::Png),
        _ => None,
    }
}

/// Writes the picture in the format its name asks for; no EXIF is written.
pub fn write(path: &Path, picture: &RgbImage) -> Result<(), String> {
    let mut bytes = Vec::new();
    let (w, h) = picture.dimensions();
    let encoded = match format_of(path) {
        Some(Format::Png) => {
            image::codecs::png::PngEncoder::new(&mut bytes).write_image(picture, w, h, ExtendedColorType::Rgb8)
        }
        _ => image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY).write_image(
            picture,
            w,
            h,
            ExtendedColorType::Rgb8,
        ),
    };
    let wrong = |e: &dyn std::fmt::Display| format!("{}: the annotated picture can't be written: {e}", path.display());
    encoded.map_err(|e| wrong(&e))?;
    whole_file::write_whole(path, &bytes).map_err(|e| wrong(&e))
}
