//! Synthetic photos as files, and scenes of every kind.

use exif::{In, Tag};
use proptest::prelude::*;
use std::io::Cursor;
use walewise::synthetic::{
    Difficulty, Factor, RulerScale, SampleError, SampleSettings, Scene, Truth, photograph, sample,
};

fn small() -> SampleSettings {
    SampleSettings { seed: 11, size: Some([320, 240]), ..SampleSettings::default() }
}

#[test]
fn the_file_opens_and_names_its_focal_length() {
    let made = sample(&small()).expect("in range");
    let picture = image::load_from_memory(&made.jpeg).expect("a JPEG");
    assert_eq!((picture.width(), picture.height()), (320, 240));
    let exif = exif::Reader::new().read_from_container(&mut Cursor::new(&made.jpeg)).expect("an EXIF block");
    let truth: Truth = serde_json::from_str(&made.truth_json).expect("the truth");
    let number = |tag| exif.get_field(tag, In::PRIMARY).and_then(|f| f.value.get_uint(0)).expect("a number");
    assert_eq!(f64::from(number(Tag::FocalLengthIn35mmFilm)), truth.camera.f35_mm.round());
    assert_eq!(number(Tag::Orientation), 1);
    assert!(exif.get_field(Tag::FocalLength, In::PRIMARY).is_some());
}

#[test]
fn wishes_are_fulfilled() {
    let wishes = SampleSettings {
        stitch: Some("seed".to_owned()),
        gauge: Some([20.0, 34.0]),
        ruler: Some(Some(RulerScale::CmInch)),
        tilt_deg: Some(6.0),
        ..small()
    };
    let truth: Truth = serde_json::from_str(&sample(&wishes).expect("in range").truth_json).expect("the truth");
    assert_eq!(truth.pattern.expect("a pattern").name, "seed");
    assert!((truth.stitch_gauge.expect("visible") / 20.0 - 1.0).abs() < 0.06);
    assert!((truth.row_gauge.expect("visible") / 34.0 - 1.0).abs() < 0.06);
    assert_eq!(truth.ruler.expect("a ruler").unit.as_deref(), Some("cm+inch"));
    assert!((truth.camera.tilt_deg - 6.0).abs() < 0.05);
    let without = SampleSettings { ruler: Some(None), ..small() };
    let truth: Truth = serde_json::from_str(&sample(&without).expect("in range").truth_json).expect("the truth");
    assert_eq!(truth.refuse_reason.as_deref(), Some("no_ruler"));
}

#[test]
fn wishes_out_of_range_are_told() {
    let unknown = SampleSettings { stitch: Some("no-such".to_owned()), ..small() };
    assert!(matches!(sample(&unknown), Err(SampleError::Pattern(_))));
    let huge = SampleSettings { size: Some([50_000, 50_000]), ..small() };
    assert!(matches!(sample(&huge), Err(SampleError::Scene(_))));
    let upside_down = SampleSettings { tilt_deg: Some(180.0), ..small() };
    assert!(matches!(sample(&upside_down), Err(SampleError::Scene(_))));
    let nothing = SampleSettings { gauge: Some([f64::NAN, 30.0]), ..small() };
    assert!(matches!(sample(&nothing), Err(SampleError::Scene(_))));
}

fn difficulties() -> impl Strategy<Value = Difficulty> {
    prop_oneof![Just(Difficulty::Easy), Just(Difficulty::Normal), Just(Difficulty::Hard)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_scene_can_be_photographed(
        seed: u64,
        difficulty in difficulties(),
        camera in (-40.0..40.0_f64, -40.0..40.0_f64, -180.0..180.0_f64, 40.0..1000.0_f64, -0.12..0.12_f64),
        looks in (0.0..30.0_f64, 0.0..90.0_f64, 0.0..15.0_f64, -6.0..6.0_f64),
        fabric in (2_u32..60, 2_u32..60, -180.0..180.0_f64, 0.0..0.3_f64),
        size in (16_u32..160, 16_u32..160),
    ) {
        let mut scene = Scene::random(seed, difficulty).with(Factor::Angle, fabric.2).with(Factor::RulerHeight, looks.2);
        (scene.camera.width_px, scene.camera.height_px) = size;
        (scene.camera.pitch_deg, scene.camera.yaw_deg, scene.camera.roll_deg) = (camera.0, camera.1, camera.2);
        (scene.camera.distance_mm, scene.camera.k1) = (camera.3, camera.4);
        (scene.camera.blur_px, scene.camera.exposure_ev) = (looks.0, looks.3);
        scene.light.elevation_deg = looks.1.max(15.0);
        let swatch = scene.fabric.as_mut().expect("random scenes have a fabric");
        (swatch.stitches, swatch.rows) = (fabric.0, fabric.1);
        (swatch.border_stitches, swatch.border_rows) = (0, 0);
        swatch.irregularity.stitch_cv = fabric.3;
        let photo = photograph(&scene).expect("in range");
        prop_assert_eq!((photo.image.width(), photo.image.height()), size);
        let numbers = [photo.truth.stitch_gauge, photo.truth.row_gauge, photo.truth.px_per_stitch, photo.truth.px_per_row];
        prop_assert!(numbers.iter().flatten().all(|v| v.is_finite()));
        let text = serde_json::to_string(&photo.truth).expect("JSON");
        let back: Truth = serde_json::from_str(&text).expect("the same");
        prop_assert_eq!(back.must_refuse, photo.truth.must_refuse);
    }
}
