//! Growing a train: from mark to mark along the edge, then the whole once more where its fit says the marks are.

use super::look::Look;
use super::seed::Seed;
use super::{Frame, Mark, Train};
use crate::ruler::fit::{Curve, IndexFit, quantile};
use crate::ruler::ink::Ink;
use crate::side_by_side::map_few_in_order;

/// A mark is looked for within this share of a pitch about its predicted place, once the train is established …
const SEARCH_PITCHES: f64 = 0.16;
/// … and while it still rests on the seed.
const SEARCH_SEED_PITCHES: f64 = 0.28;
/// Marks from which a train counts as established.
const ESTABLISHED: usize = 12;
/// A mark must have this share of the usual contrast nearby. Worn marks fade; texture beside the ruler seldom keeps up.
const CONTRAST_SHARE: f32 = 0.3;
/// Growth ends after this many missing marks in a row, or a quarter of those found if that is more (thumbs, glare).
const MISSES_MIN: usize = 8;
const MISSES_MAX: usize = 40;
/// A train's ends are cut back until this share of the ten, and of the five, outermost indices was seen.
const DENSITY_MIN: f64 = 0.6;
/// Most marks dropped at each end because the others do not foretell them.
const FALSE_ENDS_MAX: usize = 4;
/// Part of the marks that are shorter than the long ones, and how much longer than those a line is that crosses the base too.
const LONG: f64 = 0.75;
const CROSSING: f64 = 1.3;
/// Fewest marks from one line of a grid to the next, fewest lines, and the share of the grid's places that must have one (common
/// practice, no source: inches in quarters at least).
const GRID_STEP: i32 = 4;
const GRID_LINES: usize = 3;
const GRID_SHARE: f64 = 0.75;
/// Most marks of one train: a 2 m tape in half millimetres has 4000, no photo resolves half of that.
const MARKS_MAX: usize = 2000;

/// Part of the seed's marks, from the base, in which shorter marks between them are looked for.
const LOW_BAND: (f64, f64) = (0.05, 0.35);
/// Divisions tried, finest first: what a scale has between its longer marks.
const DIVISIONS: [i32; 7] = [10, 8, 6, 5, 4, 3, 2];
/// Share of the places of a division that must hold a mark.
const FINER_SHARE: f64 = 0.75;
/// Places along the edge that are looked at at once.
const FEW: usize = 16;
/// Finest pitch that is read, px: two samples for the mark and one for the gap.
const PITCH_MIN_PX: f64 = 3.0;

/// A train being grown.
pub(super) struct Growth<'a> {
    ink: &'a Ink<'a>,
    frame: Frame,
    marks: Vec<Mark>,
    pitch: f64,
    lean: Curve,
    short: f64,
}

impl<'a> Growth<'a> {
    pub fn new(ink: &'a Ink<'a>, seed: &Seed) -> Option<Self> {
        let lean = Curve::new(&[(0.0, seed.lean), (1.0, seed.lean)], 0)?;
        let mut growth = Self { ink, frame: seed.frame, marks: Vec::new(), pitch: seed.pitch, lean, short: seed.short };
        let places: Vec<(i32, f64)> = seed.strokes.iter().map(|s| (s.0, s.1)).collect();
        growth.look_at(&places, |_| 0.0);
        if let Some((finer, places)) = growth.finer() {
            growth.pitch /= finer as f64;
            growth.short *= LOW_BAND.1;
            growth.look_at(&places, |_| 0.0);
            growth.refine_short();
            growth.look_at(&places, |_| 0.0);
        }
        (growth.marks.len() >= 5).then_some(growth)
    }

    /// A train whose gaps hold further marks, to be grown again with all of them; `None` where they are too fine to be read.
    pub fn divided(ink: &'a Ink<'a>, train: &Train, parts: i32) -> Option<Self> {
        let pitch = train.pitch_px() / f64::from(parts);
        let (frame, lean, short) = (train.frame, train.lean.clone(), train.short_px);
        let mut growth = Self { ink, frame, marks: train.marks.clone(), pitch, lean, short };
        growth.look_at(&growth.places_between(parts), |u| train.base.at(u));
        growth.refine_short();
        (pitch >= PITCH_MIN_PX && growth.marks.len() >= 5).then_some(growth)
    }

