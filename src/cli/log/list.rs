//! `walewise log list`: swatches in a table that fits the terminal.

use super::filter::FilterArguments;
use super::screen::{Column, columns, safe, table};
use super::{Done, open};
use crate::cli::{ExitStatus, output};
use crate::logbook::{Access, Filter, SortKey, State, SwatchLine};
use crate::quantity::plus_minus;
use clap::ValueEnum;
use std::path::Path;

/// List swatches, the newest first
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise log list
  walewise log list --yarn alpaca --needle 3..4 --sort stitches")]
pub struct ListArguments {
    #[command(flatten)]
    filter: FilterArguments,
    /// Deleted swatches instead of the others
    #[arg(long)]
    deleted: bool,
    /// What to sort by
    #[arg(long, value_enum, default_value_t = Sort::Day)]
    sort: Sort,
    /// The other way round
    #[arg(long)]
    reverse: bool,
    /// At most so many
    #[arg(long, value_name = "N", default_value_t = 50)]
    limit: usize,
    /// Write JSON, one line a swatch
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Sort {
    /// Day of knitting, the newest first
    Day,
    /// Number in the log
    Number,
    /// Name of the yarn
    Yarn,
    /// Needle size, the thinnest first
    Needle,
    /// Stitches per 10 cm, the fewest first
    Stitches,
    /// Rows per 10 cm, the fewest first
    Rows,
}

impl Sort {
    /// The order and whether it falls when nothing is said.
    fn key(self) -> (SortKey, bool) {
        match self {
            Self::Day => (SortKey::Day, true),
            Self::Number => (SortKey::Number, false),
            Self::Yarn => (SortKey::Yarn, false),
            Self::Needle => (SortKey::Needle, false),
            Self::Stitches => (SortKey::Stitches, false),
            Self::Rows => (SortKey::Rows, false),
        }
    }
}

/// Runs the command.
pub fn run(arguments: &ListArguments, path: &Path) -> Done {
    let log = open(path, Access::Read)?;
    let filter = Filter { deleted: arguments.deleted, ..arguments.filter.filter(&[]) };
    let (key, falling) = arguments.sort.key();
    let found = log.find(&filter, key, falling != arguments.reverse, arguments.limit)?;
    if arguments.json {
        for line in &found.lines {
            output::print(&format!("{}\n", serde_json::json!(line)))?;
        }
        return Ok(ExitStatus::Done);
    }
    output::print(&lines(&found.lines))?;
    let rest = found.total - found.lines.len();
    if rest > 0 {
        output::print(&format!("and {rest} more; --limit shows them\n"))?;
    } else if found.total == 0 {
        output::print("No swatch fits.\n")?;
    }
    Ok(ExitStatus::Done)
}

/// The table; nothing for no swatches.
fn lines(lines: &[SwatchLine]) -> String {
    if lines.is_empty() {
        return String::new();
    }
    let headings = [
        Column::number("No."),
        Column::fixed("Knitted"),
        Column::words("Yarn", 12),
        Column::number("mm"),
        Column::words("Pattern", 8),
        Column::words("State", 6),
        Column::number("Stitches"),
        Column::number("Rows"),
        Column::words("Tags", 4),
    ];
    let width = columns();
    let rows: Vec<Vec<String>> = lines.iter().map(|line| cells(line, width >= ROOM_FOR_ALL)).collect();
    table(&headings, &rows, width)
}

/// On a narrower terminal the yarn needs the room more than day and tags, which `show` tells (a stated choice).
const ROOM_FOR_ALL: usize = 100;

fn cells(line: &SwatchLine, all: bool) -> Vec<String> {
    let text = |t: &Option<String>| t.as_deref().map_or_else(String::new, safe);
    let gauge = |g: Option<[f64; 2]>| g.map_or_else(String::new, |[value, half]| plus_minus(value, half));
    vec![
        line.id.to_string(),
        line.made_on.filter(|_| all).map_or_else(String::new, |d| d.to_string()),
        text(&line.yarn),
        line.needle_mm.map_or_else(String::new, |mm| mm.to_string()),
        text(&line.stitch),
        state_words(line.state, line.stretched_to_mm),
        gauge(line.stitches_per_10cm),
        gauge(line.rows_per_10cm),
        if all { text(&line.tags) } else { String::new() },
    ]
}

/// `washed`, `washed, stretched to 120 mm`.
pub fn state_words(state: Option<State>, stretched_to_mm: Option<f64>) -> String {
    let state = state.map(|s| s.name().to_owned());
    let stretched = stretched_to_mm.map(|mm| format!("stretched to {mm} mm"));
    state.into_iter().chain(stretched).collect::<Vec<_>>().join(", ")
}
