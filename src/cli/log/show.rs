//! `walewise log show`: all that is known of one swatch.

use super::list::state_words;
use super::screen::{Column, columns, safe, safe_lines, table, wrapped};
use super::{Done, Ended, open, write_new};
use crate::cli::{ExitStatus, output};
use crate::compare::HandCount;
use crate::logbook::{Access, Field, Logbook, Measurement, Reading, Swatch, Thumbnail, write_line};
use crate::quantity::plus_minus;
use crate::record::Contribution;
use std::path::{Path, PathBuf};

/// Show one swatch: what it is, its measurements, and what the interval is made of
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise log show 1
  walewise log show 1 --thumbnail small.jpg")]
pub struct ShowArguments {
    /// Number of the swatch
    #[arg(value_name = "NUMBER")]
    swatch: i64,
    /// Write all of it as one line of JSON
    #[arg(long)]
    json: bool,
    /// Write the small picture kept with the measurement that counts (.jpg)
    #[arg(long, value_name = "FILE")]
    thumbnail: Option<PathBuf>,
    /// Replace a file that is there already
    #[arg(long, requires = "thumbnail")]
    force: bool,
}

/// Runs the command.
pub fn run(arguments: &ShowArguments, path: &Path) -> Done {
    let log = open(path, Access::Read)?;
    if let Some(file) = &arguments.thumbnail {
        return write_thumbnail(&log, arguments, file);
    }
    if arguments.json {
        output::print(&write_line(&log.entry(arguments.swatch)?)?)?;
    } else {
        let swatch = log.swatch(arguments.swatch)?;
        let thumbnail = swatch.newest.map_or(Ok(None), |newest| log.thumbnail(newest))?;
        output::print(&in_words(&swatch, thumbnail.as_ref()))?;
    }
    Ok(ExitStatus::Done)
}

fn write_thumbnail(log: &Logbook, arguments: &ShowArguments, file: &Path) -> Done {
    let swatch = log.swatch(arguments.swatch)?;
    let picture = swatch.newest.map_or(Ok(None), |newest| log.thumbnail(newest))?;
    let none = || Ended::inconclusive(format!("no small picture was kept of swatch {}", swatch.id));
    write_new(file, picture.ok_or_else(none)?.jpeg(), arguments.force)?;
    Ok(ExitStatus::Done)
}

fn in_words(swatch: &Swatch, thumbnail: Option<&Thumbnail>) -> String {
    let deleted = swatch.deleted_at.map_or_else(String::new, |at| format!(" (deleted {})", day_of(&at.to_string())));
    let mut out = format!("Swatch {}{deleted}\n", swatch.id);
    for field in Field::ALL {
        if let Some(value) = swatch.description.get(field) {
            out.push_str(&entry(&field_title(field), &value.to_string()));
        }
    }
    if !swatch.tags.is_empty() {
        out.push_str(&entry("Tags", &swatch.tags.iter().cloned().collect::<Vec<_>>().join(", ")));
    }
    out.push_str("\nMeasurements\n");
    out.push_str(&measurements(swatch));
    if let Some(counting) = swatch.measurements.iter().find(|m| Some(m.id) == swatch.newest) {
        out.push_str(&format!("\nMeasurement {}, which counts\n", counting.id));
        out.push_str(&details(counting));
        if let Some(picture) = thumbnail {
            let kilobytes = picture.jpeg().len().div_ceil(1000);
            let words = format!("kept ({kilobytes} kB); `log show {} --thumbnail FILE` writes it", swatch.id);
            out.push_str(&entry("Small picture", &words));
        }
    }
    out
}

/// `Yarn weight: fine`, broken over lines.
fn entry(title: &str, text: &str) -> String {
    const TITLE: usize = 18;
    let width = columns();
    let indent = " ".repeat(TITLE + 2);
    let lines: Vec<String> = safe_lines(text).iter().map(|line| wrapped(line, &indent, width)).collect();
    let block = lines.concat();
    let rest = block.strip_prefix(&indent).unwrap_or(&block).to_owned();
    format!("  {:<TITLE$}{}", format!("{title}:"), if rest.is_empty() { "\n".to_owned() } else { rest })
}

