//! The synthetic photos against their own truth: what the renderer drew lies where the truth says.

use image::RgbImage;
use nalgebra::{DMatrix, DVector};
use walewise::synthetic::{
    Chart, Difficulty, DistortionTruth, Factor, Irregularity, Scene, SyntheticPhoto, Truth, photograph, sweep,
};

/// Even knitting, no noise, no hairs.
fn clean(seed: u64) -> Scene {
    let mut scene = Scene::plain(seed).with(Factor::Noise, 0.0);
    let fabric = scene.fabric.as_mut().expect("plain scenes have a fabric");
    fabric.yarn.fuzz = 0.0;
    fabric.yarn.heather = 0.0;
    fabric.border_stitches = 0;
    fabric.border_rows = 0;
    scene
}

/// From mm on the fabric's visible surface to the photo, written out anew from the fields' description.
fn by_truth(truth: &Truth, [x, y]: [f64; 2]) -> [f64; 2] {
    let h = truth.fabric_plane.as_ref().expect("a fabric").homography_mm_to_px_undistorted;
    let w = h[2][0] * x + h[2][1] * y + h[2][2];
    let undistorted = [(h[0][0] * x + h[0][1] * y + h[0][2]) / w, (h[1][0] * x + h[1][1] * y + h[1][2]) / w];
    distorted(&truth.distortion, undistorted)
}

fn distorted(lens: &DistortionTruth, p: [f64; 2]) -> [f64; 2] {
    let d = [p[0] - lens.center[0], p[1] - lens.center[1]];
    let r = d[0].hypot(d[1]) / lens.radius;
    let grow = 1.0 + lens.k1 * r * r;
    [lens.center[0] + d[0] * grow, lens.center[1] + d[1] * grow]
}

fn take(scene: &Scene) -> SyntheticPhoto {
    photograph(scene).expect("a scene in range")
}

#[test]
fn the_same_scene_gives_the_same_bytes_and_another_seed_others() {
    let scene = Scene::random(7, Difficulty::Normal).with(Factor::Size, 0.2);
    assert_eq!(take(&scene).image, take(&scene).image);
    let other = Scene { seed: 8, ..scene.clone() };
    assert_ne!(take(&scene).image, take(&other).image);
}

#[test]
fn even_knitting_has_the_gauge_it_was_made_with() {
    for tilt in [0.0, 9.0] {
        let mut scene = clean(3).with(Factor::Tilt, tilt);
        let fabric = scene.fabric.as_mut().expect("a fabric");
        fabric.angle_deg = 37.0;
        fabric.irregularity = Irregularity { skew_deg: 6.0, ..Irregularity::NONE };
        let truth = scene.truth().expect("in range");
        assert!((truth.stitch_gauge.expect("visible") - 22.0).abs() < 1e-9);
        // The wale leans by 6 degrees: counted along it, a row is longer by 1 / cos 6°.
        let along_wale = 30.0 * 6.0_f64.to_radians().cos();
        assert!((truth.row_gauge.expect("visible") - along_wale).abs() < 1e-9);
        assert!((truth.skew_deg.expect("visible").abs() - 6.0).abs() < 1e-9);
    }
}

#[test]
fn drift_changes_the_gauge_from_place_to_place_but_not_in_the_middle() {
    let mut scene = clean(3);
    scene.fabric.as_mut().expect("a fabric").irregularity.drift = [0.05, 0.0];
    let photo = take(&scene.with(Factor::Size, 0.2));
    let row = photo.lattice.iter().filter(|s| s.row == 20).collect::<Vec<_>>();
    let spacing = |k: usize| (row[k + 1].mm[0] - row[k].mm[0]).hypot(row[k + 1].mm[1] - row[k].mm[1]);
    let (first, last) = (spacing(0), spacing(row.len() - 2));
    assert!((last / first - 1.0).abs() > 0.05, "{first} {last}");
    assert!((photo.truth.stitch_gauge.expect("visible") / 22.0 - 1.0).abs() < 0.005);
}

#[test]
fn the_lattice_lies_where_homography_and_lens_put_it() {
    for seed in 0..6 {
        let scene = Scene::random(seed, Difficulty::Hard).with(Factor::Size, 0.15);
        let photo = take(&scene);
        assert!(photo.lattice.len() > 50);
        for stitch in &photo.lattice {
            let [x, y] = by_truth(&photo.truth, stitch.mm);
            assert!((x - stitch.px[0]).hypot(y - stitch.px[1]) < 1e-6);
        }
    }
}

