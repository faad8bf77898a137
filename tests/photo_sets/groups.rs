//! The figures by what a photo shows: pattern, ruler, difficulty.

use super::{TruePhoto, judged};
use std::collections::BTreeMap;
use walewise::record::Record;

/// First line of the table.
pub const HEAD: &str = "set,pattern_said,by,group,measurable,answered,median_error_percent,p95_error_percent,coverage_percent,\
    median_half_width_percent,silently_wrong,must_refuse,refused,refused_with_the_truth_among_rivals";

/// What a photo is grouped by.
type GroupOf = fn(&TruePhoto) -> String;

/// How near a rival must come to the truth to count as it, relatively: as an answer may be off.
const AMONG: f64 = 0.05;

/// Lines of the table, each ended: the whole set, then by pattern, ruler and difficulty.
pub fn lines(set: &str, declared: bool, photos: &[TruePhoto], answers: &[Record]) -> Vec<String> {
    let kinds: [(&str, GroupOf); 4] =
        [("all", |_| String::new()), ("pattern", pattern), ("ruler", ruler), ("difficulty", difficulty)];
    let mut lines = Vec::new();
    for (by, group_of) in kinds {
        let mut groups: BTreeMap<String, Vec<(&TruePhoto, &Record)>> = BTreeMap::new();
        for pair in photos.iter().zip(answers) {
            groups.entry(group_of(pair.0)).or_default().push(pair);
        }
        for (group, pairs) in groups {
            let f = judged(set, declared, pairs.iter().copied());
            let among = pairs.iter().filter(|(photo, answer)| has_truth_among_rivals(photo, answer)).count();
            lines.push(format!(
                "{set},{},{by},{group},{},{},{:.2},{:.2},{:.1},{:.2},{},{},{},{among}\n",
                if declared { "yes" } else { "no" },
                f.measurable,
                f.answered,
                f.median_error_percent,
                f.p95_error_percent,
                f.coverage_percent,
                f.median_half_width_percent,
                f.silently_wrong,
                f.must_refuse,
                f.refused,
            ));
        }
    }
    lines
}

fn pattern(photo: &TruePhoto) -> String {
    let p = &photo.truth["pattern"];
    p["name"].as_str().or(p.as_str()).unwrap_or("").to_owned()
}

fn ruler(photo: &TruePhoto) -> String {
    let ruler = &photo.truth["ruler"];
    ruler["type"].as_str().or(ruler.as_str()).unwrap_or("").to_owned()
}

fn difficulty(photo: &TruePhoto) -> String {
    photo.truth["difficulty"].as_str().unwrap_or("").to_owned()
}

/// Whether a measurable photo was refused with its true gauge among the rivals.
fn has_truth_among_rivals(photo: &TruePhoto, answer: &Record) -> bool {
    let (Some(refusal), Some(truth), false) = (&answer.refusal, photo.gauge(), photo.must_refuse()) else {
        return false;
    };
    refusal.rivals.iter().any(|r| {
        (r.stitches_per_10cm / truth[0] - 1.0).abs() < AMONG && (r.rows_per_10cm / truth[1] - 1.0).abs() < AMONG
    })
}
