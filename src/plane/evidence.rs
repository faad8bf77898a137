//! What speaks about the plane: things of known length in the photo, and the stitch lattice's own gradient.

use crate::quantity::PhotoPoint;
use crate::ruler::{GridReading, PlacedPoint, RulerReading};

/// Something of known length that was seen in the photo.
#[derive(Debug, Clone)]
pub enum ScaleEvidence<'a> {
    /// The graduations of a ruler.
    Ruler(&'a RulerReading),
    /// The graduations of a tape, which may lie in an arc.
    Tape(&'a RulerReading),
    /// Corners of a square grid of known pitch.
    Grid(&'a GridReading),
    /// Places on something flat of known measures: a calibration card, the edges of an ID-1 card.
    Places(&'a [PlacedPoint]),
    /// Two points and the distance between them.
    Span(Span),
}

/// Two points with a known distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// One end.
    pub from: PhotoPoint,
    /// The other end.
    pub to: PhotoPoint,
    /// Their distance in the plane, in mm.
    pub length_mm: f64,
    /// Standard uncertainty of each end's place along the span, in px.
    pub sigma_px: f64,
}

/// Stitch and row counts at one place of the fabric, from an arbitrary zero common to the photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountSeen {
    /// The place in the photo.
    pub at: PhotoPoint,
    /// Stitch count.
    pub stitches: f64,
    /// Row count.
    pub rows: f64,
    /// Standard uncertainty of `stitches`, independent of the other places'.
    pub stitches_sigma: f64,
    /// Standard uncertainty of `rows`, likewise.
    pub rows_sigma: f64,
}
