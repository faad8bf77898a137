//! What was seen in the photo, for pictures: beside the record, not kept with it.

use crate::lattice::{LatticeModel, LoopSeen, PhaseBlock};
use crate::quantity::PhotoPoint;
use crate::ruler::{Graduation, RulerUnit};

/// What was seen in the photo, as far as the chain got: what pictures are drawn from. Not kept with the record.
#[derive(Debug, Clone, Default)]
pub struct Evidence {
    /// The ruler's graduations, one entry for each graduated edge.
    pub trains: Vec<TrainSeen>,
    /// Outline of the ruler's body as far as it was seen; may be empty.
    pub ruler_outline_px: Vec<PhotoPoint>,
    /// Corners or edge places of a card or grid that gave the scale; may be empty.
    pub places_px: Vec<PhotoPoint>,
    /// Part of the photo that no picture may show, such as the face of a bank card; may be empty.
    pub blanked_px: Vec<PhotoPoint>,
    /// Outline of the measured region; may be empty.
    pub region_px: Vec<PhotoPoint>,
    /// Outlines of further parts of the fabric that speak in the gauge; may be empty.
    pub other_parts_px: Vec<Vec<PhotoPoint>>,
    /// The fitted lattice; whole numbers lie on the loops.
    pub lattice: Option<LatticeModel>,
    /// Weights of the logarithms of linear red, green and blue in whose sum the stitches show; `None`: luminance's.
    pub projection: Option<[f32; 3]>,
    /// Loops that were looked for or found; empty until somebody looks, since the gauge does not need them.
    pub loops: Vec<LoopSeen>,
    /// The blocks from which the lattice was fitted.
    pub blocks: Vec<PhaseBlock>,
}

/// The graduations seen along one edge of a ruler.
#[derive(Debug, Clone, PartialEq)]
pub struct TrainSeen {
    /// What the edge counts in.
    pub unit: RulerUnit,
    /// Spacing of neighbouring marks, in mm.
    pub pitch_mm: f64,
    /// Direction from the base line to the marks' free ends, a unit vector in photo pixels.
    pub mark_direction: (f64, f64),
    /// The marks.
    pub marks: Vec<GraduationSeen>,
}

/// One mark that was seen, and whether it fits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GraduationSeen {
    /// The mark, where it was detected.
    pub mark: Graduation,
    /// Whether it lies where the fit expects a mark, and so counted.
    pub matched: bool,
}
