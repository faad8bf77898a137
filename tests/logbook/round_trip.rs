//! Export and import: JSON Lines without any loss, tables without loss of what they hold, and no cell a formula.

use super::log_file::{at, count, day, measured, new_log, photo, tags, yarn};
use proptest::prelude::*;
use std::collections::BTreeSet;
use walewise::compare::{HandCount, StatedValue};
use walewise::logbook::{
    Description, Entry, Field, Filter, Imported, Logbook, Reading, State, Worked, read_lines, read_table, write_line,
    write_table,
};
use walewise::quantity::RulerClass;

fn entries(log: &Logbook) -> Vec<Entry> {
    let deleted = Filter { deleted: true, ..Filter::default() };
    let mut ids = log.find_ids(&Filter::default()).unwrap();
    ids.extend(log.find_ids(&deleted).unwrap());
    ids.sort_unstable();
    ids.into_iter().map(|id| log.entry(id).unwrap()).collect()
}

fn lines(log: &Logbook) -> String {
    entries(log).iter().map(|e| write_line(e).unwrap()).collect()
}

/// Names that are never twice the same.
fn names() -> impl FnMut() -> String {
    let mut names = (1..).map(|n| format!("name {n}"));
    move || names.next().unwrap()
}

/// Text that tries to break out: of SQL, JSON, CSV, formulas, lines, the terminal.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        "\\PC{1,40}",
        any::<String>().prop_filter("not empty", |s| !s.is_empty()),
        prop::sample::select(vec![
            "'; DROP TABLE swatch; --",
            "=HYPERLINK(\"x\")",
            "'=1+1",
            "''",
            "-3",
            "+1",
            "@x",
            "\t=1",
            "\r=1",
            "a;=1,\"b\"\"",
            "line\nbreak\r\nand\rmore",
            "\u{1b}[2J\u{7}",
            "\u{202e}evil",
            "עברית عربى",
            "👩‍🦰🧶",
            "\0nul\0",
            "\u{feff}mark",
            " ",
        ])
        .prop_map(str::to_owned),
    ]
}

/// Decimal numbers of any size that a field may hold; the whole range of digits.
fn positive() -> impl Strategy<Value = f64> {
    prop_oneof![0.001..1e6f64, Just(f64::MIN_POSITIVE), Just(0.1 + 0.2), Just(1e300)]
}

fn description() -> impl Strategy<Value = Description> {
    let words = prop::collection::vec(prop::option::of(text()), 8);
    let numbers = prop::collection::vec(prop::option::of(positive()), 3);
    let rest = (prop::option::of(1..29i8), prop::option::of(1..500u32), prop::option::of(any::<bool>()));
    (words, numbers, rest).prop_map(|(words, numbers, (on, repeat, flat))| {
        let mut description = Description {
            made_on: on.map(day),
            ball_g: numbers[0],
            ball_m: numbers[1],
            needle_mm: numbers[2],
            repeat_stitches: repeat,
            repeat_rows: repeat,
            worked: flat.map(|f| if f { Worked::Flat } else { Worked::Round }),
            ..Description::default()
        };
        for (field, text) in Field::ALL.into_iter().filter(|f| f.is_words()).zip(words) {
            description.set(field, text.as_deref()).unwrap();
        }
        description
    })
}

fn reading() -> impl Strategy<Value = Reading> {
    let gauge = || (1.0..90.0f64, 1.0..120.0f64);
    let counted =
        (gauge(), prop::option::of(0.0..2.0f64), prop::option::of(text())).prop_map(|((s, r), sure, ruler)| {
            Reading::Count(HandCount {
                stitches: s,
                stitches_over_mm: 97.3,
                stitches_plus_minus: sure,
                rows: r,
                rows_over_mm: 101.1,
                rows_plus_minus: None,
                ruler_class: Some(RulerClass::I),
                ruler_id: ruler,
            })
        });
    let stated = (gauge(), 0.0..1.0f64, prop::option::of(1.0..50.0f64)).prop_map(|((s, r), u, degrees)| {
        let value = |value| StatedValue {
            value,
            standard_uncertainty: u,
            degrees_of_freedom: degrees,
            half_width_95: Some(2.1 * u),
        };
        Reading::Stated { stitches_per_10cm: value(s), rows_per_10cm: value(r) }
    });
    prop_oneof![gauge().prop_map(|(s, r)| photo(s, r)), counted, stated]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    /// Log → lines → another log → lines: the same to the last bit, deleted swatches and history too.
    #[test]
    fn lines_lose_nothing(
        swatches in prop::collection::vec((description(), reading(), reading(), any::<bool>()), 1..4),
        words in text(),
    ) {
        let (_one, mut log) = new_log();
        for (i, (described, first, second, deleted)) in swatches.iter().enumerate() {
            let new = measured(first.clone(), Some(State::OffNeedle), day(1));
            let added = log.add(described, &tags(&["a", "b c"]), &new, at(i as i64)).unwrap();
            let mut again = measured(second.clone(), Some(State::Washed), day(2));
            again.replaces = deleted.then_some(added.measurement);
            again.photo = Some(words.clone());
            again.options = vec![words.clone()];
            log.add_measurement(added.swatch, &again, at(5)).unwrap();
            log.edit(added.swatch, &Description { note: Some(words.clone()), ..described.clone() }, &tags(&["b c"]), at(6)).unwrap();
            if *deleted {
                log.delete(added.swatch, at(7)).unwrap();
            }
        }
        let written = lines(&log);
        prop_assert_eq!(written.lines().count(), swatches.len());
        let (_two, mut other) = new_log();
        let became = other.import(&read_lines(&written).unwrap()).unwrap();
        prop_assert!(became.iter().all(|b| matches!(b, Imported::Added(_))));
        prop_assert_eq!(lines(&other), written.clone());
        let again = other.import(&read_lines(&written).unwrap()).unwrap();
        prop_assert!(again.iter().all(|b| matches!(b, Imported::AlreadyThere(_))));
        prop_assert_eq!(lines(&other), written);
        prop_assert!(other.check().unwrap().is_empty());
    }

    /// Log → table → another log → table: the same; and no cell begins like a formula, whatever separates cells.
    #[test]
    fn tables_keep_what_they_hold(swatches in prop::collection::vec((description(), reading()), 1..4)) {
        let (_one, mut log) = new_log();
        for (i, (described, first)) in swatches.iter().enumerate() {
            log.add(described, &tags(&["a", "b c"]), &measured(first.clone(), Some(State::Hung), day(3)), at(i as i64)).unwrap();
        }
        let written = write_table(&entries(&log)).unwrap();
        let mut cells = csv::ReaderBuilder::new().has_headers(false).from_reader(written.trim_start_matches('\u{feff}').as_bytes());
        for record in cells.records() {
            for cell in &record.unwrap() {
                prop_assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']), "{:?}", cell);
            }
        }
        let (_two, mut other) = new_log();
        other.import(&read_table(&written, day(9), at(9), names()).unwrap()).unwrap();
        prop_assert_eq!(write_table(&entries(&other)).unwrap(), written);
        for (id, (described, _)) in other.find_ids(&Filter::default()).unwrap().iter().zip(&swatches) {
            prop_assert_eq!(&other.swatch(*id).unwrap().description, described);
        }
    }
}

