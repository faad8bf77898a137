//! Adding, changing, deleting, measuring again: nothing is lost, and every change is noted.

use super::log_file::{at, count, day, measured, new_log, photo, tags, yarn};
use rusqlite::Connection;
use walewise::logbook::{Access, Description, EventKind, Field, Filter, Logbook, LogbookError, SortKey, State};

#[test]
fn a_swatch_comes_back_as_it_was_put_in() {
    let (_folder, mut log) = new_log();
    let mut description = Description::default();
    let values = [
        "2024-05-31",
        "Ada",
        "grey lambswool 4-ply",
        "lambswool",
        "fine",
        "50",
        "225.1",
        "7",
        "3.25",
        "bamboo",
        "seed",
        "2",
        "4",
        "round",
        "a\nnote",
    ];
    for (field, value) in Field::ALL.into_iter().zip(values) {
        description.set(field, Some(value)).unwrap();
    }
    let new = walewise::logbook::NewMeasurement {
        stretched_to_mm: Some(123.25),
        photo: Some("a.jpg".to_owned()),
        photo_sha256: Some("00".repeat(32)),
        picture: Some("seen.jpg".to_owned()),
        options: vec!["--stitch".to_owned(), "seed".to_owned()],
        ..measured(photo(22.125, 30.0625), Some(State::Washed), day(3))
    };
    let added = log.add(&description, &tags(&["shawl", "2024"]), &new, at(0)).unwrap();
    let swatch = log.swatch(added.swatch).unwrap();
    assert_eq!((&swatch.description, &swatch.tags), (&description, &tags(&["shawl", "2024"])));
    assert_eq!((swatch.added_at, swatch.deleted_at, swatch.newest), (at(0), None, Some(added.measurement)));
    let kept = &swatch.measurements[0];
    assert_eq!((&kept.reading, kept.state, kept.measured_on), (&new.reading, new.state, new.measured_on));
    assert_eq!((kept.stretched_to_mm, &kept.photo, &kept.options), (new.stretched_to_mm, &new.photo, &new.options));
    assert_eq!(log.swatches_of_photo(&"00".repeat(32)).unwrap(), [added.swatch]);
    assert!(log.check().unwrap().is_empty());
}

#[test]
fn edits_keep_what_was_before() {
    let (_folder, mut log) = new_log();
    let id =
        log.add(&yarn("grey", 3.0), &tags(&["a"]), &measured(count(22.0, 30.0), None, day(1)), at(0)).unwrap().swatch;
    let mut description = yarn("dark grey", 3.5);
    description.stitch = None;
    assert_eq!(log.edit(id, &description, &tags(&["b"]), at(1)).unwrap(), 5);
    assert_eq!(log.edit(id, &description, &tags(&["b"]), at(2)).unwrap(), 0);
    assert_eq!(log.swatch(id).unwrap().description, description);
    let history = log.history(id).unwrap();
    let told: Vec<_> =
        history.iter().map(|e| (e.kind, e.field.as_deref(), e.before.as_deref(), e.after.as_deref())).collect();
    assert_eq!(
        told,
        [
            (EventKind::Added, None, None, None),
            (EventKind::Edited, Some("yarn"), Some("grey"), Some("dark grey")),
            (EventKind::Edited, Some("needle_mm"), Some("3"), Some("3.5")),
            (EventKind::Edited, Some("stitch"), Some("stockinette"), None),
            (EventKind::Tagged, None, Some("a"), None),
            (EventKind::Tagged, None, None, Some("b")),
        ]
    );
}

#[test]
fn deleting_is_undone_by_restoring() {
    let (_folder, mut log) = new_log();
    let id = log.add(&yarn("grey", 3.0), &tags(&[]), &measured(count(22.0, 30.0), None, day(1)), at(0)).unwrap().swatch;
    let before = log.swatch(id).unwrap();
    assert!(log.delete(id, at(1)).unwrap() && !log.delete(id, at(2)).unwrap());
    assert_eq!(log.swatch(id).unwrap().deleted_at, Some(at(1)));
    assert!(log.find(&Filter::default(), SortKey::Day, true, 10).unwrap().lines.is_empty());
    let deleted = Filter { deleted: true, ..Filter::default() };
    assert_eq!(log.find(&deleted, SortKey::Day, true, 10).unwrap().lines[0].id, id);
    assert!(log.restore(id, at(3)).unwrap() && !log.restore(id, at(4)).unwrap());
    assert_eq!(log.swatch(id).unwrap(), before);
    assert!(matches!(log.delete(99, at(5)), Err(LogbookError::NoSuchSwatch(99))));
}

