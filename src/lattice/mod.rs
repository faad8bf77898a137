//! The stitch lattice: spectrum → hypotheses → octave decision → region and phase → local map.

mod axis_spectrum;
mod bridge;
mod comes_back;
mod crossing;
mod decide;
mod families;
mod field;
mod followed;
mod grow;
mod hypotheses;
mod line;
mod local;
mod loops;
mod motif;
mod pattern;
mod peaks;
mod phase;
mod places;
mod reader;
mod reading;
mod recognise;
mod region;
mod said;
mod score;
mod settle;
mod spectrum;
mod straighten;
mod too_coarse;
mod trim;
mod view;
mod whole;

#[cfg(test)]
mod decide_tests;
#[cfg(test)]
mod grow_tests;
#[cfg(test)]
mod octave_tests;

pub use axis_spectrum::{AxisSpectrum, axis_spectra};
pub use comes_back::check_comes_back;
pub use decide::{CLEAR, KNIT_DECLARED, confirm, decide, near_expected, propose};
pub(crate) use families::spreads_off;
pub use followed::{FollowedLattice, LatticeModel, crossings, loops_within};
pub(crate) use grow::median;
pub use grow::{Windows, grow};
pub(crate) use local::middle;
pub use local::{LatticeFit, LocalGauge, Variation, fit, local_map, region_uncertainty, variation};
pub use loops::{LoopSeen, MOST_LOOPS, see_loops};
pub use pattern::StitchPattern;
pub use places::{Places, lead};
pub use recognise::recognise;
pub use said::{SaidDoubted, said_doubted};
pub use straighten::{ColourChanges, Straightened, straightened};
pub use too_coarse::check_not_too_coarse;
pub use whole::{Whole, look_over};

use crate::quantity::{PhotoPoint, PlanePoint};
use crate::refusal::Rival;
use serde::{Deserialize, Serialize};

/// The two frequency vectors of a stitch lattice, in cycles (stitches, rows) per mm of the fabric plane.
///
/// The stitch count at plane point p is `stitch`·p plus a constant, the row count `row`·p plus a constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Basis {
    /// Stitches per mm along plane x and y.
    pub stitch: [f64; 2],
    /// Rows per mm along plane x and y.
    pub row: [f64; 2],
}

impl Basis {
    /// The direct lattice: the step in mm from one stitch to the next along the row, and from one row to the next along
    /// the wale. `None` where the two frequencies are parallel.
    pub fn steps_mm(&self) -> Option<([f64; 2], [f64; 2])> {
        let d = self.stitch[0] * self.row[1] - self.stitch[1] * self.row[0];
        (d.abs() > 1e-9).then(|| ([self.row[1] / d, -self.row[0] / d], [-self.stitch[1] / d, self.stitch[0] / d]))
    }

    /// Stitches per mm² of the plane: the absolute determinant of the two frequency vectors. 0 where they are parallel.
    pub fn stitches_per_mm2(&self) -> f64 {
        (self.stitch[0] * self.row[1] - self.stitch[1] * self.row[0]).abs()
    }

    /// Stitches per 10 cm counted along the row, and rows per 10 cm counted along the wale.
    pub fn per_10cm(&self) -> Option<(f64, f64)> {
        let (s, r) = self.steps_mm()?;
        Some((100.0 / s[0].hypot(s[1]), 100.0 / r[0].hypot(r[1])))
    }
}

/// How far a step runs off a direction, in degrees, 0 to 90, either way along it.
pub(crate) fn off_direction_deg(step: [f64; 2], direction_deg: f64) -> f64 {
    let off = (step[1].atan2(step[0]).to_degrees() - direction_deg).rem_euclid(180.0);
    off.min(180.0 - off)
}

