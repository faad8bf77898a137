//! Points that know their frame: photo pixels and millimetres in the fabric's plane do not mix by accident.

use serde::{Deserialize, Serialize};

/// A place in the upright photo, in pixels: x right, y down, the centre of the first pixel at (0.5, 0.5).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PhotoPoint {
    /// Pixels to the right of the picture's left edge.
    pub x: f64,
    /// Pixels below the picture's upper edge.
    pub y: f64,
}

/// A place in the plane of the fabric's surface, in millimetres; same handedness as the photo (x right, y down).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PlanePoint {
    /// Millimetres along the plane's first axis.
    pub x: f64,
    /// Millimetres along the plane's second axis.
    pub y: f64,
}

macro_rules! point_arithmetic {
    ($point:ident, $unit:literal) => {
        impl $point {
            #[doc = concat!("The point at (x, y), in ", $unit, ".")]
            pub const fn new(x: f64, y: f64) -> Self {
                Self { x, y }
            }

            #[doc = concat!("Straight distance to `other`, in ", $unit, ".")]
            pub fn distance(self, other: Self) -> f64 {
                (self.x - other.x).hypot(self.y - other.y)
            }

            #[doc = concat!("The point moved by (dx, dy), in ", $unit, ".")]
            pub fn moved(self, dx: f64, dy: f64) -> Self {
                Self::new(self.x + dx, self.y + dy)
            }
        }
    };
}
point_arithmetic!(PhotoPoint, "pixels");
point_arithmetic!(PlanePoint, "millimetres");
