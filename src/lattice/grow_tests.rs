//! The lattice followed over drawn sheets whose counts are known everywhere.

use super::field::Field;
use super::grow::{Nodes, grow_sheet};
use super::settle::working_sheet;
use super::*;
use crate::photo::Photo;
use crate::plane::PlaneMap;
use image::{Rgb, RgbImage};
use nalgebra::Matrix3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use std::f64::consts::TAU;

/// A photo at `px_per_mm` whose log brightness is the sum of the given lines at counts that `counts` gives per place
/// (mm), plus white noise of deviation `noise`.
fn drawn(
    size_px: (u32, u32),
    px_per_mm: f64,
    lines: &[(f64, f64, f64, f64)],
    counts: impl Fn(f64, f64) -> [f64; 2],
    noise: f64,
    seed: u64,
) -> (Photo, PlaneMap) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let normal = Normal::new(0.0, noise.max(1e-12)).unwrap();
    let rgb = RgbImage::from_fn(size_px.0, size_px.1, |x, y| {
        let [s, r] = counts((f64::from(x) + 0.5) / px_per_mm, (f64::from(y) + 0.5) / px_per_mm);
        let sum: f64 = lines.iter().map(|l| l.2 * (TAU * (l.0 * s + l.1 * r) + l.3).cos()).sum();
        let linear = 0.2 * (sum + normal.sample(&mut random)).exp();
        let coded = 1.055 * linear.clamp(0.0031308, 1.0).powf(1.0 / 2.4) - 0.055;
        Rgb([(255.0 * coded + 0.5) as u8; 3])
    });
    let map = PlaneMap::new(Matrix3::from_diagonal(&[1.0 / px_per_mm, 1.0 / px_per_mm, 1.0].into()), None);

    (Photo { rgb, ..Photo::default() }, map.unwrap())
}

fn decision(basis: Basis, seed: PlanePoint, lines: &[(f64, f64, f64, f64)]) -> Decision {
    Decision {
        basis,
        seed,
        pattern: StitchPattern::named("stockinette").unwrap(),
        declared: true,
        confidence: None,
        harmonics: lines.iter().map(|l| Harmonic { h: l.0, k: l.1, strength: 100.0 * l.2 }).collect(),
        score: 100.0,
        margin: 10.0,
        rivals: Vec::new(),
        weights: [1.0 / 3.0; 3],
        stands_on: super::StandsOn::default(),
    }
}

const KNIT: [(f64, f64, f64, f64); 4] =
    [(2.0, 0.0, 0.2, 0.3), (1.0, 1.0, 0.15, 1.0), (1.0, -1.0, 0.15, -0.6), (0.0, 1.0, 0.1, 2.0)];

fn near(a: f64, b: f64, relative: f64) {
    assert!((a / b - 1.0).abs() < relative, "{a} against {b}");
}

#[test]
fn a_coarse_basis_is_refined_to_a_few_parts_in_a_hundred_thousand() {
    let truth = Basis { stitch: [0.22, 0.015], row: [-0.03, 0.31] };
    let counts = |x: f64, y: f64| [0.22 * x + 0.015 * y, -0.03 * x + 0.31 * y];
    let (photo, map) = drawn((900, 700), 8.0, &KNIT, counts, 0.0, 1);
    let off = Basis { stitch: [0.22 * 1.02, 0.010], row: [-0.025, 0.31 * 0.98] };
    let reading =
        grow(&photo, &map, &decision(off, PlanePoint::new(55.0, 45.0), &KNIT), &[], None, Windows::Wide).unwrap();
    let (s, r) = reading.basis.per_10cm().unwrap();
    let (ts, tr) = truth.per_10cm().unwrap();
    near(s, ts, 5e-5);
    near(r, tr, 5e-5);
    let zero = reading.blocks[0];
    let [s0, r0] = counts(zero.at.x, zero.at.y);
    for b in &reading.blocks {
        let [s, r] = counts(b.at.x, b.at.y);
        assert!((b.stitches - zero.stitches - (s - s0)).abs() < 0.02 && (b.rows - zero.rows - (r - r0)).abs() < 0.02);
    }
}