/// What the user says beforehand; anything may be missing.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Declared {
    /// What was knitted.
    pub pattern: Option<StitchPattern>,
    /// Direction of the row in the photo, degrees (0 right, 90 down), either way along it.
    pub row_direction_deg: Option<f64>,
    /// Expected stitches and rows per 10 cm: settles rivals only.
    pub expected_per_10cm: Option<(f64, f64)>,
    /// Direction in which the ruler lies, in the plane's axes, in degrees, either way along it: people lay it along a row or
    /// along a wale.
    pub ruler_direction_deg: Option<f64>,
    /// Whether the user outlined the fabric. With the pattern named as well, that it is knitted needs less proof.
    pub outlined: bool,
}

/// Which lattice was chosen, why, and what else was possible.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// The coarse lattice, good to a few per cent; `stitch` and `row` are really single stitches and single rows.
    pub basis: Basis,
    /// Where on the fabric it was seen best.
    pub seed: PlanePoint,
    /// The pattern, declared or recognised.
    pub pattern: StitchPattern,
    /// Whether the pattern was given by the user.
    pub declared: bool,
    /// Probability of a recognised pattern, 0 to 1; `None` when declared.
    pub confidence: Option<f64>,
    /// The harmonics (h, k) of (stitch, row) that stand up in this fabric, with amplitude over local noise. Indices may
    /// be fractional (a multiple of 1 / repeat): they carry the phase fit.
    pub harmonics: Vec<Harmonic>,
    /// Log-likelihood ratio of the chosen reading against noise and stray lines.
    pub score: f64,
    /// Log-score of the chosen reading minus that of the best rival.
    pub margin: f64,
    /// The best other readings.
    pub rivals: Vec<Rival>,
    /// Weights of linear red, green and blue of the projection in which the lattice shows best.
    pub weights: [f32; 3],
    /// What the choice stood on beside the margin.
    pub stands_on: StandsOn,
}

/// What a decision stood on beside its margin.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StandsOn {
    /// Log-score of the chosen reading.
    pub score: f64,
    /// The margin that was needed.
    pub margin_needed: f64,
    /// Places of the fabric.
    pub places: Agreement,
    /// Projections of colour.
    pub projections: Agreement,
}

/// How many of several looks at a fabric, each by itself, count the same stitches and rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Agreement {
    /// Those that agree.
    pub agree: usize,
    /// All of them.
    pub of: usize,
}

/// One line of the fabric's two-dimensional spectrum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Harmonic {
    /// Multiple of the stitch frequency, a multiple of 1 / repeat_stitches.
    pub h: f64,
    /// Multiple of the row frequency, a multiple of 1 / repeat_rows.
    pub k: f64,
    /// Amplitude over the local noise amplitude.
    pub strength: f64,
}

/// The unwrapped stitch and row count at one place of the fabric.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseBlock {
    /// The place in the plane map that was used.
    pub at: PlanePoint,
    /// The same place in the photo.
    pub at_px: PhotoPoint,
    /// Stitch count there, from an arbitrary zero, unwrapped over the region.
    pub stitches: f64,
    /// Row count there, likewise.
    pub rows: f64,
    /// Standard uncertainty of `stitches`, in stitches (random part of this block alone).
    pub stitches_sigma: f64,
    /// Standard uncertainty of `rows`, in rows.
    pub rows_sigma: f64,
}

/// The lattice followed over the fabric.
#[derive(Debug, Clone, PartialEq)]
pub struct LatticeReading {
    /// Blocks that carry the lattice; neighbours overlap, so their errors are correlated over `correlation_mm`.
    pub blocks: Vec<PhaseBlock>,
    /// Share of each block's contrast that the fabric's motif explains, 0 to 1, in the order of `blocks`.
    pub coherence: Vec<f64>,
    /// Distance over which the blocks' errors are correlated, in mm.
    pub correlation_mm: f64,
    /// Least-squares lattice over all blocks, in the plane map that was used.
    pub basis: Basis,
    /// Outline of the region in the photo.
    pub region_px: Vec<PhotoPoint>,
    /// Whole extent of the region, in stitches along the row and rows along the wale.
    pub extent: (f64, f64),
}
