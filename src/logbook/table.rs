//! The log as a table for spreadsheets: one swatch a row, with the measurement that counts. What a table can't hold
//! (budgets, older measurements, history) is left out; JSON Lines keep all of it.
//!
//! No cell can run as a formula: a text that begins like one gets an apostrophe in front, which is taken off again when
//! the table is read; every cell is quoted, so that no separator of any country's spreadsheet splits it.

use super::{Description, Entry, Event, EventKind, Field, Measurement, Reading, State};
use crate::compare::{HandCount, StatedValue};
use crate::quantity::{NORMAL_95, RulerClass};
use crate::spreadsheet::{guarded, unguarded};
use csv::{QuoteStyle, ReaderBuilder, StringRecord, WriterBuilder};
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// Columns after those of [`Field`].
const COLUMNS: [&str; 23] = [
    "tags",
    "measured_on",
    "state",
    "stretched_to_mm",
    "stitches_per_10cm",
    "stitches_plus_minus",
    "stitches_standard_uncertainty",
    "stitches_degrees_of_freedom",
    "rows_per_10cm",
    "rows_plus_minus",
    "rows_standard_uncertainty",
    "rows_degrees_of_freedom",
    "counted_stitches",
    "counted_stitches_over_mm",
    "counted_stitches_plus_minus",
    "counted_rows",
    "counted_rows_over_mm",
    "counted_rows_plus_minus",
    "ruler_class",
    "ruler_id",
    "photo",
    "photo_sha256",
    "picture",
];

/// What a table can't be read for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableError {
    /// Line in the file, from 1; `None` for the whole of it.
    pub line: Option<u64>,
    /// What is wrong.
    pub message: String,
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {line}: {}", self.message),
            None => f.write_str(&self.message),
        }
    }
}

/// The entries as CSV in UTF-8 with a byte order mark, without which spreadsheets misread it.
pub fn write_table(entries: &[Entry]) -> Result<String, TableError> {
    let wrong = |e: &dyn fmt::Display| TableError { line: None, message: e.to_string() };
    let mut writer = WriterBuilder::new().quote_style(QuoteStyle::Always).from_writer(Vec::new());
    let names = ["id", "uid"].into_iter().chain(Field::ALL.map(Field::name)).chain(COLUMNS);
    writer.write_record(names).map_err(|e| wrong(&e))?;
    for entry in entries {
        let cells = cells(entry);
        writer.write_record(cells.iter().map(|c| guarded(c))).map_err(|e| wrong(&e))?;
    }
    let bytes = writer.into_inner().map_err(|e| wrong(&e))?;
    Ok(format!("{BYTE_ORDER_MARK}{}", String::from_utf8(bytes).map_err(|e| wrong(&e))?))
}

const BYTE_ORDER_MARK: char = '\u{FEFF}';

/// The measurement of an entry that counts: the newest, as in lists.
fn counting(entry: &Entry) -> Option<&Measurement> {
    let counts = entry.measurements.iter().filter(|m| m.counts() && m.reading.intervals().is_some());
    counts.max_by_key(|m| (m.measured_on, m.id))
}

fn cells(entry: &Entry) -> Vec<String> {
    let mut cells = vec![entry.id.to_string(), entry.uid.clone()];
    cells.extend(Field::ALL.into_iter().map(|f| entry.swatch.get(f).map_or_else(String::new, |v| v.to_string())));
    cells.push(entry.tags.iter().cloned().collect::<Vec<_>>().join(","));
    let Some(measurement) = counting(entry) else {
        cells.resize(2 + Field::ALL.len() + COLUMNS.len(), String::new());
        return cells;
    };
    let number = |x: Option<f64>| x.map_or_else(String::new, |x| x.to_string());
    cells.push(measurement.measured_on.to_string());
    cells.push(measurement.state.map_or("", State::name).to_owned());
    cells.push(number(measurement.stretched_to_mm));
    for interval in measurement.reading.intervals().into_iter().flatten() {
        let finite = interval.degrees_of_freedom.is_finite().then_some(interval.degrees_of_freedom);
        let parts = [interval.value, interval.expanded_uncertainty, interval.standard_uncertainty];
        cells.extend(parts.map(|x| x.to_string()));
        cells.push(number(finite));
    }
    let count = if let Reading::Count(count) = &measurement.reading { Some(count) } else { None };
    cells.push(number(count.map(|c| c.stitches)));
    cells.push(number(count.map(|c| c.stitches_over_mm)));
    cells.push(number(count.and_then(|c| c.stitches_plus_minus)));
    cells.push(number(count.map(|c| c.rows)));
    cells.push(number(count.map(|c| c.rows_over_mm)));
    cells.push(number(count.and_then(|c| c.rows_plus_minus)));
    cells.push(count.and_then(|c| c.ruler_class).map_or("", class_name).to_owned());
    cells.push(count.and_then(|c| c.ruler_id.clone()).unwrap_or_default());
    for text in [&measurement.photo, &measurement.photo_sha256, &measurement.picture] {
        cells.push(text.clone().unwrap_or_default());
    }
    cells
}

fn class_name(class: RulerClass) -> &'static str {
    match class {
        RulerClass::I => "I",
        RulerClass::II => "II",
        RulerClass::III => "III",
    }
}

