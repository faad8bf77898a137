//! Records and plans as JSON, for programs.

use crate::plan::Plan;
use crate::record::Record;

/// The record as one line of JSON with its line end.
pub fn line(record: &Record) -> String {
    // A record is plain numbers and texts under text keys; serde_json can refuse only other keys.
    let json = serde_json::to_string(record).unwrap_or_default();
    format!("{json}\n")
}

/// The plan as one line of JSON with its line end.
pub fn plan_line(plan: &Plan) -> String {
    // Plain numbers and texts under text keys, as a record is.
    let json = serde_json::to_string(plan).unwrap_or_default();
    format!("{json}\n")
}
