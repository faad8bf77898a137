//! What the ruler lies on, fabric or table, and what it seems to be made of.

use super::alike::FabricLook;
use super::ruler_gap;
use crate::gauge::{RulerMake, RulerOn};
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use crate::ruler::RulerReading;

/// How far outside the ruler's long sides its surroundings are looked at, in stitch widths: past its shadow, and past an
/// outline that was drawn a little too narrow.
pub(super) const OUTSIDE_STITCHES: [f64; 3] = [1.0, 1.75, 2.5];

/// Fabric that looks alike this near to a ruler may run up to it, in stitch widths: the square that is looked at then begins at
/// the ruler's edge, or, of a thick ruler, where its shadow ends.
const TOUCHING_STITCHES: [f64; 2] = [0.8, 1.0];

/// Places along the ruler at which both sides are looked at.
const PLACES: usize = 40;

/// Fewest of them with fabric on a side for a verdict.
const FEWEST: usize = 6;

/// Of the places with fabric on either side, the share that has it on both: more than the first is a ruler on the fabric,
/// less than the second one beside it (measured on rendered photos: above 0.6 and below 0.15 for nine in ten).
const BOTH_SIDES: (f64, f64) = (0.5, 0.2);

/// What a ruler lies on, `None` where that can't be told.
///
/// Fabric under a ruler shows on both sides of it at the same place along it; beside a swatch only one side has fabric, and
/// a gap before it, wide or just seen. Without a gap the ruler may lie with one edge on the swatch: that is left open.
pub(super) fn ruler_lies_on(photo: &Photo, look: &FabricLook, outline: &[PhotoPoint]) -> Option<RulerOn> {
    let body = RulerBand::of(outline)?;
    seen_on_its_sides(look, &body).or_else(|| {
        let gap = ruler_gap::table_shows(photo, &body, look.stitch_px, &|at| look.alike(at));
        gap.then_some(RulerOn::Table)
    })
}

/// What fabric on both sides, on one or on neither tells of the ruler's place; `None` where too little is seen beside it, or
/// fabric runs up to it on one side.
fn seen_on_its_sides(look: &FabricLook, body: &RulerBand) -> Option<RulerOn> {
    // Places with fabric on either side, on both; those where only one side is in the picture; and of both kinds with fabric on one
    // side those where it runs up to the ruler.
    let (mut either, mut both, mut half_seen, mut seen, mut touching) = (0usize, 0usize, 0usize, 0usize, 0usize);
    for k in 0..PLACES {
        let along = (k as f64 + 0.5) / PLACES as f64;
        let alike = |side: f64, away: f64| look.alike(body.beside(along, side, away * look.stitch_px));
        let sides = [-1.0, 1.0].map(|side| {
            let looks = OUTSIDE_STITCHES.map(|away| alike(side, away));
            looks.contains(&Some(true)).then_some(true).or(looks.into_iter().flatten().next())
        });
        seen += usize::from(sides.iter().any(Option::is_some));
        match sides {
            [Some(a), Some(b)] => {
                either += usize::from(a || b);
                both += usize::from(a && b);
            }
            [Some(one), None] | [None, Some(one)] => half_seen += usize::from(one),
            [None, None] => {}
        }
        let on_one_side = match sides {
            [Some(true), None | Some(false)] => Some(-1.0),
            [None | Some(false), Some(true)] => Some(1.0),
            _ => None,
        };
        let runs_up = |side| TOUCHING_STITCHES.into_iter().any(|away| alike(side, away) == Some(true));
        touching += usize::from(on_one_side.is_some_and(runs_up));
    }
    let share = both as f64 / either.max(1) as f64;
    if seen < FEWEST {
        None
    } else if either + half_seen < FEWEST {
        Some(RulerOn::Table)
    } else if either >= FEWEST && share > BOTH_SIDES.0 {
        Some(RulerOn::Fabric)
    } else {
        // Where the other side is out of the picture, fabric that keeps away from the ruler tells as much.
        let beside = (either < FEWEST || share < BOTH_SIDES.1) && 2 * touching < either + half_seen;
        beside.then_some(RulerOn::Table)
    }
}

/// A ruler's outline as a band along the direction in which it is longest.
pub(super) struct RulerBand {
    middle: PhotoPoint,
    /// Unit vector along the ruler.
    along: (f64, f64),
    /// From the middle to both ends, in px.
    reach: (f64, f64),
    /// From the middle to both long sides, at most, in px.
    across: (f64, f64),
    /// Outline points as (along, across) from the middle.
    rim: Vec<(f64, f64)>,
}

