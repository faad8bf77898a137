//! How much nearer the camera the ruler's face is than the fabric's visible surface, and how sure that is.
//!
//! A height difference h at camera distance D changes the scale by h/D: 2 mm at 200 mm is 1 %, often the largest part of
//! all. Neither the fabric's thickness nor the ruler's is seen from above, so both are expected from what is usual and
//! their spread goes into the budget.

use crate::lattice::StitchPattern;
use serde::{Deserialize, Serialize};

/// What the ruler lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RulerOn {
    /// The table, beside the swatch.
    Table,
    /// The fabric.
    Fabric,
}

/// How far a knitted pattern stands up from its ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Relief {
    /// Stockinette, either side of it: one layer of loops, its legs all at one height.
    Flat,
    /// Everything that mixes knit and purl, and what nothing is known of: ridges and blocks stand before or behind one
    /// another, and the fabric draws in to two layers.
    Raised,
    /// Ribs: columns of knit stand before columns of purl, the more so the further the fabric draws in.
    Ribbed {
        /// Turns from knit to purl or back, per stitch along the row: 1 in a rib of 1 × 1, 1/2 in one of 2 × 2.
        turns_per_stitch: f64,
    },
}

impl Relief {
    /// Of a stitch pattern.
    pub fn of(pattern: &StitchPattern) -> Self {
        match pattern.name.as_str() {
            "stockinette" | "reverse-stockinette" => Self::Flat,
            // A repeat of a rib holds two turns at least.
            _ if pattern.is_rib() => Self::Ribbed { turns_per_stitch: 2.0 / f64::from(pattern.repeat_stitches) },
            _ => Self::Raised,
        }
    }

    /// Height of the fabric's visible surface over the table, in widths of a stitch: limits of a rectangular distribution.
    /// `rows_per_stitch` is the width of a stitch over the height of a row.
    ///
    /// Relaxed hand-knitted yarn is 0.3 to 0.5 stitch widths thick (derived: 4 to 5 wraps of yarn fit where two stitches
    /// stand). Where loops cross, one layer of fabric is two to two and a half yarns thick. What carries the picture is
    /// the loops' legs between the yarn's axis and its crest, as far as they hide what is below: a half to a quarter
    /// of a yarn below the top. Flat: from 1.5 thin yarns to 2.2 thick ones. Ridges lie up to one layer higher in
    /// part, and fabrics that draw in are thicker against their narrowed stitch. A rib that draws in stands higher by what its
    /// turns rise ([`folded`]), if that is why its stitches are narrow, and is as high as others if not.
    fn surface_per_stitch(self, rows_per_stitch: f64) -> (f64, f64) {
        let (flat, raised) = ((0.4, 1.1), (0.4, 1.3));
        match self {
            Self::Flat => flat,
            Self::Raised => raised,
            Self::Ribbed { turns_per_stitch } => {
                let (width, rise) = folded(turns_per_stitch, rows_per_stitch);
                (raised.0, raised.1.max((flat.1 + rise) / width))
            }
        }
    }

    /// How far a ruler that rests on the crests of the fabric is held above the surface that carries the picture, in
    /// stitch widths: from nothing, where it presses the loops down, to half a yarn and the unevenness of the loops (flat), or
    /// to a whole yarn, where it rests on ribs or ridges and the valleys carry part of the picture.
    fn crest_per_stitch(self) -> (f64, f64) {
        match self {
            Self::Flat => (0.0, 0.4),
            Self::Raised | Self::Ribbed { .. } => (0.0, 0.55),
        }
    }
}

