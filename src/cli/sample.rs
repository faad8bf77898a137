//! `walewise sample`: a demonstration photo whose gauge is known, and its truth.

use super::sample_class::{self, SampleClassArgs};
use super::{ExitStatus, numbers, output, output_file};
use crate::synthetic::{Chart, Difficulty, RulerScale, SampleError, SampleSettings, sample};
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};

/// Draw a demonstration photo of a swatch with a ruler, and write what a measurement of it should find.
///
/// The photo is drawn, not taken: it serves to try the other commands and to teach. The truth is written beside it, with
/// the ending .json.
#[derive(Debug, Clone, Args)]
#[command(after_help = "Examples:
  walewise sample demo.jpg --seed 3 --stitch stockinette --gauge 22x30
  walewise sample --class demo --seed 7 --knitters 4")]
pub struct SampleArgs {
    /// The photo to write; its name ends in .jpg.
    #[arg(value_name = "OUT.jpg", value_parser = jpeg_name, required_unless_present = "class")]
    out: Option<PathBuf>,
    /// Start of the random draws: the same number gives the same photo.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Stitch pattern; drawn at random when not given.
    #[arg(long, value_name = "NAME", value_parser = pattern_name)]
    stitch: Option<String>,
    /// Stitches x rows per 10 cm, such as 22x30.
    #[arg(long, value_name = "SxR", value_parser = gauge)]
    gauge: Option<[f64; 2]>,
    /// Which ruler lies in the photo.
    #[arg(long, value_enum)]
    ruler: Option<RulerWish>,
    /// Tilt of the camera, in degrees (0 to 35).
    #[arg(long, value_name = "DEG", value_parser = tilt)]
    tilt: Option<f64>,
    /// How hard the photo is to measure [default: normal; easy for a class].
    #[arg(long, value_enum)]
    difficulty: Option<DifficultyWish>,
    /// Width x height of the photo in pixels (64 to 8000 a side).
    #[arg(long, value_name = "WxH", value_parser = size)]
    size: Option<[u32; 2]>,
    /// Replace files that are there already.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    class: SampleClassArgs,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum RulerWish {
    /// Centimetres and millimetres.
    Cm,
    /// Inches and sixteenths.
    Inch,
    /// Centimetres on one edge, inches on the other.
    Both,
    /// The printed calibration card (measure --card).
    Card,
    /// A card of bank card size (measure --id1).
    Id1,
    /// No ruler: a photo that must be refused.
    None,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum DifficultyWish {
    /// Sharp, bright, nearly square-on.
    Easy,
    /// What a careful knitter sends.
    Normal,
    /// Tilted, dark or noisy, uneven knitting, worn rulers.
    Hard,
}

impl SampleArgs {
    fn settings(&self) -> SampleSettings {
        SampleSettings {
            seed: self.seed,
            difficulty: match self.difficulty {
                Some(DifficultyWish::Easy) => Difficulty::Easy,
                Some(DifficultyWish::Normal) | None => Difficulty::Normal,
                Some(DifficultyWish::Hard) => Difficulty::Hard,
            },
            stitch: self.stitch.clone(),
            gauge: self.gauge,
            ruler: self.ruler.map(|wish| match wish {
                RulerWish::Cm => Some(RulerScale::Cm),
                RulerWish::Inch => Some(RulerScale::InchSixteenths),
                RulerWish::Both => Some(RulerScale::CmInch),
                RulerWish::Card => Some(RulerScale::Card),
                RulerWish::Id1 => Some(RulerScale::Id1),
                RulerWish::None => None,
            }),
            tilt_deg: self.tilt,
            size: self.size,
        }
    }