    fn look(&self) -> Look<'_> {
        Look { ink: self.ink, frame: self.frame, pitch: self.pitch, lean: &self.lean, short: self.short }
    }

    /// Replaces the marks by those seen at the given (index, u), `base` across.
    fn look_at(&mut self, places: &[(i32, f64)], base: impl Fn(f64) -> f64 + Sync + Send) {
        let look = self.look();
        let seen = |&(i, u): &(i32, f64)| look.mark(i, u, base(u), SEARCH_SEED_PITCHES, 0.0).ok()?;
        self.marks = map_few_in_order(places, FEW, seen).into_iter().flatten().collect();
    }

    /// Looks for shorter marks between those of the seed, which may hold every second, fifth, tenth only: the largest
    /// division at which most places hold a mark, and all places at that division.
    fn finer(&self) -> Option<(i32, Vec<(i32, f64)>)> {
        let band = (LOW_BAND.0 * self.short, LOW_BAND.1 * self.short);
        let look = self.look();
        let contrast = |m: &Mark| Some(look.cut(m.u, 0.0, band, 0.2 * self.pitch).ok()??.contrast);
        let usual = map_few_in_order(&self.marks, FEW, contrast).into_iter().flatten();
        let usual = quantile(usual.map(f64::from), 0.5)? as f32;
        DIVISIONS.into_iter().filter(|&parts| self.pitch / parts as f64 >= PITCH_MIN_PX).find_map(|parts| {
            let places = self.places_between(parts);
            let fine = Look { pitch: self.pitch / parts as f64, ..look };
            let new: Vec<f64> = places.iter().filter(|p| p.0 % parts != 0).map(|p| p.1).collect();
            let seen = |u: &f64| {
                let cut = fine.cut(*u, 0.0, band, 0.2 * fine.pitch).ok().flatten();
                cut.is_some_and(|c| c.contrast > CONTRAST_SHARE * usual)
            };
            let seen = map_few_in_order(&new, FEW, seen).into_iter().filter(|seen| *seen).count();
            let share = seen as f64 / new.len().max(1) as f64;
            (share >= FINER_SHARE).then_some((parts, places))
        })
    }

    /// The places (index, u) that divide the gaps between the marks into so many parts, those of the marks among them.
    fn places_between(&self, parts: i32) -> Vec<(i32, f64)> {
        let between = |w: &[Mark]| -> Vec<(i32, f64)> {
            let n = (w[1].index - w[0].index) * parts;
            let step = (w[1].u - w[0].u) / f64::from(n);
            (0..n).map(|k| (w[0].index * parts + k, w[0].u + step * f64::from(k))).collect()
        };
        self.marks.windows(2).flat_map(between).collect()
    }

    /// Grows in both directions until the marks end, and settles what was found.
    pub fn grown(mut self) -> Option<Train> {
        self.extend(1);
        self.extend(-1);
        self.settle()
    }

    /// Adds marks in one direction until they end.
    fn extend(&mut self, direction: i32) {
        let mut misses = 0usize;
        self.marks.sort_by_key(|m| m.index);
        let edge = if direction > 0 { self.marks.last() } else { self.marks.first() };
        let Some(mut index) = edge.map(|m| m.index) else { return };
        while misses <= (self.marks.len() / 4).clamp(MISSES_MIN, MISSES_MAX) && self.marks.len() < MARKS_MAX {
            index += direction;
            let Some((u, v, pitch, contrast)) = self.predict(index, direction) else { return };
            self.pitch = pitch;
            let share = if self.marks.len() < ESTABLISHED { SEARCH_SEED_PITCHES } else { SEARCH_PITCHES };
            match self.look().mark(index, u, v, share, contrast * CONTRAST_SHARE) {
                Err(()) => return,
                Ok(None) => misses += 1,
                Ok(Some(mark)) => {
                    misses = 0;
                    if direction > 0 { self.marks.push(mark) } else { self.marks.insert(0, mark) }
                }
            }
        }
    }

    /// Where the next mark should be, from the outermost ones: place along and across, pitch, usual contrast.
    fn predict(&self, index: i32, direction: i32) -> Option<(f64, f64, f64, f32)> {
        let near: Vec<&Mark> = if direction > 0 {
            self.marks.iter().rev().take(20).collect()
        } else {
            self.marks.iter().take(20).collect()
        };
        let places: Vec<(f64, f64)> = near.iter().map(|m| (m.index as f64, m.u)).collect();
        let curve = Curve::new(&places, if near.len() >= 12 { 2 } else { 1 })?;
        let u = curve.at(index as f64);
        let bases: Vec<(f64, f64)> = near.iter().map(|m| (m.u, m.base_v)).collect();
        let v = Curve::new(&bases, 1)?.at(u);
        let pitch = curve.slope(index as f64).abs();
        let contrast = quantile(near.iter().map(|m| m.contrast as f64), 0.5)?;
        let sane = pitch > 0.5 * self.pitch && pitch < 2.0 * self.pitch;
        sane.then_some((u, v, pitch, contrast as f32))
    }

    /// Cuts loose ends off, fits the whole train and measures every mark once more where the fit says it is.
    fn settle(mut self) -> Option<Train> {
        for _ in 0..2 {
            self.trim();
            let (fit, base) = self.fits()?;
            self.refine_short();
            self.lean = self.measure_lean(&base).unwrap_or(self.lean);
            let contrast = quantile(self.marks.iter().map(|m| m.contrast as f64), 0.5)? as f32;
            let (from, to) = (self.marks.first()?.index, self.marks.last()?.index);
            let indices: Vec<i32> = (from..=to).collect();
            let pitch = |index: i32| fit.step(f64::from(index)).abs();
            let again = |&index: &i32| {
                let (u, look) = (fit.at(f64::from(index)), Look { pitch: pitch(index), ..self.look() });
                look.mark(index, u, base.at(u), SEARCH_PITCHES, contrast * CONTRAST_SHARE * 0.7).ok()?
            };
            let again = map_few_in_order(&indices, FEW, again).into_iter().flatten().collect();
            (self.pitch, self.marks) = (pitch(to), again);
        }
        self.drop_cut_off();
        for _ in 0..2 {
            let (fit, base) = self.fits()?;
            self.drop_doubtful(&fit, &base);
            self.trim();
            self.drop_false_ends();
        }
        let (fit, base) = self.fits()?;
        let mix = self.ink.weights();
        Some(Train { frame: self.frame, marks: self.marks, fit, base, lean: self.lean, short_px: self.short, mix })
    }

    /// Drops what the fit does not hold, or what is not as wide or does not begin where the others do: dirt, numerals,
    /// fabric beyond the ruler's end. Lines of a grid, which cross the base and all marks, stay.
    fn drop_doubtful(&mut self, fit: &IndexFit, base: &Curve) {
        let spread = fit.rms.max(0.02);
        let usual = |of: fn(&Mark) -> f64, part: f64| quantile(self.marks.iter().map(of), part).unwrap_or(1.0);
        let (width, long) = (usual(|m| m.width_px, 0.5), usual(|m| m.length_px, LONG));
        let ragged = (4.0 * base.rms).max(0.25 * self.pitch).max(1.5);
        let above_base = |m: &Mark| m.base_v - base.at(m.u);
        self.marks.retain(|m| {
            (m.u - fit.at(m.index as f64)).abs() <= 5.0 * spread && (0.4 * width..=2.2 * width).contains(&m.width_px)
        });
        let crosses = |m: &Mark| above_base(m) < -ragged && m.length_px > CROSSING * long;
        let crossing: Vec<i32> = self.marks.iter().filter(|m| crosses(m)).map(|m| m.index).collect();
        let grid = are_a_grid(&crossing);
        self.marks.retain(|m| above_base(m).abs() <= ragged || grid && crosses(m));
    }

    /// Drops marks that the picture's edge cuts off, where enough others show the ruler's edge: these would bend its line.
    fn drop_cut_off(&mut self) {
        /// How far beyond a mark's beginning the picture must go on, px.
        const BEYOND_PX: f64 = 2.0;
        let whole = |m: &Mark| {
            let (x, y) = self.frame.point(m.u, m.base_v - BEYOND_PX);
            self.ink.at(x, y).is_some()
        };
        let marks: Vec<Mark> = self.marks.iter().copied().filter(whole).collect();
        if marks.len() >= ESTABLISHED {
            self.marks = marks;
        }
    }

    fn fits(&self) -> Option<(IndexFit, Curve)> {
        let places: Vec<(f64, f64)> = self.marks.iter().map(|m| (m.index as f64, m.u)).collect();
        let bases: Vec<(f64, f64)> = self.marks.iter().map(|m| (m.u, m.base_v)).collect();
        (self.marks.len() >= 6).then_some(())?;
        Some((IndexFit::new(&places)?, Curve::new(&bases, 3)?))
    }

    fn refine_short(&mut self) {
        if let Some(short) = quantile(self.marks.iter().map(|m| m.length_px), 0.25) {
            self.short = short.max(2.0).min(2.0 * self.short);
        }
    }

    /// Lean of the marks from the lower and upper part of each, the long ones counting most.
    fn measure_lean(&self, base: &Curve) -> Option<Curve> {
        let long = quantile(self.marks.iter().map(|m| m.length_px), 0.6)?;
        let followed: Vec<&Mark> = self.marks.iter().filter(|m| m.length_px >= long && m.length_px > 6.0).collect();
        let lean = |m: &&Mark| {
            let (look, l, v) = (self.look(), m.length_px, base.at(m.u));
            let low = look.cut(m.u, v, (0.1 * l, 0.45 * l), 0.25 * self.pitch).ok()??;
            let high = look.cut(m.u, v, (0.55 * l, 0.9 * l), 0.25 * self.pitch).ok()??;
            Some((m.u, self.lean.at(m.u) + (high.offset - low.offset) / (0.45 * l)))
        };
        let leans: Vec<(f64, f64)> = map_few_in_order(&followed, FEW, lean).into_iter().flatten().collect();
        (leans.len() >= 4).then(|| Curve::new(&leans, 1)).flatten()
    }

    /// Cuts the ends back to where marks follow each other.
    fn trim(&mut self) {
        self.marks.sort_by_key(|m| m.index);
        let loose_end = |marks: &[Mark], last: bool| {
            let Some(end) = (if last { marks.last() } else { marks.first() }) else { return false };
            let within = |n: i32| marks.iter().filter(|m| (m.index - end.index).abs() < n).count() as f64;
            within(10) < DENSITY_MIN * 10.0 || within(5) < DENSITY_MIN * 5.0
        };
        while self.marks.len() > 5 && loose_end(&self.marks, true) {
            self.marks.pop();
        }
        while self.marks.len() > 5 && loose_end(&self.marks, false) {
            self.marks.remove(0);
        }
    }

    /// Drops outermost marks that the others do not foretell: an end pulls the fit to itself.
    fn drop_false_ends(&mut self) {
        for last in [true, false] {
            for _ in 0..FALSE_ENDS_MAX {
                let n = self.marks.len();
                if n < 12 {
                    return;
                }
                let (end, rest) =
                    if last { (self.marks[n - 1], &self.marks[..n - 1]) } else { (self.marks[0], &self.marks[1..]) };
                let places: Vec<(f64, f64)> = rest.iter().map(|m| (m.index as f64, m.u)).collect();
                let Some(fit) = IndexFit::new(&places) else { return };
                let off = (end.u - fit.at(end.index as f64)).abs();
                if off <= (6.0 * fit.rms).max(0.02 * self.pitch) {
                    break;
                }
                self.marks.remove(if last { n - 1 } else { 0 });
            }
        }
    }
}

/// Whether the lines with these indices, in their order, are evenly apart, but for a few that are covered.
fn are_a_grid(indices: &[i32]) -> bool {
    let (Some(first), Some(last)) = (indices.first(), indices.last()) else { return false };
    let Some(step) = indices.windows(2).map(|w| w[1] - w[0]).min() else { return false };
    let places = f64::from((last - first) / step.max(1) + 1);
    indices.len() >= GRID_LINES
        && step >= GRID_STEP
        && indices.iter().all(|i| (i - first) % step == 0)
        && indices.len() as f64 >= GRID_SHARE * places
}

#[cfg(test)]
mod tests {
    use super::are_a_grid;

    #[test]
    fn lines_of_a_grid_are_evenly_apart() {
        assert!(are_a_grid(&[-6, 2, 10, 18, 26]));
        assert!(are_a_grid(&[-6, 2, 18, 26]), "one covered");
        assert!(!are_a_grid(&[2, 10]), "two");
        assert!(!are_a_grid(&[-6, 2, 11, 18]), "uneven");
        assert!(!are_a_grid(&[3, 4, 5, 6]), "marks that all begin below the base");
        assert!(!are_a_grid(&[]));
    }
}
