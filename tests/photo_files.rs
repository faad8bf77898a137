//! Photo files of every kind: sound, turned, cut off, absurd.

use image::codecs::{jpeg::JpegEncoder, png::PngEncoder, webp::WebPEncoder};
use image::{DynamicImage, ExtendedColorType, ImageEncoder, ImageFormat, Luma, Rgb, RgbImage, Rgba};
use proptest::prelude::*;
use std::io::Cursor;
use walewise::photo::{CameraRecord, Photo, PhotoError, PhotoFormat, decode, linear_table, sha256_hex};

const SWATCH_JPEG: &[u8] = include_bytes!("data/rendered-swatch.jpg");
const SWATCH_HEIC: &[u8] = include_bytes!("data/rendered-swatch.heic");
const GRID_HEIC: &[u8] = include_bytes!("data/rendered-swatch-grid.heic");
const CMYK: &[u8] = include_bytes!("data/cmyk.jpg");
const PROGRESSIVE: &[u8] = include_bytes!("data/progressive.jpg");

/// Blocks of 16 pixels in six colours, 3 across and 2 down: no two sides are alike.
fn blocks() -> RgbImage {
    const COLOURS: [[u8; 3]; 6] =
        [[200, 40, 40], [40, 160, 40], [40, 40, 200], [220, 220, 60], [20, 20, 20], [235, 235, 235]];
    RgbImage::from_fn(48, 32, |x, y| Rgb(COLOURS[(y / 16 * 3 + x / 16) as usize]))
}

fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

/// A little-endian EXIF block with an orientation, the stored size, 35 mm focal length and digital zoom (in tenths).
fn exif(orientation: u16, size: (u32, u32), focal_length: u16, zoom_tenths: u32) -> Vec<u8> {
    let entry = |tag: u16, kind: u16, value: u32| {
        [&tag.to_le_bytes()[..], &kind.to_le_bytes(), &1u32.to_le_bytes(), &value.to_le_bytes()].concat()
    };
    const SHORT: u16 = 3;
    const LONG: u16 = 4;
    const RATIONAL: u16 = 5;
    let (sub_ifd, ratio) = (8 + 2 + 2 * 12 + 4, 8 + 2 + 2 * 12 + 4 + 2 + 4 * 12 + 4);
    [
        b"II\x2a\0".to_vec(),
        8u32.to_le_bytes().to_vec(),
        2u16.to_le_bytes().to_vec(),
        entry(0x0112, SHORT, u32::from(orientation)),
        entry(0x8769, LONG, sub_ifd),
        0u32.to_le_bytes().to_vec(),
        4u16.to_le_bytes().to_vec(),
        entry(0xA002, LONG, size.0),
        entry(0xA003, LONG, size.1),
        entry(0xA404, RATIONAL, ratio),
        entry(0xA405, SHORT, u32::from(focal_length)),
        0u32.to_le_bytes().to_vec(),
        zoom_tenths.to_le_bytes().to_vec(),
        10u32.to_le_bytes().to_vec(),
    ]
    .concat()
}

fn with_exif(picture: &RgbImage, format: ImageFormat, exif: Vec<u8>) -> Vec<u8> {
    fn write(mut encoder: impl ImageEncoder, picture: &RgbImage, exif: Vec<u8>) {
        encoder.set_exif_metadata(exif).unwrap();
        encoder.write_image(picture, picture.width(), picture.height(), ExtendedColorType::Rgb8).unwrap();
    }
    let mut bytes = Vec::new();
    match format {
        ImageFormat::Jpeg => write(JpegEncoder::new_with_quality(&mut bytes, 95), picture, exif),
        ImageFormat::Png => write(PngEncoder::new(&mut bytes), picture, exif),
        _ => write(WebPEncoder::new_lossless(&mut bytes), picture, exif),
    }
    bytes
}

