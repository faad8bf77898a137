//! Which squares carry a diamond, and which part of the card that makes it.

use super::Corner;
use super::view::CardView;
use crate::card;
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use std::collections::BTreeMap;

/// Share of a square's contrast from which its middle counts as a diamond. Blur takes contrast from a small diamond and
/// gives none to a plain square.
const DIAMOND_SHARE: f64 = 0.35;

/// Fewest squares that say which card it is: those around 3 × 3 corners, with two lost.
const LEAST_CELLS: usize = 14;

/// One in how many of the squares beyond the first dozen may be misread, at an edge of what covers the card for instance.
/// By chance so few are misread once in 50 times for 18 squares and hardly ever for more, over all placements (derived
/// from the binomial law).
const MISREAD: usize = 6;
const FIRST_CELLS: usize = 12;

/// Share of the typical contrast below which a square is not believed.
const FAINT_SHARE: f64 = 0.15;

/// One square that was seen.
struct Cell {
    dark: bool,
    diamond: bool,
}

/// Squares by their numbers on the linked grid.
pub(super) struct Cells(BTreeMap<(i32, i32), Cell>);

impl Cells {
    /// The squares around the linked corners.
    pub fn seen(photo: &Photo, view: &CardView, linked: &[Corner]) -> Self {
        let around = linked.iter().flat_map(|c| [(-1, -1), (0, -1), (-1, 0), (0, 0)].map(|(a, b)| (c.0 + a, c.1 + b)));
        let tones: BTreeMap<(i32, i32), (f64, f64)> =
            around.filter_map(|cell| Some((cell, tones(photo, view, cell)?))).collect();
        let contrast = |(i, j): (i32, i32)| {
            let own = tones.get(&(i, j))?.0;
            let near = [(1, 0), (-1, 0), (0, 1), (0, -1)].into_iter().filter_map(|(a, b)| tones.get(&(i + a, j + b)));
            let (n, sum) = near.fold((0.0, 0.0), |(n, sum), t| (n + 1.0, sum + t.0));
            (n > 1.0).then(|| sum / n - own)
        };
        let contrasts: BTreeMap<(i32, i32), f64> =
            tones.keys().filter_map(|cell| Some((*cell, contrast(*cell)?))).collect();
        let mut sizes: Vec<f64> = contrasts.values().map(|c| c.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let typical = sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
        let cell = |(at, contrast): (&(i32, i32), &f64)| {
            let (own, middle) = tones[at];
            let share = (middle - own) / contrast;
            (contrast.abs() > FAINT_SHARE * typical && (-0.6..1.6).contains(&share))
                .then(|| (*at, Cell { dark: *contrast > 0.0, diamond: share > DIAMOND_SHARE }))
        };
        Self(contrasts.iter().filter_map(cell).collect())
    }
}

/// How the linked grid's numbers become the card's: so many quarter turns, then a move.
pub(super) struct Placement {
    turns: u32,
    by: (i32, i32),
}

impl Placement {
    /// The one placement in which the squares are the card's; `None` when there is none, or more than one.
    pub fn of(cells: &Cells) -> Option<Self> {
        let n = cells.0.len();
        if n < LEAST_CELLS {
            return None;
        }
        let mut tried: Vec<(usize, Self)> = Vec::new();
        for turns in 0..4 {
            let turned: Vec<((i32, i32), &Cell)> =
                cells.0.iter().map(|(at, cell)| (turned_cell(*at, turns), cell)).collect();
            let low = |of: fn(&(i32, i32)) -> i32| turned.iter().map(|(at, _)| of(at)).min();
            let high = |of: fn(&(i32, i32)) -> i32| turned.iter().map(|(at, _)| of(at)).max();
            let (left, right, top, bottom) = (low(|a| a.0)?, high(|a| a.0)?, low(|a| a.1)?, high(|a| a.1)?);
            // A square or two of the grid may be something else: the card may reach that far beyond its own end.
            for y in -1 - top..=card::ROWS - bottom {
                for x in -1 - left..=card::COLUMNS - right {
                    tried.push((misread(&turned, (x, y)), Self { turns, by: (x, y) }));
                }
            }
        }
        tried.sort_by_key(|t| t.0);
        let next = tried.get(1).map_or(n, |t| t.0);
        let (wrong, best) = tried.into_iter().next()?;
        (wrong * MISREAD <= n - FIRST_CELLS && next >= wrong + 2 + n / 32).then_some(best)
    }

