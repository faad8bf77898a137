//! The command line: what is typed → the core → text and files. One file a command.

mod annotated;
mod card;
mod class;
mod input_file;
mod lens;
#[cfg(feature = "logbook")]
mod log;
mod manual;
mod measure;
mod numbers;
mod output;
mod output_file;
mod plan;
mod plan_arguments;
mod plan_gauges;
mod progress;
mod report_file;
mod sample;
mod sample_class;
#[cfg(feature = "serve")]
mod serve;
mod setup;
mod whole_file;
mod wishes;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use std::ffi::OsString;

/// How a command ended, as its exit status.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExitStatus {
    /// Done: every photo measured, or what else was asked for.
    Done,
    /// Anything not named below.
    Other,
    /// The arguments make no sense, or what a plan file says.
    BadArguments,
    /// A photo was refused, or a plan can't be concluded honestly.
    Refused,
    /// A file can't be read as a photo.
    Unreadable,
}

impl ExitStatus {
    /// The number the shell sees.
    pub fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Other => 1,
            Self::BadArguments => 2,
            Self::Refused => 3,
            Self::Unreadable => 4,
        }
    }

    /// The more serious of two: bad arguments, anything else, unreadable, refused, done.
    pub fn worse(self, other: Self) -> Self {
        let weight = |s: Self| match s {
            Self::BadArguments => 4,
            Self::Other => 3,
            Self::Unreadable => 2,
            Self::Refused => 1,
            Self::Done => 0,
        };
        if weight(other) > weight(self) { other } else { self }
    }
}

#[derive(Parser)]
#[command(
    name = "walewise",
    version,
    about = "Measures the gauge of a knitted swatch from an ordinary photo with a ruler in it, and plans pieces from it",
    arg_required_else_help = true,
    max_term_width = 100,
    after_help = "Examples, to begin with:
  walewise sample demo.jpg --seed 3 --stitch stockinette
  walewise measure demo.jpg --stitch stockinette --annotate counted.jpg
  walewise measure --help"
)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Measure(Box<measure::MeasureArguments>),
    Card(card::CardArgs),
    Lens(lens::LensArgs),
    Plan(Box<plan::PlanArguments>),
    Class(Box<class::ClassArguments>),
    Sample(sample::SampleArgs),
    #[cfg(feature = "logbook")]
    Log(Box<log::LogArguments>),
    #[cfg(feature = "serve")]
    Serve(serve::ServeArguments),
    Completion(manual::CompletionArguments),
    Manual(manual::ManualArguments),
}

/// Runs the command line `arguments` (the program's own name first) and says how it ended.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitStatus {
    let parsed = CommandLine::command().try_get_matches_from(arguments).and_then(|matches| {
        let line = CommandLine::from_arg_matches(&matches)?;
        Ok((line.command, matches))
    });
    match parsed {
        Ok((command, matches)) => run_command(&command, &matches),
        Err(error) => explain(&error),
    }
}

fn run_command(command: &Command, matches: &clap::ArgMatches) -> ExitStatus {
    match command {
        Command::Measure(arguments) => measure::run(arguments),
        Command::Card(arguments) => card::run(arguments),
        Command::Lens(arguments) => lens::run(arguments),
        Command::Plan(arguments) => plan::run(arguments),
        Command::Class(arguments) => class::run(arguments),
        Command::Sample(arguments) => sample::run(arguments),
        #[cfg(feature = "logbook")]
        Command::Log(arguments) => {
            matches.subcommand_matches("log").map_or(ExitStatus::Other, |typed| log::run(arguments, typed))
        }
        #[cfg(feature = "serve")]
        Command::Serve(arguments) => serve::run(arguments),
        Command::Completion(arguments) => manual::completion(arguments, CommandLine::command()),
        Command::Manual(arguments) => manual::manual(arguments, CommandLine::command()),
    }
}

/// Help and version go to stdout as asked for; anything else is one line on stderr.
fn explain(error: &clap::Error) -> ExitStatus {
    use clap::error::ErrorKind;
    match error.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => {
            // Nobody is left to tell when even the help can't be written.
            let _ = error.print();
            ExitStatus::Done
        }
        ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
            let _ = error.print();
            ExitStatus::BadArguments
        }
        _ => {
            output::complain(&one_line(&error.to_string()));
            ExitStatus::BadArguments
        }
    }
}

/// The parser's message without its usage lines, on one line.
fn one_line(message: &str) -> String {
    let words = message.split("\n\nUsage").next().unwrap_or(message);
    let words = words.split("\n\nFor more information").next().unwrap_or(words);
    let joined = words.split_whitespace().collect::<Vec<_>>().join(" ");
    joined.strip_prefix("error: ").map_or_else(|| joined.clone(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::ExitStatus::{BadArguments, Done, Other, Refused, Unreadable};

    #[test]
    fn most_serious_status_wins() {
        let order = [BadArguments, Other, Unreadable, Refused, Done];
        for (i, &a) in order.iter().enumerate() {
            for (j, &b) in order.iter().enumerate() {
                assert_eq!(a.worse(b), order[i.min(j)]);
            }
        }
    }
}
