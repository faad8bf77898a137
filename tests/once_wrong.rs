//! Drawn photos that were once answered wrongly by a factor, found by the studies of `tests/coverage.rs`: each must be answered
//! rightly or refused. What was mended for each is told in `calibration/README.md`.

// The figures by which answers are judged are not needed here.
#[allow(dead_code)]
mod photo_sets;

use photo_sets::TruePhoto;
use std::ops::ControlFlow;
use std::path::PathBuf;
use walewise::lattice::StitchPattern;
use walewise::measure::{Setup, measure};
use walewise::record::Record;
use walewise::report::text::describe;
use walewise::synthetic::{Difficulty, Factor, Scene, jpeg_with_exif, photograph};

/// Size of the studies' photos against the scene's own.
const STUDY_SIZE: f64 = 0.6;

/// Most that an answer may be off, relatively: a wrong factor is off by a fifth and more.
const MOST_OFF: f64 = 0.05;

/// A photo of a scene, as JPEG, with what is known of it.
fn photo(scene: &Scene) -> (Vec<u8>, TruePhoto) {
    let photo = photograph(scene).expect("the scene is in range");
    let jpeg = jpeg_with_exif(&photo.image, scene).expect("the photo can be encoded");
    let truth = serde_json::to_value(&photo.truth).expect("the truth is JSON");
    (jpeg, TruePhoto { stem: scene.seed.to_string(), path: PathBuf::new(), truth })
}

fn measured(jpeg: &[u8], setup: &Setup) -> Record {
    measure(jpeg, setup, &mut |_| ControlFlow::Continue(())).record
}

/// Largest relative error of stitches and rows per 10 cm; `None` where the photo was refused.
fn off(record: &Record, truth: [f64; 2]) -> Option<f64> {
    let gauge = record.gauge.as_ref()?;
    let values = [gauge.stitches_per_10cm.value, gauge.rows_per_10cm.value];
    Some((values[0] / truth[0] - 1.0).abs().max((values[1] / truth[1] - 1.0).abs()))
}

#[test]
fn wrong_factors_of_the_studies_are_right_or_refused() {
    use Difficulty::{Easy, Hard, Normal};
    let of_any_kind = [
        (1_100_583, Hard),
        (1_201_761, Easy),
        (1_301_361, Easy),
        (1_401_361, Easy),
        (1_401_373, Normal),
        (1_602_373, Normal),
        (1_901_773, Normal),
        (2_101_562, Easy),
        (2_601_283, Hard),
        (2_701_780, Hard),
    ];
    let swept = [
        (2_601_022, Easy, Factor::Tilt, 12.0),
        (2_702_300, Normal, Factor::Noise, 0.003),
        (2_600_952, Easy, Factor::RulerHeight, 2.0),
        (2_501_520, Normal, Factor::Tilt, 0.0),
        (1_301_641, Normal, Factor::Irregularity, 0.6),
        (1_402_640, Easy, Factor::Irregularity, 0.2),
        (1_500_503, Easy, Factor::Noise, 0.05),
        (1_500_742, Normal, Factor::Irregularity, 1.0),
        (1_600_343, Easy, Factor::Irregularity, 1.6),
        (1_601_923, Easy, Factor::Tilt, 20.0),
        (1_602_213, Easy, Factor::Blur, 1.8),
        (2_000_703, Easy, Factor::Noise, 0.05),
        (2_001_823, Normal, Factor::Tilt, 20.0),
        (2_100_832, Normal, Factor::Stitches, 26.0),
        (1_702_650, Normal, Factor::RulerHeight, 0.4),
    ];
    let scenes = of_any_kind
        .map(|(seed, difficulty)| Scene::random(seed, difficulty))
        .into_iter()
        .chain(swept.map(|(seed, difficulty, factor, value)| Scene::random(seed, difficulty).with(factor, value)));
    for scene in scenes {
        let (jpeg, known) = photo(&scene.with(Factor::Size, STUDY_SIZE));
        let record = measured(&jpeg, &known.setup(true));
        let off = off(&record, known.gauge().expect("a gauge"));
        println!("{}: {}", known.stem, off.map_or("refused".to_owned(), |off| format!("{:.1} % off", 100.0 * off)));
        assert!(off.is_none_or(|off| off < MOST_OFF), "{}: off by {off:?}", known.stem);
    }
}

/// A part with room for one place only is measured where the user outlined it and said what is knitted there, and not otherwise
/// told to be the whole swatch.
#[test]
fn a_small_outlined_part_is_measured_and_told_as_such() {
    let (jpeg, known) = photo(&Scene::plain(5));
    let setup = known.setup(true);
    let whole = measured(&jpeg, &setup);
    let (lattice, scale) = (whole.lattice.as_ref().expect("measured"), whole.scale.as_ref().expect("measured"));
    let truth = known.gauge().expect("a gauge");
    let mean = |axis: usize| lattice.region_px.iter().map(|p| p[axis]).sum::<f64>() / lattice.region_px.len() as f64;
    let size = [8.5 * 100.0 / truth[0] * scale.px_per_mm, 11.5 * 100.0 / truth[1] * scale.px_per_mm];
    let region = [mean(0) - size[0] / 2.0, mean(1) - size[1] / 2.0, size[0], size[1]];
    let part = measured(&jpeg, &Setup { region: Some(region), ..setup });
    let counted = part.lattice.as_ref().map(|l| (l.stitches_counted, l.rows_counted));
    assert!(counted.is_some_and(|(stitches, rows)| stitches < 10.0 && rows < 14.0), "{counted:?} {:?}", part.refusal);
    assert!(off(&part, truth).is_some_and(|off| off < MOST_OFF), "{:?}", part.gauge);
    assert!(describe(&whole).contains("this swatch") && !describe(&whole).contains("the part you marked"));
    assert!(describe(&part).contains("the part you marked"));
}

/// Under a wrong name other stitches could be counted as surely: the two legs of a stitch as two columns of a rib.
#[test]
fn a_name_that_the_fabric_contradicts_is_refused() {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("sample-photos/stockinette-steel-ruler.jpg");
    let jpeg = std::fs::read(&path).expect("a sample photo");
    let said = |name: &str| measured(&jpeg, &Setup { stitch: StitchPattern::named(name), ..Setup::default() });
    for name in ["rib-1x1", "garter", "seed"] {
        let record = said(name);
        assert!(record.gauge.is_none(), "said to be {name}: {:?}", record.gauge);
    }
    let refusal = said("rib-1x1").refusal.expect("a refusal");
    assert!(refusal.message.contains("recognised as stockinette"), "{refusal:?}");
    assert!(said("stockinette").gauge.is_some());
}
