//! One photo that came in more than once.

use super::reading::Reading;
use super::result::{LeftOut, LeftOutKind};
use std::collections::HashMap;

/// The readings that can stand, and those that can't, with why. A photo that stands under one knitter several times counts
/// once. A photo that stands under several knitters shows the work of one of them at most, and nobody knows whose: none of
/// its readings counts.
pub fn sorted_out(readings: Vec<Reading>) -> (Vec<Reading>, Vec<LeftOut>) {
    let mut seen: HashMap<String, Vec<(String, String)>> = HashMap::new();
    for reading in &readings {
        if let Some(hash) = &reading.photo_sha256 {
            seen.entry(hash.clone()).or_default().push((reading.knitter.clone(), reading.label.clone()));
        }
    }
    let mut left_out = Vec::new();
    let mut kept: Vec<Reading> = Vec::new();
    for reading in readings {
        let copies = reading.photo_sha256.as_ref().and_then(|hash| seen.get(hash)).map_or(&[][..], Vec::as_slice);
        let other = copies.iter().find(|(knitter, _)| *knitter != reading.knitter);
        let before = kept.iter().find(|k| k.photo_sha256.is_some() && k.photo_sha256 == reading.photo_sha256);
        let reason = match (other, before) {
            (Some((knitter, label)), _) => Some(format!(
                "the same photo stands under another knitter too ({knitter}: {label}); it shows the work of one of them at \
                 most, so it counts for neither"
            )),
            (None, Some(first)) => Some(format!("the same photo again ({}); it counts once", first.label)),
            (None, None) => None,
        };
        match reason {
            Some(reason) => {
                let kind = LeftOutKind::Duplicate;
                left_out.push(LeftOut { knitter: Some(reading.knitter), label: reading.label, kind, reason });
            }
            None => kept.push(reading),
        }
    }
    (kept, left_out)
}
