//! The whole log as JSON Lines, one swatch a line, without loss, and back.

use super::history::{self, Event};
use super::store::{insert_measurement, insert_swatch, new_uid, renew};
use super::{Description, Logbook, LogbookError, Measurement, Thumbnail, thumbnail};
use jiff::Timestamp;
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Name and version of the format.
pub(super) const SCHEMA: &str = "walewise.swatch/1";

/// All that the log holds of one swatch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Always `walewise.swatch/1`.
    pub schema: String,
    /// Number in the log it comes from.
    pub id: i64,
    /// Its name everywhere.
    pub uid: String,
    /// When it was added.
    pub added_at: Timestamp,
    /// When it was deleted.
    pub deleted_at: Option<Timestamp>,
    /// What is known of it.
    pub swatch: Description,
    /// Its tags.
    pub tags: BTreeSet<String>,
    /// All measurements, oldest first.
    pub measurements: Vec<Measurement>,
    /// Small pictures of the measurements that have one, by `uid`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub thumbnails: BTreeMap<String, Thumbnail>,
    /// All that happened to it, oldest first.
    pub history: Vec<Event>,
}

/// What became of an entry that was to be brought in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Imported {
    /// It is in the log now, under this number.
    Added(i64),
    /// The log held the same already, under this number.
    AlreadyThere(i64),
    /// The log holds the swatch under this number, with other content; it was left as it is.
    Differs(i64),
}

/// The entry as one line of JSON with its line end.
pub fn write_line(entry: &Entry) -> Result<String, LogbookError> {
    let json = serde_json::to_string(entry).map_err(|e| LogbookError::Measurement(e.to_string()))?;
    Ok(format!("{json}\n"))
}

/// The entries of a text in JSON Lines; empty lines are skipped. `Err` names the line and what is wrong there.
pub fn read_lines(text: &str) -> Result<Vec<Entry>, String> {
    let numbered = text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
    let read = |(n, line): (usize, &str)| {
        let wrong = |what: String| format!("line {}: {what}", n + 1);
        let entry: Entry = serde_json::from_str(line).map_err(|e| wrong(e.to_string()))?;
        if entry.schema != SCHEMA {
            return Err(wrong(format!("the kind is not {SCHEMA}")));
        }
        entry.swatch.check().map_err(|e| wrong(e.to_string()))?;
        Ok(entry)
    };
    numbered.map(read).collect()
}

impl Logbook {
    /// All that the log holds of one swatch.
    pub fn entry(&self, id: i64) -> Result<Entry, LogbookError> {
        let swatch = self.swatch(id)?;
        let mut thumbnails = BTreeMap::new();
        for measurement in &swatch.measurements {
            if let Some(picture) = self.thumbnail(measurement.id)? {
                thumbnails.insert(measurement.uid.clone(), picture);
            }
        }
        Ok(Entry {
            schema: SCHEMA.to_owned(),
            id,
            uid: swatch.uid,
            added_at: swatch.added_at,
            deleted_at: swatch.deleted_at,
            swatch: swatch.description,
            tags: swatch.tags,
            measurements: swatch.measurements,
            thumbnails,
            history: self.history(id)?,
        })
    }

    /// Brings entries in, all or none. Numbers are kept where they are free. A swatch that is there already is never
    /// changed.
    pub fn import(&mut self, entries: &[Entry]) -> Result<Vec<Imported>, LogbookError> {
        let transaction = Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)?;
        let mut imported = Vec::with_capacity(entries.len());
        for entry in entries {
            imported.push(match self.number_of(&entry.uid)? {
                Some(id) if same(&self.entry(id)?, entry) => Imported::AlreadyThere(id),
                Some(id) => Imported::Differs(id),
                None => Imported::Added(insert(&transaction, entry)?),
            });
        }
        transaction.commit()?;
        Ok(imported)
    }

    /// Names for so many new swatches and measurements, each unlike any other.
    pub fn new_uids(&self, count: usize) -> Result<Vec<String>, LogbookError> {
        (0..count).map(|_| new_uid(&self.connection)).collect()
    }

    fn number_of(&self, uid: &str) -> Result<Option<i64>, LogbookError> {
        let mut statement = self.connection.prepare_cached("SELECT id FROM swatch WHERE uid = ?")?;
        Ok(statement.query_row([uid], |row| row.get(0)).optional()?)
    }
}

fn insert(connection: &rusqlite::Connection, entry: &Entry) -> Result<i64, LogbookError> {
    let (id, uid) = (Some(entry.id), &entry.uid);
    let swatch = insert_swatch(connection, id, uid, entry.added_at, entry.deleted_at, &entry.swatch, &entry.tags)?;
    for measurement in &entry.measurements {
        let id = insert_measurement(connection, swatch, Some(measurement.id), measurement)?;
        if let Some(picture) = entry.thumbnails.get(&measurement.uid) {
            thumbnail::insert(connection, id, picture)?;
        }
    }
    for event in &entry.history {
        history::note(connection, swatch, event)?;
    }
    renew(connection, swatch)?;
    Ok(swatch)
}

/// Whether two entries say the same, numbers in the log aside.
fn same(a: &Entry, b: &Entry) -> bool {
    let plain = |entry: &Entry| {
        let mut entry = Entry { id: 0, ..entry.clone() };
        entry.measurements.iter_mut().for_each(|m| m.id = 0);
        entry
    };
    plain(a) == plain(b)
}
