//! The pictures of the pages: annotated photos, photos as they should be and should not be, and pages as a browser shows
//! them. Each is drawn by the project itself.

use super::{blocks, figures, project};
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, resize};
use image::{Rgb, RgbImage};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::Command;
use walewise::lattice::StitchPattern;
use walewise::measure::{Setup, measure};
use walewise::record::{Record, Status};
use walewise::refusal::RefusalCode;
use walewise::synthetic::{RulerScale, Scene, photograph, photograph_beside};

pub fn folder() -> PathBuf {
    project().join("sample-photos/pictures")
}

/// A photo as people take it, and what becomes of it.
struct Example {
    name: &'static str,
    /// `None`: it is measured.
    refused: Option<RefusalCode>,
    draw: fn() -> RgbImage,
}

const EXAMPLES: [Example; 9] = [
    Example { name: "good", refused: None, draw: || drawn(|_| ()) },
    Example {
        name: "tilted",
        refused: Some(RefusalCode::TiltTooLarge),
        draw: || drawn(|s| (s.camera.pitch_deg, s.camera.yaw_deg) = (30.0, 34.0)),
    },
    Example { name: "blurred", refused: Some(RefusalCode::OutOfFocus), draw: || drawn(|s| s.camera.blur_px = 14.0) },
    Example { name: "flash", refused: Some(RefusalCode::Glare), draw: || drawn(|s| s.camera.exposure_ev = 3.4) },
    Example { name: "far", refused: Some(RefusalCode::TooSmall), draw: || drawn(|s| s.camera.distance_mm *= 7.0) },
    Example { name: "too-few", refused: Some(RefusalCode::TooFewStitches), draw: || drawn(small_swatch) },
    Example { name: "wrong-side-up", refused: Some(RefusalCode::RulerUnmarked), draw: || drawn(wrong_side_up) },
    Example { name: "two-swatches", refused: Some(RefusalCode::SeveralSwatches), draw: two_swatches },
    Example { name: "gap-and-shadow", refused: None, draw: gap_and_shadow },
];

/// A swatch of stockinette on a plain table, the ruler on it, seen from straight above; and changed.
fn drawn(change: fn(&mut Scene)) -> RgbImage {
    photograph(&scene(change)).expect("values in range").image
}

fn scene(change: fn(&mut Scene)) -> Scene {
    let mut scene = Scene::plain(1);
    if let Some(fabric) = &mut scene.fabric {
        (fabric.centre_mm, fabric.angle_deg) = ([0.0, 0.0], 0.0);
        (fabric.stitches, fabric.rows) = (28, 28);
    }
    below(&mut scene, 5.0);
    scene.camera.target_mm = [0.0, 18.0];
    scene.camera.distance_mm *= 1.1;
    change(&mut scene);
    scene
}

/// The ruler on the table below the swatch, so far from it.
fn below(scene: &mut Scene, gap_mm: f64) {
    let half = scene.fabric.as_ref().map_or(0.0, |f| f.size_mm()[1] / 2.0);
    if let Some(ruler) = &mut scene.ruler {
        (ruler.on_fabric, ruler.angle_deg) = (false, 0.0);
        ruler.centre_mm = [0.0, half + gap_mm + ruler.width_mm / 2.0];
    }
}

fn small_swatch(scene: &mut Scene) {
    if let Some(fabric) = &mut scene.fabric {
        (fabric.stitches, fabric.rows, fabric.border_stitches, fabric.border_rows) = (5, 6, 0, 0);
    }
    below(scene, 5.0);
    scene.camera.distance_mm *= 0.7;
}

fn wrong_side_up(scene: &mut Scene) {
    if let Some(ruler) = &mut scene.ruler {
        (ruler.scale, ruler.on_fabric) = (RulerScale::Unmarked, true);
        (ruler.centre_mm, ruler.angle_deg) = ([0.0, 22.0], -6.0);
    }
}

fn two_swatches() -> RgbImage {
    let mut scene = scene(|_| ());
    let fabric = scene.fabric.as_mut().expect("a swatch");
    (fabric.stitches, fabric.rows, fabric.border_stitches, fabric.border_rows) = (20, 30, 0, 0);
    fabric.centre_mm = [-52.0, 0.0];
    let mut other = fabric.clone();
    other.centre_mm = [52.0, 0.0];
    scene.camera.distance_mm *= 1.25;
    below(&mut scene, 5.0);
    photograph_beside(&scene, &other).expect("values in range")
}

/// The ruler a hand's breadth away, and the shadow of a head over half of the picture.
fn gap_and_shadow() -> RgbImage {
    let mut picture = drawn(|s| {
        below(s, 45.0);
        s.camera.target_mm[1] += 20.0;
        s.camera.distance_mm *= 1.2;
    });
    let (w, h) = (f64::from(picture.width()), f64::from(picture.height()));
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let edge = (f64::from(x) - 0.2 * w - 0.4 * f64::from(y) / h * w) / (0.06 * w);
        let light = 0.35 + 0.65 / (1.0 + (-edge).exp());
        // Light as it falls, pixels as they are coded: a power of 2.2.
        *pixel = Rgb(pixel.0.map(|v| (f64::from(v) * light.powf(1.0 / 2.2)) as u8));
    }
    picture
}

