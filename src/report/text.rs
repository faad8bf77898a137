//! A record in words, for people.

use crate::record::Record;

/// What was measured and how sure it is, or what is wrong and what to do.
pub fn describe(record: &Record) -> String {
    format!("{}\n", record.photo.file)
}
