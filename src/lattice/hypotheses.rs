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
    let mut found: Vec<Hypothesis> = Vec::new();
    let pairs = &peaks[..peaks.len().min(PAIRED)];
    for (i, p) in pairs.iter().enumerate() {
        for q in &pairs[i + 1..] {
            for first in READINGS {
                for second in READINGS {
                    let Some(basis) = solved(p.f, q.f, first, second).filter(plausible) else { continue };
                    found.push(Hypothesis { basis, held: held(peaks, &basis, bin) });
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

/// Whether a knitter could have made it.
pub fn plausible(basis: &Basis) -> bool {
    let (s, r) = (basis.stitch[0].hypot(basis.stitch[1]), basis.row[0].hypot(basis.row[1]));
    let dot = basis.stitch[0] * basis.row[0] + basis.stitch[1] * basis.row[1];
    STITCHES_PER_MM.contains(&s) && ROWS_OVER_STITCHES.contains(&(r / s)) && dot.abs() < MAX_SKEW_SINE * s * r
}

/// Indices of a frequency in the lattice.
pub fn indices(basis: &Basis, f: [f64; 2]) -> (f64, f64) {
    let (s, r) = (basis.stitch, basis.row);
    let det = s[0] * r[1] - s[1] * r[0];
    ((f[0] * r[1] - f[1] * r[0]) / det, (s[0] * f[1] - s[1] * f[0]) / det)
}

/// The nearest lattice point in steps of 1 / `parts`, when within 1.2 bins; with how far off in bins.
fn nearest(basis: &Basis, f: [f64; 2], bin: f64, parts: f64) -> Option<(f64, f64)> {
    let (h, k) = indices(basis, f);
    let (h, k) = ((h * parts).round() / parts, (k * parts).round() / parts);
    let dx = f[0] - h * basis.stitch[0] - k * basis.row[0];
    let dy = f[1] - h * basis.stitch[1] - k * basis.row[1];
    (dx.hypot(dy) < 1.2 * bin && (h != 0.0 || k != 0.0)).then_some((h, k))
}

/// Logarithms of the amplitudes held at whole indices, less the share of the plane within reach of a lattice point.
fn held(peaks: &[Peak], basis: &Basis, bin: f64) -> f64 {
    let det = (basis.stitch[0] * basis.row[1] - basis.stitch[1] * basis.row[0]).abs();
    let chance = (std::f64::consts::PI * (1.2 * bin).powi(2) / det).min(1.0);
    peaks
        .iter()
        .map(|p| {
            let hit = nearest(basis, p.f, bin, 1.0).is_some();
            p.amplitude.ln() * (f64::from(u8::from(hit)) - chance)
        })
        .sum()
}

/// The lattice fitted by least squares to the peaks it holds at whole indices, weighted by the log of their amplitudes.
fn fitted(peaks: &[Peak], basis: &Basis, bin: f64) -> Basis {
    let mut out = *basis;
    for _ in 0..2 {
        let (mut normal, mut x, mut y) = (Matrix2::zeros(), Vector2::zeros(), Vector2::zeros());
        for p in peaks {
            let Some((h, k)) = nearest(&out, p.f, bin, 1.0) else { continue };
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
        let size = u[0].hypot(u[1]);
        let gap = (u[0] - v[0]).hypot(u[1] - v[1]).min((u[0] + v[0]).hypot(u[1] + v[1]));
        gap < within * size
    };
    near(a.stitch, b.stitch) && near(a.row, b.row)
}
