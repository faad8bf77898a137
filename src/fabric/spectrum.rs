//! The power spectrum of one tile, whitened, and how much of it is lines in two directions.

use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::{PI, TAU};
use std::sync::Arc;

/// Side of a tile in pixels.
pub(crate) const TILE_PX: usize = 128;
/// A line's power over its ring's median: exponential noise passes 12 medians in about 2 of 8192 bins.
const LINE: f32 = 14.0;
/// Share of the lines between the axes (inverse) from which a texture counts in full: garter, whose lines lie mostly on
/// its axes, has two fifths (measured), a cutting mat under a tenth.
const BETWEEN_GAIN: f64 = 2.5;
/// Share of the lines' power between the axes from which a texture counts in full: a rib, whose own period dominates, has
/// 6 % (measured amplitudes 300 and 54); a grid of thin lines under 1 % (ten harmonics at 4 % of line to gap).
const POWER_BETWEEN: f64 = 0.03;
/// Largest frequency read, in cycles per tile: two thirds of Nyquist, above which thin lines come back folded.
const HIGHEST_RING: u8 = 43;
/// Lines counted at most.
const MOST_LINES: usize = 12;

/// Reusable transform of square tiles.
#[derive(Clone)]
pub(crate) struct Spectrum {
    fft: Arc<dyn Fft<f32>>,
    taper: Vec<f32>,
    data: Vec<Complex32>,
    turned: Vec<Complex32>,
    power: Vec<f32>,
    /// Whole distance of each bin of `power` from zero frequency.
    ring_of: Vec<u8>,
    rings: Vec<Vec<f32>>,
}

/// One line of the spectrum: frequency in cycles per tile, log of its power over the noise.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Line {
    pub x: f64,
    pub y: f64,
    pub strength: f64,
    /// Power, not over the noise.
    power: f64,
}

/// What a tile's spectrum looks like.
pub(crate) struct Texture {
    /// How strongly it repeats in two directions.
    pub score: f64,
    /// Geometric mean period of its lines, in pixels.
    pub period_px: f64,
    /// Its strongest lines.
    pub lines: Vec<Line>,
}

/// Signed frequency of a bin along y.
fn folded(y: usize) -> f64 {
    if y >= TILE_PX / 2 { y as f64 - TILE_PX as f64 } else { y as f64 }
}

/// Distance from zero frequency of the bin (x, y), x in the half plane.
fn ring(y: usize, x: usize) -> f64 {
    (x as f64).hypot(folded(y))
}

impl Spectrum {
    pub fn new() -> Self {
        let hann = |i: usize| (0.5 - 0.5 * (TAU * (i as f64 + 0.5) / TILE_PX as f64).cos()) as f32;
        Self {
            fft: FftPlanner::new().plan_fft_forward(TILE_PX),
            taper: (0..TILE_PX).map(hann).collect(),
            data: vec![Complex32::ZERO; TILE_PX * TILE_PX],
            turned: vec![Complex32::ZERO; TILE_PX * TILE_PX],
            power: vec![0.0; TILE_PX * TILE_PX / 2],
            ring_of: (0..TILE_PX * TILE_PX / 2).map(|bin| ring(bin % TILE_PX, bin / TILE_PX) as u8).collect(),
            rings: vec![Vec::new(); TILE_PX / 2],
        }
    }

    /// Transforms the tile whose corner is at `at`; the share of it that is valid.
    pub fn load(&mut self, grey: &[f32], valid: &[f32], width: usize, height: usize, at: (usize, usize)) -> f32 {
        let mut seen = 0.0;
        for y in 0..TILE_PX {
            for x in 0..TILE_PX {
                let (px, py) = (at.0 + x, at.1 + y);
                let inside = px < width && py < height;
                let (g, v) = if inside { (grey[py * width + px], valid[py * width + px]) } else { (0.0, 0.0) };
                let taper = self.taper[x] * self.taper[y];
                seen += v * taper;
                self.data[y * TILE_PX + x] = Complex32::new(g * taper, 0.0);
            }
        }
        self.transform();
        seen * 4.0 / (TILE_PX * TILE_PX) as f32
    }

    /// Power of the half plane of frequencies with x ≥ 0; stored by x, then y.
    fn transform(&mut self) {
        self.fft.process(&mut self.data);
        for y in 0..TILE_PX {
            for x in 0..TILE_PX / 2 {
                self.turned[x * TILE_PX + y] = self.data[y * TILE_PX + x];
            }
        }
        let half = TILE_PX * TILE_PX / 2;
        self.fft.process(&mut self.turned[..half]);
        for (power, z) in self.power.iter_mut().zip(&self.turned[..half]) {
            *power = z.norm_sqr();
        }
    }

