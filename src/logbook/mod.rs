//! The swatch log (feature `logbook`): one SQLite file that holds swatches, every measurement made of them, and what
//! was changed when.
//!
//! **Durability.** The file is in write-ahead mode with `synchronous = FULL`: when a call that writes returns, the
//! entry is on the disk, and neither a killed program nor a power cut takes it away. Each call is one transaction. Two
//! programs may write at once; one waits for the other.
//!
//! **Years.** The schema grows only by appending to `schema`'s list of migrations; a log of an older version is
//! brought up to date when it is opened for writing. Records of measurements are kept as the JSON they came in, so that
//! nothing a newer or older version wrote is lost.
//!
//! Times come from the caller. Nothing here prints.

mod backup;
mod description;
mod error;
mod find;
mod history;
mod lines;
mod measurement;
mod needles;
mod open;
mod row;
mod schema;
mod store;
mod table;
mod thumbnail;

pub use description::{Description, Field, FieldError, FieldValue, State, Worked};
pub use error::LogbookError;
pub use find::{Filter, Found, Range, SortKey, SwatchLine};
pub use history::{Event, EventKind};
pub use lines::{Entry, Imported, read_lines, write_line};
pub use measurement::{Measurement, NewMeasurement, Reading, RecordText};
pub use needles::NeedleGroup;
pub use open::{Access, Logbook};
pub use store::{Added, Swatch};
pub use table::{TableError, read_table, write_table};
pub use thumbnail::Thumbnail;

/// Longest text that is kept in one field, in characters: a stated choice, far above any note, far below what would
/// make a listing slow.
pub const LONGEST_TEXT: usize = 100_000;
