//! The motif inside the cell: which way the V points.
//!
//! A stitch is its own mirror image about the wale: two legs that lean opposite ways. About the row it is not: the V has
//! a point. Light from the side upsets the first, so it is evidence and no rule.
//!
//! Garter looks the same from both ends: a ridge's upper arcs are its lower ones turned over and set off by half a stitch. That is
//! a glide along the row. Along the wale there is none: half a repeat further lies the valley. (Symmetries of a plane: International
//! Tables for Crystallography A, plane groups; that knitting has them follows from the loop's path.)

use super::Basis;
use super::spectrum::{Grid, dot, dots};
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Cells along a window's side: few, so that drift of the lattice does not blur the motif.
const CELLS: f64 = 7.0;

/// Most windows along x and along y.
const MOST_ALONG: usize = 3;

/// How well the motif is its own mirror image, -1 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mirror {
    /// About the wale.
    pub wale: f64,
    /// About the row.
    pub row: f64,
    /// Of garter, how much better it is its own image under a glide along the row than under one along the wale.
    pub glide: Option<f64>,
}

impl Mirror {
    /// How much more the motif is its own mirror image about the wale than about the row, as a stitch is.
    pub fn upright(&self) -> f64 {
        self.wale - self.row
    }
}

/// Mirror symmetry of the motif of a lattice, the mean over windows; `None` where no window is sufficiently in sight.
/// `parts` is the repeat whose fractional harmonics are looked at as well; of `ridges` two rows apart the glide is, too.
pub fn mirror(grid: &Grid, basis: &Basis, parts: (u32, u32), ridges: bool) -> Option<Mirror> {
    let side_mm = CELLS * f64::from(parts.0.max(parts.1)).min(2.0) / basis.stitches_per_mm2().sqrt();
    let n = ((side_mm * grid.px_per_mm) as usize).min(grid.width).min(grid.height);
    if n < 16 {
        return None;
    }
    let waves = Waves::of(basis, grid.px_per_mm, n, parts);
    let (mut wale, mut row, mut glide, mut count) = (0.0, 0.0, 0.0, 0.0);
    let steps = |length: usize| (((length - n) as f64 / n as f64 * 1.4) as usize + 1).min(MOST_ALONG);
    let (nx, ny) = (steps(grid.width), steps(grid.height));
    for iy in 0..ny {
        for ix in 0..nx {
            let at = |i: usize, steps: usize, length: usize| {
                if steps == 1 { (length - n) / 2 } else { (length - n) * i / (steps - 1) }
            };
            if let Some(cell) = waves.coefficients(grid, at(ix, nx, grid.width), at(iy, ny, grid.height)) {
                wale += agreement(&cell, Image::MirroredAboutWale);
                row += agreement(&cell, Image::MirroredAboutRow);
                if ridges {
                    glide += agreement(&cell, Image::GlidedAlongRow) - agreement(&cell, Image::GlidedAlongWale);
                }
                count += 1.0;
            }
        }
    }
    (count > 0.0).then(|| Mirror { wale: wale / count, row: row / count, glide: ridges.then_some(glide / count) })
}

/// One harmonic and its mirror image.
struct Pair {
    h: f64,
    k: f64,
    plus: Complex64,
    minus: Complex64,
}

/// The harmonics that are looked at, as waves along the two sides of a window, from its middle.
struct Waves {
    /// Taper along either side.
    hann: Vec<f32>,
    /// Indices of a harmonic, its wave, and that of its mirror image where it has another one.
    pairs: Vec<(f64, f64, Wave, Option<Wave>)>,
}

/// One wave over a window: a product of one along x and one along y.
struct Wave {
    cos_x: Vec<f32>,
    sin_x: Vec<f32>,
    y: Vec<Complex64>,
}

impl Wave {
    fn of(f: [f64; 2], px_per_mm: f64, n: usize) -> Self {
        let along = |f: f64| {
            let step = -TAU * f / px_per_mm;
            (0..n).map(move |i| Complex64::from_polar(1.0, step * (i as f64 + 0.5 - n as f64 / 2.0)))
        };
        let (cos_x, sin_x) = along(f[0]).map(|z| (z.re as f32, z.im as f32)).unzip();
        Self { cos_x, sin_x, y: along(f[1]).collect() }
    }

    /// Its amplitude in a window of values.
    fn in_window(&self, data: &[f32]) -> Complex64 {
        let rows = data.chunks_exact(self.y.len());
        let along_x = |row: &[f32]| {
            let (cos, sin) = dots(&self.cos_x, &self.sin_x, row);
            Complex64::new(cos, sin)
        };
        rows.zip(&self.y).map(|(row, y)| along_x(row) * y).sum()
    }
}

