//! The calibration card, an ID-1 card and lens profiles as people meet them.

use super::folder::{Answer, Folder};
use image::{Rgb, RgbImage};

#[test]
fn the_card_is_written_once_for_either_paper_as_pdf_and_svg() {
    let folder = Folder::new();
    for (paper, name, head) in [("a4", "a4.pdf", "%PDF-"), ("letter", "l.PDF", "%PDF-"), ("a4", "c.svg", "<svg")] {
        let write = |more: &[&str]| Answer::of(folder.command().args(["card", "--paper", paper, name]).args(more));
        assert_eq!(write(&[]).status, 0);
        let bytes = std::fs::read(folder.path(name)).unwrap();
        assert!(bytes.starts_with(head.as_bytes()), "{name}");
        let again = write(&[]);
        assert_eq!((again.status, again.err.contains("--force")), (1, true), "{}", again.err);
        assert_eq!(write(&["--force"]).status, 0);
        assert_eq!(std::fs::read(folder.path(name)).unwrap(), bytes, "the same card every time");
    }
    for wrong in [&["card", "card.png"][..], &["card"], &["card", "x.pdf", "--paper", "a5"]] {
        assert_eq!(Answer::of(folder.command().args(wrong)).status, 2, "{wrong:?}");
    }
    assert_eq!(Answer::of(folder.command().args(["card", "no/folder/x.pdf"])).status, 1);
}

#[test]
fn only_one_thing_gives_the_scale() {
    let folder = Folder::new();
    for wrong in [
        &["grey.jpg", "--card", "--grid", "10"][..],
        &["grey.jpg", "--card", "--id1"],
        &["grey.jpg", "--id1", "--span", "1,1,9,9=5mm"],
        &["grey.jpg", "--card", "--ruler", "cm"],
        &["grey.jpg", "--card-length", "150"],
        &["grey.jpg", "--card", "--card-length", "15"],
        &["grey.jpg", "--card", "--card-length", "NaN"],
        &["grey.jpg", "--lens", "missing.json"],
    ] {
        let answer = folder.measure(wrong);
        assert_eq!((answer.status, answer.err.lines().count()), (2, 1), "{wrong:?}: {}", answer.err);
    }
}

#[test]
fn a_lost_card_is_refused_by_its_name() {
    let folder = Folder::new();
    for (option, word) in [("--card", "walewise card"), ("--id1", "blank side up")] {
        let answer = folder.measure(&["grey.jpg", option, "--json"]);
        let record: serde_json::Value = serde_json::from_str(&answer.out).unwrap();
        assert_eq!((answer.status, record["refusal"]["code"].as_str()), (3, Some("no_scale")));
        assert!(record["refusal"]["advice"].as_str().unwrap().contains(word), "{record}");
    }
}

/// A drawn photo of a swatch with this scale, and its truth.
fn sample(folder: &Folder, ruler: &str, seed: &str) -> serde_json::Value {
    let size = ["--size", "1600x1200", "--stitch", "stockinette"];
    let made = Answer::of(folder.command().args(["sample", "s.jpg", "--ruler", ruler, "--seed", seed]).args(size));
    assert_eq!(made.status, 0, "{}", made.err);
    serde_json::from_slice(&std::fs::read(folder.path("s.json")).unwrap()).unwrap()
}

fn measured(folder: &Folder, options: &[&str]) -> serde_json::Value {
    let answer = folder.measure(&[&["s.jpg", "--stitch", "stockinette", "--json"], options].concat());
    assert_eq!(answer.status, 0, "{} {}", answer.out, answer.err);
    serde_json::from_str(&answer.out).unwrap()
}

fn off(record: &serde_json::Value, truth: &serde_json::Value) -> (f64, f64) {
    let gauge = &record["gauge"]["stitches_per_10cm"];
    let true_gauge = truth["stitch_gauge"].as_f64().unwrap();
    let value = gauge["value"].as_f64().unwrap();
    (value - true_gauge, gauge["expanded_uncertainty"].as_f64().unwrap())
}

