//! How well the heights of a spectrum's lines fit a stitch pattern on a lattice, against plain noise.

use super::families::{FAMILIES, Family};
use super::hypotheses;
use super::line::{ByStrength, Chance, Heard, Line, REACH_AREA, STRENGTHS, Shape, by_strength};
use super::peaks::{self, Peak, Tops};
use super::spectrum::Spectrum;
use super::{Basis, Harmonic};
use nalgebra::{Matrix2, Vector2};
use std::f64::consts::PI;
use std::sync::{LazyLock, OnceLock};

/// Level, relative to the strength, of the stitches' harmonics that a family does not foresee, up to the second order of
/// the legs of the V (half a stitch wide) and of the rows (measured).
const OTHER_LEVEL: f64 = -1.0;
/// How it falls with each order more: yarn is round and smooth (measured: -1.6 at the third order, -2 at 3.6).
const OTHER_FALL: f64 = 0.6;
/// Spread of it.
const OTHER_SPREAD: f64 = 0.8;

/// Level of the lines half-way between the rows' that knit and purl rows of different heights make (measured: as high as
/// those of the stitches where the rows differ by a twentieth).
const HALF_WAY_LEVEL: f64 = -0.7;

/// The highest of them over the line of the rows next to it: rows that differ by a fifth put half of it aside.
const HALF_WAY_MOST: f64 = 0.8;

/// Repeats of more stitches × rows than this are textures: their places are too many to be counted on.
const FEW: u32 = 4;
/// Level, relative to the strength, and spread of a texture's fractional harmonics that stand up.
const TEXTURE: Line = Line { h: 0.0, k: 0.0, level: -0.7, spread: 1.0 };
/// Part of them that does, at most (measured: a third in textures of 4 × 4), and their number, at most: larger repeats
/// have more places for them, not more of them.
const TEXTURE_SHARE: f64 = 0.3;
const TEXTURE_SEEN: f64 = 8.0;

/// Amplitude above which a peak's place gets no more certain: the unevenness of the knitting moves it then, not noise.
const WEIGHT_MOST: f64 = 15.0;
/// How far a fit may move a lattice, relatively.
const FIT_MOVES: f64 = 0.05;

/// Order, in harmonics of the legs of the V (half a stitch wide) and of the rows, above which yarn, being round, leaves
/// little: strong lines up there belong to smaller stitches.
const HIGH_ORDER: f64 = 2.7;

/// Harmonics that may be there or not, in a proportion that is fitted.
struct Loose {
    /// Of each peak, the log-likelihood ratio of being a line against being stray.
    seen: Vec<ByStrength<f64>>,
    /// Places in all.
    places: f64,
}

impl Loose {
    /// Number of peaks that are taken for lines at a strength, and the log-likelihood ratio of that against stray peaks,
    /// their number aside.
    fn taken(&self, step: usize) -> (f64, f64) {
        let (mut n, mut sum) = (0.0, 0.0);
        for gain in &self.seen {
            if gain[step] > 0.0 {
                n += 1.0;
                sum += gain[step];
            }
        }
        let places = self.places.max(n);
        let share = (n + 0.5) / (places + 2.0);
        (n, sum + n * share.ln() + (places - n) * (1.0 - share).ln())
    }
}

/// A peak that is a harmonic (h, k) other than a family's own lines.
struct Other {
    h: f64,
    k: f64,
    /// Log-likelihood ratio of being a line against being stray.
    gain: ByStrength<f64>,
}

impl Other {
    /// The shapes of a line at (h, k), half-way between the rows' or not; those of whole and half harmonics below the
    /// fourth order are worked out once.
    fn with_shapes<R>(h: f64, k: f64, half_way: bool, use_them: impl FnOnce(&ByStrength<Shape>) -> R) -> R {
        /// Sixteenth parts of the order's square.
        const KEPT: usize = 16 * 16;
        static KNOWN: LazyLock<[Vec<OnceLock<ByStrength<Shape>>>; 2]> =
            LazyLock::new(|| [(); 2].map(|()| (0..KEPT).map(|_| OnceLock::new()).collect()));
        let square = 0.25 * h * h + k * k;
        let work_out = || {
            let level = if half_way { HALF_WAY_LEVEL } else { OTHER_LEVEL };
            let level = level - OTHER_FALL * (square.sqrt() - 2.0).max(0.0);
            by_strength(&Line { h: 0.0, k: 0.0, level, spread: OTHER_SPREAD })
        };
        let number = 16.0 * square;
        match KNOWN[usize::from(half_way)].get(number as usize) {
            Some(known) if number.fract() == 0.0 => use_them(known.get_or_init(work_out)),
            _ => use_them(&work_out()),
        }
    }

