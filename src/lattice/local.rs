//! What the blocks say together: the fitted lattice with its random uncertainty, and the gauge from place to place.

use super::{Basis, PhaseBlock};
use crate::quantity::{PhotoPoint, PlanePoint};
use nalgebra::{DMatrix, DVector};

/// The least-squares lattice over all blocks, and how well the blocks fix it.
#[derive(Debug, Clone, PartialEq)]
pub struct LatticeFit {
    /// Least-squares lattice: counts as linear functions of the plane.
    pub basis: Basis,
    /// Relative standard uncertainty of the stitches and of the rows per 10 cm, from the blocks' own scatter with its
    /// correlation in space (Type A; the plane map is taken as given).
    pub relative_u: [f64; 2],
    /// Effective degrees of freedom of `relative_u`.
    pub degrees_of_freedom: [f64; 2],
    /// Root mean square of the counts about the smooth (cubic) field, in stitches and rows.
    pub residual_rms: [f64; 2],
    /// Distance over which those residuals are correlated, in mm (where their correlation falls to 1/e).
    pub correlation_mm: f64,
    /// Second-order terms of the stitch and row count about the middle of the blocks: coefficients of x²/2, xy, y²/2 in
    /// counts per mm². A projective slope, a bow or a drift of tension shows here.
    pub curvature: [[f64; 3]; 2],
    /// Where the second-order terms are taken.
    pub middle: PlanePoint,
}

impl LatticeFit {
    /// Relative change of stitches and rows per 10 cm over a way in the plane, in mm, by the second-order terms: the count H
    /// changes over one stitch s by s'Hd more at the way's end d than at its beginning. `None` for a lattice of one direction.
    pub fn drift(&self, way_mm: [f64; 2]) -> Option<[f64; 2]> {
        let (stitch, row) = self.basis.steps_mm()?;
        let change = |step: [f64; 2], [xx, xy, yy]: [f64; 3]| {
            step[0] * (xx * way_mm[0] + xy * way_mm[1]) + step[1] * (xy * way_mm[0] + yy * way_mm[1])
        };
        Some([change(stitch, self.curvature[0]), change(row, self.curvature[1])])
    }
}

/// Gauge at one place of the region.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LocalGauge {
    /// The place in the photo.
    pub at_px: PhotoPoint,
    /// The place in the plane.
    pub at: PlanePoint,
    /// Stitches per 10 cm along the row here.
    pub stitches_per_10cm: f64,
    /// Rows per 10 cm along the wale here.
    pub rows_per_10cm: f64,
}

/// How much the gauge differs from place to place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variation {
    /// Standard deviation of the local gauge over cells of about a quarter of the region each way, per cent of the mean:
    /// stitches, rows.
    pub between_places_percent: [f64; 2],
    /// Distance over which the local gauge is alike, in mm.
    pub correlation_mm: f64,
}

/// Blocks used at most where every pair is compared.
const MOST_PAIRED: usize = 700;

/// Fits the lattice over the blocks. `None` for fewer than six blocks or blocks in one line.
pub fn fit(blocks: &[PhaseBlock]) -> Option<LatticeFit> {
    if blocks.len() < 6 {
        return None;
    }
    let middle = middle(blocks);
    let linear = polynomial(blocks, middle, 1)?;
    let order = [(21, 3), (12, 2), (0, 1)].into_iter().find(|(n, _)| blocks.len() >= *n).map_or(1, |(_, order)| order);
    let smooth = polynomial(blocks, middle, order)?;
    let curved = polynomial(blocks, middle, order.min(2))?;
    let basis = Basis { stitch: [linear.of[0][1], linear.of[0][2]], row: [linear.of[1][1], linear.of[1][2]] };
    let rest = residuals(blocks, middle, &smooth);
    let free = (blocks.len() - smooth.of[0].len()).max(1) as f64;
    let rms = [0, 1].map(|a| (rest.iter().map(|r| r[a] * r[a]).sum::<f64>() / free).sqrt());
    // Windows overlap: neighbouring blocks share what they see over about two and a half stitches and rows.
    let cell = 1.0 / basis.stitches_per_mm2().max(1e-9).sqrt();
    let correlation_mm = correlation_length(blocks, &rest).max(2.5 * cell);
    let (relative_u, degrees_of_freedom) = uncertainty(blocks, middle, &basis, rms, correlation_mm)?;
    let second = |a: usize| if order > 1 { [curved.of[a][3], curved.of[a][4], curved.of[a][5]] } else { [0.0; 3] };
    Some(LatticeFit {
        basis,
        relative_u,
        degrees_of_freedom,
        residual_rms: rms,
        correlation_mm,
        curvature: [second(0), second(1)],
        middle,
    })
}

