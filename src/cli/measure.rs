//! `walewise measure`: photos → the gauge of each, as text or JSON, and pictures that show what was seen.

use super::annotated::AnnotatedPaths;
use super::input_file::{self, Kind};
use super::output;
use super::progress::Progress;
use super::report_file::ReportPaths;
use super::setup::{self, PhotoArguments};
use super::wishes::{self, TypedSpan};
use super::{ExitStatus, numbers};
use crate::measure::{
    CONTRADICTION, LENS_MISMATCH, OUTSIDE_PHOTO, OnePhoto, Outcome, Setup, Stage, look_for_loops, measure, one_record,
};
use crate::photo::Photo;
use crate::record::{Elapsed, Evidence, PhotoFacts, Record, Status};
use crate::report;
use crate::side_by_side::on_one_thread;
use rayon::iter::{ParallelBridge, ParallelIterator};
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::time::Instant;

/// Measure stitches and rows per 10 cm in photos of knitted swatches
///
/// Lay the swatch flat with a ruler beside or on it and photograph it straight from above, filling the picture.
///
/// Exit status: 0 measured, 2 bad arguments, 3 refused (the photo can't give an honest number), 4 the file can't be read
/// as a photo, 1 anything else. Of several photos the most serious one counts.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise measure swatch.jpg --stitch stockinette
  walewise measure swatch.jpg --stitch stockinette --annotate counted.jpg
  walewise measure lace.jpg --stitch lace --repeat 6x6
  walewise measure swatch.jpg --stitch stockinette --wanted 14x19
  walewise measure swatch.jpg --stitch stockinette --ruler-on table --ruler-thickness 1
  walewise measure swatch.jpg washed.jpg --stitch stockinette --json > gauges.jsonl")]
pub struct MeasureArguments {
    /// Photo files (JPEG, PNG, WebP, TIFF, HEIC)
    #[arg(required = true, value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,

    #[command(flatten)]
    pub how: PhotoArguments,

    /// Take the distance between two points of the photo (in pixels) as the scale; with --counted, the points between
    /// which was counted (opposite corners, or one span along the rows and a second along the wales)
    #[arg(long, value_name = "X1,Y1,X2,Y2=LENGTHmm", value_parser = wishes::span, allow_hyphen_values = true)]
    pub span: Vec<TypedSpan>,

    /// Direction in which the rows run, in degrees: 0 to the right, 90 down
    #[arg(long, value_name = "DEG", value_parser = numbers::number, allow_hyphen_values = true)]
    pub axes: Option<f64>,

    /// Look only at this part of the photo (pixels from the upper left corner)
    #[arg(long, value_name = "X,Y,W,H", value_parser = numbers::region, allow_hyphen_values = true)]
    pub region: Option<[f64; 4]>,

    /// The gauge you want, such as 22x30 (per 10 cm) or 22x30/4in: tells whether you are there
    #[arg(long, value_name = "SxR", value_parser = wishes::wanted, allow_hyphen_values = true)]
    pub wanted: Option<(f64, f64)>,

    /// How many stitches x rows per 10 cm from --wanted still match [default: 0.5x1]
    #[arg(long, value_name = "SxR", value_parser = wishes::tolerance, allow_hyphen_values = true)]
    pub tolerance: Option<(f64, f64)>,

    /// Stitches x rows that you counted over the whole swatch (or between the points of --span): for yarn whose
    /// stitches can't be seen in the photo
    #[arg(long, value_name = "SxR", value_parser = wishes::counted, allow_hyphen_values = true)]
    pub counted: Option<(f64, f64)>,

    /// All photos show one swatch: one result from all of them
    #[arg(long)]
    pub same_swatch: bool,

    /// Write the photo with everything that was seen and counted drawn on it (.jpg or .png; a folder for several photos)
    #[arg(long, value_name = "PATH")]
    pub annotate: Option<PathBuf>,

    /// Write a page with the annotated photo, the spectrum, the local map and what the interval comes from (.html; a
    /// folder for several photos)
    #[arg(long, value_name = "PATH")]
    pub report: Option<PathBuf>,

    /// Write JSON, one line a photo
    #[arg(long)]
    pub json: bool,
}