impl RulerBand {
    /// `None` for an outline without extent.
    pub fn of(outline: &[PhotoPoint]) -> Option<Self> {
        let n = outline.len() as f64;
        let (a, b) = outline.iter().enumerate().fold(None, |far: Option<(PhotoPoint, PhotoPoint)>, (i, p)| {
            outline[..i].iter().fold(far, |far, q| match far {
                Some((a, b)) if a.distance(b) >= p.distance(*q) => Some((a, b)),
                _ => Some((*q, *p)),
            })
        })?;
        let length = a.distance(b);
        if length <= 0.0 {
            return None;
        }
        // The longest distance is a diagonal: the long side whose direction is nearest to it is the ruler's.
        let side = sides(outline).filter(|(p, q)| p.distance(*q) > 0.0).max_by(|s, t| {
            let straight = |(p, q): &(PhotoPoint, PhotoPoint)| {
                ((q.x - p.x) * (b.x - a.x) + (q.y - p.y) * (b.y - a.y)).abs() / p.distance(*q)
            };
            straight(s).total_cmp(&straight(t))
        })?;
        let own = side.0.distance(side.1);
        let along = ((side.1.x - side.0.x) / own, (side.1.y - side.0.y) / own);
        let middle =
            PhotoPoint::new(outline.iter().map(|p| p.x).sum::<f64>() / n, outline.iter().map(|p| p.y).sum::<f64>() / n);
        let rim: Vec<(f64, f64)> = outline
            .iter()
            .map(|p| (p.x - middle.x, p.y - middle.y))
            .map(|(x, y)| (x * along.0 + y * along.1, y * along.0 - x * along.1))
            .collect();
        let range = |of: &dyn Fn(&(f64, f64)) -> f64| {
            rim.iter().map(of).fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)))
        };
        let (reach, across) = (range(&|p| p.0), range(&|p| p.1));
        Some(Self { middle, along, reach, across, rim })
    }

    /// Its length, in px.
    pub fn length_px(&self) -> f64 {
        self.reach.1 - self.reach.0
    }

    /// Whether a place lies on the ruler or in line with it, beyond its ends.
    pub fn in_line(&self, at: PhotoPoint) -> bool {
        let v = (at.y - self.middle.y) * self.along.0 - (at.x - self.middle.x) * self.along.1;
        (self.across.0..=self.across.1).contains(&v)
    }

    /// Places all over it.
    pub fn places(&self) -> impl Iterator<Item = PhotoPoint> + '_ {
        const ACROSS: [f64; 3] = [0.25, 0.5, 0.75];
        let width = self.across.1 - self.across.0;
        (0..PLACES)
            .flat_map(move |k| ACROSS.map(|share| self.beside((k as f64 + 0.5) / PLACES as f64, 1.0, -share * width)))
    }

    /// The place `px` outside one long side (−1 or 1) at a share of the ruler's length.
    pub fn beside(&self, share: f64, side: f64, px: f64) -> PhotoPoint {
        let u = self.reach.0 + share * (self.reach.1 - self.reach.0);
        let crossings = self.rim.iter().zip(self.rim.iter().cycle().skip(1)).filter_map(|(p, q)| {
            let t = (u - p.0) / (q.0 - p.0);
            (0.0..=1.0).contains(&t).then_some(p.1 + t * (q.1 - p.1))
        });
        let edge = crossings.map(|v| v * side).fold(0.0, f64::max);
        let (u, v) = (u, side * (edge + px));
        self.middle.moved(u * self.along.0 - v * self.along.1, u * self.along.1 + v * self.along.0)
    }
}

fn sides(outline: &[PhotoPoint]) -> impl Iterator<Item = (PhotoPoint, PhotoPoint)> {
    outline.iter().copied().zip(outline.iter().copied().cycle().skip(1))
}