/// A rib that draws in: the width of its stitches as they lie, and how high a turn from knit to purl rises, both in widths of
/// the same stitch where it lies flat.
///
/// Flat fabric has 1.25 rows to a stitch (hand-knitted stockinette 1.2 to 1.45, common practice, no source). Ribs of the same
/// yarn and needle are narrower and as much taller: 60 stitches by 60 rows of rib are 0.74 times as wide and 1.20 times as
/// tall as the same in stockinette (open data of machine-knitted swatches, KnitDB, UIST 2019), so that the width goes about as
/// the root of the rows per stitch (0.78). All of it is taken up by the turns, each as long as a stitch is wide and the
/// steeper the narrower the rib lies (derived: Pythagoras). A rib of 1 × 1 at 0.7 of its width comes out twice as thick as
/// plain fabric, as books on knitting say (Spencer, Knitting Technology, 2001, from memory).
fn folded(turns_per_stitch: f64, rows_per_stitch: f64) -> (f64, f64) {
    const FLAT_ROWS_PER_STITCH: f64 = 1.25;
    let width = (rows_per_stitch / FLAT_ROWS_PER_STITCH).sqrt().clamp(0.5, 1.0);
    let turn = (1.0 - (1.0 - width) / turns_per_stitch).max(0.0);
    (width, (1.0 - turn * turn).sqrt())
}

/// What a ruler seems to be made of, as far as it tells how thick it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RulerMake {
    /// Of cloth, plastic film or steel band: a strong yellow.
    Tape,
    /// Narrow and of the colour of wood: a faded yellow tape or a folding rule.
    NarrowWood,
    /// Of wood.
    Wood,
    /// Anything else: plastic or steel.
    #[default]
    Stiff,
}

impl RulerMake {
    /// Height of the marks above the ruler's underside, in mm: limits of a rectangular distribution (common practice, no
    /// source). Tapes 0.2 to 0.5, steel bands and narrow steel rules to 1; wooden rulers 2 to 5, their marks lower where
    /// the edge is bevelled; steel rules 0.5 to 1, plastic ones 1 to 3, bevelled likewise. Leaves of folding rules to 3.2.
    fn thickness_mm(self) -> (f64, f64) {
        match self {
            Self::Tape => (0.2, 1.2),
            Self::NarrowWood => (0.2, 3.2),
            Self::Wood => (1.2, 4.3),
            Self::Stiff => (0.4, 2.7),
        }
    }
}

/// Height of the ruler's face above the fabric's visible surface, as a mean and independent rectangular parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeightDifference {
    /// Expected height, in mm; positive when the ruler is nearer the camera.
    pub mean_mm: f64,
    /// Half-width of the part that comes from the fabric, in mm.
    pub fabric_half_width_mm: f64,
    /// Half-width of the part that comes from the ruler's thickness, in mm.
    pub ruler_half_width_mm: f64,
}

impl HeightDifference {
    /// No difference: the scale was taken on the fabric's own surface.
    pub const NONE: Self = Self { mean_mm: 0.0, fabric_half_width_mm: 0.0, ruler_half_width_mm: 0.0 };
}

/// What decides how high ruler and fabric lie, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeightFacts {
    /// What the ruler lies on; `None` where it may be either: the limits then hold both.
    pub on: Option<RulerOn>,
    /// Thickness of the ruler as the user gives it, in mm; taken as good to 0.2 mm.
    pub thickness_mm: Option<f64>,
    /// What the ruler seems to be; used where the thickness is not given.
    pub make: RulerMake,
    /// How far the fabric's pattern stands up.
    pub relief: Relief,
    /// Distance of neighbouring stitches, in mm.
    pub stitch_width_mm: f64,
    /// That distance over the distance of neighbouring rows.
    pub rows_per_stitch: f64,
}