/// Runs the command.
pub fn run(arguments: &MeasureArguments) -> ExitStatus {
    let setup = match setup::from_arguments(arguments) {
        Ok(setup) => setup,
        Err(message) => {
            output::complain(&message);
            return ExitStatus::BadArguments;
        }
    };
    let annotated = match AnnotatedPaths::plan(arguments.annotate.as_deref(), &arguments.photos) {
        Ok(paths) => paths,
        Err((message, status)) => {
            output::complain(&message);
            return status;
        }
    };
    let reports = match ReportPaths::plan(arguments.report.as_deref(), &arguments.photos) {
        Ok(paths) => paths,
        Err((message, status)) => {
            output::complain(&message);
            return status;
        }
    };
    measure_all(arguments, &setup, &Pictures { annotated, reports })
}

/// Files that are written beside the results.
struct Pictures {
    annotated: AnnotatedPaths,
    reports: ReportPaths,
}

/// One photo's finished lines.
struct Finished {
    text: String,
    complaint: Option<String>,
    status: ExitStatus,
    outcome: OnePhoto,
}

/// Measures all photos, one on each core at a time, and prints each as soon as those before it are printed.
fn measure_all(arguments: &MeasureArguments, setup: &Setup, pictures: &Pictures) -> ExitStatus {
    let progress = Progress::new(arguments.photos.len());
    let stop = AtomicBool::new(false);
    let (send, receive) = mpsc::channel();
    std::thread::scope(|scope| {
        let (progress, stop) = (&progress, &stop);
        // Where every core has a photo of its own, none waits for parts of another's.
        let enough = arguments.photos.len() >= rayon::current_num_threads();
        scope.spawn(move || {
            let photos = arguments.photos.iter().enumerate();
            photos.par_bridge().for_each_with(send, |send, (i, path)| {
                if !stop.load(Ordering::Relaxed) {
                    let measure = || measure_one(i, path, arguments, setup, pictures, progress, stop);
                    let finished = if enough { on_one_thread(measure) } else { measure() };
                    // The printing side hangs up only when nobody reads the results any more.
                    let _ = send.send((i, finished));
                }
            });
        });
        let printed = print_in_order(&receive, progress).and_then(|(worst, photos)| {
            if arguments.same_swatch { print_one(&photos, worst, setup, arguments) } else { Ok(worst) }
        });
        printed.unwrap_or_else(|error| {
            stop.store(true, Ordering::Relaxed);
            output::unwritten(&error)
        })
    })
}

/// Prints each photo's text in order; the most serious status, and the outcomes.
fn print_in_order(
    receive: &mpsc::Receiver<(usize, Finished)>,
    progress: &Progress,
) -> std::io::Result<(ExitStatus, Vec<OnePhoto>)> {
    let mut waiting = BTreeMap::new();
    let mut next = 0;
    let mut worst = ExitStatus::Done;
    let mut photos = Vec::new();
    for (i, finished) in receive {
        waiting.insert(i, finished);
        while let Some(finished) = waiting.remove(&next) {
            progress.clear();
            output::print(&finished.text)?;
            if let Some(complaint) = &finished.complaint {
                output::complain(complaint);
            }
            worst = worst.worse(finished.status);
            photos.push(finished.outcome);
            next += 1;
        }
    }
    progress.clear();
    Ok((worst, photos))
}

/// Prints the one result of several photos of a swatch. A refused photo among measured ones is named in it and costs
/// nothing; a file that can't be read as a photo still counts.
fn print_one(
    photos: &[OnePhoto],
    worst: ExitStatus,
    setup: &Setup,
    arguments: &MeasureArguments,
) -> std::io::Result<ExitStatus> {
    let Some(record) = one_record(photos, setup) else { return Ok(worst) };
    output::print(&in_words(&record, 0, arguments))?;
    let own = exit_status(&record);
    Ok(if worst == ExitStatus::Refused { own } else { worst.worse(own) })
}

