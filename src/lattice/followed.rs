//! The lattice as it was followed over the fabric: an even lattice, plus how the fabric departs from it from place to
//! place. It tells where in the photo a stitch of a row lies.

use super::grow::median;
use super::{Basis, PhaseBlock};
use crate::plane::PlaneMap;
use crate::quantity::{PhotoPoint, PlanePoint};

/// The even lattice in the photo: stitch number at a plane point p is `basis.stitch`·(p − `origin`), row number likewise.
#[derive(Debug, Clone, PartialEq)]
pub struct LatticeModel {
    /// Photo ↔ fabric plane.
    pub map: PlaneMap,
    /// Frequencies of stitches and rows in that plane.
    pub basis: Basis,
    /// Plane point of stitch 0 in row 0.
    pub origin: PlanePoint,
}

impl LatticeModel {
    /// Stitch and row number at a place of the photo; `None` beyond the plane's horizon.
    pub fn numbers(&self, p: PhotoPoint) -> Option<(f64, f64)> {
        self.map.to_plane(p).map(|p| self.numbers_on_plane(p))
    }

    fn numbers_on_plane(&self, p: PlanePoint) -> (f64, f64) {
        let (x, y) = (p.x - self.origin.x, p.y - self.origin.y);
        let along = |f: [f64; 2]| f[0] * x + f[1] * y;
        (along(self.basis.stitch), along(self.basis.row))
    }
}

/// The (stitch, row) numbers of all loops whose place in the even lattice lies inside an outline in the photo, at most
/// `most` of them.
pub fn loops_within(model: &LatticeModel, outline_px: &[PhotoPoint], most: usize) -> Vec<(i32, i32)> {
    let outline: Vec<(f64, f64)> = outline_px.iter().filter_map(|&p| model.numbers(p)).collect();
    let low = outline.iter().fold(f64::INFINITY, |a, p| a.min(p.0));
    let high = outline.iter().fold(f64::NEG_INFINITY, |a, p| a.max(p.0));
    // Casts saturate; what is no number gives an empty range.
    let whole = |low: f64, high: f64| low.ceil() as i32..=high.floor() as i32;
    let in_column = |stitch: i32| {
        let ends = crossings(&outline, f64::from(stitch));
        let rows: Vec<_> = ends.chunks_exact(2).map(|e| whole(e[0], e[1])).collect();
        rows.into_iter().flatten().map(move |row| (stitch, row))
    };
    if low <= high { whole(low, high).flat_map(in_column).take(most).collect() } else { Vec::new() }
}

/// Where the line "first coordinate = `first`" enters and leaves a closed outline: second coordinates, sorted, an even
/// number of them.
pub fn crossings(outline: &[(f64, f64)], first: f64) -> Vec<f64> {
    let next = outline.iter().cycle().skip(1);
    let mut found: Vec<f64> = outline
        .iter()
        .zip(next)
        .filter(|(a, b)| (a.0 <= first) != (b.0 <= first))
        .map(|(a, b)| a.1 + (b.1 - a.1) * (first - a.0) / (b.0 - a.0))
        .collect();
    found.sort_by(f64::total_cmp);
    found
}

/// The even lattice with the fabric's departures from it.
#[derive(Debug, Clone)]
pub struct FollowedLattice<'a> {
    model: &'a LatticeModel,
    steps_mm: ([f64; 2], [f64; 2]),
    /// Place, and the departure there in stitches and rows.
    departures: Vec<(PlanePoint, f64, f64)>,
    reach_mm: f64,
}

impl<'a> FollowedLattice<'a> {
    /// From the even lattice and the blocks that were followed (there may be none). The blocks count from an arbitrary
    /// zero: their common offset is left out. `None` where the lattice's two frequencies are parallel.
    pub fn new(model: &'a LatticeModel, blocks: &[PhaseBlock]) -> Option<Self> {
        let steps_mm = model.basis.steps_mm()?;
        let mut departures: Vec<(PlanePoint, f64, f64)> = blocks
            .iter()
            .filter_map(|b| {
                let at = model.map.to_plane(b.at_px)?;
                let (stitches, rows) = model.numbers_on_plane(at);
                let (ds, dr) = (b.stitches - stitches, b.rows - rows);
                (ds.is_finite() && dr.is_finite()).then_some((at, ds, dr))
            })
            .collect();
        let stitches = median(departures.iter().map(|d| d.1).collect());
        let rows = median(departures.iter().map(|d| d.2).collect());
        for departure in &mut departures {
            departure.1 -= stitches;
            departure.2 -= rows;
        }
        let reach_mm = NEIGHBOURS * neighbour_distance(&departures);
        Some(Self { model, steps_mm, departures, reach_mm })
    }

    /// Where the photo shows stitch number `stitch` in row number `row`; `None` beyond the plane's horizon.
    pub fn place(&self, stitch: f64, row: f64) -> Option<PhotoPoint> {
        let (ds, dr) = self.departure(self.even(stitch, row));
        self.model.map.to_photo(self.even(stitch - ds, row - dr))
    }

