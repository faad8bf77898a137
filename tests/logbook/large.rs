//! A hundred thousand swatches: how long queries take, and how large the file is.

use super::log_file::{at, count, day, measured, new_log, photo, tags, yarn};
use std::time::{Duration, Instant};
use walewise::compare::{Tolerance, pairs};
use walewise::logbook::{Entry, Filter, Logbook, Measurement, Reading, SortKey, State, read_lines, write_line};

/// Longest a query may take.
const LIMIT: Duration = Duration::from_millis(100);

const YARNS: [&str; 8] = [
    "grey lambswool 4-ply",
    "undyed alpaca",
    "navy cotton tape",
    "rust merino singles",
    "green linen",
    "white silk lace",
    "brown yak blend",
    "speckled sock yarn",
];

/// `count` swatches, each unlike the others, brought in as one file would be.
fn fill(log: &mut Logbook, amount: usize, reading: &dyn Fn(usize) -> Reading) {
    let template = {
        let (_folder, mut small) = new_log();
        let new = measured(reading(0), Some(State::Washed), day(1));
        let id = small.add(&yarn(YARNS[0], 3.0), &tags(&["shawl"]), &new, at(0)).unwrap().swatch;
        read_lines(&write_line(&small.entry(id).unwrap()).unwrap()).unwrap().remove(0)
    };
    const BATCH: usize = 5000;
    for start in (0..amount).step_by(BATCH) {
        let batch: Vec<Entry> =
            (start..(start + BATCH).min(amount)).map(|i| numbered(&template, i, reading(i))).collect();
        log.import(&batch).unwrap();
    }
}

fn numbered(template: &Entry, i: usize, reading: Reading) -> Entry {
    let mut entry = template.clone();
    entry.id = 0;
    entry.uid = format!("swatch {i}");
    entry.swatch.yarn = Some(format!("{} {}", YARNS[i % 8], i / 1000));
    entry.swatch.needle_mm = Some(2.0 + 0.25 * (i % 17) as f64);
    entry.swatch.note = Some(format!("note number {i}, with some words about how it was knitted and dried"));
    entry.swatch.made_on = Some(day(1 + (i % 28) as i8));
    let measurement = Measurement { id: 0, uid: format!("measurement {i}"), reading, ..entry.measurements[0].clone() };
    entry.measurements = vec![measurement];
    entry
}

/// Best of three: the time on the processor where the system tells it, so that other programs' turns don't count; else by
/// the clock.
fn timed<T>(what: &str, mut work: impl FnMut() -> T) -> Duration {
    let once = |_| {
        let (start, before) = (Instant::now(), on_processor());
        std::hint::black_box(work());
        let by_clock = start.elapsed();
        on_processor().zip(before).map_or(by_clock, |(after, before)| after - before)
    };
    let best = (0..3).map(once).min().unwrap();
    println!("{what}: {best:.1?}");
    best
}

/// Time this thread has had on the processor, in the kernel too; `None` where the system does not tell.
fn on_processor() -> Option<Duration> {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    told.split_whitespace().next()?.parse().ok().map(Duration::from_nanos)
}

/// Takes minutes: run with `cargo test --release --test logbook -- --ignored --nocapture hundred_thousand`.
#[test]
#[ignore = "takes minutes; prints times and sizes"]
fn hundred_thousand_swatches_answer_within_a_tenth_of_a_second() {
    let (folder, mut log) = new_log();
    let gauge = |i: usize| (15.0 + (i * 7919 % 2000) as f64 / 100.0, 20.0 + (i * 104_729 % 3000) as f64 / 100.0);
    // One in ten from a photo, the rest counted by hand.
    fill(&mut log, 100_000, &|i| {
        if i % 10 == 0 { photo(gauge(i).0, gauge(i).1) } else { count(gauge(i).0, gauge(i).1) }
    });
    let size = std::fs::metadata(folder.path().join("log.sqlite")).unwrap().len();
    let wal = std::fs::metadata(folder.path().join("log.sqlite-wal")).map_or(0, |m| m.len());
    println!("file: {:.1} MB, write-ahead file: {:.1} MB", size as f64 / 1e6, wal as f64 / 1e6);
    let none = Filter::default;
    let mut slowest = Duration::ZERO;
    let filters: Vec<(&str, Filter)> = vec![
        ("all", none()),
        ("yarn", Filter { yarn: Some("lambswool 4-ply 42".to_owned()), ..none() }),
        ("word", Filter { words: vec!["number 77777".to_owned()], ..none() }),
        ("tag, needle", Filter { tags: vec!["shawl".to_owned()], needle_mm: Some(3.0..=3.25), ..none() }),
        ("state, stitches", Filter { state: Some(State::Washed), stitches_per_10cm: Some(22.0..=22.5), ..none() }),
        ("days", Filter { since: Some(day(5)), until: Some(day(6)), ..none() }),
    ];
    for (name, filter) in &filters {
        for (key, by) in [(SortKey::Day, "day"), (SortKey::Yarn, "yarn"), (SortKey::Stitches, "stitches")] {
            let what = format!("list {name} by {by}");
            slowest = slowest.max(timed(&what, || log.find(filter, key, true, 50).unwrap()));
        }
    }
    let ids: Vec<i64> = (0..20).map(|i| 1 + i * 4999).collect();
    let chosen = Filter { ids: ids.clone(), ..none() };
    let gauges = || {
        log.find(&chosen, SortKey::Number, false, 50).unwrap();
        let measurements = ids.iter().map(|id| log.counting(*id, None).unwrap().unwrap());
        measurements.map(|m| m.reading.gauge(&m.uid).unwrap()).collect::<Vec<_>>()
    };
    slowest = slowest.max(timed("read 20 swatches to compare", gauges));
    slowest = slowest.max(timed("show one", || log.swatch(50_000).unwrap()));
    let gauges = gauges();
    timed("190 pairs, arithmetic", || pairs(&gauges, Tolerance { stitches: 0.5, rows: 0.5 }));
    assert!(slowest < LIMIT, "{slowest:?}");
}

/// The same on a small scale, without times: nothing depends on size.
#[test]
fn two_thousand_swatches_are_listed_and_counted() {
    let (_folder, mut log) = new_log();
    fill(&mut log, 2000, &|i| count(15.0 + i as f64 / 100.0, 30.0));
    let found = log.find(&Filter::default(), SortKey::Stitches, true, 3).unwrap();
    assert_eq!((found.total, found.lines.len()), (2000, 3));
    let [most, _] = found.lines[0].stitches_per_10cm.unwrap();
    assert!((most - 34.99).abs() < 1e-9, "{most}");
    assert!(log.check().unwrap().is_empty());
}