    /// Whether it is a harmonic of single stitches and rows.
    fn is_whole(&self) -> bool {
        self.h.fract() == 0.0 && self.k.fract() == 0.0
    }
}

/// How the repeats of a texture may be set off against each other, as half-drops and diagonals are: (parts, by) leaves
/// of the harmonics (i / a, j / b) those where i + by × j is a multiple of `parts`. (1, 0) leaves all.
fn set_off(repeat: (u32, u32)) -> Vec<(u32, u32)> {
    let common = (2..=repeat.0.min(repeat.1)).filter(|m| repeat.0.is_multiple_of(*m) && repeat.1.is_multiple_of(*m));
    let diagonals = common.flat_map(|m| (1..m).map(move |by| (m, by)));
    std::iter::once((1, 0)).chain(diagonals).take(MOST_SET_OFF).collect()
}

/// Log-likelihood ratio that fewer stray peaks remain of `left`: strays that are left have a lower density than all peaks
/// had (Poisson).
fn fewer_strays(left: f64, taken: f64) -> f64 {
    let strays = left - taken;
    if strays > 0.0 { strays * (strays / left).ln() + taken } else { taken }
}

/// Log-likelihood ratio of a texture's fractional harmonics, place by place: those where nothing stands up count too.
fn textured(seen: &[Chance], strength: f64) -> f64 {
    let share = TEXTURE_SHARE.min(TEXTURE_SEEN / seen.len().max(1) as f64);
    let shape = Shape::of(&TEXTURE, strength);
    let at = |place: &Chance| share * shape.density(place.u, place.tail) / place.density + 1.0 - share;
    // Logarithms of products of a few: none of them is so far from 1 that eight leave the range of numbers.
    seen.chunks(8).map(|few| few.iter().map(at).product::<f64>().ln()).sum()
}

/// Stitches × rows of the largest repeat whose fractional harmonics may be counted as lines in a fitted proportion: in a
/// larger one, coarse lattices have a place for every peak.
const SMALL: u32 = 16;

/// Ways of setting off that are tried at most (bounded time).
const MOST_SET_OFF: usize = 14;

/// Highest frequency that is looked at, in bins: the fifth harmonic of 16 stitches.
const DISC_BINS: f64 = 80.0;

/// A spectrum with all its peaks in the disc that is looked at.
pub struct Scene {
    /// The spectrum.
    pub spectrum: Spectrum,
    /// Its peaks, strongest first.
    pub peaks: Vec<Peak>,
    /// Of each peak what its likelihood takes.
    heard: Vec<Heard>,
    tops: Tops,
    /// Radius of the disc, in cycles/mm.
    radius: f64,
    /// Peaks per square bin.
    density: f64,
}

impl Scene {
    /// Finds the peaks.
    pub fn of(spectrum: Spectrum) -> Self {
        let radius = spectrum.limit().min(DISC_BINS * spectrum.bin);
        let tops = Tops::of(&spectrum);
        let mut peaks = peaks::strongest(&spectrum, &tops, 150);
        peaks.retain(|p| p.f[0].hypot(p.f[1]) < radius);
        let density = (peaks.len() + 5) as f64 / (0.5 * PI * (radius / spectrum.bin).powi(2));
        let heard = peaks.iter().map(|p| Heard::of(p.amplitude, density)).collect();
        Self { heard, spectrum, peaks, tops, radius, density }
    }

    /// Amplitude at a harmonic; `None` beyond the disc, too near frequency zero, or where colour makes it.
    pub fn amplitude(&self, basis: &Basis, h: f64, k: f64) -> Option<f64> {
        let f = [h * basis.stitch[0] + k * basis.row[0], h * basis.stitch[1] + k * basis.row[1]];
        let r2 = f[0] * f[0] + f[1] * f[1];
        let nearest = 2.0 * self.spectrum.bin;
        let seen = r2 < self.radius * self.radius && r2 > nearest * nearest && !self.spectrum.is_coloured(f);
        seen.then(|| self.tops.near(&self.spectrum, f).max(0.05))
    }

