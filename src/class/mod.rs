//! A class: many knitters' swatches, and how much their gauge varies: within a swatch, within a knitter, between knitters;
//! and what that does to one piece.
//!
//! Measurements form a nest: knitters, their swatches, photos of each swatch. Photos of one swatch repeat the *measuring*,
//! not the knitting; so repeatability and reproducibility (ISO 5725) are words for them alone, and the rest is called the
//! spread between knitters and between swatches. What a measurement states of its own error is taken out of the spread, so
//! that a photo's error is not taught as the knitters'; a named ruler's error moves all alike and is in no spread.
//!
//! `reading` in → `nested` layout → `reml` the components, `intervals` their limits, `places` the variation within a swatch
//! → `spread` of an axis → `meaning` for a piece → `result`. `anova` holds the classical sums, `outliers` and `notes` what
//! is said about it all. Nothing here knows files.

pub mod anova;
mod compose;
mod duplicates;
mod error;
mod intervals;
mod meaning;
mod nested;
mod notes;
mod outliers;
mod places;
mod reading;
mod reml;
mod result;
mod spread;
#[cfg(feature = "cli")]
mod table;

pub use compose::{ClassQuestion, class};
pub use error::{ClassError, MOST_READINGS};
pub use intervals::{LevelInterval, intervals, share_interval};
pub use meaning::{AsWritten, KnitterPiece, Meaning, OwnGauge, Piece, meaning};
pub use nested::{Level, Nested};
pub use notes::{Note, NoteCode};
pub use outliers::{Apart, apart, critical};
pub use places::{PlaceVariation, freedom, place_variation, pooled};
pub use reading::{Place, Reading, free_name};
pub use reml::{Components, reml};
pub use result::{Class, Knitter, LeftOut, LeftOutKind, SCHEMA, Swatch, to_json};
pub use spread::{KnittersShare, Part, PartKind, Spread, spread};
#[cfg(feature = "cli")]
pub use table::{ClassTable, ListedPhoto, read_table};
