//! `walewise log remeasure`: measure a kept photo again; the older measurement stays.

use super::add::{Written, measure_photo, options_again};
use super::{Done, Ended, now, open, today};
use crate::cli::{ExitStatus, output, setup};
use crate::logbook::{Access, Measurement, NewMeasurement, Reading, RecordText, Swatch};
use crate::record::Status;
use crate::report;
use std::path::{Path, PathBuf};

/// Measure a kept photo again with this version; the older result is kept and no longer counts
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise log remeasure 1
  walewise log remeasure 1 -- --stitch stockinette --ruler-thickness 1")]
pub struct RemeasureArguments {
    /// Number of the swatch
    #[arg(value_name = "NUMBER")]
    swatch: i64,
    /// Which of its measurements; the one that counts when not given
    #[arg(long, value_name = "NUMBER")]
    measurement: Option<i64>,
    /// Where the photo is now, if it was moved
    #[arg(long, value_name = "FILE")]
    photo: Option<PathBuf>,
    /// Options of `walewise measure` instead of those that were used, behind --
    #[arg(last = true, value_name = "OPTION")]
    options: Vec<String>,
}

/// Runs the command.
pub fn run(arguments: &RemeasureArguments, path: &Path) -> Done {
    let mut log = open(path, Access::Write)?;
    let swatch = log.swatch(arguments.swatch)?;
    let old = which(&swatch, arguments)?;
    if let Reading::Photo(text) = &old.reading
        && text.record().is_some_and(|record| record.photos.is_some())
    {
        let again = format!("log add --same-swatch --to {} PHOTO…", swatch.id);
        return Err(Ended::bad(format!("measurement {} was made from several photos: use '{again}'", old.id)));
    }
    let photo = match (&arguments.photo, &old.photo) {
        (Some(given), _) => given.clone(),
        (None, Some(kept)) => PathBuf::from(kept),
        (None, None) => return Err(Ended::bad(format!("measurement {} was not made from a photo", old.id))),
    };
    let options = if arguments.options.is_empty() { &old.options } else { &arguments.options };
    let again = options_again(options, &photo).map_err(Ended::bad)?;
    let setup = setup::from_arguments(&again).map_err(Ended::bad)?;
    let measured = measure_photo(&photo, &setup, Written::default(), false)?;
    if let (Some(kept), Some(now)) = (&old.photo_sha256, &measured.record.photo.sha256)
        && kept != now
    {
        return Err(Ended::bad(format!("{}: this is not the photo that was measured", photo.display())));
    }
    output::print(&report::text::describe(&measured.record))?;
    if measured.record.status != Status::Measured {
        output::print("Not kept; the older measurement still counts.\n")?;
        return Ok(measured.status);
    }
    let new = NewMeasurement {
        state: old.state,
        stretched_to_mm: old.stretched_to_mm,
        photo: Some(measured.photo),
        photo_sha256: measured.record.photo.sha256.clone(),
        picture: old.picture.clone(),
        options: options.clone(),
        replaces: Some(old.id),
        thumbnail: log.thumbnail(old.id)?,
        ..NewMeasurement::of(Reading::Photo(RecordText::of(&measured.record)), today().max(old.measured_on))
    };
    let added = log.add_measurement(swatch.id, &new, now())?;
    output::print(&format!(
        "Kept as measurement {} of swatch {}, in place of {}.\n",
        added.measurement, added.swatch, old.id
    ))?;
    Ok(ExitStatus::Done)
}

fn which<'a>(swatch: &'a Swatch, arguments: &RemeasureArguments) -> Result<&'a Measurement, Ended> {
    let wanted = arguments.measurement.or(swatch.newest).or(swatch.measurements.last().map(|m| m.id));
    swatch
        .measurements
        .iter()
        .find(|m| Some(m.id) == wanted)
        .ok_or_else(|| Ended::bad(format!("swatch {} has no such measurement", swatch.id)))
}
