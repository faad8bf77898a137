//! Which lattices could be in the cloth: every pair of strong peaks, read as every plausible pair of harmonics.

use super::Basis;
use super::peaks::Peak;
use nalgebra::{Matrix2, Vector2};

/// Stitches per mm that a hand knitter can make: 4 to 60 per 10 cm (stated choice).
const STITCHES_PER_MM: std::ops::RangeInclusive<f64> = 0.04..=0.6;

/// Rows ÷ stitches over all patterns (0.7 to 2.2, common practice, no source; references J: 0.7 to 1.7), with room.
const ROWS_OVER_STITCHES: std::ops::RangeInclusive<f64> = 0.64..=2.35;

/// Sine of the most that rows and wales are off the right angle, 14° (stated choice).
const MAX_SKEW_SINE: f64 = 0.24;

/// Peaks whose pairs are read; the others only confirm.
const PAIRED: usize = 16;

/// Peaks that confirm.
const CONFIRMING: usize = 40;

/// Two hypotheses closer than this, relatively, are one.
const SAME: f64 = 0.025;

/// A lattice that two peaks suggest, and the weight of all peaks that it holds.
#[derive(Debug, Clone, Copy)]
pub struct Hypothesis {
    /// The lattice.
    pub basis: Basis,
    /// Sum of the logarithms of the amplitudes of the peaks held, less what a lattice so dense holds by chance.
    pub held: f64,
}

/// Harmonics that are strong in some knitted fabric, and so may be what a strong peak is: those of the V of the
/// stockinette stitch, and the fractions that ribs, garter and seed show.
const READINGS: [(f64, f64); 14] = [
    (1.0, 0.0),
    (2.0, 0.0),
    (3.0, 0.0),
    (0.0, 1.0),
    (0.0, 2.0),
    (1.0, 1.0),
    (1.0, -1.0),
    (2.0, 1.0),
    (2.0, -1.0),
    (0.5, 0.0),
    (1.5, 0.0),
    (0.0, 0.5),
    (0.5, 0.5),
    (0.5, -0.5),
];

/// Every lattice that a pair of peaks suggests, the best `most` by the peaks they hold.
pub fn all(peaks: &[Peak], bin: f64, most: usize) -> Vec<Hypothesis> {
    let peaks = &peaks[..peaks.len().min(CONFIRMING)];
    let confirming = Confirming::of(peaks, bin);
    let mut found: Vec<Hypothesis> = Vec::new();
    let pairs = &peaks[..peaks.len().min(PAIRED)];
    for (i, p) in pairs.iter().enumerate() {
        for q in &pairs[i + 1..] {
            for first in READINGS {
                for second in READINGS {
                    let Some(basis) = solved(p.f, q.f, first, second).filter(plausible) else { continue };
                    found.push(Hypothesis { basis, held: confirming.held(&basis) });
                }
            }
        }
    }
    found.sort_by(|a, b| b.held.total_cmp(&a.held));
    let mut kept: Vec<Hypothesis> = Vec::new();
    for h in found {
        if kept.len() >= most {
            break;
        }
        if !kept.iter().any(|k| same(&k.basis, &h.basis)) {
            let basis = fitted(peaks, &h.basis, bin);
            if plausible(&basis) && !kept.iter().any(|k| same(&k.basis, &basis)) {
                kept.push(Hypothesis { basis, ..h });
            }
        }
    }
    kept
}

/// A lattice and those that share most of their lines with it: half, twice or four times as many stitches or rows, and
/// all kinds with the axes changed over.
pub fn related(basis: &Basis) -> Vec<Hypothesis> {
    const FACTORS: [f64; 5] = [1.0, 0.5, 2.0, 0.25, 4.0];
    let scaled = |v: [f64; 2], by: f64| v.map(|c| c * by);
    let mut found = Vec::new();
    for [first, second] in [[basis.stitch, basis.row], [basis.row, basis.stitch]] {
        for a in FACTORS {
            for b in FACTORS {
                found.push(Basis { stitch: scaled(first, a), row: scaled(second, b) });
            }
        }
    }
    found.into_iter().filter(plausible).map(|basis| Hypothesis { basis, held: 0.0 }).collect()
}

/// The lattice in which `p` is harmonic `first` and `q` harmonic `second`.
fn solved(p: [f64; 2], q: [f64; 2], first: (f64, f64), second: (f64, f64)) -> Option<Basis> {
    let det = first.0 * second.1 - first.1 * second.0;
    if det.abs() < 1e-9 {
        return None;
    }
    let mix = |a: f64, b: f64| [(a * p[0] + b * q[0]) / det, (a * p[1] + b * q[1]) / det];
    Some(Basis { stitch: mix(second.1, -first.1), row: mix(-second.0, first.0) })
}

/// Whether a knitter could have made it. In squares: this is asked of every pair of peaks and readings.
pub fn plausible(basis: &Basis) -> bool {
    let square = |v: [f64; 2]| v[0] * v[0] + v[1] * v[1];
    let within = |v: f64, range: &std::ops::RangeInclusive<f64>| {
        (range.start() * range.start()..=range.end() * range.end()).contains(&v)
    };
    let (s, r) = (square(basis.stitch), square(basis.row));
    let dot = basis.stitch[0] * basis.row[0] + basis.stitch[1] * basis.row[1];
    within(s, &STITCHES_PER_MM)
        && within(r / s, &ROWS_OVER_STITCHES)
        && dot * dot < MAX_SKEW_SINE * MAX_SKEW_SINE * s * r
}

