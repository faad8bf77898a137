//! `walewise card`: the calibration card as a file to print.

use super::{ExitStatus, output, output_file};
use crate::card::{self, Sheet};
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};

/// Write the calibration card as a file to print (PDF or SVG)
///
/// Print it at 100 %, measure the two check lengths on it with a ruler, cut the card out and lay it flat beside the
/// swatch. Then: walewise measure PHOTO --card --card-length MM, with MM what the ruler said.
#[derive(Debug, Clone, Args)]
#[command(after_help = "Examples:
  walewise card card.pdf
  walewise card card.svg --paper letter")]
pub struct CardArgs {
    /// The file to write; its name ends in .pdf or .svg
    #[arg(value_name = "OUT.pdf|OUT.svg", value_parser = printable_name)]
    out: PathBuf,
    /// Paper to print on
    #[arg(long, value_enum, default_value_t = PaperChoice::A4)]
    paper: PaperChoice,
    /// Replace a file that is there already
    #[arg(long)]
    force: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum PaperChoice {
    /// 210 mm x 297 mm
    A4,
    /// 8.5 in x 11 in
    Letter,
}

/// Writes the sheet: done, or other when a file is there already (without `--force`) or it can't be written.
pub fn run(args: &CardArgs) -> ExitStatus {
    written(args).map_or_else(
        |message| {
            output::complain(&message);
            ExitStatus::Other
        },
        |()| ExitStatus::Done,
    )
}

fn written(args: &CardArgs) -> Result<(), String> {
    output_file::free(&args.out, args.force)?;
    let sheet = Sheet::of(match args.paper {
        PaperChoice::A4 => card::Paper::A4,
        PaperChoice::Letter => card::Paper::Letter,
    });
    let bytes =
        if has_ending(&args.out, "pdf") { card::pdf_bytes(&sheet) } else { card::svg_string(&sheet).into_bytes() };
    output_file::write(&args.out, &bytes)
}

fn has_ending(path: &Path, ending: &str) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case(ending))
}

fn printable_name(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    if has_ending(&path, "pdf") || has_ending(&path, "svg") {
        Ok(path)
    } else {
        Err("the name must end in .pdf or .svg".to_owned())
    }
}
