//! How near the counts come to what noise allows: pictures of nothing but the lines of stockinette and white noise, measured
//! by the whole chain, against the Cramér–Rao bound.
//!
//! Source: for a real tone of amplitude A in noise of variance σ², with phase unknown, the information on a component of its
//! frequency in cycles per px is (2π)² · A²/(2σ²) · Σ(x − x̄)² over the pixels (Rife & Boorstyn 1974; Kay 1993; for two
//! dimensions Hua 1992; from memory). Lines that share the frequencies of stitches and rows add theirs, each by the square
//! of its order.

use image::{ImageFormat, Rgb, RgbImage};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use std::f64::consts::{PI, TAU};
use std::io::Cursor;
use std::ops::ControlFlow;
use walewise::lattice::StitchPattern;
use walewise::measure::{Setup, measure};
use walewise::plane::Span;
use walewise::quantity::PhotoPoint;

const SIDE_PX: u32 = 900;
const STITCH_PX: f64 = 29.3;
const ROW_PX: f64 = 22.7;
const PX_PER_MM: f64 = 5.0;
const NOISE_LEVELS: f64 = 24.0;

/// Lines (h, k) of the V of stockinette with their amplitudes in levels, mirrored about the wale, and their phases.
const LINES: [(f64, f64, f64, f64); 6] = [
    (1.0, 1.0, 14.0, 0.0),
    (-1.0, 1.0, 14.0, 0.0),
    (2.0, 0.0, 18.0, PI),
    (0.0, 1.0, 8.0, 1.0),
    (2.0, 1.0, 6.0, 2.0),
    (-2.0, 1.0, 6.0, 2.0),
];

fn picture(seed: u64) -> Vec<u8> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let shift: [f64; 2] = [rng.random(), rng.random()];
    let image = RgbImage::from_fn(SIDE_PX, SIDE_PX, |x, y| {
        let (s, r) = ((f64::from(x) + 0.5) / STITCH_PX + shift[0], (f64::from(y) + 0.5) / ROW_PX + shift[1]);
        let lines: f64 = LINES.iter().map(|(h, k, a, phase)| a * (TAU * (h * s + k * r) + phase).cos()).sum();
        let noise: f64 = rng.sample(StandardNormal);
        let level = (128.0 + lines + NOISE_LEVELS * noise).round().clamp(0.0, 255.0) as u8;
        Rgb([level; 3])
    });
    let mut png = Vec::new();
    image.write_to(&mut Cursor::new(&mut png), ImageFormat::Png).expect("a picture can be encoded");
    png
}

fn setup() -> Setup {
    let at = |x: f64| PhotoPoint::new(x, 450.0);
    let span = Span { from: at(100.0), to: at(800.0), length_mm: 700.0 / PX_PER_MM, sigma_px: 1.0 };
    let side = f64::from(SIDE_PX);
    Setup {
        stitch: StitchPattern::named("stockinette"),
        span: Some(span),
        region: Some([0.0, 0.0, side, side]),
        ..Setup::default()
    }
}

/// Least relative standard deviation of stitches and rows per 10 cm, from the pixels of a rectangle.
fn bound(width_px: f64, height_px: f64) -> [f64; 2] {
    let information = |order: fn(&(f64, f64, f64, f64)) -> f64, along: f64, across: f64| {
        let lines: f64 = LINES.iter().map(|l| (l.2 * order(l)).powi(2)).sum();
        // Σ(x − x̄)² over the pixels: length³/12 for each of the lines of pixels beside one another.
        TAU.powi(2) * lines / (2.0 * NOISE_LEVELS.powi(2)) * along.powi(3) / 12.0 * across
    };
    let stitches = information(|l| l.0, width_px, height_px).powf(-0.5) * STITCH_PX;
    let rows = information(|l| l.1, height_px, width_px).powf(-0.5) * ROW_PX;
    [stitches, rows]
}

#[test]
fn counts_are_as_sure_as_noise_allows() {
    const PICTURES: u64 = 8;
    let mut squares = [0.0; 2];
    let mut bounds = [0.0; 2];
    for seed in 0..PICTURES {
        let record = measure(&picture(seed), &setup(), &mut |_| ControlFlow::Continue(())).record;
        let (Some(gauge), Some(lattice)) = (&record.gauge, &record.lattice) else { panic!("{:?}", record.refusal) };
        let extent = |of: usize| {
            let places = lattice.region_px.iter().map(|p| p[of]);
            places.clone().fold(f64::MIN, f64::max) - places.fold(f64::MAX, f64::min)
        };
        let least = bound(extent(0), extent(1));
        let truth = [STITCH_PX, ROW_PX].map(|px| 100.0 * PX_PER_MM / px);
        let values = [gauge.stitches_per_10cm.value, gauge.rows_per_10cm.value];
        for axis in 0..2 {
            squares[axis] += (values[axis] / truth[axis] - 1.0).powi(2) / PICTURES as f64;
            bounds[axis] += least[axis].powi(2) / PICTURES as f64;
        }
    }
    let ratio = [0, 1].map(|a| (squares[a] / bounds[a]).sqrt());
    println!(
        "RMSE {:.2e} and {:.2e}, {:.2} and {:.2} times the bound",
        squares[0].sqrt(),
        squares[1].sqrt(),
        ratio[0],
        ratio[1]
    );
    // 1.3 times is wished for. What is more is the sampling of the working sheet, which beats with the stitches: where their
    // width is a whole number of its pixels it comes to 0.013 %, a hundredth of the uncertainty of any real swatch.
    assert!(ratio.iter().all(|r| *r < 2.6), "{ratio:?}");
    assert!(squares.iter().all(|s| s.sqrt() < 1e-4));
}
