//! `walewise class`: many knitters' swatches → how much their gauge varies, what it does to a piece, and a handout.

#[cfg(feature = "logbook")]
mod entries;
mod folder;
mod photos;

use super::input_file::{self, Kind};
use super::setup::PhotoArguments;
use super::{ExitStatus, output, output_file, whole_file, wishes};
use crate::class::{
    Class, ClassError, ClassQuestion, LeftOut, ListedPhoto, MOST_READINGS, Piece, Reading, class, read_table, to_json,
};
use crate::measure::Setup;
use crate::report::class::{self as report, Naming, SwatchPicture};
use crate::report::place_map::PlaceMap;
use crate::sizing::{CountRule, Length, LengthUnit};
use std::path::{Path, PathBuf};

/// Show how much gauge varies in a class of knitters, and what it does to one piece
///
/// A class is a folder with a folder for each knitter: KNITTER/PHOTO.jpg where each photo is a swatch, or
/// KNITTER/SWATCH/PHOTO.jpg where several photos show one swatch; or a table (.csv) with the columns knitter, swatch, and
/// photo or stitches_per_10cm and rows_per_10cm with stitches_plus_minus and rows_plus_minus; or swatches of the log by
/// their tag.
///
/// Exit status: 0 done (photos that were left out are listed), 2 bad arguments or input, 3 it can't be concluded honestly
/// (nothing was measured, or patterns or states are mixed), 1 anything else.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise class demo --stitch stockinette --ruler-id \"school ruler\" --handout handout.html
  walewise class gauges.csv --table numbers.csv
  walewise class --log-tag lesson --width \"56 cm\" --pattern 22x30")]
pub struct ClassArguments {
    /// Folder with a folder for each knitter, or a table (.csv)
    #[cfg_attr(feature = "logbook", arg(value_name = "FOLDER|TABLE.csv", required_unless_present = "log_tags"))]
    #[cfg_attr(not(feature = "logbook"), arg(value_name = "FOLDER|TABLE.csv", required = true))]
    input: Option<PathBuf>,

    /// Take the swatches of the log that have this tag; several must all be there
    #[cfg(feature = "logbook")]
    #[arg(long = "log-tag", value_name = "TAG", conflicts_with = "input")]
    log_tags: Vec<String>,
    /// The log's file
    #[cfg(feature = "logbook")]
    #[arg(long, value_name = "FILE", env = "WALEWISE_LOGBOOK", hide_env_values = true)]
    logbook: Option<PathBuf>,

    /// What the lesson is called
    #[arg(long, value_name = "TEXT", default_value = "")]
    title: String,
    /// Width of the piece [default: 50 cm, a headband]
    #[arg(long, value_name = "LENGTH", value_parser = piece_length)]
    width: Option<Length>,
    /// Height of the piece [default: 10 cm]
    #[arg(long, value_name = "LENGTH", value_parser = piece_length)]
    height: Option<Length>,
    /// How far off the width may be [default: 2.5 % of it, 5 mm at least]
    #[arg(long, value_name = "LENGTH", value_parser = piece_length)]
    near_enough: Option<Length>,
    /// Stitches and rows the pattern is written for, such as 22x30 or 22x30/4in [default: the class's mean]
    #[arg(long, value_name = "SxR", value_parser = wishes::wanted)]
    pattern: Option<(f64, f64)>,
    /// The pattern needs a multiple of so many stitches
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=500))]
    multiple: u32,
    /// and so many more
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = clap::value_parser!(u32).range(0..=500))]
    balance: u32,
    /// Put swatches in different stitch patterns together
    #[arg(long)]
    mixed_patterns: bool,
    /// Put swatches measured in different states (washed or not) together
    #[arg(long)]
    mixed_states: bool,

    /// Write a handout to print (.html)
    #[arg(long, value_name = "FILE")]
    handout: Option<PathBuf>,
    /// Names in the handout instead of initials
    #[arg(long)]
    names: bool,
    /// Write the numbers as a table (.csv)
    #[arg(long, value_name = "FILE")]
    table: Option<PathBuf>,
    /// Replace files that are there already
    #[arg(long)]
    force: bool,
    /// Write JSON instead of words
    #[arg(long)]
    json: bool,

    #[command(flatten, next_help_heading = "How photos are measured (see walewise measure)")]
    how: PhotoArguments,
}

fn piece_length(text: &str) -> Result<Length, String> {
    let length = Length::parse(text, LengthUnit::Cm)?;
    if length.is_positive() { Ok(length) } else { Err(format!("'{text}' is not more than 0")) }
}

/// What was gathered of a class before it is analysed.
#[derive(Default)]
struct Gathered {
    readings: Vec<Reading>,
    left_out: Vec<LeftOut>,
    /// Local maps over photos, by the label of the reading.
    maps: Vec<(String, PlaceMap)>,
}

/// A photo to be measured.
struct PhotoOf {
    knitter: String,
    swatch: String,
    /// What it is called in words; no two are called alike.
    label: String,
    path: PathBuf,
    state: Option<String>,
    ruler: Option<String>,
}

impl PhotoOf {
    /// A photo of a table that lies in `folder`.
    fn listed(photo: ListedPhoto, folder: &Path) -> Self {
        let ListedPhoto { knitter, swatch, label, file, state, ruler } = photo;
        Self { knitter, swatch, label, path: folder.join(file), state, ruler }
    }
}

/// Why there is no result: words and exit status.
type Ended = (String, ExitStatus);

fn bad(message: impl Into<String>) -> Ended {
    (message.into(), ExitStatus::BadArguments)
}

