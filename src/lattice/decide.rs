//! The octave decision: which of all lattices that fit the strong lines is the one of single stitches and single rows.

use super::families::{self, Family};
use super::hypotheses::{self, Hypothesis};
use super::motif;
use super::peaks;
use super::score;
use super::spectrum::{self, Grid, Spectrum};
use super::{Basis, Decision, Declared, Harmonic, StitchPattern};
use crate::fabric::Sheet;
use crate::quantity::PlanePoint;
use crate::refusal::{Refusal, RefusalCode, Rival};

/// One reading: a lattice under a family of patterns.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The lattice.
    pub basis: Basis,
    /// The family.
    pub family: &'static Family,
    /// Repeat in stitches × rows.
    pub repeat: (u32, u32),
    /// Log-score; only differences within one photo mean anything.
    pub score: f64,
    /// Its parts: lines, ratio, skew, motif.
    pub parts: [f64; 4],
    /// Which of the sheets.
    pub sheet: usize,
    /// Log-strength of the lattice over noise.
    pub strength: f64,
}

/// Sides of the first windows relative to the sheet's.
const WINDOW_STEPS: [f64; 3] = [1.0, 0.62, 0.38];

/// Largest window, in mm.
const MAX_WINDOW_MM: f64 = 90.0;

/// Stitches (geometric mean with rows) that a window should hold for scoring.
const CELLS: f64 = 11.0;

/// Fewest stitches and rows in a window.
const MIN_CELLS: f64 = 4.5;

/// Pixels along a window: the fourth harmonic of 15 stitches is at bin 60.
const WINDOW_PX: f64 = 190.0;

/// Readings whose motif is looked at.
const LOOKED_AT: usize = 8;

/// Log-odds for the right axes per unit of `motif::wale_over_row`, and the most it may give (measured: 0.45 ± 0.22 for
/// the right axes over rendered and real photos; the slope is that of two normal densities, halved).
const MOTIF_SLOPE: f64 = 7.0;
const MOTIF_MOST: f64 = 3.5;

/// Whether a sheet shows brightness (relief) and not a difference of colours.
fn is_relief(sheet: &Sheet) -> bool {
    let sum: f32 = sheet.weights.iter().sum();
    let size: f32 = sheet.weights.iter().map(|w| w.abs()).sum();
    sum.abs() > 0.3 * size
}

fn same_place(a: &Sheet, b: &Sheet) -> bool {
    a.origin == b.origin && a.px_per_mm == b.px_per_mm && a.grey.dimensions() == b.grey.dimensions()
}

/// A sheet with the colour contrasts of the same place.
struct View<'a> {
    sheet: &'a Sheet,
    contrasts: Vec<&'a Sheet>,
    side_mm: f64,
}

impl<'a> View<'a> {
    fn of(sheets: &'a [Sheet], index: usize) -> Self {
        let sheet = &sheets[index];
        let contrasts = sheets.iter().filter(|s| !is_relief(s) && same_place(s, sheet)).collect();
        let px = sheet.grey.width().min(sheet.grey.height());
        Self { sheet, contrasts, side_mm: (f64::from(px) / sheet.px_per_mm).min(MAX_WINDOW_MM) }
    }

    fn spectrum(&self, side_mm: f64) -> Option<Spectrum> {
        let step = ((side_mm * self.sheet.px_per_mm / WINDOW_PX) as usize).max(1);
        let mut relief = spectrum::averaged(&Grid::reduced(self.sheet, step), side_mm)?;
        for contrast in &self.contrasts {
            if let Some(colour) = spectrum::averaged(&Grid::reduced(contrast, step), side_mm) {
                relief.mark_colours(&colour);
            }
        }
        Some(relief)
    }
}

