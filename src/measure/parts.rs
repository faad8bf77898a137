//! Parts: places of the same fabric that the lattice was not followed to in one piece, each followed by itself. The gauge is
//! that of the fabric, so all of them speak; and how far they differ tells how far what was followed may be from the whole.

use super::fabric_stage::Followed;
use super::rivals::{area_mm2, same_lattice};
use crate::fabric;
use crate::lattice::{self, LatticeReading};
use crate::plane::PlaneMap;
use crate::quantity::PhotoPoint;

/// Least area of a part beyond the parts before it, over that of the first: smaller ones hardly weigh (stated choice).
const LEAST_SHARE: f64 = 0.1;

/// A further part of the first one's fabric, with the share of it that lies in no part before it.
pub(super) struct Part {
    reading: LatticeReading,
    /// Share of its blocks that lie in no part before it, 0 to 1.
    new_share: f64,
}

impl Part {
    /// The reading as a part of the first one's fabric: the same pattern and the same stitches, in a place of its own. `None`
    /// where it is none.
    pub fn of(found: Followed, first: &Followed, before: &[Self]) -> Option<Self> {
        let same = found.decision.pattern == first.decision.pattern
            && same_lattice(&found.reading.basis, &first.reading.basis);
        let regions = before.iter().map(|part| &part.reading).chain([&first.reading]);
        let new_share = new_share(&found.reading, regions);
        (same && weighs(&found.reading, new_share, first)).then_some(Self { reading: found.reading, new_share })
    }

    /// Whether a reading would be large enough for a part beside the first one alone.
    pub fn matters(found: &Followed, first: &Followed) -> bool {
        weighs(&found.reading, new_share(&found.reading, std::iter::once(&first.reading)), first)
    }

    /// Its outline in the photo.
    pub fn outline_px(&self) -> &[PhotoPoint] {
        &self.reading.region_px
    }

    fn area_mm2(&self) -> f64 {
        self.new_share * area_mm2(&self.reading)
    }
}

/// Whether what a reading adds, the given share of it, is large enough beside the first one.
fn weighs(reading: &LatticeReading, new_share: f64, first: &Followed) -> bool {
    new_share * area_mm2(reading) > LEAST_SHARE * area_mm2(&first.reading)
}

/// Share of a reading's blocks that lie in none of the regions.
fn new_share<'a>(reading: &LatticeReading, regions: impl Iterator<Item = &'a LatticeReading>) -> f64 {
    let regions: Vec<_> = regions.collect();
    let is_new = |at| !regions.iter().any(|region| fabric::inside(&region.region_px, at));
    reading.blocks.iter().filter(|b| is_new(b.at_px)).count() as f64 / reading.blocks.len().max(1) as f64
}

/// What further parts make of the gauge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MeanOverParts {
    /// Gauge of all parts over that of the first: stitches, rows.
    pub factor: [f64; 2],
    /// Standard uncertainty of that mean for the fabric's, relative: stitches, rows.
    pub relative_u: [f64; 2],
}

/// The mean over the first part, whose gauge in the plane of `map` is given, and the others, each by its area. Its uncertainty
/// is that of a weighted mean of values that scatter alike: √(Σ w² d² × n / (n − 1)), with the weights w (their sum is 1) and
/// the differences d from the mean. `None` without further parts.
pub(super) fn mean_over_parts(
    (first, per_10cm): (&LatticeReading, (f64, f64)),
    parts: &[Part],
    map: &PlaneMap,
) -> Option<MeanOverParts> {
    let mut seen = vec![(area_mm2(first), [1.0, 1.0])];
    for part in parts {
        let mut blocks = part.reading.blocks.clone();
        super::compose::place_blocks(&mut blocks, map);
        let (stitches, rows) = lattice::fit(&blocks)?.basis.per_10cm()?;
        seen.push((part.area_mm2(), [stitches / per_10cm.0, rows / per_10cm.1]));
    }
    weighted_mean(&seen)
}

/// The mean of (weight, values); `None` for fewer than two.
fn weighted_mean(seen: &[(f64, [f64; 2])]) -> Option<MeanOverParts> {
    let (all, n) = (seen.iter().map(|(weight, _)| weight).sum::<f64>(), seen.len() as f64);
    if seen.len() < 2 || all <= 0.0 {
        return None;
    }
    let factor = [0, 1].map(|a| seen.iter().map(|(weight, values)| weight / all * values[a]).sum::<f64>());
    let relative_u = [0, 1].map(|a| {
        let squares = seen.iter().map(|(weight, values)| (weight / all * (values[a] / factor[a] - 1.0)).powi(2));
        (squares.sum::<f64>() * n / (n - 1.0)).sqrt()
    });
    Some(MeanOverParts { factor, relative_u })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of equal parts it is the standard error of a mean, s/√n: 3, 5 and 7 have the mean 5, s = 2 (from the definition).
    #[test]
    fn equal_parts_give_the_standard_error_of_a_mean() {
        let mean = weighted_mean(&[(2.0, [3.0, 1.0]), (2.0, [5.0, 1.0]), (2.0, [7.0, 1.0])]).unwrap();
        assert!((mean.factor[0] - 5.0).abs() < 1e-12 && (mean.factor[1] - 1.0).abs() < 1e-12);
        assert!((5.0 * mean.relative_u[0] - 2.0 / 3f64.sqrt()).abs() < 1e-12);
        assert!(mean.relative_u[1].abs() < 1e-12);
    }

    #[test]
    fn one_part_alone_has_no_mean() {
        assert_eq!(weighted_mean(&[(2.0, [1.0, 1.0])]), None);
        assert_eq!(weighted_mean(&[(0.0, [1.0, 1.0]), (0.0, [1.1, 1.0])]), None);
    }
}
