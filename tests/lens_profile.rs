//! The lens from drawn photos of the card, against the lens they were drawn with; and profiles that can't be.

mod card_photos;

use card_photos::{Dice, camera, photo};
use walewise::plane::{CardPhoto, LensError, LensProfile, measure_lens};
use walewise::ruler::read_card;
use walewise::synthetic::{Body, RulerScale, Scene};

/// A photo of the card alone that fills the picture or lies in a part of it, seen from any side.
fn lens_scene(seed: u64, number: u64, k1: f64) -> Scene {
    let mut dice = Dice::new(1000 * seed + number);
    let mut scene = card_photos::scene(1000 * seed + number, RulerScale::Card);
    let mut card = card_photos::card(RulerScale::Card, Body::Paper);
    let far = number % 3 == 2;
    let off = if far { [45.0, 45.0] } else { [8.0, 8.0] };
    card.centre_mm = off.map(|o| dice.between(-o, o));
    card.angle_deg = dice.between(-6.0, 6.0);
    scene.ruler = Some(card);
    scene.camera.k1 = k1;
    (scene.camera.width_px, scene.camera.height_px) = (1600, 1200);
    scene.camera.roll_deg = dice.between(-10.0, 10.0) + if number % 4 == 3 { 90.0 } else { 0.0 };
    scene.camera.focal_length_35mm = 26.0;
    let (tilt, way) = (dice.between(5.0, 28.0), dice.between(0.0, std::f64::consts::TAU));
    (scene.camera.pitch_deg, scene.camera.yaw_deg) = (tilt * way.cos(), tilt * way.sin());
    scene.camera.distance_mm = 26.0 / 43.2666 * 2000.0 * dice.between(185.0, 215.0) / 1600.0;
    scene
}

fn card_photo(scene: &Scene) -> Option<CardPhoto> {
    let photo = photo(scene);
    Some(CardPhoto {
        card: read_card(&photo).ok()?,
        camera: camera(&photo),
        size_px: (photo.width(), photo.height()),
        focal_length_35mm: photo.focal_length_35mm,
    })
}

#[test]
fn the_lens_is_found_again() {
    let (mut z, mut reach) = (Vec::new(), Vec::new());
    let sets = std::env::var("WALEWISE_SEEDS").ok().and_then(|n| n.parse().ok()).unwrap_or(4);
    for seed in 0..sets {
        let k1 = Dice::new(seed).between(-0.07, 0.04);
        let photos: Vec<CardPhoto> = (0..8).filter_map(|n| card_photo(&lens_scene(seed, n, k1))).collect();
        assert!(photos.len() >= 6, "{} of 8 cards", photos.len());
        let lens = measure_lens(&photos).expect("a lens");
        // The whole term half-way out and at the corner, where k1 and k2 work together.
        for r2 in [0.3, 1.0] {
            let (a, b) = (r2, r2 * r2);
            let (u1, u2) = (lens.k1.standard_uncertainty, lens.k2.standard_uncertainty);
            let u = (a * a * u1 * u1 + b * b * u2 * u2 + 2.0 * a * b * lens.correlation * u1 * u2).sqrt();
            let error = a * lens.k1.value + b * lens.k2.value - a * k1;
            z.push(error / u);
            reach.push(error.abs());
        }
        println!(
            "k1 {k1:.4}: {:.4} ± {:.4}, k2 {:.4} ± {:.4}, corr {:.2}, error half-way {:.5}, corner {:.5}, residual {:.3} px, focal {:.4} ± {:.4}",
            lens.k1.value,
            lens.k1.standard_uncertainty,
            lens.k2.value,
            lens.k2.standard_uncertainty,
            lens.correlation,
            reach[reach.len() - 2],
            reach[reach.len() - 1],
            lens.residual_px,
            lens.focal_length_half_diagonals.value,
            lens.focal_length_half_diagonals.standard_uncertainty,
        );
        assert!((lens.focal_length_half_diagonals.value / (2.0 * 26.0 / 43.2666) - 1.0).abs() < 0.02);
        assert_eq!(LensProfile::from_json(&lens.to_json()), Ok(lens));
    }
    let rms = (z.iter().map(|z| z * z).sum::<f64>() / z.len() as f64).sqrt();
    println!("rms z {rms:.2}");
    assert!(rms < 2.0, "{rms}: {z:?}");
    assert!(reach.iter().all(|e| *e < 0.003), "{reach:?}");
}