/// The entries of a table, ready to be brought in. Columns may stand in any order and be left out; unknown ones are an
/// error. `today` and `at` fill in what a table written by hand does not tell; `new_uid` gives names to rows without
/// one.
pub fn read_table(
    text: &str,
    today: Date,
    at: Timestamp,
    mut new_uid: impl FnMut() -> String,
) -> Result<Vec<Entry>, TableError> {
    let text = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
    let mut reader = ReaderBuilder::new().from_reader(text.as_bytes());
    let headers = reader.headers().map_err(|e| csv_error(&e))?.clone();
    let known = |name: &str| name == "id" || name == "uid" || Field::named(name).is_some() || COLUMNS.contains(&name);
    if let Some(unknown) = headers.iter().find(|name| !known(name)) {
        return Err(TableError { line: Some(1), message: format!("there is no column '{unknown}' in a swatch log") });
    }
    let mut entries = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| csv_error(&e))?;
        let line = record.position().map(csv::Position::line);
        let row = TableRow { headers: &headers, record: &record };
        let entry = row.entry(today, at, &mut new_uid).map_err(|message| TableError { line, message })?;
        entries.push(entry);
    }
    Ok(entries)
}

fn csv_error(error: &csv::Error) -> TableError {
    TableError { line: error.position().map(csv::Position::line), message: error.to_string() }
}

struct TableRow<'a> {
    headers: &'a StringRecord,
    record: &'a StringRecord,
}

impl TableRow<'_> {
    /// A cell that is there and not empty.
    fn cell(&self, name: &str) -> Option<&str> {
        let at = self.headers.iter().position(|h| h == name)?;
        self.record.get(at).map(unguarded).filter(|cell| !cell.is_empty())
    }

    fn number(&self, name: &str) -> Result<Option<f64>, String> {
        let Some(cell) = self.cell(name) else { return Ok(None) };
        let value: f64 = cell.trim().parse().map_err(|_| format!("{name}: '{cell}' is not a number"))?;
        if value.is_finite() { Ok(Some(value)) } else { Err(format!("{name}: '{cell}' is not a finite number")) }
    }

    fn text(&self, name: &str) -> Option<String> {
        self.cell(name).map(str::to_owned)
    }

    fn entry(&self, today: Date, at: Timestamp, new_uid: &mut impl FnMut() -> String) -> Result<Entry, String> {
        let mut swatch = Description::default();
        for field in Field::ALL {
            swatch.set(field, self.cell(field.name())).map_err(|e| e.to_string())?;
        }
        let tags: BTreeSet<String> = self
            .cell("tags")
            .unwrap_or_default()
            .split(',')
            .map(str::trim)
            .filter(|t| !t.is_empty())
            .map(str::to_owned)
            .collect();
        let uid = self.text("uid").unwrap_or_else(&mut *new_uid);
        let measurement = self.reading()?.map(|reading| self.measurement(reading, today, at, new_uid())).transpose()?;
        Ok(Entry {
            schema: super::lines::SCHEMA.to_owned(),
            id: self.cell("id").and_then(|id| id.trim().parse().ok()).unwrap_or_default(),
            uid,
            added_at: at,
            deleted_at: None,
            swatch,
            tags,
            measurements: measurement.into_iter().collect(),
            thumbnails: BTreeMap::new(),
            history: vec![Event { after: Some("from a table".to_owned()), ..Event::new(at, EventKind::Added) }],
        })
    }

    fn measurement(&self, reading: Reading, today: Date, at: Timestamp, uid: String) -> Result<Measurement, String> {
        reading.check()?;
        let day = |cell: &str| cell.trim().parse().map_err(|_| format!("measured_on: '{cell}' is not a date"));
        let state = |cell: &str| State::named(cell.trim()).ok_or_else(|| format!("state: '{cell}' is not known"));
        Ok(Measurement {
            id: 0,
            uid,
            added_at: at,
            deleted_at: None,
            measured_on: self.cell("measured_on").map(day).transpose()?.unwrap_or(today),
            state: self.cell("state").map(state).transpose()?,
            stretched_to_mm: self.number("stretched_to_mm")?,
            photo: self.text("photo"),
            photo_sha256: self.text("photo_sha256"),
            picture: self.text("picture"),
            options: Vec::new(),
            replaced_by: None,
            reading,
        })
    }

    fn reading(&self) -> Result<Option<Reading>, String> {
        if let Some(count) = self.count()? {
            return Ok(Some(Reading::Count(count)));
        }
        match (self.stated("stitches")?, self.stated("rows")?) {
            (Some(stitches_per_10cm), Some(rows_per_10cm)) => {
                Ok(Some(Reading::Stated { stitches_per_10cm, rows_per_10cm }))
            }
            (None, None) => Ok(None),
            _ => Err("stitches and rows are needed both, each with its plus_minus".to_owned()),
        }
    }

    fn stated(&self, axis: &str) -> Result<Option<StatedValue>, String> {
        let Some(value) = self.number(&format!("{axis}_per_10cm"))? else { return Ok(None) };
        let own = self.number(&format!("{axis}_standard_uncertainty"))?;
        let half_width = self.number(&format!("{axis}_plus_minus"))?;
        let standard_uncertainty = own
            .or(half_width.map(|h| h / NORMAL_95))
            .ok_or_else(|| format!("{axis}_per_10cm needs {axis}_plus_minus beside it"))?;
        let degrees_of_freedom = self.number(&format!("{axis}_degrees_of_freedom"))?;
        Ok(Some(StatedValue { value, standard_uncertainty, degrees_of_freedom, half_width_95: half_width }))
    }

    fn count(&self) -> Result<Option<HandCount>, String> {
        HandCount::of_columns(|name| self.number(name), |name| self.text(name))
    }
}
