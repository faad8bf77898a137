//! What can and can't be concluded from a class: one table of statements.

use super::outliers::Apart;
use super::reading::Reading;
use super::result::Knitter;
use super::spread::{Part, PartKind, Spread};
use crate::sizing::Counted;
use serde::Serialize;

/// A statement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Note {
    /// Which.
    pub code: NoteCode,
    /// In words, one or two sentences; about a knitter it begins with the name and a colon.
    pub message: String,
    /// Whom it is about: a place in the class's knitters; `None` for what is said of all.
    pub knitter: Option<usize>,
}

/// Which statement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NoteCode {
    /// Within and between knitters can't be told apart.
    OneSwatchEach,
    /// Only one knitter.
    OneKnitter,
    /// Only one swatch.
    OneSwatch,
    /// So few knitters that hardly anything is sure.
    FewKnitters,
    /// All values are alike to the last digit.
    Identical,
    /// A component was set to zero.
    NothingSeen,
    /// The measuring can't be told from the knitting.
    MeasuringUnknown,
    /// Photos of one swatch differ more than they should.
    MeasuringDisagrees,
    /// Each photo's ruler was taken for another one.
    RulersUnnamed,
    /// A named ruler moves all alike.
    RulerShared,
    /// A knitter stands apart.
    StandsApart,
    /// Different patterns were pooled because that was asked for.
    MixedPatterns,
    /// Different states were pooled because that was asked for.
    MixedStates,
    /// More than one yarn or needle size.
    MixedYarnOrNeedle,
    /// The values agree better than the stated errors allow.
    CloserThanStated,
}

fn note(code: NoteCode, message: impl Into<String>) -> Note {
    Note { code, message: message.into(), knitter: None }
}

/// The statements about a class.
pub fn notes(readings: &[Reading], knitters: &[Knitter], swatches: usize, spread: &[Spread]) -> Vec<Note> {
    let mut notes: Vec<Note> = design(knitters.len(), swatches).into_iter().collect();
    notes.extend(spread.iter().flat_map(of_axis));
    notes.extend(rulers(readings, spread));
    notes.extend(knitters.iter().enumerate().flat_map(|(k, knitter)| stands_apart(k, knitter)));
    notes.extend(mixed(readings));
    notes
}

/// What the number of knitters and swatches allows.
fn design(knitters: usize, swatches: usize) -> Option<Note> {
    /// Below this the interval of a spread is wider than ten to one (the chi-squared points of 2 degrees of freedom).
    const FEW: usize = 4;
    match (knitters, swatches) {
        (1, 1) => Some(note(
            NoteCode::OneSwatch,
            "One knitter and one swatch: nothing can be said of how swatches or knitters differ.",
        )),
        (1, _) => Some(note(
            NoteCode::OneKnitter,
            "One knitter: how knitters differ can't be said. What is shown is how this knitter's swatches differ.",
        )),
        (k, s) if k == s => Some(note(
            NoteCode::OneSwatchEach,
            "Every knitter knitted one swatch. How much knitters differ from each other, and how much one knitter differs \
             from swatch to swatch, can't be told apart: the figure is both together. A second swatch from some of the \
             knitters would tell.",
        )),
        (k, _) if k < FEW => {
            Some(note(NoteCode::FewKnitters, "With so few knitters the spread between them is hardly known."))
        }
        _ => None,
    }
}

/// What is said of stitches, or of rows.
fn of_axis(spread: &Spread) -> Vec<Note> {
    let capital = if spread.counted == Counted::Stitches { "Stitches" } else { "Rows" };
    let about = |code, message: &str| note(code, format!("{capital}: {message}"));
    let knitted = || spread.parts.iter().filter(|p| !matches!(p.what, PartKind::Places | PartKind::Measuring));
    let closed = |p: &Part| p.interval_95.is_none_or(|i| i[1] <= 0.0);
    if knitted().count() > 0 && knitted().all(|p| p.standard_deviation <= 0.0 && closed(p)) {
        return vec![about(
            NoteCode::Identical,
            "all values are alike to the last digit. That says how they were rounded or copied, not that the knitters don't \
             differ.",
        )];
    }
    let mut notes: Vec<Note> = knitted()
        .filter(|p| p.set_to_zero)
        .map(|part| {
            let between = match part.what {
                PartKind::Knitters => "between knitters",
                PartKind::Swatches => "between swatches of one knitter",
                _ => "between swatches",
            };
            let message = format!(
                "nothing of a spread {between} is seen beyond what the rest makes expect. The estimate would be negative and \
                 is given as 0; the interval says how large it may still be."
            );
            about(NoteCode::NothingSeen, &message)
        })
        .collect();
    let statements = [
        (
            spread.photos_disagree,
            NoteCode::MeasuringDisagrees,
            "photos of one swatch differ more than their intervals allow. What they differ beyond that is counted as \
             measuring, not as knitting; look at the annotated pictures.",
        ),
        (
            spread.closer_than_stated,
            NoteCode::CloserThanStated,
            "the swatches agree better than the measuring's stated errors allow. Those errors are probably smaller, or partly \
             the same in all photos (one ruler that was not named).",
        ),
        (
            !spread.measuring_is_stated && spread.seen_precision.is_none(),
            NoteCode::MeasuringUnknown,
            "some measurements state no uncertainty, and no swatch was measured twice. The measuring's own error can't be \
             told from the knitting and is part of the spread shown.",
        ),
    ];
    notes.extend(statements.into_iter().filter(|s| s.0).map(|(_, code, message)| about(code, message)));
    notes
}

