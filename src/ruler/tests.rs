//! Rulers drawn with known marks through a known projective map, and look-alikes that must not be read.

use super::{GraduationTrain, RulerSettings, RulerUnit, read, read_grid};
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use crate::refusal::RefusalCode;
use image::{Rgb, RgbImage};
use nalgebra::{Matrix3, Vector3};

const WIDTH: u32 = 1200;
const HEIGHT: u32 = 500;

/// A scale along y = 0 of a body that reaches to y = `width_mm`.
struct Drawn {
    pitch_mm: f64,
    count: i32,
    /// Length of each mark, mm; 0 leaves it out.
    length_mm: fn(i32) -> f64,
    /// A numeral, as two upright strokes, stands beyond every mark whose number is a multiple of this; 0 for none.
    numbered_every: i32,
    width_mm: f64,
    /// Ruler mm → photo px.
    to_px: Matrix3<f64>,
}

fn mm_length(i: i32) -> f64 {
    match i {
        _ if i % 10 == 0 => 7.0,
        _ if i % 5 == 0 => 5.0,
        _ => 3.5,
    }
}

fn sixteenths_length(i: i32) -> f64 {
    2.5 + 1.6 * f64::from(i.trailing_zeros().min(4))
}

/// Similarity: `px_per_mm`, turned by `deg`, ruler's (0, 0) at (x, y).
fn placed(px_per_mm: f64, deg: f64, x: f64, y: f64) -> Matrix3<f64> {
    let (s, c) = deg.to_radians().sin_cos();
    Matrix3::new(px_per_mm * c, -px_per_mm * s, x, px_per_mm * s, px_per_mm * c, y, 0.0, 0.0, 1.0)
}

impl Drawn {
    fn mm(px_per_mm: f64, deg: f64) -> Self {
        Self {
            pitch_mm: 1.0,
            count: 101,
            length_mm: mm_length,
            numbered_every: 0,
            width_mm: 24.0,
            to_px: placed(px_per_mm, deg, 90.0, 160.0),
        }
    }

    /// Brightness at a place on the ruler, or `None` beside it.
    fn brightness(&self, x: f64, y: f64) -> Option<f64> {
        let last = f64::from(self.count - 1) * self.pitch_mm;
        if !(-4.0..=last + 4.0).contains(&x) || !(-0.4..=self.width_mm).contains(&y) {
            return None;
        }
        let i = (x / self.pitch_mm).round();
        let on_mark = (x - i * self.pitch_mm).abs() < 0.11 && i >= 0.0 && i < f64::from(self.count);
        let length = (self.length_mm)(i as i32);
        let numbered = self.numbered_every > 0 && i as i32 % self.numbered_every == 0;
        let stroke = ((x - i * self.pitch_mm).abs() - 0.7).abs() < 0.15 && (length + 0.8..length + 3.3).contains(&y);
        let inked = on_mark && y >= 0.0 && y < length || numbered && stroke;
        Some(if inked { 0.12 } else { 0.82 })
    }

    fn photo(&self) -> Photo {
        let to_mm = self.to_px.try_inverse().unwrap();
        picture(|x, y| {
            let v = to_mm * Vector3::new(x, y, 1.0);
            self.brightness(v.x / v.z, v.y / v.z).unwrap_or(0.35)
        })
    }

    fn mark_at(&self, i: i32) -> PhotoPoint {
        let v = self.to_px * Vector3::new(f64::from(i) * self.pitch_mm, 0.0, 1.0);
        PhotoPoint::new(v.x / v.z, v.y / v.z)
    }

    /// Largest distance along the ruler of a mark read from a mark drawn, px.
    fn worst_error_px(&self, train: &GraduationTrain) -> f64 {
        let ends = (self.mark_at(0), self.mark_at(self.count - 1));
        let l = ends.0.distance(ends.1);
        let along =
            |p: PhotoPoint| ((p.x - ends.0.x) * (ends.1.x - ends.0.x) + (p.y - ends.0.y) * (ends.1.y - ends.0.y)) / l;
        let error =
            |p: PhotoPoint| (0..self.count).map(|i| (along(self.mark_at(i)) - along(p)).abs()).fold(f64::MAX, f64::min);
        train.marks.iter().map(|m| error(m.at)).fold(0.0, f64::max)
    }
}

