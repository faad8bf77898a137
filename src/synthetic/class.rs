//! An invented class: many knitters' swatches in one yarn on one ruler, with chosen spreads.

use super::draw::Draw;
use super::photographer::photograph;
use super::sample::{Sample, SampleError, SampleSettings, jpeg_with_exif};
use super::scene::{Scene, SceneError};
use super::variety;
use serde::Serialize;

/// What an invented class shall be.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassSettings {
    /// How the photos look; its gauge is the class's mean (22 × 30 per 10 cm without one).
    pub sample: SampleSettings,
    /// Knitters, 1 to 60.
    pub knitters: u32,
    /// Swatches of each knitter, 1 to 10.
    pub swatches: u32,
    /// Photos of each swatch, 1 to 10.
    pub photos: u32,
    /// Standard deviation of the knitters' gauges, in per cent, 0 to 20.
    pub between_knitters_percent: f64,
    /// Standard deviation of one knitter's swatches, in per cent, 0 to 10.
    pub between_swatches_percent: f64,
}

/// The truth of an invented class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClassTruth {
    /// Start of all draws.
    pub seed: u64,
    /// Stitches and rows per 10 cm the class is drawn about.
    pub gauge: [f64; 2],
    /// Standard deviation of the knitters' gauges, in per cent.
    pub between_knitters_percent: f64,
    /// Standard deviation of one knitter's swatches, in per cent.
    pub between_swatches_percent: f64,
    /// The swatches.
    pub swatches: Vec<SwatchTruth>,
}

/// One swatch of an invented class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SwatchTruth {
    /// Its knitter.
    pub knitter: String,
    /// Its photos, as paths inside the class's folder.
    pub photos: Vec<String>,
    /// Stitches and rows per 10 cm that were drawn for its knitter.
    pub knitter_gauge: [f64; 2],
    /// Stitches and rows per 10 cm the swatch is knitted with.
    pub gauge: [f64; 2],
}

/// One photo of an invented class: where it belongs, and what is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassPhoto {
    /// Path inside the class's folder, parts joined by `/`.
    pub path: String,
    scene: Scene,
}

/// Mean gauge where none is asked for: a usual hand-knitting yarn (common practice, no source).
const USUAL_GAUGE: [f64; 2] = [22.0, 30.0];

/// Correlation of stitches and rows in what makes hands differ: who knits tightly does so both ways, not wholly alike (a
/// stated choice).
const ALIKE_BOTH_WAYS: f64 = 0.7;

/// The photos of an invented class and its truth. Nothing is drawn yet.
///
/// # Errors
/// For an unknown pattern, or a number out of range.
pub fn class_of_photos(settings: &ClassSettings) -> Result<(Vec<ClassPhoto>, ClassTruth), SampleError> {
    variety::check_stitch(&settings.sample).map_err(SampleError::Pattern)?;
    check(settings).map_err(SampleError::Scene)?;
    let mut draw = Draw::new(settings.sample.seed, 20);
    let gauge = settings.sample.gauge.unwrap_or(USUAL_GAUGE);
    let first = scene_of(settings, gauge, settings.sample.seed, None);
    let (mut photos, mut swatches) = (Vec::new(), Vec::new());
    for k in 1..=settings.knitters {
        let knitter_gauge = drawn(gauge, settings.between_knitters_percent, &mut draw);
        for s in 1..=settings.swatches {
            let own = drawn(knitter_gauge, settings.between_swatches_percent, &mut draw);
            let seed = settings.sample.seed.wrapping_mul(1_000_003).wrapping_add(u64::from(k * 100 + s));
            let scene = scene_of(settings, own, seed, Some(&first));
            let paths: Vec<String> = (1..=settings.photos).map(|p| path(settings, k, s, p)).collect();
            for (p, path) in paths.iter().enumerate() {
                let scene = if p == 0 { scene.clone() } else { taken_again(&scene, &mut draw) };
                photos.push(ClassPhoto { path: path.clone(), scene });
            }
            swatches.push(SwatchTruth { knitter: name(k), photos: paths, knitter_gauge, gauge: own });
        }
    }
    let truth = ClassTruth {
        seed: settings.sample.seed,
        gauge,
        between_knitters_percent: settings.between_knitters_percent,
        between_swatches_percent: settings.between_swatches_percent,
        swatches,
    };
    Ok((photos, truth))
}

impl ClassPhoto {
    /// Draws the photo.
    ///
    /// # Errors
    /// For a value out of range that the settings led to.
    pub fn draw(&self) -> Result<Sample, SampleError> {
        let photo = photograph(&self.scene).map_err(SampleError::Scene)?;
        let jpeg = jpeg_with_exif(&photo.image, &self.scene).map_err(SampleError::Encode)?;
        let truth_json = serde_json::to_string_pretty(&photo.truth).map_err(|e| SampleError::Encode(e.to_string()))?;
        Ok(Sample { jpeg, truth_json: truth_json + "\n" })
    }
}

