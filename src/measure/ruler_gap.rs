//! Whether the table shows between a ruler and the fabric next to it.
//!
//! A ruler with fabric along one side only lies beside the swatch or on its edge, and which of these decides how high it
//! stands. Beside it a sliver of table is left nearly everywhere: a swatch's edge is neither straight nor parallel to a
//! ruler. The sliver is found by comparison: beyond the swatch's ends the same side of the ruler lies against the
//! table, with the same light and the same shadow, and shows where the ruler ends and how the table looks at each
//! distance from it. On the edge of the fabric there is nothing of that kind.

use super::under_ruler::{OUTSIDE_STITCHES, RulerBand};
use crate::lattice::median;
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use std::sync::LazyLock;

/// Places along the ruler.
const PLACES: usize = 60;

/// Distance of neighbouring strips from one another, in stitch widths.
const STEP: f64 = 0.1;

/// Distances from the ruler's edge of the first and last strip, in stitch widths: inside the ruler, as outlines are a stitch wrong at
/// times, to two and a half stitches into what lies beside it.
const FIRST: f64 = -1.5;
const LAST: f64 = 3.2;

/// From here outwards a place shows nothing but what lies beside the ruler, in stitch widths: gaps of more than a stitch are
/// found without this.
const CLEAR: f64 = 1.2;

/// Where the way towards the ruler begins, in stitch widths.
const START: f64 = 1.5;

/// Half the length of a strip along the ruler, in stitch widths, and the pixels looked at in it: stitches and marks fall out.
const HALF_LENGTH: f64 = 0.75;
const SAMPLES: usize = 11;

/// A strip belongs no more to what lies outside when it differs by so many deviations, and deviations count at least so
/// much (logarithm of light: the grain of paper and plastic, JPEG's blocks).
const DEVIATIONS: f64 = 3.0;
const LEAST_DEVIATION: f64 = 0.08;

/// Narrowest gap that counts, in stitch widths: three strips.
const NARROWEST: f64 = 0.3;

/// Share of the places with fabric at which the table must show (measured on drawn photos of five renderers, pattern said: of 34 rulers
/// beside a swatch that touch it 28 show more than this; of 84 sides of rulers on fabric one does, of striped fabric).
const SHARE: f64 = 0.3;

/// Fewest places with fabric, and with table.
const FEWEST: (usize, usize) = (6, 5);

/// Fewest places at one end of the fabric for its own place of the ruler's edge.
const FEWEST_AT_AN_END: usize = 3;

type Level = [f64; 3];

/// How it looks beside one place of the ruler, strip by strip outwards.
struct BesideRuler {
    /// Number of the place along the ruler.
    along: f64,
    fabric: bool,
    strips: Vec<Level>,
    /// Where what lies outside begins, as a number of a strip.
    edge: usize,
}

/// Whether the table shows between the ruler and the fabric on either side; `is_fabric` tells whether a place looks like the fabric.
pub(super) fn table_shows(
    photo: &Photo,
    body: &RulerBand,
    stitch_px: f64,
    is_fabric: &dyn Fn(PhotoPoint) -> Option<bool>,
) -> bool {
    [-1.0, 1.0].into_iter().any(|side| {
        let places: Vec<BesideRuler> =
            (0..PLACES).filter_map(|k| place(photo, body, stitch_px, side, k, is_fabric)).collect();
        shows_along(&places)
    })
}

