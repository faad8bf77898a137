//! Photo files made to do harm: a few bytes that promise much, or unfold into much. Each is refused with a reason, in the
//! memory and the time that an ordinary photo takes.

use super::folder::{Answer, Folder};
use image::{ExtendedColorType, ImageEncoder, ImageFormat};
use std::io::Cursor;
use std::time::{Duration, Instant};

/// Address space that a run may take, in KiB: threads and libraries have a quarter of it, a 12-megapixel photo the rest.
const ADDRESS_SPACE_KIB: u32 = 700_000;

/// A run may take so long, on a busy machine.
const LONGEST: Duration = Duration::from_secs(60);

fn grey_as(format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    image::RgbImage::from_pixel(64, 48, image::Rgb([128; 3])).write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

/// CRC-32 of PNG chunks (ISO/IEC 15948, annex D).
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { c >> 1 ^ 0xEDB8_8320 } else { c >> 1 })
    })
}

fn chunk(name: &[u8; 4], content: &[u8]) -> Vec<u8> {
    let named = [name, content].concat();
    [&(content.len() as u32).to_be_bytes()[..], &named, &crc(&named).to_be_bytes()].concat()
}

/// A small PNG with more chunks behind its header.
fn png_with(chunks: &[Vec<u8>]) -> Vec<u8> {
    let png = grey_as(ImageFormat::Png);
    [&png[..33], &chunks.concat(), &png[33..]].concat()
}

fn png_of_size(width: u32, height: u32, depth_and_colour: [u8; 2], pixels: &[u8]) -> Vec<u8> {
    let header = [&width.to_be_bytes()[..], &height.to_be_bytes(), &depth_and_colour, &[0, 0, 0]].concat();
    [b"\x89PNG\r\n\x1a\n".to_vec(), chunk(b"IHDR", &header), chunk(b"IDAT", pixels), chunk(b"IEND", b"")].concat()
}

/// A hundred megabytes of zeros, compressed to half a percent.
fn bomb() -> Vec<u8> {
    let mut png = Vec::new();
    let encoder = image::codecs::png::PngEncoder::new(&mut png);
    encoder.write_image(&vec![0; 10_000 * 10_000], 10_000, 10_000, ExtendedColorType::L8).unwrap();
    let (mut at, mut data) = (8, Vec::new());
    while at + 8 <= png.len() {
        let length = u32::from_be_bytes(png[at..at + 4].try_into().unwrap()) as usize;
        if &png[at + 4..at + 8] == b"IDAT" {
            data.extend(&png[at + 8..at + 8 + length]);
        }
        at += 12 + length;
    }
    assert!(data.len() < 1_000_000, "{}", data.len());
    data
}

fn jpeg_of_size(width: u16, height: u16) -> Vec<u8> {
    let mut jpeg = grey_as(ImageFormat::Jpeg);
    let at = jpeg.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap() + 5;
    jpeg[at..at + 2].copy_from_slice(&height.to_be_bytes());
    jpeg[at + 2..at + 4].copy_from_slice(&width.to_be_bytes());
    jpeg
}

/// A JPEG with an EXIF block, which is TIFF inside.
fn jpeg_with_exif(tiff: &[u8]) -> Vec<u8> {
    let jpeg = grey_as(ImageFormat::Jpeg);
    let block = [b"Exif\0\0", tiff].concat();
    [&jpeg[..2], &[0xFF, 0xE1], &(block.len() as u16 + 2).to_be_bytes(), &block, &jpeg[2..]].concat()
}

/// TIFF entries, little-endian: tag, type, count, value; then where the next directory is.
fn directory(entries: &[(u16, u16, u32, u32)], next: u32) -> Vec<u8> {
    let mut bytes = (entries.len() as u16).to_le_bytes().to_vec();
    for (tag, kind, count, value) in entries {
        bytes
            .extend([&tag.to_le_bytes()[..], &kind.to_le_bytes(), &count.to_le_bytes(), &value.to_le_bytes()].concat());
    }
    [bytes, next.to_le_bytes().to_vec()].concat()
}

fn tiff(entries: &[(u16, u16, u32, u32)], next: u32) -> Vec<u8> {
    [b"II\x2a\0\x08\0\0\0".to_vec(), directory(entries, next)].concat()
}