/// A minimal uncompressed TIFF with an orientation.
fn tiff(picture: &RgbImage, orientation: u32) -> Vec<u8> {
    let tags: [(u16, u16, u32, u32); 10] = [
        (256, 4, 1, picture.width()),
        (257, 4, 1, picture.height()),
        (258, 3, 3, 8 + 2 + 10 * 12 + 4),
        (259, 3, 1, 1),
        (262, 3, 1, 2),
        (273, 4, 1, 8 + 2 + 10 * 12 + 4 + 6),
        (274, 3, 1, orientation),
        (277, 3, 1, 3),
        (278, 4, 1, picture.height()),
        (279, 4, 1, picture.as_raw().len() as u32),
    ];
    let mut bytes = [b"II\x2a\0".as_slice(), &8u32.to_le_bytes(), &10u16.to_le_bytes()].concat();
    for (tag, kind, count, value) in tags {
        bytes
            .extend([&tag.to_le_bytes()[..], &kind.to_le_bytes(), &count.to_le_bytes(), &value.to_le_bytes()].concat());
    }
    bytes.extend([0, 0, 0, 0, 8, 0, 8, 0, 8, 0]);
    bytes.extend(picture.as_raw());
    bytes
}

/// What a camera stores so that `upright` is shown for an orientation: by the table of EXIF 2.3, tag 0x0112, which says
/// at which side of the scene the first stored row and the first stored column are.
fn stored(upright: &RgbImage, orientation: u16) -> RgbImage {
    let (width, height) = upright.dimensions();
    let (row_at_bottom_or_right, column_at_right_or_bottom) = match orientation {
        1 | 5 => (false, false),
        2 | 8 => (false, true),
        3 | 7 => (true, true),
        _ => (true, false),
    };
    let from_end = |end: bool, i: u32, n: u32| if end { n - 1 - i } else { i };
    let (row_end, column_end) = (row_at_bottom_or_right, column_at_right_or_bottom);
    if orientation <= 4 {
        RgbImage::from_fn(width, height, |column, row| {
            *upright.get_pixel(from_end(column_end, column, width), from_end(row_end, row, height))
        })
    } else {
        RgbImage::from_fn(height, width, |column, row| {
            *upright.get_pixel(from_end(row_end, row, width), from_end(column_end, column, height))
        })
    }
}

fn largest_difference(a: &RgbImage, b: &RgbImage) -> u8 {
    assert_eq!(a.dimensions(), b.dimensions());
    a.as_raw().iter().zip(b.as_raw()).map(|(a, b)| a.abs_diff(*b)).max().unwrap()
}

#[test]
fn all_orientations_in_all_formats() {
    for orientation in 1..=8u16 {
        let stored = stored(&blocks(), orientation);
        let exif = exif(orientation, stored.dimensions(), 26, 10);
        for (format, tolerance) in [(ImageFormat::Jpeg, 12), (ImageFormat::Png, 0), (ImageFormat::WebP, 0)] {
            let photo = decode(&with_exif(&stored, format, exif.clone())).unwrap();
            assert!(largest_difference(&photo.rgb, &blocks()) <= tolerance, "{orientation} {format:?}");
            assert_eq!(photo.original_size_px, Some((48, 32)));
            assert_eq!(photo.is_cropped(), Some(false));
        }
        assert_eq!(decode(&tiff(&stored, u32::from(orientation))).unwrap().rgb, blocks(), "{orientation}");
    }
}

#[test]
fn exif_fields_are_read_and_unknown_ones_stay_unknown() {
    let photo = |exif| decode(&with_exif(&blocks(), ImageFormat::Jpeg, exif)).unwrap();
    let full = photo(exif(1, (4000, 3000), 26, 15));
    assert_eq!(full.focal_length_35mm, Some(26.0));
    assert_eq!(full.digital_zoom_ratio, Some(1.5));
    assert_eq!(full.original_size_px, Some((4000, 3000)));
    assert_eq!(full.is_cropped(), Some(true), "48 × 32 is no longer 4 : 3");
    // 0 stands for unknown, in the focal length as in the zoom; orientations beyond 8 do not exist.
    let zero = photo(exif(9, (0, 0), 0, 0));
    assert_eq!((zero.focal_length_35mm, zero.digital_zoom_ratio, zero.original_size_px), (None, None, None));
    let none = decode(&encoded(&blocks().into(), ImageFormat::Jpeg)).unwrap();
    assert_eq!((none.focal_length_35mm, none.original_size_px, none.is_cropped()), (None, None, None));
    // EXIF cut off after its first directory: what was there is kept.
    let cut = exif(6, (48, 32), 26, 10)[..40].to_vec();
    assert_eq!(CameraRecord::read(&with_exif(&blocks(), ImageFormat::Png, cut)).orientation, Some(6));
    let garbage = with_exif(&blocks(), ImageFormat::Jpeg, vec![7; 100]);
    assert_eq!(CameraRecord::read(&garbage), CameraRecord::default());
    assert!(decode(&garbage).is_ok());
}

