//! What a ruler looks like: body, marks, numerals, wear.

use super::noise;
use super::numerals;
use super::scene::{Body, Ruler, RulerScale};
use crate::card;

/// Radius of an ID-1 card's corners, mm (ISO/IEC 7810, from memory).
const ID1_RADIUS_MM: f64 = 3.18;

/// One row of marks along an edge.
pub(super) struct Edge {
    /// `cm` or `inch`.
    pub unit: &'static str,
    /// Distance between neighbouring marks, mm.
    pub pitch_mm: f64,
    /// Whether the marks start at the far edge (v = width) instead of the near one (v = 0).
    pub far: bool,
    /// Marks to a number (10 for millimetres).
    pub per_number: u32,
    /// (every so many marks, length in mm), the longest first.
    levels: &'static [(u32, f32)],
}

/// Lengths of marks in mm: those of rulers at hand, rounded (common practice, no source).
const MM: &[(u32, f32)] = &[(10, 6.5), (5, 4.8), (1, 3.2)];
const HALF_MM: &[(u32, f32)] = &[(20, 6.5), (10, 5.2), (2, 4.0), (1, 2.5)];
const EIGHTHS: &[(u32, f32)] = &[(8, 9.0), (4, 6.5), (2, 4.8), (1, 3.4)];
const SIXTEENTHS: &[(u32, f32)] = &[(16, 9.0), (8, 6.8), (4, 5.2), (2, 3.8), (1, 2.6)];

/// Length of an inch, mm (exact by definition, 1959).
const INCH_MM: f64 = 25.4;

impl Ruler {
    /// The rows of marks it carries.
    pub(super) fn edges(&self) -> Vec<Edge> {
        let mm = |far| Edge { unit: "cm", pitch_mm: 1.0, far, per_number: 10, levels: MM };
        let sixteenths = |far| Edge { unit: "inch", pitch_mm: INCH_MM / 16.0, far, per_number: 16, levels: SIXTEENTHS };
        match self.scale {
            RulerScale::Unmarked | RulerScale::Card | RulerScale::Id1 => Vec::new(),
            RulerScale::Cm => vec![mm(false)],
            RulerScale::HalfMm => {
                vec![Edge { unit: "cm", pitch_mm: 0.5, far: false, per_number: 20, levels: HALF_MM }, mm(true)]
            }
            RulerScale::InchEighths => {
                vec![Edge { unit: "inch", pitch_mm: INCH_MM / 8.0, far: false, per_number: 8, levels: EIGHTHS }]
            }
            RulerScale::InchSixteenths => vec![sixteenths(false)],
            RulerScale::CmInch => vec![mm(false), sixteenths(true)],
        }
    }

    /// The last mark's index on an edge: the scale ends at least 2 mm before the body does.
    pub(super) fn last_mark(&self, edge: &Edge) -> u32 {
        ((self.length_mm - self.zero_mm - 2.0) / edge.pitch_mm).floor().max(0.0) as u32
    }

    /// The table point of a place on the ruler: `u` along the scale from the body's end, `v` across, mm.
    pub(super) fn on_table(&self, u: f64, v: f64) -> [f64; 2] {
        let (sin, cos) = self.angle_deg.to_radians().sin_cos();
        let (a, b) = (u - self.length_mm / 2.0, v - self.width_mm / 2.0);
        [self.centre_mm[0] + a * cos - b * sin, self.centre_mm[1] + a * sin + b * cos]
    }
}

/// A ruler ready to be looked at.
pub(super) struct RulerFace<'a> {
    pub ruler: &'a Ruler,
    edges: Vec<(Edge, u32)>,
    sin: f64,
    cos: f64,
    salt: u32,
}

/// Light that the face sends back, and how much of what lies beneath shows through.
pub(super) struct Face {
    pub colour: [f32; 3],
    pub cover: f32,
}

impl<'a> RulerFace<'a> {
    pub fn new(ruler: &'a Ruler, seed: u64) -> Self {
        let (sin, cos) = ruler.angle_deg.to_radians().sin_cos();
        let edges = ruler
            .edges()
            .into_iter()
            .map(|edge| {
                let last = ruler.last_mark(&edge);
                (edge, last)
            })
            .collect();
        Self { ruler, edges, sin, cos, salt: seed as u32 ^ 0x51ED }
    }

