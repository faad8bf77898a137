//! Local phase: where, to a small part of a stitch, the lattice's motif lies under a window.
//!
//! A window of a few stitches and rows is read in the lattice's own coordinates, so every harmonic has a whole number of
//! samples per cycle. Windowed demodulation at the strong harmonics gives one complex number each; the shift in stitches
//! and rows that all of them agree on is the joint least-squares phase (each weighted by its own noise).

use super::Harmonic;
use super::reader::Reader;
use super::spectrum::{dot, dots};
use crate::quantity::PlanePoint;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Samples per stitch and per row: harmonics up to the third stay below Nyquist.
const SAMPLES: usize = 8;
/// Harmonics used at most: the stronger ones carry nearly all the information.
const MOST_HARMONICS: usize = 14;
/// Harmonics beyond this multiple are not resolved at the sampling used.
const HIGHEST: f64 = 3.0;

/// A place on the fabric with the lattice's steps there, in mm per stitch and mm per row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Frame {
    pub at: PlanePoint,
    pub stitch_mm: [f64; 2],
    pub row_mm: [f64; 2],
}

/// What the window at one place shows: demodulated amplitudes, total energy, share of it that is valid.
#[derive(Debug, Clone)]
pub(crate) struct Window {
    pub lines: Vec<Complex64>,
    pub energy: f64,
    pub valid: f64,
}

/// The joint phase of one window against the motif.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shift {
    /// Count at the window's centre minus the count assumed there, in stitches and rows.
    pub count: [f64; 2],
    /// Variances and covariance of `count`: stitches, rows, both.
    pub variance: [f64; 3],
    /// Contrast of the motif here, relative to the motif itself.
    pub gain: f64,
    /// Share of the window's energy that the motif explains, 0 to 1.
    pub coherence: f64,
    /// Mean squared misfit of the lines over their usual noise: about 1 inside the fabric.
    pub misfit: f64,
}

/// Demodulates windows at a fixed set of harmonics.
pub(crate) struct Demodulator {
    /// Multiples (h, k) of the stitch and row frequency, one of each ± pair.
    pub lines: Vec<(f64, f64)>,
    /// Window length in stitches and in rows.
    pub cells: usize,
    taper: Vec<f32>,
    across_of: Vec<usize>,
    /// Real and imaginary part of the tapered wave of each distinct h.
    waves: Vec<(Vec<f32>, Vec<f32>)>,
    up: Vec<Vec<Complex64>>,
    /// Window response between lines that are not apart by whole cycles of the window: (to, from, response, whether of
    /// the conjugate).
    leaks: Vec<(usize, usize, f64, bool)>,
}

/// Amplitude and noise of each harmonic: what one repeat of the fabric looks like.
#[derive(Debug, Clone)]
pub(crate) struct Motif {
    /// Complex amplitude of each line at count (0, 0).
    pub amplitude: Vec<Complex64>,
    /// Noise variance of one demodulated line in one window.
    pub noise: Vec<f64>,
}

impl Demodulator {
    /// For the strongest harmonics of a lattice and windows of `cells` stitches by `cells` rows (even).
    pub fn new(harmonics: &[Harmonic], cells: usize) -> Self {
        let mut lines: Vec<(f64, f64)> = Vec::new();
        let mut sorted: Vec<&Harmonic> = harmonics.iter().filter(|q| q.strength.is_finite()).collect();
        sorted.sort_by(|a, b| b.strength.total_cmp(&a.strength));
        for q in sorted {
            let (h, k) = if q.h < 0.0 || (q.h == 0.0 && q.k < 0.0) { (-q.h, -q.k) } else { (q.h, q.k) };
            let fits = h.abs() <= HIGHEST && k.abs() <= HIGHEST && (h, k) != (0.0, 0.0);
            if fits && lines.len() < MOST_HARMONICS && !lines.contains(&(h, k)) {
                lines.push((h, k));
            }
        }
        let taper = hann(cells * SAMPLES);
        let mut across: Vec<f64> = lines.iter().map(|l| l.0).collect();
        across.sort_by(f64::total_cmp);
        across.dedup();
        let across_of = lines.iter().map(|l| across.iter().position(|h| *h == l.0).unwrap_or(0)).collect();
        let wave = |f: f64| -> Vec<Complex64> {
            (0..taper.len()).map(|i| Complex64::from_polar(taper[i], -TAU * f * offset(i, cells))).collect()
        };
        let singles = |w: &[f64]| w.iter().map(|v| *v as f32).collect();
        let parts = |w: Vec<Complex64>| w.iter().map(|z| (z.re as f32, z.im as f32)).unzip();
        let waves = across.iter().map(|&h| parts(wave(h))).collect();
        let up = lines.iter().map(|l| wave(l.1)).collect();
        let response =
            |f: f64| -> f64 { (0..taper.len()).map(|i| taper[i] * (TAU * f * offset(i, cells)).cos()).sum() };
        let mut leaks = Vec::new();
        for (i, a) in lines.iter().enumerate() {
            for (j, b) in lines.iter().enumerate() {
                for (sign, conjugate) in [(1.0, false), (-1.0, true)] {
                    let leak = response(a.0 - sign * b.0) * response(a.1 - sign * b.1);
                    if leak.abs() > 1e-4 {
                        leaks.push((i, j, leak, conjugate));
                    }
                }
            }
        }
        Self { lines, cells, taper: singles(&taper), across_of, waves, up, leaks }
    }