/// All files hold the same picture, each compressed with loss: 5 to 6 code values of 255 (rms) apart. A picture read
/// with the wrong sample range is off by more than 10, one turned wrongly by more than 50.
#[test]
fn heic_is_upright_once_and_has_the_right_contrast() {
    let jpeg = decode(SWATCH_JPEG).unwrap().rgb;
    for heic in [SWATCH_HEIC, GRID_HEIC] {
        let heic = decode(heic).unwrap().rgb;
        assert_eq!(heic.dimensions(), (480, 640));
        let n = jpeg.as_raw().len() as f64;
        let pairs = || heic.as_raw().iter().zip(jpeg.as_raw()).map(|(a, b)| (f64::from(*a), f64::from(*b)));
        let rms = (pairs().map(|(a, b)| (a - b).powi(2)).sum::<f64>() / n).sqrt();
        assert!(rms < 8.0, "rms {rms}");
        let bias = pairs().map(|(a, b)| a - b).sum::<f64>() / n;
        assert!(bias.abs() < 1.0, "bias {bias}");
    }
    let with_exif = decode(SWATCH_HEIC).unwrap();
    assert_eq!(with_exif.focal_length_35mm, Some(26.0));
    assert_eq!(with_exif.is_cropped(), Some(false));
}

#[test]
fn heic_mirrored_by_its_container() {
    // The rotation property becomes a mirroring one of the same size: about the vertical axis (ISO/IEC 23008-12: 0 and 1
    // have changed meaning between editions), applied to the stored landscape picture.
    let at = SWATCH_HEIC.windows(4).position(|name| name == b"irot").unwrap();
    let mut mirrored = SWATCH_HEIC.to_vec();
    mirrored[at..at + 5].copy_from_slice(b"imir\x00");
    let (mirrored, upright) = (decode(&mirrored).unwrap().rgb, decode(SWATCH_HEIC).unwrap().rgb);
    let stored = image::imageops::rotate270(&upright);
    let (across, down) = (image::imageops::flip_horizontal(&stored), image::imageops::flip_vertical(&stored));
    assert!(mirrored == across || mirrored == down);
}

#[test]
fn jpeg_variants() {
    let progressive = decode(PROGRESSIVE).unwrap();
    let cmyk = decode(CMYK).unwrap();
    assert_eq!((cmyk.width(), cmyk.height()), (48, 36));
    let difference = |(a, b): (&u8, &u8)| f64::from(a.abs_diff(*b));
    let mean =
        cmyk.rgb.as_raw().iter().zip(progressive.rgb.as_raw()).map(difference).sum::<f64>() / (3.0 * 48.0 * 36.0);
    // Inverted inks would differ by about a hundred; two lossy compressions differ by a few.
    assert!(mean < 8.0, "{mean}");
    let grey = decode(&encoded(&DynamicImage::from(blocks()).into_luma8().into(), ImageFormat::Jpeg)).unwrap();
    assert!(grey.rgb.pixels().all(|p| p.0[0] == p.0[1] && p.0[1] == p.0[2]));
}

#[test]
fn png_variants() {
    let png = |picture: DynamicImage| decode(&encoded(&picture, ImageFormat::Png)).unwrap().rgb;
    assert_eq!(png(blocks().into()), blocks());
    // 16 bits: 257 × the 8-bit value.
    assert_eq!(png(DynamicImage::from(blocks()).into_rgb16().into()), blocks());
    assert_eq!(png(DynamicImage::from(blocks()).into_rgba16().into()), blocks());
    let grey = image::GrayImage::from_pixel(5, 7, Luma([90]));
    assert_eq!(png(grey.into()), RgbImage::from_pixel(5, 7, Rgb([90, 90, 90])));
    // Alpha lies on white, also where the hidden colour is another.
    let faint = image::RgbaImage::from_fn(3, 1, |x, _| Rgba([100, 0, 200, [0, 51, 255][x as usize]]));
    let on_white = png(faint.into());
    assert_eq!(on_white.as_raw().as_slice(), [255, 255, 255, 224, 204, 244, 100, 0, 200]);
}