/// A grey picture of a brightness (0–1) over photo points, 4 × 4 samples a pixel, with a little noise.
fn picture(brightness: impl Fn(f64, f64) -> f64) -> Photo {
    let mut seed = 1u32;
    let rgb = RgbImage::from_fn(WIDTH, HEIGHT, |x, y| {
        let offsets = [0.125, 0.375, 0.625, 0.875];
        let sum: f64 = offsets
            .iter()
            .flat_map(|dy| offsets.iter().map(move |dx| (f64::from(x) + dx, f64::from(y) + dy)))
            .map(|(x, y)| brightness(x, y))
            .sum();
        // Numerical Recipes' quick generator (Press et al. 1992): repeatable noise of ±2 code values.
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = f64::from(seed >> 16) / 65_536.0 * 4.0 - 2.0;
        let value = (sum / 16.0 * 255.0 + noise).clamp(0.0, 255.0) as u8;
        Rgb([value; 3])
    });
    Photo { rgb, ..Photo::default() }
}

fn read_train(photo: &Photo) -> GraduationTrain {
    read(photo, &RulerSettings::default()).unwrap().trains.remove(0)
}

#[test]
fn millimetres_are_read_at_any_angle() {
    for deg in [0.0, 7.0, -12.0, 181.0] {
        let mut ruler = Drawn::mm(8.0, deg);
        if deg > 90.0 {
            ruler.to_px = placed(8.0, deg, 1000.0, 330.0);
        }
        let train = read_train(&ruler.photo());
        assert_eq!((train.unit, train.pitch_mm), (RulerUnit::Cm, 1.0), "{deg}");
        assert!(train.marks.len() >= 90, "{deg}: {} marks", train.marks.len());
        assert!(ruler.worst_error_px(&train) < 0.3, "{deg}: {}", ruler.worst_error_px(&train));
    }
}

/// White marks half as wide as their step leave dark gaps as even as marks.
#[test]
fn gaps_between_wide_marks_are_no_marks() {
    let ruler = Drawn::mm(8.0, 3.0);
    let to_mm = ruler.to_px.try_inverse().unwrap();
    let photo = picture(|x, y| {
        let v = to_mm * Vector3::new(x, y, 1.0);
        let i = v.x.round();
        let marked = (0.0..=100.0).contains(&i) && (v.x - i).abs() < 0.3 && (0.0..mm_length(i as i32)).contains(&v.y);
        let body = (-4.0..=104.0).contains(&v.x) && (-0.4..=24.0).contains(&v.y);
        if marked {
            0.8
        } else if body {
            0.1
        } else {
            0.45
        }
    });
    let train = read_train(&photo);
    assert_eq!((train.unit, train.pitch_mm), (RulerUnit::Cm, 1.0));
    // A gap lies half a step, 4 px, beside a mark.
    assert!(ruler.worst_error_px(&train) < 1.0, "{}", ruler.worst_error_px(&train));
}

#[test]
fn longest_marks_have_indices_of_whole_centimetres() {
    let train = read_train(&Drawn::mm(8.0, 3.0).photo());
    let tens = train.marks.iter().filter(|m| m.index % 10 == 0);
    assert!(tens.clone().count() >= 9);
    assert!(tens.clone().all(|m| (m.length_px / 8.0 - 7.0).abs() < 0.5));
}

#[test]
fn sixteenths_of_an_inch_are_read() {
    let ruler = Drawn {
        pitch_mm: 25.4 / 16.0,
        count: 65,
        length_mm: sixteenths_length,
        numbered_every: 0,
        width_mm: 26.0,
        to_px: placed(9.0, -4.0, 80.0, 230.0),
    };
    let train = read_train(&ruler.photo());
    assert_eq!(train.unit, RulerUnit::Inch);
    assert!((train.pitch_mm - 25.4 / 16.0).abs() < 1e-12);
    assert!(ruler.worst_error_px(&train) < 0.3);
}