fn check(settings: &ClassSettings) -> Result<(), SceneError> {
    let need = |holds: bool, what| if holds { Ok(()) } else { Err(SceneError { what }) };
    need((1..=60).contains(&settings.knitters), "knitters, 1 to 60")?;
    need((1..=10).contains(&settings.swatches), "swatches of each knitter, 1 to 10")?;
    need((1..=10).contains(&settings.photos), "photos of each swatch, 1 to 10")?;
    need((0.0..=20.0).contains(&settings.between_knitters_percent), "spread between knitters, 0 to 20 %")?;
    need((0.0..=10.0).contains(&settings.between_swatches_percent), "spread within a knitter, 0 to 10 %")
}

fn name(knitter: u32) -> String {
    format!("Knitter {knitter:02}")
}

fn path(settings: &ClassSettings, knitter: u32, swatch: u32, photo: u32) -> String {
    let name = name(knitter);
    if settings.photos > 1 {
        format!("{name}/swatch-{swatch}/photo-{photo}.jpg")
    } else {
        format!("{name}/swatch-{swatch}.jpg")
    }
}

/// A gauge drawn about another, normal in its logarithm.
fn drawn(about: [f64; 2], percent: f64, draw: &mut Draw) -> [f64; 2] {
    let (both, stitches, rows) = (draw.normal(), draw.normal(), draw.normal());
    let own = |one: f64| {
        let deviation = ALIKE_BOTH_WAYS.sqrt() * both + (1.0 - ALIKE_BOTH_WAYS).sqrt() * one;
        (percent / 100.0 * deviation).exp()
    };
    [about[0] * own(stitches), about[1] * own(rows)]
}

/// A swatch of this gauge in front of the camera; with the yarn, table and ruler of the class's first scene.
fn scene_of(settings: &ClassSettings, gauge: [f64; 2], seed: u64, first: Option<&Scene>) -> Scene {
    let wishes = SampleSettings { seed, gauge: Some(gauge), ..settings.sample.clone() };
    let mut scene = variety::compose(&wishes, None);
    let Some(first) = first else { return scene };
    scene.table = first.table;
    if let (Some(own), Some(shared)) = (&mut scene.fabric, &first.fabric) {
        own.yarn = shared.yarn.clone();
    }
    if let (Some(own), Some(shared)) = (&mut scene.ruler, &first.ruler) {
        // The same kind of ruler; where it lies and how much of it is needed is each photo's own.
        own.body = shared.body;
        own.thickness_mm = shared.thickness_mm;
        own.mark_width_mm = shared.mark_width_mm;
        own.mark_length = shared.mark_length;
        own.wear = shared.wear;
    }
    scene
}

/// The same swatch with the camera held anew.
fn taken_again(scene: &Scene, draw: &mut Draw) -> Scene {
    let mut again = scene.clone();
    let camera = &mut again.camera;
    camera.pitch_deg = draw.normal() * 1.5;
    camera.yaw_deg = draw.normal() * 1.5;
    camera.roll_deg += draw.normal() * 2.0;
    camera.distance_mm *= draw.between(1.0, 1.06);
    camera.target_mm = camera.target_mm.map(|t| t + draw.normal() * 2.0);
    again
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings() -> ClassSettings {
        ClassSettings {
            sample: SampleSettings { seed: 4, size: Some([320, 240]), ..SampleSettings::default() },
            knitters: 40,
            swatches: 3,
            photos: 2,
            between_knitters_percent: 5.0,
            between_swatches_percent: 1.0,
        }
    }

    /// The spreads that are asked for are those of the truth, to the accuracy of 40 and 80 degrees of freedom.
    #[test]
    fn spreads_are_as_asked_for() {
        let (photos, truth) = class_of_photos(&settings()).unwrap();
        assert_eq!((photos.len(), truth.swatches.len()), (240, 120));
        for axis in 0..2 {
            let logs: Vec<f64> = truth.swatches.iter().step_by(3).map(|s| s.knitter_gauge[axis].ln()).collect();
            let mean = logs.iter().sum::<f64>() / 40.0;
            let spread = (logs.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / 39.0).sqrt();
            assert!((0.035..0.065).contains(&spread), "{spread}");
            let within: f64 = truth.swatches.iter().map(|s| (s.gauge[axis] / s.knitter_gauge[axis]).ln().powi(2)).sum();
            let spread = (within / 120.0).sqrt();
            assert!((0.008..0.012).contains(&spread), "{spread}");
        }
        assert_eq!(class_of_photos(&settings()).unwrap().1, truth, "the same seed gives the same class");
    }

    #[test]
    fn one_yarn_one_table_and_photos_of_one_fabric() {
        let (photos, _) = class_of_photos(&settings()).unwrap();
        let yarn = |p: &ClassPhoto| p.scene.fabric.as_ref().unwrap().yarn.clone();
        assert!(photos.iter().all(|p| yarn(p) == yarn(&photos[0]) && p.scene.table == photos[0].scene.table));
        assert_eq!(photos[0].scene.fabric, photos[1].scene.fabric);
        assert_ne!(photos[0].scene.camera, photos[1].scene.camera);
        assert!(photos.iter().all(|p| p.scene.check().is_ok()));
        for wrong in [
            ClassSettings { knitters: 0, ..settings() },
            ClassSettings { between_knitters_percent: f64::NAN, ..settings() },
        ] {
            assert!(class_of_photos(&wrong).is_err());
        }
    }
}