    /// Whether the lines together fix both a stitch and a row phase.
    pub fn spans_both(&self) -> bool {
        self.lines.iter().any(|a| self.lines.iter().any(|b| (a.0 * b.1 - a.1 * b.0).abs() > 1e-9))
    }

    /// Reads the window centred on `frame`.
    pub fn window(&self, reader: &Reader, frame: &Frame) -> Window {
        let n = self.taper.len();
        let mut lines = vec![Complex64::ZERO; self.lines.len()];
        let (mut energy, mut valid) = (0.0, 0.0);
        let (mut grey, mut seen) = (vec![0.0_f32; n], vec![0.0_f32; n]);
        let mut row_lines = vec![Complex64::ZERO; self.waves.len()];
        let place = |u: f64, v: f64| {
            let f = frame;
            f.at.moved(u * f.stitch_mm[0] + v * f.row_mm[0], u * f.stitch_mm[1] + v * f.row_mm[1])
        };
        for j in 0..n {
            let v = offset(j, self.cells);
            reader.line(place(offset(0, self.cells), v), place(offset(n - 1, self.cells), v), &mut grey, &mut seen);
            valid += f64::from(self.taper[j]) * dot(&self.taper, &seen);
            for (sum, (re, im)) in row_lines.iter_mut().zip(&self.waves) {
                (sum.re, sum.im) = dots(re, im, &grey);
            }
            for (line, sum) in lines.iter_mut().enumerate() {
                *sum += self.up[line][j] * row_lines[self.across_of[line]];
            }
            grey.iter_mut().for_each(|g| *g *= *g);
            energy += f64::from(self.taper[j]) * dot(&self.taper, &grey);
        }
        if valid > 1e-6 {
            lines.iter_mut().for_each(|z| *z /= valid);
            energy /= valid;
        }
        Window { lines, energy, valid }
    }

    /// The lines that a motif would show in a window whose centre has the given counts.
    pub fn expected(&self, motif: &Motif, count: [f64; 2]) -> Vec<Complex64> {
        let turned = self.turned(motif, count);
        self.leaked(&turned)
    }

    fn turned(&self, motif: &Motif, count: [f64; 2]) -> Vec<Complex64> {
        let turn = |(l, a): (&(f64, f64), &Complex64)| a * Complex64::from_polar(1.0, TAU * phase(l, count));
        self.lines.iter().zip(&motif.amplitude).map(turn).collect()
    }

    fn leaked(&self, turned: &[Complex64]) -> Vec<Complex64> {
        let mut seen = vec![Complex64::ZERO; turned.len()];
        for &(to, from, response, conjugate) in &self.leaks {
            seen[to] += if conjugate { turned[from].conj() } else { turned[from] } * response;
        }
        seen
    }

    /// The joint shift of a window against the motif, starting from the counts assumed at its centre.
    ///
    /// `search` is the half-width, in stitches and rows, of a coarse grid tried first. `None` where the lines do not fix
    /// both directions.
    pub fn shift(&self, motif: &Motif, window: &Window, assumed: [f64; 2], search: f64) -> Option<Shift> {
        let mut count = self.coarse(motif, window, assumed, search);
        let (mut step, mut covariance) = self.gauss_newton(motif, window, count)?;
        for _ in 0..4 {
            // No step may leave the cycle it is in.
            count = [count[0] + step[0].clamp(-0.1, 0.1), count[1] + step[1].clamp(-0.1, 0.1)];
            (step, covariance) = self.gauss_newton(motif, window, count)?;
            if step[0].abs() + step[1].abs() < 1e-5 {
                break;
            }
        }
        let expected = self.expected(motif, count);
        let (gain, _) = self.fit_gain(motif, window, &expected);
        let rests =
            expected.iter().zip(&window.lines).zip(&motif.noise).map(|((e, z), v)| (z - e * gain).norm_sqr() / v);
        let misfit = rests.sum::<f64>() / expected.len() as f64;
        let explained = self.explained(motif, window, count);
        let coherence = if window.energy > 1e-9 { (explained / window.energy).clamp(0.0, 1.0) } else { 0.0 };
        let count = [count[0] - assumed[0], count[1] - assumed[1]];
        Some(Shift { count, variance: covariance, gain, coherence, misfit })
    }

