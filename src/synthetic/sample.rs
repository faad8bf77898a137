//! A demonstration photo as a file's bytes, with its truth beside it.

use super::chart::UnknownPattern;
use super::photographer::photograph;
use super::scene::{Difficulty, RulerScale, Scene, SceneError};
use super::variety;
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder, RgbImage};

/// What a demonstration photo shall show; what is `None` is drawn from the seed.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleSettings {
    /// Start of all random draws.
    pub seed: u64,
    /// How hard the photo is.
    pub difficulty: Difficulty,
    /// Stitch pattern, one of [`super::Chart::NAMES`].
    pub stitch: Option<String>,
    /// Stitches and rows per 10 cm.
    pub gauge: Option<[f64; 2]>,
    /// The ruler's scale; `Some(None)` for a photo without ruler.
    pub ruler: Option<Option<RulerScale>>,
    /// Tilt of the camera, degrees.
    pub tilt_deg: Option<f64>,
    /// Width and height, px.
    pub size: Option<[u32; 2]>,
}

impl Default for SampleSettings {
    fn default() -> Self {
        Self {
            seed: 1,
            difficulty: Difficulty::Normal,
            stitch: None,
            gauge: None,
            ruler: None,
            tilt_deg: None,
            size: None,
        }
    }
}

/// A demonstration photo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sample {
    /// The photo as JPEG with a focal length in its EXIF block.
    pub jpeg: Vec<u8>,
    /// The truth as JSON text.
    pub truth_json: String,
}

/// Why there is no demonstration photo.
#[derive(Debug)]
pub enum SampleError {
    /// The stitch pattern is not known.
    Pattern(UnknownPattern),
    /// A value is out of range.
    Scene(SceneError),
    /// The photo could not be encoded.
    Encode(String),
}

impl std::fmt::Display for SampleError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Pattern(unknown) => unknown.fmt(f),
            Self::Scene(range) => range.fmt(f),
            Self::Encode(cause) => write!(f, "the photo cannot be encoded: {cause}"),
        }
    }
}

impl std::error::Error for SampleError {}

/// Makes a demonstration photo.
///
/// # Errors
/// For an unknown pattern or a value out of range; encoding does not fail for a photo of a size in range.
pub fn sample(settings: &SampleSettings) -> Result<Sample, SampleError> {
    variety::check_stitch(settings).map_err(SampleError::Pattern)?;
    let scene = variety::compose(settings, None);
    let photo = photograph(&scene).map_err(SampleError::Scene)?;
    let jpeg = jpeg_with_exif(&photo.image, &scene).map_err(SampleError::Encode)?;
    let mut truth_json = serde_json::to_string_pretty(&photo.truth).map_err(|e| SampleError::Encode(e.to_string()))?;
    truth_json.push('\n');
    Ok(Sample { jpeg, truth_json })
}

/// A scene's photo as JPEG of the camera's quality, with an EXIF block that names the focal length.
///
/// # Errors
/// With the encoder's own words; not for a photo of a size in range.
pub fn jpeg_with_exif(image: &RgbImage, scene: &Scene) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, scene.camera.jpeg_quality);
    encoder.set_exif_metadata(exif_block(scene)?).map_err(|e| e.to_string())?;
    encoder
        .write_image(image.as_raw(), image.width(), image.height(), ExtendedColorType::Rgb8)
        .map_err(|e| e.to_string())?;
    Ok(bytes)
}

/// A TIFF block as in Exif 2.3: description, orientation, focal length, and its 35 mm equivalent in whole millimetres.
fn exif_block(scene: &Scene) -> Result<Vec<u8>, String> {
    let equivalent = scene.camera.focal_length_35mm;
    // A sensor of 7.2 mm diagonal, about 1/2.5 inch as in many phones (a stated choice; only the ratio counts).
    let real = Rational { num: (equivalent * 7.2 / 43.266_6 * 1000.0).round() as u32, denom: 1000 };
    let field = |tag, value| Field { tag, ifd_num: In::PRIMARY, value };
    let fields = [
        field(Tag::ImageDescription, Value::Ascii(vec![b"Synthetic swatch, drawn by Walewise".to_vec()])),
        field(Tag::Orientation, Value::Short(vec![1])),
        field(Tag::FocalLength, Value::Rational(vec![real])),
        field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![equivalent.round() as u16])),
    ];
    let mut writer = Writer::new();
    fields.iter().for_each(|f| writer.push_field(f));
    let mut block = std::io::Cursor::new(Vec::new());
    writer.write(&mut block, false).map_err(|e| e.to_string())?;
    Ok(block.into_inner())
}
