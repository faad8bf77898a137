//! What families of stitch patterns look like in a spectrum, in broad classes.
//!
//! Every knitted surface seen from the front is made of slanted legs: two to a stitch, mirrored, so that (2, 0) and
//! (1, ±1) stand up in all of them, and (0, 1) in most. Where knit and purl alternate the surface goes up and down with
//! the repeat, which adds fractional harmonics: (½, 0) for 1×1 rib, (0, ½) for garter, (½, ½) for seed.
//!
//! Levels are rounded medians over rendered and real photos of several origins; the spreads are half as wide again as
//! seen there, so that no level decides by itself.

use super::line::Line;
use super::{Basis, StitchPattern};

/// A family of patterns with alike spectra.
#[derive(Debug)]
pub struct Family {
    /// Name and repeat that a recognised fabric is given.
    pub pattern: (&'static str, u32, u32),
    /// Logarithm of how often the family is knitted, relatively (stated choice).
    pub prior: f64,
    /// Logarithm of rows ÷ stitches: middle and spread (references J and common practice).
    pub rows_over_stitches: (f64, f64),
    /// Whether the repeat is a chequerboard, which forbids every second harmonic.
    pub chequered: bool,
    /// Its lines (h, k, level, spread).
    pub lines: &'static [Line],
}

const fn line(h: f64, k: f64, level: f64, spread: f64) -> Line {
    Line { h, k, level, spread }
}

/// Stockinette, also with stripes and colour work.
const PLAIN: &[Line] = &[
    line(2.0, 0.0, 0.4, 0.6),
    line(1.0, 1.0, 0.0, 0.5),
    line(2.0, 1.0, -0.6, 0.7),
    line(0.0, 1.0, -0.7, 0.8),
    line(1.0, 0.0, -1.4, 1.0),
    line(4.0, 0.0, -0.7, 1.0),
    line(0.0, 2.0, -1.3, 0.8),
    line(1.0, 2.0, -1.2, 0.8),
    line(3.0, 1.0, -1.2, 0.7),
    line(3.0, 0.0, -1.5, 0.8),
    line(2.0, 2.0, -1.5, 0.8),
    line(3.0, 2.0, -1.2, 0.8),
];

/// Reverse stockinette: the tops of the loops, in bars along the row.
const REVERSE: &[Line] = &[
    line(0.0, 1.0, 0.1, 0.9),
    line(1.0, 1.0, 0.0, 0.5),
    line(2.0, 0.0, -0.2, 0.6),
    line(0.0, 2.0, -0.7, 0.8),
    line(0.0, 3.0, -0.7, 0.9),
    line(2.0, 1.0, -1.0, 0.8),
    line(1.0, 2.0, -1.0, 0.9),
    line(1.0, 0.0, -1.9, 0.8),
    line(3.0, 1.0, -1.3, 0.8),
    line(4.0, 0.0, -1.3, 0.9),
    line(2.0, 2.0, -1.4, 0.8),
];

/// Garter: a ridge every second row. The upper and the lower arcs of a ridge are half a stitch apart, which makes (1, ½)
/// and (1, 1½) where light shows both alike.
const GARTER: &[Line] = &[
    line(0.0, 0.5, -0.2, 1.0),
    line(0.0, 1.0, 0.1, 0.9),
    line(2.0, 0.0, 0.1, 0.5),
    line(0.0, 1.5, -0.4, 1.0),
    line(1.0, 1.0, -0.3, 0.5),
    line(2.0, 1.0, -0.8, 0.8),
    line(1.0, 0.0, -1.0, 1.0),
    line(1.0, 0.5, -0.9, 1.1),
    line(2.0, 0.5, -1.4, 0.8),
    line(1.0, 1.5, -0.9, 1.0),
    line(1.0, 2.0, -1.0, 0.8),
    line(0.0, 2.0, -1.2, 0.9),
    line(0.0, 2.5, -0.9, 1.0),
    line(4.0, 0.0, -0.9, 0.8),
    line(3.0, 1.0, -1.4, 0.8),
];

/// Garter whose arcs are evenly spaced: the upper and the lower arcs of a ridge, half a stitch apart, lie as far apart as those of
/// two ridges. Then of the lines off both axes those cancel whose indices (h, 2k) have an odd sum, (1, 1) first, and (1, ½) is
/// at its most: two like arcs ±d/2 from the middle of a ridge make (1, m/2) with sin(πmd/R), R being two rows. On the axis of
/// the rows ridge and valley still differ. With ridges as far apart as stitches are wide, as is usual, (1, ±½) and their
/// multiples are the lines of smaller stitches along the diagonals.
const GARTER_EVEN: &[Line] = &[
    line(0.0, 1.0, 0.3, 0.7),
    line(0.0, 0.5, -0.2, 1.2),
    line(2.0, 0.0, 0.1, 0.5),
    line(1.0, 0.5, 0.1, 0.7),
    line(0.0, 1.5, -0.4, 1.0),
    line(4.0, 0.0, -0.7, 0.8),
    line(1.0, 2.5, -0.8, 1.0),
    line(1.0, 1.5, -0.9, 1.0),
    line(1.0, 0.0, -1.0, 1.0),
    line(2.0, 1.0, -1.2, 0.8),
    line(0.0, 2.0, -1.2, 0.9),
    line(1.0, 1.0, -1.7, 0.9),
];

/// Seed: knit and purl in a chequerboard.
const SEED: &[Line] = &[
    line(0.0, 1.0, 0.1, 0.9),
    line(2.0, 0.0, 0.2, 0.7),
    line(1.0, 1.0, -0.2, 0.5),
    line(0.5, 0.5, -0.5, 0.7),
    line(0.5, 1.5, -0.4, 0.7),
    line(1.5, 0.5, -0.8, 0.9),
    line(1.5, 1.5, -0.9, 0.7),
    line(0.5, 2.5, -0.8, 0.8),
    line(2.5, 0.5, -0.9, 0.8),
    line(0.0, 2.0, -0.7, 0.9),
    line(2.0, 1.0, -1.3, 0.9),
    line(1.0, 0.0, -1.4, 0.8),
    line(1.0, 2.0, -1.5, 0.8),
    line(4.0, 0.0, -1.3, 0.9),
];

/// Rib 1×1: knit columns stand up from purl columns.
const RIB_1X1: &[Line] = &[
    line(0.5, 0.0, 0.6, 0.9),
    line(1.5, 0.0, 0.2, 0.6),
    line(1.0, 0.0, -0.3, 0.8),
    line(1.0, 1.0, -0.1, 0.5),
    line(0.5, 1.0, -0.5, 0.7),
    line(1.5, 1.0, -0.5, 0.7),
    line(3.0, 0.0, -0.4, 0.8),
    line(2.0, 0.0, -0.7, 0.8),
    line(2.5, 0.0, -0.8, 0.8),
    line(0.0, 1.0, -0.8, 0.8),
    line(2.0, 1.0, -1.1, 0.8),
    line(2.5, 1.0, -1.2, 0.8),
    line(1.0, 2.0, -1.2, 0.8),
];

/// Rib 2×2.
const RIB_2X2: &[Line] = &[
    line(1.0, 1.0, 0.0, 0.5),
    line(0.25, 1.0, -0.4, 0.7),
    line(1.5, 0.0, -0.2, 0.6),
    line(1.75, 0.0, -0.2, 0.6),
    line(0.75, 0.0, -0.6, 0.8),
    line(0.25, 0.0, -0.6, 1.0),
    line(0.5, 0.0, -1.0, 0.9),
    line(1.0, 0.0, -1.2, 0.8),
    line(1.25, 0.0, -0.9, 0.8),
    line(2.0, 0.0, -1.2, 0.8),
    line(2.5, 0.0, -0.8, 0.8),
    line(0.0, 1.0, -0.5, 0.7),
    line(1.75, 1.0, -0.7, 0.7),
    line(1.25, 1.0, -0.7, 0.7),
    line(0.75, 1.0, -1.0, 0.8),
    line(0.5, 1.0, -1.1, 0.8),
    line(1.5, 1.0, -1.1, 0.8),
    line(1.0, 2.0, -0.9, 0.9),
];

/// Knit–purl textures and lace of larger repeats: the V's lattice with everything in between a little raised.
const TEXTURE: &[Line] = &[
    line(2.0, 0.0, 0.3, 0.7),
    line(1.0, 1.0, 0.0, 0.5),
    line(0.0, 1.0, -0.4, 0.8),
    line(2.0, 1.0, -0.6, 0.8),
    line(0.0, 2.0, -0.7, 0.8),
    line(1.0, 2.0, -0.8, 0.8),
    line(1.0, 0.0, -1.3, 0.9),
    line(4.0, 0.0, -0.6, 1.0),
    line(3.0, 1.0, -1.0, 0.8),
];

/// All families.
pub static FAMILIES: [Family; 8] = [
    Family {
        pattern: ("stockinette", 1, 1),
        prior: -0.7,
        rows_over_stitches: (0.28, 0.14),
        chequered: false,
        lines: PLAIN,
    },
    Family {
        pattern: ("reverse-stockinette", 1, 1),
        prior: -2.5,
        rows_over_stitches: (0.28, 0.15),
        chequered: false,
        lines: REVERSE,
    },
    Family {
        pattern: ("garter", 1, 2),
        prior: -2.0,
        rows_over_stitches: (0.61, 0.14),
        chequered: false,
        lines: GARTER,
    },
    Family {
        pattern: ("garter", 1, 2),
        prior: -2.7,
        rows_over_stitches: (0.61, 0.14),
        chequered: false,
        lines: GARTER_EVEN,
    },
    Family { pattern: ("seed", 2, 2), prior: -2.5, rows_over_stitches: (0.42, 0.17), chequered: true, lines: SEED },
    Family {
        pattern: ("rib-1x1", 2, 1),
        prior: -2.3,
        rows_over_stitches: (0.15, 0.22),
        chequered: false,
        lines: RIB_1X1,
    },
    Family {
        pattern: ("rib-2x2", 4, 1),
        prior: -2.3,
        rows_over_stitches: (0.20, 0.20),
        chequered: false,
        lines: RIB_2X2,
    },
    Family {
        pattern: ("texture", 1, 1),
        prior: -2.5,
        rows_over_stitches: (0.30, 0.16),
        chequered: false,
        lines: TEXTURE,
    },
];

/// By how many spreads the rows of a lattice are taller or lower, against its stitches, than those of the pattern of a name; `None`
/// for patterns of no family.
pub fn spreads_off(basis: &Basis, name: &str) -> Option<f64> {
    let family = FAMILIES.iter().find(|f| f.pattern.0 == name)?;
    let (stitches, rows) = basis.per_10cm()?;
    let (middle, spread) = family.rows_over_stitches;
    Some(((rows / stitches).ln() - middle).abs() / spread)
}

impl Family {
    /// Orders of the rows at which the two sides of a loop, leaning opposite ways, make lines (1, ±k): the legs of the V once a
    /// row; the arcs of garter's ridges once in two rows as well, and only there where they are evenly spaced.
    pub fn leaning(&self) -> &'static [f64] {
        if self.pattern.0 == "garter" { &[1.0, 0.5] } else { &[1.0] }
    }

    /// Of several looks at one lattice, the family that most take it for; where as many take it for another, `first`.
    pub fn of_most(looks: &[&'static Self], first: &'static Self) -> &'static Self {
        let votes = |name: &str| looks.iter().filter(|f| f.pattern.0 == name).count();
        looks.iter().fold(first, |best, f| if votes(f.pattern.0) > votes(best.pattern.0) { f } else { best })
    }

    /// Whether (h, k) is one of its own lines, whatever the signs.
    pub fn has_line(&self, h: f64, k: f64) -> bool {
        self.lines.iter().any(|l| (l.h - h.abs()).abs() < 0.01 && (l.k - k.abs()).abs() < 0.01)
    }

    /// The families that a declared pattern may look like; all of them when nothing was declared.
    pub fn of(pattern: Option<&StitchPattern>) -> Vec<&'static Family> {
        let Some(pattern) = pattern else { return FAMILIES.iter().collect() };
        let named: Vec<&Family> = FAMILIES.iter().filter(|f| f.pattern.0 == pattern.name).collect();
        if named.is_empty() { vec![&FAMILIES[FAMILIES.len() - 1]] } else { named }
    }
}