fn field_title(field: Field) -> String {
    let words = match field {
        Field::MadeOn => "Knitted",
        Field::BallG => "Ball (g)",
        Field::BallM => "Ball (m)",
        Field::NeedleMm => "Needle (mm)",
        Field::RepeatStitches => "Repeat, stitches",
        Field::RepeatRows => "Repeat, rows",
        other => return capital(&other.name().replace('_', " ")),
    };
    words.to_owned()
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn measurements(swatch: &Swatch) -> String {
    let headings = [
        Column::number("  No."),
        Column::fixed("Day"),
        Column::words("State", 8),
        Column::number("Stitches"),
        Column::number("Rows"),
        Column::fixed("From"),
        Column::words("", 8),
    ];
    let rows: Vec<Vec<String>> = swatch.measurements.iter().map(|m| measurement_cells(m, swatch)).collect();
    table(&headings, &rows, columns())
}

fn measurement_cells(m: &Measurement, swatch: &Swatch) -> Vec<String> {
    let gauge = |axis: usize| {
        let intervals = m.reading.intervals();
        intervals.map_or_else(|| "refused".to_owned(), |i| plus_minus(i[axis].value, i[axis].expanded_uncertainty))
    };
    let from = match &m.reading {
        Reading::Photo(text) => {
            text.record().map_or_else(|| "photo".to_owned(), |r| format!("photo, by {}", safe(&r.version)))
        }
        Reading::Count(_) => "hand count".to_owned(),
        Reading::Stated { .. } => "stated".to_owned(),
    };
    let newer = m.replaced_by.as_ref().and_then(|uid| swatch.measurements.iter().find(|n| n.uid == *uid));
    let remark = match (m.deleted_at, newer) {
        (Some(_), _) => "deleted".to_owned(),
        (None, Some(newer)) => format!("replaced by {}", newer.id),
        (None, None) => String::new(),
    };
    let state = state_words(m.state, m.stretched_to_mm);
    vec![m.id.to_string(), m.measured_on.to_string(), state, gauge(0), gauge(1), from, remark]
}

fn details(m: &Measurement) -> String {
    let mut out = String::new();
    if let Some([stitches, rows]) = m.reading.intervals() {
        for (interval, what) in [(stitches, "stitches"), (rows, "rows")] {
            let value = plus_minus(interval.value, interval.expanded_uncertainty);
            out.push_str(&format!("  {value} {what} per 10 cm\n"));
        }
    }
    for (title, text) in [("Photo", &m.photo), ("Picture", &m.picture), ("Hash", &m.photo_sha256)] {
        if let Some(text) = text {
            out.push_str(&entry(title, text));
        }
    }
    if !m.options.is_empty() {
        out.push_str(&entry("Measured with", &m.options.join(" ")));
    }
    match &m.reading {
        Reading::Photo(text) => {
            if let Some(record) = text.record() {
                out.push_str(&budget(&record.budget));
            }
        }
        Reading::Count(count) => out.push_str(&counted(count)),
        Reading::Stated { .. } => {}
    }
    out
}

fn counted(count: &HandCount) -> String {
    let axis = |n: f64, mm: f64, plus_minus: Option<f64>, what: &str| {
        let sure = plus_minus.map_or_else(|| "within half a one".to_owned(), |p| format!("± {p}"));
        format!("{n} {what} over {mm} mm, {sure}")
    };
    let stitches = axis(count.stitches, count.stitches_over_mm, count.stitches_plus_minus, "stitches");
    let rows = axis(count.rows, count.rows_over_mm, count.rows_plus_minus, "rows");
    let ruler = count.ruler_id.as_deref().map_or_else(String::new, |id| entry("Ruler", id));
    format!("{}{ruler}", entry("Counted", &format!("{stitches}; {rows}")))
}

fn budget(parts: &[Contribution]) -> String {
    let headings = [
        Column::words("  What the interval is made of (standard uncertainty)", 20),
        Column::number("Stitches"),
        Column::number("Rows"),
    ];
    let percent = |p: f64| format!("{:.2} %", p.abs());
    let row = |part: &Contribution| {
        let shared = part.shared_id.as_deref().map_or_else(String::new, |id| format!(" ({})", safe(id)));
        let name = format!("  {}{shared}", safe(&part.source));
        vec![name, percent(part.stitches_percent), percent(part.rows_percent)]
    };
    let rows: Vec<Vec<String>> = parts.iter().map(row).collect();
    if rows.is_empty() { String::new() } else { table(&headings, &rows, columns()) }
}

/// The day of a time.
pub fn day_of(at: &str) -> String {
    at.chars().take(10).collect()
}
