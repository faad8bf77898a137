//! The scale: which of ruler, grid and typed span gives it, and the plane that follows.

use super::Setup;
use super::fabric_stage::independent_counts;
use super::under_ruler::seems_made_of;
use crate::gauge::{RulerMake, ScaleSource};
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

    /// Outline of the ruler or card; empty for a span.
    pub fn outline(&self) -> &[PhotoPoint] {
        match self {
            Self::Ruler(reading) => &reading.outline_px,
            Self::Grid(grid) => &grid.outline_px,
            Self::Span(_) => &[],
        }
    }

    /// What a ruler seems to be made of; cards and spans have no make.
    pub fn make(&self, photo: &Photo) -> RulerMake {
        match self {
            Self::Ruler(reading) => seems_made_of(photo, reading),
            Self::Grid(_) | Self::Span(_) => RulerMake::default(),
        }
    }

    /// What is to be left out when the fabric is looked for.
    pub fn excluded(&self) -> Vec<Vec<PhotoPoint>> {
        match self.outline() {
            [] => Vec::new(),
            outline => vec![outline.to_vec()],
        }
    }

    /// The counts that may speak about the plane. Beside a typed span there are none: nothing in it contradicts a slope
    /// of the counts that comes from the fabric itself, so a curved garment would be taken for a tilted camera.
    pub fn supported_by(&self, reading: &LatticeReading) -> Vec<CountSeen> {
        match self {
            Self::Ruler(_) | Self::Grid(_) => independent_counts(reading),
            Self::Span(_) => Vec::new(),
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