/// Runs the command.
pub fn run(arguments: &ClassArguments) -> ExitStatus {
    result(arguments).unwrap_or_else(|(message, status)| {
        output::complain(&message);
        status
    })
}

fn result(arguments: &ClassArguments) -> Result<ExitStatus, Ended> {
    let setup = arguments.how.setup(None).map_err(bad)?;
    let question = question(arguments);
    check_files(arguments)?;
    let gathered = gathered(arguments, &setup)?;
    let left_out = gathered.left_out.clone();
    let found = class(gathered.readings, gathered.left_out, &question).map_err(|e| explained(&e, &left_out))?;
    if let Some(path) = &arguments.handout {
        let naming = if arguments.names { Naming::Names } else { Naming::Initials };
        let pictures = pictures(&found, gathered.maps);
        write(path, report::page(&found, naming, &pictures).as_bytes())?;
    }
    if let Some(path) = &arguments.table {
        write(path, report::table(&found).as_bytes())?;
    }
    let text = if arguments.json { to_json(&found) } else { report::describe(&found) };
    Ok(output::print(&text).map_or_else(|e| output::unwritten(&e), |()| ExitStatus::Done))
}

fn question(arguments: &ClassArguments) -> ClassQuestion {
    let mm = |length: Option<Length>| length.map(Length::mm);
    let usual = Piece::HEADBAND;
    ClassQuestion {
        title: arguments.title.clone(),
        piece: Piece {
            width_mm: mm(arguments.width).unwrap_or(usual.width_mm),
            height_mm: mm(arguments.height).unwrap_or(usual.height_mm),
            tolerance_mm: mm(arguments.near_enough),
            rule: CountRule { multiple: arguments.multiple, balance: arguments.balance, ..CountRule::ANY },
            pattern_per_10cm: arguments.pattern.map(|(stitches, rows)| [stitches, rows]),
        },
        mixed_patterns: arguments.mixed_patterns,
        mixed_states: arguments.mixed_states,
    }
}

/// Before minutes of measuring: can the files be written, and would none be lost?
fn check_files(arguments: &ClassArguments) -> Result<(), Ended> {
    if arguments.handout.is_some() && arguments.handout == arguments.table {
        return Err(bad("--handout and --table name the same file"));
    }
    for path in [&arguments.handout, &arguments.table].into_iter().flatten() {
        let read: Vec<PathBuf> = arguments.input.iter().chain(&arguments.how.lens).cloned().collect();
        if whole_file::is_one_of(path, &read) {
            return Err(bad(format!("{}: this would overwrite the class", path.display())));
        }
        output_file::free_and_writable(path, arguments.force).map_err(|message| (message, ExitStatus::Other))?;
    }
    Ok(())
}

fn gathered(arguments: &ClassArguments, setup: &Setup) -> Result<Gathered, Ended> {
    #[cfg(feature = "logbook")]
    if !arguments.log_tags.is_empty() {
        return entries::gathered(arguments.logbook.as_deref(), &arguments.log_tags);
    }
    let Some(input) = &arguments.input else { return Err(bad("name a folder or a table")) };
    let with_maps = arguments.handout.is_some();
    if input.is_dir() {
        let found = folder::photos(input)?;
        return Ok(photos::measured(
            &found.photos,
            setup,
            with_maps,
            Gathered { left_out: found.left_out, ..Gathered::default() },
        ));
    }
    let wrong = |what: String| bad(format!("{}: {what}", input.display()));
    let text = input_file::text(input, Kind::CLASS_TABLE).map_err(wrong)?;
    let table = read_table(&text).map_err(wrong)?;
    let folder = input.parent().unwrap_or(Path::new(""));
    let photos: Vec<PhotoOf> = table.photos.into_iter().map(|listed| PhotoOf::listed(listed, folder)).collect();
    let stated = Gathered { readings: table.readings, ..Gathered::default() };
    Ok(photos::measured(&photos, setup, with_maps, stated))
}

/// The class's error in words, with what was left out, since that may be the cause.
fn explained(error: &ClassError, left_out: &[LeftOut]) -> Ended {
    for left in left_out {
        output::complain(&format!("{}: {}", left.label, left.reason));
    }
    let (advice, status) = match error {
        ClassError::Empty => ("", ExitStatus::Refused),
        ClassError::MixedPatterns(_) => {
            ("; name the pattern with --stitch, or put them together with --mixed-patterns", ExitStatus::Refused)
        }
        ClassError::MixedStates(_) => ("; put them together with --mixed-states", ExitStatus::Refused),
        ClassError::TooMany(_) | ClassError::Piece(_) => ("", ExitStatus::BadArguments),
    };
    (format!("{error}{advice}"), status)
}

/// One map for each swatch that has one: that of its first photo.
fn pictures(class: &Class, mut maps: Vec<(String, PlaceMap)>) -> Vec<SwatchPicture> {
    let mut pictures = Vec::new();
    for (swatch, about) in class.swatches.iter().enumerate() {
        if let Some(at) = maps.iter().position(|(label, _)| about.readings.contains(label)) {
            pictures.push(SwatchPicture { swatch, map: maps.swap_remove(at).1 });
        }
    }
    pictures
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Ended> {
    output_file::write(path, bytes).map_err(|message| (message, ExitStatus::Other))
}

/// More photos than are taken together: said before any of them is measured.
fn check_number(count: usize) -> Result<(), Ended> {
    if count > MOST_READINGS { Err(bad(ClassError::TooMany(count).to_string())) } else { Ok(()) }
}
