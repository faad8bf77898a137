//! Readings: lattices under families of patterns, with their scores.

use super::families::Family;
use super::hypotheses::{self, Hypothesis};
use super::motif::{self, Mirror};
use super::score::Scene;
use super::spectrum::Grid;
use super::view::View;
use super::{Basis, Declared};
use crate::side_by_side::{map_few_in_order, map_in_order};

/// One reading: a lattice under a family of patterns.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The lattice.
    pub basis: Basis,
    /// The family.
    pub family: &'static Family,
    /// Repeat in stitches × rows.
    pub repeat: (u32, u32),
    /// Whether knit and purl rows are taken to differ in height.
    pub rowing: bool,
    /// Log-score; only differences within one photo mean anything.
    pub score: f64,
    /// Its parts: lines, ratio of rows to stitches, skew, motif.
    pub parts: [f64; 4],
    /// Logarithm of the lattice's strength over noise.
    pub strength: f64,
    /// Amplitude over noise of the weaker of (1, 1) and (1, -1), the legs of the V, or of the two lines that garter's arcs make;
    /// `None` where colour hides them.
    pub legs: Option<f64>,
    /// Symmetry of the motif, where it was looked at.
    pub mirror: Option<Mirror>,
}

impl Reading {
    /// How much more upright the motif stands, where it was looked at.
    pub fn upright(&self) -> Option<f64> {
        self.mirror.map(|m| m.upright())
    }
}

/// What one view shows.
pub struct Sighting {
    /// Readings, best first, each lattice once.
    pub readings: Vec<Reading>,
    /// A reading whose stitches are pairs of the best one's rows, and its rows the stitches: which the best one is on its side.
    pub righted: Option<Reading>,
    /// The spectrum they were scored on.
    pub scene: Scene,
}

/// Sides of the first windows relative to the sheet's.
const WINDOW_STEPS: [f64; 3] = [1.0, 0.6, 0.36];

/// Stitches (geometric mean with rows) that a window should hold, twice as many for patterns with a repeat (measured:
/// more drift apart, fewer leave the lines of ribs unresolved).
const CELLS: f64 = 11.0;

/// The same in fabric that was made even: nothing drifts apart there.
const STRAIGHT_CELLS: f64 = 16.0;

/// Largest share of the fabric's narrower side that a window takes, where that is enough: two by two of them are averaged
/// then.
const STRAIGHT_SHARE: f64 = 0.7;

/// Fewest stitches and rows in a window that can be told from the skirt of frequency zero.
const MIN_CELLS: f64 = 4.5;

/// Lattices of which each spectrum is asked.
const HYPOTHESES: usize = 60;

/// Readings whose motif is looked at.
const LOOKED_AT: usize = 8;

/// Readings kept.
const KEPT: usize = 40;

/// Two lattices closer than this, relatively, are one reading, well or badly fitted.
const ONE_READING: f64 = 0.08;

/// Log-odds for the right axes per unit of symmetry about the wale more than about the row (measured: 0.45 ± 0.22 for the right axes over
/// rendered and real photos; the slope is that of two normal densities, halved).
const MOTIF_SLOPE: f64 = 7.0;
/// The same per unit of garter's glide along the row more than along the wale (measured: 0.22 ± 0.19).
const GLIDE_SLOPE: f64 = 6.0;
/// The most they may give.
const MOTIF_MOST: f64 = 3.5;

/// Symmetry about the wale half-way between that of the right axes and that of axes that lie aslant in a hexagonal
/// lattice, as seed's nearly is, and log-odds per unit of it (measured on even fabric: 0.82 ± 0.06 against 0.65 ± 0.09;
/// half the slope of two normal densities).
const OBLIQUE_WALE: f64 = 0.7;
const OBLIQUE_SLOPE: f64 = 14.0;

/// The most that an unlikely ratio of rows to stitches may cost: it never decides by itself.
const RATIO_MOST: f64 = 4.5;

/// Sine of the skew of rows against wales, spread (measured: 2° to 5° in photos of unpinned swatches).
const SKEW_SINE: f64 = 0.07;

/// The most that it may cost with the pattern declared: the ratio is that pattern's own then. It takes four standard
/// deviations, which is what turning stockinette on its side takes.
const RATIO_MOST_DECLARED: f64 = 8.0;

/// Spreads of the logarithm of rows ÷ stitches beyond which a fabric is not what was declared: stockinette is not knitted
/// with rows taller than 1.2 stitches, nor garter with rows as tall as stitches are wide (common practice, no source).
pub(super) const RATIO_NEVER: f64 = 3.5;

/// Share of rulers that are laid along a row or along a wale, and their spread about it, in degrees (stated; measured on 73
/// rendered photos of two makers: 96 % within 15°, the spread of these 4.4°).
const LAID_ALONG: f64 = 0.85;
const LAID_SPREAD_DEG: f64 = 6.0;