/// Numbered centimetres and their halves, nothing finer.
fn halves(px_per_mm: f64, count: i32) -> Drawn {
    let length_mm = |i: i32| if i % 2 == 0 { 8.0 } else { 4.0 };
    Drawn { pitch_mm: 5.0, count, length_mm, numbered_every: 2, ..Drawn::mm(px_per_mm, 3.0) }
}

#[test]
fn halves_are_read_where_the_unit_is_said() {
    let ruler = halves(8.0, 26);
    let photo = ruler.photo();
    let refusal = read(&photo, &RulerSettings::default()).unwrap_err();
    assert_eq!(refusal.code, RefusalCode::UnitUnclear);
    assert!(refusal.seen.contains("5 mm") && refusal.seen.contains("1/2 inch"), "{}", refusal.seen);
    for (unit, pitch_mm) in [(RulerUnit::Cm, 5.0), (RulerUnit::Inch, 12.7)] {
        let train = read(&photo, &RulerSettings { unit: Some(unit) }).unwrap().trains.remove(0);
        assert_eq!((train.unit, train.pitch_mm), (unit, pitch_mm));
        assert!(train.marks.len() >= 24 && ruler.worst_error_px(&train) < 0.3);
    }
}

/// 25 numbered units in a picture that shows 300 mm, or 762 mm as inches.
#[test]
fn halves_of_a_long_ruler_are_those_of_centimetres() {
    let train = read_train(&halves(4.0, 51).photo());
    assert_eq!((train.unit, train.pitch_mm), (RulerUnit::Cm, 5.0));
}

#[test]
fn long_and_short_marks_without_numerals_are_no_scale() {
    let ruler = Drawn { numbered_every: 0, ..halves(8.0, 26) };
    assert!(read(&ruler.photo(), &RulerSettings { unit: Some(RulerUnit::Cm) }).is_err());
    // Numerals at every second long mark: the marks are quarters.
    let quarters = Drawn { numbered_every: 4, ..halves(8.0, 26) };
    assert!(read(&quarters.photo(), &RulerSettings { unit: Some(RulerUnit::Cm) }).is_err());
}

/// A soft tape lies in waves: its marks depart from an even row by more than those of look-alikes do, but not one by one.
#[test]
fn a_tape_in_waves_is_read() {
    let tape = Drawn::mm(10.0, 8.0);
    let to_mm = tape.to_px.try_inverse().unwrap();
    let photo = picture(|x, y| {
        let v = to_mm * Vector3::new(x, y, 1.0);
        let waves = 0.14 * (std::f64::consts::TAU * v.x / 40.0).sin();
        tape.brightness(v.x + waves, v.y).unwrap_or(0.35)
    });
    let train = read_train(&photo);
    let first = train.marks.iter().map(|mark| mark.index).min();
    assert!(train.marks.len() > 95 && first == Some(0), "{} marks from {first:?}", train.marks.len());
    assert!(train.residual_rms_px > 0.6, "{} px", train.residual_rms_px);
}

#[test]
fn missing_marks_do_not_shift_the_index() {
    let ruler =
        Drawn { length_mm: |i| if [13, 14, 47].contains(&i) { 0.0 } else { mm_length(i) }, ..Drawn::mm(8.0, 5.0) };
    let train = read_train(&ruler.photo());
    let (a, b) = (train.marks[0], train.marks[train.marks.len() - 1]);
    let steps = a.at.distance(b.at) / 8.0;
    assert!((steps - f64::from(b.index - a.index)).abs() < 0.1, "{steps} steps, indices {} to {}", a.index, b.index);
    assert!(train.marks.len() as i32 <= b.index - a.index - 2);
}

#[test]
fn perspective_along_the_ruler_is_followed() {
    let mut ruler = Drawn::mm(9.0, 2.0);
    ruler.to_px[(2, 0)] = 0.0012;
    let train = read_train(&ruler.photo());
    assert_eq!(train.pitch_mm, 1.0);
    assert!(ruler.worst_error_px(&train) < 0.3);
    assert!(train.residual_rms_px < 0.1, "{}", train.residual_rms_px);
}

