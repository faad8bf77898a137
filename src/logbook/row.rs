//! Rows of the file ↔ values.

use super::{Description, Field, FieldValue, LogbookError, Measurement, Reading, State};
use rusqlite::Row;
use rusqlite::types::{ToSql, ToSqlOutput, Type};
use std::str::FromStr;

impl ToSql for FieldValue {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        match self {
            Self::Text(text) => text.to_sql(),
            Self::Number(number) => number.to_sql(),
            Self::Whole(count) => count.to_sql(),
        }
    }
}

/// Names of all fields, with commas between them, for a query.
pub(super) fn field_columns() -> String {
    Field::ALL.map(Field::name).join(", ")
}

/// The description from columns that begin at `first`, in the order of [`Field::ALL`].
pub(super) fn description(row: &Row<'_>, first: usize) -> Result<Description, LogbookError> {
    let text = |i: usize| row.get::<_, Option<String>>(first + i);
    let number = |i: usize| row.get::<_, Option<f64>>(first + i);
    let whole = |i: usize| row.get::<_, Option<u32>>(first + i);
    let mut description = Description {
        knitter: text(1)?,
        yarn: text(2)?,
        fibre: text(3)?,
        yarn_weight: text(4)?,
        ball_g: number(5)?,
        ball_m: number(6)?,
        dye_lot: text(7)?,
        needle_mm: number(8)?,
        needle_material: text(9)?,
        stitch: text(10)?,
        repeat_stitches: whole(11)?,
        repeat_rows: whole(12)?,
        note: text(14)?,
        ..Description::default()
    };
    description.set(Field::MadeOn, text(0)?.as_deref())?;
    description.set(Field::Worked, text(13)?.as_deref())?;
    Ok(description)
}

/// Columns of a measurement with its reading, for a query over `measurement m JOIN reading r`.
pub(super) const MEASUREMENT_COLUMNS: &str = "m.id, m.uid, m.added_at, m.deleted_at, m.measured_on, m.state, \
     m.stretched_to_mm, m.photo, m.photo_sha256, m.picture, m.options, m.replaced_by, r.json";

/// The measurement from those columns.
pub(super) fn measurement(row: &Row<'_>) -> Result<Measurement, LogbookError> {
    let options: Option<String> = row.get(10)?;
    Ok(Measurement {
        id: row.get(0)?,
        uid: row.get(1)?,
        added_at: parsed(row, 2)?,
        deleted_at: parsed_or_none(row, 3)?,
        measured_on: parsed(row, 4)?,
        state: row.get::<_, Option<String>>(5)?.as_deref().and_then(State::named),
        stretched_to_mm: row.get(6)?,
        photo: row.get(7)?,
        photo_sha256: row.get(8)?,
        picture: row.get(9)?,
        options: options.map(|text| from_json(&text, 10)).transpose()?.unwrap_or_default(),
        replaced_by: row.get(11)?,
        reading: from_json::<Reading>(&row.get::<_, String>(12)?, 12)?,
    })
}

/// A text column that holds a time, date or the like.
pub(super) fn parsed<T: FromStr<Err: std::error::Error + Send + Sync + 'static>>(
    row: &Row<'_>,
    column: usize,
) -> rusqlite::Result<T> {
    from_text(&row.get::<_, String>(column)?, column)
}

/// The same, where it may be absent.
pub(super) fn parsed_or_none<T: FromStr<Err: std::error::Error + Send + Sync + 'static>>(
    row: &Row<'_>,
    column: usize,
) -> rusqlite::Result<Option<T>> {
    row.get::<_, Option<String>>(column)?.map(|text| from_text(&text, column)).transpose()
}

fn from_text<T: FromStr<Err: std::error::Error + Send + Sync + 'static>>(
    text: &str,
    column: usize,
) -> rusqlite::Result<T> {
    text.parse().map_err(|e| rusqlite::Error::FromSqlConversionFailure(column, Type::Text, Box::new(e)))
}

fn from_json<T: serde::de::DeserializeOwned>(text: &str, column: usize) -> rusqlite::Result<T> {
    serde_json::from_str(text).map_err(|e| rusqlite::Error::FromSqlConversionFailure(column, Type::Text, Box::new(e)))
}