    /// The card's number of a corner.
    pub fn corner(&self, i: i32, j: i32) -> (i32, i32) {
        let (mut x, mut y) = (i, j);
        for _ in 0..self.turns {
            (x, y) = (y, -x);
        }
        (x + self.by.0, y + self.by.1)
    }
}

fn turned_cell((i, j): (i32, i32), turns: u32) -> (i32, i32) {
    let (mut x, mut y) = (i, j);
    for _ in 0..turns {
        (x, y) = (y, -x - 1);
    }
    (x, y)
}

/// How many squares are not as the card has them there.
fn misread(cells: &[((i32, i32), &Cell)], by: (i32, i32)) -> usize {
    let wrong = |((x, y), cell): &&((i32, i32), &Cell)| {
        let (column, row) = (x + by.0, y + by.1);
        card::has_diamond(column, row)
            .is_none_or(|diamond| diamond != cell.diamond || card::is_dark(column, row) != cell.dark)
    };
    cells.iter().filter(wrong).count()
}

/// Mean tone of a square outside its diamond, and in its middle.
fn tones(photo: &Photo, view: &CardView, (i, j): (i32, i32)) -> Option<(f64, f64)> {
    const OUTER: [(f64, f64); 8] =
        [(-0.3, -0.3), (0.3, -0.3), (0.3, 0.3), (-0.3, 0.3), (-0.34, 0.0), (0.34, 0.0), (0.0, -0.34), (0.0, 0.34)];
    const MIDDLE: [(f64, f64); 5] = [(0.0, 0.0), (0.05, 0.0), (-0.05, 0.0), (0.0, 0.05), (0.0, -0.05)];
    let (u, v) = (f64::from(i) + 0.5, f64::from(j) + 0.5);
    let mean = |places: &[(f64, f64)]| {
        let sum: Option<f64> = places.iter().map(|(a, b)| tone(photo, view.at(u + a, v + b)?)).sum();
        sum.map(|s| s / places.len() as f64)
    };
    Some((mean(&OUTER)?, mean(&MIDDLE)?))
}

/// Where a corner's squares are looked at, in sides of a square from the corner, mirrored into each: near it, along both
/// edges, and as far as its window reaches. Something that lies on the card leaves no such cross of tones.
const ABOUT: [(f64, f64); 5] = [(0.14, 0.14), (0.3, 0.12), (0.12, 0.3), (0.24, 0.24), (0.34, 0.34)];

/// By how much the lightest place on dark squares about a corner of the card is darker than the darkest place on light
/// ones, in sRGB codes; `None` where it is not, or outside the photo.
pub(super) fn corner_contrast(photo: &Photo, view: &CardView, i: i32, j: i32) -> Option<f64> {
    let (u, v) = (f64::from(i), f64::from(j));
    let (mut light, mut dark) = (f64::INFINITY, f64::NEG_INFINITY);
    for (a, b) in [(0, 0), (-1, 0), (0, -1), (-1, -1)] {
        let (x, y) = (f64::from(2 * a + 1), f64::from(2 * b + 1));
        for (du, dv) in ABOUT {
            let seen = tone(photo, view.at(u + du * x, v + dv * y)?)?;
            if card::is_dark(i + a, j + b) {
                dark = dark.max(seen);
            } else {
                light = light.min(seen);
            }
        }
    }
    (light > dark).then_some(light - dark)
}

/// Brightness at a place, in sRGB codes between pixels' centres; `None` outside the photo.
fn tone(photo: &Photo, p: PhotoPoint) -> Option<f64> {
    let (x, y) = (p.x - 0.5, p.y - 0.5);
    let inside = x >= 0.0 && y >= 0.0 && x < f64::from(photo.width()) - 1.0 && y < f64::from(photo.height()) - 1.0;
    if !inside {
        return None;
    }
    let (ix, iy) = (x as u32, y as u32);
    let (fx, fy) = (x - f64::from(ix), y - f64::from(iy));
    let at = |dx: u32, dy: u32| {
        let p = photo.rgb.get_pixel(ix + dx, iy + dy).0;
        (f64::from(p[0]) + 2.0 * f64::from(p[1]) + f64::from(p[2])) / 4.0
    };
    Some((at(0, 0) * (1.0 - fx) + at(1, 0) * fx) * (1.0 - fy) + (at(0, 1) * (1.0 - fx) + at(1, 1) * fx) * fy)
}
