//! Whole photos against their truth: every set of photos that `WALEWISE_PHOTOS` names is measured and scored, and no
//! figure may be worse than the one the method history recorded, beyond noise; and what is refused with nothing said must not be answered
//! wrongly where a gauge is expected that is far off. Says SKIPPED where there are no sets.
//!
//! `WALEWISE_ANSWERS=FOLDER` also writes each answer as `SET/STEM.json`, and a picture of what was seen beside those of photos
//! that could be measured and were not, or wrongly. The printed lines that begin with `history` are
//! ready to be added to `calibration/method-history.json`. `WALEWISE_SCORES=FILE` writes a table of the figures by pattern, ruler
//! and difficulty as well: `calibration/scores.csv`.

mod photo_sets;

use photo_sets::{Figures, TruePhoto, failed, figures, groups, sets};
use std::ops::ControlFlow;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use walewise::measure::{Setup, measure};
use walewise::record::Record;
use walewise::report::annotate::draw;

/// The method history, newest entry last.
const HISTORY: &str = include_str!("../calibration/method-history.json");

#[derive(serde::Deserialize)]
struct Entry {
    figures: Vec<Figures>,
}

#[test]
fn no_figure_is_worse_than_recorded() {
    let Some(sets) = sets() else {
        println!("SKIPPED: WALEWISE_PHOTOS names no folder of photo sets");
        return;
    };
    let history: Vec<Entry> = serde_json::from_str(HISTORY).expect("the method history is a list of entries");
    let mut worse = Vec::new();
    let mut table = format!("{}\n", groups::HEAD);
    println!("set        told  meas. answ.  med.%  p95%  cover%  U%    wrong  refused");
    for (name, photos) in &sets {
        for declared in [true, false] {
            let answers = measure_all(photos, |photo| photo.setup(declared));
            keep(name, declared, photos, &answers);
            let now = figures(name, declared, photos, &answers);
            print_row(&now);
            groups::lines(name, declared, photos, &answers).iter().for_each(|line| table.push_str(line));
            println!("history {}", serde_json::to_string(&now).expect("figures are plain numbers"));
            let before =
                history.iter().rev().flat_map(|e| &e.figures).find(|f| (&f.set, f.declared) == (name, declared));
            worse.extend(before.into_iter().flat_map(|b| worse_than(b, &now)));
            if !declared {
                worse.extend(settled_by_a_far_expectation(photos, &answers));
            }
        }
    }
    if let Some(path) = std::env::var_os("WALEWISE_SCORES") {
        std::fs::write(path, table).expect("the table can be written");
    }
    assert!(worse.is_empty(), "worse than recorded:\n{}", worse.join("\n"));
}

fn print_row(f: &Figures) {
    println!(
        "{:10} {:5} {:5} {:5} {:6.2} {:5.1} {:7.1} {:4.1} {:6} {:4} of {}",
        f.set,
        if f.declared { "yes" } else { "no" },
        f.measurable,
        f.answered,
        f.median_error_percent,
        f.p95_error_percent,
        f.coverage_percent,
        f.median_half_width_percent,
        f.silently_wrong,
        f.refused,
        f.must_refuse
    );
}

/// Photos that are refused with nothing said, and answered wrongly where a gauge is expected that none of them has: the true one by a factor
/// that is no octave.
fn settled_by_a_far_expectation(photos: &[TruePhoto], answers: &[Record]) -> Vec<String> {
    const FACTOR: f64 = 1.4;
    const MOST_OFF: f64 = 0.05;
    let refused = |(photo, answer): &(&TruePhoto, &Record)| answer.gauge.is_none() && photo.gauge().is_some();
    let photos: Vec<TruePhoto> = photos.iter().zip(answers).filter(refused).map(|(photo, _)| photo.clone()).collect();
    let far = |photo: &TruePhoto| {
        let expected = photo.gauge().map(|[stitches, rows]| (FACTOR * stitches, FACTOR * rows));
        Setup { expected, ..photo.setup(false) }
    };
    let wrong = |(photo, answer): (&TruePhoto, &Record)| {
        let (gauge, truth) = (answer.gauge.as_ref()?, photo.gauge()?);
        let told = [gauge.stitches_per_10cm.value, gauge.rows_per_10cm.value];
        let off = told.iter().zip(truth).map(|(told, truth)| (told / truth - 1.0).abs()).fold(0.0, f64::max);
        (off > MOST_OFF)
            .then(|| format!("{}: off by {:.0} % with a gauge expected that is far off", photo.stem, 100.0 * off))
    };
    photos.iter().zip(&measure_all(&photos, far)).filter_map(wrong).collect()
}

