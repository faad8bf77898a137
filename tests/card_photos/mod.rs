//! Drawn photos of the calibration card and of an ID-1 card, and what a measurement of them should find.

use image::RgbImage;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use walewise::photo::Photo;
use walewise::plane::{CameraPrior, PlaneEstimate, PlaneMap, Pose};
use walewise::quantity::PhotoPoint;
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

/// Darkens one part of the picture as a shadow with a soft edge does.
pub fn shade(photo: &mut Photo, dice: &mut Dice) {
    let way = dice.between(0.0, std::f64::consts::TAU);
    let (nx, ny) = (way.cos(), way.sin());
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    let middle = dice.between(-0.25, 0.25) * w;
    let (soft, dark) = (dice.between(3.0, 60.0), dice.between(0.35, 0.8));
    for (x, y, p) in photo.rgb.enumerate_pixels_mut() {
        let off = (f64::from(x) - w / 2.0) * nx + (f64::from(y) - h / 2.0) * ny - middle;
        let share = (off / soft + 0.5).clamp(0.0, 1.0);
        p.0 = p.0.map(|v| (f64::from(v) * (1.0 - share * (1.0 - dark))) as u8);
    }
}

/// Covers what lies beyond a line across the card, with something striped, so that about this share of it is left.
pub fn cover(photo: &mut Photo, corners: &[[f64; 2]], left: f64, dice: &mut Dice) {
    let (a, b) = if dice.chance(0.5) { (corners[0], corners[1]) } else { (corners[1], corners[0]) };
    let [dx, dy] = [b[0] - a[0], b[1] - a[1]];
    let end = left * (dx * dx + dy * dy);
    for (x, y, p) in photo.rgb.enumerate_pixels_mut() {
        let along = (f64::from(x) - a[0]) * dx + (f64::from(y) - a[1]) * dy;
        if along > end {
            let stripe = u8::from((x / 7 + y / 11) % 2 == 0) * 25;
            p.0 = [120 + stripe, 70 + stripe, 60];
        }
    }
}

/// True corners of a square of 80 mm where the swatch would lie, 0.1 mm above the table, as the photo shows them.
pub fn swatch_corners(scene: &Scene) -> Vec<PhotoPoint> {
    let mut other = scene.clone();
    let mut square = card(RulerScale::Unmarked, Body::Plastic);
    square.thickness_mm = scene.ruler.as_ref().map_or(0.1, |r| r.thickness_mm);
    (square.length_mm, square.width_mm) = (80.0, 80.0);
    square.centre_mm = [0.0, 45.0];
    other.ruler = Some(square);
    let truth = other.truth().expect("a scene in range").ruler.expect("a square");
    truth.corners_px.iter().map(|[x, y]| PhotoPoint::new(*x, *y)).collect()
}

/// How much too large the square of [`swatch_corners`] is measured: logarithm of the mean side over the true one.
pub fn scale_error(map: &PlaneMap, corners: &[PhotoPoint], true_mm: f64) -> Option<f64> {
    let at: Vec<_> = corners.iter().map(|c| map.to_plane(*c)).collect::<Option<_>>()?;
    let sides: f64 = (0..4).map(|k| (at[k].x - at[(k + 1) % 4].x).hypot(at[k].y - at[(k + 1) % 4].y)).sum();
    Some((sides / 4.0 / true_mm).ln())
}

/// What the plane's estimate says about how sure that scale is: a relative standard uncertainty.
pub fn scale_sigma(plane: &PlaneEstimate, corners: &[PhotoPoint]) -> Option<f64> {
    let mut sum = 0.0;
    for effect in &plane.effects {
        let at = |sign: f64| {
            let start = plane.pose.to_array();
            let pose = Pose::from_array(std::array::from_fn(|i| start[i] + 0.1 * sign * effect.change[i]));
            scale_error(&pose.map(&plane.frame)?, corners, 80.0)
        };
        sum += ((at(1.0)? - at(-1.0)?) / 0.2).powi(2);
    }
    Some(sum.sqrt())
}

/// What is known of a drawn photo's camera.
pub fn camera(photo: &Photo) -> CameraPrior {
    CameraPrior::of(photo)
}
