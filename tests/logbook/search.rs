//! Finding swatches by what is known of them.

use super::log_file::{at, count, day, measured, new_log, tags, yarn};
use walewise::logbook::{Filter, Logbook, SortKey, State};

fn filled() -> (tempfile::TempDir, Logbook) {
    let (folder, mut log) = new_log();
    let swatches = [
        ("Grey Lambswool 4-ply", 3.0, 26.0, &["shawl"][..], Some(State::Washed), 1),
        ("grey merino", 3.5, 24.0, &["shawl", "gift"], Some(State::OffNeedle), 3),
        ("ÄRMELGARN rot", 4.0, 22.0, &[], None, 2),
        ("100 %_cotton", 3.25, 23.0, &["gift"], Some(State::Washed), 4),
    ];
    for (i, (name, mm, stitches, names, state, on)) in swatches.into_iter().enumerate() {
        let mut description = yarn(name, mm);
        description.made_on = Some(day(on));
        description.knitter = Some(if i % 2 == 0 { "Ada" } else { "Ben" }.to_owned());
        let new = measured(count(stitches, 1.35 * stitches), state, day(on));
        log.add(&description, &tags(names), &new, at(i as i64)).unwrap();
    }
    (folder, log)
}

#[test]
fn every_filter_finds_its_swatches() {
    let (_folder, log) = filled();
    let none = Filter::default;
    let text = |t: &str| Some(t.to_owned());
    let cases: Vec<(Filter, &[i64])> = vec![
        (none(), &[1, 2, 3, 4]),
        (Filter { ids: vec![4, 2], ..none() }, &[2, 4]),
        (Filter { yarn: text("GREY"), ..none() }, &[1, 2]),
        (Filter { yarn: text("ärmel"), ..none() }, &[3]),
        // What has a meaning in patterns of SQL has none here.
        (Filter { yarn: text("%"), ..none() }, &[4]),
        (Filter { yarn: text("_"), ..none() }, &[4]),
        (Filter { words: vec!["lambs".to_owned(), "SHAWL".to_owned()], ..none() }, &[1]),
        (Filter { words: vec!["ada".to_owned()], ..none() }, &[1, 3]),
        (Filter { knitter: text("ben"), ..none() }, &[2, 4]),
        (Filter { stitch: text("Stockinette"), ..none() }, &[1, 2, 3, 4]),
        (Filter { needle_mm: Some(3.0..=3.25), ..none() }, &[1, 4]),
        (Filter { state: Some(State::Washed), ..none() }, &[1, 4]),
        (Filter { tags: vec!["gift".to_owned(), "shawl".to_owned()], ..none() }, &[2]),
        (Filter { since: Some(day(2)), until: Some(day(3)), ..none() }, &[2, 3]),
        (Filter { stitches_per_10cm: Some(23.5..=26.0), ..none() }, &[1, 2]),
        (Filter { state: Some(State::Washed), rows_per_10cm: Some(0.0..=32.0), ..none() }, &[4]),
        (Filter { yarn: text("' OR 1=1 --"), ..none() }, &[]),
        (Filter { deleted: true, ..none() }, &[]),
    ];
    for (filter, expected) in cases {
        assert_eq!(log.find_ids(&filter).unwrap(), expected, "{filter:?}");
        let found = log.find(&filter, SortKey::Number, false, 2).unwrap();
        assert_eq!(found.total, expected.len(), "{filter:?}");
        assert_eq!(found.lines.iter().map(|l| l.id).collect::<Vec<_>>(), expected[..expected.len().min(2)]);
    }
}

#[test]
fn every_order_sorts() {
    let (_folder, log) = filled();
    for (key, expected) in [
        (SortKey::Number, [1, 2, 3, 4]),
        (SortKey::Day, [1, 3, 2, 4]),
        (SortKey::Yarn, [4, 1, 2, 3]),
        (SortKey::Needle, [1, 4, 2, 3]),
        (SortKey::Stitches, [3, 4, 2, 1]),
        (SortKey::Rows, [3, 4, 2, 1]),
    ] {
        let ids = |descending| {
            let lines = log.find(&Filter::default(), key, descending, 9).unwrap().lines;
            lines.iter().map(|l| l.id).collect::<Vec<_>>()
        };
        assert_eq!(ids(false), expected, "{key:?}");
        assert_eq!(ids(true), expected.into_iter().rev().collect::<Vec<_>>(), "{key:?}");
    }
}
