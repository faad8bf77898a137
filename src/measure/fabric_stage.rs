//! The fabric: where it is, which lattice it has, and the counts over it.

use super::Setup;
use crate::fabric::{self, FabricSeed};
use crate::lattice::{self, Basis, Decision, Declared, Harmonic, LatticeReading, PhaseBlock};
use crate::photo::Photo;
use crate::plane::{CountSeen, PlaneMap};
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::record::Evidence;
use crate::refusal::{Refusal, RefusalCode, Rival};

/// Fewest stitches and rows, along either axis, that a measurement stands on (design choice: below this a lattice is too
/// easily mistaken, and edge stitches weigh too much).
const LEAST_EXTENT: f64 = 6.0;

/// Most counts given to the plane's fit: more add nothing, since neighbouring blocks repeat each other.
const COUNTS_FOR_PLANE: usize = 120;

/// Least share of the lattice lines' power that lies off both axes. Crossing lines (a cutting mat, ruled paper) add up to
/// f(x) + g(y), whose spectrum lies on the axes alone; loops lean, and put a fifth to two thirds of it between them.
const CROSSED_SHARE: f64 = 0.06;

/// Two decisions see the same lattice when both densities agree within this share: coarse lattices are good to a few per
/// cent, and the nearest wrong reading is off by a quarter or more.
const SAME_LATTICE: f64 = 0.12;

/// How much more fabric than the runner-up, as area, the chosen lattice must be followed over when places disagree.
const CLEARLY_MORE_FABRIC: f64 = 1.5;

/// Skew beyond which a lattice needs a surer decision, in degrees, and the margin it then needs: twist of the yarn skews
/// fabric by a few degrees, and a sheared near-duplicate of the true lattice is the usual wrong reading.
const UNUSUAL_SKEW_DEG: f64 = 7.0;
const MARGIN_WHEN_SKEWED: f64 = 12.0;

/// How much larger its margin must be instead, where both are followed over like areas: a lattice twice as fine holds
/// wherever the true one holds, but its decision is then a narrow one.
const CLEARLY_SURER: f64 = 3.0;

/// The lattice that was decided on and followed.
pub(super) struct Followed {
    pub decision: Decision,
    pub reading: LatticeReading,
}

/// What the stages of the fabric look at.
pub(super) struct View<'a> {
    pub photo: &'a Photo,
    pub map: &'a PlaneMap,
    pub excluded: &'a [Vec<PhotoPoint>],
    pub region: Option<&'a [PhotoPoint]>,
}

