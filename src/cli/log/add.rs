//! `walewise log add`: measure photos and keep the measurements.

use super::keeping::{KeepingArguments, with_pattern};
use super::{Done, Ended, open};
use crate::cli::annotated::AnnotatedPaths;
use crate::cli::measure::{self, MeasureArguments};
use crate::cli::progress::Progress;
use crate::cli::report_file::{self, ReportPaths};
use crate::cli::{ExitStatus, output, setup};
use crate::logbook::{Access, Description, Logbook, NewMeasurement, Reading, RecordText, Thumbnail};
use crate::measure::{OnePhoto, Setup, one_record};
use crate::quantity::Uncertain;
use crate::record::{Record, Status};
use crate::report;
use clap::{ArgMatches, Args, Command, FromArgMatches, parser::ValueSource};
use std::ops::ControlFlow;
use std::path::Path;

/// Measure photos and keep each as a swatch
///
/// Takes all options of `walewise measure`; with --same-swatch all photos become one measurement. A refused photo is shown
/// and not kept, unless --keep-refused is given.
#[derive(Args)]
#[command(after_help = "Examples:
  walewise log add swatch.jpg --stitch stockinette --yarn \"grey lambswool\" --needle 4 --thumbnail
  walewise log add washed.jpg --stitch stockinette --to 1 --state washed")]
pub struct AddArguments {
    #[command(flatten)]
    measure: MeasureArguments,
    /// Keep refused photos as well
    #[arg(long)]
    keep_refused: bool,
    /// Keep a small picture of the photo in the log (320 px at most, without what the camera wrote into the file)
    #[arg(long)]
    thumbnail: bool,
    #[command(flatten)]
    keeping: KeepingArguments,
}

/// Runs the command. `matches` are its arguments as typed, from which the measuring options are kept.
pub fn run(arguments: &AddArguments, path: &Path, matches: Option<&ArgMatches>) -> Done {
    let to = arguments.keeping.swatch(false)?;
    let setup = setup::from_arguments(&arguments.measure).map_err(Ended::bad)?;
    let annotated = AnnotatedPaths::plan(arguments.measure.annotate.as_deref(), &arguments.measure.photos)
        .map_err(|(message, status)| Ended::Failed(message, status))?;
    let described = arguments.keeping.description()?;
    let reports = ReportPaths::plan(arguments.measure.report.as_deref(), &arguments.measure.photos)
        .map_err(|(message, status)| Ended::Failed(message, status))?;
    // Before minutes of measuring: is there a log that can be written, and the swatch in it?
    let mut log = open(path, Access::Begin)?;
    if let Some(swatch) = to {
        log.swatch(swatch)?;
    }
    let mut adding = Adding {
        log: &mut log,
        arguments,
        described,
        options: matches.map(options_as_typed).unwrap_or_default(),
        worst: ExitStatus::Done,
    };
    let mut photos = Vec::new();
    for (index, photo) in arguments.measure.photos.iter().enumerate() {
        let measured = measure_photo(
            photo,
            &setup,
            Written { picture: annotated.of(index), report: reports.of(index) },
            arguments.thumbnail,
        )?;
        if arguments.measure.same_swatch { photos.push(measured) } else { adding.show_and_keep(measured)? }
    }
    if let Some(one) = one_swatch(photos, &setup) {
        adding.show_and_keep(one)?;
    }
    Ok(adding.worst)
}

/// What the photos of one run have in common.
struct Adding<'a> {
    log: &'a mut Logbook,
    arguments: &'a AddArguments,
    described: Description,
    options: Vec<String>,
    worst: ExitStatus,
}

impl Adding<'_> {
    fn show_and_keep(&mut self, measured: Measured) -> Result<(), Ended> {
        let json = self.arguments.measure.json;
        if json {
            output::print(&report::json::line(&measured.record))?;
        } else {
            output::print(&report::text::describe(&measured.record))?;
        }
        self.worst = self.worst.worse(measured.status);
        let status = measured.record.status;
        let kept = status == Status::Measured || self.arguments.keep_refused && status == Status::Refused;
        let said = if kept { format!("Kept as {}.\n", self.keep(measured)?) } else { "Not kept.\n".to_owned() };
        // Beside JSON the word about keeping is not part of the results.
        if json {
            output::complain(said.trim_end())
        } else {
            output::print(&said)?
        }
        Ok(())
    }

    /// Stores one result and says as what.
    fn keep(&mut self, measured: Measured) -> Result<String, Ended> {
        if let Some(sha256) = &measured.record.photo.sha256 {
            let known = self.log.swatches_of_photo(sha256)?;
            if let Some(first) = known.first() {
                output::complain(&format!("{}: this photo is in the log already, in swatch {first}", measured.photo));
            }
        }
        let keeping = &self.arguments.keeping;
        let new = NewMeasurement {
            photo: Some(measured.photo),
            photo_sha256: measured.record.photo.sha256.clone(),
            picture: measured.picture,
            options: self.options.clone(),
            thumbnail: measured.thumbnail,
            ..keeping.measurement(Reading::Photo(RecordText::of(&measured.record)))
        };
        keeping.keep(self.log, &with_pattern(self.described.clone(), &measured.record), &new)
    }
}