/// The height to expect.
pub fn height_difference(facts: &HeightFacts) -> HeightDifference {
    const TOLD_HALF_WIDTH_MM: f64 = 0.2;
    // A thickness of nothing means that the scale lies in the surface itself, as drawn or printed scales do.
    if facts.on == Some(RulerOn::Fabric) && facts.thickness_mm == Some(0.0) {
        return HeightDifference::NONE;
    }
    let (thickness, ruler_half_width_mm) = match facts.thickness_mm {
        Some(t) => (t, if t == 0.0 { 0.0 } else { TOLD_HALF_WIDTH_MM }),
        None => middle_and_half_width(facts.make.thickness_mm()),
    };
    let (low, high) = facts.relief.surface_per_stitch(facts.rows_per_stitch);
    let crest = facts.relief.crest_per_stitch();
    let in_stitches = match facts.on {
        Some(RulerOn::Table) => (-high, -low),
        Some(RulerOn::Fabric) => crest,
        None => (-high, crest.1),
    };
    let (middle, half_width) = middle_and_half_width(in_stitches);
    HeightDifference {
        mean_mm: thickness + middle * facts.stitch_width_mm,
        fabric_half_width_mm: half_width * facts.stitch_width_mm,
        ruler_half_width_mm,
    }
}

fn middle_and_half_width((low, high): (f64, f64)) -> (f64, f64) {
    ((low + high) / 2.0, (high - low) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FLAT: HeightFacts = HeightFacts {
        on: None,
        thickness_mm: None,
        make: RulerMake::Stiff,
        relief: Relief::Flat,
        stitch_width_mm: 6.0,
        rows_per_stitch: 1.3,
    };

    fn with(on: RulerOn, thickness_mm: Option<f64>, make: RulerMake) -> HeightDifference {
        height_difference(&HeightFacts { on: Some(on), thickness_mm, make, ..FLAT })
    }

    #[test]
    fn a_ruler_on_the_table_lies_below_thick_fabric_and_one_on_the_fabric_above() {
        assert!(with(RulerOn::Table, Some(0.5), RulerMake::Stiff).mean_mm < -2.0);
        assert!(with(RulerOn::Fabric, Some(0.5), RulerMake::Stiff).mean_mm > 0.5);
        assert_eq!(with(RulerOn::Fabric, Some(0.0), RulerMake::Stiff), HeightDifference::NONE);
    }

    #[test]
    fn what_is_told_outweighs_what_is_seen() {
        let [tape, wood] = [RulerMake::Tape, RulerMake::Wood].map(|make| with(RulerOn::Fabric, None, make));
        assert!(tape.mean_mm + tape.ruler_half_width_mm < wood.mean_mm);
        let told = with(RulerOn::Fabric, Some(2.0), RulerMake::Tape);
        assert_eq!(told, with(RulerOn::Fabric, Some(2.0), RulerMake::Wood));
    }

    #[test]
    fn a_rib_stands_up_as_it_draws_in() {
        let highest = |pattern: &str, rows_per_stitch: f64| {
            Relief::of(&StitchPattern::named(pattern).unwrap()).surface_per_stitch(rows_per_stitch).1
        };
        // One that lies as wide as flat fabric does is like any other; of two that draw in alike the one with fewer turns
        // needs steeper ones.
        assert_eq!(highest("rib-1x1", 1.3), highest("seed", 1.3));
        assert!(highest("rib-1x1", 0.72) > highest("rib-1x1", 1.0));
        assert!(highest("rib-2x2", 1.1) > highest("rib-1x1", 1.1));
        assert_eq!(highest("stockinette", 0.72), highest("stockinette", 1.3));
    }

    #[test]
    fn a_rib_at_seven_tenths_of_its_width_is_twice_as_thick_as_plain_fabric() {
        // Spencer, Knitting Technology, 2001 (from memory): relaxed 1 x 1 rib is theoretically half as wide and twice as thick
        // as plain fabric of the same stitches, and is about 30 % narrower in practice. Plain fabric: 0.75 stitch widths.
        let (width, rise) = folded(1.0, 1.25 * 0.7 * 0.7);
        assert!((width - 0.7).abs() < 1e-9);
        let times = (0.75 + rise) / 0.75;
        assert!((1.8..2.2).contains(&times), "{times}");
    }
}
