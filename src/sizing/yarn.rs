//! How much yarn: by the mass of a whole swatch.
//!
//! The swatch is weighed whole, so its mass goes with its *whole* area or with *all* its stitches, edges and cast-on
//! included. Per stitch it is the same yarn in the piece. Nothing is concluded from a table of yarn weights.

use super::substitution::whole_balls;
use crate::quantity::{Confidence, Contribution, Expanded, Shape, Source, Uncertain};
use serde::Serialize;

/// What the swatch tells of the yarn in a stitch.
#[derive(Debug, Clone, PartialEq)]
pub enum SwatchYarn {
    /// Its mass in g and whole area in mm².
    ByArea {
        /// Mass, in g.
        mass_g: Uncertain,
        /// Whole area, in mm².
        area_mm2: Uncertain,
    },
    /// Its mass in g and the stitches worked in it, all rows together.
    ByStitches {
        /// Mass, in g.
        mass_g: Uncertain,
        /// Stitches worked, all rows together.
        stitches: u64,
    },
}

impl SwatchYarn {
    /// The mass of a swatch read off a scale with so fine a step: rectangular limits of half of it.
    pub fn mass(grams: f64, scale_step_g: f64) -> Uncertain {
        let half = Contribution::type_b(Source::named("kitchen scale"), scale_step_g / 2.0, Shape::Rectangular, 1.0);
        Uncertain::exact(grams).with(half)
    }

    /// The area of a swatch whose two sides were measured, each within limits, in mm².
    pub fn area(sides_mm: [f64; 2], within_mm: f64) -> Uncertain {
        let [a, b] = sides_mm;
        let side = |name, other| Contribution::type_b(Source::named(name), within_mm, Shape::Rectangular, other);
        Uncertain::exact(a * b).with(side("width of the whole swatch", b)).with(side("height of the whole swatch", a))
    }

    /// Its mass.
    pub fn mass_g(&self) -> &Uncertain {
        match self {
            Self::ByArea { mass_g, .. } | Self::ByStitches { mass_g, .. } => mass_g,
        }
    }

    /// Grams in so many stitches of so large an area.
    fn grams(&self, stitches: u64, area_mm2: &Uncertain) -> Option<Uncertain> {
        match self {
            Self::ByArea { mass_g, area_mm2: whole } => (mass_g * area_mm2).divided_by(whole),
            Self::ByStitches { mass_g, stitches: whole } => {
                (*whole > 0).then(|| mass_g.scaled(stitches as f64 / *whole as f64))
            }
        }
    }
}

/// Yarn beside the pieces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Amounts {
    /// Metres lost in tails.
    pub tails_m: f64,
    /// Metres for seams.
    pub seams_m: f64,
    /// How many swatches are knitted from the same yarn.
    pub swatches: u32,
    /// Spare share of the whole (0.1 = 10 %).
    pub spare: f64,
    /// Relative standard deviation of how much yarn goes into a piece from one time to another; [`USUAL_SPREAD`] where
    /// nothing is known.
    pub spread: f64,
}

/// Spread of the yarn used, relative, where nothing is known: balls are wound to a few per cent and hands differ from day
/// to day (a stated choice).
pub const USUAL_SPREAD: f64 = 0.03;

/// What is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct YarnNeeds {
    /// The weighed swatch.
    pub swatch: SwatchYarn,
    /// Grams and metres of a ball, both more than 0.
    pub ball: (f64, f64),
    /// Stitches worked in all pieces together, and their area in mm².
    pub work: (u64, Uncertain),
    /// What comes beside the pieces.
    pub amounts: Amounts,
}

/// How much yarn.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct YarnAmount {
    /// Grams in the pieces alone.
    pub pieces_g: Expanded,
    /// Metres in all: pieces, tails, seams, swatches and the spare share.
    pub metres: Expanded,
    /// Grams in all.
    pub grams: Expanded,
    /// Balls that are enough with 50 % probability.
    pub balls_50: u32,
    /// Balls that are enough with 95 % probability: buy these, of one dye lot.
    pub balls_95: u32,
}

/// The amount; `None` where the swatch's area or stitches are none.
pub fn yarn_amount(needs: &YarnNeeds) -> Option<YarnAmount> {
    let (ball_g, ball_m) = needs.ball;
    let amounts = needs.amounts;
    let spread = Contribution::stated(Source::named("yarn used from one time to another"), amounts.spread);
    let pieces_g = needs.swatch.grams(needs.work.0, &needs.work.1)?.with_relative(spread);
    let swatches_g = needs.swatch.mass_g().scaled(f64::from(amounts.swatches));
    let beside_g = (amounts.tails_m + amounts.seams_m) * ball_g / ball_m;
    let grams = (&pieces_g + &swatches_g).shifted(beside_g).scaled(1.0 + amounts.spare);
    let metres = grams.scaled(ball_m / ball_g);
    // The interval is symmetric: its 90 % one leaves 5 % above its upper end.
    let (_, enough) = metres.expanded(Confidence::P90).interval();
    Some(YarnAmount {
        balls_50: whole_balls(metres.value / ball_m),
        balls_95: whole_balls(enough / ball_m),
        pieces_g: pieces_g.expanded(Confidence::P95),
        metres: metres.expanded(Confidence::P95),
        grams: grams.expanded(Confidence::P95),
    })
}

/// Munden's constant for the stitch density of fully relaxed plain wool knitting: loops per cm² times the square of the loop
/// length in cm (5.5 × 4.2; GATE Textile 2015, after Munden, J. Text. Inst. 50, 1959, T448). It comes from machine-knitted
/// cloth: good for a remark on plausibility, not for a measurement.
const MUNDEN_FULLY_RELAXED: f64 = 5.5 * 4.2;

/// About how much yarn a stitch of plain knitting holds by its density, in mm; gauges per 10 cm, more than 0.
pub fn looped_length(stitches_per_10cm: f64, rows_per_10cm: f64) -> f64 {
    let loops_per_cm2 = stitches_per_10cm * rows_per_10cm / 100.0;
    10.0 * (MUNDEN_FULLY_RELAXED / loops_per_cm2).sqrt()
}