    /// Log-likelihood ratio of the spectrum under a family on a lattice against stray peaks and noise, the strength of the
    /// lattice fitted; and that strength (a logarithm). The family's own lines have their levels; any other harmonic of
    /// the stitches is there or not, in a proportion that is fitted too; what lies on no harmonic is stray.
    /// With `rowing`, so may lines half-way between the rows' be, since knit and purl rows differ.
    pub fn ratio(&self, basis: &Basis, family: &Family, repeat: (u32, u32), rowing: bool) -> (f64, f64) {
        let own: Vec<(Chance, &ByStrength<Shape>)> = family
            .lines
            .iter()
            .zip(shapes_of(family))
            .flat_map(|(line, shapes)| {
                let sides: &[f64] = if line.h != 0.0 && line.k != 0.0 { &[1.0, -1.0] } else { &[1.0] };
                sides.iter().filter_map(move |side| {
                    let u = self.amplitude(basis, line.h, side * line.k)?.ln();
                    Some((Chance::of(u, self.density), shapes))
                })
            })
            .collect();
        let own_peaks = own.iter().filter(|(c, _)| c.u >= f64::from(peaks::MIN_AMPLITUDE).ln()).count() as f64;
        let by_chance: f64 = own.iter().map(|(c, _)| c.density).product::<f64>().ln();
        let left = self.peaks.len() as f64 - own_peaks;
        let is_texture = repeat.0 * repeat.1 > FEW;
        let is_small = repeat.0 * repeat.1 <= SMALL;
        let (whole, fractional) = self.loose(basis, family, repeat, rowing, own.len() as f64);
        let places = if is_texture { self.texture(basis, family, repeat) } else { Vec::new() };
        let apart = self.apart(basis, repeat);
        let choice = (fractional.len() as f64).ln();
        let mut best = (f64::NEG_INFINITY, 0.0);
        for (step, strength) in STRENGTHS.into_iter().enumerate() {
            // No density is so small that the product of three dozen leaves the range of numbers.
            let lines = own.iter().map(|(c, shapes)| shapes[step].density(c.u, c.tail));
            let firm = lines.product::<f64>().ln() - by_chance;
            let (n, whole) = whole.taken(step);
            let with = |f: &Loose| {
                let (m, part) = f.taken(step);
                whole + part + fewer_strays(left, n + m)
            };
            let mut loose = fractional.iter().map(|f| with(f) - choice).fold(f64::NEG_INFINITY, f64::max);
            if is_texture {
                // The lines of a small repeat are many of its places, those of a large one few of very many.
                let by_place = whole + fewer_strays(left, n) + apart * textured(&places, strength);
                loose = if is_small { loose.max(by_place) } else { by_place };
            }
            if firm + loose > best.0 {
                best = (firm + loose, strength);
            }
        }
        best
    }

    /// Harmonics that a family does not foresee: those of single stitches and rows, and a texture's fractional ones, the
    /// latter for each way in which its repeats may be set off against each other. The fractional harmonics of small
    /// repeats count with the whole ones.
    fn loose(&self, basis: &Basis, family: &Family, repeat: (u32, u32), rowing: bool, own: f64) -> (Loose, Vec<Loose>) {
        let all = self.places(basis, family, repeat, rowing);
        let seen = self.others(basis, family, repeat, rowing);
        let pick = |held: &dyn Fn(&Other) -> bool| seen.iter().filter(|o| held(o)).map(|o| o.gain).collect();
        if repeat.0 * repeat.1 <= FEW {
            let whole = Loose { seen: pick(&|_| true), places: (all - own).max(1.0) };
            return (whole, vec![Loose { seen: Vec::new(), places: 0.0 }]);
        }
        let whole = self.places(basis, family, (1, 1), rowing);
        let (a, b) = (f64::from(repeat.0), f64::from(repeat.1));
        let fractional = set_off(repeat).into_iter().map(|(parts, by)| {
            let lies =
                |o: &Other| ((o.h * a).round() + f64::from(by) * (o.k * b).round()).rem_euclid(f64::from(parts)) == 0.0;
            let seen = pick(&|o| !o.is_whole() && lies(o));
            Loose { seen, places: (all / f64::from(parts) - whole).max(1.0) }
        });
        (Loose { seen: pick(&Other::is_whole), places: (whole - own).max(1.0) }, fractional.collect())
    }