/// Logarithm of how often a knitter's knit and purl rows differ visibly ("rowing out"): one swatch in eight (stated
/// choice).
const ROWING_PRIOR: f64 = -2.0;

/// What a lattice is read as.
#[derive(Debug, Clone, Copy)]
pub struct Trial {
    family: &'static Family,
    /// Repeat in stitches × rows.
    repeat: (u32, u32),
    /// Whether knit and purl rows differ, so that lines half-way between the rows' may stand up.
    rowing: bool,
    ratio_most: f64,
    /// Spreads of the ratio of rows to stitches beyond which it is not that fabric.
    ratio_never: f64,
    /// Direction of the ruler in the plane, in degrees, where it may say how the fabric lies.
    ruler_direction_deg: Option<f64>,
}

/// The families that what was declared allows, each with even rows and, where its repeat has room for it, with rows
/// that differ.
pub fn trials(declared: &Declared) -> Vec<Trial> {
    let repeat = declared.pattern.as_ref().map(|p| (p.repeat_stitches.clamp(1, 24), p.repeat_rows.clamp(1, 24)));
    let ratio_most = if repeat.is_some() { RATIO_MOST_DECLARED } else { RATIO_MOST };
    let ratio_never = if repeat.is_some() { RATIO_NEVER } else { f64::INFINITY };
    // A direction that was declared says more than how the ruler lies.
    let ruler_direction_deg = declared.ruler_direction_deg.filter(|_| declared.row_direction_deg.is_none());
    let mut trials = Vec::new();
    for family in Family::of(declared.pattern.as_ref()) {
        let repeat = repeat.unwrap_or((family.pattern.1, family.pattern.2));
        let even = Trial { family, repeat, rowing: false, ratio_most, ratio_never, ruler_direction_deg };
        trials.push(even);
        if family.chequered || repeat.1 % 2 == 1 {
            trials.push(Trial { rowing: true, ..even });
        }
    }
    trials
}

/// All readings of one view. The first windows find how large the stitches are; then windows of a suitable size decide.
pub fn sighting(view: &View, trials: &[Trial]) -> Option<Sighting> {
    let looks = map_in_order(WINDOW_STEPS, |step| {
        let scene = view.scene(view.side_mm * step)?;
        let here = hypotheses::all(&scene.peaks, scene.spectrum.bin, HYPOTHESES);
        let top = scored(&scene, &here, trials).into_iter().next();
        Some((scene, here, top))
    });
    let mut first: Vec<Scene> = Vec::new();
    let mut found: Vec<Hypothesis> = Vec::new();
    let mut best: Option<Reading> = None;
    for (scene, here, top) in looks.into_iter().flatten() {
        if top.as_ref().is_some_and(|t| best.as_ref().is_none_or(|b| t.score > b.score)) {
            best = top;
        }
        add(&mut found, here);
        first.push(scene);
    }
    let side = window_mm(&best?).min(view.side_mm);
    if let Some(near) = first.into_iter().find(|s| (s.spectrum.bin * side).ln().abs() < 0.12) {
        return read(view, near, &found, trials);
    }
    let scene = view.scene(side)?;
    add(&mut found, hypotheses::all(&scene.peaks, scene.spectrum.bin, HYPOTHESES));
    read(view, scene, &found, trials)
}

/// The readings of a scene, with the motifs of the best looked at.
fn read(view: &View, scene: Scene, found: &[Hypothesis], trials: &[Trial]) -> Option<Sighting> {
    let mut readings = scored(&scene, found, trials);
    let grid = Grid::of(view.sheet);
    map_in_order(readings.iter_mut().take(LOOKED_AT), |r| {
        let rows = if r.rowing { 2 * r.repeat.1 } else { r.repeat.1 };
        r.mirror = motif::mirror(&grid, &r.basis, (r.repeat.0, rows), r.family.pattern.0 == "garter");
        r.parts[3] = r.mirror.map_or(0.0, likely);
        r.score += r.parts[3];
    });
    readings.sort_by(|a, b| b.score.total_cmp(&a.score));
    (!readings.is_empty()).then_some(Sighting { readings, righted: None, scene })
}

/// All readings of a view of fabric that was made even by a lattice `near` the true one, or near a multiple of it.
pub fn sighting_near(view: &View, trials: &[Trial], near: &Basis) -> Option<Sighting> {
    let repeat = trials.first().map_or((1, 1), |t| t.repeat);
    let enough = window_of(near, repeat);
    let side = (STRAIGHT_CELLS / CELLS * enough).min((STRAIGHT_SHARE * view.side_mm).max(enough)).min(view.side_mm);
    let scene = view.scene(side)?;
    let mut found = hypotheses::related(near);
    add(&mut found, hypotheses::all(&scene.peaks, scene.spectrum.bin, HYPOTHESES));
    read(view, scene, &found, trials)
}

