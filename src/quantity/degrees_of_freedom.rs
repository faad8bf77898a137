//! How degrees of freedom are written: JSON has no infinity, so "no limit" is null there.

use serde::{Deserialize, Deserializer, Serializer};

/// Writes infinite degrees of freedom as null.
pub(super) fn serialize<S: Serializer>(degrees: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    if degrees.is_finite() { serializer.serialize_some(degrees) } else { serializer.serialize_none() }
}

/// Reads null as infinite degrees of freedom.
pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
    Ok(Option::<f64>::deserialize(deserializer)?.unwrap_or(f64::INFINITY))
}