/// Spread of the gauge over sixteenths of a usual swatch, per cent (measured: root mean square 1 over the swatches of two
/// renderers, 3 over our own). The blocks' own spread is worth ten degrees of freedom, this two: renderers and knitters
/// differ by a factor of three.
const USUAL_VARIATION_PERCENT: f64 = 2.0;
const OWN_FREEDOM: f64 = 10.0;
const USUAL_FREEDOM: f64 = 2.0;

/// Difference between the gauge of a part of a swatch and that of the whole, in units of the spread of the sixteenths: the
/// root mean square is this times √((1 − c)/(c + [`SMALLEST_SHARE`])) for the share c. The form is that of a sample drawn
/// from a finite whole (1 − c) out of c/c₀ places; both numbers measured on the true lattices of rendered swatches, shares
/// 0.05 to 0.85, to a tenth: 1.05, 0.87, 0.66, 0.50, 0.33, 0.23, 0.17 spreads at 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.85. Sixteenths
/// of a part spread as much as those of the whole, by the same form.
const PART_OF_WHOLE: f64 = 0.35;
const SMALLEST_SHARE: f64 = 0.07;

/// Largest share that is believed: where a fabric's inside ends is known to half a stitch all around.
const LARGEST_SHARE: f64 = 0.95;

/// Relative standard uncertainty of stitches and rows per 10 cm from measuring a part of the fabric only: the gauge differs
/// from place to place. `covered` is the share of the fabric that was followed, 0 to 1.
pub fn region_uncertainty(blocks: &[PhaseBlock], basis: &Basis, covered: f64) -> [f64; 2] {
    let spread = variation(blocks, basis).map(|v| v.between_places_percent);
    let share = covered.clamp(0.01, LARGEST_SHARE);
    let part = PART_OF_WHOLE * ((1.0 - share) / (share + SMALLEST_SHARE)).sqrt();
    [0, 1].map(|a| {
        let own = spread.map_or(USUAL_VARIATION_PERCENT, |s| s[a]);
        let squares = OWN_FREEDOM * own * own + USUAL_FREEDOM * USUAL_VARIATION_PERCENT * USUAL_VARIATION_PERCENT;
        part / 100.0 * (squares / (OWN_FREEDOM + USUAL_FREEDOM)).sqrt()
    })
}

/// Adds the fabric's own scatter, as seen about the smooth field, to each block's standard uncertainty.
pub(super) fn widen(blocks: &mut [PhaseBlock], fit: &LatticeFit) {
    let typical = |f: fn(&PhaseBlock) -> f64| super::grow::median(blocks.iter().map(|b| f(b).powi(2)).collect());
    let own = [typical(|b| b.stitches_sigma), typical(|b| b.rows_sigma)];
    let extra = [0, 1].map(|a| (fit.residual_rms[a].powi(2) - own[a]).max(0.0));
    for block in blocks {
        block.stitches_sigma = (block.stitches_sigma.powi(2) + extra[0]).sqrt();
        block.rows_sigma = (block.rows_sigma.powi(2) + extra[1]).sqrt();
    }
}

/// The gauge on a grid of places about `step` stitches and rows apart, each from the blocks within about as far.
pub fn local_map(blocks: &[PhaseBlock], basis: &Basis, step: f64) -> Vec<LocalGauge> {
    let Some((s, r)) = basis.steps_mm() else { return Vec::new() };
    let radius = 0.75 * step * s[0].hypot(s[1]).max(r[0].hypot(r[1]));
    let cell = |b: &PhaseBlock| ((b.stitches / step).round() as i64, (b.rows / step).round() as i64);
    let mut cells: Vec<(i64, i64)> = blocks.iter().map(cell).collect();
    cells.sort_unstable();
    cells.dedup();
    let nearest = |c: (i64, i64)| {
        let miss = |b: &PhaseBlock| (b.stitches - c.0 as f64 * step).hypot(b.rows - c.1 as f64 * step);
        blocks.iter().min_by(|a, b| miss(a).total_cmp(&miss(b))).filter(|b| miss(b) < 0.4 * step)
    };
    cells.into_iter().filter_map(nearest).filter_map(|b| local_gauge(blocks, b, radius)).collect()
}

