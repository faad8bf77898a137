//! `walewise log count`: keep a gauge counted by hand.

use super::about::StitchArguments;
use super::keeping::KeepingArguments;
use super::{Done, Ended, open};
use crate::cli::{ExitStatus, numbers, output, setup::ClassChoice};
use crate::compare::HandCount;
use crate::logbook::{Access, Reading};
use crate::quantity::plus_minus;
use std::path::Path;

/// Keep a gauge that was counted by hand
///
/// The interval follows from how the count was made: a bare count is within half a stitch, and the ruler within its
/// class.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise log count 22x30 --yarn \"undyed alpaca\" --needle 3.5
  walewise log count 45x60 --over \"20 cm\" --plus-minus 0.25 --ruler-id \"steel 30\"")]
pub struct CountArguments {
    /// Stitches x rows that were counted, such as 22x30 or 33.5x45
    #[arg(value_name = "SxR", value_parser = numbers::pair)]
    counted: (f64, f64),
    /// Length they were counted over, such as "20 cm", "8 in" or, in mm, 200: one for both, or along the row x along the
    /// column
    #[arg(long, value_name = "LENGTH|WxH", value_parser = lengths, default_value = "100")]
    over: (f64, f64),
    /// How sure the count is, as a 95 % half-width in stitches (x rows); half a stitch either way when not given
    #[arg(long, value_name = "N|SxR", value_parser = one_or_pair)]
    plus_minus: Option<(f64, f64)>,
    /// Accuracy class of the ruler; II when not given
    #[arg(long, value_name = "I|II|III", value_enum, ignore_case = true)]
    ruler_class: Option<ClassChoice>,
    /// Name of the ruler: measurements with the same ruler share its error
    #[arg(long, value_name = "NAME")]
    ruler_id: Option<String>,
    #[command(flatten)]
    stitch: StitchArguments,
    #[command(flatten)]
    keeping: KeepingArguments,
}

fn lengths(text: &str) -> Result<(f64, f64), String> {
    let mm = numbers::length_of_any_unit_mm;
    match text.split_once(['x', 'X', '×']) {
        Some((width, height)) => Ok((mm(width)?, mm(height)?)),
        None => mm(text).map(|both| (both, both)),
    }
}

/// `N` for both, or `SxR`.
pub fn one_or_pair(text: &str) -> Result<(f64, f64), String> {
    if text.contains(['x', 'X', '×']) { numbers::pair(text) } else { numbers::positive(text).map(|n| (n, n)) }
}

/// Runs the command.
pub fn run(arguments: &CountArguments, path: &Path) -> Done {
    arguments.keeping.swatch(!arguments.stitch.is_empty())?;
    let mut description = arguments.keeping.description()?;
    arguments.stitch.apply(&mut description);
    let reading = Reading::Count(count(arguments));
    let intervals = reading.intervals().ok_or_else(|| Ended::bad("this count gives no gauge"))?;
    let mut log = open(path, Access::Begin)?;
    let kept = arguments.keeping.keep(&mut log, &description, &arguments.keeping.measurement(reading))?;
    let [stitches, rows] = intervals.map(|i| plus_minus(i.value, i.expanded_uncertainty));
    output::print(&format!("Kept as {kept}: {stitches} stitches, {rows} rows per 10 cm.\n"))?;
    Ok(ExitStatus::Done)
}

fn count(arguments: &CountArguments) -> HandCount {
    HandCount {
        stitches: arguments.counted.0,
        stitches_over_mm: arguments.over.0,
        stitches_plus_minus: arguments.plus_minus.map(|p| p.0),
        rows: arguments.counted.1,
        rows_over_mm: arguments.over.1,
        rows_plus_minus: arguments.plus_minus.map(|p| p.1),
        ruler_class: arguments.ruler_class.map(Into::into),
        ruler_id: arguments.ruler_id.clone(),
    }
}