fn jpeg(picture: &RgbImage, quality: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality).encode_image(picture).expect("a picture in memory");
    bytes
}

fn measured(picture: &RgbImage) -> Record {
    let setup = Setup { stitch: StitchPattern::named("stockinette"), ..Setup::default() };
    measure(&jpeg(picture, 92), &setup, &mut |_| ControlFlow::Continue(())).record
}

/// Each example becomes what the README says of it.
pub fn check_refusals() {
    let readme = std::fs::read_to_string(project().join("README.md")).expect("the README");
    let mut wrong = Vec::new();
    for Example { name, refused, draw } in EXAMPLES {
        let record = measured(&draw());
        let (is, should) = (record.refusal.as_ref().map(|r| r.code), refused);
        if is != should || should.is_none() && record.status != Status::Measured {
            wrong.push(format!("{name}: {is:?} {:?}", record.refusal.map(|r| r.message)));
        }
        if let Some(gauge) = &record.gauge {
            let [stitches, rows] =
                [gauge.stitches_per_10cm, gauge.rows_per_10cm].map(|g| (g.value, g.expanded_uncertainty));
            println!("{name}: {stitches:?} stitches, {rows:?} rows");
        }
        let file = format!("sample-photos/pictures/{name}.jpg");
        let cell = readme.split('|').find(|cell| cell.contains(&file)).unwrap_or_default();
        if let Some(code) = refused.map(figures::name) {
            assert!(cell.contains(&format!("`{code}`")), "{name}: the README does not say {code} beside it: {cell}");
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Writes every picture; says which can't be drawn here.
pub fn draw_all() {
    for Example { name, draw, .. } in EXAMPLES {
        write(&format!("{name}.jpg"), &draw(), 420, 80);
    }
    let work = tempfile::tempdir().expect("a folder");
    for (photo, arguments, name) in [
        ("stockinette-steel-ruler", &["--stitch", "stockinette"][..], "stockinette-annotated.jpg"),
        ("rib-2x2-inch-ruler", &["--stitch", "rib-2x2"], "rib-annotated.jpg"),
    ] {
        let photo = project().join(format!("sample-photos/{photo}.jpg"));
        let annotated = work.path().join("seen.png");
        walewise(work.path(), &[&["measure", path(&photo), "--annotate", path(&annotated)], arguments].concat());
        write(name, &image::open(&annotated).expect("a picture").to_rgb8(), 1000, 82);
    }
    println!("SKIPPED: page.png is taken from the page itself (web/tests/screens.mjs)");
    if Command::new("chromium").arg("--version").output().is_err() {
        println!("SKIPPED: pictures of pages, since there is no chromium");
        return;
    }
    draw_pages(work.path());
}

/// Pages as a browser shows them: a plan, a class's handout, swatches of the log side by side.
fn draw_pages(work: &Path) {
    let plans = project().join("sample-photos/plans");
    walewise(work, &["plan", path(&plans.join("three-caps.toml")), "--html", "plan.html"]);
    browse(work, "plan.html", "three-caps.png", (760, 900));
    walewise(work, &["sample", "--class", "demo", "--seed", "7"]);
    let class = ["class", "demo", "--stitch", "stockinette", "--ruler-id", "school ruler", "--handout", "handout.html"];
    walewise(work, &class);
    browse(work, "handout.html", "class-handout.png", (900, 1050));
    let log = std::fs::read_to_string(project().join("src/cli/pages/log.md")).expect("the page of the log");
    blocks::run_in(work, &log);
    browse(work, "sample-photos/washed.html", "comparison-page.png", (1050, 1030));
}

fn walewise(work: &Path, arguments: &[&str]) {
    let output = Command::new(assert_cmd::cargo::cargo_bin!("walewise")).current_dir(work).args(arguments).output();
    let output = output.expect("the command");
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

fn path(path: &Path) -> &str {
    path.to_str().expect("a plain name")
}

fn browse(work: &Path, page: &str, name: &str, (width, height): (u32, u32)) {
    let mut chromium = Command::new("chromium");
    chromium.current_dir(work).args([
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
    ]);
    chromium.args([
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--hide-scrollbars",
    ]);
    chromium.arg(format!("--user-data-dir={}", path(&work.join("browser"))));
    chromium.arg(format!("--window-size={width},{height}")).arg("--screenshot=page.png");
    let output = chromium.arg(format!("file://{}", path(&work.join(page)))).output().expect("chromium");
    assert!(output.status.success(), "{page}: {}", String::from_utf8_lossy(&output.stderr));
    std::fs::rename(work.join("page.png"), folder().join(name))
        .or_else(|_| std::fs::copy(work.join("page.png"), folder().join(name)).map(drop))
        .expect("the picture");
}

/// Writes a picture with its longer side at most so many pixels.
fn write(name: &str, picture: &RgbImage, side: u32, quality: u8) {
    let (w, h) = picture.dimensions();
    let zoom = (f64::from(side) / f64::from(w.max(h))).min(1.0);
    let px = |length: u32| (f64::from(length) * zoom).round() as u32;
    let small = resize(picture, px(w), px(h), FilterType::Lanczos3);
    std::fs::write(folder().join(name), jpeg(&small, quality)).expect("the picture can be written");
}