fn add(found: &mut Vec<Hypothesis>, more: Vec<Hypothesis>) {
    for h in more {
        if !found.iter().any(|f| hypotheses::same(&f.basis, &h.basis)) {
            found.push(h);
        }
    }
}

/// Log-odds that the motif's symmetry gives for the axes of a reading against axes that lie otherwise.
fn likely(mirror: Mirror) -> f64 {
    let turned = mirror.glide.map_or(MOTIF_SLOPE * mirror.upright(), |glide| GLIDE_SLOPE * glide);
    let turned = turned.clamp(-MOTIF_MOST, MOTIF_MOST);
    let oblique = (OBLIQUE_SLOPE * (mirror.wale - OBLIQUE_WALE)).clamp(-MOTIF_MOST, MOTIF_MOST);
    turned + oblique
}

/// Log-odds of a reading for how the ruler lies: 0 along a row or a wale, less aslant. A normal density about either, over the
/// even one of rulers that lie anyhow.
fn laid_along(basis: &Basis, ruler_direction_deg: f64) -> f64 {
    let Some((stitch, row)) = basis.steps_mm() else { return 0.0 };
    let off_deg = |step: [f64; 2]| super::off_direction_deg(step, ruler_direction_deg);
    let density = |off_deg: f64| {
        // Both are folded: an angle to the nearer axis lies between 0 and 45 degrees.
        let normal =
            2.0 * (-0.5 * (off_deg / LAID_SPREAD_DEG).powi(2)).exp() / (LAID_SPREAD_DEG * std::f64::consts::TAU.sqrt());
        LAID_ALONG * normal + (1.0 - LAID_ALONG) / 45.0
    };
    (density(off_deg(stitch).min(off_deg(row))) / density(0.0)).ln()
}

/// Window that suits a reading, in mm.
fn window_mm(r: &Reading) -> f64 {
    window_of(&r.basis, r.repeat)
}

fn window_of(basis: &Basis, repeat: (u32, u32)) -> f64 {
    CELLS * f64::from(repeat.0 * repeat.1).sqrt().min(2.0) / basis.stitches_per_mm2().sqrt()
}

/// Readings of one spectrum, best first, each lattice once.
fn scored(scene: &Scene, hypotheses: &[Hypothesis], trials: &[Trial]) -> Vec<Reading> {
    /// Lattices that are scored at once.
    const FEW: usize = 16;
    let told_apart = |h: &&Hypothesis| {
        let (st, ro) = (h.basis.stitch, h.basis.row);
        st[0].hypot(st[1]).min(ro[0].hypot(ro[1])) >= MIN_CELLS * scene.spectrum.bin
    };
    let of_one = |h: &&Hypothesis| -> Vec<Reading> {
        let readings = trials.iter().map(|t| reading(scene, &h.basis, t));
        readings.filter(|r| r.score.is_finite()).collect()
    };
    let hypotheses: Vec<&Hypothesis> = hypotheses.iter().filter(told_apart).collect();
    let mut all = map_few_in_order(&hypotheses, FEW, of_one).concat();
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut kept: Vec<Reading> = Vec::new();
    for r in all {
        if kept.len() >= KEPT {
            break;
        }
        if !kept.iter().any(|k| hypotheses::alike(&k.basis, &r.basis, ONE_READING)) {
            kept.push(r);
        }
    }
    kept
}

fn reading(scene: &Scene, basis: &Basis, trial: &Trial) -> Reading {
    let Trial { family, repeat, rowing, ratio_most, ratio_never, ruler_direction_deg } = *trial;
    let (lines, strength) = scene.ratio(basis, family, repeat, rowing);
    let (st, ro) = (basis.stitch, basis.row);
    let (a, b) = (st[0].hypot(st[1]), ro[0].hypot(ro[1]));
    let z = ((b / a).ln() - family.rows_over_stitches.0) / family.rows_over_stitches.1;
    let ratio = -(0.5 * z * z).min(ratio_most);
    let score = if z.abs() > ratio_never { f64::NEG_INFINITY } else { 0.0 };
    let sine = (st[0] * ro[0] + st[1] * ro[1]) / (a * b);
    let skew = -0.5 * (sine / SKEW_SINE).powi(2);
    let prior = family.prior + if rowing { ROWING_PRIOR } else { 0.0 };
    let laid = ruler_direction_deg.map_or(0.0, |deg| laid_along(basis, deg));
    let score = score + lines + ratio + skew + prior + laid;
    let legs_at = |k: f64| Some(scene.amplitude(basis, 1.0, k)?.min(scene.amplitude(basis, 1.0, -k)?));
    let legs = family.leaning().iter().filter_map(|k| legs_at(*k)).max_by(f64::total_cmp);
    let parts = [lines, ratio, skew, 0.0];
    Reading { basis: *basis, family, repeat, rowing, score, parts, strength, legs, mirror: None }
}