    /// Place on the ruler of a table point: along from its end, across from its near edge, mm.
    pub fn place(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let (dx, dy) = (x - self.ruler.centre_mm[0], y - self.ruler.centre_mm[1]);
        [
            dx * self.cos + dy * self.sin + self.ruler.length_mm / 2.0,
            -dx * self.sin + dy * self.cos + self.ruler.width_mm / 2.0,
        ]
    }

    /// How far a place lies outside the body (negative inside), mm.
    pub fn outside(&self, [u, v]: [f64; 2]) -> f64 {
        let straight = (-u).max(u - self.ruler.length_mm).max(-v).max(v - self.ruler.width_mm);
        let radius = if self.ruler.scale == RulerScale::Id1 { ID1_RADIUS_MM } else { 0.0 };
        let (over_u, over_v) =
            ((radius - u).max(u - self.ruler.length_mm + radius), (radius - v).max(v - self.ruler.width_mm + radius));
        if over_u > 0.0 && over_v > 0.0 { over_u.hypot(over_v) - radius } else { straight }
    }

    /// The face at a place on it; `soft` is the size of a sample, mm.
    pub fn at(&self, [u, v]: [f64; 2], soft: f64) -> Face {
        let mut face = self.body(u as f32, v as f32);
        let ink = self.ink(u, v, soft as f32);
        if ink > 0.0 {
            let paint = match self.ruler.body {
                Body::Dark => [0.75, 0.75, 0.7],
                Body::Wood => [0.05, 0.03, 0.02],
                _ => [0.02, 0.02, 0.025],
            };
            face.colour = [0, 1, 2].map(|c| face.colour[c] * (1.0 - ink) + paint[c] * ink);
            face.cover = face.cover + (1.0 - face.cover) * ink;
        }
        face
    }

    /// The bare body at a place, without print.
    pub fn body(&self, u: f32, v: f32) -> Face {
        let n = |su: f32, sv: f32, k: u32| noise::smooth(u * su, v * sv, self.salt ^ k);
        let (colour, cover) = match self.ruler.body {
            Body::Steel => {
                let sheen = 0.42 + 0.12 * (u * 0.021 + 1.3).sin() + 0.14 * (n(0.06, 3.5, 1) - 0.5);
                ([sheen * 0.97, sheen, sheen * 1.02], 1.0)
            }
            Body::Plastic => ([0.78, 0.79, 0.78].map(|c| c + 0.04 * (n(0.05, 0.1, 2) - 0.5)), 1.0),
            Body::Clear => ([0.7, 0.74, 0.76], 0.16 + 0.05 * n(0.05, 0.2, 3)),
            Body::Wood => {
                let grain = n(0.05, 2.2, 4) * 0.6 + n(0.3, 7.0, 5) * 0.4;
                ([0.52, 0.33, 0.15].map(|c| c * (0.75 + 0.5 * grain)), 1.0)
            }
            Body::Tape => ([0.72, 0.5, 0.05].map(|c| c * (0.94 + 0.1 * n(3.0, 3.0, 6))), 1.0),
            Body::Paper => ([0.84, 0.84, 0.82].map(|c| c + 0.02 * (n(0.5, 0.5, 9) - 0.5)), 1.0),
            Body::Dark => ([0.03, 0.035, 0.04].map(|c| c * (0.9 + 0.3 * n(0.1, 0.3, 7))), 1.0),
        };
        let scratch = self.ruler.wear as f32 * (n(0.4, 3.0, 8) - 0.6).max(0.0);
        Face { colour: colour.map(|c: f32| (c * (1.0 - 0.4 * scratch)).clamp(0.0, 1.0)), cover }
    }

    fn ink(&self, u: f64, v: f64, soft: f32) -> f32 {
        if self.ruler.scale == RulerScale::Card {
            // The body's length says at what size the sheet was printed.
            let printed = self.ruler.length_mm / card::SIZE_MM[0];
            return 0.95 * card_ink(u / printed, v / printed, f64::from(soft) / printed);
        }
        let mut ink = 0.0_f32;
        for (edge, last) in &self.edges {
            let deep = if edge.far { self.ruler.width_mm - v } else { v } as f32;
            ink = ink.max(self.mark(edge, *last, u, deep, soft)).max(self.numeral(edge, *last, u, deep, soft));
        }
        if ink == 0.0 || self.ruler.wear == 0.0 {
            return ink * 0.95;
        }
        // Worn print fades in patches of some millimetres and in specks.
        let wear = self.ruler.wear as f32;
        let patch = noise::smooth(u as f32 * 0.15, v as f32 * 0.3, self.salt ^ 21);
        let speck = noise::smooth(u as f32 * 2.5, v as f32 * 2.5, self.salt ^ 22);
        ink * (1.0 - wear * (0.9 * patch + 0.5 * speck)).clamp(0.0, 0.95)
    }

