//! Readings of one photo against each other: whether they are of the same stitches, which holds over more of the fabric, and
//! what a refusal says of those that remain.

use super::fabric_stage::Followed;
use crate::lattice::{Basis, Decision, LatticeReading};
use crate::refusal::{Refusal, RefusalCode, Rival};

/// Two decisions see the same lattice when both densities agree within this share: coarse lattices are good to a few per
/// cent, and the nearest wrong reading is off by a quarter or more.
const SAME_LATTICE: f64 = 0.12;

/// How much more fabric than the runner-up, as area, the chosen lattice must be followed over when places disagree.
pub(super) const CLEARLY_MORE_FABRIC: f64 = 1.5;

/// Whether the larger of two lattices holds over about as much fabric as the other, so that its area does not decide.
pub(super) fn over_like_areas(larger_mm2: f64, other_mm2: f64) -> bool {
    larger_mm2 < CLEARLY_MORE_FABRIC * other_mm2
}

/// Whether both counts agree: a fit that slipped a row on its way over few of them does not.
pub(super) fn same_counts(a: &Basis, b: &Basis) -> bool {
    let (Some((s, r)), Some((t, u))) = (a.per_10cm(), b.per_10cm()) else { return false };
    (s / t - 1.0).abs() < SAME_LATTICE && (r / u - 1.0).abs() < SAME_LATTICE
}

/// The same of a reading that remains.
pub(super) fn is_of_counts(rival: &Rival, basis: &Basis) -> bool {
    let near = |a: f64, b: f64| (a / b - 1.0).abs() < SAME_LATTICE;
    basis.per_10cm().is_some_and(|(s, r)| near(rival.stitches_per_10cm, s) && near(rival.rows_per_10cm, r))
}

/// Whether two lattices may be those of the same stitches, unevenly knitted: nearer than half-way to the nearest octave
/// (2 : 3) in both densities.
pub(super) fn nearly_same(a: &Basis, b: &Basis) -> bool {
    /// Half of the logarithm of 3 ÷ 2.
    const HALF_WAY: f64 = 0.203;
    let (Some((s, r)), Some((t, u))) = (a.per_10cm(), b.per_10cm()) else { return false };
    (s / t).ln().abs() < HALF_WAY && (r / u).ln().abs() < HALF_WAY
}

/// Whether two lattices agree in both densities and in the direction of the row.
pub(super) fn same_lattice(a: &Basis, b: &Basis) -> bool {
    let near = |u: [f64; 2], v: [f64; 2]| {
        let apart = |sign: f64| (u[0] - sign * v[0]).hypot(u[1] - sign * v[1]);
        apart(1.0).min(apart(-1.0)) < SAME_LATTICE * u[0].hypot(u[1])
    };
    near(a.stitch, b.stitch) && near(a.row, b.row)
}

/// Area over which a lattice was followed: every block stands for its share of stitches and rows.
pub(super) fn area_mm2(reading: &LatticeReading) -> f64 {
    let Some((s, r)) = reading.basis.steps_mm() else { return 0.0 };
    (s[0] * r[1] - s[1] * r[0]).abs() * reading.blocks.len() as f64
}

/// What was followed over an area as a reading that remains; `None` for a lattice of one direction.
pub(super) fn rival(area_mm2: f64, followed: &Followed) -> Option<Rival> {
    let (stitches_per_10cm, rows_per_10cm) = followed.reading.basis.per_10cm()?;
    let why =
        format!("followed over {:.0} stitches by {:.0} rows", followed.reading.extent.0, followed.reading.extent.1);
    Some(Rival { stitches_per_10cm, rows_per_10cm, why, score: area_mm2 })
}

/// A decision as a reading that remains; `None` for a lattice of one direction.
pub(super) fn as_rival(decision: &Decision) -> Option<Rival> {
    let (stitches_per_10cm, rows_per_10cm) = decision.basis.per_10cm()?;
    let why = format!("read as {} on the whole fabric", decision.pattern.name);
    Some(Rival { stitches_per_10cm, rows_per_10cm, why, score: decision.score })
}

/// The refusal where places of the picture contradict each other, with what was followed and over what area.
pub(super) fn places_differ<'a>(followed: impl Iterator<Item = (f64, &'a Followed)>) -> Refusal {
    let rivals = followed.filter_map(|(area_mm2, found)| rival(area_mm2, found)).collect();
    let seen = "different places of the picture show different stitches";
    Refusal::new(RefusalCode::LatticeUnclear, seen).with_rivals(rivals)
}