/// Families to be tried, with the repeat.
type Trials = Vec<(&'static Family, (u32, u32))>;

fn trials(declared: &Declared) -> Trials {
    let repeat = declared.pattern.as_ref().map(|p| (p.repeat_stitches.max(1), p.repeat_rows.max(1)));
    Family::of(declared.pattern.as_ref())
        .into_iter()
        .map(|f| (f, repeat.unwrap_or((f.pattern.1, f.pattern.2))))
        .collect()
}

/// All readings of one sheet, best first, each lattice once.
fn sheet_readings(sheets: &[Sheet], index: usize, trials: &Trials) -> Vec<Reading> {
    let view = View::of(sheets, index);
    let first: Vec<Spectrum> = WINDOW_STEPS.iter().filter_map(|step| view.spectrum(view.side_mm * step)).collect();
    let mut found: Vec<Hypothesis> = Vec::new();
    let mut wanted: Vec<f64> = Vec::new();
    for s in &first {
        let hypotheses = hypotheses::all(&peaks::strongest(s, 40), s.bin, 60);
        let best = scored(s, &hypotheses, trials, index).into_iter().next();
        wanted.extend(best.map(|r| window_mm(&r)));
        for h in hypotheses {
            if !found.iter().any(|f| hypotheses::same(&f.basis, &h.basis)) {
                found.push(h);
            }
        }
    }
    wanted.sort_by(f64::total_cmp);
    let Some(side) = wanted.get(wanted.len() / 2) else { return Vec::new() };
    let side = side.min(view.side_mm);
    let near = first.iter().find(|s| (s.bin * side).ln().abs() < 0.12).cloned();
    let Some(s) = near.or_else(|| view.spectrum(side)) else { return Vec::new() };
    for h in hypotheses::all(&peaks::strongest(&s, 40), s.bin, 60) {
        if !found.iter().any(|f| hypotheses::same(&f.basis, &h.basis)) {
            found.push(h);
        }
    }
    let mut readings = scored(&s, &found, trials, index);
    let grid = Grid::of(view.sheet);
    for r in readings.iter_mut().take(LOOKED_AT) {
        let seen = motif::wale_over_row(&grid, &r.basis, r.repeat);
        r.parts[3] = (MOTIF_SLOPE * seen).clamp(-MOTIF_MOST, MOTIF_MOST);
        r.score += r.parts[3];
    }
    readings.sort_by(|a, b| b.score.total_cmp(&a.score));
    readings
}

/// Window that suits a reading, in mm.
fn window_mm(r: &Reading) -> f64 {
    let det = r.basis.stitch[0] * r.basis.row[1] - r.basis.stitch[1] * r.basis.row[0];
    CELLS * f64::from(r.repeat.0 * r.repeat.1).sqrt().min(2.0) / det.abs().sqrt()
}

/// Readings of one spectrum, best first, lattices that differ by less than 8 % once.
fn scored(s: &Spectrum, hypotheses: &[Hypothesis], trials: &Trials, sheet: usize) -> Vec<Reading> {
    let mut all: Vec<Reading> = Vec::new();
    for h in hypotheses {
        let (st, ro) = (h.basis.stitch, h.basis.row);
        if st[0].hypot(st[1]).min(ro[0].hypot(ro[1])) < MIN_CELLS * s.bin {
            continue;
        }
        all.extend(trials.iter().map(|(family, repeat)| reading(s, &h.basis, family, *repeat, sheet)));
    }
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut kept: Vec<Reading> = Vec::new();
    for r in all {
        if kept.len() >= 40 {
            break;
        }
        if !kept.iter().any(|k| hypotheses::alike(&k.basis, &r.basis, 0.08)) {
            kept.push(r);
        }
    }
    kept
}

fn reading(s: &Spectrum, basis: &Basis, family: &'static Family, repeat: (u32, u32), sheet: usize) -> Reading {
    let (lines, strength) = score::ratio(s, basis, family.lines, &families::fractions(family, repeat.0, repeat.1));
    let (st, ro) = (basis.stitch, basis.row);
    let (a, b) = (st[0].hypot(st[1]), ro[0].hypot(ro[1]));
    let z = ((b / a).ln() - family.rows_over_stitches.0) / family.rows_over_stitches.1;
    let ratio = -(0.5 * z * z).min(4.5);
    let sine = (st[0] * ro[0] + st[1] * ro[1]) / (a * b);
    let skew = -0.5 * (sine / 0.07).powi(2);
    Reading {
        basis: *basis,
        family,
        repeat,
        score: lines + ratio + skew + family.prior,
        parts: [lines, ratio, skew, 0.0],
        sheet,
        strength,
    }
}

/// All readings of the sheets, best first, each lattice once.
pub fn readings(sheets: &[Sheet], declared: &Declared) -> Vec<Reading> {
    let trials = trials(declared);
    let mut best: Vec<Reading> = Vec::new();
    for index in 0..sheets.len() {
        if !is_relief(&sheets[index]) {
            continue;
        }
        let here = sheet_readings(sheets, index, &trials);
        if here.first().map_or(f64::NEG_INFINITY, |r| r.score) > best.first().map_or(f64::NEG_INFINITY, |r| r.score) {
            best = here;
        }
    }
    best
}

/// Decides which lattice is that of single stitches and rows. `declared.row_direction_deg` is taken as a direction in the
/// plane's axes, already converted from the photo.
///
/// # Errors
/// `not_knit`, `lattice_unclear`, `pattern_unclear`, `axes_unclear` or `too_few_stitches`.
pub fn decide(sheets: &[Sheet], declared: &Declared) -> Result<Decision, Refusal> {
    let all = readings(sheets, declared);
    let Some(best) = all.first() else {
        return Err(Refusal::new(RefusalCode::NotKnit, ""));
    };
    let rivals: Vec<Rival> = all.iter().skip(1).take(4).filter_map(rival).collect();
    let margin = all.get(1).map_or(50.0, |second| best.score - second.score);
    let sheet = &sheets[best.sheet];
    let grid = Grid::of(sheet);
    let side = grid.width.min(grid.height) as f64 / grid.px_per_mm;
    Ok(Decision {
        basis: best.basis,
        seed: PlanePoint::new(sheet.origin.x + side / 2.0, sheet.origin.y + side / 2.0),
        pattern: declared.pattern.clone().unwrap_or_else(|| {
            let (name, a, b) = best.family.pattern;
            StitchPattern::with_repeat(name, a, b)
        }),
        declared: declared.pattern.is_some(),
        confidence: None,
        harmonics: Vec::<Harmonic>::new(),
        margin,
        rivals,
        weights: sheet.weights,
    })
}

fn rival(r: &Reading) -> Option<Rival> {
    let (s, w) = r.basis.per_10cm()?;
    Some(Rival { stitches_per_10cm: s, rows_per_10cm: w, why: r.family.pattern.0.to_owned(), score: r.score })
}