#[test]
fn a_table_written_by_hand_is_read() {
    let text = "yarn,needle_mm,stitches_per_10cm,stitches_plus_minus,rows_per_10cm,rows_plus_minus,tags\n\
                grey lambswool,3.25,24,0.5,34.5,0.6,\"shawl, gift\"\n\
                brown alpaca,4,,,,,\n";
    let read = read_table(text, day(9), at(0), names()).unwrap();
    assert_eq!(read.len(), 2);
    assert_eq!(read[0].tags, BTreeSet::from(["gift".to_owned(), "shawl".to_owned()]));
    let [stitches, _] = read[0].measurements[0].reading.intervals().unwrap();
    assert_eq!((stitches.value, stitches.expanded_uncertainty), (24.0, 0.5));
    assert!((stitches.standard_uncertainty - 0.5 / 1.959_963_985).abs() < 1e-9);
    assert_eq!(read[1].measurements.len(), 0);
    let (_folder, mut log) = new_log();
    log.import(&read).unwrap();
    assert_eq!(log.find_ids(&Filter::default()).unwrap(), [1, 2]);
}

#[test]
fn a_wrong_table_or_line_is_named_and_nothing_is_brought_in() {
    let table = |text: &str| read_table(text, day(9), at(0), String::new).unwrap_err();
    assert_eq!(table("yarn,colour\na,b\n").line, Some(1));
    for (text, line) in [
        ("yarn,needle_mm\na,3\nb,thick\n", 3),
        ("stitches_per_10cm,rows_per_10cm\n22,30\n", 2),
        ("stitches_per_10cm,stitches_plus_minus\n22,0.5\n", 2),
        ("yarn\n\"a\nb\"\n\"c\",d\n", 4),
        ("counted_stitches\n22\n", 2),
        ("state,counted_stitches,counted_stitches_over_mm,counted_rows,counted_rows_over_mm\nwet,22,100,30,100\n", 2),
        ("stitches_per_10cm,stitches_plus_minus,rows_per_10cm,rows_plus_minus\n22,0.5,NaN,1\n", 2),
        ("stitches_per_10cm,stitches_plus_minus,rows_per_10cm,rows_plus_minus\n-22,0.5,30,1\n", 2),
    ] {
        assert_eq!(table(text).line, Some(line), "{text}: {}", table(text));
    }
    let (_folder, mut log) = new_log();
    log.add(&yarn("grey", 3.0), &tags(&[]), &measured(count(22.0, 30.0), None, day(1)), at(0)).unwrap();
    let good = lines(&log);
    for (bad, says) in [
        (good.replace("walewise.swatch/1", "walewise.swatch/2"), "line 2"),
        (good.replace("\"needle_mm\":3.0", "\"needle_mm\":-3.0"), "needle_mm"),
        ("{}".to_owned(), "line 2"),
        ("not json".to_owned(), "line 2"),
    ] {
        let error = read_lines(&format!("\n{bad}")).unwrap_err();
        assert!(error.contains(says), "{error}");
    }
    // Two entries of the same name: the second can't be brought in, so neither is.
    let mut twice = read_lines(&good).unwrap();
    twice[0].uid = "other".to_owned();
    twice[0].measurements[0].uid = "another".to_owned();
    let mut broken = twice[0].clone();
    broken.uid = "third".to_owned();
    twice.push(broken);
    assert!(log.import(&twice).is_err());
    assert_eq!(lines(&log), good);
}

#[test]
fn another_swatch_under_the_same_name_is_left_alone() {
    let (_folder, mut log) = new_log();
    let id = log.add(&yarn("grey", 3.0), &tags(&[]), &measured(count(22.0, 30.0), None, day(1)), at(0)).unwrap().swatch;
    let mut other = read_lines(&lines(&log)).unwrap();
    other[0].swatch.yarn = Some("red".to_owned());
    assert_eq!(log.import(&other).unwrap(), [Imported::Differs(id)]);
    assert_eq!(log.swatch(id).unwrap().description.yarn.as_deref(), Some("grey"));
}
