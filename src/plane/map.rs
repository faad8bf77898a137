//! The map between the photo and the fabric's plane: a projective map on undistorted pixels, and a radial lens term.

use crate::quantity::{PhotoPoint, PlanePoint};
use nalgebra::{Matrix2, Matrix3, Vector3};

/// Radial lens distortion about a centre: distorted = centre + (undistorted − centre)·(1 + k1 r² + k2 r⁴), r in
/// units of `radius_px` (Brown 1966, first two terms).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RadialDistortion {
    /// Centre of distortion in the photo.
    pub centre: PhotoPoint,
    /// Length of one unit of r, in pixels.
    pub radius_px: f64,
    /// First radial coefficient; negative is barrel distortion.
    pub k1: f64,
    /// Second radial coefficient; 0 unless a lens profile says otherwise.
    pub k2: f64,
}

impl RadialDistortion {
    /// Where the lens puts an undistorted point.
    pub fn distort(&self, p: PhotoPoint) -> PhotoPoint {
        let (dx, dy) = (p.x - self.centre.x, p.y - self.centre.y);
        let r2 = (dx * dx + dy * dy) / (self.radius_px * self.radius_px);
        let s = 1.0 + r2 * (self.k1 + self.k2 * r2);
        PhotoPoint::new(self.centre.x + dx * s, self.centre.y + dy * s)
    }

    /// The inverse of [`Self::distort`], by fixed-point iteration (converges while the whole term stays below 0.3).
    pub fn undistort(&self, p: PhotoPoint) -> PhotoPoint {
        let (dx, dy) = (p.x - self.centre.x, p.y - self.centre.y);
        let (mut ux, mut uy) = (dx, dy);
        for _ in 0..12 {
            let r2 = (ux * ux + uy * uy) / (self.radius_px * self.radius_px);
            let s = 1.0 + r2 * (self.k1 + self.k2 * r2);
            (ux, uy) = (dx / s, dy / s);
        }
        PhotoPoint::new(self.centre.x + ux, self.centre.y + uy)
    }
}

/// Photo pixels ↔ millimetres in one plane.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneMap {
    to_mm: Matrix3<f64>,
    to_px: Matrix3<f64>,
    distortion: Option<RadialDistortion>,
}

impl PlaneMap {
    /// From the projective map undistorted px → mm (homogeneous, up to scale). `None` where it has no inverse.
    pub fn new(to_mm: Matrix3<f64>, distortion: Option<RadialDistortion>) -> Option<Self> {
        let to_px = to_mm.try_inverse()?;
        (to_px.iter().chain(to_mm.iter()).all(|v| v.is_finite())).then_some(Self { to_mm, to_px, distortion })
    }

    /// The projective map undistorted px → mm.
    pub fn matrix(&self) -> &Matrix3<f64> {
        &self.to_mm
    }

    /// The lens term, where there is one.
    pub fn distortion(&self) -> Option<RadialDistortion> {
        self.distortion
    }

    /// The place in the plane that a photo point shows; `None` on or beyond the plane's horizon.
    pub fn to_plane(&self, p: PhotoPoint) -> Option<PlanePoint> {
        let u = self.distortion.map_or(p, |d| d.undistort(p));
        let (x, y) = apply(&self.to_mm, u.x, u.y)?;
        Some(PlanePoint::new(x, y))
    }

    /// Where the photo shows a place in the plane; `None` on or beyond the horizon.
    pub fn to_photo(&self, p: PlanePoint) -> Option<PhotoPoint> {
        let (x, y) = apply(&self.to_px, p.x, p.y)?;
        let u = PhotoPoint::new(x, y);
        Some(self.distortion.map_or(u, |d| d.distort(u)))
    }

    /// Derivative of [`Self::to_photo`] at a place in the plane: columns are the px moved per mm along plane x and y.
    pub fn photo_per_plane(&self, p: PlanePoint) -> Option<Matrix2<f64>> {
        const STEP_MM: f64 = 1e-3;
        let step = |dx: f64, dy: f64| {
            let a = self.to_photo(p.moved(-dx, -dy))?;
            let b = self.to_photo(p.moved(dx, dy))?;
            Some(((b.x - a.x) / (2.0 * STEP_MM), (b.y - a.y) / (2.0 * STEP_MM)))
        };
        let (xx, yx) = step(STEP_MM, 0.0)?;
        let (xy, yy) = step(0.0, STEP_MM)?;
        Some(Matrix2::new(xx, xy, yx, yy))
    }

    /// Local scale at a place in the plane, in px per mm: the geometric mean over directions.
    pub fn px_per_mm(&self, p: PlanePoint) -> Option<f64> {
        Some(self.photo_per_plane(p)?.determinant().abs().sqrt())
    }
}

/// A projective map applied to a point, `None` where the point goes to infinity or behind the camera. The sign of the
/// third coordinate is taken against that of the matrix's own lower right corner.
fn apply(m: &Matrix3<f64>, x: f64, y: f64) -> Option<(f64, f64)> {
    let v = m * Vector3::new(x, y, 1.0);
    let w = v.z * m[(2, 2)].signum();
    (w > 1e-12).then(|| (v.x / v.z, v.y / v.z))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// References I1 (Heckbert 1989): unit square → (0,0) (4,0) (3,2) (1,2) has H = [[4,2,0],[0,4,0],[0,1,1]].
    #[test]
    fn published_homography_maps_its_points() {
        let to_mm = Matrix3::new(4.0, 2.0, 0.0, 0.0, 4.0, 0.0, 0.0, 1.0, 1.0);
        let map = PlaneMap::new(to_mm, None).unwrap();
        let p = map.to_plane(PhotoPoint::new(0.25, 0.75)).unwrap();
        assert!((p.x - 10.0 / 7.0).abs() < 1e-12 && (p.y - 12.0 / 7.0).abs() < 1e-12);
        let back = map.to_photo(p).unwrap();
        assert!((back.x - 0.25).abs() < 1e-12 && (back.y - 0.75).abs() < 1e-12);
    }

    #[test]
    fn lens_term_has_an_inverse() {
        let d = RadialDistortion { centre: PhotoPoint::new(800.0, 600.0), radius_px: 1000.0, k1: -0.05, k2: 0.02 };
        let p = PhotoPoint::new(100.0, 1100.0);
        let q = d.undistort(d.distort(p));
        assert!(p.distance(q) < 1e-6);
    }
}