/// One place with the strips beside it; `None` where it is neither surely fabric nor surely something else, at the
/// picture's edge, and where no edge is found.
fn place(
    photo: &Photo,
    body: &RulerBand,
    stitch_px: f64,
    side: f64,
    k: usize,
    is_fabric: &dyn Fn(PhotoPoint) -> Option<bool>,
) -> Option<BesideRuler> {
    let share = |along: f64| (along + 0.5) / PLACES as f64;
    let seen = OUTSIDE_STITCHES.map(|away| is_fabric(body.beside(share(k as f64), side, away * stitch_px)));
    let fabric = match seen {
        [_, Some(true), Some(true)] => true,
        [Some(false), Some(false), Some(false)] => false,
        _ => return None,
    };
    let place_stitches = body.length_px() / stitch_px / PLACES as f64;
    let count = ((LAST - FIRST) / STEP).round() as usize + 1;
    let strips: Vec<Level> = (0..count)
        .map(|i| {
            let away = (FIRST + i as f64 * STEP) * stitch_px;
            let samples = (0..SAMPLES).map(|s| {
                let off = HALF_LENGTH * (2.0 * s as f64 / (SAMPLES - 1) as f64 - 1.0);
                level(photo, body.beside(share(k as f64 + off / place_stitches), side, away))
            });
            let sum = samples.collect::<Option<Vec<Level>>>()?;
            Some(std::array::from_fn(|c| sum.iter().map(|l| l[c]).sum::<f64>() / SAMPLES as f64))
        })
        .collect::<Option<_>>()?;
    let edge = edge(&strips)?;
    Some(BesideRuler { along: k as f64, fabric, strips, edge })
}

/// Logarithms of red, green and blue, eight levels added so that noise in the dark counts little.
fn level(photo: &Photo, at: PhotoPoint) -> Option<Level> {
    static LOGARITHMS: LazyLock<[f64; 256]> = LazyLock::new(|| std::array::from_fn(|v| (v as f64 + 8.0).ln()));
    photo.pixel(at).map(|rgb| rgb.map(|v| LOGARITHMS[usize::from(v)]))
}

/// From outside towards the ruler: the last strip that still belongs to what lies outside.
fn edge(strips: &[Level]) -> Option<usize> {
    let outside = Usual::of(strips[strip_at(CLEAR)..].iter().copied());
    let other: Vec<bool> = strips.iter().map(|s| outside.differs(s)).collect();
    let start = strip_at(START);
    // Two strips in a row, so that one dark valley between stitches is no edge.
    if other[start] && other[start - 1] {
        return None;
    }
    (1..=start).rev().find(|i| other[*i] && other[i - 1]).map(|i| i + 1)
}

fn strip_at(distance: f64) -> usize {
    ((distance - FIRST) / STEP).round() as usize
}

/// Whether the table shows at enough of the places with fabric along one side.
fn shows_along(places: &[BesideRuler]) -> bool {
    let (fabric, table): (Vec<&BesideRuler>, Vec<&BesideRuler>) = places.iter().partition(|p| p.fabric);
    if fabric.len() < FEWEST.0 || table.len() < FEWEST.1 {
        return false;
    }
    let ruler = RulerEdge::of(&fabric, &table);
    // The table's usual look at each distance from where the ruler ends.
    let deep = strip_at(CLEAR + 0.3) - strip_at(0.0);
    let table_at: Vec<Usual> = (0..deep)
        .map(|i| Usual::of(table.iter().filter_map(|p| p.strips.get(ruler.strip(p.along) + i).copied())))
        .collect();
    let gaps = fabric.iter().filter(|p| {
        let first = ruler.strip(p.along);
        let gap = p.edge.saturating_sub(first);
        if (gap as f64) * STEP < NARROWEST - 1e-9 {
            return false;
        }
        // The strip at the fabric's edge is half fabric.
        let strips = p.strips[first..p.edge - 1].iter().zip(&table_at);
        let alike = strips.clone().filter(|(strip, table)| !table.differs(strip)).count();
        2 * alike > strips.len()
    });
    gaps.count() as f64 > SHARE * fabric.len() as f64
}

/// Where the ruler ends, as told by the places against the table.
struct RulerEdge {
    /// Place along the ruler and strip, at one end of the fabric and at the other.
    ends: [(f64, f64); 2],
}

impl RulerEdge {
    fn of(fabric: &[&BesideRuler], table: &[&BesideRuler]) -> Self {
        let first = fabric.iter().map(|p| p.along).fold(f64::MAX, f64::min);
        let last = fabric.iter().map(|p| p.along).fold(f64::MIN, f64::max);
        let typical = |chosen: &dyn Fn(f64) -> bool| {
            let (along, edge): (Vec<f64>, Vec<f64>) =
                table.iter().filter(|p| chosen(p.along)).map(|p| (p.along, p.edge as f64)).unzip();
            (along.len(), (median(along), median(edge)))
        };
        let (before, after) = (typical(&|a| a < first), typical(&|a| a > last));
        if before.0.min(after.0) >= FEWEST_AT_AN_END {
            return Self { ends: [before.1, after.1] };
        }
        let level = typical(&|_| true).1.1;
        Self { ends: [(0.0, level), (1.0, level)] }
    }