#[test]
fn tiny_and_empty() {
    let dot = decode(&encoded(&RgbImage::from_pixel(1, 1, Rgb([1, 2, 3])).into(), ImageFormat::Png)).unwrap();
    assert_eq!((dot.width(), dot.height()), (1, 1));
    assert!(dot.is_too_small());
    assert_eq!(dot.reduced_projection([1.0; 3], 2).dimensions(), (0, 0));
    assert_eq!(decode(&[]), Err(PhotoError::Empty));
    assert_eq!(decode(b"It was a dark and stormy night; the rain fell in torrents."), Err(PhotoError::NotAPhoto));
    assert_eq!(decode(b"\xFF"), Err(PhotoError::NotAPhoto));
    assert_eq!(decode(b"\xFF\xD8\xFF"), Err(PhotoError::Truncated(PhotoFormat::Jpeg)));
    assert_eq!(decode(b"GIF89a\x01\0\x01\0\0\0\0;"), Err(PhotoError::NotAPhoto));
}

#[test]
fn cut_off_files_are_never_half_a_picture() {
    let swatch = DynamicImage::from(decode(SWATCH_JPEG).unwrap().rgb);
    for (format, bytes) in [
        (PhotoFormat::Jpeg, SWATCH_JPEG.to_vec()),
        (PhotoFormat::Jpeg, PROGRESSIVE.to_vec()),
        (PhotoFormat::Png, encoded(&swatch, ImageFormat::Png)),
        (PhotoFormat::WebP, encoded(&swatch, ImageFormat::WebP)),
        (PhotoFormat::Tiff, encoded(&swatch, ImageFormat::Tiff)),
        (PhotoFormat::Heic, SWATCH_HEIC.to_vec()),
    ] {
        assert!(decode(&bytes).is_ok(), "{format}");
        for thousandths in [1, 50, 300, 700, 950, 999] {
            let error = decode(&bytes[..bytes.len() * thousandths / 1000]).expect_err("cut off");
            let expected =
                [PhotoError::Truncated(format), PhotoError::Damaged(format), PhotoError::NotAPhoto, PhotoError::Empty];
            assert!(expected.contains(&error), "{format} {thousandths} ‰: {error}");
            assert!(!error.to_string().contains('\n'));
        }
    }
    let cut = |bytes: &[u8]| decode(&bytes[..bytes.len() * 2 / 3]);
    assert_eq!(cut(SWATCH_JPEG), Err(PhotoError::Truncated(PhotoFormat::Jpeg)));
    assert_eq!(cut(&encoded(&swatch, ImageFormat::Png)), Err(PhotoError::Truncated(PhotoFormat::Png)));
    assert_eq!(cut(SWATCH_HEIC), Err(PhotoError::Truncated(PhotoFormat::Heic)));
}

/// Phones append a video or a depth picture behind the end of the image.
#[test]
fn what_follows_a_jpeg_does_not_matter() {
    let followed = [SWATCH_JPEG, &[0u8; 5000], PROGRESSIVE].concat();
    assert_eq!(decode(&followed).unwrap().rgb, decode(SWATCH_JPEG).unwrap().rgb);
}

/// Headers that promise 400 megapixels or absurd sides over a few bytes: refused at once, no memory taken.
#[test]
fn promised_sizes_are_checked_first() {
    let too_large = |width_px, height_px| Err(PhotoError::TooLarge { width_px, height_px });
    let patched = |bytes: &[u8], before: &[u8], offset: usize, value: &[u8]| {
        let at = bytes.windows(before.len()).position(|w| w == before).unwrap() + offset;
        let mut bytes = bytes.to_vec();
        bytes[at..at + value.len()].copy_from_slice(value);
        bytes
    };
    let side = 20_000u32.to_be_bytes();
    let png = encoded(&blocks().into(), ImageFormat::Png);
    assert_eq!(decode(&patched(&png, b"IHDR", 4, &[side, side].concat())), too_large(20_000, 20_000));
    let line = [40_000u32.to_be_bytes(), 100u32.to_be_bytes()].concat();
    assert_eq!(decode(&patched(&png, b"IHDR", 4, &line)), too_large(40_000, 100));
    let both = [&side[2..], &side[2..]].concat();
    let jpeg = encoded(&blocks().into(), ImageFormat::Jpeg);
    assert_eq!(decode(&patched(&jpeg, &[0xFF, 0xC0, 0, 17], 5, &both)), too_large(20_000, 20_000));
    let heic = patched(SWATCH_HEIC, b"ispe", 8, &[side, side].concat());
    assert_eq!(decode(&heic), too_large(20_000, 20_000));
    let mut wide = tiff(&blocks(), 1);
    // Values of the width, the height and the rows of the only strip.
    for at in [18, 30, 114] {
        wide[at..at + 2].copy_from_slice(&20_000u16.to_le_bytes());
    }
    assert_eq!(decode(&wide), too_large(20_000, 20_000));
}

