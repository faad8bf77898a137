//! The fabric's plane: photo pixels ↔ millimetres.

mod camera;
mod drift;
mod estimate;
mod evidence;
mod least_squares;
mod lens;
mod lens_profile;
mod map;
mod pose;
mod scales;

pub use camera::CameraPrior;
pub use estimate::{PlaneEffect, PlaneEstimate, PlaneInput, estimate};
pub use evidence::{CountSeen, ScaleEvidence, Span};
pub use lens::{CardPhoto, LensError, measure_lens};
pub use lens_profile::{LensMismatch, LensProfile, LensTerm, ProfileError};
pub use map::{PlaneMap, RadialDistortion};
pub use pose::{Frame, Pose};
