//! Small pictures of swatches, kept in the log itself, and how they stand in a line of text.

use super::{Logbook, LogbookError};
use rusqlite::{Connection, OptionalExtension, params};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Largest picture that is kept, in bytes: a stated choice, ten times what a small JPEG takes.
const LARGEST: usize = 500_000;

/// A small JPEG.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thumbnail(Vec<u8>);

impl Thumbnail {
    /// Takes the bytes of a JPEG; `None` for anything else, and for what is too large.
    pub fn new(jpeg: Vec<u8>) -> Option<Self> {
        /// How every JPEG begins (ISO/IEC 10918-1, B.1.1.3).
        const START: [u8; 2] = [0xFF, 0xD8];
        (jpeg.starts_with(&START) && jpeg.len() <= LARGEST).then_some(Self(jpeg))
    }

    /// Its bytes.
    pub fn jpeg(&self) -> &[u8] {
        &self.0
    }
}

/// As text: two hexadecimal digits a byte.
impl Serialize for Thumbnail {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0.iter().map(|byte| format!("{byte:02x}")).collect::<String>())
    }
}

impl<'de> Deserialize<'de> for Thumbnail {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let byte = |pair: &[u8]| {
            let digits = std::str::from_utf8(pair).ok().filter(|p| p.bytes().all(|b| b.is_ascii_hexdigit()))?;
            (digits.len() == 2).then(|| u8::from_str_radix(digits, 16).ok()).flatten()
        };
        let bytes: Option<Vec<u8>> = text.as_bytes().chunks(2).map(byte).collect();
        bytes
            .and_then(Self::new)
            .ok_or_else(|| serde::de::Error::custom("a thumbnail is no JPEG in hexadecimal digits"))
    }
}

/// Keeps the picture of a measurement.
pub(super) fn insert(connection: &Connection, measurement: i64, picture: &Thumbnail) -> Result<(), LogbookError> {
    let mut insert = connection.prepare_cached("INSERT INTO thumbnail (measurement, jpeg) VALUES (?, ?)")?;
    insert.execute(params![measurement, picture.0])?;
    Ok(())
}

impl Logbook {
    /// The picture kept with a measurement, if there is one.
    pub fn thumbnail(&self, measurement: i64) -> Result<Option<Thumbnail>, LogbookError> {
        let mut statement = self.connection.prepare_cached("SELECT jpeg FROM thumbnail WHERE measurement = ?")?;
        Ok(statement.query_row([measurement], |row| row.get(0)).optional()?.map(Thumbnail))
    }
}
