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

/// Least relative standard deviation of stitches and rows per 10 cm, from the pixels within a polygon.
fn bound(polygon: &[[f64; 2]]) -> [f64; 2] {
    let pixels: Vec<[f64; 2]> = (0..SIDE_PX * SIDE_PX)
        .map(|i| [f64::from(i % SIDE_PX) + 0.5, f64::from(i / SIDE_PX) + 0.5])
        .filter(|p| inside(polygon, *p))
        .collect();
    let n = pixels.len() as f64;
    [(0, STITCH_PX), (1, ROW_PX)].map(|(axis, period_px)| {
        let mean = pixels.iter().map(|p| p[axis]).sum::<f64>() / n;
        let spread: f64 = pixels.iter().map(|p| (p[axis] - mean).powi(2)).sum();
        let order = |l: &(f64, f64, f64, f64)| if axis == 0 { l.0 } else { l.1 };
        let lines: f64 = LINES.iter().map(|l| (l.2 * order(l)).powi(2)).sum();
        (TAU.powi(2) * lines / (2.0 * NOISE_LEVELS.powi(2)) * spread).powf(-0.5) * period_px
    })
}

/// Whether a ray to the right crosses the polygon's sides an odd number of times.
fn inside(polygon: &[[f64; 2]], at: [f64; 2]) -> bool {
    let sides = polygon.iter().zip(polygon.iter().cycle().skip(1));
    let crossed = sides.filter(|(p, q)| {
        (p[1] > at[1]) != (q[1] > at[1]) && at[0] < p[0] + (at[1] - p[1]) / (q[1] - p[1]) * (q[0] - p[0])
    });
    crossed.count() % 2 == 1
}

#[test]
fn counts_are_as_sure_as_noise_allows() {
    const PICTURES: u64 = 24;
    let mut squares = [0.0; 2];
    let mut bounds = [0.0; 2];
    for seed in 0..PICTURES {
        let record = measure(&picture(seed), &setup(), &mut |_| ControlFlow::Continue(())).record;
        let (Some(gauge), Some(lattice)) = (&record.gauge, &record.lattice) else { panic!("{:?}", record.refusal) };
        let least = bound(&lattice.region_px);
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
    // 1.3 times is wished for; 300 pictures give 1.57 and 1.47, a hundredth of the uncertainty of any real swatch. What it
    // comes from is in calibration/README.md.
    assert!(ratio.iter().all(|r| *r < 2.6), "{ratio:?}");
    assert!(squares.iter().all(|s| s.sqrt() < 1e-4));
}
