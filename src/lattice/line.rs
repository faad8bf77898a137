//! One line of a spectrum: how likely its amplitude is where a pattern has a line, where there is noise alone, and where a
//! peak is stray. Amplitudes are over noise, and their logarithms are what is spread.

use std::f64::consts::PI;

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

/// Logarithm of the lowest amplitude that is a peak.
const LEAST: f64 = 0.9555;

/// Area around a lattice point in which a peak counts as there, in square bins: a reach of one bin.
pub const REACH_AREA: f64 = 3.0;

/// Strengths of a lattice (logarithms) that are tried: amplitudes over noise from 2.2 to 74.
pub const STRENGTHS: [f64; 11] = {
    let mut all = [0.0; 11];
    let mut step = 0;
    while step < 11 {
        all[step] = 0.8 + 0.35 * step as f64;
        step += 1;
    }
    all
};

/// For each strength that is tried.
pub type ByStrength<T> = [T; STRENGTHS.len()];

/// What the log-amplitude of a line is spread about, and how.
#[derive(Debug, Clone, Copy)]
pub struct Shape {
    centre: f64,
    /// Minus half of one over the variance.
    fall: f64,
    /// Density in the middle.
    height: f64,
}

impl Shape {
    fn new(centre: f64, spread: f64) -> Self {
        Self { centre, fall: -0.5 / (spread * spread), height: (1.0 - TAIL) / (spread * (2.0 * PI).sqrt()) }
    }

    /// Of a line that is present, on a lattice of such a strength.
    pub fn of(line: &Line, strength: f64) -> Self {
        let signal = (2.0 * (strength + line.level)).exp();
        let noise = (2.0 * NOISE).exp();
        let share = line.spread * signal / (signal + noise);
        Self::new(0.5 * (signal + noise).ln(), (NOISE_SPREAD * NOISE_SPREAD + share * share).sqrt())
    }

    /// A normal density with an even tail.
    pub fn density(&self, u: f64, tail: f64) -> f64 {
        let off = u - self.centre;
        (self.fall * off * off).exp() * self.height + tail
    }
}

/// Density of lines that follow no model, as a part of all.
fn tail(u: f64) -> f64 {
    TAIL * TAIL_FALL / (1.0 + TAIL_FALL) * (-TAIL_FALL * u.max(0.0)).exp()
}

/// The shapes of a line, for each strength that is tried.
pub fn by_strength(line: &Line) -> ByStrength<Shape> {
    STRENGTHS.map(|strength| Shape::of(line, strength))
}

/// Log-density of a stray peak within reach of a place, given the peaks per square bin.
fn stray(peaks_per_bin: f64, u: f64) -> f64 {
    (peaks_per_bin * REACH_AREA * TAIL_FALL).ln() - TAIL_FALL * (u - LEAST).max(0.0)
}

/// A place where there may be no line.
pub struct Chance {
    /// Logarithm of the amplitude there.
    pub u: f64,
    /// Density of lines that follow no model.
    pub tail: f64,
    /// Density where there is no line: noise, or a stray peak.
    pub density: f64,
}

impl Chance {
    /// At a log-amplitude `u`, with so many peaks per square bin.
    pub fn of(u: f64, peaks_per_bin: f64) -> Self {
        let tail = tail(u);
        let absent = Shape::new(NOISE, NOISE_SPREAD).density(u, tail);
        let density = if u > LEAST { absent.max(stray(peaks_per_bin, u).exp()) } else { absent };
        Self { u, tail, density }
    }
}

/// What of a peak's likelihood does not depend on the lattice.
pub struct Heard {
    /// Logarithm of its amplitude.
    u: f64,
    /// Density there of lines that follow no model.
    tail: f64,
    /// Log-density of stray peaks.
    stray: f64,
}

impl Heard {
    /// Of a peak of such an amplitude, with so many peaks per square bin.
    pub fn of(amplitude: f64, peaks_per_bin: f64) -> Self {
        let u = amplitude.ln();
        Self { u, tail: tail(u), stray: stray(peaks_per_bin, u) }
    }

    /// Log-likelihood ratio of a peak being a line of such shapes against being stray.
    pub fn gain(&self, shapes: &ByStrength<Shape>) -> ByStrength<f64> {
        std::array::from_fn(|step| shapes[step].density(self.u, self.tail).ln() - self.stray)
    }
}
