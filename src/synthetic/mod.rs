//! Photos of swatches that never existed, with exactly known truth: a knitted fabric, a ruler and a camera.
//!
//! They prove arithmetic and error bars (recovery of what was put in, coverage of the intervals over sweeps of one
//! factor), and they serve teaching (`walewise sample`). They are no evidence of how well real photos are measured:
//! the yarn is drawn by our own simple rules, and whoever shares a model with the measuring would agree with himself.
//! That is why this module shares no code with the stages that measure; it has its own camera and its own lattice.
//!
//! A [`Scene`] is a plain description; [`photograph`] turns it into a picture and its [`Truth`]; [`sample`] writes
//! that as JPEG bytes with a focal length in its EXIF block and a JSON text. The same scene gives the same picture
//! everywhere, as far as the machine's sine and cosine agree.
//!
//! Lengths are millimetres on the table, x right and y down as in the photo, heights above the table. A point of the
//! photo counts pixels as everywhere else: the centre of the first pixel is (0.5, 0.5).

mod chart;
mod class;
mod draw;
mod fabric_surface;
mod framing;
mod hollows;
mod lattice_truth;
mod noise;
mod numerals;
mod photographer;
mod ruler_face;
mod ruler_truth;
mod sample;
mod scene;
mod screen;
mod sensor;
mod shading;
mod sweep;
mod table;
mod truth;
mod tubes;
mod variety;
mod view;
mod yarn_path;

pub use chart::{Chart, UnknownPattern};
pub use class::{ClassPhoto, ClassSettings, ClassTruth, SwatchTruth, class_of_photos};
pub use lattice_truth::StitchTruth;
pub use photographer::{SyntheticPhoto, photograph, photograph_beside};
pub use ruler_truth::{RulerScaleTruth, RulerTruth};
pub use sample::{Sample, SampleError, SampleSettings, jpeg_with_exif, sample};
pub use scene::{
    Body, Camera, Difficulty, Fabric, Irregularity, Light, Ruler, RulerScale, Scene, SceneError, Table, Yarn,
};
pub use screen::{Screen, photograph_of_screen};
pub use sweep::{Factor, sweep};
pub use truth::{CameraTruth, DistortionTruth, PatternTruth, PlaneTruth, Truth};
