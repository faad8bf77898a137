//! Growing a train: from mark to mark along the edge, then the whole once more where its fit says the marks are.

use super::seed::Seed;
use super::{Frame, Mark, Train};
use crate::ruler::fit::{Curve, IndexFit, quantile};
use crate::ruler::ink::Ink;

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
/// Most marks of one train: a 2 m tape in half millimetres has 4000, no photo resolves half of that.
const MARKS_MAX: usize = 2000;

/// Part of the seed's marks, from the base, in which shorter marks between them are looked for.
const LOW_BAND: (f64, f64) = (0.05, 0.35);
/// Divisions tried, finest first: what a scale has between its longer marks.
const DIVISIONS: [i32; 7] = [10, 8, 6, 5, 4, 3, 2];
/// Share of the places of a division that must hold a mark.
const FINER_SHARE: f64 = 0.75;
/// Finest pitch that is read, px: two samples for the mark and one for the gap.
const PITCH_MIN_PX: f64 = 3.0;

/// What a profile across a mark showed.
struct Cut {
    offset: f64,
    contrast: f32,
    width: f64,
}

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
        growth.look_at(&places);
        if let Some((finer, places)) = growth.finer() {
            growth.pitch /= finer as f64;
            growth.short *= LOW_BAND.1;
            growth.look_at(&places);
            growth.refine_short();
            growth.look_at(&places);
        }
        (growth.marks.len() >= 5).then_some(growth)
    }

    /// A train whose gaps hold further marks, to be grown again with all of them; `None` where they are too fine to be read.
    pub fn divided(ink: &'a Ink<'a>, train: &Train, parts: i32) -> Option<Self> {
        let pitch = train.pitch_px() / f64::from(parts);
        let (frame, lean, short) = (train.frame, train.lean.clone(), train.short_px);
        let mut growth = Self { ink, frame, marks: train.marks.clone(), pitch, lean, short };
        let look = |&(i, u): &(i32, f64)| growth.look(i, u, train.base.at(u), SEARCH_SEED_PITCHES, 0.0).ok()?;
        growth.marks = growth.places_between(parts).iter().filter_map(look).collect();
        growth.refine_short();
        (pitch >= PITCH_MIN_PX && growth.marks.len() >= 5).then_some(growth)
    }

    /// Replaces the marks by those seen at the given (index, u).
    fn look_at(&mut self, places: &[(i32, f64)]) {
        let look = |&(i, u): &(i32, f64)| self.look(i, u, 0.0, SEARCH_SEED_PITCHES, 0.0).ok()?;
        self.marks = places.iter().filter_map(look).collect();
    }

    /// Looks for shorter marks between those of the seed, which may hold every second, fifth, tenth only: the largest
    /// division at which most places hold a mark, and all places at that division.
    fn finer(&self) -> Option<(i32, Vec<(i32, f64)>)> {
        let band = (LOW_BAND.0 * self.short, LOW_BAND.1 * self.short);
        let usual = self.marks.iter().filter_map(|m| Some(self.cut(m.u, 0.0, band, 0.2 * self.pitch).ok()??.contrast));
        let usual = quantile(usual.map(f64::from), 0.5)? as f32;
        DIVISIONS.into_iter().filter(|&parts| self.pitch / parts as f64 >= PITCH_MIN_PX).find_map(|parts| {
            let places = self.places_between(parts);
            let fine = Self { pitch: self.pitch / parts as f64, marks: Vec::new(), lean: self.lean.clone(), ..*self };
            let new: Vec<f64> = places.iter().filter(|p| p.0 % parts != 0).map(|p| p.1).collect();
            let seen = |u: &&f64| {
                let cut = fine.cut(**u, 0.0, band, 0.2 * fine.pitch).ok().flatten();
                cut.is_some_and(|c| c.contrast > CONTRAST_SHARE * usual)
            };
            let share = new.iter().filter(seen).count() as f64 / new.len().max(1) as f64;
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

    /// Looks for the mark `index` near (u, base v). `Err` when that lies outside the picture.
    fn look(&self, index: i32, u: f64, v: f64, share: f64, contrast_min: f32) -> Result<Option<Mark>, ()> {
        let band = (0.2 * self.short, 0.8 * self.short);
        let Some(cut) = self.cut(u, v, band, share * self.pitch)? else { return Ok(None) };
        if cut.contrast < contrast_min {
            return Ok(None);
        }
        let u = u + cut.offset;
        let (base, free) = self.ends(u, v, &cut);
        Ok(Some(Mark { index, u, contrast: cut.contrast, width_px: cut.width, base_v: base, length_px: free - v }))
    }

    /// Profile along the ruler averaged over a band of heights above the base, and the dark mark nearest the middle.
    fn cut(&self, u: f64, v: f64, band: (f64, f64), reach: f64) -> Result<Option<Cut>, ()> {
        let step = (self.pitch / 36.0).max(0.5);
        let half = (0.62 * self.pitch / step).ceil() as i32;
        let rows = ((band.1 - band.0).floor() as usize).clamp(1, 14);
        let mut profile = vec![0.0f32; (2 * half + 1) as usize];
        let lean = self.lean.at(u);
        for row in 0..rows {
            let h = band.0 + (band.1 - band.0) * (row as f64 + 0.5) / rows as f64;
            for (k, p) in profile.iter_mut().enumerate() {
                let (x, y) = self.frame.point(u + lean * h + (k as i32 - half) as f64 * step, v + h);
                *p += self.ink.at(x, y).ok_or(())? / rows as f32;
            }
        }
        Ok(dark_mark(&profile, half as usize, step, reach))
    }

    /// Where the ink of the mark at `u` begins and ends across the ruler: on each side the height up to which the
    /// summed contrast, less half the usual one, is greatest (Page 1954), so that a scratch does not end a mark and a
    /// numeral beyond a gap does not lengthen it.
    fn ends(&self, u: f64, v: f64, cut: &Cut) -> (f64, f64) {
        let lean = self.lean.at(u);
        let wing = (self.pitch / 2.0).min((1.2 * cut.width).max(2.0));
        let core = cut.width * 0.2;
        let usual = cut.contrast as f64;
        let depth = |h: f64| -> f64 {
            let sample = |du: f64| {
                let (x, y) = self.frame.point(u + lean * h + du, v + h);
                self.ink.at(x, y).map(|v| v as f64)
            };
            let (Some(a), Some(b), Some(c), Some(l), Some(r)) =
                (sample(-core), sample(0.0), sample(core), sample(-wing), sample(wing))
            else {
                return -0.5;
            };
            (((l + r) / 2.0 - (a + b + c) / 3.0) / usual).clamp(0.0, 1.0) - 0.5
        };
        let step = (self.pitch / 40.0).max(0.5);
        let give_up = -(0.35 * self.pitch).max(2.5) / step * 0.5;
        let trace = |direction: f64, reach: f64| {
            let (mut sum, mut best, mut end, mut h) = (0.0, 0.0, 0.5 * self.short, 0.5 * self.short);
            while (h - 0.5 * self.short).abs() < reach && sum - best > give_up {
                h += step * direction;
                sum += depth(h);
                if sum >= best {
                    (best, end) = (sum, h + 0.5 * step * direction);
                }
            }
            end
        };
        (v + trace(-1.0, self.short + 2.0 * self.pitch), v + trace(1.0, 12.0 * self.pitch))
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
            match self.look(index, u, v, share, contrast * CONTRAST_SHARE) {
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
            let mut again = Vec::new();
            for index in from..=to {
                let u = fit.at(index as f64);
                self.pitch = fit.step(index as f64).abs();
                let look = self.look(index, u, base.at(u), SEARCH_PITCHES, contrast * CONTRAST_SHARE * 0.7);
                if let Ok(Some(mark)) = look {
                    again.push(mark);
                }
            }
            self.marks = again;
        }
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
    /// fabric beyond the ruler's end.
    fn drop_doubtful(&mut self, fit: &IndexFit, base: &Curve) {
        let spread = fit.rms.max(0.02);
        let width = quantile(self.marks.iter().map(|m| m.width_px), 0.5).unwrap_or(1.0);
        let ragged = (4.0 * base.rms).max(0.25 * self.pitch).max(1.5);
        self.marks.retain(|m| {
            (m.u - fit.at(m.index as f64)).abs() <= 5.0 * spread
                && (0.4 * width..=2.2 * width).contains(&m.width_px)
                && (m.base_v - base.at(m.u)).abs() <= ragged
        });
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
        let leans: Vec<(f64, f64)> = self
            .marks
            .iter()
            .filter(|m| m.length_px >= long && m.length_px > 6.0)
            .filter_map(|m| {
                let l = m.length_px;
                let v = base.at(m.u);
                let low = self.cut(m.u, v, (0.1 * l, 0.45 * l), 0.25 * self.pitch).ok()??;
                let high = self.cut(m.u, v, (0.55 * l, 0.9 * l), 0.25 * self.pitch).ok()??;
                Some((m.u, self.lean.at(m.u) + (high.offset - low.offset) / (0.45 * l)))
            })
            .collect();
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

/// The dark mark nearest the middle of a profile: its centre is half way between its flanks at half depth.
fn dark_mark(profile: &[f32], middle: usize, step: f64, reach: f64) -> Option<Cut> {
    let reach = (reach / step).round() as usize;
    let window = middle.saturating_sub(reach)..=(middle + reach).min(profile.len() - 1);
    let low = window.min_by(|&a, &b| profile[a].total_cmp(&profile[b]))?;
    if low == 0 || low + 1 == profile.len() || profile[low] > profile[low - 1] || profile[low] > profile[low + 1] {
        return None;
    }
    let left = profile[..low].iter().copied().fold(f32::MIN, f32::max);
    let right = profile[low + 1..].iter().copied().fold(f32::MIN, f32::max);
    let contrast = left.min(right) - profile[low];
    if contrast <= 0.0 {
        return None;
    }
    let level = profile[low] + contrast / 2.0;
    let l = (0..low).rev().find(|&k| profile[k] >= level)?;
    let r = (low + 1..profile.len()).find(|&k| profile[k] >= level)?;
    let cross = |outer: usize, inner: usize| {
        let t = (level - profile[inner]) / (profile[outer] - profile[inner]).max(1e-9);
        inner as f64 + t as f64 * (outer as f64 - inner as f64)
    };
    let (a, b) = (cross(l, l + 1), cross(r, r - 1));
    Some(Cut { offset: ((a + b) / 2.0 - middle as f64) * step, contrast, width: (b - a) * step })
}
