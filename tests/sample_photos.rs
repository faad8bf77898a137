//! The sample photos: each is measured with the arguments written beside it, and must come out as its truth says, or be
//! refused as it says. The truth is the renderer's, which knows where it put every stitch.

use serde::Deserialize;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use walewise::lattice::StitchPattern;
use walewise::measure::{Setup, measure};
use walewise::quantity::Expanded;
use walewise::record::{Record, Status};
use walewise::refusal::RefusalCode;

/// What is written beside a photo.
#[derive(Deserialize)]
struct Beside {
    made_by: String,
    licence: String,
    arguments: Vec<String>,
    must_refuse: bool,
    refusal_code: Option<RefusalCode>,
    truth: Option<Truth>,
}

#[derive(Deserialize)]
struct Truth {
    stitches_per_10cm: f64,
    rows_per_10cm: f64,
    pattern: String,
    repeat_stitches: u32,
    repeat_rows: u32,
    ruler_unit: Option<String>,
    tilt_deg: f64,
}

/// Farthest from the truth, relatively, that a sample may be measured: the samples are photos the method is good at.
const LARGEST_ERROR: f64 = 0.03;
/// The same in stated half-widths of the 95 % interval: a photo outside it is silently wrong.
const LARGEST_IN_HALF_WIDTHS: f64 = 3.0;

fn samples() -> Vec<(PathBuf, Beside)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos");
    let mut photos: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("the folder can be read")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "jpg"))
        .collect();
    photos.sort();
    let with_text = photos.into_iter().map(|photo| {
        let text = std::fs::read(photo.with_extension("json"))
            .unwrap_or_else(|error| panic!("beside {}: {error}", photo.display()));
        let beside = serde_json::from_slice(&text).unwrap_or_else(|error| panic!("{}: {error}", photo.display()));
        (photo, beside)
    });
    with_text.collect()
}

/// The few arguments the samples use.
fn setup(arguments: &[String]) -> Setup {
    let mut setup = Setup::default();
    let (mut stitch, mut repeat) = (None, None);
    for pair in arguments.chunks(2) {
        match pair {
            [name, value] if name == "--stitch" => stitch = Some(value.as_str()),
            [name, value] if name == "--repeat" => {
                let (a, b) = value.split_once('x').expect("AxB");
                repeat = Some((a.parse().expect("whole stitches"), b.parse().expect("whole rows")));
            }
            [name, value] if name == "--grid" => setup.grid_mm = Some(value.parse().expect("a length in mm")),
            [card, length] if card == "--card" => {
                setup.card = true;
                let mm = length.strip_prefix("--card-length=").expect("the card's check length");
                setup.card_length_mm = Some(mm.parse().expect("a length in mm"));
            }
            other => panic!("an option these tests don't know: {other:?}"),
        }
    }
    setup.stitch = stitch.map(|name| match repeat {
        Some((stitches, rows)) => StitchPattern::with_repeat(name, stitches, rows),
        None => StitchPattern::named(name).expect("a known pattern"),
    });
    setup
}

#[test]
fn every_sample_is_measured_or_refused_as_written_beside_it() {
    let mut wrong = Vec::new();
    for (photo, beside) in samples() {
        let bytes = std::fs::read(&photo).expect("the photo can be read");
        let record = measure(&bytes, &setup(&beside.arguments), &mut |_| ControlFlow::Continue(())).record;
        if let Err(why) = check(&record, &beside) {
            wrong.push(format!("{}: {why}", photo.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn check(record: &Record, beside: &Beside) -> Result<(), String> {
    if beside.must_refuse {
        let code = record.refusal.as_ref().map(|r| r.code);
        let right = record.status == Status::Refused && code.is_some() && code == beside.refusal_code;
        return if right {
            Ok(())
        } else {
            Err(format!("{:?} {code:?}, not {:?}", record.status, beside.refusal_code))
        };
    }
    let truth = beside.truth.as_ref().ok_or("no truth beside it")?;
    let gauge = record.gauge.as_ref().ok_or_else(|| format!("not measured: {:?}", record.refusal))?;
    near("stitches", gauge.stitches_per_10cm, truth.stitches_per_10cm)?;
    near("rows", gauge.rows_per_10cm, truth.rows_per_10cm)?;
    let pattern = record.stitch_pattern.as_ref().map(|note| &note.pattern);
    let declared = StitchPattern::with_repeat(&truth.pattern, truth.repeat_stitches, truth.repeat_rows);
    if pattern == Some(&declared) { Ok(()) } else { Err(format!("{pattern:?}, not {declared:?}")) }
}

fn near(what: &str, measured: Expanded, truth: f64) -> Result<(), String> {
    let off = (measured.value - truth).abs();
    if off <= LARGEST_ERROR * truth && off <= LARGEST_IN_HALF_WIDTHS * measured.expanded_uncertainty {
        return Ok(());
    }
    Err(format!("{what} {} ± {}, truth {truth}", measured.value, measured.expanded_uncertainty))
}

#[test]
fn the_samples_are_many_sided_and_say_where_they_come_from() {
    let samples = samples();
    assert!(samples.len() >= 9);
    assert!(samples.iter().all(|(_, b)| b.licence == "MIT OR Apache-2.0" && !b.made_by.is_empty()));
    assert!(samples.iter().filter(|(_, b)| b.must_refuse).count() >= 2);
    let truths: Vec<&Truth> = samples.iter().filter_map(|(_, b)| b.truth.as_ref()).collect();
    let has_unit = |unit: &str| truths.iter().any(|t| t.ruler_unit.as_deref() == Some(unit));
    assert!(has_unit("cm") && has_unit("inch"));
    assert!(truths.iter().any(|t| t.tilt_deg > 10.0));
    let patterns: std::collections::BTreeSet<&str> = truths.iter().map(|t| t.pattern.as_str()).collect();
    assert!(patterns.len() >= 5, "{patterns:?}");
}
