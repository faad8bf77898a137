//! Text files: plans, exports of the log, tables of a class, profiles and measurements in JSON.

use jiff::Timestamp;
use jiff::civil::date;
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::Path;
use walewise::class::{ClassQuestion, Piece, Reading as ClassReading, class, read_table as read_class_table, to_json};
use walewise::compare::{MeasuredGauge, NeedleFit, SpeaksOf, Tolerance, pairs};
use walewise::logbook::{
    Access, Entry, Filter, Imported, Logbook, NewMeasurement, Reading, RecordText, SortKey, read_lines, read_table,
    write_line, write_table,
};
use walewise::measure::{Setup, measure};
use walewise::plan::{GaugeSource, LoggedSwatch, PlanProblem, Provided, compose, read};
use walewise::plane::LensProfile;
use walewise::quantity::Confidence;
use walewise::record::Record;
use walewise::report;
use walewise::report::class::Naming;
use walewise::report::comparison::{ComparedSwatch, SwatchComparison};
use walewise::sizing::Counted;

/// A sound measurement, for plans that name one.
const MEASUREMENT: &str = include_str!("../../../sample-photos/plans/swatch.json");

/// A plan that stands on a measurement.
const PLAN: &str = include_str!("../../../sample-photos/plans/tied-headband.toml");

/// A plan file: read, worked out, worded and drawn. Whatever measurements and swatches it names are there.
pub fn plan(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(file) = read(text) else { return };
    let record: Record = serde_json::from_str(MEASUREMENT).expect("a sound record");
    let mut provided = BTreeMap::new();
    for gauge in &file.request.gauges {
        let behind: Provided = match &gauge.source {
            GaugeSource::Typed { .. } => continue,
            GaugeSource::Measurement { .. } => record.clone().into(),
            GaugeSource::Logged { .. } => logged(&record).into(),
        };
        provided.insert(gauge.name.clone(), behind);
    }
    match compose(&file.request, &provided) {
        Ok(plan) => {
            assert!(!report::plan_text::describe(&plan).is_empty());
            assert!(!report::plan_html::page(&plan).is_empty());
            assert!(!report::json::plan_line(&plan).is_empty());
        }
        Err(PlanProblem::Input(error)) => assert!(!error.located(&file.lines).to_string().is_empty()),
        Err(PlanProblem::Inconclusive(message)) => assert!(!message.is_empty()),
    }
}

fn logged(record: &Record) -> LoggedSwatch {
    LoggedSwatch {
        gauge: MeasuredGauge::from_record(record, "swatch 4").expect("a sound gauge"),
        words: "swatch 4 of the log".to_owned(),
        stitch: "stockinette".to_owned(),
        round: Some(false),
        washed: Some(false),
        stretched: true,
        cautions: vec!["a caution".to_owned()],
        area_mm2: walewise::plan::swatch_area_mm2(record),
        needles: None,
    }
}

/// An export of the log, as JSON Lines and as a table: brought into an empty log, searched, compared, and out again
/// without loss.
pub fn log_import(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let (today, now) = (date(2024, 3, 14), Timestamp::UNIX_EPOCH);
    let mut uids = 0;
    let new_uid = || {
        uids += 1;
        format!("{uids:032x}")
    };
    let from_table = read_table(text, today, now, new_uid).unwrap_or_default();
    for entries in [read_lines(text).unwrap_or_default(), from_table] {
        if !entries.is_empty() {
            imported(&entries);
        }
    }
}

fn imported(entries: &[Entry]) {
    let mut log = Logbook::open(Path::new(":memory:"), Access::Begin, |_| false).expect("an empty log");
    let Ok(became) = log.import(entries) else { return };
    assert_eq!(became.len(), entries.len());
    assert_eq!(log.check().expect("it can be read"), Vec::<String>::new());
    for (entry, became) in entries.iter().zip(&became) {
        let Imported::Added(id) = became else { continue };
        let kept = log.entry(*id).expect("it was added");
        let line = write_line(&kept).expect("it can be written");
        assert_eq!(read_lines(&line).expect("it can be read again").as_slice(), std::slice::from_ref(&kept));
        assert_eq!((&kept.swatch, &kept.tags), (&entry.swatch, &entry.tags));
        write_table(&[kept]).expect("a table");
    }
    for sort in [SortKey::Number, SortKey::Stitches, SortKey::Needle] {
        log.find(&Filter::default(), sort, true, 1000).expect("a list");
    }
    compared(&log);
}

