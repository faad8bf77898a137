//! Fabric: flat, even-lit pictures of parts of the photo, on a millimetre grid, and where in them something is knitted.

use crate::photo::GreyImage;
use crate::quantity::PlanePoint;

/// A part of the fabric's plane resampled to a square grid, evenly lit: local mean 0, local deviation 1.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// Plane point of the outer corner of the first pixel.
    pub origin: PlanePoint,
    /// Pixels per mm; the grid is parallel to the plane's axes.
    pub px_per_mm: f64,
    /// The even-lit picture; 0 where nothing valid is seen.
    pub grey: GreyImage,
    /// 1 where the photo shows something that may be fabric, 0 outside the frame and on the ruler.
    pub valid: GreyImage,
    /// Weights of linear red, green and blue that made the grey.
    pub weights: [f32; 3],
}