#[test]
fn photos_that_say_too_little_give_no_profile() {
    assert_eq!(measure_lens(&[]), Err(LensError::NoFit));
    let one = card_photo(&lens_scene(7, 0, 0.0)).expect("a card");
    let mut other = one.clone();
    other.camera.focal_px *= 2.0;
    assert_eq!(measure_lens(&[one.clone(), other]), Err(LensError::Unlike(1)));
    let mut small = one;
    for corner in &mut small.card.corners {
        let centre = small.camera.centre;
        corner.at = centre.moved(0.3 * (corner.at.x - centre.x), 0.3 * (corner.at.y - centre.y));
    }
    assert!(matches!(measure_lens(&[small]), Err(LensError::TooCentral(_))));
}

/// A profile of plausible numbers, with some of its text replaced.
fn profile(replace: &[(&str, &str)]) -> Result<LensProfile, String> {
    let mut text = r#"{"schema": "walewise.lens/1", "version": "0.1.0", "model": "",
        "k1": {"value": -0.01, "standard_uncertainty": 0.001}, "k2": {"value": 0.002, "standard_uncertainty": 0.001},
        "correlation": -0.9, "aspect_ratio": 1.3333, "photo_size_px": [4000, 3000], "focal_length_35mm": 26.0,
        "focal_length_half_diagonals": {"value": 1.2, "standard_uncertainty": 0.01},
        "photos": 8, "corners": 700, "residual_px": 0.1}"#
        .to_owned();
    for (from, to) in replace {
        assert!(text.contains(from));
        text = text.replace(from, to);
    }
    LensProfile::from_json(&text).map_err(|e| e.to_string())
}

#[test]
fn what_is_no_profile_is_refused_with_a_reason() {
    assert!(profile(&[]).is_ok());
    for (from, to) in [
        ("walewise.lens/1", "walewise.lens/2"),
        ("-0.01", "7"),
        ("-0.01", "1e999"),
        ("-0.01", "null"),
        ("-0.01", "\"x\""),
        ("\"value\": 0.002", "\"value\": -9"),
        ("-0.9", "1.5"),
        ("1.3333", "0"),
        ("26.0", "-26"),
        ("0.001", "-0.001"),
        ("\"residual_px\": 0.1", "\"residual_px\": -1"),
        ("\"photos\": 8", "\"photos\": -8"),
        ("{\"value\": 1.2", "{\"extra\": 1, \"value\": 1.2"),
    ] {
        assert!(profile(&[(from, to)]).is_err(), "{from} -> {to}");
    }
    for text in ["", "[]", "null", "{}", "{\"schema\": 3}", "\u{0}", "{\"schema\": \"walewise.lens/1\"}"] {
        assert!(LensProfile::from_json(text).is_err(), "{text:?}");
    }
    let deep = "[".repeat(100_000);
    assert!(LensProfile::from_json(&deep).is_err());
}

#[test]
fn a_profile_holds_for_its_own_camera_only() {
    let lens = profile(&[]).unwrap();
    assert!(lens.check_photo(3000, 4000, Some(26.0)).is_ok());
    assert!(lens.check_photo(2000, 1500, None).is_ok());
    assert!(lens.check_photo(4000, 2250, Some(26.0)).unwrap_err().0.contains("shape"));
    assert!(lens.check_photo(4000, 3000, Some(52.0)).unwrap_err().0.contains("focal length"));
}
