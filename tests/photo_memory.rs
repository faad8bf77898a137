//! How much memory reading a photo takes at most, against the picture itself.

mod held_memory;

use held_memory::most_while;
use image::codecs::{jpeg::JpegEncoder, png::PngEncoder};
use image::{ExtendedColorType, ImageEncoder, Rgb, RgbImage};
use walewise::photo::decode;

/// Little-endian EXIF with an orientation of 6 and nothing else.
const TURNED: [u8; 26] = [b'I', b'I', 42, 0, 8, 0, 0, 0, 1, 0, 0x12, 0x01, 3, 0, 1, 0, 0, 0, 6, 0, 0, 0, 0, 0, 0, 0];

/// Most memory held while `bytes` are read, over the size of the picture at 3 bytes a pixel.
fn peak(bytes: &[u8]) -> f64 {
    let (photo, most) = most_while(|| decode(bytes).unwrap());
    most as f64 / photo.rgb.as_raw().len() as f64
}

/// The project's limit for a whole measurement is three times the picture; reading it may take two and a half.
#[test]
fn reading_a_photo_takes_little_more_than_the_picture() {
    let value = |x: u32, y: u32| (x.wrapping_mul(2_654_435_761).wrapping_add(y.wrapping_mul(40_503)) >> 24) as u8 / 4;
    let picture = RgbImage::from_fn(2000, 1500, |x, y| Rgb([value(x, y), 100, 128 + value(y, x)]));
    let (mut jpeg, mut png) = (Vec::new(), Vec::new());
    let mut encoder = JpegEncoder::new_with_quality(&mut jpeg, 90);
    encoder.set_exif_metadata(TURNED.to_vec()).unwrap();
    encoder.write_image(&picture, 2000, 1500, ExtendedColorType::Rgb8).unwrap();
    PngEncoder::new(&mut png).write_image(&picture, 2000, 1500, ExtendedColorType::Rgb8).unwrap();
    drop(picture);
    let (jpeg, png) = (peak(&jpeg), peak(&png));
    println!("turned JPEG {jpeg:.2}, PNG {png:.2} times the picture");
    assert!(jpeg < 2.5 && png < 2.5, "{jpeg} {png}");
    let heic = peak(include_bytes!("data/rendered-swatch-grid.heic"));
    println!("turned HEIC of tiles {heic:.2} times the picture");
    assert!(heic < 2.5, "{heic}");
}
