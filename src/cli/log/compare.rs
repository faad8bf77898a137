//! `walewise log compare`: swatches side by side.

use super::count::one_or_pair;
use super::filter::FilterArguments;
use super::list::state_words;
use super::screen::{Column, columns, safe, table, wrapped};
use super::{Done, Ended, open, write_new};
use crate::cli::{ExitStatus, output};
use crate::compare::{MeasuredGauge, Pair, SpeaksOf, Tolerance, pairs};
use crate::logbook::{Access, Filter, Logbook, SortKey, SwatchLine};
use crate::quantity::{Confidence, plus_minus};
use crate::report::comparison::{self, ComparedSwatch, SwatchComparison};
use crate::sizing::Counted;
use std::path::{Path, PathBuf};

/// Compare swatches: differences with intervals, and whether they are alike within a tolerance
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise log compare 1 2
  walewise log compare --yarn alpaca --within 0.5x1 --page compare.html")]
pub struct CompareArguments {
    /// Numbers of the swatches; all that fit the filters when none is given. At most 25, which make 300 pairs
    #[arg(value_name = "NUMBER")]
    swatches: Vec<i64>,
    #[command(flatten)]
    filter: FilterArguments,
    /// Differences that do not matter, in stitches (x rows) per 10 cm
    #[arg(long, value_name = "N|SxR", value_parser = one_or_pair, default_value = "0.5")]
    within: (f64, f64),
    /// Compare what the next fabric knitted alike would be, not these very swatches
    #[arg(long)]
    next_fabric: bool,
    /// Write a page with a plot and all pairs (.html)
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    /// Write the plot alone (.svg)
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Replace files that are there already
    #[arg(long)]
    force: bool,
    /// Write JSON, one line a pair
    #[arg(long)]
    json: bool,
}

/// More swatches than this make more pairs than anybody reads: 25 make 300 (a stated choice).
const MOST_SWATCHES: usize = 25;

/// Runs the command.
pub fn run(arguments: &CompareArguments, path: &Path) -> Done {
    let log = open(path, Access::Read)?;
    let lines = chosen(&log, arguments)?;
    let comparison = compared(&log, arguments, &lines)?;
    if let Some(page) = &arguments.page {
        write_new(page, comparison::page(&comparison).as_bytes(), arguments.force)?;
    }
    if let Some(plot) = &arguments.plot {
        write_new(plot, comparison::plot(&comparison.swatches).as_bytes(), arguments.force)?;
    }
    let text = if arguments.json { json(&comparison) } else { in_words(&comparison) };
    output::print(&text)?;
    Ok(ExitStatus::Done)
}

/// The swatches that are meant, in the order they were named.
fn chosen(log: &Logbook, arguments: &CompareArguments) -> Result<Vec<SwatchLine>, Ended> {
    let filter: Filter = arguments.filter.filter(&arguments.swatches);
    let found = log.find(&filter, SortKey::Number, false, MOST_SWATCHES + 1)?;
    if found.total > MOST_SWATCHES {
        return Err(Ended::bad(format!(
            "{} swatches fit, but at most {MOST_SWATCHES} are compared (300 pairs): name them, or filter",
            found.total
        )));
    }
    let mut lines = found.lines;
    if let Some(missing) = arguments.swatches.iter().find(|id| lines.iter().all(|line| line.id != **id)) {
        log.swatch(*missing)?;
        return Err(Ended::bad(format!("swatch {missing} is deleted, or does not fit the filters")));
    }
    lines.sort_by_key(|line| arguments.swatches.iter().position(|id| *id == line.id));
    match lines.len() {
        0 => Err(Ended::inconclusive("no swatch fits: there is nothing to compare")),
        1 => Err(Ended::inconclusive(format!("only swatch {} fits: there is nothing to compare it with", lines[0].id))),
        _ => Ok(lines),
    }
}

fn compared(log: &Logbook, arguments: &CompareArguments, lines: &[SwatchLine]) -> Result<SwatchComparison, Ended> {
    let gauges: Vec<MeasuredGauge> = lines.iter().map(|line| gauge(log, arguments, line)).collect::<Result<_, _>>()?;
    let tolerance = Tolerance { stitches: arguments.within.0, rows: arguments.within.1 };
    let swatches = lines.iter().zip(&gauges).map(|(line, gauge)| compared_swatch(line, gauge)).collect();
    Ok(SwatchComparison {
        swatches,
        pairs: pairs(&gauges, tolerance),
        tolerance,
        speaks_of: if arguments.next_fabric { SpeaksOf::TheNextFabric } else { SpeaksOf::TheseSwatches },
        cautions: cautions(lines),
    })
}