#[test]
fn a_swatch_is_measured_with_the_card() {
    let folder = Folder::new();
    let truth = sample(&folder, "card", "2");
    let record = measured(&folder, &["--card", "--card-length", "150 mm"]);
    assert_eq!((record["scale"]["kind"].as_str(), record["scale"]["unit"].as_str()), (Some("card"), None));
    assert!(record["scale"]["graduations_read"].as_u64().unwrap() > 60);
    let stitches = truth["stitch_gauge"].as_f64().unwrap();
    let (error, half_width) = off(&record, &truth);
    assert!(error.abs() < half_width && half_width < 0.02 * stitches, "{error} {half_width}");
    assert!(!record["cautions"].to_string().contains("card_unconfirmed"));

    // A longer check length means larger squares, and fewer stitches in 10 cm.
    let longer = measured(&folder, &["--card", "--card-length", "153"]);
    let of = |r: &serde_json::Value| r["gauge"]["rows_per_10cm"]["value"].as_f64().unwrap();
    assert!((of(&record) / of(&longer) - 1.02).abs() < 0.002, "{} {}", of(&record), of(&longer));

    let unconfirmed = measured(&folder, &["--card"]);
    assert!(unconfirmed["cautions"].to_string().contains("card_unconfirmed"));
    let (error, half_width) = off(&unconfirmed, &truth);
    assert!(error.abs() < half_width && half_width > 0.04 * stitches);
}

/// Paints a face on the ID-1 card of the sample, to its very edge, in a colour nothing else has.
fn paint_face(folder: &Folder, truth: &serde_json::Value, colour: Rgb<u8>) -> RgbImage {
    let mut photo = image::open(folder.path("s.jpg")).unwrap().to_rgb8();
    let corners: Vec<(f64, f64)> = truth["ruler"]["corners_px"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| (c[0].as_f64().unwrap(), c[1].as_f64().unwrap()))
        .collect();
    // Deep inside, where the card's edges are measured from, it stays as it was drawn.
    for (x, y, p) in photo.enumerate_pixels_mut() {
        let (x, y) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
        let depth = (0..4)
            .map(|k| {
                let (a, b) = (corners[k], corners[(k + 1) % 4]);
                let length = (b.0 - a.0).hypot(b.1 - a.1);
                ((b.0 - a.0) * (y - a.1) - (b.1 - a.1) * (x - a.0)) / length
            })
            .fold(f64::INFINITY, f64::min);
        if depth > 25.0 {
            *p = colour;
        }
    }
    photo
}

#[test]
fn no_pixel_of_an_id1_cards_face_is_written() {
    const FACE: Rgb<u8> = Rgb([255, 0, 255]);
    let is_face = |p: &Rgb<u8>| p[0] > 200 && p[1] < 90 && p[2] > 200;
    let folder = Folder::new();
    let truth = sample(&folder, "id1", "2");
    let painted = paint_face(&folder, &truth, FACE);
    assert!(painted.pixels().filter(|p| is_face(p)).count() > 5000);
    painted.save(folder.path("s.png")).unwrap();
    let answer = folder.measure(&["s.png", "--stitch", "stockinette", "--id1", "--json", "--annotate", "seen.png"]);
    let record: serde_json::Value = serde_json::from_str(&answer.out).unwrap();
    assert_eq!((answer.status, record["scale"]["kind"].as_str()), (0, Some("id1")), "{record}");
    let seen = image::open(folder.path("seen.png")).unwrap().to_rgb8();
    assert_eq!(seen.pixels().filter(|p| is_face(p)).count(), 0);

    // Where the card is not found, nothing of the picture is shown: the face may be anywhere.
    let mut lost = painted;
    lost.enumerate_pixels_mut().filter(|(x, _, _)| x % 40 < 20).for_each(|(_, _, p)| *p = Rgb([90, 90, 90]));
    lost.save(folder.path("lost.png")).unwrap();
    let answer = folder.measure(&["lost.png", "--id1", "--annotate", "lost-seen.png"]);
    assert_eq!(answer.status, 3, "{}", answer.out);
    let seen = image::open(folder.path("lost-seen.png")).unwrap().to_rgb8();
    assert_eq!(seen.pixels().filter(|p| is_face(p)).count(), 0);
}