/// Measures one photo, writes its picture, and puts the result into words.
fn measure_one(
    index: usize,
    path: &Path,
    arguments: &MeasureArguments,
    setup: &Setup,
    pictures: &Pictures,
    progress: &Progress,
    stop: &AtomicBool,
) -> Finished {
    let name = path.to_string_lossy();
    // The line is short: folders would push the stage out of it.
    let short = path.file_name().map_or(name.clone(), |n| n.to_string_lossy());
    let mut outcome = read_and_measure(path, setup, &mut |stage| {
        progress.stage(&short, stage);
        if stop.load(Ordering::Relaxed) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    outcome.record.photo.file = name.into_owned();
    let mut status = exit_status(&outcome.record);
    let mut complaint = None;
    if let (Some(target), Some(photo), Some(evidence)) =
        (pictures.reports.of(index), &outcome.photo, &mut outcome.evidence)
        && let Err(message) = super::report_file::write(target, photo, evidence, &outcome.record)
    {
        complaint = Some(message);
        status = status.worse(ExitStatus::Other);
    }
    if let (Some(target), Some(photo), Some(evidence)) = (pictures.annotated.of(index), outcome.photo, outcome.evidence)
        && let Err(message) = write_picture(target, photo, evidence, &outcome.record)
    {
        complaint = Some(message);
        status = status.worse(ExitStatus::Other);
    }
    progress.finished();
    let text = if arguments.same_swatch { String::new() } else { in_words(&outcome.record, index, arguments) };
    Finished { text, complaint, status, outcome: OnePhoto { record: outcome.record, gauge: outcome.gauge } }
}

/// Draws what was seen on the photo and writes it.
pub(super) fn write_picture(
    target: &Path,
    photo: Photo,
    mut evidence: Evidence,
    record: &Record,
) -> Result<(), String> {
    // A mistake in the drawing must not cost the measurement.
    let drawn = catch_unwind(AssertUnwindSafe(|| {
        look_for_loops(&photo, record, &mut evidence);
        report::annotate::draw(record, &evidence, photo.rgb)
    }));
    let mistake = || format!("{}: drawing broke off through a mistake in the program", target.display());
    super::annotated::write(target, &drawn.map_err(|_| mistake())?)
}

fn in_words(record: &Record, index: usize, arguments: &MeasureArguments) -> String {
    if arguments.json {
        return report::json::line(record);
    }
    let gap = if index == 0 { "" } else { "\n" };
    format!("{gap}{}", report::text::describe(record))
}

/// Errors that are the arguments' fault, not the photo's.
const ARGUMENTS_AT_FAULT: [&str; 3] = [OUTSIDE_PHOTO, LENS_MISMATCH, CONTRADICTION];

/// How the measuring of one photo ended, for the shell.
pub(super) fn exit_status(record: &Record) -> ExitStatus {
    match record.status {
        Status::Measured => ExitStatus::Done,
        Status::Refused => ExitStatus::Refused,
        Status::Unreadable => ExitStatus::Unreadable,
        Status::Failed if record.error.as_ref().is_some_and(|e| ARGUMENTS_AT_FAULT.contains(&&*e.code)) => {
            ExitStatus::BadArguments
        }
        Status::Failed => ExitStatus::Other,
    }
}

/// Reads and measures one file and notes the time it took.
pub(super) fn read_and_measure(
    path: &Path,
    setup: &Setup,
    progress: &mut dyn FnMut(Stage) -> ControlFlow<()>,
) -> Outcome {
    let without_photo = |record| Outcome { record, evidence: None, photo: None, gauge: None };
    let bytes = match input_file::read(path, Kind::PHOTO) {
        Ok(bytes) => bytes,
        Err(e) => return without_photo(Record::unreadable(PhotoFacts::default(), e.code, e.message)),
    };
    let start = Instant::now();
    let mut decoded = None;
    let mut timed = |stage| {
        if stage > Stage::Decode && decoded.is_none() {
            decoded = Some(start.elapsed());
        }
        progress(stage)
    };
    // A mistake in the chain must cost one photo, not the whole run.
    let result = catch_unwind(AssertUnwindSafe(|| measure(&bytes, setup, &mut timed)));
    let total = start.elapsed();
    let mut outcome = result.unwrap_or_else(|_| {
        let message = "measuring broke off through a mistake in the program; please report it";
        without_photo(Record::failed(PhotoFacts::default(), "internal", message))
    });
    let ms = |t: std::time::Duration| t.as_secs_f64() * 1e3;
    outcome.record.elapsed_ms = Some(Elapsed { decode: ms(decoded.unwrap_or(total)), total: ms(total) });
    outcome
}
