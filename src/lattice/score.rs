//! How well the heights of a spectrum's lines fit a stitch pattern on a lattice, against plain noise.

use super::Basis;
use super::spectrum::Spectrum;

/// What a family of patterns shows at one harmonic: the logarithm of its amplitude relative to the lattice's own
/// strength, and how much that varies between fabrics.
#[derive(Debug, Clone, Copy)]
pub struct Line {
    /// Multiple of the stitch frequency.
    pub h: f64,
    /// Multiple of the row frequency; both (h, k) and (h, −k) are meant where both differ from 0.
    pub k: f64,
    /// Natural logarithm of the amplitude relative to the strength.
    pub level: f64,
    /// Standard deviation of that.
    pub spread: f64,
}

/// Logarithm of the amplitude of noise, the highest of the bins within reach (measured on lines that cannot exist).
const NOISE: f64 = 0.1;
/// Standard deviation of that.
const NOISE_SPREAD: f64 = 0.4;
/// Part of the lines that follow no model.
const TAIL: f64 = 0.05;
/// Lines that no model foresees are the rarer the stronger they are: their density falls as amplitude to this power.
const TAIL_FALL: f64 = 1.3;

/// Part of the fractional harmonics of a repeat that stand up, at most (measured: a third in textures of 4 × 4).
const FRACTIONS_PRESENT: f64 = 0.3;
/// Fractional harmonics that stand up in one fabric, at most; larger repeats have more places for them, not more of them.
const FRACTIONS_SEEN: f64 = 8.0;
/// Level and spread of those that do, relative to the strength.
const FRACTION: Line = Line { h: 0.0, k: 0.0, level: -0.7, spread: 1.0 };

/// Log-likelihood ratio of the lines under the family against noise, the strength fitted; and that strength. `fractions`
/// are harmonics that may stand up or not.
pub fn ratio(spectrum: &Spectrum, basis: &Basis, lines: &[Line], fractions: &[(f64, f64)]) -> (f64, f64) {
    let seen: Vec<(f64, &Line)> = lines
        .iter()
        .flat_map(|line| {
            let sides: &[f64] = if line.h != 0.0 && line.k != 0.0 { &[1.0, -1.0] } else { &[1.0] };
            sides.iter().filter_map(move |side| Some((amplitude(spectrum, basis, line.h, side * line.k)?.ln(), line)))
        })
        .collect();
    let may_be: Vec<f64> =
        fractions.iter().filter_map(|(h, k)| Some(amplitude(spectrum, basis, *h, *k)?.ln())).collect();
    let share = FRACTIONS_PRESENT.min(FRACTIONS_SEEN / may_be.len().max(1) as f64);
    let mut best = (f64::NEG_INFINITY, 0.0);
    for step in 0..16 {
        let strength = 0.8 + 0.25 * f64::from(step);
        let firm: f64 = seen.iter().map(|(u, line)| present(*u, line, strength) - absent(*u)).sum();
        let loose: f64 = may_be
            .iter()
            .map(|u| (share * (present(*u, &FRACTION, strength) - absent(*u)).exp() + 1.0 - share).ln())
            .sum();
        if firm + loose > best.0 {
            best = (firm + loose, strength);
        }
    }
    best
}

/// Amplitude at a harmonic; `None` where the picture is too coarse for it, where it is too near frequency
/// zero, or where colour makes it.
pub fn amplitude(spectrum: &Spectrum, basis: &Basis, h: f64, k: f64) -> Option<f64> {
    let f = [h * basis.stitch[0] + k * basis.row[0], h * basis.stitch[1] + k * basis.row[1]];
    let r = f[0].hypot(f[1]);
    (r < spectrum.limit() && r > 2.0 * spectrum.bin && !spectrum.is_coloured(f)).then(|| spectrum.near(f).max(0.05))
}

fn absent(u: f64) -> f64 {
    mixture(u, NOISE, NOISE_SPREAD)
}

fn present(u: f64, line: &Line, strength: f64) -> f64 {
    let signal = (2.0 * (strength + line.level)).exp();
    let noise = (2.0 * NOISE).exp();
    let share = signal / (signal + noise);
    mixture(u, 0.5 * (signal + noise).ln(), NOISE_SPREAD.hypot(line.spread * share))
}

/// Logarithm of a normal density with an even tail.
fn mixture(u: f64, centre: f64, spread: f64) -> f64 {
    let z = (u - centre) / spread;
    let normal = (-0.5 * z * z).exp() / (spread * (2.0 * std::f64::consts::PI).sqrt());
    let stray = TAIL_FALL / (1.0 + TAIL_FALL) * (-TAIL_FALL * u.max(0.0)).exp();
    ((1.0 - TAIL) * normal + TAIL * stray).ln()
}
