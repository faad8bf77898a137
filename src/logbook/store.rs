//! Putting swatches and measurements into the log, changing them, and reading one back. Every call is one transaction.

use super::history::{self, Event, EventKind};
use super::{Description, Field, Logbook, LogbookError, Measurement, NewMeasurement, row, thumbnail};
use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, ToSql, Transaction, TransactionBehavior, params, params_from_iter};
use std::collections::BTreeSet;

/// Numbers given to what was added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Added {
    /// The swatch.
    pub swatch: i64,
    /// Its measurement.
    pub measurement: i64,
}

/// A swatch in the log.
#[derive(Debug, Clone, PartialEq)]
pub struct Swatch {
    /// Its number in the log.
    pub id: i64,
    /// Its name everywhere.
    pub uid: String,
    /// When it was added.
    pub added_at: Timestamp,
    /// When it was deleted.
    pub deleted_at: Option<Timestamp>,
    /// What is known of it.
    pub description: Description,
    /// Its tags, in order.
    pub tags: BTreeSet<String>,
    /// All measurements, oldest first, deleted and replaced ones too.
    pub measurements: Vec<Measurement>,
    /// Number of the measurement whose gauge is shown in lists.
    pub newest: Option<i64>,
}

impl Logbook {
    /// Adds a swatch with its first measurement.
    pub fn add(
        &mut self,
        description: &Description,
        tags: &BTreeSet<String>,
        measurement: &NewMeasurement,
        at: Timestamp,
    ) -> Result<Added, LogbookError> {
        description.check()?;
        let transaction = self.begin()?;
        let uid = new_uid(&transaction)?;
        let swatch = insert_swatch(&transaction, None, &uid, at, None, description, tags)?;
        history::note(&transaction, swatch, &Event::new(at, EventKind::Added))?;
        let measurement = insert_new(&transaction, swatch, measurement, at)?;
        renew(&transaction, swatch)?;
        transaction.commit()?;
        Ok(Added { swatch, measurement })
    }

    /// Adds a measurement to a swatch. With [`NewMeasurement::replaces`] the older one is kept and no longer counts.
    pub fn add_measurement(
        &mut self,
        swatch: i64,
        measurement: &NewMeasurement,
        at: Timestamp,
    ) -> Result<Added, LogbookError> {
        let transaction = self.begin()?;
        known(&transaction, swatch)?;
        let added = insert_new(&transaction, swatch, measurement, at)?;
        let event = Event {
            after: measurement.replaces.map(|old| format!("replaces {old}")),
            ..Event::new(at, EventKind::Measured)
        };
        history::note(&transaction, swatch, &event.of(added))?;
        renew(&transaction, swatch)?;
        transaction.commit()?;
        Ok(Added { swatch, measurement: added })
    }

    /// Replaces a swatch's description and tags; each changed field is noted with its value before. Gives the number of
    /// changes.
    pub fn edit(
        &mut self,
        swatch: i64,
        description: &Description,
        tags: &BTreeSet<String>,
        at: Timestamp,
    ) -> Result<usize, LogbookError> {
        description.check()?;
        let transaction = self.begin()?;
        let before = description_of(&transaction, swatch)?;
        let mut changes = 0;
        for field in Field::ALL.into_iter().filter(|f| before.get(*f) != description.get(*f)) {
            let sql = format!("UPDATE swatch SET {} = ? WHERE id = ?", field.name());
            transaction.execute(&sql, params![description.get(field), swatch])?;
            let text = |d: &Description| d.get(field).map(|v| v.to_string());
            let event = Event { before: text(&before), after: text(description), ..Event::new(at, EventKind::Edited) };
            history::note(&transaction, swatch, &event.of(field.name()))?;
            changes += 1;
        }
        changes += set_tags(&transaction, swatch, tags, at)?;
        renew(&transaction, swatch)?;
        transaction.commit()?;
        Ok(changes)
    }

    /// Takes a swatch out of all lists; [`Self::restore`] brings it back. Does nothing to one that is deleted already.
    pub fn delete(&mut self, swatch: i64, at: Timestamp) -> Result<bool, LogbookError> {
        self.mark("swatch", swatch, swatch, Some(at), Event::new(at, EventKind::Deleted))
    }