    /// What stands at the low fractional harmonics of a texture.
    fn texture(&self, basis: &Basis, family: &Family, repeat: (u32, u32)) -> Vec<Chance> {
        let (a, b) = (repeat.0 as i32, repeat.1 as i32);
        let mut seen = Vec::new();
        for j in -2 * b..=2 * b {
            for i in 0..=2 * a {
                let (h, k) = (f64::from(i) / f64::from(a), f64::from(j) / f64::from(b));
                let whole = h.fract() == 0.0 && k.fract() == 0.0;
                if (i > 0 || j > 0) && !whole && !family.has_line(h, k) {
                    seen.extend(self.amplitude(basis, h, k).map(|amplitude| Chance::of(amplitude.ln(), self.density)));
                }
            }
        }
        seen
    }

    /// How far the harmonics of a repeat can be told apart, 0 to 1: where their reaches overlap, one peak stands at several of
    /// them and may count once only.
    fn apart(&self, basis: &Basis, repeat: (u32, u32)) -> f64 {
        let cell_bins =
            basis.stitches_per_mm2() / f64::from(repeat.0 * repeat.1) / (self.spectrum.bin * self.spectrum.bin);
        (cell_bins / REACH_AREA).min(1.0)
    }

    /// Lattice points of the repeat in the half disc.
    fn places(&self, basis: &Basis, family: &Family, repeat: (u32, u32), rowing: bool) -> f64 {
        let whole = 0.5 * PI * self.radius * self.radius / basis.stitches_per_mm2();
        let all = whole * f64::from(repeat.0 * repeat.1);
        let own = if family.chequered { 0.5 * all } else { all };
        if rowing { own + whole } else { own }
    }

    /// Peaks that are harmonics of the repeat, other than the family's own lines.
    fn others(&self, basis: &Basis, family: &Family, repeat: (u32, u32), rowing: bool) -> Vec<Other> {
        let (a, b) = (f64::from(repeat.0), f64::from(repeat.1));
        let mut seen = Vec::new();
        for (peak, heard) in self.peaks.iter().zip(&self.heard) {
            let (h, k) = hypotheses::indices(basis, peak.f);
            let half_way = rowing && is_half_way(h, k);
            let (i, j) = ((h * a).round(), (k * b).round());
            let (h, k) = if half_way { (h.round(), (2.0 * k).round() / 2.0) } else { (i / a, j / b) };
            let dx = peak.f[0] - h * basis.stitch[0] - k * basis.row[0];
            let dy = peak.f[1] - h * basis.stitch[1] - k * basis.row[1];
            if half_way && !self.is_side_line(basis, h, k, peak.amplitude) {
                continue;
            }
            let allowed = half_way || !family.chequered || (i + j).rem_euclid(2.0) == 0.0;
            let (i, j) = if half_way { (h, 2.0 * k) } else { (i, j) };
            let reach = self.spectrum.reach(peak.f);
            if allowed && dx * dx + dy * dy < reach * reach && (i != 0.0 || j != 0.0) && !family.has_line(h, k) {
                let gain = Other::with_shapes(h, k, half_way, |shapes| heard.gain(shapes));
                seen.push(Other { h, k, gain });
            }
        }
        seen
    }

    /// Whether a line half-way between the rows' may come of rows that differ: they put a part of the line next to it
    /// aside, so it is fainter than that.
    fn is_side_line(&self, basis: &Basis, h: f64, k: f64, amplitude: f64) -> bool {
        let next = |off: f64| self.amplitude(basis, h, (k.abs() + off) * k.signum());
        let inner = if k.abs() > 1.0 { next(-0.5) } else { None };
        let parent = [inner, next(0.5)].into_iter().flatten().fold(f64::NAN, f64::max);
        parent.is_nan() || amplitude < HALF_WAY_MOST * parent
    }

    /// Share of the peaks' power that lies above the second order of the legs of the V and of the rows. The power itself, not
    /// that over the noise: what the eye sees as fine.
    pub fn power_above(&self, basis: &Basis) -> f64 {
        let power = |peak: &Peak| peak.amplitude.powi(2) * self.spectrum.noise_power(peak.f);
        let (mut above, mut all) = (0.0, 0.0);
        for peak in &self.peaks {
            let (h, k) = hypotheses::indices(basis, peak.f);
            all += power(peak);
            if (0.5 * h).hypot(k) > HIGH_ORDER {
                above += power(peak);
            }
        }
        if all > 0.0 { above / all } else { 0.0 }
    }

