//! Which photos the study makes.

use walewise::synthetic::{Difficulty, Factor, Scene};

/// Size of the photos against the scene's own: stitches of 15 to 25 px, a quarter of the time.
const SIZE: f64 = 0.6;

/// First seed; the study's photos share none with the demonstration photos, nor with those of earlier studies (from 700 000 to
/// 2 700 000 on, a hundred thousand each), whose failures were looked at.
const FIRST_SEED: u64 = 2_800_000;

/// One photo to make and to measure.
pub struct Case {
    /// Name that is the same at every run.
    pub id: String,
    /// What was varied, with its value; `any` for scenes of every variety.
    pub varied: String,
    pub scene: Scene,
}

/// Factors and their values; the ordinary value of each is among them or between them.
const SWEEPS: [(&str, Factor, &[f64]); 6] = [
    ("noise", Factor::Noise, &[0.003, 0.01, 0.025, 0.05]),
    ("blur_px", Factor::Blur, &[0.4, 0.8, 1.2, 1.8]),
    ("tilt_deg", Factor::Tilt, &[0.0, 6.0, 12.0, 20.0]),
    ("stitches", Factor::Stitches, &[12.0, 18.0, 26.0, 38.0]),
    ("irregularity", Factor::Irregularity, &[0.2, 0.6, 1.0, 1.6]),
    ("ruler_mm", Factor::RulerHeight, &[0.4, 1.0, 2.0, 3.0]),
];

/// All photos of the study in the order in which they are made: a round is 24 swept scenes, each factor at each of its
/// values, and 12 of every variety, four for each difficulty. Any number of whole rounds is a balanced study.
pub fn cases(rounds: u64) -> Vec<Case> {
    (0..rounds).flat_map(round).collect()
}

fn round(number: u64) -> Vec<Case> {
    let first = FIRST_SEED + 100 * number;
    let mut cases = Vec::new();
    for (s, (name, factor, values)) in SWEEPS.iter().enumerate() {
        for (v, &value) in values.iter().enumerate() {
            let seed = first + (10 * s + v) as u64;
            let difficulty = [Difficulty::Easy, Difficulty::Normal][(number as usize + s + v) % 2];
            let scene = Scene::random(seed, difficulty).with(*factor, value);
            cases.push((format!("{name}={value}"), scene));
        }
    }
    for (d, difficulty) in [Difficulty::Easy, Difficulty::Normal, Difficulty::Hard].into_iter().enumerate() {
        cases.extend((0..4).map(|k| ("any".to_owned(), Scene::random(first + 60 + 10 * d as u64 + k, difficulty))));
    }
    let made = |(varied, scene): (String, Scene)| Case {
        id: format!("{}-{varied}", scene.seed),
        varied,
        scene: scene.with(Factor::Size, SIZE),
    };
    cases.into_iter().map(made).collect()
}