/// Centre of what a photo shows more red than its ground, within a window.
fn red_centre(image: &RgbImage, at: [f64; 2], reach: f64) -> Option<[f64; 2]> {
    let (mut sum, mut sx, mut sy) = (0.0, 0.0, 0.0);
    for y in (at[1] - reach) as u32..=(at[1] + reach) as u32 {
        for x in (at[0] - reach) as u32..=(at[0] + reach) as u32 {
            let [r, g, _] = image.get_pixel_checked(x, y)?.0.map(f64::from);
            let weight = (r - 1.15 * g - 6.0).max(0.0);
            sum += weight;
            sx += weight * (f64::from(x) + 0.5);
            sy += weight * (f64::from(y) + 0.5);
        }
    }
    (sum > 100.0).then(|| [sx / sum, sy / sum])
}

/// Least squares of `values` on (1, x, y) about the places' middle: the coefficients of x and y, and the spread left.
fn linear_fit(places: &[[f64; 2]], values: &[f64]) -> ([f64; 2], f64) {
    let n = places.len();
    let middle = [0, 1].map(|c| places.iter().map(|p| p[c]).sum::<f64>() / n as f64);
    let design = DMatrix::from_fn(n, 3, |k, c| if c == 0 { 1.0 } else { places[k][c - 1] - middle[c - 1] });
    let values = DVector::from_row_slice(values);
    let normal = (design.transpose() * &design).try_inverse().expect("places that span a plane");
    let fit = normal * design.transpose() * &values;
    let left = &values - design * &fit;
    ([fit[1], fit[2]], (left.norm_squared() / n as f64).sqrt())
}

/// The drawn stitch is seen by the outlines of its legs, at some height near the surface of the fabric: a scale of its
/// own, but the same along and across, and below that no shift from stitch to stitch.
#[test]
fn single_red_stitches_are_drawn_where_the_truth_puts_them() {
    for (tilt, k1) in [(0.0, 0.0), (8.0, -0.02)] {
        let mut scene = clean(5).with(Factor::Tilt, tilt).with(Factor::Distortion, k1);
        scene.ruler = None;
        scene.light.elevation_deg = 90.0;
        let fabric = scene.fabric.as_mut().expect("a fabric");
        fabric.yarn.colours = vec![[0.1, 0.2, 0.2], [0.8, 0.1, 0.1]];
        fabric.yarn.plies = 1;
        let mut colours = vec![vec![0_u8; 5]; 5];
        colours[2][2] = 1;
        fabric.chart = Chart { colours, ..Chart::from_rows("stockinette", &["k"]) };
        let photo = take(&scene);
        let stitch_px = photo.truth.px_per_stitch.expect("visible");
        let marked = photo.lattice.iter().filter(|s| s.stitch % 5 == 2 && s.row % 5 == 2);
        let found: Vec<_> =
            marked.filter_map(|s| Some((s.px, red_centre(&photo.image, s.px, 1.6 * stitch_px)?))).collect();
        assert!(found.len() > 30, "{} stitches found", found.len());
        let places: Vec<_> = found.iter().map(|(truth, _)| *truth).collect();
        let [(by_x, left_x), (by_y, left_y)] =
            [0, 1].map(|c| linear_fit(&places, &found.iter().map(|(t, seen)| seen[c] - t[c]).collect::<Vec<_>>()));
        println!(
            "tilt {tilt}: scale {:.5} {:.5}, shear {:.5} {:.5}, left {left_x:.3} {left_y:.3} px",
            by_x[0], by_y[1], by_x[1], by_y[0]
        );
        // 0.5 mm of height at 170 mm distance.
        assert!(by_x[0].abs() < 0.003 && (by_x[0] - by_y[1]).abs() < 0.0008);
        assert!(by_x[1].abs() < 0.0008 && by_y[0].abs() < 0.0008);
        assert!(left_x < 0.12 && left_y < 0.12, "{left_x} {left_y}");
    }
}