impl View<'_> {
    /// Places that may be knitted, best first.
    pub fn seeds(&self) -> Result<Vec<FabricSeed>, Refusal> {
        fabric::seeds(self.photo, self.map, self.excluded, self.region)
    }

    /// Decides at each seed, follows each different lattice over the photo, and takes the one that holds over most
    /// fabric. Places disagree when a table or a garter border repeats too; when two hold over like areas, refused.
    pub fn follow(&self, seeds: &[FabricSeed], setup: &Setup) -> Result<Followed, Refusal> {
        if setup.stitch.is_none() {
            return self.recognise(seeds, setup);
        }
        let mut first_refusal = None;
        let mut different: Vec<Decision> = Vec::new();
        for seed in seeds {
            match self.decide(seed, setup) {
                Ok(decision) => keep_surest(&mut different, decision),
                Err(refusal) => {
                    first_refusal.get_or_insert(refusal);
                }
            }
        }
        let mut followed: Vec<(f64, Followed)> = Vec::new();
        for decision in different {
            match self.grow(&decision) {
                Ok(reading) => followed.push((area_mm2(&reading), Followed { decision, reading })),
                Err(refusal) => {
                    first_refusal.get_or_insert(refusal);
                }
            }
        }
        followed.sort_by(|a, b| b.0.total_cmp(&a.0));
        if let [(most, a), (next, b), ..] = followed.as_slice()
            && *most < CLEARLY_MORE_FABRIC * next
            && !same_lattice(&a.reading.basis, &b.reading.basis)
        {
            if b.decision.margin > CLEARLY_SURER * a.decision.margin {
                followed.swap(0, 1);
            } else if a.decision.margin < CLEARLY_SURER * b.decision.margin {
                let rivals = followed.iter().filter_map(|(area, f)| rival(*area, f)).collect();
                let seen = "different places of the picture show different stitches";
                return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(rivals));
            }
        }
        match followed.into_iter().next() {
            Some((_, mut chosen)) => {
                chosen.decision.stands_on.places.of = seeds.len();
                Ok(chosen)
            }
            None => Err(first_refusal.unwrap_or_else(|| Refusal::new(RefusalCode::NotKnit, ""))),
        }
    }

    /// What the user says, as it looks at a seed.
    pub(super) fn declared(&self, seed: &FabricSeed, setup: &Setup) -> Declared {
        Declared {
            pattern: setup.stitch.clone(),
            row_direction_deg: setup.row_direction_deg.and_then(|deg| on_plane_deg(self.map, seed.centre, deg)),
            expected_per_10cm: setup.expected,
            outlined: self.region.is_some(),
        }
    }

    fn decide(&self, seed: &FabricSeed, setup: &Setup) -> Result<Decision, Refusal> {
        let decision = lattice::decide(&seed.sheets, &self.declared(seed, setup))?;
        check_crossed(&decision)?;
        Ok(decision)
    }

    /// Follows the lattice over the fabric, and refuses a region too small to stand on.
    pub(super) fn grow(&self, decision: &Decision) -> Result<LatticeReading, Refusal> {
        let reading = lattice::grow(self.photo, self.map, decision, self.excluded, self.region)?;
        let (stitches, rows) = reading.extent;
        if stitches < LEAST_EXTENT || rows < LEAST_EXTENT {
            let seen = format!(
                "{stitches:.0} stitches by {rows:.0} rows could be followed, at least {LEAST_EXTENT:.0} of each are needed"
            );
            return Err(Refusal::new(RefusalCode::TooFewStitches, seen));
        }
        if !same_counts(&reading.basis, &decision.basis) {
            let seen = "the counts over the fabric are not those that its lines show at the place read first";
            return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(decision.rivals.clone()));
        }
        let skew_deg = skew_deg(&reading.basis);
        if skew_deg.abs() > UNUSUAL_SKEW_DEG && decision.margin < MARGIN_WHEN_SKEWED {
            let seen = format!("the best reading would be skewed by {skew_deg:.0} degrees");
            return Err(Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(decision.rivals.clone()));
        }
        Ok(reading)
    }
}

/// Refuses crossing lines.
pub(super) fn check_crossed(decision: &Decision) -> Result<(), Refusal> {
    if crossed_share(&decision.harmonics) < CROSSED_SHARE {
        return Err(Refusal::new(RefusalCode::NotKnit, "what repeats are crossing lines, not loops"));
    }
    Ok(())
}

/// Whether both counts agree: a fit that slipped a row on its way over few of them does not.
fn same_counts(a: &Basis, b: &Basis) -> bool {
    let (Some((s, r)), Some((t, u))) = (a.per_10cm(), b.per_10cm()) else { return false };
    (s / t - 1.0).abs() < SAME_LATTICE && (r / u - 1.0).abs() < SAME_LATTICE
}

/// Keeps of each lattice the decision with the largest margin, and counts the places that agree on it.
fn keep_surest(different: &mut Vec<Decision>, mut decision: Decision) {
    match different.iter_mut().find(|d| same_lattice(&d.basis, &decision.basis)) {
        Some(known) => {
            let agree = known.stands_on.places.agree + 1;
            if known.margin < decision.margin {
                std::mem::swap(known, &mut decision);
            }
            known.stands_on.places.agree = agree;
        }
        None => different.push(decision),
    }
}

/// Whether two lattices agree in both densities and in the direction of the row.
pub(super) fn same_lattice(a: &Basis, b: &Basis) -> bool {
    let near = |u: [f64; 2], v: [f64; 2]| {
        let apart = |sign: f64| (u[0] - sign * v[0]).hypot(u[1] - sign * v[1]);
        apart(1.0).min(apart(-1.0)) < SAME_LATTICE * u[0].hypot(u[1])
    };
    near(a.stitch, b.stitch) && near(a.row, b.row)
}