    /// The smaller of the distances in px between neighbouring stitches and between neighbouring rows, at a place.
    pub fn pitch_px(&self, stitch: f64, row: f64) -> Option<f64> {
        let here = self.place(stitch, row)?;
        Some(here.distance(self.place(stitch + 1.0, row)?).min(here.distance(self.place(stitch, row + 1.0)?)))
    }

    fn even(&self, stitch: f64, row: f64) -> PlanePoint {
        let (s, r) = self.steps_mm;
        self.model.origin.moved(stitch * s[0] + row * r[0], stitch * s[1] + row * r[1])
    }

    /// Departure in (stitches, rows), a Gaussian mean over the blocks near a place; (0, 0) where none is near.
    fn departure(&self, p: PlanePoint) -> (f64, f64) {
        /// Farther than this many reaches a block counts for nothing: its weight is below 0.0004.
        const FARTHEST: f64 = 4.0;
        let (mut weights, mut stitches, mut rows) = (0.0, 0.0, 0.0);
        for (at, s, r) in &self.departures {
            let q = at.distance(p) / self.reach_mm;
            if q < FARTHEST {
                let w = (-0.5 * q * q).exp();
                weights += w;
                stitches += w * s;
                rows += w * r;
            }
        }
        if weights > 0.0 { (stitches / weights, rows / weights) } else { (0.0, 0.0) }
    }
}

/// Reach of a block, in distances of neighbouring blocks: enough to bridge them smoothly.
const NEIGHBOURS: f64 = 1.5;

/// Median distance of a block to its nearest neighbour, over a sample of the blocks.
fn neighbour_distance(blocks: &[(PlanePoint, f64, f64)]) -> f64 {
    const SAMPLE: usize = 50;
    let nearest =
        |p: PlanePoint| blocks.iter().map(|b| b.0.distance(p)).filter(|&d| d > 1e-6).fold(f64::INFINITY, f64::min);
    median(blocks.iter().take(SAMPLE).map(|b| nearest(b.0)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Matrix3;

    fn model() -> LatticeModel {
        let map = PlaneMap::new(Matrix3::new(0.1, 0.0, 0.0, 0.0, 0.1, 0.0, 0.0, 0.0, 1.0), None).unwrap();
        LatticeModel {
            map,
            basis: Basis { stitch: [0.2, 0.0], row: [0.0, -0.25] },
            origin: PlanePoint::new(10.0, 40.0),
        }
    }

    #[test]
    fn loops_inside_an_outline() {
        let corner = PhotoPoint::new;
        let outline = [corner(90.0, 390.0), corner(260.0, 390.0), corner(260.0, 410.0), corner(90.0, 410.0)];
        assert_eq!(loops_within(&model(), &outline, 100), [(0, 0), (1, 0), (2, 0), (3, 0)]);
        assert_eq!(loops_within(&model(), &outline, 3).len(), 3);
        assert!(loops_within(&model(), &[], 100).is_empty());
    }

    #[test]
    fn even_lattice_has_its_steps() {
        let model = model();
        let followed = FollowedLattice::new(&model, &[]).unwrap();
        let p = followed.place(2.0, 3.0).unwrap();
        assert!(p.distance(PhotoPoint::new(200.0, 280.0)) < 1e-9);
        assert_eq!(model.numbers(p).map(|(s, r)| (s.round(), r.round())), Some((2.0, 3.0)));
        assert!((followed.pitch_px(0.0, 0.0).unwrap() - 40.0).abs() < 1e-9);
    }

    /// Blocks on a fabric whose stitches grow wider to the right by a known curve.
    #[test]
    fn departures_are_followed() {
        let model = model();
        let curve = |x_mm: f64| 0.002 * (x_mm - 40.0).powi(2);
        let mut blocks = Vec::new();
        for ix in 0..16 {
            for iy in 0..8 {
                let at = PlanePoint::new(5.0 * f64::from(ix), 5.0 * f64::from(iy));
                let (s, r) = model.numbers_on_plane(at);
                let at_px = model.map.to_photo(at).unwrap();
                let stitches = s + curve(at.x) - 7.0;
                blocks.push(PhaseBlock { at, at_px, stitches, rows: r, stitches_sigma: 0.01, rows_sigma: 0.01 });
            }
        }
        let followed = FollowedLattice::new(&model, &blocks).unwrap();
        let error = |stitch: f64| {
            let p = model.map.to_plane(followed.place(stitch, 4.0).unwrap()).unwrap();
            model.numbers_on_plane(p).0 + curve(p.x) - stitch
        };
        // The same up to the offset that is left out.
        let middle = error(6.0);
        for stitch in [2.0, 4.0, 8.0, 10.0] {
            assert!((error(stitch) - middle).abs() < 0.15, "{stitch}: {} {middle}", error(stitch));
        }
    }
}