/// Measures all photos, two at a time.
fn measure_all(photos: &[TruePhoto], setup: impl Fn(&TruePhoto) -> Setup + Sync) -> Vec<Record> {
    let next = AtomicUsize::new(0);
    let answers: Vec<Mutex<Option<Record>>> = photos.iter().map(|_| Mutex::new(None)).collect();
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while let Some(photo) = photos.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let at = photos.iter().position(|p| std::ptr::eq(p, photo)).expect("one of them");
                    let bytes = std::fs::read(&photo.path).expect("the photo can be read");
                    let outcome = measure(&bytes, &setup(photo), &mut |_| ControlFlow::Continue(()));
                    *answers[at].lock().expect("no other thread holds it") = Some(outcome.record);
                }
            });
        }
    });
    answers.into_iter().map(|a| a.into_inner().expect("no thread broke off").expect("measured")).collect()
}

fn keep(set: &str, declared: bool, photos: &[TruePhoto], answers: &[Record]) {
    let Some(root) = std::env::var_os("WALEWISE_ANSWERS") else { return };
    let folder = std::path::Path::new(&root).join(if declared { "declared" } else { "undeclared" }).join(set);
    std::fs::create_dir_all(&folder).expect("the answers' folder can be made");
    for (photo, answer) in photos.iter().zip(answers) {
        let json = serde_json::to_vec(answer).expect("a record is JSON");
        std::fs::write(folder.join(format!("{}.json", photo.stem)), json).expect("an answer can be written");
        if failed(photo, answer) {
            picture(photo, declared, &folder.join(format!("{}.png", photo.stem)));
        }
    }
}

/// Draws what is seen in a photo.
fn picture(photo: &TruePhoto, declared: bool, path: &std::path::Path) {
    let bytes = std::fs::read(&photo.path).expect("the photo can be read");
    let outcome = measure(&bytes, &photo.setup(declared), &mut |_| ControlFlow::Continue(()));
    if let (Some(seen), Some(evidence)) = (outcome.photo, outcome.evidence) {
        draw(&outcome.record, &evidence, seen.rgb).save(path).expect("a picture can be written");
    }
}

/// What is worse than before by more than noise: one photo in forty for shares, a quarter of an error figure.
fn worse_than(before: &Figures, now: &Figures) -> Vec<String> {
    let slack = 1 + now.measurable / 40;
    let mut worse = Vec::new();
    let mut check = |bad: bool, what: String| {
        if bad {
            worse.push(format!("{} ({}): {what}", now.set, if now.declared { "declared" } else { "undeclared" }));
        }
    };
    check(now.answered + slack < before.answered, format!("answered {} after {}", now.answered, before.answered));
    check(now.refused < before.refused, format!("refused {} after {}", now.refused, before.refused));
    check(
        now.silently_wrong > before.silently_wrong + 1,
        format!("silently wrong {} after {}", now.silently_wrong, before.silently_wrong),
    );
    check(
        now.median_error_percent > 1.25 * before.median_error_percent + 0.05,
        format!("median error {:.2} % after {:.2} %", now.median_error_percent, before.median_error_percent),
    );
    check(
        now.coverage_percent < before.coverage_percent - 5.0,
        format!("coverage {:.0} % after {:.0} %", now.coverage_percent, before.coverage_percent),
    );
    worse
}
