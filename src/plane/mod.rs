//! The fabric's plane: photo pixels ↔ millimetres.

mod map;

pub use map::{PlaneMap, RadialDistortion};
