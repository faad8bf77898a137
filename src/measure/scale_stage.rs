//! The scale: which of ruler, grid and typed span gives it, and the plane that follows.

use super::Setup;
use crate::fabric;
use crate::gauge::{RulerOn, ScaleSource};
use crate::lattice::LatticeReading;
use crate::photo::Photo;
use crate::plane::{self, CameraPrior, CountSeen, PlaneEstimate, ScaleEvidence, Span};
use crate::quantity::PhotoPoint;
use crate::record::{Evidence, GraduationSeen, ScaleKind, TrainSeen};
use crate::refusal::{Refusal, RefusalCode};
use crate::ruler::{self, GridReading, RulerReading, RulerSettings, RulerUnit};

/// Beyond this tilt loops hide one another and the plane model no longer describes a thick fabric: refused. Twice the
/// tilt people hold a phone at without meaning to (a stated choice).
const TILT_LIMIT_DEG: f64 = 35.0;

/// What gave the scale.
pub(super) enum Scale {
    Ruler(RulerReading),
    Grid(GridReading),
    Span(Span),
}

/// The corners of a rectangle given as left, top, width, height.
pub(super) fn rectangle([x, y, w, h]: [f64; 4]) -> Vec<PhotoPoint> {
    [(x, y), (x + w, y), (x + w, y + h), (x, y + h)].map(|(x, y)| PhotoPoint::new(x, y)).to_vec()
}

/// Reads whatever is to give the scale.
pub(super) fn read(photo: &Photo, setup: &Setup) -> Result<Scale, Refusal> {
    if let Some(span) = setup.span {
        return Ok(Scale::Span(span));
    }
    if let Some(pitch_mm) = setup.grid_mm {
        return ruler::read_grid(photo, pitch_mm).map(Scale::Grid);
    }
    let settings = RulerSettings { unit: setup.ruler_unit };
    ruler::read(photo, &settings).map(Scale::Ruler)
}

/// The plane that follows from the scale, and from the counts where there are some.
pub(super) fn plane(scale: &Scale, prior: &CameraPrior, counts: &[CountSeen]) -> Result<PlaneEstimate, Refusal> {
    let evidence = match scale {
        Scale::Ruler(reading) => ScaleEvidence::Ruler(reading),
        Scale::Grid(grid) => ScaleEvidence::Grid(grid),
        Scale::Span(span) => ScaleEvidence::Span(*span),
    };
    plane::estimate(&evidence, prior, counts)
        .ok_or_else(|| Refusal::new(RefusalCode::NoScale, "the marks that were read do not lie in one plane"))
}

/// Refuses a camera that looked too obliquely.
pub(super) fn check_tilt(plane: &PlaneEstimate) -> Result<(), Refusal> {
    let tilt = plane.pose.tilt_deg();
    if tilt <= TILT_LIMIT_DEG {
        return Ok(());
    }
    let seen = format!("tilted by about {tilt:.0}°, the limit is {TILT_LIMIT_DEG:.0}°");
    Err(Refusal::new(RefusalCode::TiltTooLarge, seen))
}

impl Scale {
    /// What kind it is, for the record.
    pub fn kind(&self) -> ScaleKind {
        match self {
            Self::Ruler(_) => ScaleKind::Ruler,
            Self::Grid(_) => ScaleKind::Grid,
            Self::Span(_) => ScaleKind::Span,
        }
    }

    /// What the ruler counts in.
    pub fn unit(&self) -> Option<RulerUnit> {
        match self {
            Self::Ruler(reading) => reading.trains.first().map(|t| t.unit),
            Self::Grid(_) | Self::Span(_) => None,
        }
    }

    /// Marks or corners that were read.
    pub fn marks_read(&self) -> usize {
        match self {
            Self::Ruler(reading) => reading.trains.iter().map(|t| t.marks.len()).sum(),
            Self::Grid(grid) => grid.corners.len(),
            Self::Span(_) => 2,
        }
    }

    /// Longest distance between marks that were read, in mm.
    pub fn length_read_mm(&self) -> f64 {
        match self {
            Self::Ruler(reading) => reading
                .trains
                .iter()
                .filter_map(|t| Some(f64::from(t.marks.last()?.index - t.marks.first()?.index).abs() * t.pitch_mm))
                .fold(0.0, f64::max),
            Self::Grid(grid) => {
                let range = |of: fn(&(i32, i32, PhotoPoint)) -> i32| {
                    let (low, high) =
                        grid.corners.iter().map(of).fold((i32::MAX, i32::MIN), |(l, h), v| (l.min(v), h.max(v)));
                    f64::from(high.saturating_sub(low))
                };
                range(|c| c.0).max(range(|c| c.1)) * grid.pitch_mm
            }
            Self::Span(span) => span.length_mm,
        }
    }

