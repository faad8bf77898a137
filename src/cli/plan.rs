//! `walewise plan`: a gauge and a piece → counts, shaping, sizes and yarn, as text, JSON or a page to print.

use super::plan_arguments::{self, PieceArguments};
use super::{ExitStatus, output, photo_file};
use crate::plan::{self, GaugeSource, Plan, PlanError, PlanFile, PlanProblem};
use crate::record::Record;
use crate::report;
use crate::sizing::{Length, Over};
use std::collections::BTreeMap;
use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Turn a gauge into counts: what to cast on, how wide it will be, whether it fits, how to shape it, how much yarn
///
/// Write a plan file (TOML; the README has a complete one), or describe one piece with the options below.
///
/// Exit status: 0 done, 2 bad arguments or plan file, 3 no honest answer (the photo behind the gauge was refused, or the
/// gauge is too vague), 1 anything else.
#[derive(clap::Args)]
#[command(arg_required_else_help = true)]
pub struct PlanArguments {
    /// The plan file
    #[arg(value_name = "PLAN.toml")]
    file: Option<PathBuf>,

    #[command(flatten)]
    piece: PieceArguments,

    /// Write a page to print, with every piece drawn to scale
    #[arg(long, value_name = "PATH")]
    html: Option<PathBuf>,

    /// Write JSON instead of words
    #[arg(long)]
    json: bool,

    /// Write the plan file that the options stand for, and plan nothing
    #[arg(long, conflicts_with_all = ["file", "json", "html"])]
    as_toml: bool,
}

/// Why nothing was planned, in one line.
struct Failure(ExitStatus, String);

/// Runs the command.
pub fn run(arguments: &PlanArguments) -> ExitStatus {
    match answer(arguments).and_then(|text| {
        output::print(&text).map_err(|e| Failure(ExitStatus::Other, format!("the plan can't be written: {e}")))
    }) {
        Ok(()) => ExitStatus::Done,
        Err(Failure(status, message)) => {
            output::complain(&message);
            status
        }
    }
}

fn answer(arguments: &PlanArguments) -> Result<String, Failure> {
    let source = Source::of(arguments)?;
    if arguments.as_toml {
        return Ok(source.text);
    }
    let mut file = plan::read(&source.text).map_err(|e| source.explain(e))?;
    if let Some(path) = &arguments.html {
        check_page(path, &source, &file)?;
    }
    settle_lengths(&mut file);
    let records = records(&file, &source)?;
    let plan = plan::compose(&file.request, &records).map_err(|problem| match problem {
        PlanProblem::Input(error) => source.explain(error.located(&file.lines)),
        PlanProblem::Inconclusive(message) => Failure(ExitStatus::Refused, source.named(&message)),
    })?;
    if let Some(path) = &arguments.html {
        let wrong = |e| Failure(ExitStatus::Other, format!("--html {}: can't be written: {e}", path.display()));
        output::write_whole(path, report::plan_html::page(&plan).as_bytes()).map_err(wrong)?;
    }
    Ok(in_words(&plan, arguments.json))
}

fn in_words(plan: &Plan, json: bool) -> String {
    if json { report::json::plan_line(plan) } else { report::plan_text::describe(plan) }
}

/// Whether a page can be written there, and falls on none of the files the plan is made from.
fn check_page(path: &Path, source: &Source<'_>, file: &PlanFile) -> Result<(), Failure> {
    let named = file.request.gauges.iter().filter_map(|gauge| match &gauge.source {
        GaugeSource::Measurement { file, .. } => Some(source.beside(file)),
        GaugeSource::Typed { .. } => None,
    });
    let mut read = source.file.map(Path::to_owned).into_iter().chain(named);
    if let Ok(page) = path.canonicalize()
        && read.any(|file| file.canonicalize().is_ok_and(|file| file == page))
    {
        let message = format!("--html {}: this would overwrite a file the plan is made from", path.display());
        return Err(Failure(ExitStatus::BadArguments, message));
    }
    let wrong = |e| Failure(ExitStatus::Other, format!("--html {}: can't be written: {e}", path.display()));
    output::check_writable(path).map_err(wrong)
}

/// Where the plan comes from: a file, or arguments written as one.
struct Source<'a> {
    text: String,
    file: Option<&'a Path>,
}

impl<'a> Source<'a> {
    fn of(arguments: &'a PlanArguments) -> Result<Self, Failure> {
        let bad = |message: String| Failure(ExitStatus::BadArguments, message);
        match &arguments.file {
            None => plan_arguments::as_toml(&arguments.piece).map(|text| Self { text, file: None }).map_err(bad),
            Some(_) if !arguments.piece.is_empty() => {
                Err(bad("a plan file and options that describe a piece don't go together: write them into the file"
                    .to_owned()))
            }
            Some(file) => {
                let bytes = read(file, "a plan file").map_err(|e| bad(format!("{}: {e}", file.display())))?;
                let text = String::from_utf8(bytes)
                    .map_err(|_| bad(format!("{}: this is not a text file", file.display())))?;
                Ok(Self { text, file: Some(file) })
            }
        }
    }

    /// A mistake in one line: file, line, key; or the option it was.
    fn explain(&self, error: PlanError) -> Failure {
        let message = match self.file {
            Some(_) => self.named(&error.to_string()),
            None => plan_arguments::explain(&error),
        };
        Failure(ExitStatus::BadArguments, message)
    }