/// The tags of a plain TIFF with one strip.
fn plain_tiff(width: u32, height: u32, strips: u32, strip_bytes: u32) -> Vec<u8> {
    let tags = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 1, 8),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, strips, 8),
        (277, 3, 1, 1),
        (278, 4, 1, height),
        (279, 4, strips, strip_bytes),
    ];
    tiff(&tags, 0)
}

fn riff(chunks: &[u8]) -> Vec<u8> {
    [b"RIFF", &(chunks.len() as u32 + 4).to_le_bytes()[..], b"WEBP", chunks].concat()
}

/// Width and height, less one, in 24 bits each, behind flags: the header of an extended WebP.
fn extended_webp(flags: u8, side: u32, rest: &[u8]) -> Vec<u8> {
    let side = &(side - 1).to_le_bytes()[..3];
    riff(&[b"VP8X\x0A\0\0\0", &[flags, 0, 0, 0][..], side, side, rest].concat())
}

fn heic_of_size(side: u32) -> Vec<u8> {
    let mut heic = include_bytes!("../data/rendered-swatch.heic").to_vec();
    for at in 0..heic.len() - 16 {
        if &heic[at..at + 4] == b"ispe" {
            heic[at + 8..at + 16].copy_from_slice(&[side.to_be_bytes(), side.to_be_bytes()].concat());
        }
    }
    heic
}

/// A progressive JPEG whose last scan comes again and again, each time a pass over the whole picture.
fn many_scans(times: usize) -> Vec<u8> {
    let jpeg = include_bytes!("../data/progressive.jpg");
    let last = jpeg.windows(2).rposition(|w| w == [0xFF, 0xDA]).unwrap();
    let header = 2 + usize::from(u16::from_be_bytes([jpeg[last + 2], jpeg[last + 3]]));
    let scan = [&jpeg[last..last + header], &[0]].concat();
    let mut bytes = [&jpeg[..jpeg.len() - 2], &scan.repeat(times), &[0xFF, 0xD9]].concat();
    let size = bytes.windows(2).position(|w| w == [0xFF, 0xC2]).unwrap() + 5;
    bytes[size..size + 4].copy_from_slice(&[0x1F, 0x40, 0x1F, 0x40]);
    bytes
}

/// Files that a limited run must refuse as unreadable, and that must be told to be too large where that is what they say.
fn promising_much() -> Vec<(&'static str, Vec<u8>)> {
    let webp = grey_as(ImageFormat::WebP);
    let inner = webp[12..].to_vec();
    vec![
        ("too large.png", png_of_size(65_535, 65_535, [8, 2], b"\x78\x9c")),
        ("int.png", png_of_size(i32::MAX as u32, i32::MAX as u32, [16, 6], b"\x78\x9c")),
        ("too large line.png", png_of_size(40_000, 1, [8, 2], b"\x78\x9c")),
        ("too large.jpg", jpeg_of_size(65_500, 65_500)),
        ("too large line.jpg", jpeg_of_size(65_500, 8)),
        ("too large.tif", plain_tiff(65_535, 65_535, 1, 100)),
        ("int.tif", plain_tiff(u32::MAX, u32::MAX, 1, 100)),
        ("canvas.webp", extended_webp(0, 16_384, &inner)),
        ("moving.webp", extended_webp(2, 1 << 24, b"ANIM\x06\0\0\0\0\0\0\0\0\0")),
        ("too large.heic", heic_of_size(20_000)),
        ("int.heic", heic_of_size(u32::MAX)),
        ("strips.tif", plain_tiff(100, 100, u32::MAX, 100)),
        ("strip bytes.tif", plain_tiff(9_000, 9_000, 1, u32::MAX)),
        ("round.tif", tiff(&[(256, 4, 1, 10)], 8)),
        ("no end.webp", riff(b"VP8 \xFF\xFF\xFF\xFF")),
        ("unlike.webp", extended_webp(0, 10, &[b"VP8L\x05\0\0\0\x2f", &[0xFF; 4][..], &[0]].concat())),
        ("scans.jpg", many_scans(20_000)),
        (
            "boxes.heic",
            [&[0, 0, 0, 24], &b"ftypheic\0\0\0\0mif1heic"[..], &[0x7F, 0xFF, 0xFF, 0xFF], b"meta\0\0\0\0"].concat(),
        ),
    ]
}