/// Everything in the log with everything else, and its needles.
fn compared(log: &Logbook) {
    let lines = log.find(&Filter::default(), SortKey::Number, false, 5).expect("a list").lines;
    for group in log.needle_groups(&lines, None).expect("groups") {
        if let Ok(fit) = NeedleFit::of(&group.swatches) {
            let _ = fit.at(4.0);
        }
    }
    let gauge = |id| log.counting(id, None).ok()??.reading.gauge("occasion").ok();
    let found: Vec<(i64, MeasuredGauge)> = lines.iter().filter_map(|l| Some((l.id, gauge(l.id)?))).collect();
    let swatch = |(number, gauge): &(i64, MeasuredGauge)| ComparedSwatch {
        number: *number,
        label: "yarn".to_owned(),
        details: String::new(),
        stitches: gauge.stitches_per_10cm.expanded(Confidence::P95),
        rows: gauge.rows_per_10cm.expanded(Confidence::P95),
    };
    let tolerance = Tolerance { stitches: 0.5, rows: 1.0 };
    let gauges: Vec<MeasuredGauge> = found.iter().map(|(_, gauge)| gauge.clone()).collect();
    let comparison = SwatchComparison {
        swatches: found.iter().map(swatch).collect(),
        pairs: pairs(&gauges, tolerance),
        tolerance,
        speaks_of: SpeaksOf::TheseSwatches,
        cautions: Vec::new(),
    };
    if !comparison.pairs.is_empty() {
        assert!(!report::comparison::page(&comparison).is_empty());
        assert!(!report::comparison::plot(&comparison.swatches).is_empty());
        for pair in &comparison.pairs {
            report::comparison::axis_sentence(&pair.stitches, Counted::Stitches, "1", "2");
        }
    }
}

/// A class as a table, analysed as the command does.
pub fn class_table(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(table) = read_class_table(text) else { return };
    analysed(table.readings);
}

fn analysed(readings: Vec<ClassReading>) {
    let question =
        ClassQuestion { title: String::new(), piece: Piece::HEADBAND, mixed_patterns: true, mixed_states: true };
    match class(readings, Vec::new(), &question) {
        Ok(class) => {
            assert!(!report::class::describe(&class).is_empty());
            assert!(!report::class::table(&class).is_empty());
            assert!(!report::class::page(&class, Naming::Initials, &[]).is_empty());
            assert!(!to_json(&class).is_empty());
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

/// A lens profile, or measurements as `walewise measure --json` writes them, as plans, the log and a class take them.
pub fn json(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(profile) = LensProfile::from_json(text) {
        lens(profile);
    }
    for record in serde_json::Deserializer::from_str(text).into_iter::<Record>().take(3) {
        let Ok(record) = record else { return };
        measurement(&record);
    }
}

fn lens(profile: LensProfile) {
    assert_eq!(LensProfile::from_json(&profile.to_json()).as_ref(), Ok(&profile));
    assert!(profile.k1_sigma().is_finite());
    let _ = profile.check_photo(4000, 3000, Some(26.0));
    let (picture, choice) =
        super::drawn::file(b"draw\x01\x02\x40\x30\x20\x30\x80\x40\x40\x40\x40\x80\x10\0\0\x10").expect("a picture");
    assert_eq!(choice, 1);
    let setup = Setup { lens: Some(profile), ..super::photo::setup(choice, 49.0, 37.0) };
    measure(&picture, &setup, &mut |_| ControlFlow::Continue(()));
}

fn measurement(record: &Record) {
    if let Ok(reading) = ClassReading::from_record("Ann", "1", record) {
        let other = ClassReading { photo_sha256: None, label: "other".to_owned(), ..reading.clone() };
        analysed(vec![reading, ClassReading { knitter: "Bo".to_owned(), ..other }]);
    }
    let request = read(PLAN).expect("a sound plan").request;
    let plan = compose(&request, &BTreeMap::from([("body".to_owned(), Provided::from(record.clone()))]));
    if let Ok(plan) = plan {
        assert!(!report::plan_text::describe(&plan).is_empty());
        assert!(!report::json::plan_line(&plan).is_empty());
    }
    let text = RecordText::new(&serde_json::to_string(record).expect("plain numbers and words"));
    let Ok(text) = text else { return };
    let reading = Reading::Photo(text);
    let mut log = Logbook::open(Path::new(":memory:"), Access::Begin, |_| false).expect("an empty log");
    for day in [date(2024, 3, 14), date(2024, 3, 15)] {
        let new = NewMeasurement::of(reading.clone(), day);
        let kept = log.add(&Default::default(), &Default::default(), &new, Timestamp::UNIX_EPOCH);
        assert_eq!(kept.is_ok(), reading.check().is_ok());
    }
    compared(&log);
}
