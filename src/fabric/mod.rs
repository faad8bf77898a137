//! Fabric: flat, even-lit pictures of parts of the photo, on a millimetre grid, and where in them something is knitted.

mod bands;
mod colour;
mod even_light;
mod far;
mod moire;
mod outline;
mod patch;
mod seeds;
mod sharpness;
mod spectrum;
#[cfg(test)]
mod tests;
mod two_colours;

pub(crate) use bands::Bands;
pub use far::far_object_share;
pub use moire::moire;
pub use outline::{MeanLength, NoOutline, SwatchHints, SwatchOutline, swatch_outline};
pub use patch::Patch;
pub use seeds::{FabricSeed, Search, repeats_somewhere, search};
pub use sharpness::{blur_share, fabric_blown_out, unreadable};
pub use two_colours::TwoColours;

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
    /// Weights of the logarithms of linear red, green and blue that made the grey (they may be negative: a chroma
    /// direction sums to zero and does not see shadows).
    pub weights: [f32; 3],
}

impl Sheet {
    /// Whether a place of the plane lies on the sheet.
    pub(crate) fn holds(&self, at: PlanePoint) -> bool {
        let (x, y) = ((at.x - self.origin.x) * self.px_per_mm, (at.y - self.origin.y) * self.px_per_mm);
        let (width, height) = (f64::from(self.grey.width()), f64::from(self.grey.height()));
        (0.0..=width).contains(&x) && (0.0..=height).contains(&y)
    }
}

/// Whether a point lies inside a polygon, by the even-odd rule (crossing number; Shimrat 1962).
pub(crate) fn inside(polygon: &[crate::quantity::PhotoPoint], p: crate::quantity::PhotoPoint) -> bool {
    let mut odd = false;
    for (i, a) in polygon.iter().enumerate() {
        let b = &polygon[(i + 1) % polygon.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x) {
            odd = !odd;
        }
    }
    odd
}