/// Darkness of the photo at a place, between pixels' centres linearly.
fn darkness(image: &RgbImage, [x, y]: [f64; 2]) -> f64 {
    let (u, v) = (x - 0.5, y - 0.5);
    let (i, j) = (u.floor(), v.floor());
    let (a, b) = (u - i, v - j);
    let at = |di: u32, dj: u32| 255.0 - f64::from(image.get_pixel(i as u32 + di, j as u32 + dj).0[1]);
    (at(0, 0) * (1.0 - a) + at(1, 0) * a) * (1.0 - b) + (at(0, 1) * (1.0 - a) + at(1, 1) * a) * b
}

#[test]
fn marks_of_the_ruler_are_drawn_where_the_truth_puts_them() {
    for angle in [0.0, 3.3, 41.0, 90.0] {
        let mut scene = clean(2);
        let ruler = scene.ruler.as_mut().expect("a ruler");
        ruler.numerals = false;
        ruler.angle_deg = angle;
        ruler.centre_mm = scene.camera.target_mm;
        let photo = take(&scene);
        let scale = &photo.truth.ruler.as_ref().expect("a ruler").scales[0];
        let [Some(first), Some(last)] = scale.end_points_px else { panic!("both ends project") };
        let steps = f64::from(scale.ticks - 1);
        let along = [0, 1].map(|c| (last[c] - first[c]) / steps);
        let pitch = along[0].hypot(along[1]);
        // Square-on, marks lie evenly; they run from the edge into the body, here 1.5 pitches deep.
        let into = [-along[1] * 1.5, along[0] * 1.5];
        let size = [photo.image.width(), photo.image.height()].map(f64::from);
        let mut off = Vec::new();
        for k in 1..scale.ticks - 1 {
            let middle = [0, 1].map(|c| first[c] + along[c] * f64::from(k) + into[c]);
            if (0..2).any(|c| middle[c] < 20.0 || middle[c] > size[c] - 20.0) {
                continue;
            }
            let (mut sum, mut moment) = (0.0, 0.0);
            let ground = darkness(&photo.image, [0, 1].map(|c| middle[c] + 0.5 * along[c]));
            for step in -40..=40 {
                let t = f64::from(step) / 80.0;
                let dark = (darkness(&photo.image, [0, 1].map(|c| middle[c] + t * along[c])) - ground).max(0.0);
                (sum, moment) = (sum + dark, moment + dark * t);
            }
            off.push(moment / sum * pitch);
        }
        let mean = off.iter().sum::<f64>() / off.len() as f64;
        let worst = off.iter().fold(0.0_f64, |worst, o| worst.max(o.abs()));
        println!("{angle}: {} marks of {pitch:.2} px, mean {mean:+.4} px, worst {worst:.4} px", off.len());
        assert!(off.len() > 80);
        assert!(mean.abs() < 0.02 && worst < 0.15, "{angle}: mean {mean}, worst {worst}");
    }
}

#[test]
fn a_sweep_changes_one_factor_and_the_seed() {
    let base = Scene::plain(1);
    let scenes = sweep(&base, Factor::Blur, &[0.5, 1.0, 2.0]);
    assert_eq!(scenes.iter().map(|s| s.camera.blur_px).collect::<Vec<_>>(), [0.5, 1.0, 2.0]);
    let back = scenes[2].clone().with(Factor::Blur, base.camera.blur_px);
    assert_eq!(Scene { seed: base.seed, ..back }, base);
}

#[test]
fn what_cannot_be_measured_says_so() {
    let reasons: Vec<_> = (0..40)
        .map(|seed| Scene::random_unmeasurable(seed, Difficulty::Normal).truth().expect("in range"))
        .map(|truth| (truth.must_refuse, truth.refuse_reason))
        .collect();
    assert!(reasons.iter().all(|(must, reason)| *must && reason.is_some()), "{reasons:?}");
    for wanted in ["no_ruler", "ruler_without_ticks", "out_of_focus", "no_fabric", "too_few_stitches"] {
        assert!(reasons.iter().any(|(_, reason)| reason.as_deref() == Some(wanted)), "{wanted}");
    }
    for difficulty in [Difficulty::Easy, Difficulty::Normal, Difficulty::Hard] {
        for seed in 0..60 {
            let truth = Scene::random(seed, difficulty).truth().expect("in range");
            assert!(!truth.must_refuse, "{seed} {difficulty:?}: {:?}", truth.refuse_reason);
        }
    }
}
