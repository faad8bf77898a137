//! Several photos of one swatch → one record.

use super::{Setup, compose};
use crate::caution::{Caution, CautionCode};
use crate::gauge::{Disagreement, combine};
use crate::quantity::{Confidence, Uncertain, plus_minus};
use crate::record::{Gauge, PatternNote, PhotoPart, Record, RefusalNote, Status};
use crate::refusal::{Refusal, RefusalCode};

/// One photo's outcome.
#[derive(Debug, Clone)]
pub struct OnePhoto {
    /// Its record.
    pub record: Record,
    /// Its stitches and rows per 10 cm with every contribution; `None` unless measured.
    pub gauge: Option<[Uncertain; 2]>,
}

/// Makes one record of several photos of one swatch, in the order given. Photos that were not measured take no part and
/// are named in cautions; where none was measured the first photo's record stays, with all photos listed. Photos that
/// contradict each other are refused. `None` for no photos.
pub fn one_record(photos: &[OnePhoto], setup: &Setup) -> Option<Record> {
    let mut parts: Vec<PhotoPart> = photos.iter().map(|p| part(&p.record)).collect();
    let mut used: Vec<(usize, &[Uncertain; 2])> = Vec::new();
    for (k, photo) in photos.iter().enumerate() {
        let twin = used.iter().find(|(u, _)| same_file(&photos[*u].record, &photo.record));
        match (&photo.gauge, twin) {
            (Some(_), Some((u, _))) => {
                parts[k].left_out = Some(format!("it is the same photo as {}", photos[*u].record.photo.file));
            }
            (Some(gauge), None) => used.push((k, gauge)),
            (None, _) => parts[k].left_out = Some(why_not(&photo.record)),
        }
    }
    let Some(&(first, _)) = used.first() else {
        let mut record = photos.first()?.record.clone();
        record.photos = Some(parts);
        return Some(record);
    };
    let measured: Vec<&Record> = used.iter().map(|(k, _)| &photos[*k].record).collect();
    let base = &photos[first].record;
    if let Some(seen) = different_patterns(&measured) {
        return Some(refused(base, parts, seen));
    }
    let gauges: Vec<[Uncertain; 2]> = used.iter().map(|(_, gauge)| (*gauge).clone()).collect();
    let combined = match combine(&gauges) {
        Ok(combined) => combined,
        Err(disagreement) => return Some(refused(base, parts, disagreement_words(&measured, disagreement))),
    };
    for (rank, (k, _)) in used.iter().enumerate() {
        parts[*k].weights = Some([combined.weights[0][rank], combined.weights[1][rank]]);
    }
    let values = [&combined.gauge[0], &combined.gauge[1]];
    let variation = base.gauge.as_ref().and_then(|g| g.next_fabric.as_ref()).map(|n| n.variation);
    let next = variation.map(|v| compose::next_values(values, &v));
    let mut record = base.clone();
    record.gauge = Some(Gauge {
        stitches_per_10cm: values[0].expanded(Confidence::P95),
        rows_per_10cm: values[1].expanded(Confidence::P95),
        next_fabric: variation.map(|v| compose::next_fabric(values, v)),
    });
    record.budget = compose::budget(values[0], values[1]);
    record.wanted = compose::wanted_answer(setup, values, next.as_ref());
    record.cautions = cautions(&measured, &parts);
    record.photos = Some(parts);
    Some(record)
}

fn part(record: &Record) -> PhotoPart {
    PhotoPart {
        photo: record.photo.clone(),
        status: record.status,
        stitches_per_10cm: record.gauge.as_ref().map(|g| g.stitches_per_10cm),
        rows_per_10cm: record.gauge.as_ref().map(|g| g.rows_per_10cm),
        weights: None,
        left_out: None,
    }
}

fn same_file(a: &Record, b: &Record) -> bool {
    a.photo.sha256.is_some() && a.photo.sha256 == b.photo.sha256
}

fn why_not(record: &Record) -> String {
    match (&record.refusal, &record.error) {
        (Some(refusal), _) => refusal.message.clone(),
        (None, Some(error)) => error.message.clone(),
        (None, None) => "it was not measured".to_owned(),
    }
}

/// One swatch has one pattern: says so where photos show two.
fn different_patterns(measured: &[&Record]) -> Option<String> {
    let mut known: Option<(&Record, &PatternNote)> = None;
    for record in measured {
        let Some(note) = &record.stitch_pattern else { continue };
        match known {
            Some((other, first)) if first.pattern != note.pattern => {
                return Some(format!(
                    "{} shows {}, {} shows {}",
                    other.photo.file, first.pattern.name, record.photo.file, note.pattern.name
                ));
            }
            Some(_) => {}
            None => known = Some((record, note)),
        }
    }
    None
}

fn disagreement_words(measured: &[&Record], disagreement: Disagreement) -> String {
    let what = if disagreement.in_rows { "rows" } else { "stitches" };
    let own = |record: &&Record| {
        let gauge = record.gauge.as_ref()?;
        let value = if disagreement.in_rows { gauge.rows_per_10cm } else { gauge.stitches_per_10cm };
        Some(format!("{} {}", record.photo.file, plus_minus(value.value, value.expanded_uncertainty)))
    };
    let all: Vec<String> = measured.iter().filter_map(own).collect();
    let farthest = &measured[disagreement.farthest].photo.file;
    let odd = if measured.len() > 2 { format!("; {farthest} is farthest from the others") } else { String::new() };
    format!("{what} per 10 cm are {}{odd}", all.join(", "))
}