/// Files whose picture is sound and small, and that carry something else.
fn carrying_much() -> Vec<(&'static str, Vec<u8>)> {
    let bomb = bomb();
    let text = chunk(b"zTXt", &[b"Comment\0\0", &bomb[..]].concat());
    let entry = (0x8769, 4, 1, 8);
    let zeros = vec![0; 60_000];
    let in_text = |tag: u16| [tiff(&[(tag, 2, 59_000, 26)], 0), zeros.clone()].concat();
    vec![
        ("text.png", png_with(&vec![text; 20])),
        ("profile.png", png_with(&[chunk(b"iCCP", &[b"p\0\0", &bomb[..]].concat())])),
        ("words.png", png_with(&[chunk(b"iTXt", &[b"Comment\0\x01\0\0\0", &bomb[..]].concat())])),
        ("long text.png", png_with(&[chunk(b"tEXt", &vec![b'x'; 5 << 20])])),
        ("frames.png", png_with(&[chunk(b"acTL", &[0xFF; 8])])),
        ("round.jpg", jpeg_with_exif(&tiff(&[entry; 400], 8))),
        ("counts.jpg", jpeg_with_exif(&tiff(&[(0x0112, 5, u32::MAX, 8), (0x9000, 12, 1 << 29, 8)], 0))),
        ("in text.jpg", jpeg_with_exif(&in_text(0x0112))),
        ("pointer in text.jpg", jpeg_with_exif(&in_text(0x8769))),
        ("exif.png", png_with(&[chunk(b"eXIf", &[in_text(0x8769), vec![0; 30 << 20]].concat())])),
    ]
}

fn limited(folder: &Folder, name: &str) -> Answer {
    let start = Instant::now();
    // On machines with many cores their threads alone would take more.
    let answer = folder.shell(&format!(
        "ulimit -v {ADDRESS_SPACE_KIB}; export RAYON_NUM_THREADS=2; exec \"$WALEWISE\" measure '{name}' --json"
    ));
    assert!(start.elapsed() < LONGEST, "{name}: {:?}", start.elapsed());
    answer
}

#[test]
fn promises_are_not_believed() {
    let folder = Folder::new();
    for (name, bytes) in promising_much() {
        std::fs::write(folder.path(name), bytes).unwrap();
        let answer = limited(&folder, name);
        assert_eq!((answer.status, answer.err.as_str()), (4, ""), "{name}: {}", answer.out);
        let [record] = answer.json().try_into().unwrap();
        let code = record["error"]["code"].as_str().unwrap();
        assert!(code == "photo_too_large" || !name.starts_with("too large"), "{name}: {code}");
    }
}

#[test]
fn what_a_photo_carries_is_not_unfolded() {
    let folder = Folder::new();
    for (name, bytes) in carrying_much() {
        std::fs::write(folder.path(name), bytes).unwrap();
        let answer = limited(&folder, name);
        assert!([3, 4].contains(&answer.status) && answer.err.is_empty(), "{name}: {}{}", answer.out, answer.err);
        let [record] = answer.json().try_into().unwrap();
        assert_ne!(record["status"], "failed", "{name}");
    }
}

/// The largest texts of a TIFF are as large as the file: here a hundred megabytes of zeros, which would become 2.4 GB.
#[test]
fn a_tiff_of_zeros() {
    let folder = Folder::new();
    for tag in [0x0112u16, 0x8769] {
        let head = tiff(&[(tag, 2, 90_000_000, 64)], 0);
        std::fs::write(folder.path("zeros.tif"), [head, vec![0; 100_000_000]].concat()).unwrap();
        let answer = limited(&folder, "zeros.tif");
        assert_eq!((answer.status, answer.err.as_str()), (4, ""), "{tag:x}: {}", answer.out);
    }
}

/// A file of more than a gigabyte is not opened, whatever it holds.
#[test]
fn a_file_that_is_too_large() {
    let folder = Folder::new();
    let file = std::fs::File::create(folder.path("large.jpg")).unwrap();
    file.set_len((1 << 30) + 1).unwrap();
    let answer = limited(&folder, "large.jpg");
    assert_eq!(answer.status, 4);
    assert_eq!(answer.json()[0]["error"]["code"], "file_too_large");
}