#[test]
fn measuring_again_keeps_the_older_result() {
    let (_folder, mut log) = new_log();
    let first = log.add(&yarn("grey", 3.0), &tags(&[]), &measured(photo(22.0, 30.0), None, day(2)), at(0)).unwrap();
    let again = walewise::logbook::NewMeasurement {
        replaces: Some(first.measurement),
        ..measured(photo(22.4, 30.5), None, day(2))
    };
    let second = log.add_measurement(first.swatch, &again, at(1)).unwrap();
    let swatch = log.swatch(first.swatch).unwrap();
    assert_eq!(swatch.newest, Some(second.measurement));
    assert_eq!(swatch.measurements[0].reading, photo(22.0, 30.0));
    assert_eq!(swatch.measurements[0].replaced_by.as_ref(), Some(&swatch.measurements[1].uid));
    // Without the newer one, nothing counts until it is back: the older one was replaced on purpose.
    log.delete_measurement(first.swatch, second.measurement, at(2)).unwrap();
    assert_eq!(log.swatch(first.swatch).unwrap().newest, None);
    log.restore_measurement(first.swatch, second.measurement, at(3)).unwrap();
    assert_eq!(log.swatch(first.swatch).unwrap().newest, Some(second.measurement));
    let wrong = walewise::logbook::NewMeasurement { replaces: Some(77), ..again };
    assert!(matches!(log.add_measurement(first.swatch, &wrong, at(4)), Err(LogbookError::NoSuchMeasurement { .. })));
    assert_eq!(log.swatch(first.swatch).unwrap().measurements.len(), 2);
}

#[test]
fn each_state_has_its_newest_measurement() {
    let (_folder, mut log) = new_log();
    let dry = measured(count(22.0, 30.0), Some(State::OffNeedle), day(1));
    let id = log.add(&yarn("grey", 3.0), &tags(&[]), &dry, at(0)).unwrap().swatch;
    let washed = measured(count(23.0, 32.0), Some(State::Washed), day(2));
    log.add_measurement(id, &washed, at(1)).unwrap();
    // Entered later, but of an earlier day.
    log.add_measurement(id, &measured(count(21.0, 29.0), Some(State::OffNeedle), day(1)), at(2)).unwrap();
    let gauge = |state| log.counting(id, state).unwrap().map(|m| m.reading);
    assert_eq!(gauge(None), Some(washed.reading));
    assert_eq!(gauge(Some(State::OffNeedle)), Some(count(21.0, 29.0)));
    assert_eq!(gauge(Some(State::Hung)), None);
}

#[test]
fn what_is_no_gauge_is_not_kept() {
    let (_folder, mut log) = new_log();
    let wrong = measured(count(0.0, 30.0), None, day(1));
    assert!(matches!(log.add(&yarn("grey", 3.0), &tags(&[]), &wrong, at(0)), Err(LogbookError::Measurement(_))));
    let mut bad = yarn("grey", f64::NAN);
    let good = measured(count(22.0, 30.0), None, day(1));
    assert!(matches!(log.add(&bad, &tags(&[]), &good, at(0)), Err(LogbookError::Field(_))));
    bad.needle_mm = Some(3.0);
    bad.note = Some("x".repeat(walewise::logbook::LONGEST_TEXT + 1));
    assert!(matches!(log.add(&bad, &tags(&[]), &good, at(0)), Err(LogbookError::Field(_))));
    assert_eq!(log.find_ids(&Filter::default()).unwrap(), [0i64; 0]);
    assert!(log.check().unwrap().is_empty());
}

/// A log as the first version of the schema made it opens, is brought up to date, and holds what it held.
#[test]
fn a_log_of_the_first_version_opens() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("old.sqlite");
    std::fs::copy(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/swatch-log-version-1.sqlite"), &path).unwrap();
    let version = || -> i64 {
        Connection::open(&path).unwrap().pragma_query_value(None, "user_version", |row| row.get(0)).unwrap()
    };
    assert_eq!(version(), 1);
    let log = Logbook::open(&path, Access::Read, |_| false).unwrap();
    let swatch = log.swatch(1).unwrap();
    assert_eq!(swatch.description.yarn.as_deref(), Some("grey lambswool 4-ply"));
    assert_eq!(swatch.measurements.len(), 2);
    let found = log.find(&Filter::default(), SortKey::Day, true, 10).unwrap();
    assert_eq!(found.lines[0].stitches_per_10cm.map(|[value, _]| value), Some(23.0));
    drop(log);
    assert!(version() > 1);
}
