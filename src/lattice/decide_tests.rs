//! The decision on drawn fabrics whose lattice is known, and on pictures that are none.

use super::decide::{righted, same_counts};
use super::families::Family;
use super::motif::Mirror;
use super::reading::Reading;
use super::{Basis, Declared, StitchPattern, decide};
use crate::fabric::Sheet;
use crate::photo::GreyImage;
use crate::quantity::PlanePoint;
use crate::refusal::RefusalCode;

const SIDE_MM: f64 = 60.0;
const PX_PER_MM: f64 = 6.0;

/// A sheet whose grey is `paint(x mm, y mm)` plus a little noise from a linear congruence (Park and Miller 1988).
fn sheet(paint: impl Fn(f64, f64) -> f64) -> Sheet {
    let n = (SIDE_MM * PX_PER_MM) as u32;
    let mut state = 1u64;
    let grey = GreyImage::from_fn(n, n, |x, y| {
        state = state * 48271 % 2_147_483_647;
        let noise = state as f64 / 2_147_483_647.0 - 0.5;
        let at = |i: u32| (f64::from(i) + 0.5) / PX_PER_MM;
        image::Luma([(paint(at(x), at(y)) + 0.6 * noise) as f32])
    });
    let valid = GreyImage::from_pixel(n, n, image::Luma([1.0]));
    let origin = PlanePoint::new(0.0, 0.0);
    Sheet { origin, px_per_mm: PX_PER_MM, grey, valid, weights: [0.2126, 0.7152, 0.0722] }
}

/// Brightness of a stockinette stitch at (u, v) stitches and rows: two legs, mirrored, thick along their middle line.
fn stitch(u: f64, v: f64) -> f64 {
    let across = u.rem_euclid(1.0) - 0.5;
    let middle = 0.25;
    let lean = 0.18 * (2.0 * (v + 0.55 * across.abs()).rem_euclid(1.0) - 1.0);
    let off = (across.abs() - middle - lean * 0.6) / 0.2;
    let along = (std::f64::consts::PI * (v + 0.9 * across.abs()).rem_euclid(1.0)).sin();
    (-off * off).exp() * (0.4 + 0.6 * along)
}

/// Stitch and row count at a point of a fabric turned by `deg`.
fn counts(x: f64, y: f64, stitches: f64, rows: f64, deg: f64) -> (f64, f64) {
    let (s, c) = deg.to_radians().sin_cos();
    ((x * c + y * s) * stitches / 100.0, (y * c - x * s) * rows / 100.0)
}

fn declared(name: &str) -> Declared {
    Declared { pattern: StitchPattern::named(name), ..Declared::default() }
}

#[test]
fn drawn_stockinette_is_counted_at_any_angle() {
    for deg in [0.0, 17.0, 64.0] {
        let fabric = sheet(|x, y| {
            let (u, v) = counts(x, y, 22.0, 30.0, deg);
            stitch(u, v)
        });
        let found = decide(&[fabric], &declared("stockinette")).expect("a lattice");
        let (s, r) = found.basis.per_10cm().unwrap();
        assert!((s / 22.0 - 1.0).abs() < 0.03 && (r / 30.0 - 1.0).abs() < 0.03, "{deg}: {s:.1} x {r:.1}");
        assert!(found.harmonics.len() >= 2 && found.margin > 0.0);
    }
}

/// Purl rows that stand higher than knit rows double the period along the wale; the rows are still single ones.
#[test]
fn rows_that_differ_are_counted_singly() {
    for deg in [0.0, 31.0] {
        let fabric = sheet(|x, y| {
            let (u, v) = counts(x, y, 21.0, 27.0, deg);
            let purl_row = (0.5 * v).rem_euclid(1.0) < 0.5;
            stitch(u, v) * if purl_row { 1.25 } else { 0.75 }
        });
        let found = decide(&[fabric], &declared("stockinette")).expect("a lattice");
        let (s, r) = found.basis.per_10cm().unwrap();
        assert!((s / 21.0 - 1.0).abs() < 0.03 && (r / 27.0 - 1.0).abs() < 0.03, "{deg}: {s:.1} x {r:.1}");
    }
}

#[test]
fn noise_a_grating_and_a_grid_are_not_knit() {
    let noise = sheet(|_, _| 0.0);
    let grating = sheet(|x, _| (x * 2.0).sin());
    let grid = sheet(|x, y| (x * 2.0).sin().signum() * (y * 2.0).sin().signum());
    for (what, picture) in [("noise", noise), ("grating", grating), ("grid", grid)] {
        let refused = decide(&[picture], &declared("stockinette")).expect_err(what);
        assert!(matches!(refused.code, RefusalCode::NotKnit | RefusalCode::AxesUnclear), "{what}: {:?}", refused.code);
    }
}

#[test]
fn no_sheet_is_refused() {
    assert_eq!(decide(&[], &Declared::default()).unwrap_err().code, RefusalCode::NotKnit);
}

/// Places of one uneven fabric differ by a tenth; half-way to a wrong octave, or turned by 60°, a lattice is another.
#[test]
fn counts_of_one_uneven_fabric_are_alike() {
    let lattice = |stitches: f64, rows: f64, deg: f64| {
        let (s, c) = f64::to_radians(deg).sin_cos();
        let (u, v) = (stitches / 100.0, rows / 100.0);
        Basis { stitch: [u * c, u * s], row: [-v * s, v * c] }
    };
    let fabric = lattice(22.0, 30.0, 5.0);
    assert!(same_counts(&fabric, &lattice(22.5, 33.5, -4.0)));
    for other in
        [lattice(22.0, 40.0, 5.0), lattice(29.3, 30.0, 5.0), lattice(22.0, 60.0, 5.0), lattice(22.0, 30.0, 65.0)]
    {
        assert!(!same_counts(&fabric, &other) && !same_counts(&other, &fabric), "{other:?}");
    }
}

/// 18 stitches by 26 rows, the stitches along x; on its side 26 stitches by 36 rows.
#[test]
fn a_reading_on_its_side_is_known_by_the_one_that_stands_upright() {
    let reading = |basis: Basis, score: f64, upright: f64| Reading {
        basis,
        family: Family::of(StitchPattern::named("stockinette").as_ref())[0],
        repeat: (1, 1),
        rowing: false,
        score,
        parts: [score, 0.0, 0.0, 0.0],
        strength: 3.0,
        legs: Some(9.0),
        mirror: Some(Mirror { wale: 0.6 + upright, row: 0.6, glide: None }),
    };
    let upright = Basis { stitch: [0.18, 0.0], row: [0.0, 0.26] };
    let on_its_side = Basis { stitch: [0.0, 0.26], row: [0.36, 0.0] };
    let best = reading(on_its_side, 50.0, 0.0);
    let score_of = |all: &[Reading]| righted(&best, all).map(|r| r.score);
    assert_eq!(score_of(&[best.clone(), reading(upright, 40.0, 0.2)]), Some(40.0));
    assert_eq!(score_of(&[best.clone(), reading(upright, 40.0, -0.2)]), None);
    assert_eq!(score_of(&[best.clone(), reading(upright, 60.0, 0.05)]), None);
    let other = Basis { stitch: [0.26, 0.0], row: [0.0, 0.36] };
    assert_eq!(score_of(&[best.clone(), reading(other, 60.0, 0.2)]), None);
}
