//! The calibration card: a printed sheet whose marks give scale, tilt and lens.
//!
//! A checkerboard of squares with a diamond in some of them. The corners of the squares are the measuring marks: four
//! edges meet in each, so blur and exposure leave it in its place. The diamonds say which card it is and which of its
//! corners are seen: every block of 4 × 4 squares differs from every other block, however the card is turned, so a card
//! that is mostly covered is still known, and a chessboard or a checkered cloth is not taken for it.
//!
//! Everything that printing, reading and drawing the card need to agree on stands here and nowhere else.

mod pdf;
mod sheet;
mod svg_text;

pub use pdf::pdf_bytes;
pub use sheet::{Paper, Shape, Sheet, Tone};
pub use svg_text::svg_string;

/// Squares along the card's longer side.
pub const COLUMNS: i32 = 17;

/// Squares along its shorter side.
pub const ROWS: i32 = 7;

/// Side of a square, in mm, when the sheet is printed true to size.
pub const SQUARE_MM: f64 = 10.0;

/// White rim around the squares, in mm: the outermost squares need something light to stand out from, and fingers and
/// scissors need room.
pub const RIM_MM: f64 = 5.0;

/// Half the diagonal of a diamond, in sides of a square. Its points stay clear of the windows in which corners are
/// measured.
pub const DIAMOND: f64 = 0.2;

/// Width and height of the card with its rim, in mm.
pub const SIZE_MM: [f64; 2] = [COLUMNS as f64 * SQUARE_MM + 2.0 * RIM_MM, ROWS as f64 * SQUARE_MM + 2.0 * RIM_MM];

/// Distance of the two marks that a user measures with a ruler, in mm, when the sheet is printed true to size. As long as
/// both papers allow in both directions.
pub const CHECK_LENGTH_MM: f64 = 150.0;

/// Which squares carry a diamond, row by row from the card's upper left corner, `1` for a diamond.
///
/// Found by simulated annealing so that any two blocks of 4 × 4 squares differ in at least [`BLOCK_DISTANCE`] of their
/// 16, turned by any number of quarters as far as dark squares stay dark, and that each has 6 to 10 diamonds.
pub const DIAMONDS: [&str; ROWS as usize] = [
    "11000000010101100",
    "11011001101111110",
    "01010110011000100",
    "01010110001100110",
    "11100100010100001",
    "01111001010111010",
    "01010110011100101",
];

/// Side of the smallest block of squares that is told from all others.
pub const BLOCK: i32 = 4;

/// Fewest squares in which two blocks differ.
pub const BLOCK_DISTANCE: u32 = 4;

/// Whether a square is dark: the corner squares are, and then every other.
pub fn is_dark(column: i32, row: i32) -> bool {
    (column + row).rem_euclid(2) == 0
}

/// Whether a square carries a diamond, light in a dark square and dark in a light one; `None` outside the card.
pub fn has_diamond(column: i32, row: i32) -> Option<bool> {
    let line = DIAMONDS.get(usize::try_from(row).ok()?)?;
    Some(*line.as_bytes().get(usize::try_from(column).ok()?)? == b'1')
}

/// Whether a place on the card, in mm from the upper left corner of its rim, is printed dark; white outside the squares.
pub fn is_inked(x_mm: f64, y_mm: f64) -> bool {
    let (u, v) = ((x_mm - RIM_MM) / SQUARE_MM, (y_mm - RIM_MM) / SQUARE_MM);
    let (column, row) = (u.floor() as i32, v.floor() as i32);
    let Some(diamond) = has_diamond(column, row) else { return false };
    let off = (u - f64::from(column) - 0.5).abs() + (v - f64::from(row) - 0.5).abs();
    is_dark(column, row) != (diamond && off < DIAMOND)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The diamonds of a block, as bits, after so many quarter turns.
    fn block(column: i32, row: i32, turns: u32) -> u32 {
        let side = BLOCK - 1;
        let mut bits = 0;
        for b in 0..BLOCK {
            for a in 0..BLOCK {
                let (mut x, mut y) = (a, b);
                for _ in 0..turns {
                    (x, y) = (y, side - x);
                }
                bits = 2 * bits + u32::from(has_diamond(column + x, row + y).unwrap());
            }
        }
        bits
    }

    #[test]
    fn every_block_is_told_from_every_other_in_every_turn() {
        let mut seen: Vec<(bool, u32)> = Vec::new();
        for turns in 0..4 {
            for row in 0..=ROWS - BLOCK {
                for column in 0..=COLUMNS - BLOCK {
                    let corner = if turns % 2 == 1 { (column, row + BLOCK - 1) } else { (column, row) };
                    let bits = block(column, row, turns);
                    assert!((6..=10).contains(&bits.count_ones()), "{bits:b}");
                    seen.push((is_dark(corner.0, corner.1), bits));
                }
            }
        }
        for (i, a) in seen.iter().enumerate() {
            for b in &seen[..i] {
                assert!(a.0 != b.0 || (a.1 ^ b.1).count_ones() >= BLOCK_DISTANCE, "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn ink_follows_squares_and_diamonds() {
        // The corner square is dark with a light diamond, its rim white.
        assert!(is_inked(RIM_MM + 0.1, RIM_MM + 0.1) && !is_inked(RIM_MM + 5.0, RIM_MM + 5.0));
        assert!(!is_inked(RIM_MM - 0.1, RIM_MM + 5.0) && !is_inked(SIZE_MM[0] - 1.0, SIZE_MM[1] - 1.0));
    }
}