/// Gauge around one block from all blocks within `radius` mm; `None` where they are too few or lie to one side.
fn local_gauge(blocks: &[PhaseBlock], centre: &PhaseBlock, radius: f64) -> Option<LocalGauge> {
    let near: Vec<PhaseBlock> = blocks.iter().filter(|b| b.at.distance(centre.at) <= radius).copied().collect();
    if near.len() < 6 {
        return None;
    }
    let plane = polynomial(&near, centre.at, 1)?;
    let basis = Basis { stitch: [plane.of[0][1], plane.of[0][2]], row: [plane.of[1][1], plane.of[1][2]] };
    let (stitches_per_10cm, rows_per_10cm) = basis.per_10cm()?;
    Some(LocalGauge { at_px: centre.at_px, at: centre.at, stitches_per_10cm, rows_per_10cm })
}

/// Spread of the local gauge over a 4 × 4 division of the region. `None` where fewer than four cells can be measured.
pub fn variation(blocks: &[PhaseBlock], basis: &Basis) -> Option<Variation> {
    let range = |f: fn(&PhaseBlock) -> f64| {
        let lo = blocks.iter().map(f).fold(f64::INFINITY, f64::min);
        (lo, blocks.iter().map(f).fold(f64::NEG_INFINITY, f64::max) - lo + 1e-9)
    };
    let ((s0, ds), (r0, dr)) = (range(|b| b.stitches), range(|b| b.rows));
    let mut cells: Vec<Vec<PhaseBlock>> = vec![Vec::new(); 16];
    for b in blocks {
        let part = |v: f64| ((4.0 * v) as usize).min(3);
        cells[4 * part((b.rows - r0) / dr) + part((b.stitches - s0) / ds)].push(*b);
    }
    let (s, r) = basis.per_10cm()?;
    let filled =
        |c: &&Vec<PhaseBlock>| spread(c, |b| b.stitches) > 0.15 * ds / 4.0 && spread(c, |b| b.rows) > 0.15 * dr / 4.0;
    let measured: Vec<(PlanePoint, [f64; 2])> =
        cells.iter().filter(filled).filter_map(|c| cell_gauge(c, s, r)).collect();
    if measured.len() < 4 {
        return None;
    }
    let n = measured.len() as f64;
    let between_places_percent = [0, 1].map(|a| {
        let mean = measured.iter().map(|m| m.1[a]).sum::<f64>() / n;
        (measured.iter().map(|m| (m.1[a] - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt() * 100.0
    });
    let places: Vec<PlanePoint> = measured.iter().map(|m| m.0).collect();
    let rest: Vec<[f64; 2]> = measured.iter().map(|m| m.1).collect();
    Some(Variation { between_places_percent, correlation_mm: alike_over(&places, &rest) })
}

/// Standard deviation of a count over some blocks.
fn spread(blocks: &[PhaseBlock], of: fn(&PhaseBlock) -> f64) -> f64 {
    let n = (blocks.len() as f64).max(1.0);
    let mean = blocks.iter().map(of).sum::<f64>() / n;
    (blocks.iter().map(|b| (of(b) - mean).powi(2)).sum::<f64>() / n).sqrt()
}

/// Middle of a cell and its gauge relative to the whole, less 1.
fn cell_gauge(cell: &[PhaseBlock], stitches: f64, rows: f64) -> Option<(PlanePoint, [f64; 2])> {
    if cell.len() < 6 {
        return None;
    }
    let middle = middle(cell);
    let plane = polynomial(cell, middle, 1)?;
    let basis = Basis { stitch: [plane.of[0][1], plane.of[0][2]], row: [plane.of[1][1], plane.of[1][2]] };
    let (s, r) = basis.per_10cm()?;
    Some((middle, [s / stitches - 1.0, r / rows - 1.0]))
}

/// Mean place of the blocks in the plane; there must be some.
pub(crate) fn middle(blocks: &[PhaseBlock]) -> PlanePoint {
    let n = blocks.len() as f64;
    PlanePoint::new(blocks.iter().map(|b| b.at.x).sum::<f64>() / n, blocks.iter().map(|b| b.at.y).sum::<f64>() / n)
}

/// Stitch and row count as polynomials of the plane about a point.
struct Polynomial {
    of: [Vec<f64>; 2],
}

/// 1, x, y, x²/2, xy, y²/2, then the cubic terms, up to `order`.
fn terms(at: PlanePoint, middle: PlanePoint, order: usize) -> Vec<f64> {
    let (x, y) = (at.x - middle.x, at.y - middle.y);
    let all = [1.0, x, y, x * x / 2.0, x * y, y * y / 2.0, x * x * x, x * x * y, x * y * y, y * y * y];
    all[..[1, 3, 6, 10][order]].to_vec()
}

/// Least squares with equal weights: the gauge of the region is the mean over its area, and the blocks cover it evenly.
fn polynomial(blocks: &[PhaseBlock], middle: PlanePoint, order: usize) -> Option<Polynomial> {
    let n = terms(middle, middle, order).len();
    let reach = blocks.iter().map(|b| b.at.distance(middle)).fold(0.0, f64::max).max(1e-6);
    // In units of the region's size, so that the normal equations stay well conditioned.
    let unit = |p: PlanePoint| PlanePoint::new((p.x - middle.x) / reach, (p.y - middle.y) / reach);
    let origin = PlanePoint::new(0.0, 0.0);
    let mut normal = DMatrix::<f64>::zeros(n, n);
    let mut right = [DVector::<f64>::zeros(n), DVector::<f64>::zeros(n)];
    for b in blocks {
        let t = DVector::from_vec(terms(unit(b.at), origin, order));
        normal.ger(1.0, &t, &t, 1.0);
        right[0].axpy(b.stitches, &t, 1.0);
        right[1].axpy(b.rows, &t, 1.0);
    }
    let factor = normal.cholesky()?;
    if factor.l_dirty().diagonal().iter().any(|d| *d < 1e-5 * (blocks.len() as f64).sqrt()) {
        return None;
    }
    const DEGREE: [i32; 10] = [0, 1, 1, 2, 2, 2, 3, 3, 3, 3];
    let solve = |r: &DVector<f64>| factor.solve(r).iter().zip(DEGREE).map(|(c, d)| c / reach.powi(d)).collect();
    Some(Polynomial { of: [solve(&right[0]), solve(&right[1])] })
}

fn residuals(blocks: &[PhaseBlock], middle: PlanePoint, p: &Polynomial) -> Vec<[f64; 2]> {
    let order = [1, 3, 6, 10].iter().position(|n| *n == p.of[0].len()).unwrap_or(1);
    let rest = |b: &PhaseBlock| {
        let t = terms(b.at, middle, order);
        let value = |a: usize| t.iter().zip(&p.of[a]).map(|(t, c)| t * c).sum::<f64>();
        [b.stitches - value(0), b.rows - value(1)]
    };
    blocks.iter().map(rest).collect()
}

/// Distance at which the residuals' correlation falls to 1/e, in mm.
fn correlation_length(blocks: &[PhaseBlock], rest: &[[f64; 2]]) -> f64 {
    let step = blocks.len().div_ceil(MOST_PAIRED);
    let places: Vec<PlanePoint> = blocks.iter().step_by(step).map(|b| b.at).collect();
    let rest: Vec<[f64; 2]> = rest.iter().step_by(step).copied().collect();
    alike_over(&places, &rest)
}

/// Distance at which values at places stop being alike: their binned correlation falls below 1/e.
fn alike_over(places: &[PlanePoint], values: &[[f64; 2]]) -> f64 {
    const BINS: usize = 24;
    let far = places.iter().map(|p| p.distance(places[0])).fold(0.0, f64::max).max(1e-6);
    let width = 0.7 * far / BINS as f64;
    let n = values.len() as f64;
    let mean = [0, 1].map(|a| values.iter().map(|v| v[a]).sum::<f64>() / n);
    let power = [0, 1].map(|a| (values.iter().map(|v| (v[a] - mean[a]).powi(2)).sum::<f64>() / n).max(1e-30));
    let mut sums = [(0.0, 0.0); BINS];
    for (i, p) in places.iter().enumerate() {
        for (q, w) in places[..i].iter().zip(values) {
            let bin = (p.distance(*q) / width) as usize;
            if bin < BINS {
                let alike = (0..2).map(|a| (values[i][a] - mean[a]) * (w[a] - mean[a]) / power[a]).sum::<f64>() / 2.0;
                sums[bin] = (sums[bin].0 + alike, sums[bin].1 + 1.0);
            }
        }
    }
    let mut before = (0.0, 1.0);
    for (k, (sum, count)) in sums.iter().enumerate().filter(|(_, s)| s.1 >= 3.0) {
        let (at, value) = ((k as f64 + 0.5) * width, sum / count);
        let limit = (-1.0_f64).exp();
        if value < limit {
            return before.0 + (at - before.0) * (before.1 - limit) / (before.1 - value);
        }
        before = (at, value);
    }
    before.0.max(width)
}

/// Relative standard uncertainty of stitches and rows per 10 cm under residuals of the given size, correlated as
/// exp(−(d / length)²), by the sandwich (X'X)⁻¹ X' Σ X (X'X)⁻¹; and its effective degrees of freedom.
fn uncertainty(
    blocks: &[PhaseBlock],
    middle: PlanePoint,
    basis: &Basis,
    rms: [f64; 2],
    length_mm: f64,
) -> Option<([f64; 2], [f64; 2])> {
    let (s, r) = basis.steps_mm()?;
    // Moving a count by ε(p) changes the step along the row by −ε's slope along it: relative change per stitch.
    let along = [s, r];
    let step = blocks.len().div_ceil(MOST_PAIRED);
    let some: Vec<&PhaseBlock> = blocks.iter().step_by(step).collect();
    let mut normal = nalgebra::Matrix3::<f64>::zeros();
    let row = |b: &PhaseBlock| nalgebra::Vector3::new(1.0, b.at.x - middle.x, b.at.y - middle.y);
    some.iter().for_each(|b| normal += row(b) * row(b).transpose());
    let inverse = normal.try_inverse()?;
    let alike = |a: &PhaseBlock, b: &PhaseBlock| (-(a.at.distance(b.at) / length_mm.max(1e-6)).powi(2)).exp();
    let mut variance = [0.0; 2];
    let levers: Vec<[f64; 2]> = some
        .iter()
        .map(|b| {
            let w = inverse * row(b);
            [0, 1].map(|a| along[a][0] * w.y + along[a][1] * w.z)
        })
        .collect();
    let mut independent = 0.0;
    for (i, a) in some.iter().enumerate() {
        for (j, b) in some.iter().enumerate() {
            let c = alike(a, b);
            independent += c;
            (0..2).for_each(|axis| variance[axis] += c * levers[i][axis] * levers[j][axis]);
        }
    }
    let n = some.len() as f64;
    let effective = (n * n / independent - 10.0).max(3.0);
    Some(([0, 1].map(|a| variance[a].max(0.0).sqrt() * rms[a]), [effective; 2]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where the counts are quadratic the second-order terms are the truth: the step over a stitch is 5 mm, its change a mm
    /// 0.001 stitches a mm², so over 10 mm along the row each mm holds 5 % more of 0.2, and over 10 mm along the wale none.
    #[test]
    fn counts_that_bend_drift() {
        let blocks: Vec<PhaseBlock> = (-4..=4)
            .flat_map(|i| (-4..=4).map(move |j| (f64::from(i) * 5.0, f64::from(j) * 5.0)))
            .map(|(x, y)| PhaseBlock {
                at: PlanePoint::new(x, y),
                at_px: PhotoPoint::new(x, y),
                stitches: 0.2 * x + 0.001 * x * x / 2.0,
                rows: 0.3 * y,
                stitches_sigma: 0.01,
                rows_sigma: 0.01,
            })
            .collect();
        let fit = fit(&blocks).unwrap();
        let [stitches, rows] = fit.drift([10.0, 0.0]).unwrap();
        assert!((stitches - 0.05).abs() < 1e-6 && rows.abs() < 1e-6, "{stitches} {rows}");
        assert!(fit.drift([0.0, 10.0]).unwrap().iter().all(|d| d.abs() < 1e-6));
    }
}
