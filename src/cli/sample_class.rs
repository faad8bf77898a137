//! `walewise sample --class`: a folder of demonstration photos of a whole class, and its truth.

use super::{ExitStatus, numbers, output, output_file};
use crate::synthetic::{ClassPhoto, ClassSettings, ClassTruth, SampleError, SampleSettings, class_of_photos};
use clap::Args;
use rayon::iter::{IntoParallelRefIterator, ParallelIterator};
use std::path::{Path, PathBuf};

/// Name of the truth's file in the class's folder.
const TRUTH: &str = "class-truth.json";

/// An invented class.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "A whole class")]
pub struct SampleClassArgs {
    /// Draw a whole class into this folder, for walewise class: one yarn, one needle, many hands.
    #[arg(long, value_name = "FOLDER", conflicts_with = "out")]
    pub class: Option<PathBuf>,
    /// How many knitters (1 to 60).
    #[arg(long, value_name = "N", default_value_t = 12, requires = "class", value_parser = clap::value_parser!(u32).range(1..=60))]
    knitters: u32,
    /// Swatches of each knitter (1 to 10).
    #[arg(long, value_name = "N", default_value_t = 1, requires = "class", value_parser = clap::value_parser!(u32).range(1..=10))]
    swatches: u32,
    /// Photos of each swatch (1 to 10).
    #[arg(long, value_name = "N", default_value_t = 1, requires = "class", value_parser = clap::value_parser!(u32).range(1..=10))]
    photos: u32,
    /// How much knitters differ from each other: standard deviation of their gauges, in per cent.
    #[arg(long, value_name = "PERCENT", default_value_t = 4.0, requires = "class", value_parser = percent::<20>)]
    between_knitters: f64,
    /// How much one knitter's swatches differ, likewise.
    #[arg(long, value_name = "PERCENT", default_value_t = 1.5, requires = "class", value_parser = percent::<10>)]
    within_knitter: f64,
}

fn percent<const MOST: u32>(text: &str) -> Result<f64, String> {
    let value = numbers::number(text.trim().trim_end_matches('%'))?;
    if (0.0..=f64::from(MOST)).contains(&value) { Ok(value) } else { Err(format!("0 to {MOST} per cent")) }
}

/// Draws the class into its folder: done, or bad arguments for values that do not go together, or other where a file is
/// there already (without `force`) or can't be written.
pub fn run(folder: &Path, args: &SampleClassArgs, sample: SampleSettings, force: bool) -> ExitStatus {
    let settings = ClassSettings {
        sample,
        knitters: args.knitters,
        swatches: args.swatches,
        photos: args.photos,
        between_knitters_percent: args.between_knitters,
        between_swatches_percent: args.within_knitter,
    };
    let written = class_of_photos(&settings).map_err(|e| (e.to_string(), ExitStatus::BadArguments)).and_then(
        |(photos, truth)| {
            prepare(folder, &photos, force)?;
            photos.par_iter().try_for_each(|photo| draw(folder, photo))?;
            write_truth(&folder.join(TRUTH), &truth)
        },
    );
    match written {
        Ok(()) => ExitStatus::Done,
        Err((message, status)) => {
            output::complain(&message);
            status
        }
    }
}

type Ended = (String, ExitStatus);

/// Makes the folders, and looks whether a file would be lost.
fn prepare(folder: &Path, photos: &[ClassPhoto], force: bool) -> Result<(), Ended> {
    let other = |message: String| (message, ExitStatus::Other);
    let files = photos.iter().map(|p| folder.join(&p.path)).chain([folder.join(TRUTH)]);
    for file in files {
        output_file::free(&file, force).map_err(other)?;
        let parent = file.parent().unwrap_or(folder);
        std::fs::create_dir_all(parent)
            .map_err(|e| other(format!("{}: the folder can't be made: {e}", parent.display())))?;
    }
    Ok(())
}

fn draw(folder: &Path, photo: &ClassPhoto) -> Result<(), Ended> {
    let sample = photo.draw().map_err(|error| {
        let status = if matches!(error, SampleError::Encode(_)) { ExitStatus::Other } else { ExitStatus::BadArguments };
        (format!("{}: {error}", photo.path), status)
    })?;
    let path = folder.join(&photo.path);
    write(&path.with_extension("json"), sample.truth_json.as_bytes())?;
    write(&path, &sample.jpeg)
}

/// The truth as JSON; without it the class is of no use, so a mistake in it is told.
fn write_truth(path: &Path, truth: &ClassTruth) -> Result<(), Ended> {
    let json = serde_json::to_string_pretty(truth)
        .map_err(|e| (format!("{}: the truth can't be put as JSON: {e}", path.display()), ExitStatus::Other))?;
    write(path, (json + "\n").as_bytes())
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Ended> {
    output_file::write(path, bytes).map_err(|message| (message, ExitStatus::Other))
}