#[test]
fn stated_uncertainty_is_that_of_the_marks() {
    let ruler = Drawn::mm(8.0, 6.0);
    let train = read_train(&ruler.photo());
    let along = |p: PhotoPoint| {
        (p.x - ruler.mark_at(0).x) * 6f64.to_radians().cos() + (p.y - ruler.mark_at(0).y) * 6f64.to_radians().sin()
    };
    let errors: Vec<f64> = train.marks.iter().map(|m| along(m.at) - 8.0 * (along(m.at) / 8.0).round()).collect();
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    let rms = (errors.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / errors.len() as f64).sqrt();
    let ratio = rms / train.marks[0].along_sigma_px;
    assert!((0.6..1.7).contains(&ratio), "rms {rms}, ratio {ratio}");
}

#[test]
fn outline_covers_the_marks() {
    let reading = read(&Drawn::mm(8.0, 0.0).photo(), &RulerSettings::default()).unwrap();
    let ys = reading.outline_px.iter().map(|p| p.y);
    let (top, bottom) = (ys.clone().fold(f64::MAX, f64::min), ys.fold(f64::MIN, f64::max));
    assert!(top <= 160.0 && (bottom - (160.0 + 24.0 * 8.0)).abs() < 12.0, "{top} to {bottom}");
}

#[test]
fn ruler_without_marks_is_no_scale() {
    let ruler = Drawn { length_mm: |_| 0.0, ..Drawn::mm(8.0, 4.0) };
    let code = read(&ruler.photo(), &RulerSettings::default()).unwrap_err().code;
    assert!(matches!(code, RefusalCode::NoScale | RefusalCode::RulerUnmarked));
}

#[test]
fn marks_all_alike_are_not_given_a_unit() {
    let ruler = Drawn { length_mm: |_| 4.0, ..Drawn::mm(8.0, 4.0) };
    assert!(read(&ruler.photo(), &RulerSettings::default()).is_err());
}

#[test]
fn look_alikes_are_refused() {
    let stripes = picture(|x, _| if (x / 6.0).rem_euclid(2.0) < 1.0 { 0.3 } else { 0.7 });
    let checks = picture(|x, y| if ((x / 9.0).floor() + (y / 9.0).floor()).rem_euclid(2.0) < 1.0 { 0.2 } else { 0.8 });
    let grid = picture(|x, y| if x.rem_euclid(10.0) < 2.0 || y.rem_euclid(10.0) < 2.0 { 0.8 } else { 0.3 });
    // Columns of stitches: a wave along both axes, drifting sideways.
    let ribs = picture(|x, y| 0.5 + 0.25 * (x / 3.0 + (y / 7.0).sin()).sin() + 0.1 * (y / 4.0).sin());
    for (name, photo) in [("stripes", stripes), ("checks", checks), ("grid", grid), ("ribs", ribs)] {
        assert!(read(&photo, &RulerSettings::default()).is_err(), "{name}");
    }
}

#[test]
fn tiny_pictures_do_no_harm() {
    for (w, h) in [(1, 1), (3, 200), (200, 3), (12, 12)] {
        let photo = Photo { rgb: RgbImage::from_pixel(w, h, Rgb([90, 90, 90])), ..Photo::default() };
        assert!(read(&photo, &RulerSettings::default()).is_err());
    }
}

/// Squares of 10 mm, `ni` × `nj` of them, on a white card.
fn card(to_px: Matrix3<f64>, ni: i32, nj: i32) -> Photo {
    let to_mm = to_px.try_inverse().unwrap();
    picture(move |x, y| {
        let v = to_mm * Vector3::new(x, y, 1.0);
        let (i, j) = ((v.x / v.z / 10.0).floor() as i32, (v.y / v.z / 10.0).floor() as i32);
        match (i, j) {
            _ if i < -1 || j < -1 || i > ni || j > nj => 0.45,
            _ if i < 0 || j < 0 || i >= ni || j >= nj || (i + j) % 2 != 0 => 0.85,
            _ => 0.1,
        }
    })
}