/// Whether the rulers' errors were taken as one or as many.
fn rulers(readings: &[Reading], spread: &[Spread]) -> Vec<Note> {
    let shared = spread.iter().map(|s| s.shared_percent).fold(0.0, f64::max);
    let of_ruler =
        |r: &Reading| r.gauge.iter().flatten().any(|g| g.contributions.iter().any(|c| c.source.name.contains("ruler")));
    let unnamed = readings.iter().filter(|r| r.ruler.is_none() && of_ruler(r)).count();
    let mut notes = Vec::new();
    if shared > 0.0 {
        notes.push(note(
            NoteCode::RulerShared,
            format!(
                "A ruler that several swatches were measured with moves all their gauges alike, by {shared:.2} % (standard \
                 uncertainty). That is in the class's mean, not in the spread."
            ),
        ));
    }
    if unnamed > 1 {
        notes.push(note(
            NoteCode::RulersUnnamed,
            format!(
                "{unnamed} measurements don't name their ruler: each ruler's error was taken for another one's and taken out \
                 of the spread. If all used the same ruler, say so (--ruler-id): its error then moves all alike, and the \
                 spread comes out a little larger."
            ),
        ));
    }
    notes
}

fn stands_apart(place: usize, knitter: &Knitter) -> Vec<Note> {
    let flagged = [("stitches", knitter.apart[0]), ("rows", knitter.apart[1])];
    let words = |(what, apart): (&str, Option<Apart>)| {
        let chance = match apart? {
            Apart::Straggler => "in 5 of 100 classes or fewer",
            Apart::Outlier => "in 1 of 100 classes or fewer",
        };
        let message = format!(
            "{}: the {what} stand apart from the class's (so far {chance} by chance). They count all the same. Look at the \
             photo: another yarn, needle or pattern, or simply another hand?",
            knitter.name
        );
        Some(Note { knitter: Some(place), ..note(NoteCode::StandsApart, message) })
    };
    flagged.into_iter().filter_map(words).collect()
}

/// What differs between the swatches beside the hands.
fn mixed(readings: &[Reading]) -> Vec<Note> {
    let mut notes = Vec::new();
    let pooled = "They were put together because you asked for it: part of the spread is";
    if let Some(names) = several(readings.iter().filter_map(|r| r.stitch.clone())) {
        notes.push(note(NoteCode::MixedPatterns, format!("Stitch patterns: {names}. {pooled} the patterns'.")));
    }
    if let Some(names) = several(readings.iter().filter_map(|r| r.state.clone())) {
        notes.push(note(NoteCode::MixedStates, format!("States: {names}. {pooled} the washing's.")));
    }
    let yarns = several(readings.iter().filter_map(|r| r.yarn.clone()));
    let needles = several(readings.iter().filter_map(|r| r.needle_mm.map(|mm| format!("{mm} mm"))));
    if let Some(names) = yarns.into_iter().chain(needles).reduce(|a, b| format!("{a}; {b}")) {
        notes.push(note(
            NoteCode::MixedYarnOrNeedle,
            format!("The swatches are not all of one yarn and needle ({names}): part of the spread is theirs."),
        ));
    }
    notes
}

/// The different values, where there are several.
pub(super) fn different(values: impl Iterator<Item = String>) -> Option<Vec<String>> {
    let mut different: Vec<String> = values.collect();
    different.sort();
    different.dedup();
    (different.len() > 1).then_some(different)
}

/// The same, joined.
fn several(values: impl Iterator<Item = String>) -> Option<String> {
    different(values).map(|names| names.join(", "))
}