/// One result of several photos of a swatch, with the photo and pictures of the first that was measured; `None` for no
/// photos.
fn one_swatch(photos: Vec<Measured>, setup: &Setup) -> Option<Measured> {
    let outcomes: Vec<OnePhoto> =
        photos.iter().map(|p| OnePhoto { record: p.record.clone(), gauge: p.gauge.clone() }).collect();
    let record = one_record(&outcomes, setup)?;
    // A photo that was refused costs nothing where others were measured; a file that is no photo does.
    let all = photos.iter().map(|p| p.status).fold(ExitStatus::Done, ExitStatus::worse);
    let own = measure::exit_status(&record);
    let status = if all == ExitStatus::Refused { own } else { all.worse(own) };
    let first = photos.iter().position(|p| p.record.photo == record.photo).unwrap_or(0);
    photos.into_iter().nth(first).map(|photo| Measured { record, status, ..photo })
}

/// A measured photo and where its picture went.
pub(super) struct Measured {
    pub record: Record,
    pub status: ExitStatus,
    /// Absolute path of the photo.
    pub photo: String,
    pub picture: Option<String>,
    thumbnail: Option<Thumbnail>,
    gauge: Option<[Uncertain; 2]>,
}

/// Where to write what shows a measurement.
#[derive(Default)]
pub(super) struct Written<'a> {
    pub picture: Option<&'a Path>,
    pub report: Option<&'a Path>,
}

/// Measures one photo with progress on the terminal, and writes its picture and its report.
pub(super) fn measure_photo(path: &Path, setup: &Setup, to: Written, with_thumbnail: bool) -> Result<Measured, Ended> {
    let progress = Progress::new(1);
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let mut outcome = measure::read_and_measure(path, setup, &mut |stage| {
        progress.stage(&name, stage);
        ControlFlow::Continue(())
    });
    progress.clear();
    outcome.record.photo.file = path.to_string_lossy().into_owned();
    if let (Some(target), Some(photo), Some(evidence)) = (to.report, &outcome.photo, &mut outcome.evidence) {
        report_file::write(target, photo, evidence, &outcome.record)
            .map_err(|message| Ended::Failed(message, ExitStatus::Other))?;
    }
    let (mut written, mut small) = (None, None);
    if let (Some(photo), Some(evidence)) = (outcome.photo, outcome.evidence) {
        if with_thumbnail {
            small = report::thumbnail::thumbnail(&photo.rgb, &evidence).and_then(Thumbnail::new);
        }
        if let Some(target) = to.picture {
            measure::write_picture(target, photo, evidence, &outcome.record)
                .map_err(|message| Ended::Failed(message, ExitStatus::Other))?;
            written = Some(absolute(target));
        }
    }
    Ok(Measured {
        status: measure::exit_status(&outcome.record),
        record: outcome.record,
        photo: absolute(path),
        picture: written,
        thumbnail: small,
        gauge: outcome.gauge,
    })
}

fn absolute(path: &Path) -> String {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned()).to_string_lossy().into_owned()
}

/// Arguments of `measure` that say nothing about how the photo is measured.
const NOT_MEASURING: [&str; 7] = ["photos", "annotate", "report", "json", "same_swatch", "wanted", "tolerance"];

/// The measuring options as they were typed, to measure the same way again.
fn options_as_typed(matches: &ArgMatches) -> Vec<String> {
    let known = MeasureArguments::augment_args(Command::new("measure"));
    let mut typed = Vec::new();
    for argument in known.get_arguments() {
        let id = argument.get_id().as_str();
        let given = matches.value_source(id) == Some(ValueSource::CommandLine);
        if let Some(long) = argument.get_long().filter(|_| given && !NOT_MEASURING.contains(&id)) {
            typed.push(format!("--{long}"));
            if argument.get_action().takes_values() {
                typed.extend(matches.get_raw(id).into_iter().flatten().map(|v| v.to_string_lossy().into_owned()));
            }
        }
    }
    typed
}

/// The measuring options that were kept, read again; `Err` says why this version can't read them.
pub(super) fn options_again(options: &[String], photo: &Path) -> Result<MeasureArguments, String> {
    let command = MeasureArguments::augment_args(Command::new("measure").no_binary_name(true));
    let words = options.iter().map(Into::into).chain([std::ffi::OsString::from("--"), photo.as_os_str().to_owned()]);
    let matches = command.try_get_matches_from(words).map_err(|e| crate::cli::one_line(&e.to_string()))?;
    MeasureArguments::from_arg_matches(&matches).map_err(|e| crate::cli::one_line(&e.to_string()))
}
