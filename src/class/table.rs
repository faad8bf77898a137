//! A class as a table (CSV): a line a measurement, its photo or its numbers.

use super::{ClassError, MOST_READINGS, Reading, free_name};
use crate::compare::HandCount;
use crate::quantity::{Contribution, NORMAL_95, Source, Uncertain};
use crate::spreadsheet::unguarded;
use csv::{ReaderBuilder, StringRecord, Trim};

/// What a table holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ClassTable {
    /// Measurements that stand in it.
    pub readings: Vec<Reading>,
    /// Photos that are named in it.
    pub photos: Vec<ListedPhoto>,
}

/// A photo that a table names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListedPhoto {
    /// Who knitted it.
    pub knitter: String,
    /// Which of the knitter's swatches.
    pub swatch: String,
    /// What it is called in words; no two are called alike.
    pub label: String,
    /// The file, as written in the table.
    pub file: String,
    /// State in which it was measured, where the table says so.
    pub state: Option<String>,
    /// Name of the ruler, where it has one.
    pub ruler: Option<String>,
}

/// Reads the text of a table. Columns may stand in any order; those that are not known are passed over, so that a table of
/// the log can be used. Cells are parted by commas or semicolons; with semicolons numbers may have a decimal comma.
///
/// # Errors
/// For what is no table, a missing column, more lines than are taken together, or a line that makes no sense, with its
/// number; in words.
pub fn read_table(text: &str) -> Result<ClassTable, String> {
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
    let header = text.lines().next().unwrap_or_default();
    let semicolons = header.matches(';').count() > header.matches(',').count();
    let mut reader = ReaderBuilder::new()
        .delimiter(if semicolons { b';' } else { b',' })
        .trim(Trim::All)
        .from_reader(text.as_bytes());
    let columns = reader.headers().map_err(|e| e.to_string())?.clone();
    if !columns.iter().any(|c| c == "knitter") {
        return Err("there is no column 'knitter'".to_owned());
    }
    let mut table = ClassTable::default();
    let mut labels = Vec::new();
    for (i, line) in reader.records().enumerate() {
        if i >= MOST_READINGS {
            return Err(ClassError::TooMany(i + 1).to_string());
        }
        let line = line.map_err(|e| e.to_string())?;
        let number = line.position().map_or(0, csv::Position::line);
        let row = Row { columns: &columns, line: &line, decimal_comma: semicolons };
        row.add_to(&mut table, number, &mut labels).map_err(|what| format!("line {number}: {what}"))?;
    }
    Ok(table)
}

struct Row<'a> {
    columns: &'a StringRecord,
    line: &'a StringRecord,
    decimal_comma: bool,
}

