//! The octave decision on drawn fabrics of each kind (stockinette: `decide_tests`): of all multiples of the repeat, and of the axes changed over, the
//! true single stitches and rows must win. The drawings are invented; they share nothing with the levels of the families.

use super::{Basis, Decision, Declared, StitchPattern, decide, propose, said_doubted};
use crate::fabric::Sheet;
use crate::photo::GreyImage;
use crate::quantity::PlanePoint;
use std::f64::consts::{PI, TAU};

const SIDE_MM: f64 = 84.0;
const PX_PER_MM: f64 = 5.0;
const STITCHES: f64 = 22.0;

/// A knit stitch seen from the front: two legs that lean towards each other, brightness at (u, v) within the stitch.
fn knit(u: f64, v: f64) -> f64 {
    let across = u - 0.5;
    let along = (v + 0.9 * across.abs()).rem_euclid(1.0);
    let middle = 0.25 + 0.1 * (along - 0.5);
    let off = (across.abs() - middle) / 0.15;
    (-off * off).exp() * (0.4 + 0.6 * (PI * along).sin())
}

/// A purl stitch: the head of its loop above, the feet of the next, half a stitch aside, below.
fn purl(u: f64, v: f64) -> f64 {
    let arc = |middle: f64, aside: f64| {
        let off = (v - middle - 0.14 * (TAU * (u - aside)).cos()) / 0.13;
        (-off * off).exp()
    };
    arc(0.66, 0.0).max(0.8 * arc(0.3, 0.5))
}

/// A fabric of `rows` per 10 cm, turned by `deg`. `stitch_at` says of stitch i of row j what it is: knit, purl or a hole,
/// and `raised` how high the surface stands at (u, v).
fn fabric(rows: f64, deg: f64, stitch_at: impl Fn(i64, i64) -> char, raised: impl Fn(f64, f64) -> f64) -> Sheet {
    let n = (SIDE_MM * PX_PER_MM) as u32;
    let (s, c) = deg.to_radians().sin_cos();
    // A linear congruence for the noise (Park and Miller 1988).
    let mut state = 1u64;
    let grey = GreyImage::from_fn(n, n, |x, y| {
        state = state * 48271 % 2_147_483_647;
        let noise = state as f64 / 2_147_483_647.0 - 0.5;
        let at = |i: u32| (f64::from(i) + 0.5) / PX_PER_MM;
        let (x, y) = (at(x), at(y));
        let (u, v) = ((x * c + y * s) * STITCHES / 100.0, (y * c - x * s) * rows / 100.0);
        let inside = (u.rem_euclid(1.0), v.rem_euclid(1.0));
        let bright = match stitch_at(u.floor() as i64, v.floor() as i64) {
            'k' => knit(inside.0, inside.1),
            'p' => purl(inside.0, inside.1),
            _ => 0.0,
        };
        image::Luma([(bright + raised(u, v) + 0.5 * noise) as f32])
    });
    let valid = GreyImage::from_pixel(n, n, image::Luma([1.0]));
    let origin = PlanePoint::new(0.0, 0.0);
    Sheet { origin, px_per_mm: PX_PER_MM, grey, valid, weights: [0.2126, 0.7152, 0.0722] }
}

/// Asks for a pattern's lattice and compares both counts with the drawn ones.
fn counted(what: &str, pattern: StitchPattern, sheet: Sheet, rows: f64) {
    let declared = Declared { pattern: Some(pattern), ..Declared::default() };
    let found = decide(&[sheet], &declared).unwrap_or_else(|refusal| panic!("{what}: {refusal:?}"));
    let (s, r) = found.basis.per_10cm().expect("a lattice");
    assert!((s / STITCHES - 1.0).abs() < 0.03 && (r / rows - 1.0).abs() < 0.03, "{what}: {s:.1} x {r:.1}");
}

fn named(name: &str) -> StitchPattern {
    StitchPattern::named(name).expect("a known name")
}

fn odd(i: i64) -> bool {
    i.rem_euclid(2) == 1
}

/// A ridge every two rows, whose valleys are darker: not one row, and not a stitch on its side.
#[test]
fn garter() {
    let ridge = |_: f64, v: f64| 0.3 * (PI * v).cos();
    let sheet = fabric(42.0, -8.0, |_, j| if odd(j) { 'p' } else { 'k' }, ridge);
    counted("garter", named("garter"), sheet, 42.0);
}

