//! Corners to a fraction of a pixel, and the one projective view that must explain them.

use super::Corner;
use super::link::Linked;
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use crate::ruler::fit::quantile;
use nalgebra::{DMatrix, Matrix2, Matrix3, Vector2, Vector3};

/// Radius of the window about a corner, as a share of the side of a square, and its limits in px.
const WINDOW_SHARE: f64 = 0.25;
const WINDOW_PX: (f64, f64) = (3.0, 20.0);

/// Corners farther than this from the fit, in medians of the distance, are left out.
const OUTLIER_MEDIANS: f64 = 4.0;

/// The linked corners, refined in the full-size picture.
pub(super) fn at_full_size(photo: &Photo, linked: &Linked, factor: f64) -> Vec<Corner> {
    let side = typical_side(linked) * factor;
    let radius = (WINDOW_SHARE * side).clamp(WINDOW_PX.0, WINDOW_PX.1);
    linked
        .nodes
        .iter()
        .filter_map(|(&(i, j), &(x, y))| {
            let mut at = Vector2::new(x * factor, y * factor);
            for _ in 0..4 {
                at = edges_meet(photo, at, radius)?;
            }
            let moved = (at.x - x * factor).hypot(at.y - y * factor);
            (moved < 0.2 * side + 2.0).then_some((i, j, PhotoPoint::new(at.x, at.y)))
        })
        .collect()
}

/// Median distance of neighbours along the first direction, in px of the reduced picture.
fn typical_side(linked: &Linked) -> f64 {
    let mut sides: Vec<f64> = linked
        .nodes
        .iter()
        .filter_map(|((i, j), a)| linked.nodes.get(&(i + 1, *j)).map(|b| (a.0 - b.0).hypot(a.1 - b.1)))
        .collect();
    sides.sort_by(f64::total_cmp);
    sides.get(sides.len() / 2).copied().unwrap_or(10.0)
}

/// The point nearest to all edge lines in a window: each gradient says that its edge runs square to it (Förstner & Gülch
/// 1987). `None` where the window leaves the picture or holds one direction only.
pub(super) fn edges_meet(photo: &Photo, at: Vector2<f64>, radius: f64) -> Option<Vector2<f64>> {
    let reach = (1.5 * radius).ceil() as i64;
    let (cx, cy) = (at.x.floor() as i64, at.y.floor() as i64);
    let (w, h) = (i64::from(photo.width()), i64::from(photo.height()));
    if cx - reach < 1 || cy - reach < 1 || cx + reach + 1 >= w || cy + reach + 1 >= h {
        return None;
    }
    let value = |x: i64, y: i64| {
        let p = photo.rgb.get_pixel(x as u32, y as u32).0;
        f64::from(p[0]) + 2.0 * f64::from(p[1]) + f64::from(p[2])
    };
    let mut normal = Matrix2::zeros();
    let mut side = Vector2::zeros();
    for y in cy - reach..=cy + reach {
        for x in cx - reach..=cx + reach {
            let place = Vector2::new(x as f64 + 0.5, y as f64 + 0.5);
            let weight = (-(place - at).norm_squared() / (radius * radius)).exp();
            let gradient = Vector2::new(value(x + 1, y) - value(x - 1, y), value(x, y + 1) - value(x, y - 1));
            let outer = weight * gradient * gradient.transpose();
            normal += outer;
            side += outer * place;
        }
    }
    let eigen = normal.symmetric_eigenvalues();
    (eigen.min() > 0.02 * eigen.max()).then(|| normal.try_inverse()).flatten().map(|inverse| inverse * side)
}

/// The corners that one projective view of even squares explains, their scatter about it (root mean square each way, px)
/// and the typical side of a square in px. `None` where there is no such view.
pub(super) fn projective(mut corners: Vec<Corner>) -> Option<(Vec<Corner>, f64, f64)> {
    for _ in 0..3 {
        let view = view_of(&corners)?;
        let mut off: Vec<f64> = corners.iter().map(|c| distance(&view, c)).collect();
        let limit = OUTLIER_MEDIANS * quantile(off.iter().copied(), 0.5)?.max(0.05);
        if off.iter().all(|o| *o <= limit) {
            let scatter = (off.iter().map(|o| o * o).sum::<f64>() / (2.0 * off.len() as f64 - 8.0).max(1.0)).sqrt();
            let side = side_of(&view, &corners)?;
            if is_mirrored(&view, &corners)? {
                corners.iter_mut().for_each(|c| c.1 = -c.1);
            }
            return Some((corners, scatter, side));
        }
        let mut kept = off.drain(..);
        corners.retain(|_| kept.next().is_some_and(|o| o <= limit));
    }
    None
}