/// Harmonics (h, k) of a cell: of single stitches and rows, and half-way between where a repeat of two allows that.
fn harmonics(parts: (u32, u32)) -> Vec<(f64, f64)> {
    let mut pairs = Vec::new();
    for k in 0..=2 {
        for h in 0..=4 {
            if h + k > 0 {
                pairs.push((f64::from(h), f64::from(k)));
            }
        }
    }
    let (halves, half_rows) = (parts.0.is_multiple_of(2), parts.1.is_multiple_of(2));
    if halves {
        for h in [0.5, 1.5, 2.5] {
            pairs.extend([(h, 0.0), (h, 1.0)]);
        }
    }
    if half_rows {
        for k in [0.5, 1.5] {
            pairs.extend([(0.0, k), (1.0, k), (2.0, k)]);
        }
    }
    if halves && half_rows {
        pairs.extend([(0.5, 0.5), (1.5, 0.5), (2.5, 0.5), (0.5, 1.5), (1.5, 1.5), (0.5, 2.5)]);
    }
    pairs
}

impl Waves {
    fn of(basis: &Basis, px_per_mm: f64, n: usize, parts: (u32, u32)) -> Self {
        let hann = (0..n).map(|i| (std::f32::consts::PI * (i as f32 + 0.5) / n as f32).sin().powi(2)).collect();
        let frequency =
            |h: f64, k: f64| [h * basis.stitch[0] + k * basis.row[0], h * basis.stitch[1] + k * basis.row[1]];
        let pairs = harmonics(parts)
            .into_iter()
            .filter(|(h, k)| {
                let f = frequency(*h, *k);
                f[0].hypot(f[1]) < 0.4 * px_per_mm
            })
            .map(|(h, k)| {
                let mirrored = (h != 0.0 && k != 0.0).then(|| Wave::of(frequency(h, -k), px_per_mm, n));
                (h, k, Wave::of(frequency(h, k), px_per_mm, n), mirrored)
            })
            .collect();
        Self { hann, pairs }
    }

    /// The harmonics of the window at a corner; `None` where too little of it is in sight.
    fn coefficients(&self, grid: &Grid, x0: usize, y0: usize) -> Option<Vec<Pair>> {
        let n = self.hann.len();
        let row = |y: usize| (y0 + y) * grid.width + x0..(y0 + y) * grid.width + x0 + n;
        let (mut sum, mut weight) = (0.0, 0.0);
        for (y, w) in self.hann.iter().enumerate() {
            sum += f64::from(*w) * dot(&grid.grey[row(y)], &self.hann);
            weight += f64::from(*w) * dot(&grid.valid[row(y)], &self.hann);
        }
        let total: f64 = self.hann.iter().map(|w| f64::from(*w)).sum();
        if weight < 0.6 * total * total {
            return None;
        }
        let mean = (sum / weight) as f32;
        let mut data = vec![0.0f32; n * n];
        for (y, out) in data.chunks_exact_mut(n).enumerate() {
            let seen = grid.grey[row(y)].iter().zip(&grid.valid[row(y)]).zip(&self.hann);
            out.iter_mut().zip(seen).for_each(|(out, ((g, v), w))| *out = (g - mean * v) * w * self.hann[y]);
        }
        let pair = |(h, k, wave, mirrored): &(f64, f64, Wave, Option<Wave>)| {
            let plus = wave.in_window(&data);
            let minus = mirrored.as_ref().map_or(plus, |wave| wave.in_window(&data));
            Pair { h: *h, k: *k, plus, minus }
        };
        Some(self.pairs.iter().map(pair).collect())
    }
}

/// What a cell is compared with.
#[derive(Clone, Copy, PartialEq)]
enum Image {
    MirroredAboutWale,
    MirroredAboutRow,
    /// Mirrored about the row and moved half a stitch along it.
    GlidedAlongRow,
    /// Mirrored about the wale and moved half a ridge, which is a row, along it.
    GlidedAlongWale,
}

impl Image {
    fn about_row(self) -> bool {
        matches!(self, Self::MirroredAboutRow | Self::GlidedAlongRow)
    }

    /// Harmonic along the axis across the line it is mirrored about, in which the mirror line's place shows.
    fn order(self, p: &Pair) -> f64 {
        if self.about_row() { p.k } else { p.h }
    }

    /// Whether it tells the harmonic apart from itself wherever the mirror line lies.
    fn tells_of(self, p: &Pair) -> bool {
        self.order(p) != 0.0 || matches!(self, Self::GlidedAlongRow | Self::GlidedAlongWale)
    }

