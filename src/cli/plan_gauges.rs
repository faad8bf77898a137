//! What stands behind the gauges of a plan: files of measurements, swatches of the log.

use super::ExitStatus;
use super::input_file::{self, Kind};
use super::plan::{Failure, Source};
use crate::plan::{GaugeRequest, GaugeSource, LoggedSwatch, PlanError, PlanFile, Provided};
use crate::record::Record;
use std::collections::BTreeMap;
use std::path::Path;

/// What stands behind every gauge that is not typed. `logbook` is the log's file where the plan file names none.
pub(super) fn provided(
    file: &PlanFile,
    source: &Source<'_>,
    logbook: Option<&Path>,
) -> Result<BTreeMap<String, Provided>, Failure> {
    let mut provided = BTreeMap::new();
    for gauge in &file.request.gauges {
        let behind = match &gauge.source {
            GaugeSource::Typed { .. } => continue,
            GaugeSource::Measurement { file: name, photo } => {
                let wrong = |message: String| {
                    let key = format!("{}.measurement", gauge.key);
                    source.explain(PlanError::at(key, format!("{name}: {message}")).located(&file.lines))
                };
                let text = input_file::text(&source.beside(name), Kind::MEASUREMENT).map_err(wrong)?;
                one_record(&text, photo.as_deref()).map_err(wrong)?.into()
            }
            GaugeSource::Logged { swatch, state, logbook: named } => {
                let named = named.as_deref().map(|name| source.beside(name));
                let log = named.as_deref().or(logbook);
                let found = logged(log, *swatch, state.as_deref());
                found.map_err(|(status, message)| unfound(file, source, gauge, status, message))?.into()
            }
        };
        provided.insert(gauge.name.clone(), behind);
    }
    Ok(provided)
}

/// Why a swatch gives no gauge: a mistake in the plan, or no honest answer.
fn unfound(file: &PlanFile, source: &Source<'_>, gauge: &GaugeRequest, status: ExitStatus, message: String) -> Failure {
    let error = PlanError::at(format!("{}.swatch", gauge.key), message).located(&file.lines);
    let Failure(_, line) = source.explain(error);
    Failure(status, line)
}

#[cfg(feature = "logbook")]
fn logged(log: Option<&Path>, swatch: u32, state: Option<&str>) -> Result<LoggedSwatch, (ExitStatus, String)> {
    super::log::swatch_for_plan(log, swatch, state)
}

#[cfg(not(feature = "logbook"))]
fn logged(_: Option<&Path>, swatch: u32, _: Option<&str>) -> Result<LoggedSwatch, (ExitStatus, String)> {
    Err((ExitStatus::BadArguments, format!("swatch {swatch}: this program was built without the log")))
}

/// The record of a photo out of one JSON object a line, as `walewise measure --json` writes them.
fn one_record(text: &str, photo: Option<&str>) -> Result<Record, String> {
    let parsed = serde_json::Deserializer::from_str(text).into_iter::<Record>().collect::<Result<Vec<_>, _>>();
    let mut found = parsed.map_err(|e| format!("this is not what 'walewise measure --json' writes: {e}"))?;
    if let Some(other) = found.iter().find(|r| r.schema != crate::record::SCHEMA) {
        return Err(format!("its schema is '{}'; {} is accepted", other.schema, crate::record::SCHEMA));
    }
    let files = found.iter().map(|r| format!("\"{}\"", r.photo.file)).collect::<Vec<_>>().join(", ");
    if let Some(photo) = photo {
        let is_it =
            |r: &Record| r.photo.file == photo || Path::new(&r.photo.file).file_name().is_some_and(|n| n == photo);
        found.retain(is_it);
    }
    match found.len() {
        1 => Ok(found.remove(0)),
        0 if files.is_empty() => Err("the file holds no measurement".to_owned()),
        0 => Err(format!("there is no such photo in it; there are {files}")),
        _ => Err(format!("it holds several measurements: photo = one of {files} is expected")),
    }
}

#[cfg(test)]
mod tests {
    use super::one_record;
    use crate::record::{PhotoFacts, Record, Status};

    #[test]
    fn the_record_of_one_photo_among_several() {
        let line = |file: &str| {
            let photo = PhotoFacts { file: file.to_owned(), ..PhotoFacts::default() };
            serde_json::to_string(&Record::new(Status::Failed, photo)).expect("JSON")
        };
        let both = format!("{}\n{}\n", line("a/one.jpg"), line("two.jpg"));
        assert_eq!(one_record(&both, Some("one.jpg")).map(|r| r.photo.file), Ok("a/one.jpg".to_owned()));
        assert!(one_record(&both, None).unwrap_err().contains("\"two.jpg\""));
        assert!(one_record(&both, Some("three.jpg")).unwrap_err().contains("no such photo"));
        assert!(one_record("", None).is_err() && one_record("{}", None).is_err());
        let other = line("a.jpg").replace("walewise.measurement/1", "walewise.measurement/9");
        assert!(one_record(&other, None).unwrap_err().contains("measurement/9"));
    }
}
