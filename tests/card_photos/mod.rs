//! Drawn photos of the calibration card and of an ID-1 card, and what a measurement of them should find.

use image::RgbImage;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use walewise::photo::Photo;
use walewise::plane::CameraPrior;
use walewise::synthetic::{Body, Difficulty, Ruler, RulerScale, Scene, Table, photograph};

/// Random numbers of one photo.
pub struct Dice(ChaCha8Rng);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn chance(&mut self, p: f64) -> bool {
        self.between(0.0, 1.0) < p
    }
}

/// What is laid beside the swatch.
pub fn card(scale: RulerScale, body: Body) -> Ruler {
    let ([length_mm, width_mm], thickness_mm) = match scale {
        RulerScale::Card => (walewise::card::SIZE_MM, 0.1),
        // ISO/IEC 7810, from memory.
        _ => ([85.60, 53.98], 0.76),
    };
    Ruler {
        scale,
        body,
        length_mm,
        width_mm,
        thickness_mm,
        on_fabric: false,
        centre_mm: [0.0, 0.0],
        angle_deg: 0.0,
        zero_mm: 0.0,
        mark_width_mm: 0.2,
        mark_length: 1.0,
        numerals: false,
        wear: 0.0,
    }
}

/// A table with the card on one side of the picture and room for a swatch on the other; tilts to 25°, blur, noise.
pub fn scene(seed: u64, scale: RulerScale) -> Scene {
    let mut dice = Dice::new(seed);
    let mut scene = Scene::random(seed, Difficulty::Normal);
    scene.fabric = None;
    let body = match scale {
        RulerScale::Card => Body::Paper,
        _ if dice.chance(0.7) => Body::Plastic,
        _ => Body::Dark,
    };
    if scale == RulerScale::Id1 {
        // Something lighter or darker than the card, as people are told to lay it on.
        let tone = if body == Body::Dark { dice.between(0.35, 0.7) } else { dice.between(0.05, 0.35) };
        let tint = [tone * dice.between(0.7, 1.0), tone, tone * dice.between(0.6, 1.0)];
        scene.table = match (dice.between(0.0, 3.0) as u32, body) {
            (0, _) => Table::Plain(tint),
            (1, Body::Plastic) => Table::Wood([0.3, 0.16, 0.07]),
            _ => Table::Cloth(tint),
        };
    }
    let mut ruler = card(scale, body);
    let away = if scale == RulerScale::Card { 50.0 } else { 40.0 };
    ruler.centre_mm = [dice.between(-15.0, 15.0), -away + dice.between(-8.0, 8.0)];
    ruler.angle_deg = dice.between(-180.0, 180.0) * f64::from(u8::from(dice.chance(0.3))) + dice.between(-8.0, 8.0);
    scene.ruler = Some(ruler);
    let camera = &mut scene.camera;
    (camera.width_px, camera.height_px) = if dice.chance(0.5) { (1600, 1200) } else { (2000, 1500) };
    let tilt = dice.between(0.0, 25.0);
    let way = dice.between(0.0, std::f64::consts::TAU);
    (camera.pitch_deg, camera.yaw_deg) = (tilt * way.cos(), tilt * way.sin());
    camera.roll_deg = dice.between(-180.0, 180.0);
    camera.target_mm = [0.0, 0.0];
    camera.focal_length_35mm = dice.between(24.0, 50.0).round();
    let focal_px = camera.focal_length_35mm / 43.2666 * f64::from(camera.width_px).hypot(f64::from(camera.height_px));
    // The shorter side of the picture shows 190 to 260 mm.
    camera.distance_mm = focal_px * dice.between(190.0, 260.0) / f64::from(camera.height_px);
    camera.k1 = dice.between(-0.02, 0.015);
    camera.blur_px = dice.between(0.5, 1.8);
    camera.motion_px = [0.0, 0.0];
    camera.exposure_ev = dice.between(-1.0, 0.2);
    camera.shot_noise = dice.between(0.003, 0.02);
    camera.vignetting = dice.between(0.0, 0.3);
    scene
}

/// A drawn photo as the chain has it after decoding.
pub fn photo(scene: &Scene) -> Photo {
    let made = photograph(scene).expect("a scene in range");
    as_photo(made.image, scene)
}

pub fn as_photo(rgb: RgbImage, scene: &Scene) -> Photo {
    let size = (rgb.width(), rgb.height());
    Photo {
        rgb,
        focal_length_35mm: Some(scene.camera.focal_length_35mm),
        original_size_px: Some(size),
        ..Photo::default()
    }
}

/// What is known of a drawn photo's camera.
pub fn camera(photo: &Photo) -> CameraPrior {
    CameraPrior::of(photo)
}
