//! The fabric: where it is, which lattice it has, and the counts over it.

use super::Setup;
use crate::fabric;
use crate::lattice::{self, Decision, Declared, LatticeReading};
use crate::photo::Photo;
use crate::plane::{CountSeen, PlaneMap};
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::record::Evidence;
use crate::refusal::{Refusal, RefusalCode};

/// Fewest stitches and rows, along either axis, that a measurement stands on (design choice: below this a lattice is too
/// easily mistaken, and edge stitches weigh too much).
const LEAST_EXTENT: f64 = 6.0;

/// Most counts given to the plane's fit: more add nothing, since neighbouring blocks repeat each other.
const COUNTS_FOR_PLANE: usize = 120;

/// Finds the fabric and decides on its lattice. The seeds are tried best first; the first decision stands. Where none
/// decides, the refusal of the best seed is given, unless another names readings to choose from.
pub(super) fn decide(
    photo: &Photo,
    map: &PlaneMap,
    setup: &Setup,
    excluded: &[Vec<PhotoPoint>],
    region: Option<&[PhotoPoint]>,
) -> Result<Decision, Refusal> {
    let seeds = fabric::seeds(photo, map, excluded, region)?;
    let mut first_refusal = None;
    for seed in &seeds {
        let declared = Declared {
            pattern: setup.stitch.clone(),
            row_direction_deg: setup.row_direction_deg.and_then(|deg| on_plane_deg(map, seed.centre, deg)),
            expected_per_10cm: setup.expected,
        };
        match lattice::decide(&seed.sheets, &declared) {
            Ok(decision) => return Ok(decision),
            Err(refusal) => {
                first_refusal.get_or_insert(refusal);
            }
        }
    }
    Err(first_refusal.unwrap_or_else(|| Refusal::new(RefusalCode::NotKnit, "")))
}

/// A direction in the photo, as it lies in the plane at a place, both in degrees.
fn on_plane_deg(map: &PlaneMap, at: PlanePoint, photo_deg: f64) -> Option<f64> {
    let inverse = map.photo_per_plane(at)?.try_inverse()?;
    let (sin, cos) = photo_deg.to_radians().sin_cos();
    let direction = inverse * nalgebra::Vector2::new(cos, sin);
    Some(direction.y.atan2(direction.x).to_degrees())
}

/// Follows the lattice over the fabric, and refuses a region too small to stand on.
pub(super) fn follow(
    photo: &Photo,
    map: &PlaneMap,
    decision: &Decision,
    excluded: &[Vec<PhotoPoint>],
    region: Option<&[PhotoPoint]>,
) -> Result<LatticeReading, Refusal> {
    let reading = lattice::grow(photo, map, decision, excluded, region)?;
    let (stitches, rows) = reading.extent;
    if stitches < LEAST_EXTENT || rows < LEAST_EXTENT {
        let seen = format!(
            "{stitches:.0} stitches by {rows:.0} rows could be followed, at least {LEAST_EXTENT:.0} of each are needed"
        );
        return Err(Refusal::new(RefusalCode::TooFewStitches, seen));
    }
    Ok(reading)
}

/// Puts what was followed into the evidence for pictures.
pub(super) fn show(reading: &LatticeReading, evidence: &mut Evidence) {
    evidence.region_px = reading.region_px.clone();
    evidence.blocks = reading.blocks.clone();
}

/// Blocks spaced widely enough to be independent of each other, as evidence for the plane.
pub(super) fn independent_counts(reading: &LatticeReading) -> Vec<CountSeen> {
    let mut spacing = reading.correlation_mm.max(1e-3);
    loop {
        let mut kept: Vec<&lattice::PhaseBlock> = Vec::new();
        for block in &reading.blocks {
            if kept.iter().all(|k| k.at.distance(block.at) >= spacing) {
                kept.push(block);
                if kept.len() > COUNTS_FOR_PLANE {
                    break;
                }
            }
        }
        if kept.len() > COUNTS_FOR_PLANE {
            spacing *= 1.3;
            continue;
        }
        return kept
            .into_iter()
            .map(|b| CountSeen {
                at: b.at_px,
                stitches: b.stitches,
                rows: b.rows,
                stitches_sigma: b.stitches_sigma.max(1e-3),
                rows_sigma: b.rows_sigma.max(1e-3),
            })
            .collect();
    }
}