    /// Brings a deleted swatch back. Does nothing to one that is not deleted.
    pub fn restore(&mut self, swatch: i64, at: Timestamp) -> Result<bool, LogbookError> {
        self.mark("swatch", swatch, swatch, None, Event::new(at, EventKind::Restored))
    }

    /// Takes one measurement of a swatch away; [`Self::restore_measurement`] brings it back.
    pub fn delete_measurement(&mut self, swatch: i64, id: i64, at: Timestamp) -> Result<bool, LogbookError> {
        self.mark("measurement", swatch, id, Some(at), Event::new(at, EventKind::MeasurementDeleted).of(id))
    }

    /// Brings a deleted measurement back.
    pub fn restore_measurement(&mut self, swatch: i64, id: i64, at: Timestamp) -> Result<bool, LogbookError> {
        self.mark("measurement", swatch, id, None, Event::new(at, EventKind::MeasurementRestored).of(id))
    }

    fn mark(
        &mut self,
        table: &str,
        swatch: i64,
        id: i64,
        deleted: Option<Timestamp>,
        event: Event,
    ) -> Result<bool, LogbookError> {
        let transaction = self.begin()?;
        known(&transaction, swatch)?;
        if table == "measurement" {
            let sql = "SELECT 1 FROM measurement WHERE id = ? AND swatch = ?";
            transaction
                .query_row(sql, [id, swatch], |_| Ok(()))
                .optional()?
                .ok_or(LogbookError::NoSuchMeasurement { swatch, measurement: id })?;
        }
        let sql = format!("UPDATE {table} SET deleted_at = ? WHERE id = ? AND (deleted_at IS NULL) = ?");
        let at = deleted.map(|t| t.to_string());
        let changed = transaction.execute(&sql, params![at, id, deleted.is_some()])? > 0;
        if changed {
            history::note(&transaction, swatch, &event)?;
            renew(&transaction, swatch)?;
        }
        transaction.commit()?;
        Ok(changed)
    }

    /// One swatch with all its measurements, deleted or not.
    pub fn swatch(&self, id: i64) -> Result<Swatch, LogbookError> {
        let sql =
            format!("SELECT uid, added_at, deleted_at, newest, {} FROM swatch WHERE id = ?", row::field_columns());
        let mut statement = self.connection.prepare_cached(&sql)?;
        let mut rows = statement.query([id])?;
        let found = rows.next()?.ok_or(LogbookError::NoSuchSwatch(id))?;
        Ok(Swatch {
            id,
            uid: found.get(0)?,
            added_at: row::parsed(found, 1)?,
            deleted_at: row::parsed_or_none(found, 2)?,
            newest: found.get(3)?,
            description: row::description(found, 4)?,
            tags: tags_of(&self.connection, id)?,
            measurements: measurements_of(&self.connection, id)?,
        })
    }

    /// Numbers of the swatches that hold a measurement of a photo with this SHA-256, deleted ones left out.
    pub fn swatches_of_photo(&self, sha256: &str) -> Result<Vec<i64>, LogbookError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT DISTINCT s.id FROM measurement m JOIN swatch s ON s.id = m.swatch \
             WHERE m.photo_sha256 = ? AND m.deleted_at IS NULL AND s.deleted_at IS NULL ORDER BY s.id",
        )?;
        let ids = statement.query_map([sha256], |row| row.get(0))?.collect::<Result<_, _>>()?;
        Ok(ids)
    }

    /// A transaction that waits for its turn before it reads anything it will write.
    pub(super) fn begin(&mut self) -> Result<Transaction<'_>, LogbookError> {
        Ok(self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?)
    }
}

pub(super) fn new_uid(connection: &Connection) -> Result<String, LogbookError> {
    Ok(connection.query_row("SELECT lower(hex(randomblob(16)))", [], |row| row.get(0))?)
}

fn known(connection: &Connection, swatch: i64) -> Result<(), LogbookError> {
    connection
        .query_row("SELECT 1 FROM swatch WHERE id = ?", [swatch], |_| Ok(()))
        .optional()?
        .ok_or(LogbookError::NoSuchSwatch(swatch))
}

