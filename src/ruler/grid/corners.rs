//! Where squares meet or lines cross: candidates for the corners of a grid.

use crate::photo::GreyImage;
use imageproc::filter::gaussian_blur_f32;

/// Blur at which crossings are looked for, in px of the reduced picture.
const BLUR_PX: f32 = 1.5;

/// Most candidates kept of a kind, the strongest first.
const MOST: usize = 900;

/// Samples around a candidate.
const RING: usize = 32;

/// Share of a ring's variance that the right number of dark sectors must explain.
const RING_SHARE: f64 = 0.6;

/// A candidate corner in the reduced picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Crossing {
    /// Px right of the reduced picture's edge.
    pub x: f64,
    /// Px below its edge.
    pub y: f64,
    /// Direction of the dark sectors modulo a half turn, doubled: neighbouring corners of a checkerboard differ by π.
    /// `None` for crossing lines, which are all alike.
    pub phase: Option<f64>,
    /// Contrast of the ring around it.
    pub strength: f64,
}

/// Candidates of each kind: corners of a checkerboard, then crossings of dark lines, then of light lines.
pub(super) fn find(grey: &GreyImage) -> [Vec<Crossing>; 3] {
    let blurred = gaussian_blur_f32(&encoded(grey), BLUR_PX);
    let (w, h) = (blurred.width() as usize, blurred.height() as usize);
    let mut kinds: [Vec<Crossing>; 3] = Default::default();
    if w < 40 || h < 40 {
        return kinds;
    }
    let data = blurred.as_raw();
    let shape = |x: usize, y: usize| curvature(data, w, x, y);
    const EDGE: usize = 8;
    for y in EDGE..h - EDGE {
        for x in EDGE..w - EDGE {
            let (determinant, trace) = shape(x, y);
            if determinant.abs() < 1e-7 || !is_extreme(determinant, x, y, &shape) {
                continue;
            }
            if determinant < 0.0 {
                kinds[0].extend(crossing(data, w, x, y, 2).filter(|c| c.phase.is_some()));
            } else {
                let lines = crossing(data, w, x, y, 4).map(|c| Crossing { phase: None, ..c });
                kinds[if trace > 0.0 { 1 } else { 2 }].extend(lines);
            }
        }
    }
    for kind in &mut kinds {
        kind.sort_by(|a, b| b.strength.total_cmp(&a.strength));
        kind.truncate(MOST);
    }
    kinds
}

/// Square root of the linear light: noise and contrast are then alike in bright and dark parts.
fn encoded(grey: &GreyImage) -> GreyImage {
    GreyImage::from_fn(grey.width(), grey.height(), |x, y| image::Luma([grey.get_pixel(x, y)[0].max(0.0).sqrt()]))
}

/// Determinant and trace of the second derivatives over a step of 2 px.
fn curvature(data: &[f32], w: usize, x: usize, y: usize) -> (f64, f64) {
    let v = |dx: isize, dy: isize| f64::from(data[(y as isize + dy) as usize * w + (x as isize + dx) as usize]);
    let xx = v(-2, 0) + v(2, 0) - 2.0 * v(0, 0);
    let yy = v(0, -2) + v(0, 2) - 2.0 * v(0, 0);
    let xy = (v(2, 2) + v(-2, -2) - v(2, -2) - v(-2, 2)) / 4.0;
    (xx * yy - xy * xy, xx + yy)
}

/// Whether a determinant is the largest of its sign among its eight neighbours.
fn is_extreme(value: f64, x: usize, y: usize, shape: &impl Fn(usize, usize) -> (f64, f64)) -> bool {
    let sign = value.signum();
    (-1..=1).all(|dy: isize| {
        (-1..=1).all(|dx: isize| {
            (dx, dy) == (0, 0) || sign * shape((x as isize + dx) as usize, (y as isize + dy) as usize).0 <= sign * value
        })
    })
}

/// The ring around a candidate: it must rise and fall `sectors` times.
fn crossing(data: &[f32], w: usize, x: usize, y: usize, sectors: usize) -> Option<Crossing> {
    const RADIUS_PX: f64 = 5.0;
    let ring: [f64; RING] = std::array::from_fn(|k| {
        let (sin, cos) = (std::f64::consts::TAU * k as f64 / RING as f64).sin_cos();
        let (px, py) = (x as f64 + RADIUS_PX * cos, y as f64 + RADIUS_PX * sin);
        let (ix, iy) = (px as usize, py as usize);
        let (fx, fy) = (px - ix as f64, py - iy as f64);
        let at = |dx: usize, dy: usize| f64::from(data[(iy + dy) * w + ix + dx]);
        (at(0, 0) * (1.0 - fx) + at(1, 0) * fx) * (1.0 - fy) + (at(0, 1) * (1.0 - fx) + at(1, 1) * fx) * fy
    });
    let mean = ring.iter().sum::<f64>() / RING as f64;
    let variance = ring.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / RING as f64;
    // Sharp sectors put a part into the third multiple too.
    let power = |n: usize| {
        let (re, im) = part(&ring, n);
        2.0 * (re * re + im * im)
    };
    let share = (power(sectors) + power(3 * sectors)) / variance.max(1e-12);
    let (re, im) = part(&ring, sectors);
    (share > RING_SHARE && variance > 1e-6).then(|| Crossing {
        x: x as f64 + 0.5,
        y: y as f64 + 0.5,
        phase: Some(im.atan2(re)),
        strength: variance.sqrt(),
    })
}

/// The ring's n-th Fourier coefficient.
fn part(ring: &[f64; RING], n: usize) -> (f64, f64) {
    let (mut re, mut im) = (0.0, 0.0);
    for (k, v) in ring.iter().enumerate() {
        let (sin, cos) = (std::f64::consts::TAU * (n * k) as f64 / RING as f64).sin_cos();
        re += v * cos / RING as f64;
        im += v * sin / RING as f64;
    }
    (re, im)
}