#[test]
fn a_row_miscounted_between_two_sides_is_a_step_of_one() {
    let basis = Basis { stitch: [0.22, 0.0], row: [0.0, 0.31] };
    // Rows that lie closer and closer.
    let counts = |x: f64, y: f64| [0.22 * x, 0.31 * y * (1.0 + 4e-4 * y)];
    let (photo, map) = drawn((900, 700), 8.0, &KNIT, counts, 0.05, 5);
    let decision = decision(basis, PlanePoint::new(55.0, 45.0), &KNIT);
    let sheet = working_sheet(&photo, &map, &decision, &[], None).unwrap();
    let (all, _) = grow_sheet(&sheet, &map, &decision, None, Windows::Wide).unwrap();
    let first: Nodes = all.iter().filter(|(k, _)| k.1 <= -1).map(|(k, n)| (*k, n.clone())).collect();
    let beyond = || all.iter().filter(|(k, _)| k.1 >= 3).map(|(k, n)| (*k, n.clone()));
    let right: Nodes = first.clone().into_iter().chain(beyond()).collect();
    let wrong = beyond().map(|(k, mut n)| {
        n.frame.at = n.frame.at.moved(n.frame.row_mm[0], n.frame.row_mm[1]);
        (k, n)
    });
    let wrong: Nodes = first.clone().into_iter().chain(wrong).collect();
    let field = Field::fit(&first).unwrap();
    let step = |all: &Nodes| field.step_beyond(&first, all).unwrap();
    assert!(step(&right) < 0.1 && (step(&wrong) - 1.0).abs() < 0.1, "{} {}", step(&right), step(&wrong));
}

#[test]
fn a_hidden_strip_is_bridged_without_a_miscount() {
    let counts = |x: f64, y: f64| [0.22 * x, 0.31 * y + 2e-4 * y * y];
    let (photo, map) = drawn((1000, 1000), 8.0, &KNIT, counts, 0.1, 2);
    let strip = [(0.0, 420.0), (1000.0, 380.0), (1000.0, 560.0), (0.0, 600.0)];
    let strip = strip.map(|(x, y)| PhotoPoint::new(x, y)).to_vec();
    let basis = Basis { stitch: [0.22, 0.0], row: [0.0, 0.32] };
    let reading =
        grow(&photo, &map, &decision(basis, PlanePoint::new(60.0, 25.0), &KNIT), &[strip], None, Windows::Wide)
            .unwrap();
    assert!(reading.extent.1 > 34.0, "rows on both sides: {:?}", reading.extent);
    let zero = reading.blocks[0];
    for b in &reading.blocks {
        let d = counts(b.at.x, b.at.y)[1] - counts(zero.at.x, zero.at.y)[1];
        assert!((b.rows - zero.rows - d).abs() < 0.1, "rows {} against {d}", b.rows - zero.rows);
    }
}

#[test]
fn another_texture_is_left_out() {
    // Right of 70 mm the same rows go on, but as horizontal bars without stitches.
    let counts = |x: f64, y: f64| [if x < 70.0 { 0.22 * x } else { 15.4 + 0.13 * (x - 70.0) }, 0.31 * y];
    let (photo, map) = drawn((1000, 700), 8.0, &KNIT, counts, 0.1, 3);
    let basis = Basis { stitch: [0.22, 0.0], row: [0.0, 0.31] };
    let reading =
        grow(&photo, &map, &decision(basis, PlanePoint::new(35.0, 45.0), &KNIT), &[], None, Windows::Wide).unwrap();
    let furthest = reading.blocks.iter().map(|b| b.at.x).fold(0.0, f64::max);
    assert!((50.0..74.0).contains(&furthest), "grown to {furthest} mm");
}