/// Inserts a swatch, under the number `id` where that is given and free.
pub(super) fn insert_swatch(
    connection: &Connection,
    id: Option<i64>,
    uid: &str,
    added_at: Timestamp,
    deleted_at: Option<Timestamp>,
    description: &Description,
    tags: &BTreeSet<String>,
) -> Result<i64, LogbookError> {
    let marks = vec!["?"; Field::ALL.len() + 4].join(", ");
    let sql = format!("INSERT INTO swatch (id, uid, added_at, deleted_at, {}) VALUES ({marks})", row::field_columns());
    let mut values: Vec<Box<dyn ToSql>> = vec![
        Box::new(free(connection, "swatch", id)?),
        Box::new(uid.to_owned()),
        Box::new(added_at.to_string()),
        Box::new(deleted_at.map(|t| t.to_string())),
    ];
    values.extend(Field::ALL.into_iter().map(|f| Box::new(description.get(f)) as Box<dyn ToSql>));
    connection.prepare_cached(&sql)?.execute(params_from_iter(values))?;
    let swatch = connection.last_insert_rowid();
    let mut insert = connection.prepare_cached("INSERT INTO tag (swatch, name) VALUES (?, ?)")?;
    for tag in tags {
        insert.execute(params![swatch, tag])?;
    }
    Ok(swatch)
}

fn free(connection: &Connection, table: &str, id: Option<i64>) -> Result<Option<i64>, LogbookError> {
    let Some(id) = id.filter(|id| *id > 0) else { return Ok(None) };
    let sql = format!("SELECT 1 FROM {table} WHERE id = ?");
    let taken = connection.prepare_cached(&sql)?.exists([id])?;
    Ok((!taken).then_some(id))
}

fn insert_new(connection: &Connection, swatch: i64, new: &NewMeasurement, at: Timestamp) -> Result<i64, LogbookError> {
    let uid = new_uid(connection)?;
    let measurement = Measurement {
        id: 0,
        uid: uid.clone(),
        added_at: at,
        deleted_at: None,
        measured_on: new.measured_on,
        state: new.state,
        stretched_to_mm: new.stretched_to_mm,
        photo: new.photo.clone(),
        photo_sha256: new.photo_sha256.clone(),
        picture: new.picture.clone(),
        options: new.options.clone(),
        replaced_by: None,
        reading: new.reading.clone(),
    };
    if let Some(old) = new.replaces {
        let sql = "UPDATE measurement SET replaced_by = ? WHERE id = ? AND swatch = ?";
        if connection.execute(sql, params![uid, old, swatch])? == 0 {
            return Err(LogbookError::NoSuchMeasurement { swatch, measurement: old });
        }
    }
    let id = insert_measurement(connection, swatch, None, &measurement)?;
    if let Some(picture) = &new.thumbnail {
        thumbnail::insert(connection, id, picture)?;
    }
    Ok(id)
}