    /// Best point of a coarse grid around the assumed counts, by weighted agreement with the motif.
    fn coarse(&self, motif: &Motif, window: &Window, assumed: [f64; 2], search: f64) -> [f64; 2] {
        const SIDE: i32 = 3;
        if search <= 0.0 {
            return assumed;
        }
        let mut best = (f64::NEG_INFINITY, assumed);
        for a in -SIDE..=SIDE {
            for b in -SIDE..=SIDE {
                let d = |k: i32| f64::from(k) * search / f64::from(SIDE);
                let count = [assumed[0] + d(a), assumed[1] + d(b)];
                let (_, agreement) = self.fit_gain(motif, window, &self.expected(motif, count));
                if agreement > best.0 {
                    best = (agreement, count);
                }
            }
        }
        best.1
    }

    /// Weighted least-squares contrast of the expected lines in the window, and their normalised agreement (−1 … 1).
    fn fit_gain(&self, motif: &Motif, window: &Window, expected: &[Complex64]) -> (f64, f64) {
        let (mut cross, mut model, mut data) = (0.0, 1e-30, 1e-30);
        for ((e, z), v) in expected.iter().zip(&window.lines).zip(&motif.noise) {
            cross += (e.conj() * z).re / v;
            model += e.norm_sqr() / v;
            data += z.norm_sqr() / v;
        }
        (cross / model, cross / (model * data).sqrt())
    }

    /// Energy of the window that the motif explains: squared projection on the motif, over the motif's own energy.
    fn explained(&self, motif: &Motif, window: &Window, count: [f64; 2]) -> f64 {
        let turned = self.turned(motif, count);
        let expected = self.leaked(&turned);
        let cross: f64 = turned.iter().zip(&window.lines).map(|(t, z)| (t.conj() * z).re).sum();
        let model: f64 = turned.iter().zip(&expected).map(|(t, e)| (t.conj() * e).re).sum();
        if cross > 0.0 && model > 1e-30 { 2.0 * cross * cross / model } else { 0.0 }
    }

    /// One Gauss–Newton step of (stitch, row) with the contrast as a nuisance, and the covariance there.
    fn gauss_newton(&self, motif: &Motif, window: &Window, count: [f64; 2]) -> Option<([f64; 2], [f64; 3])> {
        let turned = self.turned(motif, count);
        let expected = self.leaked(&turned);
        let (gain, _) = self.fit_gain(motif, window, &expected);
        let gain = gain.max(1e-3);
        let slope = |axis: usize| {
            let d = |(t, l): (&Complex64, &(f64, f64))| {
                t * Complex64::new(0.0, TAU * if axis == 0 { l.0 } else { l.1 }) * gain
            };
            self.leaked(&turned.iter().zip(&self.lines).map(d).collect::<Vec<_>>())
        };
        let columns = [slope(0), slope(1), expected.clone()];
        let mut normal = nalgebra::Matrix3::<f64>::zeros();
        let mut right = nalgebra::Vector3::<f64>::zeros();
        for q in 0..self.lines.len() {
            let rest = window.lines[q] - expected[q] * gain;
            for a in 0..3 {
                right[a] += (columns[a][q].conj() * rest).re / motif.noise[q];
                for b in 0..3 {
                    normal[(a, b)] += (columns[a][q].conj() * columns[b][q]).re / motif.noise[q];
                }
            }
        }
        let inverse = normal.try_inverse().filter(|m| m.iter().all(|v| v.is_finite()))?;
        let step = inverse * right;
        // The noise variance is of |Z|², two parts: each real part carries half of it.
        let half = 0.5;
        Some(([step[0], step[1]], [half * inverse[(0, 0)].abs(), half * inverse[(1, 1)].abs(), half * inverse[(0, 1)]]))
    }
}

/// Cycles of a line at the given counts.
fn phase(line: &(f64, f64), count: [f64; 2]) -> f64 {
    line.0 * count[0] + line.1 * count[1]
}

/// Place of a sample in the window, in cells from its centre.
fn offset(i: usize, cells: usize) -> f64 {
    (i as f64 + 0.5) / SAMPLES as f64 - cells as f64 / 2.0
}

/// Hann's window of n samples, sum 1: its response vanishes at every whole cycle but the first in its length.
fn hann(n: usize) -> Vec<f64> {
    (0..n).map(|i| (1.0 - (TAU * (i as f64 + 0.5) / n as f64).cos()) / n as f64).collect()
}
