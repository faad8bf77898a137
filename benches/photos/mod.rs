//! The photos that times are measured on: one swatch at three sizes, drawn by the project itself from a fixed seed, and kept
//! in cargo's folder for temporary files, since the largest takes half a minute.

use std::path::{Path, PathBuf};
use walewise::lattice::StitchPattern;
use walewise::measure::Setup;
use walewise::synthetic::{RulerScale, SampleSettings, sample};

/// Names and sizes in pixels.
pub const SIZES: [(&str, [u32; 2]); 3] = [("3 MP", [2016, 1512]), ("12 MP", [4032, 3024]), ("48 MP", [8000, 6000])];

/// A photo's file, drawn when it is not there. A swatch on a table with a ruler across it, as people take it.
pub fn photo_file(size: [u32; 2]) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("swatch-{}x{}.jpg", size[0], size[1]));
    if !path.exists() {
        let settings = SampleSettings {
            seed: 1,
            stitch: Some("stockinette".to_owned()),
            gauge: Some([22.0, 30.0]),
            ruler: Some(Some(RulerScale::Cm)),
            size: Some(size),
            ..SampleSettings::default()
        };
        let made = sample(&settings).expect("a scene in range");
        std::fs::write(&path, made.jpeg).expect("cargo's folder for temporary files takes it");
    }
    path
}

/// What a person would say of it.
pub fn setup() -> Setup {
    Setup { stitch: Some(StitchPattern::with_repeat("stockinette", 1, 1)), ..Setup::default() }
}
