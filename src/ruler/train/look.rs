//! Looking at one place along the edge: whether a mark is there, how deep, how wide, and from where to where it reaches.

use super::{Frame, Mark};
use crate::ruler::fit::Curve;
use crate::ruler::ink::Ink;

/// What a profile across a mark showed.
pub(super) struct Cut {
    /// Place of the mark's centre along the ruler from where it was looked for, px.
    pub offset: f64,
    /// Depth of the mark against its surroundings.
    pub contrast: f32,
    /// Full width at half depth, px.
    width: f64,
}

/// How marks are looked for: in which picture, along which edge, how far apart and how long they are.
#[derive(Clone, Copy)]
pub(super) struct Look<'a> {
    /// The picture.
    pub ink: &'a Ink<'a>,
    /// Axes along the edge.
    pub frame: Frame,
    /// Spacing of the marks, px.
    pub pitch: f64,
    /// Lean of the marks: px along per px across, against place along.
    pub lean: &'a Curve,
    /// Usual length of the short marks, px.
    pub short: f64,
}

impl Look<'_> {
    /// Looks for the mark `index` near (u, base v). `Err` when that lies outside the picture.
    pub fn mark(&self, index: i32, u: f64, v: f64, share: f64, contrast_min: f32) -> Result<Option<Mark>, ()> {
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
    pub fn cut(&self, u: f64, v: f64, band: (f64, f64), reach: f64) -> Result<Option<Cut>, ()> {
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
