//! The motif inside the cell: which way the V points.
//!
//! A stitch is its own mirror image about the wale: two legs that lean opposite ways. About the row it is not: the V has
//! a point. Light from the side upsets the first, so it is evidence and no rule.

use super::Basis;
use super::spectrum::Grid;
use rustfft::num_complex::Complex32;

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
}

/// Mirror symmetry of the motif of a lattice, the mean over windows; `None` where no window is sufficiently in sight.
/// `parts` is the repeat whose fractional harmonics are looked at as well.
pub fn mirror(grid: &Grid, basis: &Basis, parts: (u32, u32)) -> Option<Mirror> {
    let det = (basis.stitch[0] * basis.row[1] - basis.stitch[1] * basis.row[0]).abs();
    let side_mm = CELLS * f64::from(parts.0.max(parts.1)).min(2.0) / det.sqrt();
    let n = ((side_mm * grid.px_per_mm) as usize).min(grid.width).min(grid.height);
    if n < 16 {
        return None;
    }
    let (mut wale, mut row, mut count) = (0.0, 0.0, 0.0);
    let steps = |length: usize| (((length - n) as f64 / n as f64 * 1.4) as usize + 1).min(MOST_ALONG);
    let (nx, ny) = (steps(grid.width), steps(grid.height));
    for iy in 0..ny {
        for ix in 0..nx {
            let at = |i: usize, steps: usize, length: usize| {
                if steps == 1 { (length - n) / 2 } else { (length - n) * i / (steps - 1) }
            };
            if let Some(cell) = coefficients(grid, basis, at(ix, nx, grid.width), at(iy, ny, grid.height), n, parts) {
                wale += mirrored(&cell, false);
                row += mirrored(&cell, true);
                count += 1.0;
            }
        }
    }
    (count > 0.0).then(|| Mirror { wale: wale / count, row: row / count })
}

/// One harmonic and its mirror image.
struct Pair {
    h: f64,
    k: f64,
    plus: Complex32,
    minus: Complex32,
}

fn coefficients(grid: &Grid, basis: &Basis, x0: usize, y0: usize, n: usize, parts: (u32, u32)) -> Option<Vec<Pair>> {
    let hann: Vec<f32> = (0..n).map(|i| (std::f32::consts::PI * (i as f32 + 0.5) / n as f32).sin().powi(2)).collect();
    let (mut sum, mut weight, mut total) = (0.0f32, 0.0f32, 0.0f32);
    for y in 0..n {
        for x in 0..n {
            let i = (y0 + y) * grid.width + x0 + x;
            let w = hann[x] * hann[y];
            total += w;
            weight += w * grid.valid[i];
            sum += w * grid.grey[i];
        }
    }
    if weight < 0.6 * total {
        return None;
    }
    let mean = sum / weight;
    let data: Vec<f32> = (0..n * n)
        .map(|j| {
            let (x, y) = (j % n, j / n);
            let i = (y0 + y) * grid.width + x0 + x;
            (grid.grey[i] - mean * grid.valid[i]) * hann[x] * hann[y]
        })
        .collect();
    let at = |h: f64, k: f64| {
        let wave = |f: f64| -> Vec<Complex32> {
            let step = -2.0 * std::f64::consts::PI * f / grid.px_per_mm;
            (0..n)
                .map(|i| {
                    let (s, c) = (step * (i as f64 + 0.5 - n as f64 / 2.0)).sin_cos();
                    Complex32::new(c as f32, s as f32)
                })
                .collect()
        };
        let ex = wave(h * basis.stitch[0] + k * basis.row[0]);
        let ey = wave(h * basis.stitch[1] + k * basis.row[1]);
        let mut out = Complex32::default();
        for y in 0..n {
            let row: Complex32 = data[y * n..(y + 1) * n].iter().zip(&ex).map(|(d, e)| e * d).sum();
            out += row * ey[y];
        }
        out
    };
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
    Some(
        pairs
            .into_iter()
            .filter(|(h, k)| {
                let f = (h * basis.stitch[0] + k * basis.row[0]).hypot(h * basis.stitch[1] + k * basis.row[1]);
                f < 0.4 * grid.px_per_mm
            })
            .map(|(h, k)| {
                let plus = at(h, k);
                let minus = if h == 0.0 || k == 0.0 { plus } else { at(h, -k) };
                Pair { h, k, plus, minus }
            })
            .collect(),
    )
}

/// Highest agreement of the cell with its mirror image over all mirror lines, -1 to 1.
fn mirrored(pairs: &[Pair], about_row: bool) -> f64 {
    const STEPS: usize = 48;
    let mut best = -1.0f64;
    for step in 0..STEPS {
        let shift = step as f64 / STEPS as f64;
        let (mut agreement, mut weights) = (0.0, 0.0);
        for p in pairs {
            // c(h,k) times the conjugate of its mirror image, which is c(-h,k) or c(h,-k).
            let order = if about_row { p.k } else { p.h };
            if order == 0.0 {
                continue;
            }
            let product = if about_row && p.h != 0.0 { p.plus * p.minus.conj() } else { p.plus * p.minus };
            let weight = f64::from(product.norm()).sqrt();
            let angle = f64::from(product.arg()) + 4.0 * std::f64::consts::PI * order * shift;
            agreement += weight * angle.cos();
            weights += weight;
        }
        if weights > 0.0 {
            best = best.max(agreement / weights);
        }
    }
    best
}