    /// How strongly lines stand up in two directions and between them.
    pub fn texture(&mut self) -> Texture {
        let lines = self.lines();
        if lines.len() < 2 {
            return Texture { score: 0.0, period_px: 4.0, lines };
        }
        let total: f64 = lines.iter().map(|l| l.strength).sum();
        // Doubled angles: opposite frequencies are one direction.
        let double = |l: &Line| 2.0 * l.y.atan2(l.x);
        let lean = lines
            .iter()
            .fold((0.0, 0.0), |a, l| (a.0 + l.strength * double(l).cos(), a.1 + l.strength * double(l).sin()));
        let balance = 1.0 - lean.0.hypot(lean.1) / total;
        // A ruled grid has its lines on two axes square to each other; knitting has lines between them as well.
        let axis = lines[0];
        let off_axes = |l: &&Line| {
            let turn = (l.y.atan2(l.x) - axis.y.atan2(axis.x)).rem_euclid(PI / 2.0);
            // Lines are known to half a bin: near zero frequency their direction is vague.
            let vague = 0.1 + 0.7 / l.x.hypot(l.y) + 0.5 / axis.x.hypot(axis.y);
            turn.min(PI / 2.0 - turn) > vague
        };
        let between = |of: fn(&Line) -> f64| {
            lines.iter().filter(off_axes).map(of).sum::<f64>() / lines.iter().map(of).sum::<f64>().max(1e-30)
        };
        // Where two ruled lines cross, a grid has faint lines between its axes as well: they must carry power, too.
        let fullness =
            (BETWEEN_GAIN * between(|l| l.strength)).min(1.0) * (between(|l| l.power) / POWER_BETWEEN).min(1.0);
        let log_frequency = lines.iter().map(|l| l.strength * l.x.hypot(l.y).ln()).sum::<f64>() / total;
        let score = total * balance * fullness;
        Texture { score, period_px: TILE_PX as f64 / log_frequency.exp(), lines }
    }

    /// The strongest local maxima over their ring's median, the strongest first.
    fn lines(&mut self) -> Vec<Line> {
        let noise = self.ring_medians();
        let n = TILE_PX;
        let mut lines = Vec::new();
        for x in 0..n / 2 - 1 {
            for y in 0..n {
                let bin = x * n + y;
                let ring = self.ring_of[bin];
                if !(4..HIGHEST_RING).contains(&ring) || (x == 0 && y >= n / 2) {
                    continue;
                }
                let over = self.power[bin] / noise[ring as usize];
                if over > LINE && self.is_peak(x, y) && !self.is_side_lobe(x, y) {
                    let strength = f64::from((over / LINE).ln());
                    let power = f64::from(self.power[bin]);
                    lines.push(Line { x: x as f64, y: folded(y), strength, power });
                }
            }
        }
        lines.sort_by(|a, b| b.strength.total_cmp(&a.strength));
        lines.truncate(MOST_LINES);
        lines
    }

    /// Whether a line so much stronger lies near that this may be its side lobe (Hann's first is 31 dB down, the further
    /// ones fall off quickly).
    fn is_side_lobe(&self, x: usize, y: usize) -> bool {
        const REACH: i32 = 10;
        const DOWN: f32 = 500.0;
        let n = TILE_PX as i32;
        let limit = DOWN * self.power[x * TILE_PX + y];
        let strong = |dx: i32, dy: i32| {
            let (x, y) = (x as i32 + dx, y as i32 + dy);
            let (x, y) = if x < 0 { (-x, -y) } else { (x, y) };
            x < n / 2 && self.power[(x * n + y.rem_euclid(n)) as usize] > limit
        };
        (-REACH..=REACH).any(|d| strong(d, 0) || strong(0, d))
    }

    /// Whether no neighbouring bin is stronger. Beyond x = 0 the spectrum is its own mirror.
    fn is_peak(&self, x: usize, y: usize) -> bool {
        let n = TILE_PX;
        let here = self.power[x * n + y];
        let at = |dx: i32, dy: i32| {
            let (x, y) = (x as i32 + dx, y as i32 + dy);
            let (x, y) = if x < 0 { (-x, -y) } else { (x, y) };
            self.power[x as usize * n + y.rem_euclid(n as i32) as usize]
        };
        (-1..=1).all(|dx| (-1..=1).all(|dy| at(dx, dy) <= here))
    }

    /// Median power by whole distance from zero frequency.
    fn ring_medians(&mut self) -> Vec<f32> {
        self.rings.iter_mut().for_each(Vec::clear);
        for (bin, power) in self.power.iter().enumerate() {
            let ring = self.ring_of[bin] as usize;
            if let Some(values) = self.rings.get_mut(ring) {
                values.push(*power);
            }
        }
        let median = |v: &mut Vec<f32>| {
            let k = v.len() / 2;
            if v.is_empty() { 1e-9 } else { v.select_nth_unstable_by(k, f32::total_cmp).1.max(1e-9) }
        };
        self.rings.iter_mut().map(median).collect()
    }
}
