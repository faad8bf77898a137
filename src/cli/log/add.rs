//! `walewise log add`: measure photos and keep the measurements.

use super::about::{AboutArguments, StateArguments};
use super::{Done, Ended, check_to, now, open};
use crate::cli::annotated::AnnotatedPaths;
use crate::cli::measure::{self, MeasureArguments};
use crate::cli::progress::Progress;
use crate::cli::report_file::{self, ReportPaths};
use crate::cli::{ExitStatus, output, setup};
use crate::logbook::{Access, Description, Logbook, NewMeasurement, Reading, RecordText};
use crate::measure::Setup;
use crate::record::{Record, Status};
use crate::report;
use clap::{ArgMatches, Args, Command, FromArgMatches, parser::ValueSource};
use std::ops::ControlFlow;
use std::path::Path;

/// Measure photos and keep each as a swatch
///
/// Takes all options of `walewise measure`. A refused photo is shown and not kept, unless --keep-refused is given.
#[derive(Args)]
pub struct AddArguments {
    #[command(flatten)]
    measure: MeasureArguments,
    /// Add the measurement to this swatch instead of beginning a new one: another state, or once more
    #[arg(long, value_name = "NUMBER")]
    to: Option<i64>,
    /// Keep refused photos as well
    #[arg(long)]
    keep_refused: bool,
    #[command(flatten)]
    about: AboutArguments,
    #[command(flatten)]
    state: StateArguments,
}

/// Runs the command. `matches` are its arguments as typed, from which the measuring options are kept.
pub fn run(arguments: &AddArguments, path: &Path, matches: Option<&ArgMatches>) -> Done {
    check_to(arguments.to, !arguments.about.is_empty())?;
    let setup = setup::from_arguments(&arguments.measure).map_err(Ended::bad)?;
    let annotated = AnnotatedPaths::plan(arguments.measure.annotate.as_deref(), &arguments.measure.photos)
        .map_err(|(message, status)| Ended::Failed(message, status))?;
    let mut described = Description::default();
    arguments.about.apply(&mut described)?;
    let reports = ReportPaths::plan(arguments.measure.report.as_deref(), &arguments.measure.photos)
        .map_err(|(message, status)| Ended::Failed(message, status))?;
    // Before minutes of measuring: is there a log that can be written, and the swatch in it?
    let mut log = open(path, Access::Begin)?;
    if let Some(swatch) = arguments.to {
        log.swatch(swatch)?;
    }
    let options = matches.map(options_as_typed).unwrap_or_default();
    let mut worst = ExitStatus::Done;
    for (index, photo) in arguments.measure.photos.iter().enumerate() {
        let measured = measure_photo(photo, &setup, annotated.of(index), reports.of(index))?;
        if arguments.measure.json {
            output::print(&report::json::line(&measured.record))?;
        } else {
            output::print(&report::text::describe(&measured.record))?;
        }
        worst = worst.worse(measured.status);
        let kept = measured.record.status == Status::Measured
            || arguments.keep_refused && measured.record.status == Status::Refused;
        let said =
            if kept { keep(&mut log, arguments, &described, measured, &options)? } else { "Not kept.\n".to_owned() };
        // Beside JSON the word about keeping is not part of the results.
        if arguments.measure.json { output::complain(said.trim_end()) } else { output::print(&said)? }
    }
    Ok(worst)
}

/// A measured photo and where its picture went.
pub(super) struct Measured {
    pub record: Record,
    pub status: ExitStatus,
    /// Absolute path of the photo.
    pub photo: String,
    pub picture: Option<String>,
}

/// Measures one photo with progress on the terminal, and writes its picture and its report.
pub(super) fn measure_photo(
    path: &Path,
    setup: &Setup,
    picture: Option<&Path>,
    report: Option<&Path>,
) -> Result<Measured, Ended> {
    let progress = Progress::new(1);
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let mut outcome = measure::read_and_measure(path, setup, &mut |stage| {
        progress.stage(&name, stage);
        ControlFlow::Continue(())
    });
    progress.clear();
    outcome.record.photo.file = path.to_string_lossy().into_owned();
    if let (Some(target), Some(photo), Some(evidence)) = (report, &outcome.photo, &mut outcome.evidence) {
        report_file::write(target, photo, evidence, &outcome.record)
            .map_err(|message| Ended::Failed(message, ExitStatus::Other))?;
    }
    let mut written = None;
    if let (Some(target), Some(photo), Some(evidence)) = (picture, outcome.photo, outcome.evidence) {
        measure::write_picture(target, photo, evidence, &outcome.record)
            .map_err(|message| Ended::Failed(message, ExitStatus::Other))?;
        written = Some(absolute(target));
    }
    let status = measure::exit_status(&outcome.record);
    Ok(Measured { record: outcome.record, status, photo: absolute(path), picture: written })
}

fn absolute(path: &Path) -> String {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned()).to_string_lossy().into_owned()
}

/// Stores one measured photo and says under which number.
fn keep(
    log: &mut Logbook,
    arguments: &AddArguments,
    described: &Description,
    measured: Measured,
    options: &[String],
) -> Result<String, Ended> {
    if let Some(sha256) = &measured.record.photo.sha256 {
        let known = log.swatches_of_photo(sha256)?;
        if let Some(first) = known.first() {
            output::complain(&format!("{}: this photo is in the log already, in swatch {first}", measured.photo));
        }
    }
    let mut description = described.clone();
    if let Some(note) = &measured.record.stitch_pattern {
        description.stitch = Some(note.pattern.name.clone());
        description.repeat_stitches = Some(note.pattern.repeat_stitches);
        description.repeat_rows = Some(note.pattern.repeat_rows);
    }
    let (state, stretched_to_mm, measured_on) = arguments.state.get();
    description.made_on = description.made_on.or(Some(measured_on));
    let new = NewMeasurement {
        measured_on,
        state,
        stretched_to_mm,
        photo_sha256: measured.record.photo.sha256.clone(),
        reading: Reading::Photo(RecordText::of(&measured.record)),
        photo: Some(measured.photo),
        picture: measured.picture,
        options: options.to_vec(),
        replaces: None,
    };
    match arguments.to {
        Some(swatch) => {
            let added = log.add_measurement(swatch, &new, now())?;
            Ok(format!("Kept as measurement {} of swatch {}.\n", added.measurement, added.swatch))
        }
        None => {
            let added = log.add(&description, &arguments.about.tags(), &new, now())?;
            Ok(format!("Kept as swatch {}.\n", added.swatch))
        }
    }
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