/// What the ruler seems to be made of, from the colour between its marks and from its width.
///
/// Wood is orange to brown: light reflected by lignin falls steadily from red to blue, by a factor of three to ten. Tapes
/// are often of a yellow that reflects a tenth or less of the blue, less strong where light or time bleached it. Grey, white and
/// black can be anything stiff (common practice, no source; measured on rendered rulers: wood 2.9 to 9.7, yellow tapes 3.1 and
/// more, mostly above 10, others mostly below 2). Tapes and folding rules are 15 to 20 mm wide, rulers 25 and more (common
/// practice, no source; measured where both edges were read: 17 to 24.5 mm, and 25 or more but for steel).
pub(super) fn seems_made_of(photo: &Photo, reading: &RulerReading) -> RulerMake {
    const WOOD: f64 = 2.8;
    const YELLOW_TAPE: f64 = 11.0;
    const NARROW_MM: f64 = 24.5;
    match red_over_blue(photo, reading) {
        Some(ratio) if ratio > YELLOW_TAPE => RulerMake::Tape,
        Some(ratio) if ratio > WOOD && width_mm(reading).is_some_and(|w| w < NARROW_MM) => RulerMake::NarrowWood,
        Some(ratio) if ratio > WOOD => RulerMake::Wood,
        _ => RulerMake::Stiff,
    }
}

/// Width of a ruler both edges of which were read, in mm.
fn width_mm(reading: &RulerReading) -> Option<f64> {
    let [train, _] = &reading.trains[..] else { return None };
    let (first, last) = (train.marks.first()?, train.marks.last()?);
    let body = RulerBand::of(&reading.outline_px)?;
    Some((body.across.1 - body.across.0) * train.length_mm() / first.at.distance(last.at))
}

/// Red over blue in linear light of the ruler's body: the median of places between neighbouring marks.
fn red_over_blue(photo: &Photo, reading: &RulerReading) -> Option<f64> {
    /// Depths at which the body is looked at, in mm from the base line.
    const DEPTHS_MM: [f64; 4] = [1.0, 2.5, 4.0, 6.0];
    const FEWEST_PLACES: usize = 12;
    let train = reading.trains.first()?;
    let mut seen: Vec<[u8; 3]> = Vec::new();
    for pair in train.marks.windows(2) {
        let gap_mm = f64::from(pair[1].index - pair[0].index).abs() * train.pitch_mm;
        let px_per_mm = pair[0].at.distance(pair[1].at) / gap_mm.max(1e-9);
        let between = PhotoPoint::new((pair[0].at.x + pair[1].at.x) / 2.0, (pair[0].at.y + pair[1].at.y) / 2.0);
        for depth in DEPTHS_MM {
            let px = depth * px_per_mm;
            let at = between.moved(px * train.mark_direction.0, px * train.mark_direction.1);
            seen.extend(photo.pixel(at));
        }
    }
    if seen.len() < FEWEST_PLACES {
        return None;
    }
    let median = |channel: usize| {
        let mut values: Vec<u8> = seen.iter().map(|p| p[channel]).collect();
        values.sort_unstable();
        f64::from(values[values.len() / 2])
    };
    // sRGB is near a power of 2.2; half a level keeps black from dividing by nothing.
    Some(((median(0) + 0.5) / (median(2) + 0.5)).powf(2.2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fabric;

    #[test]
    fn places_in_line_with_a_ruler() {
        let corner = PhotoPoint::new;
        let outline = [corner(100.0, 200.0), corner(900.0, 240.0), corner(895.0, 340.0), corner(95.0, 300.0)];
        let body = RulerBand::of(&outline).unwrap();
        assert!(body.places().all(|at| fabric::inside(&outline, at)));
        // Its middle line rises by a twentieth: 270 at 497.5.
        assert!(body.in_line(corner(1497.5, 320.0)) && body.in_line(corner(497.5, 270.0)));
        assert!(!body.in_line(corner(1497.5, 420.0)) && !body.in_line(corner(1497.5, 220.0)));
    }

    #[test]
    fn places_beside_a_ruler_lie_outside_it() {
        let corner = PhotoPoint::new;
        let outline = [corner(100.0, 200.0), corner(900.0, 240.0), corner(895.0, 340.0), corner(95.0, 300.0)];
        let body = RulerBand::of(&outline).unwrap();
        for k in 0..8 {
            for side in [-1.0, 1.0] {
                let at = body.beside((f64::from(k) + 0.5) / 8.0, side, 10.0);
                assert!(!fabric::inside(&outline, at));
                let inwards = body.beside((f64::from(k) + 0.5) / 8.0, side, -10.0);
                assert!(fabric::inside(&outline, inwards));
            }
        }
    }
}
