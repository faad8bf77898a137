//! `walewise log keep`: keep measurements that were made earlier, from their JSON.

use super::keeping::{KeepingArguments, with_pattern};
use super::{Done, Ended, open};
use crate::cli::input_file::{self, Kind};
use crate::cli::{ExitStatus, output};
use crate::logbook::{Access, NewMeasurement, Reading, RecordText};
use crate::record::{Record, Status};
use serde_json::value::RawValue;
use std::path::{Path, PathBuf};

/// Keep measurements made earlier with `walewise measure --json`
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise measure swatch.jpg --stitch stockinette --json > swatch.json
  walewise log keep swatch.json --yarn \"grey lambswool\"")]
pub struct KeepArguments {
    /// File with one measurement or several
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Keep refused photos as well
    #[arg(long)]
    keep_refused: bool,
    #[command(flatten)]
    keeping: KeepingArguments,
}

/// Runs the command.
pub fn run(arguments: &KeepArguments, path: &Path) -> Done {
    let keeping = &arguments.keeping;
    keeping.swatch(false)?;
    let described = keeping.description()?;
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
        let new = NewMeasurement {
            photo: Some(record.photo.file.clone()),
            photo_sha256: record.photo.sha256.clone(),
            ..keeping.measurement(Reading::Photo(text))
        };
        let said = keeping.keep(&mut log, &with_pattern(described.clone(), &record), &new)?;
        output::print(&format!("{file}: kept as {said}.\n"))?;
    }
    Ok(worst)
}

/// The records in the file, each as its text and as a value; all must be sound.
fn read(file: &Path) -> Result<Vec<(RecordText, Record)>, Ended> {
    let wrong = |why: String| Ended::bad(format!("{}: {why}", file.display()));
    let text = input_file::text(file, Kind::MEASUREMENT).map_err(wrong)?;
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
