//! Colour projections in which a fabric's relief may show.

use super::even_light::box_blur;
use super::patch::Patch;
use crate::photo::LUMINANCE;
use crate::side_by_side::map_in_order;
use nalgebra::{Matrix3, Vector3};

/// Least variance of hue and saturation, as a part of that of grey, at which a fabric is coloured. Light and shade on yarn
/// of one colour change its hue a little, and faint as that is, it shows the stitches (stated choice: a quarter of the
/// contrast of grey).
const COLOURED: f64 = 0.06;

/// Luminance, the first principal colour direction of the local contrast, and a chroma direction (weights that sum to
/// zero, so that plain light and shade cancel) along which the local colour varies most, where it varies enough.
pub(super) fn projections(patch: &Patch) -> Vec<[f32; 3]> {
    let covariance = local_covariance(patch);
    let first = leading(&covariance);
    // Project grey out of the colour space: what varies there is hue and saturation alone.
    let grey = Vector3::repeat(1.0 / 3.0_f64.sqrt());
    let chroma_space = Matrix3::identity() - grey * grey.transpose();
    let within = chroma_space * covariance * chroma_space;
    let chroma = leading(&within);
    let weights = |v: Vector3<f64>| [v.x as f32, v.y as f32, v.z as f32];
    let sum = first.sum();
    let first = if sum.abs() > 0.1 { first / sum } else { first };
    let mut projections = vec![LUMINANCE, weights(first)];
    if chroma.dot(&(within * chroma)) > COLOURED * grey.dot(&(covariance * grey)) {
        projections.push(weights(chroma));
    }
    projections
}

/// Covariance of log red, green, blue about their local mean (over about 4 mm).
fn local_covariance(patch: &Patch) -> Matrix3<f64> {
    let radius = ((super::patch::LIGHT_MM * patch.px_per_mm / 2.0).round() as usize).max(2);
    let seen = box_blur(&patch.valid, patch.width, patch.height, radius);
    let centred: Vec<Vec<f32>> = map_in_order(0..3, |c| {
        let mut plane: Vec<f32> = patch.log_rgb.iter().zip(&patch.valid).map(|(v, m)| v[c] * m).collect();
        let mean = box_blur(&plane, patch.width, patch.height, radius);
        let around = mean.iter().zip(&seen).zip(&patch.valid);
        plane.iter_mut().zip(around).for_each(|(v, ((mean, seen), m))| *v = m * (*v - mean / seen.max(1e-6)));
        plane
    });
    let mut sums = Matrix3::zeros();
    for ((r, g), b) in centred[0].iter().zip(&centred[1]).zip(&centred[2]) {
        let product = |x: &f32, y: &f32| f64::from(x * y);
        sums += Matrix3::new(
            product(r, r),
            product(r, g),
            product(r, b),
            0.0,
            product(g, g),
            product(g, b),
            0.0,
            0.0,
            product(b, b),
        );
    }
    sums.fill_lower_triangle_with_upper_triangle();
    sums / centred[0].len() as f64
}

/// The eigenvector of the largest eigenvalue; its largest part positive.
fn leading(m: &Matrix3<f64>) -> Vector3<f64> {
    let eigen = m.symmetric_eigen();
    let v: Vector3<f64> = eigen.eigenvectors.column(eigen.eigenvalues.imax()).into();
    if v[v.iamax()] < 0.0 { -v } else { v }
}
