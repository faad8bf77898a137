//! `walewise log keep`: keep measurements that were made earlier, from their JSON.

use super::about::{AboutArguments, StateArguments};
use super::{Done, Ended, check_to, now, open};
use crate::cli::{ExitStatus, output};
use crate::logbook::{Access, Description, NewMeasurement, Reading, RecordText};
use crate::record::{Record, Status};
use serde_json::value::RawValue;
use std::path::{Path, PathBuf};

/// Keep measurements made earlier with `walewise measure --json`
#[derive(clap::Args)]
pub struct KeepArguments {
    /// File with one measurement or several
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Add the measurement to this swatch instead of beginning a new one
    #[arg(long, value_name = "NUMBER")]
    to: Option<i64>,
    /// Keep refused photos as well
    #[arg(long)]
    keep_refused: bool,
    #[command(flatten)]
    about: AboutArguments,
    #[command(flatten)]
    state: StateArguments,
}

/// Runs the command.
pub fn run(arguments: &KeepArguments, path: &Path) -> Done {
    check_to(arguments.to, !arguments.about.is_empty())?;
    let records = read(&arguments.file)?;
    let mut log = open(path, Access::Begin)?;
    let mut worst = ExitStatus::Done;
    for (text, record) in records {
        let file = super::screen::safe(&record.photo.file);
        let kept = record.status == Status::Measured || arguments.keep_refused && record.status == Status::Refused;
        if !kept {
            output::complain(&format!("{file}: holds no gauge; not kept"));
            worst = worst.worse(ExitStatus::Refused);
            continue;
        }
        let (description, new) = entry(arguments, text, record)?;
        let said = match arguments.to {
            Some(swatch) => {
                let added = log.add_measurement(swatch, &new, now())?;
                format!("measurement {} of swatch {}", added.measurement, added.swatch)
            }
            None => format!("swatch {}", log.add(&description, &arguments.about.tags(), &new, now())?.swatch),
        };
        output::print(&format!("{file}: kept as {said}.\n"))?;
    }
    Ok(worst)
}

/// The records in the file, each as its text and as a value; all must be sound.
fn read(file: &Path) -> Result<Vec<(RecordText, Record)>, Ended> {
    let wrong = |why: String| Ended::bad(format!("{}: {why}", file.display()));
    let text = std::fs::read_to_string(file).map_err(|e| wrong(e.to_string()))?;
    let mut records = Vec::new();
    for raw in serde_json::Deserializer::from_str(&text).into_iter::<Box<RawValue>>() {
        let raw = raw.map_err(|e| wrong(format!("not JSON: {e}")))?;
        let text = RecordText::new(raw.get()).map_err(wrong)?;
        Reading::Photo(text.clone()).check().map_err(wrong)?;
        let record = text.record().ok_or_else(|| wrong("not a measurement record".to_owned()))?;
        records.push((text, record));
    }
    if records.is_empty() { Err(wrong("there is no measurement in it".to_owned())) } else { Ok(records) }
}

fn entry(arguments: &KeepArguments, text: RecordText, record: Record) -> Result<(Description, NewMeasurement), Ended> {
    let mut description = Description::default();
    arguments.about.apply(&mut description)?;
    if let Some(note) = record.stitch_pattern {
        description.stitch = Some(note.pattern.name);
        description.repeat_stitches = Some(note.pattern.repeat_stitches);
        description.repeat_rows = Some(note.pattern.repeat_rows);
    }
    let (state, stretched_to_mm, measured_on) = arguments.state.get();
    description.made_on = description.made_on.or(Some(measured_on));
    let new = NewMeasurement {
        measured_on,
        state,
        stretched_to_mm,
        reading: Reading::Photo(text),
        photo: Some(record.photo.file),
        photo_sha256: record.photo.sha256,
        picture: None,
        options: Vec::new(),
        replaces: None,
    };
    Ok((description, new))
}
