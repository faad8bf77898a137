//! The photos of a class, measured side by side.

use super::{Gathered, PhotoOf};
use crate::class::{LeftOut, LeftOutKind, Reading};
use crate::cli::measure::read_and_measure;
use crate::cli::progress::Progress;
use crate::measure::Setup;
use crate::record::{Record, Status};
use crate::report::place_map::PlaceMap;
use crate::side_by_side::on_one_thread;
use rayon::iter::{IntoParallelRefIterator, ParallelIterator};
use std::ops::ControlFlow;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Longest side of a photo in the handout, in px: twice its width on paper at 100 px an inch.
const MAP_PX: u32 = 420;

/// One photo's record, and its map where that is wanted.
struct Measured {
    record: Record,
    map: Option<PlaceMap>,
}

/// Measures all photos, in their order, and adds them to what was gathered. What can't be measured is left out, with why.
pub fn measured(photos: &[PhotoOf], setup: &Setup, with_maps: bool, mut gathered: Gathered) -> Gathered {
    let progress = Progress::new(photos.len());
    let all: Vec<Measured> =
        photos.par_iter().map(|photo| on_one_thread(|| measure_one(photo, setup, with_maps, &progress))).collect();
    progress.clear();
    for (photo, measured) in photos.iter().zip(all) {
        match reading(photo, &measured.record) {
            Ok(reading) => {
                gathered.maps.extend(measured.map.map(|map| (photo.label.clone(), map)));
                gathered.readings.push(reading);
            }
            Err((kind, reason)) => gathered.left_out.push(LeftOut {
                knitter: Some(photo.knitter.clone()),
                label: photo.label.clone(),
                kind,
                reason,
            }),
        }
    }
    gathered
}

fn measure_one(photo: &PhotoOf, setup: &Setup, with_maps: bool, progress: &Progress) -> Measured {
    let own = photo.ruler.as_ref().map(|ruler| Setup { ruler_id: Some(ruler.clone()), ..setup.clone() });
    let mut outcome = read_and_measure(&photo.path, own.as_ref().unwrap_or(setup), &mut |stage| {
        progress.stage(&photo.label, stage);
        ControlFlow::Continue(())
    });
    outcome.record.photo.file = photo.label.clone();
    let map = match (outcome.evidence, outcome.photo) {
        // A mistake in the drawing must not cost the measurement.
        (Some(evidence), Some(picture)) if with_maps => {
            catch_unwind(AssertUnwindSafe(|| PlaceMap::of(&outcome.record, &evidence, &picture.rgb, MAP_PX)))
                .ok()
                .flatten()
        }
        _ => None,
    };
    progress.finished();
    Measured { record: outcome.record, map }
}

/// The reading, or why there is none.
fn reading(photo: &PhotoOf, record: &Record) -> Result<Reading, (LeftOutKind, String)> {
    if let Some(refusal) = &record.refusal {
        return Err((LeftOutKind::Refused, format!("{}. {}", refusal.message, refusal.advice)));
    }
    if let Some(error) = &record.error {
        return Err((LeftOutKind::Unreadable, error.message.clone()));
    }
    let reading = Reading::from_record(&photo.knitter, &photo.swatch, record);
    let reading = reading.map_err(|e| (LeftOutKind::Unreadable, e.to_string()))?;
    debug_assert_eq!(record.status, Status::Measured);
    Ok(Reading { state: photo.state.clone(), ..reading })
}
