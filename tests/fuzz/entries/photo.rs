//! Photo files, as bytes or drawn from a description.

use super::drawn;
use image::ImageReader;
use std::io::Cursor;
use std::ops::ControlFlow;
use walewise::gauge::{Counted, CountedBetween, RulerOn};
use walewise::lattice::StitchPattern;
use walewise::measure::{OnePhoto, Setup, look_for_loops, measure, one_record};
use walewise::photo::{CameraRecord, decode};
use walewise::plane::Span;
use walewise::quantity::{PhotoPoint, RulerClass};
use walewise::record::Status;
use walewise::report;
use walewise::ruler::RulerUnit;

/// Largest picture that is decoded here, and the largest that is measured, in pixels: an execution must be quick. What
/// holds for larger ones is tested through the command.
const LARGEST_DECODED: u64 = 300_000;
const LARGEST_MEASURED: u64 = 40_000;

/// A photo file in any format, measured with settings that its length picks; bytes that begin like no photo describe a
/// picture that is drawn, stored and measured instead.
pub fn photo(bytes: &[u8]) {
    if let Some((file, choice)) = drawn::file(bytes) {
        return measured(&file, choice);
    }
    let claimed =
        ImageReader::new(Cursor::new(bytes)).with_guessed_format().ok().and_then(|r| r.into_dimensions().ok());
    if claimed.is_some_and(|(width, height)| u64::from(width) * u64::from(height) > LARGEST_DECODED) {
        return;
    }
    let Ok(photo) = decode(bytes) else { return };
    assert!(photo.width() > 0 && photo.height() > 0);
    if u64::from(photo.width()) * u64::from(photo.height()) <= LARGEST_MEASURED {
        drop(photo);
        measured(bytes, bytes.len());
    }
}

/// What a photo's EXIF says.
pub fn exif(bytes: &[u8]) {
    let camera = CameraRecord::read(bytes);
    assert!(camera.orientation.is_none_or(|o| (1..=8).contains(&o)));
    assert!(camera.focal_length_35mm.is_none_or(|mm| mm.is_finite() && mm > 0.0));
    assert!(camera.digital_zoom_ratio.is_none_or(|ratio| ratio.is_finite() && ratio > 0.0));
    assert!(camera.upright_size_px().is_none_or(|(width, height)| width > 0 && height > 0));
}

/// Measures, and draws and words whatever comes out.
fn measured(file: &[u8], choice: usize) {
    let Ok(photo) = decode(file) else { return };
    let setup = setup(choice, f64::from(photo.width()), f64::from(photo.height()));
    drop(photo);
    let outcome = measure(file, &setup, &mut |_| ControlFlow::Continue(()));
    let (record, picture) = (outcome.record, outcome.photo.expect("it was decoded before"));
    assert_eq!(record.gauge.is_some(), record.status == Status::Measured);
    for axis in record.gauge.iter().flat_map(|g| [g.stitches_per_10cm, g.rows_per_10cm]) {
        assert!(axis.value > 0.0 && axis.value.is_finite(), "{}", axis.value);
        assert!(axis.expanded_uncertainty > 0.0 && axis.expanded_uncertainty.is_finite());
    }
    let mut evidence = outcome.evidence.expect("what was seen");
    look_for_loops(&picture, &record, &mut evidence);
    assert!(!report::measurement::page(&record, &evidence, &picture).is_empty());
    report::annotate::draw(&record, &evidence, picture.rgb);
    assert!(!report::text::describe(&record).is_empty());
    assert!(!report::json::line(&record).contains("NaN"));
    let one = OnePhoto { record, gauge: outcome.gauge };
    one_record(&[one.clone(), one], &setup);
}

/// Settings that a person could give with such a picture.
pub(super) fn setup(choice: usize, width: f64, height: f64) -> Setup {
    let span = |length_mm| {
        let (from, to) = (PhotoPoint::new(0.0, 0.0), PhotoPoint::new(width, height / 2.0));
        Some(Span { from, to, length_mm, sigma_px: 1.0 })
    };
    let named = StitchPattern::named;
    match choice % 10 {
        0 => Setup::default(),
        1 => Setup { stitch: named("stockinette"), span: span(width / 4.0), ..Setup::default() },
        2 => Setup { span: span(width / 6.0), row_direction_deg: Some(0.0), ..Setup::default() },
        3 => Setup { stitch: named("garter"), grid_mm: Some(10.0), ..Setup::default() },
        4 => Setup { card: true, card_length_mm: Some(149.0), ..Setup::default() },
        5 => Setup { id1: true, ..Setup::default() },
        6 => Setup {
            stitch: named("rib-2x2"),
            ruler_unit: Some(RulerUnit::Inch),
            ruler_class: Some(RulerClass::III),
            ruler_thickness_mm: Some(50.0),
            ruler_on: Some(RulerOn::Fabric),
            ..Setup::default()
        },
        7 => Setup {
            counted: Some(Counted { stitches: 20.0, rows: 28.0, between: CountedBetween::Edges }),
            span: span(width / 5.0),
            ..Setup::default()
        },
        8 => Setup {
            stitch: Some(StitchPattern::with_repeat("any", 500, 1)),
            span: span(60.0),
            region: Some([width / 3.0, -height, width, 2.5 * height]),
            ..Setup::default()
        },
        _ => Setup {
            stitch: named("seed"),
            ruler_unit: Some(RulerUnit::Cm),
            expected: Some((22.0, 30.0)),
            ..Setup::default()
        },
    }
}