/// Grid numbers → px, by linear least squares on the cross products (Hartley & Zisserman 2004, §4.1), on coordinates
/// moved and scaled to unit size.
pub(super) fn view_of(corners: &[Corner]) -> Option<Matrix3<f64>> {
    if corners.len() < 6 {
        return None;
    }
    let n = corners.len() as f64;
    let mean = |of: &dyn Fn(&Corner) -> f64| corners.iter().map(of).sum::<f64>() / n;
    let (mi, mj) = (mean(&|c| f64::from(c.0)), mean(&|c| f64::from(c.1)));
    let (mx, my) = (mean(&|c| c.2.x), mean(&|c| c.2.y));
    let scale_px = mean(&|c| (c.2.x - mx).hypot(c.2.y - my)).max(1e-9);
    let scale_grid = mean(&|c| (f64::from(c.0) - mi).hypot(f64::from(c.1) - mj)).max(1e-9);
    let mut rows = DMatrix::zeros(2 * corners.len(), 9);
    for (k, c) in corners.iter().enumerate() {
        let (u, v) = ((f64::from(c.0) - mi) / scale_grid, (f64::from(c.1) - mj) / scale_grid);
        let (x, y) = ((c.2.x - mx) / scale_px, (c.2.y - my) / scale_px);
        rows.row_mut(2 * k).copy_from_slice(&[u, v, 1.0, 0.0, 0.0, 0.0, -x * u, -x * v, -x]);
        rows.row_mut(2 * k + 1).copy_from_slice(&[0.0, 0.0, 0.0, u, v, 1.0, -y * u, -y * v, -y]);
    }
    let eigen = (rows.transpose() * rows).symmetric_eigen();
    let h = eigen.eigenvectors.column(eigen.eigenvalues.imin());
    let view = Matrix3::from_row_slice(h.as_slice());
    let to_px = Matrix3::new(scale_px, 0.0, mx, 0.0, scale_px, my, 0.0, 0.0, 1.0);
    let from_grid =
        Matrix3::new(1.0 / scale_grid, 0.0, -mi / scale_grid, 0.0, 1.0 / scale_grid, -mj / scale_grid, 0.0, 0.0, 1.0);
    Some(to_px * view * from_grid)
}

/// Where a view has a place of the grid; `None` at infinity.
pub(super) fn seen(view: &Matrix3<f64>, i: f64, j: f64) -> Option<PhotoPoint> {
    let v = view * Vector3::new(i, j, 1.0);
    (v.z.abs() > 1e-12).then(|| PhotoPoint::new(v.x / v.z, v.y / v.z))
}

fn distance(view: &Matrix3<f64>, c: &Corner) -> f64 {
    seen(view, f64::from(c.0), f64::from(c.1)).map_or(f64::INFINITY, |p| p.distance(c.2))
}

/// Side of a square at the middle corner, in px.
fn side_of(view: &Matrix3<f64>, corners: &[Corner]) -> Option<f64> {
    let middle = corners.get(corners.len() / 2)?;
    let (i, j) = (f64::from(middle.0), f64::from(middle.1));
    Some(seen(view, i, j)?.distance(seen(view, i + 1.0, j)?))
}

/// Whether the second direction turns against the photo's sense from the first.
fn is_mirrored(view: &Matrix3<f64>, corners: &[Corner]) -> Option<bool> {
    let middle = corners.get(corners.len() / 2)?;
    let (i, j) = (f64::from(middle.0), f64::from(middle.1));
    let (at, along, across) = (seen(view, i, j)?, seen(view, i + 1.0, j)?, seen(view, i, j + 1.0)?);
    Some((along.x - at.x) * (across.y - at.y) < (along.y - at.y) * (across.x - at.x))
}

/// Outline of the card or mat: the corners' extent and a margin of two squares, in which the border squares and the
/// card's rim lie.
pub(super) fn outline(corners: &[Corner]) -> Option<Vec<PhotoPoint>> {
    const MARGIN: f64 = 2.0;
    let view = view_of(corners)?;
    let range = |of: fn(&Corner) -> i32| {
        let (low, high) = corners.iter().map(of).fold((i32::MAX, i32::MIN), |(l, h), v| (l.min(v), h.max(v)));
        (f64::from(low) - MARGIN, f64::from(high) + MARGIN)
    };
    let ((i0, i1), (j0, j1)) = (range(|c| c.0), range(|c| c.1));
    [(i0, j0), (i1, j0), (i1, j1), (i0, j1)].into_iter().map(|(i, j)| seen(&view, i, j)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn under(view: Matrix3<f64>, mirror: i32) -> Vec<Corner> {
        let numbers = (0..5).flat_map(|i| (0..4).map(move |j| (i, j)));
        numbers.map(|(i, j)| (i, mirror * j, seen(&view, f64::from(i), f64::from(j)).unwrap())).collect()
    }

    /// References I1: square of side 100 → (10,20) (210,40) (190,240) (30,200), in hundredths of the square's side.
    fn published() -> Matrix3<f64> {
        Matrix3::new(
            169.2682926829,
            26.9512195122,
            10.0,
            14.1463414634,
            226.3414634146,
            20.0,
            -0.1463414634,
            0.2317073171,
            1.0,
        ) * Matrix3::new(0.25, 0.0, 0.0, 0.0, 0.25, 0.0, 0.0, 0.0, 1.0)
    }

    #[test]
    fn a_view_is_found_again_and_an_outlier_left_out() {
        let mut corners = under(published(), 1);
        corners[7].2 = corners[7].2.moved(9.0, -4.0);
        let (kept, scatter, _) = projective(corners.clone()).unwrap();
        assert_eq!(kept.len(), corners.len() - 1);
        assert!(scatter < 1e-6, "{scatter}");
    }

    #[test]
    fn numbers_are_turned_to_the_photos_sense() {
        let (kept, _, _) = projective(under(published(), -1)).unwrap();
        assert!(kept.iter().all(|c| c.1 >= 0));
    }
}
