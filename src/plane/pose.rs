//! Where the camera stood over the plane: inverse depth is an affine function of the undistorted photo point.

use super::{PlaneMap, RadialDistortion};
use crate::quantity::PhotoPoint;
use nalgebra::{Matrix3, RowVector3, Vector3};

/// Camera and plane together, seven numbers.
///
/// With u = (x − cx)/f, v = (y − cy)/f about the optical axis, the depth z of the plane along the optical axis is
/// 1/z = e^`ln_inverse_depth`·(1 + `slope_x` u + `slope_y` v): a plane seen through a pinhole (Hartley & Zisserman 2004,
/// §8.1, rearranged). The plane's normal is (slope_x, slope_y, 1), so the tilt's tangent is the length of the slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// Natural logarithm of the inverse depth on the optical axis, in 1/mm.
    pub ln_inverse_depth: f64,
    /// Relative growth of inverse depth per unit of u.
    pub slope_x: f64,
    /// Relative growth of inverse depth per unit of v.
    pub slope_y: f64,
    /// Natural logarithm of the focal length in pixels.
    pub ln_focal: f64,
    /// First radial lens coefficient, r in units of half the photo's diagonal.
    pub k1: f64,
    /// How far the optical axis lies right of the photo's centre, in units of half its diagonal: 0 unless it was cut.
    pub axis_x: f64,
    /// How far it lies below the centre, likewise.
    pub axis_y: f64,
}

/// Fixed properties of the picture that a [`Pose`] refers to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// The photo's centre.
    pub centre: PhotoPoint,
    /// Half the photo's diagonal, in pixels.
    pub half_diagonal_px: f64,
    /// Second radial lens coefficient, r in units of half the diagonal; 0 unless a lens profile says otherwise.
    pub k2: f64,
}

impl Pose {
    /// How many numbers make a pose.
    pub const NUMBERS: usize = 7;

    /// The numbers in the order of the fields.
    pub fn to_array(self) -> [f64; Self::NUMBERS] {
        [self.ln_inverse_depth, self.slope_x, self.slope_y, self.ln_focal, self.k1, self.axis_x, self.axis_y]
    }

    /// The inverse of [`Self::to_array`].
    pub fn from_array(a: [f64; Self::NUMBERS]) -> Self {
        let [ln_inverse_depth, slope_x, slope_y, ln_focal, k1, axis_x, axis_y] = a;
        Self { ln_inverse_depth, slope_x, slope_y, ln_focal, k1, axis_x, axis_y }
    }

    /// Distance of the camera from the plane, square to it, in mm.
    pub fn distance_mm(&self) -> f64 {
        (-self.ln_inverse_depth).exp() / self.normal_length()
    }

    /// Angle between the optical axis and the plane's normal, in degrees.
    pub fn tilt_deg(&self) -> f64 {
        self.slope_x.hypot(self.slope_y).atan().to_degrees()
    }

    /// The same pose over a parallel plane that is `ratio` times as far from the camera.
    pub fn at_distance_ratio(self, ratio: f64) -> Self {
        Self { ln_inverse_depth: self.ln_inverse_depth - ratio.ln(), ..self }
    }

    /// The map between the photo and the plane. The plane's origin is where the optical axis meets it, its first axis the
    /// photo's x direction projected onto it. `None` where a coordinate is not finite.
    pub fn map(&self, frame: &Frame) -> Option<PlaneMap> {
        let f = self.ln_focal.exp();
        let axis = frame.centre.moved(self.axis_x * frame.half_diagonal_px, self.axis_y * frame.half_diagonal_px);
        // Pixels → (u, v, 1).
        let to_ray = Matrix3::new(1.0 / f, 0.0, -axis.x / f, 0.0, 1.0 / f, -axis.y / f, 0.0, 0.0, 1.0);
        let normal = Vector3::new(self.slope_x, self.slope_y, 1.0) / self.normal_length();
        let first = (Vector3::x() - normal * normal.x).normalize();
        let second = normal.cross(&first);
        let depth = (-self.ln_inverse_depth).exp();
        let weight = RowVector3::new(self.slope_x, self.slope_y, 1.0) / depth;
        // A plane point is ray / (weight · ray); its coordinates are taken from the point at the photo's centre.
        let origin = Vector3::new(0.0, 0.0, depth);
        let rows = Matrix3::from_rows(&[
            first.transpose() - weight * first.dot(&origin),
            second.transpose() - weight * second.dot(&origin),
            weight,
        ]);
        // The weight's last element is made positive at the centre, so that "in front" has the sign PlaneMap expects.
        let to_mm = rows * to_ray;
        let to_mm = to_mm / to_mm[(2, 2)].abs().max(f64::MIN_POSITIVE);
        let lens = RadialDistortion { centre: axis, radius_px: frame.half_diagonal_px, k1: self.k1, k2: frame.k2 };
        PlaneMap::new(to_mm, Some(lens))
    }

    fn normal_length(&self) -> f64 {
        (1.0 + self.slope_x * self.slope_x + self.slope_y * self.slope_y).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::PlanePoint;

    /// References I3: x = D s cosτ / (D + s sinτ) for a tilt about the foot of the optical axis; D 400 mm, τ 10°.
    #[test]
    fn tilted_plane_agrees_with_the_published_table() {
        let frame = Frame { centre: PhotoPoint::new(1000.0, 800.0), half_diagonal_px: 1280.0, k2: 0.0 };
        let f: f64 = 2000.0;
        let tau = 10f64.to_radians();
        let pose = Pose {
            ln_inverse_depth: (1.0f64 / 400.0).ln(),
            slope_x: -tau.tan(),
            slope_y: 0.0,
            ln_focal: f.ln(),
            k1: 0.0,
            axis_x: 0.0,
            axis_y: 0.0,
        };
        let map = pose.map(&frame).unwrap();
        for (s, x) in [(-50.0, -50.332915), (-25.0, -24.890329), (0.0, 0.0), (25.0, 24.355859), (50.0, 48.194282)] {
            let p = map.to_photo(PlanePoint::new(s, 0.0)).unwrap();
            let seen_mm = (p.x - 1000.0) * 400.0 / f;
            assert!((seen_mm - x).abs() < 1e-6, "{s}: {seen_mm} against {x}");
        }
        assert!((pose.tilt_deg() - 10.0).abs() < 1e-9);
        assert!((pose.distance_mm() - 400.0 * tau.cos()).abs() < 1e-9);
    }
}