/// Departure of the angle between row and wale from a right angle, in degrees.
fn skew_deg(basis: &Basis) -> f64 {
    let (s, r) = (basis.stitch, basis.row);
    let sine = (s[0] * r[0] + s[1] * r[1]) / (s[0].hypot(s[1]) * r[0].hypot(r[1])).max(1e-12);
    sine.clamp(-1.0, 1.0).asin().to_degrees()
}

/// Share of the low lattice lines' power that lies off both axes.
fn crossed_share(harmonics: &[Harmonic]) -> f64 {
    let low = |h: &&Harmonic| h.h.fract() == 0.0 && h.k.fract() == 0.0 && h.h.abs() <= 2.0 && h.k.abs() <= 2.0;
    let power = |h: &Harmonic| h.strength * h.strength;
    let all: f64 = harmonics.iter().filter(low).map(power).sum();
    let crossed: f64 = harmonics.iter().filter(low).filter(|h| h.h != 0.0 && h.k != 0.0).map(power).sum();
    if all > 0.0 { crossed / all } else { 1.0 }
}

/// Area over which a lattice was followed: every block stands for its share of stitches and rows.
pub(super) fn area_mm2(reading: &LatticeReading) -> f64 {
    let Some((s, r)) = reading.basis.steps_mm() else { return 0.0 };
    (s[0] * r[1] - s[1] * r[0]).abs() * reading.blocks.len() as f64
}

pub(super) fn rival(area_mm2: f64, followed: &Followed) -> Option<Rival> {
    let (stitches_per_10cm, rows_per_10cm) = followed.reading.basis.per_10cm()?;
    let why =
        format!("followed over {:.0} stitches by {:.0} rows", followed.reading.extent.0, followed.reading.extent.1);
    Some(Rival { stitches_per_10cm, rows_per_10cm, why, score: area_mm2 })
}

/// A direction in the photo, as it lies in the plane at a place, both in degrees.
fn on_plane_deg(map: &PlaneMap, at: PlanePoint, photo_deg: f64) -> Option<f64> {
    let inverse = map.photo_per_plane(at)?.try_inverse()?;
    let (sin, cos) = photo_deg.to_radians().sin_cos();
    let direction = inverse * nalgebra::Vector2::new(cos, sin);
    Some(direction.y.atan2(direction.x).to_degrees())
}

/// Puts what was followed into the evidence for pictures.
pub(super) fn show(reading: &LatticeReading, evidence: &mut Evidence) {
    evidence.region_px = reading.region_px.clone();
    evidence.blocks = reading.blocks.clone();
}

/// Blocks spaced widely enough to be independent of each other, as evidence for the plane.
pub(super) fn independent_counts(reading: &LatticeReading) -> Vec<CountSeen> {
    let mut spacing = reading.correlation_mm.max(1e-3);
    let mut kept = spaced(&reading.blocks, spacing);
    while kept.len() > COUNTS_FOR_PLANE {
        spacing *= 1.3;
        kept = spaced(&reading.blocks, spacing);
    }
    kept.into_iter()
        .map(|b| CountSeen {
            at: b.at_px,
            stitches: b.stitches,
            rows: b.rows,
            stitches_sigma: b.stitches_sigma.max(1e-3),
            rows_sigma: b.rows_sigma.max(1e-3),
        })
        .collect()
}

/// Blocks no two of which are nearer than `spacing` mm; one more than the limit at most.
fn spaced(blocks: &[PhaseBlock], spacing: f64) -> Vec<&PhaseBlock> {
    let mut kept: Vec<&PhaseBlock> = Vec::new();
    for block in blocks {
        if kept.iter().all(|k| k.at.distance(block.at) >= spacing) {
            kept.push(block);
            if kept.len() > COUNTS_FOR_PLANE {
                break;
            }
        }
    }
    kept
}