    /// The same as the gauge's budget needs it.
    pub fn source(&self) -> ScaleSource {
        match self {
            Self::Ruler(_) => ScaleSource::Ruler { length_read_mm: self.length_read_mm() },
            Self::Grid(_) => ScaleSource::Sheet { length_read_mm: self.length_read_mm() },
            Self::Span(_) => ScaleSource::Typed,
        }
    }

    fn outline(&self) -> &[PhotoPoint] {
        match self {
            Self::Ruler(reading) => &reading.outline_px,
            Self::Grid(grid) => &grid.outline_px,
            Self::Span(_) => &[],
        }
    }

    /// What is to be left out when the fabric is looked for.
    pub fn excluded(&self) -> Vec<Vec<PhotoPoint>> {
        match self.outline() {
            [] => Vec::new(),
            outline => vec![outline.to_vec()],
        }
    }

    /// Whether the ruler lies on the fabric, from how much of its outline runs along measured fabric. `None` where that
    /// does not tell.
    ///
    /// Fabric under a ruler is followed right up to its edge. A swatch beside a ruler ends in an edge stitch or two that
    /// curl and are not followed, and a gap.
    pub fn lies_on(&self, reading: &LatticeReading) -> Option<RulerOn> {
        /// Fabric this near is taken to go on under the ruler, in stitch widths.
        const TOUCHING_STITCHES: f64 = 1.5;
        /// Share of the outline that must touch: an eighth, half of one long side of a ruler.
        const TOUCHING_SHARE: f64 = 0.12;
        /// Fabric farther than this does not lie under the ruler's edge, in stitch widths.
        const NEAR_STITCHES: f64 = 4.0;
        /// Share of the outline with fabric near it, touching or not, above which both remain possible.
        const NEAR_SHARE: f64 = 0.25;
        let points = along(self.outline());
        let stitch_px = typical_stitch_px(reading)?;
        if points.is_empty() {
            return None;
        }
        let within = |stitches: f64| {
            let near = points.iter().filter(|p| distance_to(&reading.region_px, **p) < stitches * stitch_px);
            near.count() as f64 / points.len() as f64
        };
        if within(TOUCHING_STITCHES) > TOUCHING_SHARE {
            Some(RulerOn::Fabric)
        } else if within(NEAR_STITCHES) < NEAR_SHARE {
            Some(RulerOn::Table)
        } else {
            None
        }
    }

    /// Puts what was read into the evidence for pictures.
    pub fn show(&self, evidence: &mut Evidence) {
        evidence.ruler_outline_px = self.outline().to_vec();
        if let Self::Ruler(reading) = self {
            evidence.trains = reading
                .trains
                .iter()
                .map(|t| TrainSeen {
                    unit: t.unit,
                    pitch_mm: t.pitch_mm,
                    mark_direction: t.mark_direction,
                    marks: t.marks.iter().map(|m| GraduationSeen { mark: *m, matched: true }).collect(),
                })
                .collect();
        }
    }
}

/// A hundred points evenly along a closed outline.
fn along(outline: &[PhotoPoint]) -> Vec<PhotoPoint> {
    const POINTS: f64 = 100.0;
    let sides: Vec<(PhotoPoint, PhotoPoint)> =
        outline.iter().copied().zip(outline.iter().copied().cycle().skip(1)).collect();
    let around: f64 = sides.iter().map(|(a, b)| a.distance(*b)).sum();
    let step = (around / POINTS).max(1.0);
    let mut points = Vec::new();
    for (a, b) in sides {
        let parts = (a.distance(b) / step).ceil().max(1.0);
        points.extend((0..parts as usize).map(|i| {
            let t = i as f64 / parts;
            PhotoPoint::new(a.x + t * (b.x - a.x), a.y + t * (b.y - a.y))
        }));
    }
    points
}

/// Distance of a point from a region: 0 inside it.
fn distance_to(region: &[PhotoPoint], p: PhotoPoint) -> f64 {
    if fabric::inside(region, p) {
        return 0.0;
    }
    let sides = region.iter().zip(region.iter().cycle().skip(1));
    sides
        .map(|(a, b)| {
            let (dx, dy) = (b.x - a.x, b.y - a.y);
            let t = ((p.x - a.x) * dx + (p.y - a.y) * dy) / (dx * dx + dy * dy).max(1e-9);
            let t = t.clamp(0.0, 1.0);
            p.distance(a.moved(t * dx, t * dy))
        })
        .fold(f64::INFINITY, f64::min)
}

/// Width of a stitch in the photo, from neighbouring blocks' counts.
fn typical_stitch_px(reading: &LatticeReading) -> Option<f64> {
    let (a, b) = (reading.blocks.first()?, reading.blocks.last()?);
    let (stitch, row) = reading.basis.steps_mm()?;
    let mm = ((b.stitches - a.stitches) * stitch[0] + (b.rows - a.rows) * row[0])
        .hypot((b.stitches - a.stitches) * stitch[1] + (b.rows - a.rows) * row[1]);
    let px = a.at_px.distance(b.at_px);
    (mm > 0.0).then(|| px / mm * stitch[0].hypot(stitch[1]))
}