    /// The family's own lines and other harmonics of the stitches on a lattice that stand up.
    pub fn harmonics(&self, basis: &Basis, family: &Family, repeat: (u32, u32)) -> Vec<Harmonic> {
        self.held(basis, family, repeat).into_iter().map(|(h, k, p)| Harmonic { h, k, strength: p.amplitude }).collect()
    }

    /// Lines of a repeat that stand up between those of its stitches and of its family: what knit and purl stitches make.
    pub fn between(&self, basis: &Basis, family: &Family, repeat: (u32, u32)) -> Vec<Harmonic> {
        let between = |h: f64, k: f64| (h.fract() != 0.0 || k.fract() != 0.0) && !family.has_line(h, k);
        let lines = self.lines(basis, repeat).filter(|(h, k, _)| between(*h, *k));
        lines.map(|(h, k, p)| Harmonic { h, k, strength: p.amplitude }).collect()
    }

    /// The lattice fitted by least squares to the peaks that it holds, weighted by their amplitudes up to `WEIGHT_MOST`.
    pub fn fitted(&self, basis: &Basis, family: &Family, repeat: (u32, u32)) -> Basis {
        let mut out = *basis;
        for _ in 0..2 {
            let held = self.held(&out, family, repeat);
            let (mut normal, mut x, mut y) = (Matrix2::zeros(), Vector2::zeros(), Vector2::zeros());
            for (h, k, p) in held {
                let index = Vector2::new(h, k);
                let w = p.amplitude.min(WEIGHT_MOST);
                normal += index * index.transpose() * w;
                x += index * (w * p.f[0]);
                y += index * (w * p.f[1]);
            }
            let Some(inverse) = normal.try_inverse() else { return out };
            let (x, y) = (inverse * x, inverse * y);
            let next = Basis { stitch: [x[0], y[0]], row: [x[1], y[1]] };
            if !hypotheses::alike(&next, basis, FIT_MOVES) {
                return out;
            }
            out = next;
        }
        out
    }

    /// Peaks on own lines, and on whole harmonics of low order: indices and peak.
    fn held(&self, basis: &Basis, family: &Family, repeat: (u32, u32)) -> Vec<(f64, f64, Peak)> {
        let whole = |h: f64, k: f64| h.fract() == 0.0 && k.fract() == 0.0 && (0.5 * h).hypot(k) <= 2.0;
        self.lines(basis, repeat).filter(|(h, k, _)| whole(*h, *k) || family.has_line(*h, *k)).collect()
    }

    /// Peaks on the harmonics of a repeat: indices, in those of single stitches and rows, and peak.
    fn lines(&self, basis: &Basis, repeat: (u32, u32)) -> impl Iterator<Item = (f64, f64, Peak)> {
        let (a, b) = (f64::from(repeat.0), f64::from(repeat.1));
        self.peaks.iter().filter_map(move |peak| {
            let (h, k) = hypotheses::indices(basis, peak.f);
            let (h, k) = ((h * a).round() / a, (k * b).round() / b);
            let dx = peak.f[0] - h * basis.stitch[0] - k * basis.row[0];
            let dy = peak.f[1] - h * basis.stitch[1] - k * basis.row[1];
            let near = dx.hypot(dy) < self.spectrum.reach(peak.f) && (h != 0.0 || k != 0.0);
            near.then_some((h, k, *peak))
        })
    }
}

/// Whether a place is nearest to a line that knit and purl rows of different heights make: whole in the stitches, half in
/// the rows.
fn is_half_way(h: f64, k: f64) -> bool {
    (2.0 * k).round().rem_euclid(2.0) == 1.0 && (h - h.round()).abs() < 0.25
}

/// The lines of every family, worked out once.
fn shapes_of(family: &Family) -> &'static [ByStrength<Shape>] {
    static SHAPES: LazyLock<Vec<Vec<ByStrength<Shape>>>> =
        LazyLock::new(|| FAMILIES.iter().map(|f| f.lines.iter().map(by_strength).collect()).collect());
    let number = FAMILIES.iter().position(|f| std::ptr::eq(f, family));
    number.map_or(&[], |number| &SHAPES[number])
}
