//! Whatever the picture, whatever is said about it: an answer without nonsense in it or a refusal, never a panic.

use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use proptest::prelude::*;
use std::f64::consts::TAU;
use std::io::Cursor;
use std::ops::ControlFlow;
use walewise::gauge::RulerOn;
use walewise::lattice::StitchPattern;
use walewise::measure::{Setup, look_for_loops, measure};
use walewise::plane::Span;
use walewise::quantity::{PhotoPoint, RulerClass};
use walewise::record::Status;
use walewise::report;
use walewise::ruler::RulerUnit;

/// A picture's texture; every number in it is a fraction of the full range.
#[derive(Debug, Clone)]
enum Texture {
    Noise(u32),
    Gradient,
    /// Waves with these periods in px along x and y: stripes where one is very long, a lattice otherwise.
    Waves(f64, f64),
    /// A lattice with a comb of marks over its upper quarter.
    WavesAndMarks(f64, f64, u32),
}

fn textures() -> impl Strategy<Value = Texture> {
    let period = || prop_oneof![2.0f64..40.0, Just(1e6)];
    prop_oneof![
        any::<u32>().prop_map(Texture::Noise),
        Just(Texture::Gradient),
        (period(), period()).prop_map(|(a, b)| Texture::Waves(a, b)),
        (4.0f64..30.0, 4.0f64..30.0, 4u32..16).prop_map(|(a, b, c)| Texture::WavesAndMarks(a, b, c)),
    ]
}

fn hash(x: u32, y: u32, seed: u32) -> u8 {
    let mixed = (x ^ y.rotate_left(16) ^ seed).wrapping_mul(0x9E37_79B1);
    ((mixed ^ (mixed >> 15)).wrapping_mul(0x85EB_CA77) >> 24) as u8
}

fn picture(width: u32, height: u32, texture: &Texture) -> RgbImage {
    let waves = |x: u32, y: u32, a: f64, b: f64| {
        let sum = (TAU * f64::from(x) / a).cos() + (TAU * f64::from(y) / b).cos();
        (128.0 + 50.0 * sum) as u8
    };
    RgbImage::from_fn(width, height, |x, y| match *texture {
        Texture::Noise(seed) => Rgb([hash(x, y, seed), hash(x, y, seed ^ 1), hash(x, y, seed ^ 2)]),
        Texture::Gradient => Rgb([(x * 255 / width) as u8, (y * 255 / height) as u8, 90]),
        Texture::WavesAndMarks(_, _, pitch) if y < height / 4 => {
            let long = y > height / 8 || (x / pitch).is_multiple_of(5);
            Rgb([if x % pitch < 2 && long { 20 } else { 235 }; 3])
        }
        Texture::Waves(a, b) | Texture::WavesAndMarks(a, b, _) => {
            let value = waves(x, y, a, b);
            Rgb([value, value / 2 + hash(x, y, 7) / 16, value / 3])
        }
    })
}

/// What may be said about a picture of this size.
fn setups(width: u32, height: u32) -> Vec<Setup> {
    let (w, h) = (f64::from(width), f64::from(height));
    let span = |length_mm| {
        Some(Span { from: PhotoPoint::new(0.0, 0.0), to: PhotoPoint::new(w, h / 2.0), length_mm, sigma_px: 1.0 })
    };
    vec![
        Setup::default(),
        Setup { stitch: StitchPattern::named("garter"), grid_mm: Some(10.0), ..Setup::default() },
        Setup { stitch: StitchPattern::named("stockinette"), span: span(100.0), ..Setup::default() },
        Setup { span: span(0.01), row_direction_deg: Some(1e9), ..Setup::default() },
        Setup {
            stitch: Some(StitchPattern::with_repeat("any", 500, 1)),
            span: span(60.0),
            region: Some([w / 3.0, -h, w, 2.5 * h]),
            ..Setup::default()
        },
        Setup {
            stitch: StitchPattern::named("seed"),
            span: span(10_000.0),
            row_direction_deg: Some(-30.0),
            expected: Some((300.0, 0.5)),
            ..Setup::default()
        },
        Setup {
            stitch: StitchPattern::named("rib-2x2"),
            ruler_unit: Some(RulerUnit::Inch),
            ruler_class: Some(RulerClass::III),
            ruler_thickness_mm: Some(50.0),
            ruler_on: Some(RulerOn::Fabric),
            ..Setup::default()
        },
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn an_answer_or_a_refusal(width in 1u32..=400, height in 1u32..=400, texture in textures(), which in 0usize..7) {
        let mut bytes = Cursor::new(Vec::new());
        DynamicImage::from(picture(width, height, &texture)).write_to(&mut bytes, ImageFormat::Png).unwrap();
        let setup = &setups(width, height)[which];
        let outcome = measure(bytes.get_ref(), setup, &mut |_| ControlFlow::Continue(()));
        let (record, photo) = (outcome.record, outcome.photo.expect("a PNG can be read"));
        prop_assert!(matches!(record.status, Status::Measured | Status::Refused));
        prop_assert_eq!(record.gauge.is_some(), record.status == Status::Measured);
        for axis in record.gauge.iter().flat_map(|g| [g.stitches_per_10cm, g.rows_per_10cm]) {
            prop_assert!(axis.value > 0.0 && axis.value.is_finite(), "{}", axis.value);
            prop_assert!(axis.expanded_uncertainty > 0.0 && axis.expanded_uncertainty.is_finite());
        }
        let mut evidence = outcome.evidence.expect("what was seen");
        look_for_loops(&photo, &record, &mut evidence);
        report::annotate::draw(&record, &evidence, photo.rgb);
        prop_assert!(!report::text::describe(&record).is_empty());
        prop_assert!(!report::json::line(&record).contains("NaN"));
    }
}
