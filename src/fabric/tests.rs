//! Sheets and seeds on drawn photos.

use super::*;
use crate::photo::Photo;
use crate::plane::PlaneMap;
use crate::quantity::PhotoPoint;
use crate::refusal::RefusalCode;
use image::{Rgb, RgbImage};
use nalgebra::Matrix3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use std::f64::consts::TAU;

const PX_PER_MM: f64 = 8.0;

fn plain_map() -> PlaneMap {
    PlaneMap::new(Matrix3::from_diagonal(&[1.0 / PX_PER_MM, 1.0 / PX_PER_MM, 1.0].into()), None).unwrap()
}

/// A photo whose log brightness at a place (mm) is given, with a little noise.
fn drawn(size: (u32, u32), light: impl Fn(f64, f64) -> f64) -> Photo {
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let noise = Normal::new(0.0, 0.03).unwrap();
    let rgb = RgbImage::from_fn(size.0, size.1, |x, y| {
        let log = light((f64::from(x) + 0.5) / PX_PER_MM, (f64::from(y) + 0.5) / PX_PER_MM);
        let linear = 0.2 * (log + noise.sample(&mut random)).exp();
        Rgb([(255.0 * (1.055 * linear.clamp(0.0031308, 1.0).powf(1.0 / 2.4) - 0.055) + 0.5) as u8; 3])
    });
    Photo { rgb, ..Photo::default() }
}

/// Stockinette in its strongest lines: stitches of 4.5 mm, rows of 3.2 mm.
fn knit(x: f64, y: f64) -> f64 {
    let (s, r) = (x / 4.5 + 0.01 * y, y / 3.2);
    let wave = |h: f64, k: f64, amplitude: f64| amplitude * (TAU * (h * s + k * r)).cos();
    wave(2.0, 0.0, 0.2) + wave(1.0, 1.0, 0.15) + wave(1.0, -1.0, 0.15) + wave(0.0, 1.0, 0.1)
}

#[test]
fn a_sheet_shows_the_plane_at_its_scale_and_leaves_out_what_is_excluded() {
    let photo = drawn((800, 600), |x, _| 0.3 * (TAU * x / 4.0).cos());
    let hole = [(300.0, 200.0), (500.0, 200.0), (500.0, 400.0), (300.0, 400.0)];
    let hole = hole.map(|(x, y)| PhotoPoint::new(x, y)).to_vec();
    let centre = PlanePoint::new(60.0, 35.0);
    let sheet = Patch::resample(&photo, &plain_map(), centre, (60.0, 40.0), 4.0, &[hole])
        .sheet([1.0, 0.0, 0.0], patch::LIGHT_MM);
    assert_eq!(sheet.grey.dimensions(), (240, 160));
    assert!((sheet.origin.x - 30.0).abs() < 1e-9 && (sheet.origin.y - 15.0).abs() < 1e-9);
    let at = |x_mm: f64, y_mm: f64| {
        let px = |v: f64, o: f64| ((v - o) * 4.0) as u32;
        (px(x_mm, sheet.origin.x), px(y_mm, sheet.origin.y))
    };
    // The hole reaches from 37.5 to 62.5 mm across and from 25 to 50 mm down.
    let (x, y) = at(50.0, 35.0);
    assert_eq!(sheet.valid.get_pixel(x, y).0[0], 0.0);
    let (x, y) = at(72.1, 35.0);
    assert_eq!(sheet.valid.get_pixel(x, y).0[0], 1.0);
    assert!(sheet.grey.get_pixel(x, y).0[0] > 1.0, "a crest of the wave is bright");
    let (x, y) = at(70.1, 35.0);
    assert!(sheet.grey.get_pixel(x, y).0[0] < -1.0, "a trough is dark");
}

#[test]
fn the_outside_of_the_frame_is_not_valid() {
    let photo = drawn((400, 400), |_, _| 0.0);
    let sheet = Patch::resample(&photo, &plain_map(), PlanePoint::new(0.0, 25.0), (40.0, 20.0), 4.0, &[])
        .sheet([0.3; 3], patch::LIGHT_MM);
    assert_eq!(sheet.valid.get_pixel(10, 40).0[0], 0.0);
    assert_eq!(sheet.valid.get_pixel(120, 40).0[0], 1.0);
}

#[test]
fn knitting_on_a_grained_table_is_found_first() {
    let fabric = |x: f64, y: f64| (60.0..130.0).contains(&x) && (30.0..100.0).contains(&y);
    let photo = drawn((1500, 1000), |x, y| if fabric(x, y) { knit(x, y) } else { 0.3 * (TAU * y / 2.5).cos() });
    let found = search(&photo, &plain_map(), &[], None).unwrap().seeds;
    let c = found[0].centre;
    assert!(fabric(c.x, c.y), "{c:?}");
    // A grey picture has no chroma to look at.
    assert_eq!(found[0].sheets.len(), 2);
    // The dominant lines are (2, 0) of 2.25 mm and (1, ±1) of 2.6 mm.
    assert!((1.8..3.3).contains(&found[0].period_mm), "{}", found[0].period_mm);
    assert!(10.0 <= found[0].sheets[0].px_per_mm * 4.5);
}

#[test]
fn a_ruled_grid_a_grain_and_plain_noise_are_not_knit() {
    let line = |v: f64| if v.rem_euclid(10.0) < 0.4 { 0.8 } else { 0.0 };
    type Light<'a> = &'a dyn Fn(f64, f64) -> f64;
    let pictures: [(&str, Light); 3] =
        [("noise", &|_, _| 0.0), ("grain", &|_, y| 0.3 * (TAU * y / 2.5).cos()), ("grid", &|x, y| line(x) + line(y))];
    for (name, light) in pictures {
        let refusal = search(&drawn((1200, 900), light), &plain_map(), &[], None).map(|s| s.seeds[0].score);
        assert_eq!(refusal.as_ref().map_err(|r| r.code), Err(RefusalCode::NotKnit), "{name}: {refusal:?}");
    }
}

#[test]
fn colours_of_stripes_change_across_them_only() {
    const STRIPE_MM: f64 = 6.0;
    let striped = |x: f64, y: f64| 0.3 * knit(x, y) + if (y / STRIPE_MM).rem_euclid(2.0) < 1.0 { 0.0 } else { 1.2 };
    let photo = drawn((640, 640), striped);
    let centre = PlanePoint::new(40.0, 40.0);
    let patch = Patch::resample(&photo, &plain_map(), centre, (76.0, 76.0), PX_PER_MM, &[]);
    let colours = TwoColours::seen(&patch, centre, 70.0, 1.0).unwrap();
    let steps = [[4.0, 0.0], [0.0, STRIPE_MM], [0.0, 2.0 * STRIPE_MM]];
    let [along, one, two] = colours.changes(&patch, centre, 70.0, steps);
    assert!(along < 0.02 && one > 0.95 && two < 0.05, "{along} {one} {two}");
}
