//! The scale: which of ruler, grid and typed span gives it, and the plane that follows.

use super::Setup;
use super::fabric_stage::independent_counts;
use super::under_ruler::seems_made_of;
use crate::card::CHECK_LENGTH_MM;
use crate::gauge::{RulerMake, ScaleSource};
use crate::lattice::LatticeReading;
use crate::photo::Photo;
use crate::plane::{self, CameraPrior, CountSeen, PlaneEstimate, PlaneMap, ScaleEvidence, Span};
use crate::quantity::PhotoPoint;
use crate::record::{Evidence, GraduationSeen, ScaleKind, TrainSeen};
use crate::refusal::{Refusal, RefusalCode};
use crate::ruler::{
    self, CardReading, GraduationTrain, GridReading, Id1Reading, PlacedPoint, RulerReading, RulerSettings, RulerUnit,
};

/// Beyond this tilt loops hide one another and the plane model no longer describes a thick fabric: refused. Twice the
/// tilt people hold a phone at without meaning to (a stated choice).
const TILT_LIMIT_DEG: f64 = 35.0;

/// What gave the scale.
pub(super) enum Scale {
    /// What it seems to be made of, too.
    Ruler(RulerReading, RulerMake),
    Grid(GridReading),
    /// The calibration card in its true mm, and its check length where the user measured it.
    Card(CardReading, Option<f64>),
    Id1(Id1Reading),
    Span(Span),
}

/// The edges of an ID-1 card may miss a plane's view of them by so many standard uncertainties (root mean square): what
/// misses more is another rectangle.
const ID1_MISFIT: f64 = 3.0;

/// The corners of a rectangle given as left, top, width, height.
pub(super) fn rectangle([x, y, w, h]: [f64; 4]) -> Vec<PhotoPoint> {
    [(x, y), (x + w, y), (x + w, y + h), (x, y + h)].map(|(x, y)| PhotoPoint::new(x, y)).to_vec()
}

/// Reads whatever is to give the scale.
pub(super) fn read(photo: &Photo, setup: &Setup) -> Result<Scale, Refusal> {
    if let Some(span) = setup.span {
        return Ok(Scale::Span(span));
    }
    if setup.card {
        let mut card = ruler::read_card(photo)?;
        // As printed: what the check length says of every other length on the sheet.
        let printed = setup.card_length_mm.map_or(1.0, |mm| mm / CHECK_LENGTH_MM);
        for corner in &mut card.corners {
            (corner.along_mm, corner.across_mm) = (printed * corner.along_mm, printed * corner.across_mm);
        }
        return Ok(Scale::Card(card, setup.card_length_mm));
    }
    if setup.id1 {
        return ruler::read_id1(photo).map(Scale::Id1);
    }
    if let Some(pitch_mm) = setup.grid_mm {
        return ruler::read_grid(photo, pitch_mm).map(Scale::Grid);
    }
    let settings = RulerSettings { unit: setup.ruler_unit };
    let reading = ruler::read(photo, &settings)?;
    let make = seems_made_of(photo, &reading);
    Ok(Scale::Ruler(reading, make))
}

/// The plane that follows from the scale, and from the counts where there are some.
pub(super) fn plane(scale: &Scale, prior: &CameraPrior, counts: &[CountSeen]) -> Result<PlaneEstimate, Refusal> {
    let evidence = match scale {
        Scale::Ruler(reading, RulerMake::Tape) => ScaleEvidence::Tape(reading),
        Scale::Ruler(reading, _) => ScaleEvidence::Ruler(reading),
        Scale::Grid(grid) => ScaleEvidence::Grid(grid),
        Scale::Card(card, _) => ScaleEvidence::Places(&card.corners),
        Scale::Id1(card) => ScaleEvidence::Places(&card.edges),
        Scale::Span(span) => ScaleEvidence::Span(*span),
    };
    let estimate = plane::estimate(&evidence, prior, counts)
        .ok_or_else(|| Refusal::new(RefusalCode::NoScale, "the marks that were read do not lie in one plane"))?;
    if matches!(scale, Scale::Id1(_)) && estimate.graduation_misfit > ID1_MISFIT {
        return Err(ruler::no_id1("what looked like one has other measures"));
    }
    Ok(estimate)
}

/// The better reason where no lattice was found in a plane that is surely too oblique.
pub(super) fn oblique_or(plane: &PlaneEstimate, refusal: Refusal) -> Refusal {
    let sure = plane.pose.tilt_deg() - plane.tilt_sigma_deg > TILT_LIMIT_DEG;
    if sure { check_tilt(plane).err().unwrap_or(refusal) } else { refusal }
}

/// Refuses a camera that looked too obliquely, or may have: a steep tilt is known badly where the lens is not.
///
/// A tilt θ shortens lengths along its slope by cos θ, so what it is known to, σ, makes them uncertain by σ tan θ, relatively.
pub(super) fn check_tilt(plane: &PlaneEstimate) -> Result<(), Refusal> {
    /// The most of that (stated choice: half-widths of 6 % from the tilt alone tell little, and the usual tilt, which the
    /// estimate then leans on, is no evidence of this photo's).
    const MOST_UNCERTAIN: f64 = 0.03;
    let (tilt, sigma) = (plane.pose.tilt_deg(), plane.tilt_sigma_deg);
    if tilt + sigma > TILT_LIMIT_DEG {
        let seen = format!("tilted by {tilt:.0}° give or take {sigma:.0}°, the limit is {TILT_LIMIT_DEG:.0}°");
        return Err(Refusal::new(RefusalCode::TiltTooLarge, seen));
    }
    let uncertain = sigma.to_radians() * tilt.to_radians().tan();
    if uncertain > MOST_UNCERTAIN {
        let seen = format!(
            "tilted by {tilt:.0}° give or take {sigma:.0}°, which leaves lengths along its slope uncertain by {:.0} %",
            100.0 * uncertain
        );
        return Err(Refusal::new(RefusalCode::TiltTooLarge, seen));
    }
    Ok(())
}

