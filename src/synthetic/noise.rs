//! Repeatable texture: a number for every place, from integer hashing (the same on every machine).

/// A number in 0..1 for a cell of the grid.
pub(super) fn cell(x: i32, y: i32, salt: u32) -> f32 {
    let mut h =
        (x as u32).wrapping_mul(0x9E37_79B1) ^ (y as u32).wrapping_mul(0x85EB_CA77) ^ salt.wrapping_mul(0xC2B2_AE3D);
    h ^= h >> 15;
    h = h.wrapping_mul(0x2C1B_3C6D);
    h ^= h >> 12;
    h = h.wrapping_mul(0x297A_2D39);
    h ^= h >> 15;
    (h >> 8) as f32 / 16_777_216.0
}

/// The largest whole number not above `v` (within the range of i32).
pub(super) fn floor(v: f32) -> i32 {
    let cut = v as i32;
    cut.saturating_sub(i32::from((cut as f32) > v))
}

/// Smooth noise in 0..1 with a feature size of one unit (value noise on a square grid).
pub(super) fn smooth(x: f32, y: f32, salt: u32) -> f32 {
    let (ix, iy) = (floor(x), floor(y));
    let ease = |t: f32| t * t * (3.0 - 2.0 * t);
    let (tx, ty) = (ease(x - ix as f32), ease(y - iy as f32));
    let row = |j: i32| {
        let (a, b) = (cell(ix, iy.wrapping_add(j), salt), cell(ix.wrapping_add(1), iy.wrapping_add(j), salt));
        a + (b - a) * tx
    };
    let (upper, lower) = (row(0), row(1));
    upper + (lower - upper) * ty
}