/// References F1: for a real two-dimensional tone of M × N samples the bound on the variance of the frequency along M is
/// 24 σ² / (A² M N (M² − 1)) rad² per sample². One tone fixes one direction, so two tones at right angles are drawn: each
/// alone carries its axis. The sheet's own noise is white; its local evening changes tone and noise alike.
#[test]
fn frequency_scatter_is_near_the_cramer_rao_bound() {
    let lines = [(1.0, 0.0, 0.3, 0.4), (0.0, 1.0, 0.3, 1.1)];
    let (noise, px_per_mm, side_px) = (0.6, 2.5, 320_u32);
    let truth = Basis { stitch: [0.20, 0.0], row: [0.0, 0.21] };
    let mut errors = Vec::new();
    let mut covered_px: f64 = 0.0;
    for seed in 0..24 {
        let (photo, map) = drawn((side_px, side_px), px_per_mm, &lines, |x, y| [0.20 * x, 0.21 * y], noise, seed);
        let reading =
            grow(&photo, &map, &decision(truth, PlanePoint::new(64.0, 64.0), &lines), &[], None, Windows::Wide)
                .unwrap();
        errors.push(reading.basis.stitch[0] - truth.stitch[0]);
        errors.push(reading.basis.row[1] - truth.row[1]);
        // The windows reach one and a half cells beyond the outermost blocks' centres (their half-power width).
        covered_px += (reading.extent.0 + 1.0) / 0.20 * px_per_mm / 24.0;
    }
    let rmse = (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt();
    let m = covered_px.min(f64::from(side_px));
    let bound = (24.0 * noise * noise / (0.3 * 0.3 * m * m * (m * m - 1.0))).sqrt() * px_per_mm / TAU;
    assert!(rmse < 1.3 * bound, "rmse {rmse:e}, bound {bound:e}, ratio {:.2}", rmse / bound);
}

#[test]
fn a_lattice_fixed_in_one_direction_only_is_refused() {
    let lines = [(0.0, 1.0, 0.3, 0.0), (0.0, 2.0, 0.1, 0.0)];
    let (photo, map) = drawn((600, 600), 8.0, &lines, |x, y| [0.22 * x, 0.31 * y], 0.05, 4);
    let basis = Basis { stitch: [0.22, 0.0], row: [0.0, 0.31] };
    let refusal = grow(&photo, &map, &decision(basis, PlanePoint::new(35.0, 35.0), &lines), &[], None, Windows::Wide)
        .unwrap_err();
    assert_eq!(refusal.code, crate::refusal::RefusalCode::LatticeUnclear);
}

#[test]
fn a_flat_grey_photo_is_refused() {
    let (photo, map) = drawn((600, 600), 8.0, &[], |_, _| [0.0, 0.0], 0.0, 5);
    let basis = Basis { stitch: [0.22, 0.0], row: [0.0, 0.31] };
    assert!(
        grow(&photo, &map, &decision(basis, PlanePoint::new(35.0, 35.0), &KNIT), &[], None, Windows::Wide).is_err()
    );
}

#[test]
fn the_stated_uncertainty_is_the_scatter() {
    // Many photos of one lattice, each with its own noise: the fitted gauge scatters as the blocks' own residuals say.
    let basis = Basis { stitch: [0.20, 0.0], row: [0.0, 0.25] };
    let (mut squares, mut stated) = (0.0, 0.0);
    for seed in 100..116 {
        let (photo, map) = drawn((400, 400), 5.0, &KNIT, |x, y| [0.20 * x, 0.25 * y], 0.9, seed);
        let reading =
            grow(&photo, &map, &decision(basis, PlanePoint::new(40.0, 40.0), &KNIT), &[], None, Windows::Wide).unwrap();
        let fit = fit(&reading.blocks).unwrap();
        squares += (fit.basis.stitch[0] / 0.20 - 1.0).powi(2) + (fit.basis.row[1] / 0.25 - 1.0).powi(2);
        stated += fit.relative_u[0].powi(2) + fit.relative_u[1].powi(2);
    }
    let ratio = (squares / stated).sqrt();
    assert!((0.6..1.4).contains(&ratio), "scatter over stated uncertainty {ratio:.2}");
}

#[test]
fn loops_are_found_where_they_were_drawn() {
    let counts = |x: f64, y: f64| [0.22 * x, 0.31 * y];
    let (photo, map) = drawn((700, 600), 8.0, &KNIT, counts, 0.1, 9);
    let basis = Basis { stitch: [0.22, 0.0], row: [0.0, 0.31] };
    let decision = decision(basis, PlanePoint::new(40.0, 35.0), &KNIT);
    let reading = grow(&photo, &map, &decision, &[], None, Windows::Wide).unwrap();
    let model = LatticeModel { map, basis, origin: PlanePoint::new(0.0, 0.0) };
    let numbers = loops_within(&model, &reading.region_px, MOST_LOOPS);
    let followed = FollowedLattice::new(&model, &reading.blocks).unwrap();
    let mut seen = see_loops(&photo, decision.weights, &followed, &numbers, (1, 1));
    seen.retain(|l| l.matched);
    let cells = reading.extent.0 * reading.extent.1;
    assert!(seen.len() as f64 > 0.9 * cells, "{} of {cells}", seen.len());
    // All loops sit at one and the same phase of the drawn lattice.
    let phase = |l: &LoopSeen| {
        let [s, r] = counts(l.at_px.x / 8.0, l.at_px.y / 8.0);
        (s - f64::from(l.stitch), r - f64::from(l.row))
    };
    let first = phase(&seen[0]);
    for l in &seen {
        let p = phase(l);
        assert!((p.0 - first.0).abs() < 0.12 && (p.1 - first.1).abs() < 0.12, "{l:?}");
    }
}
