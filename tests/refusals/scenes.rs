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
    draw: Box<dyn Fn() -> RgbImage>,
    pub setup: Setup,
    pub code: RefusalCode,
    /// Words that the advice must hold.
    pub advice: &'static str,
}

impl Refusable {
    fn new(
        name: impl Into<String>,
        code: RefusalCode,
        advice: &'static str,
        draw: impl Fn() -> RgbImage + 'static,
    ) -> Self {
        let setup = Setup { stitch: StitchPattern::named("stockinette"), ..Setup::default() };
        Self { name: name.into(), draw: Box::new(draw), setup, code, advice }
    }

    pub fn jpeg(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 92).encode_image(&(self.draw)()).expect("a picture in memory");
        bytes
    }
}

/// Stockinette on a plain table with a plastic ruler across it, declared as such, and changed.
fn changed(seed: u64, change: impl Fn(&mut Scene)) -> RgbImage {
    let mut scene = Scene::plain(seed);
    change(&mut scene);
    photograph(&scene).expect("values in range").image
}

fn fabric(scene: &mut Scene) -> &mut Fabric {
    scene.fabric.as_mut().expect("a swatch")
}

/// All of them; `seed` varies what is not asked for.
pub fn all(seed: u64) -> Vec<Refusable> {
    use RefusalCode::*;
    let one = |name: &str, code, advice, change: fn(&mut Scene)| {
        Refusable::new(name, code, advice, move || changed(seed, change))
    };
    let mut photos = vec![
        one("no ruler", NoScale, "ruler", |s| s.ruler = None),
        one("ruler wrong side up", RulerUnmarked, "marked side up", |s| {
            s.ruler.iter_mut().for_each(|r| r.scale = RulerScale::Unmarked);
        }),
        one("far away", TooSmall, "closer", |s| s.camera.distance_mm *= 7.0),
        one("out of focus", OutOfFocus, "focus", |s| s.camera.blur_px = 14.0),
        one("flash", Glare, "flash", |s| s.camera.exposure_ev = 3.4),
        one("held askew", TiltTooLarge, "straight above", |s| {
            (s.camera.pitch_deg, s.camera.yaw_deg) = (10.0, 40.0);
        }),
        one("place mat", NotKnit, "swatch", |s| bare(s, Table::Weave([0.35, 0.3, 0.22]))),
        one("cloth", NotKnit, "swatch", |s| bare(s, Table::Cloth([0.35, 0.3, 0.32]))),
        one("bricks", NotKnit, "swatch", |s| bare(s, Table::Bricks([0.35, 0.12, 0.08]))),
        one("dots", NotKnit, "swatch", |s| bare(s, Table::Dots([0.1, 0.15, 0.4]))),
    ];
    for (name, pixel_px) in [("fine screen", 1.2), ("screen", 2.1), ("coarse screen", 4.4)] {
        let screen = Screen { pixel_px, turned_deg: 1.0 + seed as f64 % 5.0, gap: 0.15, blur_px: 0.35, noise: 0.008 };
        let shown = move || photograph_of_screen(&changed(seed, |_| ()), &screen, seed);
        photos.push(Refusable::new(name, Moire, "swatch itself", shown));
    }
    let beside = |name: &str, change: fn(&mut Fabric)| {
        Refusable::new(name, SeveralSwatches, "--region", move || two_swatches(seed, change))
    };
    photos.push(beside("two swatches alike", |_| ()));
    photos.push(beside("two swatches of other gauge", |f| {
        (f.stitches_per_10cm, f.rows_per_10cm, f.stitches, f.rows) = (17.0, 23.0, 15, 21);
    }));
    photos.push(beside("two swatches turned", |f| f.angle_deg = 90.0));
    photos.push(beside("two swatches of other pattern and yarn", |f| {
        f.chart = Chart::named("garter").expect("a known pattern");
        (f.rows_per_10cm, f.rows) = (42.0, 38);
        f.yarn.colours = vec![[0.5, 0.12, 0.1]];
    }));
    photos
}

/// No swatch: a ruler on a table.
fn bare(scene: &mut Scene, table: Table) {
    scene.fabric = None;
    scene.table = table;
    scene.ruler.iter_mut().for_each(|r| r.on_fabric = false);
}

/// A ruler on the table below the swatch, level with it.
fn ruler_below(scene: &mut Scene, y_mm: f64) {
    if let Some(ruler) = &mut scene.ruler {
        (ruler.on_fabric, ruler.centre_mm, ruler.angle_deg) = (false, [0.0, y_mm], 0.0);
    }
}

/// Two swatches side by side, the second changed, and a ruler below them.
fn two_swatches(seed: u64, change: impl Fn(&mut Fabric)) -> RgbImage {
    let mut scene = Scene::plain(seed);
    let f = fabric(&mut scene);
    (f.stitches, f.rows, f.border_stitches, f.border_rows) = (20, 28, 0, 0);
    (f.centre_mm, f.angle_deg) = ([-52.0, 0.0], 0.0);
    let mut other = f.clone();
    other.centre_mm = [52.0, 0.0];
    change(&mut other);
    scene.camera.target_mm = [0.0, 15.0];
    scene.camera.distance_mm *= 1.6;
    ruler_below(&mut scene, 66.0);
    photograph_beside(&scene, &other).expect("values in range")
}