fn refused(base: &Record, parts: Vec<PhotoPart>, seen: String) -> Record {
    let refusal = Refusal::new(RefusalCode::PhotosDisagree, seen);
    let mut record = Record::new(Status::Refused, base.photo.clone());
    record.refusal = Some(RefusalNote::from(&refusal));
    record.cautions = left_out(&parts);
    record.photos = Some(parts);
    record
}

/// Every photo's cautions, each once, and one for each photo that took no part.
fn cautions(measured: &[&Record], parts: &[PhotoPart]) -> Vec<Caution> {
    let mut out: Vec<Caution> = Vec::new();
    for caution in measured.iter().flat_map(|r| &r.cautions) {
        if out.iter().all(|known| known.code != caution.code) {
            out.push(caution.clone());
        }
    }
    out.extend(left_out(parts));
    out
}

fn left_out(parts: &[PhotoPart]) -> Vec<Caution> {
    let of = |part: &PhotoPart| {
        let why = part.left_out.as_ref()?;
        let message = format!("{} took no part: {why}", part.photo.file);
        Some(Caution { code: CautionCode::PhotoLeftOut, message })
    };
    parts.iter().filter_map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lattice::StitchPattern;
    use crate::quantity::{Contribution, Source};
    use crate::record::{PatternSource, PhotoFacts};

    fn photo(file: &str, stitches: f64) -> OnePhoto {
        let facts = PhotoFacts { file: file.to_owned(), sha256: Some(file.to_owned()), ..PhotoFacts::default() };
        let own = |value: f64| {
            Uncertain::exact(value)
                .with_relative(Contribution::stated(Source::named("reading of the graduations"), 0.003))
        };
        let gauge = [own(stitches), own(1.4 * stitches)];
        let mut record = Record::new(Status::Measured, facts);
        record.gauge = Some(Gauge {
            stitches_per_10cm: gauge[0].expanded(Confidence::P95),
            rows_per_10cm: gauge[1].expanded(Confidence::P95),
            next_fabric: None,
        });
        OnePhoto { record, gauge: Some(gauge) }
    }

    fn unmeasured(file: &str) -> OnePhoto {
        let facts = PhotoFacts { file: file.to_owned(), ..PhotoFacts::default() };
        OnePhoto { record: Record::refused(facts, &Refusal::new(RefusalCode::OutOfFocus, "")), gauge: None }
    }

    #[test]
    fn photos_that_agree_become_one_and_the_others_are_named() {
        let photos = [unmeasured("blurred.jpg"), photo("a.jpg", 22.0), photo("b.jpg", 22.06), photo("a.jpg", 22.0)];
        let record = one_record(&photos, &Setup::default()).unwrap();
        assert_eq!(record.status, Status::Measured);
        assert_eq!(record.photo.file, "a.jpg");
        let gauge = record.gauge.unwrap();
        assert!((gauge.stitches_per_10cm.value - 22.03).abs() < 1e-3);
        let parts = record.photos.unwrap();
        assert_eq!(parts.len(), 4);
        assert!(parts[0].weights.is_none() && parts[3].left_out.as_ref().unwrap().contains("same photo"));
        let named = |file: &str| record.cautions.iter().any(|c| c.message.starts_with(file));
        assert!(named("blurred.jpg took no part: the picture is blurred"));
    }

    #[test]
    fn photos_that_disagree_are_refused_by_name() {
        let photos = [photo("a.jpg", 22.0), photo("b.jpg", 22.02), photo("c.jpg", 24.0)];
        let record = one_record(&photos, &Setup::default()).unwrap();
        assert_eq!(record.status, Status::Refused);
        let refusal = record.refusal.unwrap();
        assert_eq!(refusal.code, RefusalCode::PhotosDisagree);
        assert!(refusal.message.contains("c.jpg is farthest"), "{}", refusal.message);
        assert!(record.gauge.is_none() && record.photos.unwrap().len() == 3);
    }

    #[test]
    fn two_patterns_are_two_swatches() {
        let mut photos = [photo("a.jpg", 22.0), photo("b.jpg", 22.0)];
        for (photo, name) in photos.iter_mut().zip(["garter", "seed"]) {
            let pattern = StitchPattern::named(name).unwrap();
            photo.record.stitch_pattern =
                Some(PatternNote { pattern, source: PatternSource::Recognised, confidence: None });
        }
        let record = one_record(&photos, &Setup::default()).unwrap();
        assert!(record.refusal.unwrap().message.contains("a.jpg shows garter, b.jpg shows seed"));
    }

    #[test]
    fn with_none_measured_the_first_refusal_stays() {
        let record = one_record(&[unmeasured("a.jpg"), unmeasured("b.jpg")], &Setup::default()).unwrap();
        assert_eq!(record.refusal.unwrap().code, RefusalCode::OutOfFocus);
        assert_eq!(record.photos.unwrap().len(), 2);
        assert!(one_record(&[], &Setup::default()).is_none());
    }
}
