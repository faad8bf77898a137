//! The coverage study: photos with known truth, measured, and counted by how often the intervals hold the truth.

pub mod cases;
pub mod plot;
pub mod rows;
pub mod summary;