    /// The mark nearest to a place, its edges faded over one sample so that its position is exact.
    fn mark(&self, edge: &Edge, last: u32, u: f64, deep: f32, soft: f32) -> f32 {
        let place = (u - self.ruler.zero_mm) / edge.pitch_mm;
        let index = place.round();
        if index < 0.0 || index > f64::from(last) {
            return 0.0;
        }
        let number = index as u32;
        let Some(&(_, usual)) = edge.levels.iter().find(|(every, _)| number.is_multiple_of(*every)) else { return 0.0 };
        let length = usual * self.ruler.mark_length as f32;
        let off = ((place - index) * edge.pitch_mm).abs() as f32;
        let width = self.ruler.mark_width_mm.min(0.45 * edge.pitch_mm) as f32;
        let across = coverage(off, width / 2.0, soft);
        across * ((length - deep) / soft + 0.5).clamp(0.0, 1.0)
    }

    fn numeral(&self, edge: &Edge, last: u32, u: f64, deep: f32, soft: f32) -> f32 {
        if !self.ruler.numerals {
            return 0.0;
        }
        // Height and place of the numerals: below the longest mark, a third of the room at most.
        let size = (self.ruler.width_mm as f32 * 0.16).clamp(1.8, 4.0);
        let longest = edge.levels.first().map_or(0.0, |level| level.1) * self.ruler.mark_length as f32;
        let step = edge.pitch_mm * f64::from(edge.per_number);
        let nearest = ((u - self.ruler.zero_mm) / step).round();
        if nearest < 0.0 || nearest * f64::from(edge.per_number) > f64::from(last) {
            return 0.0;
        }
        let x = (u - self.ruler.zero_mm - nearest * step) as f32 / size;
        let y = (deep - longest - 0.6) / size;
        let (x, y) = if edge.far { (x, 1.0 - y) } else { (x, y) };
        numerals::ink(nearest as u32, x, y, soft / size)
    }
}

/// Share of a sample of width `soft` at distance `off` from the middle of a bar of half-width `half` that the bar covers.
fn coverage(off: f32, half: f32, soft: f32) -> f32 {
    let (lo, hi) = ((off - soft / 2.0).max(-half), (off + soft / 2.0).min(half));
    ((hi - lo) / soft).clamp(0.0, 1.0)
}

/// Share of a sample of the calibration card that is inked: squares and diamonds, faded over one sample.
fn card_ink(x: f64, y: f64, soft: f64) -> f32 {
    let side = card::SQUARE_MM;
    let (u, v, soft) = ((x - card::RIM_MM) / side, (y - card::RIM_MM) / side, soft / side);
    // Even squares +1, odd ones -1, averaged over a sample about the nearest line between two.
    let wave = |t: f64| {
        let line = t.round();
        let sign = if (line as i64).rem_euclid(2) == 0 { 1.0 } else { -1.0 };
        sign * (2.0 * (t - line) / soft).clamp(-1.0, 1.0)
    };
    let inside = |t: f64, end: i32| (t.min(f64::from(end) - t) / soft + 0.5).clamp(0.0, 1.0);
    let within = inside(u, card::COLUMNS) * inside(v, card::ROWS);
    let plain = 0.5 + 0.5 * wave(u) * wave(v);
    let off = (u - u.floor() - 0.5).abs() + (v - v.floor() - 0.5).abs();
    let diamond = match card::has_diamond(u.floor() as i32, v.floor() as i32) {
        Some(true) => ((card::DIAMOND - off) * std::f64::consts::FRAC_1_SQRT_2 / soft + 0.5).clamp(0.0, 1.0),
        _ => 0.0,
    };
    (within * (plain * (1.0 - diamond) + (1.0 - plain) * diamond)) as f32
}
