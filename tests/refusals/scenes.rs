//! Photos that people take and that cannot be measured, drawn: for each refusal what leads to it.

use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use walewise::lattice::StitchPattern;
use walewise::measure::Setup;
use walewise::refusal::RefusalCode;
use walewise::synthetic::{
    Chart, Fabric, RulerScale, Scene, Screen, Table, photograph, photograph_beside, photograph_of_screen,
};

/// A photo with what the user says, and the refusal that is right.
pub struct Refusable {
    pub name: String,
    pub image: RgbImage,
    pub setup: Setup,
    pub code: RefusalCode,
    /// Words that the advice must hold.
    pub advice: &'static str,
}

impl Refusable {
    pub fn jpeg(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 92).encode_image(&self.image).expect("a picture in memory");
        bytes
    }
}

/// Stockinette on a plain table, declared as such; `seed` varies what is not asked for.
fn plain(seed: u64) -> Scene {
    Scene::plain(seed)
}

fn declared(name: &str) -> Setup {
    Setup { stitch: StitchPattern::named(name), ..Setup::default() }
}

fn drawn(scene: &Scene) -> RgbImage {
    photograph(scene).expect("values in range").image
}

fn fabric(scene: &mut Scene) -> &mut Fabric {
    scene.fabric.as_mut().expect("a swatch")
}

/// The plain scene, changed.
fn changed(seed: u64, change: impl FnOnce(&mut Scene)) -> RgbImage {
    let mut scene = plain(seed);
    change(&mut scene);
    drawn(&scene)
}

/// All of them; each kind with the seeds given.
pub fn all(seeds: std::ops::Range<u64>) -> Vec<Refusable> {
    seeds.flat_map(of_seed).collect()
}

fn of_seed(seed: u64) -> Vec<Refusable> {
    use RefusalCode::*;
    let one = |name: &str, image: RgbImage, code, advice| Refusable {
        name: format!("{name}-{seed}"),
        image,
        setup: declared("stockinette"),
        code,
        advice,
    };
    let mut photos = vec![
        one("no ruler", changed(seed, |s| s.ruler = None), NoScale, "ruler"),
        one(
            "ruler wrong side up",
            changed(seed, |s| ruler_scale(s, RulerScale::Unmarked)),
            RulerUnmarked,
            "marked side up",
        ),
        one("far away", changed(seed, |s| s.camera.distance_mm *= 7.0), TooSmall, "closer"),
        one("out of focus", changed(seed, |s| s.camera.blur_px = 14.0), OutOfFocus, "focus"),
        one("flash", changed(seed, |s| s.camera.exposure_ev = 3.4), Glare, "flash"),
        one("few stitches", changed(seed, few_stitches), TooFewStitches, "larger swatch"),
        one(
            "held askew",
            changed(seed, |s| (s.camera.pitch_deg, s.camera.yaw_deg) = (10.0, 40.0)),
            TiltTooLarge,
            "straight above",
        ),
        one("in folds", changed(seed, folded), NotFlat, "flat"),
    ];
    for (name, table) in [
        ("place mat", Table::Weave([0.35, 0.3, 0.22])),
        ("cloth", Table::Cloth([0.35, 0.3, 0.32])),
        ("bricks", Table::Bricks([0.35, 0.12, 0.08])),
        ("dots", Table::Dots([0.1, 0.15, 0.4])),
    ] {
        let bare = |s: &mut Scene| {
            s.fabric = None;
            s.table = table;
            s.ruler.iter_mut().for_each(|r| r.on_fabric = false);
        };
        photos.push(one(name, changed(seed, bare), NotKnit, "swatch"));
    }
    photos.extend(two_swatches(seed));
    for (k, pixel_px) in [1.2, 2.1, 4.4].into_iter().enumerate() {
        let screen = Screen { pixel_px, turned_deg: 1.0 + seed as f64 % 5.0, gap: 0.15, blur_px: 0.35, noise: 0.008 };
        let shown = photograph_of_screen(&changed(seed, |_| ()), &screen, seed);
        photos.push(one(&format!("screen {k}"), shown, Moire, "swatch itself"));
    }
    photos
}

fn ruler_scale(scene: &mut Scene, scale: RulerScale) {
    scene.ruler.iter_mut().for_each(|r| r.scale = scale);
}

/// A swatch just cast on.
fn few_stitches(scene: &mut Scene) {
    let f = fabric(scene);
    (f.stitches, f.rows, f.border_stitches, f.border_rows) = (5, 6, 0, 0);
    (f.stitches_per_10cm, f.rows_per_10cm) = (7.0, 9.5);
    f.angle_deg = 0.0;
    f.centre_mm = [0.0, 0.0];
    scene.camera.target_mm = [0.0, 12.0];
    if let Some(ruler) = &mut scene.ruler {
        ruler.on_fabric = false;
        ruler.centre_mm = [0.0, 58.0];
        ruler.angle_deg = 0.0;
    }
}

/// Folds as of a swatch that was just taken off the needles.
fn folded(scene: &mut Scene) {
    fabric(scene).irregularity.folds_mm = [22.0, 110.0];
    if let Some(ruler) = &mut scene.ruler {
        ruler.on_fabric = false;
        ruler.centre_mm = [0.0, 88.0];
        ruler.angle_deg = 0.0;
    }
    scene.camera.target_mm = [0.0, 20.0];
    scene.camera.distance_mm *= 1.25;
}

/// Two swatches with a ruler between or beside them.
fn two_swatches(seed: u64) -> Vec<Refusable> {
    let mut scene = plain(seed);
    let f = fabric(&mut scene);
    (f.stitches, f.rows, f.border_stitches, f.border_rows) = (20, 28, 0, 0);
    f.angle_deg = 0.0;
    f.centre_mm = [-52.0, 0.0];
    let first = f.clone();
    if let Some(ruler) = &mut scene.ruler {
        ruler.on_fabric = false;
        ruler.centre_mm = [0.0, 66.0];
        ruler.angle_deg = 0.0;
    }
    scene.camera.target_mm = [0.0, 15.0];
    scene.camera.distance_mm *= 1.6;
    let beside = |change: &dyn Fn(&mut Fabric)| {
        let mut other = first.clone();
        other.centre_mm = [52.0, 0.0];
        change(&mut other);
        photograph_beside(&scene, &other).expect("values in range")
    };
    let one = |name: &str, image| Refusable {
        name: format!("two swatches {name}-{seed}"),
        image,
        setup: declared("stockinette"),
        code: RefusalCode::SeveralSwatches,
        advice: "--region",
    };
    vec![
        one("alike", beside(&|_| ())),
        one(
            "of other gauge",
            beside(&|f| (f.stitches_per_10cm, f.rows_per_10cm, f.stitches, f.rows) = (17.0, 23.0, 15, 21)),
        ),
        one("turned", beside(&|f| f.angle_deg = 90.0)),
        one(
            "of other pattern and yarn",
            beside(&|f| {
                f.chart = Chart::named("garter").expect("a known pattern");
                (f.rows_per_10cm, f.rows) = (42.0, 38);
                f.yarn.colours = vec![[0.5, 0.12, 0.1]];
            }),
        ),
    ]
}