    fn named(&self, message: &str) -> String {
        self.file.map_or_else(|| message.to_owned(), |file| format!("{}: {message}", file.display()))
    }

    /// A file the plan names: beside the plan file, or from the working folder for arguments.
    fn beside(&self, name: &str) -> PathBuf {
        let folder = self.file.and_then(Path::parent).unwrap_or(Path::new(""));
        folder.join(name)
    }
}

/// The bytes of a file that should be `what`; the error is in words.
fn read(path: &Path, what: &str) -> Result<Vec<u8>, String> {
    photo_file::read(path).map_err(|e| e.message.replace("a photo", what))
}

/// The record of every gauge that comes from a measurement.
fn records(file: &PlanFile, source: &Source<'_>) -> Result<BTreeMap<String, Record>, Failure> {
    let mut records = BTreeMap::new();
    for gauge in &file.request.gauges {
        let GaugeSource::Measurement { file: name, photo } = &gauge.source else { continue };
        let wrong = |message: String| {
            let key = format!("{}.measurement", gauge.key);
            source.explain(PlanError::at(key, format!("{name}: {message}")).located(&file.lines))
        };
        let bytes = read(&source.beside(name), "a measurement").map_err(wrong)?;
        let record = one_record(&bytes, photo.as_deref()).map_err(wrong)?;
        records.insert(gauge.name.clone(), record);
    }
    Ok(records)
}

/// The record of a photo out of one JSON object a line, as `walewise measure --json` writes them.
fn one_record(bytes: &[u8], photo: Option<&str>) -> Result<Record, String> {
    let parsed = serde_json::Deserializer::from_slice(bytes).into_iter::<Record>().collect::<Result<Vec<_>, _>>();
    let mut found = parsed.map_err(|e| format!("this is not what 'walewise measure --json' writes: {e}"))?;
    if let Some(other) = found.iter().find(|r| r.schema != crate::record::SCHEMA) {
        return Err(format!("its schema is '{}'; {} is accepted", other.schema, crate::record::SCHEMA));
    }
    let files = found.iter().map(|r| format!("\"{}\"", r.photo.file)).collect::<Vec<_>>().join(", ");
    if let Some(photo) = photo {
        let is_it =
            |r: &Record| r.photo.file == photo || Path::new(&r.photo.file).file_name().is_some_and(|n| n == photo);
        found.retain(is_it);
    }
    match found.len() {
        1 => Ok(found.remove(0)),
        0 if files.is_empty() => Err("the file holds no measurement".to_owned()),
        0 => Err(format!("there is no such photo in it; there are {files}")),
        _ => Err(format!("it holds several measurements: photo = one of {files} is expected")),
    }
}

/// Asks what "10 cm / 4 in" means, where somebody is there to answer; otherwise it stays 10 cm and the plan says so.
fn settle_lengths(file: &mut PlanFile) {
    if !(std::io::stdin().is_terminal() && std::io::stderr().is_terminal()) {
        return;
    }
    let request = &mut file.request;
    for gauge in &mut request.gauges {
        let what = format!("The gauge '{}'", gauge.name);
        if let GaugeSource::Typed { over, .. } = &mut gauge.source {
            settle(&what, over);
        }
    }
    if let Some(regauge) = &mut request.regauge {
        settle("The pattern's gauge", &mut regauge.over);
    }
}

fn settle(what: &str, over: &mut Over) {
    if *over != Over::TenCmOrFourInches {
        return;
    }
    let mut err = anstream::stderr();
    // Nobody is left to ask when stderr is gone; 10 cm then stays.
    let _ = write!(err, "{what} says 10 cm / 4 in, which differ by 1.6 %. Which is it? [10 cm, or type 4 in] ");
    let _ = err.flush();
    let mut line = String::new();
    let read = std::io::stdin().lock().read_line(&mut line);
    match line.trim() {
        "4 in" | "4in" | "4" | "in" if read.is_ok() => *over = Over::Length(Length::FOUR_INCHES),
        "10 cm" | "10cm" | "10" | "cm" if read.is_ok() => *over = Over::Length(Length::TEN_CM),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::one_record;
    use crate::record::{PhotoFacts, Record, Status};

    #[test]
    fn the_record_of_one_photo_among_several() {
        let line = |file: &str| {
            let photo = PhotoFacts { file: file.to_owned(), ..PhotoFacts::default() };
            serde_json::to_string(&Record::new(Status::Failed, photo)).expect("JSON")
        };
        let both = format!("{}\n{}\n", line("a/one.jpg"), line("two.jpg"));
        assert_eq!(one_record(both.as_bytes(), Some("one.jpg")).map(|r| r.photo.file), Ok("a/one.jpg".to_owned()));
        assert!(one_record(both.as_bytes(), None).unwrap_err().contains("\"two.jpg\""));
        assert!(one_record(both.as_bytes(), Some("three.jpg")).unwrap_err().contains("no such photo"));
        assert!(
            one_record(b"", None).is_err() && one_record(b"{}", None).is_err() && one_record(b"\xff", None).is_err()
        );
        let other = line("a.jpg").replace("walewise.measurement/1", "walewise.measurement/9");
        assert!(one_record(other.as_bytes(), None).unwrap_err().contains("measurement/9"));
    }
}
