//! What happened to a swatch, and when.

use super::{Logbook, LogbookError};
use jiff::Timestamp;
use rusqlite::{Connection, params};
use serde::{Deserialize, Serialize};

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// The swatch was added.
    Added,
    /// A field was changed.
    Edited,
    /// A tag was added or taken away.
    Tagged,
    /// A measurement was added.
    Measured,
    /// The swatch was deleted.
    Deleted,
    /// The swatch was brought back.
    Restored,
    /// A measurement was deleted.
    MeasurementDeleted,
    /// A measurement was brought back.
    MeasurementRestored,
}

impl EventKind {
    const ALL: [(Self, &'static str); 8] = [
        (Self::Added, "added"),
        (Self::Edited, "edited"),
        (Self::Tagged, "tagged"),
        (Self::Measured, "measured"),
        (Self::Deleted, "deleted"),
        (Self::Restored, "restored"),
        (Self::MeasurementDeleted, "measurement_deleted"),
        (Self::MeasurementRestored, "measurement_restored"),
    ];

    fn name(self) -> &'static str {
        Self::ALL.iter().find(|(kind, _)| *kind == self).map_or("edited", |(_, name)| name)
    }

    fn named(name: &str) -> Self {
        Self::ALL.iter().find(|(_, n)| *n == name).map_or(Self::Edited, |(kind, _)| *kind)
    }
}

/// One thing that happened to a swatch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// When.
    pub at: Timestamp,
    /// What.
    pub kind: EventKind,
    /// Field that was changed, or number of the measurement.
    pub field: Option<String>,
    /// Value before; `None` for none.
    pub before: Option<String>,
    /// Value after; `None` for none.
    pub after: Option<String>,
}

impl Event {
    pub(super) fn new(at: Timestamp, kind: EventKind) -> Self {
        Self { at, kind, field: None, before: None, after: None }
    }

    pub(super) fn of(self, field: impl ToString) -> Self {
        Self { field: Some(field.to_string()), ..self }
    }
}

/// Notes an event.
pub(super) fn note(connection: &Connection, swatch: i64, event: &Event) -> Result<(), LogbookError> {
    let mut statement = connection
        .prepare_cached("INSERT INTO event (swatch, at, kind, field, before, after) VALUES (?, ?, ?, ?, ?, ?)")?;
    let at = event.at.to_string();
    statement.execute(params![swatch, at, event.kind.name(), event.field, event.before, event.after])?;
    Ok(())
}

impl Logbook {
    /// All that happened to a swatch, oldest first.
    pub fn history(&self, swatch: i64) -> Result<Vec<Event>, LogbookError> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT at, kind, field, before, after FROM event WHERE swatch = ? ORDER BY id")?;
        let mut rows = statement.query([swatch])?;
        let mut events = Vec::new();
        while let Some(row) = rows.next()? {
            events.push(Event {
                at: super::row::parsed(row, 0)?,
                kind: EventKind::named(&row.get::<_, String>(1)?),
                field: row.get(2)?,
                before: row.get(3)?,
                after: row.get(4)?,
            });
        }
        Ok(events)
    }
}
