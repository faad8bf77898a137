//! A log in a folder of its own, and made-up swatches.

use jiff::Timestamp;
use jiff::civil::{Date, date};
use std::collections::BTreeSet;
use tempfile::TempDir;
use walewise::compare::HandCount;
use walewise::logbook::{Access, Description, Logbook, NewMeasurement, Reading, RecordText, State};
use walewise::quantity::{Confidence, Contribution, Evaluation, Source, Uncertain};
use walewise::record::{self, Gauge, PhotoFacts, Record, Status};

/// A new log; the folder goes when the value does.
pub fn new_log() -> (TempDir, Logbook) {
    let folder = tempfile::tempdir().unwrap();
    let log = Logbook::open(&folder.path().join("log.sqlite"), Access::Begin, |_| false).unwrap();
    (folder, log)
}

pub fn at(second: i64) -> Timestamp {
    Timestamp::from_second(1_700_000_000 + second).unwrap()
}

pub fn day(n: i8) -> Date {
    date(2024, 5, n)
}

pub fn yarn(name: &str, needle_mm: f64) -> Description {
    Description {
        yarn: Some(name.to_owned()),
        needle_mm: Some(needle_mm),
        made_on: Some(day(1)),
        stitch: Some("stockinette".to_owned()),
        ..Description::default()
    }
}

pub fn tags(names: &[&str]) -> BTreeSet<String> {
    names.iter().map(|n| (*n).to_owned()).collect()
}

pub fn measured(reading: Reading, state: Option<State>, on: Date) -> NewMeasurement {
    NewMeasurement { state, ..NewMeasurement::of(reading, on) }
}

pub fn count(stitches: f64, rows: f64) -> Reading {
    Reading::Count(HandCount {
        stitches,
        stitches_over_mm: 100.0,
        stitches_plus_minus: None,
        rows,
        rows_over_mm: 100.0,
        rows_plus_minus: Some(0.3),
        ruler_class: None,
        ruler_id: Some("steel 30".to_owned()),
    })
}

/// A photo's record with a budget that adds up.
pub fn photo(stitches: f64, rows: f64) -> Reading {
    Reading::Photo(RecordText::of(&photo_record(stitches, rows)))
}

pub fn photo_record(stitches: f64, rows: f64) -> Record {
    let value = |v: f64| Uncertain::exact(v).with_relative(Contribution::stated(Source::named("irregular"), 0.005));
    let expanded = |v: f64| value(v).expanded(Confidence::P95);
    let mut record = Record::new(Status::Measured, PhotoFacts { file: "a.jpg".to_owned(), ..PhotoFacts::default() });
    record.gauge =
        Some(Gauge { stitches_per_10cm: expanded(stitches), rows_per_10cm: expanded(rows), next_fabric: None });
    record.budget = vec![record::Contribution {
        source: "irregular".to_owned(),
        evaluation: Evaluation::B,
        shared_id: None,
        stitches_percent: 0.5,
        rows_percent: 0.5,
        degrees_of_freedom: None,
        shape: None,
    }];
    record
}