/// Indices of a frequency in the lattice.
pub fn indices(basis: &Basis, f: [f64; 2]) -> (f64, f64) {
    let (s, r) = (basis.stitch, basis.row);
    let det = s[0] * r[1] - s[1] * r[0];
    ((f[0] * r[1] - f[1] * r[0]) / det, (s[0] * f[1] - s[1] * f[0]) / det)
}

/// How near to a lattice point a peak must be to be held, in bins.
const HELD_WITHIN: f64 = 1.2;

/// The nearest lattice point, when a frequency is near enough to be held by it.
fn nearest(basis: &Basis, f: [f64; 2], bin: f64) -> Option<(f64, f64)> {
    let (h, k) = indices(basis, f);
    let (h, k) = (h.round(), k.round());
    let dx = f[0] - h * basis.stitch[0] - k * basis.row[0];
    let dy = f[1] - h * basis.stitch[1] - k * basis.row[1];
    let within = HELD_WITHIN * bin;
    // Most are too far along one axis already, which costs no root.
    let near = dx.abs() < within && dy.abs() < within && dx.hypot(dy) < within;
    (near && (h != 0.0 || k != 0.0)).then_some((h, k))
}

/// The peaks that confirm, side by side, so that the compiler can take several at once.
struct Confirming {
    x: Vec<f64>,
    y: Vec<f64>,
    /// Logarithms of their amplitudes.
    weight: Vec<f64>,
    total: f64,
    /// Square of the distance within which a peak is held.
    within: f64,
}

impl Confirming {
    fn of(peaks: &[Peak], bin: f64) -> Self {
        let weight: Vec<f64> = peaks.iter().map(|p| p.amplitude.ln()).collect();
        Self {
            x: peaks.iter().map(|p| p.f[0]).collect(),
            y: peaks.iter().map(|p| p.f[1]).collect(),
            total: weight.iter().sum(),
            weight,
            within: (HELD_WITHIN * bin).powi(2),
        }
    }

    /// Logarithms of the amplitudes held at whole indices, less the share of the plane within reach of a lattice point.
    fn held(&self, basis: &Basis) -> f64 {
        /// Added and taken away again, it rounds any number that is not huge to the nearest whole one.
        const ROUNDS: f64 = 6_755_399_441_055_744.0;
        let (s, r) = (basis.stitch, basis.row);
        let det = s[0] * r[1] - s[1] * r[0];
        let per_det = 1.0 / det;
        let chance = (std::f64::consts::PI * self.within / det.abs()).min(1.0);
        let mut off = [f64::INFINITY; CONFIRMING];
        for (off, (x, y)) in off.iter_mut().zip(self.x.iter().zip(&self.y)) {
            let h = ((x * r[1] - y * r[0]) * per_det + ROUNDS) - ROUNDS;
            let k = ((s[0] * y - s[1] * x) * per_det + ROUNDS) - ROUNDS;
            let (dx, dy) = (x - h * s[0] - k * r[0], y - h * s[1] - k * r[1]);
            *off = dx * dx + dy * dy;
        }
        // No peak is so near to frequency zero that it could be held by that.
        let held = off.iter().zip(&self.weight).filter(|(off, _)| **off < self.within);
        let sum: f64 = held.map(|(_, weight)| weight).sum();
        sum - chance * self.total
    }
}

/// The lattice fitted by least squares to the peaks it holds at whole indices, weighted by the log of their amplitudes.
fn fitted(peaks: &[Peak], basis: &Basis, bin: f64) -> Basis {
    let mut out = *basis;
    for _ in 0..2 {
        let (mut normal, mut x, mut y) = (Matrix2::zeros(), Vector2::zeros(), Vector2::zeros());
        for p in peaks {
            let Some((h, k)) = nearest(&out, p.f, bin) else { continue };
            let (index, w) = (Vector2::new(h, k), p.amplitude.ln());
            normal += index * index.transpose() * w;
            x += index * (w * p.f[0]);
            y += index * (w * p.f[1]);
        }
        let Some(inverse) = normal.try_inverse() else { return out };
        let (x, y) = (inverse * x, inverse * y);
        out = Basis { stitch: [x[0], y[0]], row: [x[1], y[1]] };
    }
    out
}

/// Whether two lattices are the same reading, whatever the signs of their vectors.
pub fn same(a: &Basis, b: &Basis) -> bool {
    alike(a, b, SAME)
}

/// Whether both vectors of two lattices agree to a part `within` of their length, whatever their signs.
pub fn alike(a: &Basis, b: &Basis, within: f64) -> bool {
    let near = |u: [f64; 2], v: [f64; 2]| {
        let square = |x: f64, y: f64| x * x + y * y;
        let gap = square(u[0] - v[0], u[1] - v[1]).min(square(u[0] + v[0], u[1] + v[1]));
        gap < within * within * square(u[0], u[1])
    };
    near(a.stitch, b.stitch) && near(a.row, b.row)
}
