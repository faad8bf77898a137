//! Quantities: points in their frames, and values that carry their uncertainty.

mod points;

pub use points::{PhotoPoint, PlanePoint};