#[test]
fn checkerboard_corners_are_placed_and_numbered() {
    let mut to_px = placed(5.5, 11.0, 300.0, 60.0);
    to_px[(2, 0)] = 0.0004;
    let grid = read_grid(&card(to_px, 8, 5), 10.0).unwrap();
    assert_eq!(grid.corners.len(), 28);
    // Differences of index must be those of the drawn corners: find the drawn corner nearest to each.
    let drawn = |i: i32, j: i32| {
        let v = to_px * Vector3::new(f64::from(i) * 10.0, f64::from(j) * 10.0, 1.0);
        PhotoPoint::new(v.x / v.z, v.y / v.z)
    };
    let inner = || (1..8).flat_map(|i| (1..5).map(move |j| (i, j)));
    let nearest = |p: PhotoPoint| {
        inner().min_by(|a, b| drawn(a.0, a.1).distance(p).total_cmp(&drawn(b.0, b.1).distance(p))).unwrap()
    };
    for pair in grid.corners.windows(2) {
        let (first, second) = (pair[0], pair[1]);
        let (a, b) = (nearest(first.2), nearest(second.2));
        let read = (second.0 - first.0).pow(2) + (second.1 - first.1).pow(2);
        assert_eq!(read, (b.0 - a.0).pow(2) + (b.1 - a.1).pow(2));
        assert!(drawn(a.0, a.1).distance(first.2) < 0.25, "{:?} {:?}", drawn(a.0, a.1), first.2);
    }
}

#[test]
fn grids_need_print_and_a_pitch() {
    let waves =
        picture(|x, y| 0.5 + 0.2 * (x / 5.0 + (y / 9.0).sin()).sin() + 0.2 * (y / 6.0 + (x / 13.0).cos()).sin());
    assert!(read_grid(&waves, 10.0).is_err());
    assert!(read_grid(&card(placed(5.5, 0.0, 300.0, 60.0), 8, 5), f64::NAN).is_err());
}

/// The ruler runs out of the picture at its upper left: the first of its marks begin beyond the picture's edge.
#[test]
fn marks_that_the_picture_cuts_off_do_not_bend_the_edge() {
    let ruler = Drawn { to_px: placed(9.0, 4.0, 90.0, -14.0), ..Drawn::mm(9.0, 4.0) };
    let train = read_train(&ruler.photo());
    assert!(train.marks.len() > 60, "{}", train.marks.len());
    for mark in &train.marks {
        let off = (0..ruler.count).map(|i| ruler.mark_at(i).distance(mark.at)).fold(f64::MAX, f64::min);
        assert!(off < 1.5, "{off:.1} px off at {:.0}", mark.at.x);
    }
}

/// A ruler for cutting: lines across it every inch, a line along their beginnings, eighths and quarters as ticks on that line, and
/// numerals beside the lines.
#[test]
fn ticks_along_the_lines_of_a_grid_are_read() {
    let ruler = Drawn { pitch_mm: 3.175, count: 41, ..Drawn::mm(8.0, 3.0) };
    let ink = |x: f64, y: f64| {
        let i = (x / ruler.pitch_mm).round();
        let reach = match i as i32 {
            i if i % 8 == 0 => -3.0..40.0,
            i if i % 2 == 0 => 0.0..1.9,
            _ => 0.0..1.0,
        };
        let after_inch = x.rem_euclid(25.4);
        let stroke = (after_inch - 1.6).abs() < 0.15 || (after_inch - 3.0).abs() < 0.15;
        (x - i * ruler.pitch_mm).abs() < 0.11 && reach.contains(&y)
            || y.abs() < 0.08
            || stroke && (4.0..7.0).contains(&y)
    };
    let to_mm = ruler.to_px.try_inverse().unwrap();
    let photo = picture(|x, y| {
        let v = to_mm * Vector3::new(x, y, 1.0);
        let (x, y) = (v.x / v.z, v.y / v.z);
        let on_it = (-4.0..130.0).contains(&x) && (-4.0..30.0).contains(&y);
        if !on_it {
            0.35
        } else if (0.0..128.0).contains(&x) && ink(x, y) {
            0.12
        } else {
            0.82
        }
    });
    let train = read_train(&photo);
    assert_eq!((train.unit, train.pitch_mm), (RulerUnit::Inch, 3.175));
    assert!(train.marks.len() >= 36 && ruler.worst_error_px(&train) < 0.3, "{}", train.marks.len());
}
