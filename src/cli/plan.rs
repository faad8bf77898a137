//! `walewise plan`: a gauge and a piece → counts, shaping, sizes and yarn, as text, JSON or a page to print.

use super::input_file::{self, Kind};
use super::plan_arguments::{self, PieceArguments};
use super::{ExitStatus, output, plan_gauges, whole_file};
use crate::plan::{self, GaugeSource, Plan, PlanError, PlanFile, PlanProblem};
use crate::report::{self, one_line::safe};
use crate::sizing::{Length, Over};
use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Turn a gauge into counts: what to cast on, how wide it will be, whether it fits, how to shape it, how much yarn
///
/// Write a plan file (TOML; sample-photos/plans has complete ones, --as-toml begins one), or describe one piece with the
/// options below.
///
/// Exit status: 0 done, 2 bad arguments or plan file, 3 no honest answer (the photo behind the gauge was refused, or the
/// gauge is too vague), 1 anything else.
#[derive(clap::Args)]
#[command(arg_required_else_help = true)]
#[command(after_help = "Examples:
  walewise plan cap.toml --html cap.html
  walewise plan --gauge \"22 ± 0.4 x 30\" --width \"56 cm\" --ease \"-8 %\" --length \"20 cm\"
  walewise plan --measurement swatch.json --width \"20 cm\" --length \"40 cm\"
  walewise plan --swatch 4 --width \"20 cm\" --multiple 4 --balance 2
  walewise plan --gauge 22x30 --width \"56 cm\" --as-toml > scarf.toml
  walewise plan --evenly 51:55")]
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

    /// The log that holds the swatches; else the environment variable WALEWISE_LOGBOOK, else your usual one
    #[cfg(feature = "logbook")]
    #[arg(long, value_name = "FILE", env = "WALEWISE_LOGBOOK", hide_env_values = true)]
    logbook: Option<PathBuf>,
}

impl PlanArguments {
    #[cfg(feature = "logbook")]
    fn logbook(&self) -> Option<&Path> {
        self.logbook.as_deref()
    }

    #[cfg(not(feature = "logbook"))]
    fn logbook(&self) -> Option<&Path> {
        None
    }
}

/// Why nothing was planned, in one line.
pub(super) struct Failure(pub(super) ExitStatus, pub(super) String);

/// Runs the command.
pub fn run(arguments: &PlanArguments) -> ExitStatus {
    match answer(arguments) {
        Ok(text) => output::print(&text).map_or_else(|e| output::unwritten(&e), |()| ExitStatus::Done),
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
        check_page(path, &source, &file, arguments.logbook())?;
    }
    settle_lengths(&mut file);
    let provided = plan_gauges::provided(&file, &source, arguments.logbook())?;
    let plan = plan::compose(&file.request, &provided).map_err(|problem| match problem {
        PlanProblem::Input(error) => source.explain(error.located(&file.lines)),
        PlanProblem::Inconclusive(message) => Failure(ExitStatus::Refused, source.named(&message)),
    })?;
    if let Some(path) = &arguments.html {
        let wrong = |e| Failure(ExitStatus::Other, format!("--html {}: can't be written: {e}", path.display()));
        whole_file::write_whole(path, report::plan_html::page(&plan).as_bytes()).map_err(wrong)?;
    }
    Ok(in_words(&plan, arguments.json))
}

fn in_words(plan: &Plan, json: bool) -> String {
    if json { report::json::plan_line(plan) } else { report::plan_text::describe(plan) }
}

/// Whether a page can be written there, and falls on none of the files the plan is made from.
fn check_page(path: &Path, source: &Source<'_>, file: &PlanFile, logbook: Option<&Path>) -> Result<(), Failure> {
    let named = file.request.gauges.iter().filter_map(|gauge| match &gauge.source {
        GaugeSource::Measurement { file, .. } => Some(source.beside(file)),
        GaugeSource::Logged { logbook, .. } => logbook.as_ref().map(|file| source.beside(file)),
        GaugeSource::Typed { .. } => None,
    });
    let read: Vec<PathBuf> = source.file.into_iter().chain(logbook).map(Path::to_owned).chain(named).collect();
    if whole_file::is_one_of(path, &read) {
        let message = format!("--html {}: this would overwrite a file the plan is made from", path.display());
        return Err(Failure(ExitStatus::BadArguments, message));
    }
    let wrong = |e| Failure(ExitStatus::Other, format!("--html {}: can't be written: {e}", path.display()));
    whole_file::check_writable(path).map_err(wrong)
}

/// Where the plan comes from: a file, or arguments written as one.
pub(super) struct Source<'a> {
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
                let text = input_file::text(file, Kind::PLAN).map_err(|e| bad(format!("{}: {e}", file.display())))?;
                Ok(Self { text, file: Some(file) })
            }
        }
    }

    /// A mistake in one line: file, line, key; or the option it was.
    pub(super) fn explain(&self, error: PlanError) -> Failure {
        let message = match self.file {
            Some(_) => self.named(&error.to_string()),
            None => plan_arguments::explain(&error),
        };
        Failure(ExitStatus::BadArguments, message)
    }

    pub(super) fn named(&self, message: &str) -> String {
        self.file.map_or_else(|| message.to_owned(), |file| format!("{}: {message}", file.display()))
    }

    /// A file the plan names: beside the plan file, or from the working folder for arguments.
    pub(super) fn beside(&self, name: &str) -> PathBuf {
        let folder = self.file.and_then(Path::parent).unwrap_or(Path::new(""));
        folder.join(name)
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
    // A gauge's name comes out of a file; it must not steer the terminal.
    let what = safe(what);
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