/// Arcs of garter's ridges, every one as far from the next.
fn even_arcs(u: f64, v: f64) -> f64 {
    let arc = |middle: f64, aside: f64| {
        let across = ((v - middle + 1.0).rem_euclid(2.0) - 1.0) / 0.25;
        let along = ((u - aside + 0.5).rem_euclid(1.0) - 0.5) / 0.3;
        (-across * across - along * along).exp()
    };
    arc(0.5, 0.0) + arc(1.5, 0.5) + 0.1 * (PI * v).cos()
}

/// Upper and lower arcs half a stitch apart, evenly spaced and flat, and ridges as far apart as stitches are wide: most lines are those of
/// smaller stitches along the diagonals, and those of its legs once a row are not there.
#[test]
fn garter_of_evenly_spaced_arcs() {
    for deg in [-8.0, 3.0] {
        let sheet = fabric(44.0, deg, |_, _| ' ', even_arcs);
        counted("garter", named("garter"), sheet, 44.0);
    }
}

#[test]
fn seed() {
    let sheet = fabric(34.0, 20.0, |i, j| if odd(i + j) { 'p' } else { 'k' }, |_, _| 0.0);
    counted("seed", named("seed"), sheet, 34.0);
}

#[test]
fn rib_1x1() {
    let ribs = |u: f64, _: f64| 0.4 * (PI * (u - 0.5)).cos();
    let sheet = fabric(27.0, 15.0, |i, _| if odd(i) { 'p' } else { 'k' }, ribs);
    counted("rib 1x1", named("rib-1x1"), sheet, 27.0);
}

/// Blocks of four stitches by four rows, as in a basket weave.
#[test]
fn texture() {
    let purl_block = |i: i64, j: i64| odd(i.div_euclid(4) + j.div_euclid(4));
    let sheet = fabric(30.0, 9.0, |i, j| if purl_block(i, j) { 'p' } else { 'k' }, |_, _| 0.0);
    counted("texture", StitchPattern::with_repeat("basket", 8, 8), sheet, 30.0);
}

/// Holes in stockinette, every sixth stitch of every eighth row, those of the next row of holes half-way between.
#[test]
fn lace() {
    let hole = |i: i64, j: i64| j.rem_euclid(4) == 0 && (i + 3 * j.div_euclid(4)).rem_euclid(6) == 0;
    let sheet = fabric(29.0, -14.0, |i, j| if hole(i, j) { ' ' } else { 'k' }, |_, _| 0.0);
    counted("lace", StitchPattern::with_repeat("eyelets", 6, 8), sheet, 29.0);
}

/// Read as stockinette, ridges pass for rows.
#[test]
fn another_pattern_than_was_said_is_seen() {
    let ridge = |_: f64, v: f64| 0.3 * (PI * v).cos();
    let sheets = [fabric(42.0, -8.0, |_, j| if odd(j) { 'p' } else { 'k' }, ridge)];
    let ask = |name: &str, expected_per_10cm: Option<(f64, f64)>| {
        let declared = Declared { pattern: Some(named(name)), expected_per_10cm, ..Declared::default() };
        let found = decide(&sheets, &declared).expect("a lattice");
        let (_, rows) = found.basis.per_10cm().expect("a lattice");
        (rows, said_doubted(&sheets, &declared, &found.basis, &found).by_likelihood)
    };
    let (rows, another) = ask("stockinette", None);
    assert!((rows / 21.0 - 1.0).abs() < 0.03 && another, "{rows:.1}");
    assert!(!ask("garter", None).1);
    assert!(!ask("stockinette", Some((STITCHES, 21.0))).1);
}

/// Said to run along the columns, the rows of garter are looked for among what is left.
#[test]
fn rows_that_run_otherwise_than_was_said_are_seen() {
    let sheets = [fabric(44.0, -8.0, |_, _| ' ', even_arcs)];
    let garter = Declared { pattern: Some(named("garter")), ..Declared::default() };
    let along = propose(&sheets, &garter).expect("a lattice");
    let Basis { stitch, row: [u, v] } = along.basis;
    let across =
        Decision { basis: Basis { stitch: [u / 2.0, v / 2.0], row: stitch.map(|f| 2.0 * f) }, ..along.clone() };
    let doubted = |found: &Decision, deg: f64| {
        let declared = Declared { row_direction_deg: Some(deg), ..garter.clone() };
        said_doubted(&sheets, &declared, &found.basis, found).row_direction
    };
    assert!(doubted(&across, 82.0) && !doubted(&along, -8.0));
}
