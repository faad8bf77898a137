//! The log's tables, as an append-only list of migrations. A migration that was released is never edited: the next
//! change is a new one behind it.

use super::LogbookError;
use rusqlite::{Connection, TransactionBehavior};

/// Marks the file as a swatch log: the letters WALE as SQLite's `application_id`.
pub(super) const APPLICATION_ID: i64 = 0x5741_4C45;

/// Migration n brings a log of version n to version n + 1.
const MIGRATIONS: [&str; 3] = [FIRST, SECOND, THIRD];

/// Swatches, their measurements, tags and what was changed when.
///
/// `swatch.newest`, its two gauges, and the two flags of `measurement` repeat what the measurements say, so that a list
/// of a hundred thousand swatches needs no search through them; they are renewed in the same transaction as any
/// measurement. `measurement.json` stands in a table of its own, because it is a hundred times larger than the rest of
/// the row.
const FIRST: &str = "
CREATE TABLE swatch (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    uid TEXT NOT NULL UNIQUE,
    added_at TEXT NOT NULL,
    deleted_at TEXT,
    made_on TEXT,
    knitter TEXT,
    yarn TEXT,
    fibre TEXT,
    yarn_weight TEXT,
    ball_g REAL,
    ball_m REAL,
    dye_lot TEXT,
    needle_mm REAL,
    needle_material TEXT,
    stitch TEXT,
    repeat_stitches INTEGER,
    repeat_rows INTEGER,
    worked TEXT CHECK (worked IN ('flat', 'round')),
    newest INTEGER REFERENCES measurement (id) DEFERRABLE INITIALLY DEFERRED,
    stitches_per_10cm REAL,
    rows_per_10cm REAL,
    yarn_folded TEXT,
    words TEXT NOT NULL DEFAULT '',
    note TEXT
) STRICT;
CREATE INDEX swatch_by_day ON swatch (made_on, id);
CREATE INDEX swatch_by_yarn ON swatch (yarn_folded, id);
CREATE INDEX swatch_by_needle ON swatch (needle_mm, id);
CREATE INDEX swatch_by_stitches ON swatch (stitches_per_10cm, id);
CREATE INDEX swatch_by_rows ON swatch (rows_per_10cm, id);

CREATE TABLE measurement (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    uid TEXT NOT NULL UNIQUE,
    swatch INTEGER NOT NULL REFERENCES swatch (id),
    added_at TEXT NOT NULL,
    deleted_at TEXT,
    measured_on TEXT NOT NULL,
    state TEXT CHECK (state IN ('on-needle', 'off-needle', 'steamed', 'washed', 'pinned', 'hung')),
    stretched_to_mm REAL,
    photo TEXT,
    photo_sha256 TEXT,
    picture TEXT,
    options TEXT,
    replaced_by TEXT REFERENCES measurement (uid) DEFERRABLE INITIALLY DEFERRED,
    stitches_per_10cm REAL,
    stitches_half_width REAL,
    rows_per_10cm REAL,
    rows_half_width REAL,
    newest_in_state INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX measurement_of_swatch ON measurement (swatch, id);
CREATE INDEX measurement_in_state ON measurement (state, swatch) WHERE newest_in_state = 1;

CREATE TABLE reading (
    measurement INTEGER PRIMARY KEY REFERENCES measurement (id),
    json TEXT NOT NULL
) STRICT;

CREATE TABLE tag (
    swatch INTEGER NOT NULL REFERENCES swatch (id),
    name TEXT NOT NULL,
    PRIMARY KEY (swatch, name)
) STRICT, WITHOUT ROWID;
CREATE INDEX tag_by_name ON tag (name, swatch);

CREATE TABLE event (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    swatch INTEGER NOT NULL REFERENCES swatch (id),
    at TEXT NOT NULL,
    kind TEXT NOT NULL,
    field TEXT,
    before TEXT,
    after TEXT
) STRICT;
CREATE INDEX event_of_swatch ON event (swatch, id);
";

/// A search for a photo's hash, to say at once when a photo is in the log already.
const SECOND: &str = "
CREATE INDEX measurement_of_photo ON measurement (photo_sha256) WHERE photo_sha256 IS NOT NULL;
";

/// Small pictures, in a table of their own: nothing that lists or compares reads them.
const THIRD: &str = "
CREATE TABLE thumbnail (
    measurement INTEGER PRIMARY KEY REFERENCES measurement (id),
    jpeg BLOB NOT NULL
) STRICT;
";

/// The newest version.
pub(super) fn newest_version() -> i64 {
    MIGRATIONS.len() as i64
}

/// The file's version: how many migrations it has seen.
pub(super) fn version(connection: &Connection) -> Result<i64, LogbookError> {
    Ok(connection.pragma_query_value(None, "user_version", |row| row.get(0))?)
}

/// Brings the file up to date in one transaction. Another program may do the same at the same moment: what it did while
/// this one waited is not done twice.
pub(super) fn migrate(connection: &mut Connection) -> Result<(), LogbookError> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let found = version(&transaction)?;
    for migration in MIGRATIONS.iter().skip(usize::try_from(found).unwrap_or(0)) {
        transaction.execute_batch(migration)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", found.max(newest_version()))?;
    Ok(transaction.commit()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_migration_follows_the_one_before() {
        let mut connection = Connection::open_in_memory().unwrap();
        for (n, migration) in MIGRATIONS.iter().enumerate() {
            connection.execute_batch(migration).unwrap();
            connection.pragma_update(None, "user_version", n as i64 + 1).unwrap();
        }
        migrate(&mut connection).unwrap();
        assert_eq!(version(&connection).unwrap(), newest_version());
        let problems: i64 =
            connection.query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |r| r.get(0)).unwrap();
        assert_eq!(problems, 0);
    }
}
