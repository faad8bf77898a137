//! The synthetic photos against their own truth: what the renderer drew lies where the truth says.

use image::RgbImage;
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

/// Slope of `values` over `places`, both about their means.
fn slope(places: &[f64], values: &[f64]) -> f64 {
    let mean = |list: &[f64]| list.iter().sum::<f64>() / list.len() as f64;
    let (mp, mv) = (mean(places), mean(values));
    let with: f64 = places.iter().zip(values).map(|(p, v)| (p - mp) * (v - mv)).sum();
    with / places.iter().map(|p| (p - mp).powi(2)).sum::<f64>()
}

#[test]
fn single_red_stitches_are_drawn_where_the_truth_puts_them() {
    for (tilt, k1) in [(0.0, 0.0), (8.0, -0.02)] {
        let mut scene = clean(5).with(Factor::Tilt, tilt).with(Factor::Distortion, k1);
        scene.ruler.as_mut().expect("a ruler").on_fabric = false;
        scene.ruler.as_mut().expect("a ruler").centre_mm = [0.0, 500.0];
        let fabric = scene.fabric.as_mut().expect("a fabric");
        fabric.yarn.colours = vec![[0.1, 0.2, 0.2], [0.8, 0.1, 0.1]];
        let mut colours = vec![vec![0_u8; 5]; 5];
        colours[2][2] = 1;
        fabric.chart = Chart { colours, ..Chart::from_rows("stockinette", &["k"]) };
        let photo = take(&scene);
        let stitch_px = photo.truth.px_per_stitch.expect("visible");
        let (mut x, mut y, mut dx, mut dy) = (vec![], vec![], vec![], vec![]);
        for stitch in photo.lattice.iter().filter(|s| s.stitch % 5 == 2 && s.row % 5 == 2) {
            let Some(found) = red_centre(&photo.image, stitch.px, 1.6 * stitch_px) else { continue };
            x.push(stitch.px[0]);
            y.push(stitch.px[1]);
            dx.push(found[0] - stitch.px[0]);
            dy.push(found[1] - stitch.px[1]);
        }
        assert!(x.len() > 30, "{} stitches found", x.len());
        let spread = |d: &[f64]| {
            let mean = d.iter().sum::<f64>() / d.len() as f64;
            (d.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / d.len() as f64).sqrt()
        };
        let scale = [slope(&x, &dx), slope(&y, &dy)];
        println!("tilt {tilt} n {} px/st {stitch_px:.1} scale {scale:?} spread {} {} mean {} {}", x.len(), spread(&dx), spread(&dy), dx.iter().sum::<f64>() / dx.len() as f64, dy.iter().sum::<f64>() / dy.len() as f64);
        assert!(scale.iter().all(|s| s.abs() < 1e-3), "scale {scale:?}");
        assert!(spread(&dx) < 0.2 && spread(&dy) < 0.2);
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