impl Row<'_> {
    /// A cell that is there and not empty, without the apostrophe that keeps a spreadsheet from running it.
    fn cell(&self, name: &str) -> Option<&str> {
        let at = self.columns.iter().position(|c| c == name)?;
        self.line.get(at).filter(|cell| !cell.is_empty()).map(unguarded)
    }

    /// A number that is not below zero.
    fn number(&self, name: &str) -> Result<Option<f64>, String> {
        let Some(cell) = self.cell(name) else { return Ok(None) };
        let point = if self.decimal_comma { cell.replace(',', ".") } else { cell.to_owned() };
        let value: f64 = point.parse().map_err(|_| format!("{name}: '{cell}' is not a number"))?;
        if value.is_finite() && value >= 0.0 {
            Ok(Some(value))
        } else {
            Err(format!("{name}: '{cell}' is not a number of 0 or more"))
        }
    }

    fn add_to(&self, table: &mut ClassTable, number: u64, labels: &mut Vec<String>) -> Result<(), String> {
        let knitter = self.cell("knitter").ok_or("no knitter is named")?.to_owned();
        let own = self.cell("swatch").or_else(|| self.cell("id")).map(str::to_owned);
        let state = self.cell("state").map(str::to_owned);
        let ruler = self.cell("ruler_id").map(str::to_owned);
        // Without a name each line is a swatch of its own.
        let swatch = own.unwrap_or_else(|| format!("line {number}"));
        let gauge = self.gauge()?;
        if gauge[0].is_none() && gauge[1].is_none() {
            let photo = self.cell("photo").ok_or("neither a photo nor stitches_per_10cm is given")?;
            let label = free_name(labels, photo.to_owned());
            table.photos.push(ListedPhoto { knitter, swatch, label, file: photo.to_owned(), state, ruler });
            return Ok(());
        }
        let label = free_name(labels, format!("line {number}"));
        let reading = Reading {
            stitch: self.cell("stitch").map(str::to_owned),
            state,
            yarn: self.cell("yarn").map(str::to_owned),
            needle_mm: self.number("needle_mm")?,
            photo_sha256: self.cell("photo_sha256").map(str::to_owned),
            ..Reading::new(&knitter, &swatch, &label, gauge).with_ruler(ruler.as_deref())
        };
        table.readings.push(reading);
        Ok(())
    }

    /// A hand count, or what is stated.
    fn gauge(&self) -> Result<[Option<Uncertain>; 2], String> {
        if let Some(count) = self.count()? {
            let gauge = count.gauge("").ok_or("the hand count makes no gauge")?;
            return Ok([Some(gauge.stitches_per_10cm), Some(gauge.rows_per_10cm)]);
        }
        Ok([self.stated("stitches")?, self.stated("rows")?])
    }

    /// A value with its uncertainty; without one it is taken as it stands, and its error as part of the spread.
    fn stated(&self, axis: &str) -> Result<Option<Uncertain>, String> {
        let name = format!("{axis}_per_10cm");
        let Some(value) = self.number(&name)? else { return Ok(None) };
        if value <= 0.0 {
            return Err(format!("{name}: it must be more than 0"));
        }
        let half_width = self.number(&format!("{axis}_plus_minus"))?;
        let own = self.number(&format!("{axis}_standard_uncertainty"))?;
        let standard = own.or(half_width.map(|h| h / NORMAL_95));
        let Some(standard) = standard else { return Ok(Some(Uncertain::exact(value))) };
        let source = Source::named("uncertainty as stated");
        let part = match self.number(&format!("{axis}_degrees_of_freedom"))? {
            Some(freedom) if freedom > 0.0 => Contribution::type_a(source, standard, freedom),
            _ => Contribution::stated(source, standard),
        };
        Ok(Some(Uncertain::exact(value).with(part)))
    }

    fn count(&self) -> Result<Option<HandCount>, String> {
        HandCount::of_columns(|name| self.number(name), |name| self.cell(name).map(str::to_owned))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commas_and_semicolons() {
        let a = read_table("knitter,swatch,stitches_per_10cm,stitches_plus_minus\nAnn,1,22.4,0.3\n").unwrap();
        let b = read_table("\u{FEFF}stitches_per_10cm;knitter;stitches_plus_minus\r\n22,4;Ann;0,3\r\n").unwrap();
        for table in [a, b] {
            let gauge = table.readings[0].gauge[0].as_ref().unwrap();
            assert_eq!(gauge.value, 22.4);
            assert!((gauge.standard_uncertainty() - 0.3 / 1.959_964).abs() < 1e-6);
        }
        let photos = read_table("knitter,photo\nAnn,ann.jpg\nBo,ann.jpg\n").unwrap().photos;
        assert_eq!((photos[0].file.as_str(), photos[1].label.as_str()), ("ann.jpg", "ann.jpg (2)"));
    }

    #[test]
    fn what_makes_no_sense_names_its_line() {
        for (text, wrong) in [
            ("swatch,stitches_per_10cm\n1,22\n", "knitter"),
            ("knitter,stitches_per_10cm\nAnn,NaN\n", "line 2"),
            ("knitter,stitches_per_10cm\nAnn,22\nBo,-3\n", "line 3"),
            ("knitter,stitches_per_10cm\nAnn,0\n", "line 2"),
            ("knitter,stitches_per_10cm\nAnn,1e999\n", "line 2"),
            ("knitter,stitches_per_10cm\n,22\n", "line 2"),
            ("knitter,photo\nAnn,\n", "line 2"),
            ("knitter,stitches_per_10cm\nAnn,22,33\n", "line: 2"),
        ] {
            let message = read_table(text).err().unwrap();
            assert!(message.contains(wrong), "{text}: {message}");
        }
    }
}