impl Scale {
    /// What kind it is, for the record.
    pub fn kind(&self) -> ScaleKind {
        match self {
            Self::Ruler(..) => ScaleKind::Ruler,
            Self::Grid(_) => ScaleKind::Grid,
            Self::Card(..) => ScaleKind::Card,
            Self::Id1(_) => ScaleKind::Id1,
            Self::Span(_) => ScaleKind::Span,
        }
    }

    /// What the ruler counts in.
    pub fn unit(&self) -> Option<RulerUnit> {
        match self {
            Self::Ruler(reading, _) => reading.trains.first().map(|t| t.unit),
            Self::Grid(_) | Self::Card(..) | Self::Id1(_) | Self::Span(_) => None,
        }
    }

    /// Marks or corners that were read.
    pub fn marks_read(&self) -> usize {
        match self {
            Self::Ruler(reading, _) => reading.trains.iter().map(|t| t.marks.len()).sum(),
            Self::Grid(grid) => grid.corners.len(),
            Self::Card(card, _) => card.corners.len(),
            Self::Id1(card) => card.edges.len(),
            Self::Span(_) => 2,
        }
    }

    /// Longest distance between marks that were read, in mm.
    pub fn length_read_mm(&self) -> f64 {
        match self {
            Self::Ruler(reading, _) => reading.trains.iter().map(GraduationTrain::length_mm).fold(0.0, f64::max),
            Self::Grid(grid) => {
                let range = |of: fn(&(i32, i32, PhotoPoint)) -> i32| {
                    let (low, high) =
                        grid.corners.iter().map(of).fold((i32::MAX, i32::MIN), |(l, h), v| (l.min(v), h.max(v)));
                    f64::from(high.saturating_sub(low))
                };
                range(|c| c.0).max(range(|c| c.1)) * grid.pitch_mm
            }
            Self::Card(card, _) => longest_mm(&card.corners),
            Self::Id1(card) => longest_mm(&card.edges),
            Self::Span(span) => span.length_mm,
        }
    }

    /// The same as the gauge's budget needs it.
    pub fn source(&self) -> ScaleSource {
        match self {
            Self::Ruler(..) => ScaleSource::Ruler { length_read_mm: self.length_read_mm() },
            Self::Grid(_) => ScaleSource::Sheet { length_read_mm: self.length_read_mm() },
            Self::Card(_, check_length_mm) => ScaleSource::Card { check_length_mm: *check_length_mm },
            Self::Id1(_) => ScaleSource::Id1,
            Self::Span(_) => ScaleSource::Typed,
        }
    }

    /// Outline of the ruler or card; empty for a span.
    pub fn outline(&self) -> &[PhotoPoint] {
        match self {
            Self::Ruler(reading, _) => &reading.outline_px,
            Self::Grid(grid) => &grid.outline_px,
            Self::Card(card, _) => &card.outline_px,
            Self::Id1(card) => &card.outline_px,
            Self::Span(_) => &[],
        }
    }

    /// Direction in the plane along which the ruler, or the typed span, lies, in degrees; cards lie anyhow.
    pub fn direction_deg(&self, map: &PlaneMap) -> Option<f64> {
        let (from, to) = match self {
            Self::Ruler(reading, _) => {
                let marks = &reading.trains.first()?.marks;
                (marks.first()?.at, marks.last()?.at)
            }
            Self::Span(span) => (span.from, span.to),
            Self::Grid(_) | Self::Card(..) | Self::Id1(_) => return None,
        };
        let (from, to) = (map.to_plane(from)?, map.to_plane(to)?);
        Some((to.y - from.y).atan2(to.x - from.x).to_degrees())
    }

    /// What a ruler seems to be made of; cards and spans have no make.
    pub fn make(&self) -> RulerMake {
        match self {
            Self::Ruler(_, make) => *make,
            Self::Grid(_) | Self::Card(..) | Self::Id1(_) | Self::Span(_) => RulerMake::default(),
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
    /// of the counts that comes from the fabric itself, so a curved garment would be taken for a tilted camera. Beside a ruler
    /// there are none either: where its marks show their directions they fix the plane by themselves, and where they do not,
    /// uneven knitting passes for perspective.
    pub fn supported_by(&self, reading: &LatticeReading) -> Vec<CountSeen> {
        match self {
            Self::Grid(_) | Self::Card(..) | Self::Id1(_) => independent_counts(reading),
            Self::Ruler(..) | Self::Span(_) => Vec::new(),
        }
    }

    /// Puts what was read into the evidence for pictures.
    pub fn show(&self, evidence: &mut Evidence) {
        evidence.ruler_outline_px = self.outline().to_vec();
        match self {
            Self::Card(card, _) => evidence.places_px = card.corners.iter().map(|c| c.at).collect(),
            Self::Id1(card) => {
                evidence.places_px = card.edges.iter().map(|c| c.at).collect();
                evidence.blanked_px.clone_from(&card.outline_px);
            }
            Self::Grid(grid) => evidence.places_px = grid.corners.iter().map(|c| c.2).collect(),
            Self::Ruler(..) | Self::Span(_) => {}
        }
        if let Self::Ruler(reading, _) = self {
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

/// Longer of the two extents of places, in mm.
fn longest_mm(places: &[PlacedPoint]) -> f64 {
    let extent = |of: fn(&PlacedPoint) -> f64| {
        let (low, high) =
            places.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        (high - low).max(0.0)
    };
    extent(|p| p.along_mm).max(extent(|p| p.across_mm))
}