    /// The first strip outside the ruler.
    fn strip(&self, along: f64) -> usize {
        let [(a, from), (b, to)] = self.ends;
        (from + (along - a) / (b - a) * (to - from)).round().max(0.0) as usize
    }
}

/// The usual level of several and how far they stray from it: medians, 1.4826 times the second (a normal sample's deviation).
struct Usual {
    middle: Level,
    deviation: Level,
}

impl Usual {
    fn of(levels: impl Iterator<Item = Level>) -> Self {
        let levels: Vec<Level> = levels.collect();
        let middle: Level = std::array::from_fn(|c| median(levels.iter().map(|l| l[c]).collect()));
        let deviation = std::array::from_fn(|c| {
            let away = median(levels.iter().map(|l| (l[c] - middle[c]).abs()).collect());
            (1.4826 * away).max(LEAST_DEVIATION)
        });
        Self { middle, deviation }
    }

    fn differs(&self, level: &Level) -> bool {
        (0..3).any(|c| (level[c] - self.middle[c]).abs() > DEVIATIONS * self.deviation[c])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgb, RgbImage};

    const STITCH_PX: f64 = 20.0;
    /// The ruler's lower edge, in px.
    const RULER_ENDS_AT: f64 = 300.0;

    /// A ruler across the picture, a swatch below it whose upper edge lies `gap_px(x)` from it, and the ruler's shadow.
    fn picture(gap_px: impl Fn(f64) -> f64) -> (Photo, RulerBand, impl Fn(PhotoPoint) -> Option<bool>) {
        let swatch = |x: f64, y: f64| (350.0..=850.0).contains(&x) && y > RULER_ENDS_AT;
        let mut rgb = RgbImage::new(1200, 800);
        for (x, y, pixel) in rgb.enumerate_pixels_mut() {
            let (u, v) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
            let grain = f64::from((x * 31 + y * 17) % 7);
            let light = if (RULER_ENDS_AT..RULER_ENDS_AT + 6.0).contains(&v) { 0.6 } else { 1.0 };
            let colour = if (200.0..RULER_ENDS_AT).contains(&v) && (100.0..1100.0).contains(&u) {
                let mark = v > 280.0 && x % 10 < 2;
                if mark { [40.0; 3] } else { [225.0, 224.0, 218.0] }
            } else if swatch(u, v) && v > RULER_ENDS_AT + gap_px(u) {
                let loops = 25.0 * (std::f64::consts::TAU * u / STITCH_PX).cos() + 15.0 * (v / 2.5).sin();
                [60.0 + loops, 110.0 + loops, 130.0 + loops]
            } else {
                [150.0 + grain, 120.0 + grain, 90.0 + grain]
            };
            *pixel = Rgb(colour.map(|c| (c * light) as u8));
        }
        let corner = PhotoPoint::new;
        let outline = [corner(100.0, 200.0), corner(1100.0, 200.0), corner(1100.0, 303.0), corner(100.0, 298.0)];
        let is_fabric = move |at: PhotoPoint| Some(swatch(at.x, at.y));
        (Photo { rgb, ..Photo::default() }, RulerBand::of(&outline).unwrap(), is_fabric)
    }

    fn shows(gap_px: impl Fn(f64) -> f64) -> bool {
        let (photo, body, is_fabric) = picture(gap_px);
        table_shows(&photo, &body, STITCH_PX, &is_fabric)
    }

    #[test]
    fn a_swatch_beside_the_ruler_leaves_the_table_in_sight() {
        assert!(shows(|_| 16.0));
        // Aslant: it touches the ruler at one corner.
        assert!(shows(|x| (x - 350.0) / 25.0));
    }

    #[test]
    fn a_swatch_under_the_ruler_does_not_and_its_shadow_is_no_table() {
        assert!(!shows(|_| -40.0));
        assert!(!shows(|_| 0.0));
    }
}