    /// What the photos of a class look like where nothing else is said: easy, with a ruler in centimetres, and small, since
    /// there are many.
    fn class_settings(&self) -> SampleSettings {
        let own = self.settings();
        SampleSettings {
            difficulty: if self.difficulty.is_some() { own.difficulty } else { Difficulty::Easy },
            stitch: own.stitch.or_else(|| Some("stockinette".to_owned())),
            ruler: own.ruler.or(Some(Some(RulerScale::Cm))),
            size: own.size.or(Some([1200, 900])),
            ..own
        }
    }
}

/// Draws the photo and writes it with its truth: done, or bad arguments for values that do not go together, or other when
/// a file is there already (without `--force`) or can't be written.
pub fn run(args: &SampleArgs) -> ExitStatus {
    match (&args.out, &args.class.class) {
        (Some(out), _) => one_photo(args, out),
        (None, Some(folder)) => sample_class::run(folder, &args.class, args.class_settings(), args.force),
        (None, None) => fail(ExitStatus::BadArguments, "name the photo to write, or a folder with --class"),
    }
}

fn one_photo(args: &SampleArgs, out: &Path) -> ExitStatus {
    let truth = out.with_extension("json");
    let files = [out, truth.as_path()];
    if let Err(message) = files.into_iter().try_for_each(|path| output_file::free_and_writable(path, args.force)) {
        return fail(ExitStatus::Other, &message);
    }
    let made = match sample(&args.settings()) {
        Ok(made) => made,
        Err(error @ SampleError::Encode(_)) => return fail(ExitStatus::Other, &error.to_string()),
        Err(error) => return fail(ExitStatus::BadArguments, &error.to_string()),
    };
    for (path, bytes) in [(truth.as_path(), made.truth_json.as_bytes()), (out, made.jpeg.as_slice())] {
        if let Err(message) = output_file::write(path, bytes) {
            return fail(ExitStatus::Other, &message);
        }
    }
    ExitStatus::Done
}

fn fail(status: ExitStatus, message: &str) -> ExitStatus {
    output::complain(message);
    status
}

fn jpeg_name(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let ending = path.extension().map(|e| e.to_ascii_lowercase());
    match ending.as_deref().and_then(|e| e.to_str()) {
        Some("jpg" | "jpeg") => Ok(path),
        _ => Err("the name must end in .jpg".to_owned()),
    }
}

fn pattern_name(text: &str) -> Result<String, String> {
    Chart::named(text).map(|chart| chart.name).map_err(|unknown| unknown.to_string())
}

fn gauge(text: &str) -> Result<[f64; 2], String> {
    let (stitches, rows) = numbers::pair(text)?;
    let in_range = (5.0..=80.0).contains(&stitches) && (5.0..=120.0).contains(&rows);
    if in_range { Ok([stitches, rows]) } else { Err("stitches 5 to 80, rows 5 to 120 per 10 cm".to_owned()) }
}

fn size(text: &str) -> Result<[u32; 2], String> {
    let wrong =
        || "whole numbers such as 1600x1200 are wanted: 64 to 8000 pixels a side, 50 megapixels in all".to_owned();
    let (a, b) = text.split_once(['x', 'X', '×']).ok_or_else(wrong)?;
    let side = |part: &str| part.trim().parse().ok().filter(|px: &u32| (64..=8000).contains(px)).ok_or_else(wrong);
    let (width, height) = (side(a)?, side(b)?);
    if width * height <= 50_000_000 { Ok([width, height]) } else { Err(wrong()) }
}

fn tilt(text: &str) -> Result<f64, String> {
    let value = numbers::number(text)?;
    if (0.0..=35.0).contains(&value) { Ok(value) } else { Err("0 to 35 degrees".to_owned()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser;

    #[derive(Parser)]
    struct Whole {
        #[command(flatten)]
        sample: SampleArgs,
    }

    fn parse(arguments: &[&str]) -> Result<SampleArgs, clap::Error> {
        Whole::try_parse_from([&["sample"], arguments].concat()).map(|whole| whole.sample)
    }

    #[test]
    fn arguments_that_make_no_sense_are_refused_by_the_parser() {
        for wrong in [
            &["photo.png"][..],
            &["a.jpg", "--gauge", "22"],
            &["a.jpg", "--gauge", "22x500"],
            &["a.jpg", "--size", "10x10"],
            &["a.jpg", "--size", "8000x8000"],
            &["a.jpg", "--tilt", "NaN"],
            &["a.jpg", "--stitch", "no-such-stitch"],
            &["a.jpg", "--ruler", "ell"],
        ] {
            assert!(parse(wrong).is_err(), "{wrong:?}");
        }
        let args = parse(&["a.jpg", "--gauge", "22.5x30", "--size", "640x480"]).expect("good arguments");
        assert_eq!(args.settings().gauge, Some([22.5, 30.0]));
    }

    #[test]
    fn photo_and_truth_are_written_once_and_again_only_by_force() {
        let folder = tempfile::tempdir().expect("a folder");
        let photo = folder.path().join("demo.jpg");
        let name = photo.to_str().expect("a plain name");
        let args = parse(&[name, "--size", "160x120", "--gauge", "20x28"]).expect("good arguments");
        assert_eq!(run(&args), ExitStatus::Done);
        let truth: serde_json::Value =
            serde_json::from_slice(&std::fs::read(folder.path().join("demo.json")).expect("a truth")).expect("JSON");
        let gauge = truth["stitch_gauge"].as_f64().expect("a number");
        assert!((gauge / 20.0 - 1.0).abs() < 0.1, "{gauge}");
        assert!(image::open(&photo).is_ok());
        assert_eq!(run(&args), ExitStatus::Other);
        assert_eq!(run(&SampleArgs { force: true, ..args }), ExitStatus::Done);
        assert_eq!(std::fs::read_dir(folder.path()).expect("a folder").count(), 2);
    }

    #[test]
    fn a_place_that_cannot_be_written_leaves_nothing_behind() {
        let folder = tempfile::tempdir().expect("a folder");
        let photo = folder.path().join("no such folder").join("demo.jpg");
        let args = parse(&[photo.to_str().expect("a plain name"), "--size", "64x64"]).expect("good arguments");
        assert_eq!(run(&args), ExitStatus::Other);
        assert_eq!(std::fs::read_dir(folder.path()).expect("a folder").count(), 0);
    }
}