/// Inserts a measurement, under the number `id` where that is given and free.
pub(super) fn insert_measurement(
    connection: &Connection,
    swatch: i64,
    id: Option<i64>,
    m: &Measurement,
) -> Result<i64, LogbookError> {
    m.reading.check().map_err(LogbookError::Measurement)?;
    let intervals = m.reading.intervals();
    let [stitches, rows] = [0, 1].map(|axis| intervals.map(|i| i[axis]));
    let options = (!m.options.is_empty()).then(|| serde_json::json!(m.options).to_string());
    let mut insert = connection.prepare_cached(
        "INSERT INTO measurement (id, uid, swatch, added_at, deleted_at, measured_on, state, stretched_to_mm, photo, \
         photo_sha256, picture, options, replaced_by, stitches_per_10cm, stitches_half_width, rows_per_10cm, \
         rows_half_width) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )?;
    insert.execute(params![
        free(connection, "measurement", id)?,
        m.uid,
        swatch,
        m.added_at.to_string(),
        m.deleted_at.map(|t| t.to_string()),
        m.measured_on.to_string(),
        m.state.map(super::State::name),
        m.stretched_to_mm,
        m.photo,
        m.photo_sha256,
        m.picture,
        options,
        m.replaced_by,
        stitches.map(|i| i.value),
        stitches.map(|i| i.expanded_uncertainty),
        rows.map(|i| i.value),
        rows.map(|i| i.expanded_uncertainty),
    ])?;
    let id = connection.last_insert_rowid();
    let json = serde_json::to_string(&m.reading).map_err(|e| LogbookError::Measurement(e.to_string()))?;
    connection.prepare_cached("INSERT INTO reading (measurement, json) VALUES (?, ?)")?.execute(params![id, json])?;
    Ok(id)
}

/// Renews what the swatch's row repeats of its measurements, the flags of the measurements, and the words it is found
/// by.
pub(super) fn renew(connection: &Connection, swatch: i64) -> Result<(), LogbookError> {
    let counting = "swatch = ?1 AND replaced_by IS NULL AND deleted_at IS NULL AND stitches_per_10cm IS NOT NULL";
    connection
        .prepare_cached(&format!(
            "UPDATE measurement SET newest_in_state = (id IN (SELECT id FROM (SELECT id, row_number() OVER \
             (PARTITION BY state ORDER BY measured_on DESC, id DESC) AS place FROM measurement WHERE {counting}) \
             WHERE place = 1)) WHERE swatch = ?1"
        ))?
        .execute([swatch])?;
    connection
        .prepare_cached(&format!(
            "UPDATE swatch SET (newest, stitches_per_10cm, rows_per_10cm) = (SELECT id, stitches_per_10cm, rows_per_10cm \
             FROM measurement WHERE {counting} ORDER BY measured_on DESC, id DESC LIMIT 1) WHERE id = ?1"
        ))?
        .execute([swatch])?;
    let description = description_of(connection, swatch)?;
    let fields = Field::ALL.into_iter().filter(|f| f.is_words()).filter_map(|f| description.get(f));
    let mut words: Vec<String> = fields.map(|v| v.to_string()).collect();
    words.extend(tags_of(connection, swatch)?);
    let yarn = description.yarn.as_deref().map(folded);
    connection.prepare_cached("UPDATE swatch SET words = ?, yarn_folded = ? WHERE id = ?")?.execute(params![
        folded(&words.join("\n")),
        yarn,
        swatch
    ])?;
    Ok(())
}

/// Text as it is compared when something is looked for: without difference of upper and lower case.
pub(super) fn folded(text: &str) -> String {
    text.to_lowercase()
}

fn description_of(connection: &Connection, swatch: i64) -> Result<Description, LogbookError> {
    let sql = format!("SELECT {} FROM swatch WHERE id = ?", row::field_columns());
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query([swatch])?;
    row::description(rows.next()?.ok_or(LogbookError::NoSuchSwatch(swatch))?, 0)
}

fn set_tags(
    connection: &Connection,
    swatch: i64,
    tags: &BTreeSet<String>,
    at: Timestamp,
) -> Result<usize, LogbookError> {
    let before = tags_of(connection, swatch)?;
    let event = |before, after| Event { before, after, ..Event::new(at, EventKind::Tagged) };
    for gone in before.difference(tags) {
        connection.execute("DELETE FROM tag WHERE swatch = ? AND name = ?", params![swatch, gone])?;
        history::note(connection, swatch, &event(Some(gone.clone()), None))?;
    }
    for new in tags.difference(&before) {
        connection.execute("INSERT INTO tag (swatch, name) VALUES (?, ?)", params![swatch, new])?;
        history::note(connection, swatch, &event(None, Some(new.clone())))?;
    }
    Ok(before.symmetric_difference(tags).count())
}

fn tags_of(connection: &Connection, swatch: i64) -> Result<BTreeSet<String>, LogbookError> {
    let mut statement = connection.prepare_cached("SELECT name FROM tag WHERE swatch = ?")?;
    let tags = statement.query_map([swatch], |row| row.get(0))?.collect::<Result<_, _>>()?;
    Ok(tags)
}

fn measurements_of(connection: &Connection, swatch: i64) -> Result<Vec<Measurement>, LogbookError> {
    let sql = format!(
        "SELECT {} FROM measurement m JOIN reading r ON r.measurement = m.id WHERE m.swatch = ? ORDER BY m.id",
        row::MEASUREMENT_COLUMNS
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query([swatch])?;
    let mut measurements = Vec::new();
    while let Some(found) = rows.next()? {
        measurements.push(row::measurement(found)?);
    }
    Ok(measurements)
}
