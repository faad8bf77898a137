//! Turning a picture upright by its EXIF orientation.

use image::{ImageBuffer, RgbImage, imageops};

/// Side of the square tiles in which a picture is transposed, in pixels: two of them, 3 bytes a pixel, fit into a
/// first-level cache of 32 kB.
const TILE_PX: usize = 64;

/// The upright picture for an EXIF orientation of 1 to 8 (EXIF 2.3, tag 0x0112: which sides of the scene the stored first
/// row and first column are). Other values leave the picture as it is.
pub(super) fn turned(mut picture: RgbImage, orientation: u8) -> RgbImage {
    match orientation {
        2 => imageops::flip_horizontal_in_place(&mut picture),
        3 => imageops::rotate180_in_place(&mut picture),
        4 => imageops::flip_vertical_in_place(&mut picture),
        5 => return transposed(&picture, false, false),
        6 => return transposed(&picture, true, false),
        7 => return transposed(&picture, true, true),
        8 => return transposed(&picture, false, true),
        _ => {}
    }
    picture
}

/// Rows become columns; then, where asked, left and right and up and down are exchanged.
fn transposed(picture: &RgbImage, mirror_x: bool, mirror_y: bool) -> RgbImage {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let from = picture.as_raw();
    let mut to = vec![0u8; from.len()];
    for (tile_y, tile_x) in tiles(width, height) {
        for x in tile_x..(tile_x + TILE_PX).min(width) {
            let row = if mirror_y { width - 1 - x } else { x };
            for y in tile_y..(tile_y + TILE_PX).min(height) {
                let column = if mirror_x { height - 1 - y } else { y };
                let (source, target) = (3 * (y * width + x), 3 * (row * height + column));
                to[target..target + 3].copy_from_slice(&from[source..source + 3]);
            }
        }
    }
    ImageBuffer::from_raw(picture.height(), picture.width(), to).unwrap_or_default()
}

fn tiles(width: usize, height: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..height).step_by(TILE_PX).flat_map(move |y| (0..width).step_by(TILE_PX).map(move |x| (y, x)))
}