#[test]
fn sha_256_of_the_bytes() {
    // FIPS 180-4, example "abc" (NIST).
    let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert_eq!(sha256_hex(b"abc"), abc);
    assert_eq!(decode(SWATCH_JPEG).unwrap().sha256, sha256_hex(SWATCH_JPEG));
}

/// IEC 61966-2-1: code 0, 255, the end of the straight part, and middle grey (0.2140 at 127.5, here at 127 and 128).
#[test]
fn linear_light() {
    let table = linear_table();
    assert_eq!((table[0], table[255]), (0.0, 1.0));
    assert!((table[10] - 10.0 / 255.0 / 12.92).abs() < 1e-7);
    assert!((f32::midpoint(table[127], table[128]) - 0.2140).abs() < 1e-4);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn reduced_photos_are_means_in_linear_light(
        width in 1u32..40, height in 1u32..40, factor in 1u32..6, weights in prop::array::uniform3(-1f32..1.0), seed in 0u32..99,
    ) {
        let value = |x: u32, y: u32, c: u32| (x * 37 + y * 91 + c * 53 + seed * 17).wrapping_mul(2_654_435_761) as u8;
        let rgb = RgbImage::from_fn(width, height, |x, y| Rgb([value(x, y, 0), value(x, y, 1), value(x, y, 2)]));
        let photo = Photo { rgb, ..Photo::default() };
        let full = photo.projection(weights);
        let (direct, colours) = (photo.reduced_projection(weights, factor), photo.reduced(factor));
        let projected = colours.projection(weights);
        prop_assert_eq!(direct.dimensions(), (width / factor, height / factor));
        prop_assert_eq!(direct.dimensions(), projected.dimensions());
        for (x, y, grey) in direct.enumerate_pixels() {
            let cell = (0..factor * factor).map(|i| full.get_pixel(x * factor + i % factor, y * factor + i / factor).0[0]);
            let mean = cell.sum::<f32>() / (factor * factor) as f32;
            prop_assert!((grey.0[0] - mean).abs() < 1e-5);
            prop_assert!((projected.get_pixel(x, y).0[0] - mean).abs() < 1e-5);
        }
    }

    #[test]
    fn arbitrary_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..400), magic in 0usize..6) {
        let begin: [&[u8]; 6] =
            [b"", b"\xFF\xD8\xFF", b"\x89PNG\r\n\x1a\n", b"RIFF\x90\0\0\0WEBPVP8 ", b"II\x2a\0\x08\0\0\0", b"\0\0\0\x18ftypheic"];
        let _ = decode(&[begin[magic], &bytes].concat());
    }

    #[test]
    fn damaged_files_never_panic(
        which in 0usize..8,
        damage in prop::collection::vec((0f64..1.0, any::<u8>()), 1..12),
        near_the_start in any::<bool>(),
    ) {
        let whole = [
            SWATCH_HEIC.to_vec(), SWATCH_JPEG.to_vec(), PROGRESSIVE.to_vec(), CMYK.to_vec(),
            encoded(&blocks().into(), ImageFormat::Png), encoded(&blocks().into(), ImageFormat::WebP), tiff(&blocks(), 6),
            GRID_HEIC.to_vec(),
        ];
        let mut bytes = whole[which].clone();
        let reach = if near_the_start { bytes.len().min(900) } else { bytes.len() };
        for (place, value) in damage {
            bytes[(place * reach as f64) as usize] = value;
        }
        let _ = decode(&bytes);
    }
}
