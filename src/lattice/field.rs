//! The grown blocks as one smooth function: foretells places some way off, across what a ruler hides.

use super::grow::{Node, Nodes, SPACING};
use super::phase::Frame;
use crate::quantity::PlanePoint;

/// The places of all blocks as a quadratic function of their counts, to foretell places some way off.
pub(super) struct Field {
    origin: (f64, f64),
    terms: nalgebra::SMatrix<f64, 6, 2>,
    inverse: nalgebra::SMatrix<f64, 6, 6>,
    /// Scatter of the blocks about the function, in mm, and the smaller of the two steps.
    pub scatter_mm: f64,
    pub step_mm: f64,
}

impl Field {
    fn row(&self, at: (i32, i32)) -> nalgebra::SVector<f64, 6> {
        Self::terms_at(self.origin, at)
    }

    fn terms_at(origin: (f64, f64), at: (i32, i32)) -> nalgebra::SVector<f64, 6> {
        let (u, v) = (f64::from(at.0) - origin.0, f64::from(at.1) - origin.1);
        nalgebra::SVector::<f64, 6>::from([1.0, u, v, u * u, u * v, v * v])
    }

    /// Least squares over all blocks; `None` for too few.
    pub fn fit(nodes: &Nodes) -> Option<Self> {
        let n = nodes.len() as f64;
        if nodes.len() < 16 {
            return None;
        }
        let sum = nodes.keys().fold((0.0, 0.0), |a, k| (a.0 + f64::from(k.0), a.1 + f64::from(k.1)));
        let origin = (sum.0 / n, sum.1 / n);
        let (normal, right) = sums(nodes, |at| Self::terms_at(origin, at));
        let inverse = normal.try_inverse()?;
        let terms = inverse * right;
        let miss = |(&at, node): (&(i32, i32), &Node)| {
            let p = terms.transpose() * Self::terms_at(origin, at);
            (p.x - node.settled().x).powi(2) + (p.y - node.settled().y).powi(2)
        };
        let scatter_mm = (nodes.iter().map(miss).sum::<f64>() / (n - 6.0)).sqrt();
        let f = nodes.values().next()?.frame;
        let step_mm = f.stitch_mm[0].hypot(f.stitch_mm[1]).min(f.row_mm[0].hypot(f.row_mm[1]));
        Some(Self { origin, terms, inverse, scatter_mm, step_mm })
    }

    /// By how many stitches or rows, whichever are more, the blocks that `all` has beyond those of `first`, which this was
    /// fitted to, lie off the smooth function that both sides follow: least squares with a step between the two. A miscount
    /// under a hidden strip is a step of one. Unlike what one side foretells, this knows the fabric's course on both. `None`
    /// where the other side is too small to say.
    pub fn step_beyond(&self, first: &Nodes, all: &Nodes) -> Option<f64> {
        const LEAST: usize = 8;
        let is_beyond = |at: (i32, i32)| !first.contains_key(&at);
        if all.keys().filter(|at| is_beyond(**at)).count() < LEAST {
            return None;
        }
        let (normal, right) = sums::<7>(all, |at| self.row(at).push(f64::from(u8::from(is_beyond(at)))));
        let terms = normal.try_inverse()? * right;
        let f = first.values().next()?.frame;
        let steps = nalgebra::Matrix2::new(f.stitch_mm[0], f.row_mm[0], f.stitch_mm[1], f.row_mm[1]);
        let off = steps.try_inverse()? * nalgebra::Vector2::new(terms[(6, 0)], terms[(6, 1)]);
        Some(off.amax())
    }

    /// Place and steps foretold for a block.
    pub fn frame(&self, at: (i32, i32)) -> Option<Frame> {
        let (u, v) = (f64::from(at.0) - self.origin.0, f64::from(at.1) - self.origin.1);
        let of = |row: [f64; 6]| {
            let p = self.terms.transpose() * nalgebra::SVector::<f64, 6>::from(row);
            [p.x, p.y]
        };
        let place = of([1.0, u, v, u * u, u * v, v * v]);
        let per_cell = |d: [f64; 2]| d.map(|c| c / f64::from(SPACING));
        let stitch_mm = per_cell(of([0.0, 1.0, 0.0, 2.0 * u, v, 0.0]));
        let row_mm = per_cell(of([0.0, 0.0, 1.0, 0.0, u, 2.0 * v]));
        let area = stitch_mm[0] * row_mm[1] - stitch_mm[1] * row_mm[0];
        (area.is_finite() && area.abs() > 1e-6).then(|| Frame {
            at: PlanePoint::new(place[0], place[1]),
            stitch_mm,
            row_mm,
        })
    }

    /// Standard uncertainty of a foretold place, in stitches or rows, whichever are smaller. Blocks' errors are alike
    /// over some neighbours: their number counts a quarter.
    pub fn doubt(&self, at: (i32, i32)) -> f64 {
        let row = self.row(at);
        2.0 * self.scatter_mm * (row.transpose() * self.inverse * row).x.max(0.0).sqrt() / self.step_mm
    }
}

/// The sums of a least-squares fit of the blocks' places, given the terms of each: the normal matrix and the right sides.
fn sums<const N: usize>(
    nodes: &Nodes,
    terms: impl Fn((i32, i32)) -> nalgebra::SVector<f64, N>,
) -> (nalgebra::SMatrix<f64, N, N>, nalgebra::SMatrix<f64, N, 2>) {
    let (mut normal, mut right) = (nalgebra::SMatrix::zeros(), nalgebra::SMatrix::zeros());
    for (&at, node) in nodes {
        let (row, place) = (terms(at), node.settled());
        normal += row * row.transpose();
        right += row * nalgebra::RowVector2::new(place.x, place.y);
    }
    (normal, right)
}
