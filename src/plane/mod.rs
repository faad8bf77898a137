//! The fabric's plane: photo pixels ↔ millimetres.

mod camera;
mod drift;
mod estimate;
mod evidence;
mod least_squares;
mod map;
mod pose;
mod scales;

pub use camera::CameraPrior;
pub use estimate::{PlaneEffect, PlaneEstimate, PlaneInput, estimate};
pub use evidence::{CountSeen, ScaleEvidence, Span};
pub use map::{PlaneMap, RadialDistortion};
pub use pose::{Frame, Pose};
