//! One measurement of a swatch: a measured photo, a hand count, or a gauge someone states.

use super::{State, Thumbnail};
use crate::compare::{GaugeError, HandCount, MeasuredGauge, StatedValue};
use crate::quantity::{Confidence, Expanded};
use crate::record::{Record, SCHEMA};
use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::value::RawValue;

/// Where a gauge comes from, with all that is needed to work it out again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reading {
    /// The record of a photo, word for word.
    Photo(RecordText),
    /// A hand count.
    Count(HandCount),
    /// A gauge with its uncertainty, without sources: from a table.
    Stated {
        /// Stitches per 10 cm.
        stitches_per_10cm: StatedValue,
        /// Rows per 10 cm.
        rows_per_10cm: StatedValue,
    },
}

/// A measurement record as the JSON text it came in, on one line: parts that this version does not know stay in it.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordText(String);

impl RecordText {
    /// Takes the text of one record. `Err` says why it is none.
    pub fn new(text: &str) -> Result<Self, String> {
        let record: Record = serde_json::from_str(text).map_err(|e| format!("not a measurement record: {e}"))?;
        if record.schema != SCHEMA {
            return Err(format!("not a measurement record of the kind {SCHEMA}"));
        }
        // Line ends inside JSON can only stand between its parts.
        Ok(Self(text.trim().replace(['\n', '\r'], " ")))
    }

    /// The record's text for a record of this program.
    pub fn of(record: &Record) -> Self {
        // A record is plain numbers and texts under text keys; serde_json can refuse only other keys.
        Self(serde_json::to_string(record).unwrap_or_default())
    }

    /// The record; `None` where this version can't read it.
    pub fn record(&self) -> Option<Record> {
        serde_json::from_str(&self.0).ok()
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Serialize for RecordText {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let raw = RawValue::from_string(self.0.clone()).map_err(serde::ser::Error::custom)?;
        raw.serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for RecordText {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let raw = Box::<RawValue>::deserialize(deserializer)?;
        Self::new(raw.get()).map_err(serde::de::Error::custom)
    }
}

impl Reading {
    /// The gauge with its sources; `occasion` marks those that belong to this measurement alone.
    pub fn gauge(&self, occasion: &str) -> Result<MeasuredGauge, GaugeError> {
        match self {
            Self::Photo(text) => MeasuredGauge::from_record(&text.record().ok_or(GaugeError::NotMeasured)?, occasion),
            Self::Count(count) => count.gauge(occasion).ok_or(GaugeError::NotAGauge),
            Self::Stated { stitches_per_10cm, rows_per_10cm } => {
                MeasuredGauge::stated(*stitches_per_10cm, *rows_per_10cm, occasion)
            }
        }
    }

    /// Stitches and rows per 10 cm with their 95 % intervals, a photo's as its record states them; `None` for a
    /// refusal.
    pub fn intervals(&self) -> Option<[Expanded; 2]> {
        if let Self::Photo(text) = self {
            return text.record()?.gauge.map(|gauge| [gauge.stitches_per_10cm, gauge.rows_per_10cm]);
        }
        if let Self::Stated { stitches_per_10cm, rows_per_10cm } = self {
            return Some([stitches_per_10cm.expanded(), rows_per_10cm.expanded()]);
        }
        let gauge = self.gauge("").ok()?;
        Some([gauge.stitches_per_10cm, gauge.rows_per_10cm].map(|value| value.expanded(Confidence::P95)))
    }

    /// Whether it can be kept: a record whose parts add up (or a refusal), a count or statement that is a gauge.
    pub fn check(&self) -> Result<(), String> {
        match self.gauge("") {
            Err(GaugeError::NotMeasured) if matches!(self, Self::Photo(_)) => Ok(()),
            other => other.map(drop).map_err(|error| format!("the measurement can't be kept: {error}")),
        }
    }
}

/// A measurement that is to be kept.
#[derive(Debug, Clone, PartialEq)]
pub struct NewMeasurement {
    /// Day of the measuring.
    pub measured_on: Date,
    /// State of the fabric.
    pub state: Option<State>,
    /// Width to which it was stretched, in mm; `None` for relaxed.
    pub stretched_to_mm: Option<f64>,
    /// What was measured.
    pub reading: Reading,
    /// Path of the photo.
    pub photo: Option<String>,
    /// SHA-256 of the photo's bytes.
    pub photo_sha256: Option<String>,
    /// Path of the picture that shows what was counted.
    pub picture: Option<String>,
    /// Options the photo was measured with, as typed.
    pub options: Vec<String>,
    /// Number of the measurement of the same swatch that this one replaces; that one is kept.
    pub replaces: Option<i64>,
    /// A small picture to keep with it.
    pub thumbnail: Option<Thumbnail>,
}

impl NewMeasurement {
    /// A reading of which nothing more is said than the day.
    pub fn of(reading: Reading, measured_on: Date) -> Self {
        Self {
            measured_on,
            state: None,
            stretched_to_mm: None,
            reading,
            photo: None,
            photo_sha256: None,
            picture: None,
            options: Vec::new(),
            replaces: None,
            thumbnail: None,
        }
    }
}

/// A measurement in the log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// Its number in the log.
    pub id: i64,
    /// Its name everywhere.
    pub uid: String,
    /// When it was added.
    pub added_at: Timestamp,
    /// When it was deleted.
    pub deleted_at: Option<Timestamp>,
    /// Day of the measuring.
    pub measured_on: Date,
    /// State of the fabric.
    pub state: Option<State>,
    /// Width to which it was stretched, in mm; `None` for relaxed.
    pub stretched_to_mm: Option<f64>,
    /// Path of the photo.
    pub photo: Option<String>,
    /// SHA-256 of the photo's bytes.
    pub photo_sha256: Option<String>,
    /// Path of the picture that shows what was counted.
    pub picture: Option<String>,
    /// Options the photo was measured with.
    #[serde(default)]
    pub options: Vec<String>,
    /// `uid` of the newer measurement that took its place.
    pub replaced_by: Option<String>,
    /// What was measured.
    pub reading: Reading,
}

impl Measurement {
    /// Whether it counts: neither deleted nor replaced.
    pub fn counts(&self) -> bool {
        self.deleted_at.is_none() && self.replaced_by.is_none()
    }
}