    /// The harmonic times the conjugate of its image, which is c(-h, k) or c(h, -k), turned by the move along the line.
    fn product(self, p: &Pair) -> Complex64 {
        let product = match (self.about_row(), p.h != 0.0, p.k != 0.0) {
            (true, true, _) => p.plus * p.minus.conj(),
            (false, false, _) => p.plus * p.plus.conj(),
            _ => p.plus * p.minus,
        };
        // Half a stitch turns a harmonic by half a turn a stitch, a row one of half the rows' order by as much.
        let half_turns = match self {
            Self::GlidedAlongRow => p.h,
            Self::GlidedAlongWale => 2.0 * p.k,
            _ => 0.0,
        };
        if half_turns.rem_euclid(2.0) == 1.0 { -product } else { product }
    }
}

/// Highest agreement of the cell with an image of it over all mirror lines, -1 to 1.
fn agreement(pairs: &[Pair], image: Image) -> f64 {
    const STEPS: usize = 48;
    // Each with its weight as its size. Orders are whole or half: turns over all steps are whole.
    let weighed = |p: &Pair| {
        let product = image.product(p);
        (product / product.norm().sqrt().max(1e-300), (2.0 * image.order(p)) as usize)
    };
    let products: Vec<(Complex64, usize)> = pairs.iter().filter(|p| image.tells_of(p)).map(weighed).collect();
    let weights: f64 = products.iter().map(|(z, _)| z.norm()).sum();
    if weights <= 0.0 {
        return -1.0;
    }
    let turns: [(f64, f64); STEPS] = std::array::from_fn(|step| (TAU * step as f64 / STEPS as f64).sin_cos());
    let summed = |shift: usize| -> f64 {
        let turned = |(z, turn): &(Complex64, usize)| {
            let (sin, cos) = turns[turn * shift % STEPS];
            z.re * cos - z.im * sin
        };
        products.iter().map(turned).sum()
    };
    (0..STEPS).map(|shift| summed(shift) / weights).fold(-1.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ridge's upper and lower arcs (see the module): half-way apart less than half a ridge, so that a valley is no ridge.
    fn ridges(turned: bool) -> Grid {
        let (side, px_per_mm) = (240, 4.0);
        // Stitches and ridges of 5 mm.
        let brightness = |x: f64, y: f64| {
            let arc = 0.1 * (TAU * x).cos();
            let bar = |middle: f64| {
                let off = (y - middle - arc + 0.5).rem_euclid(1.0) - 0.5;
                (-off * off / 0.005).exp()
            };
            bar(0.12) + 0.8 * bar(-0.12)
        };
        let value = |i: usize| {
            let at = |k: usize| (k as f64 + 0.5) / px_per_mm / 5.0;
            let (x, y) = (at(i % side), at(i / side));
            (if turned { brightness(y, x) } else { brightness(x, y) }) as f32
        };
        let grey = (0..side * side).map(value).collect();
        Grid { width: side, height: side, px_per_mm, grey, valid: vec![1.0; side * side] }
    }

    #[test]
    fn garter_glides_along_its_rows() {
        let basis = Basis { stitch: [0.2, 0.0], row: [0.0, 0.4] };
        let upright = mirror(&ridges(false), &basis, (1, 2), true).unwrap().glide.unwrap();
        let on_its_side = mirror(&ridges(true), &basis, (1, 2), true).unwrap().glide.unwrap();
        assert!(upright > 0.1 && on_its_side < -0.1, "{upright} {on_its_side}");
        assert_eq!(mirror(&ridges(false), &basis, (1, 2), false).unwrap().glide, None);
    }

    #[test]
    fn a_v_is_its_own_image_about_the_wale_only() {
        let side = 240;
        let value = |i: usize| {
            let at = |k: usize| (k as f64 + 0.5) / 4.0 / 5.0;
            let (x, y) = (at(i % side), at(i / side));
            let across = (x + 0.5).rem_euclid(1.0) - 0.5;
            (1.0 + (TAU * (y - across.abs())).cos()) as f32
        };
        let grey = (0..side * side).map(value).collect();
        let grid = Grid { width: side, height: side, px_per_mm: 4.0, grey, valid: vec![1.0; side * side] };
        let seen = mirror(&grid, &Basis { stitch: [0.2, 0.0], row: [0.0, 0.2] }, (1, 1), false).unwrap();
        assert!(seen.wale > 0.95 && seen.wale - seen.row > 0.3, "{seen:?}");
    }
}