fn gauge(log: &Logbook, arguments: &CompareArguments, line: &SwatchLine) -> Result<MeasuredGauge, Ended> {
    let id = line.id;
    let measurement = log
        .counting(id, arguments.filter.state())?
        .ok_or_else(|| Ended::inconclusive(format!("swatch {id} has no measured gauge")))?;
    let gauge =
        measurement.reading.gauge(&measurement.uid).map_err(|e| Ended::inconclusive(format!("swatch {id}: {e}")))?;
    if !arguments.next_fabric {
        return Ok(gauge);
    }
    gauge.of_next_fabric(&measurement.uid).ok_or_else(|| {
        Ended::inconclusive(format!(
            "swatch {id}: its measurement does not show how the fabric varies from place to place, so nothing can be said \
             of the next fabric; measure it from a photo"
        ))
    })
}

fn compared_swatch(line: &SwatchLine, gauge: &MeasuredGauge) -> ComparedSwatch {
    let yarn = line.yarn.as_deref().map_or_else(|| "yarn not said".to_owned(), safe);
    let needle = line.needle_mm.map_or_else(String::new, |mm| format!(", {mm} mm"));
    let state = state_words(line.state, line.stretched_to_mm);
    let details: Vec<String> =
        line.stitch.as_deref().map(safe).into_iter().chain((!state.is_empty()).then_some(state)).collect();
    ComparedSwatch {
        number: line.id,
        label: format!("{yarn}{needle}"),
        details: details.join(", "),
        stitches: gauge.stitches_per_10cm.expanded(Confidence::P95),
        rows: gauge.rows_per_10cm.expanded(Confidence::P95),
    }
}

/// Swatches that were not treated alike are compared all the same, with a word about it.
fn cautions(lines: &[SwatchLine]) -> Vec<String> {
    let differ = |of: &dyn Fn(&SwatchLine) -> String| lines.iter().any(|line| of(line) != of(&lines[0]));
    let mut cautions = Vec::new();
    if differ(&|line| state_words(line.state, line.stretched_to_mm)) {
        cautions
            .push("the swatches were not all measured in the same state, which moves the gauge by itself.".to_owned());
    }
    if differ(&|line| line.stitch.clone().unwrap_or_default()) {
        cautions.push("the swatches are not all in the same stitch pattern.".to_owned());
    }
    cautions
}

fn in_words(comparison: &SwatchComparison) -> String {
    let width = columns();
    let headings = [
        Column::number("No."),
        Column::words("Swatch", 16),
        Column::words("", 8),
        Column::number("Stitches"),
        Column::number("Rows"),
    ];
    let rows: Vec<Vec<String>> = comparison
        .swatches
        .iter()
        .map(|s| {
            let value = |e: &crate::quantity::Expanded| plus_minus(e.value, e.expanded_uncertainty);
            vec![s.number.to_string(), s.label.clone(), s.details.clone(), value(&s.stitches), value(&s.rows)]
        })
        .collect();
    let mut out = table(&headings, &rows, width);
    out.push('\n');
    for pair in &comparison.pairs {
        out.push_str(&pair_words(comparison, pair, width));
    }
    out.push('\n');
    out.push_str(&wrapped(&comparison::chance_words(comparison), "", width));
    out.push_str(&wrapped(comparison::speaks_of_words(comparison.speaks_of), "", width));
    for caution in &comparison.cautions {
        out.push_str(&wrapped(&format!("Careful: {caution}"), "", width));
    }
    out
}

fn pair_words(comparison: &SwatchComparison, pair: &Pair, width: usize) -> String {
    let [first, second] = [pair.first, pair.second].map(|i| comparison.swatches[i].number.to_string());
    let stitches = comparison::axis_sentence(&pair.stitches, Counted::Stitches, &first, &second);
    let rows = comparison::axis_sentence(&pair.rows, Counted::Rows, &first, &second);
    let shared = if pair.stitches.shared { " (same ruler: its error cancels)" } else { "" };
    format!(
        "{first} and {second}{shared}\n{}{}",
        hanging("  stitches: ", &stitches, width),
        hanging("  rows:     ", &rows, width)
    )
}

/// A title, and text beside it over as many lines as it needs.
fn hanging(title: &str, text: &str, width: usize) -> String {
    let indent = " ".repeat(title.len());
    let block = wrapped(text, &indent, width);
    format!("{title}{}", block.strip_prefix(&indent).unwrap_or(&block))
}

fn json(comparison: &SwatchComparison) -> String {
    let line = |pair: &Pair| {
        let number = |i: usize| comparison.swatches[i].number;
        serde_json::json!({
            "first": number(pair.first), "second": number(pair.second), "speaks_of": comparison.speaks_of,
            "pairs_compared": comparison.pairs.len(), "stitches": pair.stitches, "rows": pair.rows,
        })
        .to_string()
            + "\n"
    };
    comparison.pairs.iter().map(line).collect()
}
