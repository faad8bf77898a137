//! A class out of the swatch log: the swatches with a tag.

use super::{Ended, Gathered, bad, check_number};
use crate::class::{LeftOut, LeftOutKind, Reading};
use crate::cli::ExitStatus;
use crate::cli::log::place;
use crate::logbook::{Access, Filter, Logbook, LogbookError, Reading as LogReading, SortKey, SwatchLine};
use std::path::Path;

/// The measurement that counts of every swatch that has all these tags.
pub fn gathered(logbook: Option<&Path>, tags: &[String]) -> Result<Gathered, Ended> {
    let path = place::of(logbook).map_err(|message| (message, ExitStatus::Other))?;
    let wrong = |e: LogbookError| bad(format!("{}: {e}", path.display()));
    let log = Logbook::open(&path, Access::Read, |_| false).map_err(wrong)?;
    let filter = Filter { tags: tags.to_vec(), ..Filter::default() };
    let found = log.find(&filter, SortKey::Number, false, crate::class::MOST_READINGS + 1).map_err(wrong)?;
    check_number(found.total)?;
    let mut gathered = Gathered::default();
    for line in found.lines {
        match reading(&log, &line).map_err(wrong)? {
            Ok(reading) => gathered.readings.push(reading),
            Err(reason) => gathered.left_out.push(LeftOut {
                knitter: line.knitter,
                label: format!("swatch {}", line.id),
                kind: LeftOutKind::Misplaced,
                reason,
            }),
        }
    }
    Ok(gathered)
}

/// One swatch's reading, or why there is none.
fn reading(log: &Logbook, line: &SwatchLine) -> Result<Result<Reading, String>, LogbookError> {
    let Some(knitter) = &line.knitter else {
        return Ok(Err("its knitter is not named: log edit NUMBER --knitter NAME".to_owned()));
    };
    let Some(measurement) = log.counting(line.id, None)? else { return Ok(Err("it has no measured gauge".to_owned())) };
    let (swatch, label) = (format!("swatch {}", line.id), format!("swatch {}", line.id));
    let from_photo = match &measurement.reading {
        LogReading::Photo(text) => text.record().and_then(|mut record| {
            record.photo.file = label.clone();
            Reading::from_record(knitter, &swatch, &record).ok()
        }),
        _ => None,
    };
    let reading = match from_photo {
        Some(reading) => reading,
        None => match measurement.reading.gauge(&measurement.uid) {
            Ok(gauge) => {
                Reading::new(knitter, &swatch, &label, [Some(gauge.stitches_per_10cm), Some(gauge.rows_per_10cm)])
            }
            Err(error) => return Ok(Err(error.to_string())),
        },
    };
    Ok(Ok(Reading {
        stitch: line.stitch.clone().or(reading.stitch.clone()),
        state: line.state.map(|s| s.name().to_owned()),
        yarn: line.yarn.clone(),
        needle_mm: line.needle_mm,
        photo_sha256: measurement.photo_sha256.clone(),
        ..reading
    }))
}