#[test]
fn an_id1_card_is_not_taken_unless_asked() {
    let folder = Folder::new();
    let truth = sample(&folder, "id1", "2");
    let answer = folder.measure(&["s.jpg", "--stitch", "stockinette", "--json"]);
    let record: serde_json::Value = serde_json::from_str(&answer.out).unwrap();
    assert_eq!((answer.status, record["refusal"]["code"].as_str()), (3, Some("no_scale")), "{record}");
    let record = measured(&folder, &["--id1"]);
    let (error, half_width) = off(&record, &truth);
    assert!(error.abs() < half_width, "{error} {half_width}");
}

/// A profile of plausible numbers for photos of this shape and focal length.
fn profile(aspect_ratio: f64, focal_mm: f64, k1: f64) -> String {
    format!(
        r#"{{"schema": "walewise.lens/1", "version": "0.1.0", "model": "",
        "k1": {{"value": {k1}, "standard_uncertainty": 0.0005}}, "k2": {{"value": 0.001, "standard_uncertainty": 0.0005}},
        "correlation": -0.9, "aspect_ratio": {aspect_ratio}, "photo_size_px": [1200, 900], "focal_length_35mm": {focal_mm},
        "focal_length_half_diagonals": {{"value": 1.2, "standard_uncertainty": 0.01}},
        "photos": 8, "corners": 700, "residual_px": 0.1}}"#
    )
}

#[test]
fn a_lens_profile_is_used_or_refused_with_a_reason() {
    let folder = Folder::new();
    let truth = sample(&folder, "card", "2");
    let focal = truth["camera"]["f35_mm"].as_f64().unwrap().round();
    let k1 = truth["distortion"]["k1"].as_f64().unwrap();
    let with = |name: &str, text: &str| {
        std::fs::write(folder.path(name), text).unwrap();
        folder.measure(&[
            "s.jpg",
            "--stitch",
            "stockinette",
            "--json",
            "--card",
            "--card-length",
            "150",
            "--lens",
            name,
        ])
    };
    let good = with("good.json", &profile(4.0 / 3.0, focal, k1));
    assert_eq!(good.status, 0, "{}", good.err);
    let record: serde_json::Value = serde_json::from_str(&good.out).unwrap();
    let seen = &record["scale"]["distortion"];
    assert!((seen["k1"].as_f64().unwrap() - k1).abs() < 0.003 && seen["k2"].as_f64() == Some(0.001), "{seen}");

    for (name, text) in [("wide.json", profile(1.7778, focal, k1)), ("tele.json", profile(4.0 / 3.0, 2.0 * focal, k1))]
    {
        let other = with(name, &text);
        let record: serde_json::Value = serde_json::from_str(&other.out).unwrap();
        assert_eq!((other.status, record["error"]["code"].as_str()), (2, Some("lens_mismatch")), "{record}");
    }
    for text in
        ["", "{", "[]", r#"{"schema": "walewise.lens/9"}"#, &profile(4.0 / 3.0, focal, 70.0), &"[".repeat(70_000)]
    {
        let bad = with("bad.json", text);
        assert_eq!((bad.status, bad.err.lines().count(), bad.out.as_str()), (2, 1, ""), "{}", bad.err);
        assert!(bad.err.contains("bad.json"), "{}", bad.err);
    }
    std::fs::write(folder.path("binary.json"), [0xFF, 0xFE, 0x00]).unwrap();
    assert_eq!(folder.measure(&["s.jpg", "--card", "--lens", "binary.json"]).status, 2);
}

#[test]
fn lens_needs_photos_of_the_card() {
    let folder = Folder::new();
    let lens = |arguments: &[&str]| Answer::of(folder.command().arg("lens").args(arguments));
    assert_eq!(lens(&["grey.jpg", "-o", "lens.json"]).status, 3);
    assert_eq!(lens(&["missing.jpg", "-o", "lens.json"]).status, 2);
    assert_eq!(lens(&["-o", "lens.json"]).status, 2);
    assert!(!folder.path("lens.json").exists());
    std::fs::write(folder.path("lens.json"), "before").unwrap();
    assert_eq!(lens(&["grey.jpg", "-o", "lens.json"]).status, 1);
    assert_eq!(std::fs::read_to_string(folder.path("lens.json")).unwrap(), "before");
}
