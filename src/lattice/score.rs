//! How well the heights of a spectrum's lines fit a stitch pattern on a lattice, against plain noise.

use super::Basis;
use super::families::Family;
use super::hypotheses;
use super::peaks::{self, Peak};
use super::spectrum::Spectrum;
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

/// Level and spread, relative to the strength, of harmonics that the repeat allows and the family does not foresee.
const OTHER: Line = Line { h: 0.0, k: 0.0, level: -1.0, spread: 1.0 };

/// Area around a lattice point in which a peak counts as there, in square bins: a reach of one bin.
const REACH_AREA: f64 = 3.0;

/// Highest frequency that is looked at, in bins: the fifth harmonic of 16 stitches.
const DISC_BINS: f64 = 80.0;

/// A spectrum with all its peaks in the disc that is looked at.
pub struct Scene {
    /// The spectrum.
    pub spectrum: Spectrum,
    /// Its peaks, strongest first.
    pub peaks: Vec<Peak>,
    /// Radius of the disc, in cycles/mm.
    radius: f64,
    /// Peaks per square bin.
    density: f64,
}

impl Scene {
    /// Finds the peaks.
    pub fn of(spectrum: Spectrum) -> Self {
        let radius = spectrum.limit().min(DISC_BINS * spectrum.bin);
        let mut peaks = peaks::strongest(&spectrum, 150);
        peaks.retain(|p| p.f[0].hypot(p.f[1]) < radius);
        let density = (peaks.len() + 5) as f64 / (0.5 * PI * (radius / spectrum.bin).powi(2));
        Self { spectrum, peaks, radius, density }
    }

    /// Amplitude at a harmonic; `None` beyond the disc, too near frequency zero, or where colour makes it.
    pub fn amplitude(&self, basis: &Basis, h: f64, k: f64) -> Option<f64> {
        let f = [h * basis.stitch[0] + k * basis.row[0], h * basis.stitch[1] + k * basis.row[1]];
        let r = f[0].hypot(f[1]);
        let seen = r < self.radius && r > 2.0 * self.spectrum.bin && !self.spectrum.is_coloured(f);
        seen.then(|| self.spectrum.near(f).max(0.05))
    }

    /// Log-likelihood ratio of the spectrum under a family on a lattice against stray peaks and noise, the strength of the
    /// lattice fitted; and that strength (a logarithm). The family's own lines have their levels; any other harmonic of
    /// the repeat is there or not, in a proportion that is fitted too; what lies on no harmonic is stray.
    pub fn ratio(&self, basis: &Basis, family: &Family, repeat: (u32, u32)) -> (f64, f64) {
        let own: Vec<(f64, &Line)> = family
            .lines
            .iter()
            .flat_map(|line| {
                let sides: &[f64] = if line.h != 0.0 && line.k != 0.0 { &[1.0, -1.0] } else { &[1.0] };
                sides.iter().filter_map(move |side| Some((self.amplitude(basis, line.h, side * line.k)?.ln(), line)))
            })
            .collect();
        let others: Vec<f64> =
            self.peaks.iter().filter(|p| self.is_other(p, basis, family, repeat)).map(|p| p.amplitude.ln()).collect();
        let own_peaks = own.iter().filter(|(u, _)| *u >= f64::from(peaks::MIN_AMPLITUDE).ln()).count() as f64;
        let places = self.places(basis, family, repeat) - own.len() as f64;
        let (n, places) = (others.len() as f64, places.max(others.len() as f64));
        let share = (n + 0.5) / (places + 2.0);
        let (all, strays) = (self.peaks.len() as f64 - own_peaks, self.peaks.len() as f64 - own_peaks - n);
        let fewer = if strays > 0.0 { strays * (strays / all).ln() } else { 0.0 } + n;
        let kept = n * share.ln() + (places - n) * (1.0 - share).ln() + fewer;
        let mut best = (f64::NEG_INFINITY, 0.0);
        for step in 0..11 {
            let strength = 0.8 + 0.35 * f64::from(step);
            let firm: f64 = own.iter().map(|(u, line)| present(*u, line, strength) - absent(*u)).sum();
            let loose: f64 = others.iter().map(|u| present(*u, &OTHER, strength) - self.stray(*u)).sum();
            if firm + loose + kept > best.0 {
                best = (firm + loose + kept, strength);
            }
        }
        best
    }

    /// Lattice points of the repeat in the half disc.
    fn places(&self, basis: &Basis, family: &Family, repeat: (u32, u32)) -> f64 {
        let det = (basis.stitch[0] * basis.row[1] - basis.stitch[1] * basis.row[0]).abs();
        let all = 0.5 * PI * self.radius * self.radius / det * f64::from(repeat.0 * repeat.1);
        if family.chequered { 0.5 * all } else { all }
    }

    /// Whether a peak is a harmonic of the repeat, other than the family's own lines.
    fn is_other(&self, peak: &Peak, basis: &Basis, family: &Family, repeat: (u32, u32)) -> bool {
        let (h, k) = hypotheses::indices(basis, peak.f);
        let (i, j) = ((h * f64::from(repeat.0)).round(), (k * f64::from(repeat.1)).round());
        if family.chequered && (i + j).rem_euclid(2.0) != 0.0 {
            return false;
        }
        let (h, k) = (i / f64::from(repeat.0), j / f64::from(repeat.1));
        let dx = peak.f[0] - h * basis.stitch[0] - k * basis.row[0];
        let dy = peak.f[1] - h * basis.stitch[1] - k * basis.row[1];
        let is_own = || family.lines.iter().any(|l| (l.h - h.abs()).abs() < 0.01 && (l.k - k.abs()).abs() < 0.01);
        dx.hypot(dy) < self.spectrum.reach(peak.f) && (i != 0.0 || j != 0.0) && !is_own()
    }

    /// Log-density of a stray peak within reach of a place.
    fn stray(&self, u: f64) -> f64 {
        (self.density * REACH_AREA * TAIL_FALL).ln() - TAIL_FALL * (u - peaks::MIN_AMPLITUDE.ln() as f64).max(0.0)
    }
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
    let normal = (-0.5 * z * z).exp() / (spread * (2.0 * PI).sqrt());
    let stray = TAIL_FALL / (1.0 + TAIL_FALL) * (-TAIL_FALL * u.max(0.0)).exp();
    ((1.0 - TAIL) * normal + TAIL * stray).ln()
}
