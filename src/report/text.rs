//! A record in words, for people: short lines that fit 80 columns.

use super::one_line::safe;
use super::{budget, ways};
use crate::caution::CautionCode;
use crate::quantity::{Expanded, FOUR_INCHES_PER_10CM, plus_minus};
use crate::record::{
    DecisionNote, Gauge, LatticeNote, PatternNote, PatternSource, Record, RefusalNote, Scale, ScaleKind,
};
use crate::refusal::Rival;
use crate::ruler::RulerUnit;

/// Longest line.
const COLUMNS: usize = 78;
/// Contributions that are worth telling.
const LARGEST: usize = 3;

/// What was measured and how sure it is, or what is wrong and what to do.
pub fn describe(record: &Record) -> String {
    let mut out = Lines::default();
    match &record.photos {
        Some(parts) => out.plain(&parts.iter().map(|p| safe(&p.photo.file)).collect::<Vec<_>>().join(", ")),
        None => out.plain(&safe(&record.photo.file)),
    }
    if let Some(gauge) = &record.gauge {
        gauge_lines(&mut out, gauge, of_what(record));
        if let Some(wanted) = &record.wanted {
            out.heading(&format!("Wanted: {}", ways::wanted_words(wanted)));
            ways::wanted_lines(record, wanted).iter().for_each(|line| out.item(line));
        }
        basis_lines(&mut out, record);
        if let Some(parts) = &record.photos {
            out.heading("Each photo by itself (weights for stitches and rows)");
            parts.iter().for_each(|p| out.item(&ways::photo_words(p)));
        }
        limits(&mut out, record);
    }
    if let Some(refusal) = &record.refusal {
        refusal_lines(&mut out, refusal);
        if let Some(scale) = &record.scale {
            out.entry("Seen", &scale_words(scale));
        }
    }
    if let Some(error) = &record.error {
        out.paragraph(&format!("Not measured: {}.", error.message));
    }
    // What is missing for the area alone stands with the swatch.
    let careful: Vec<_> = record.cautions.iter().filter(|c| c.code != CautionCode::OutlineUnknown).collect();
    if !careful.is_empty() {
        out.heading("Careful");
        careful.iter().for_each(|c| out.item(&sentence(&c.message)));
    }
    if record.gauge.is_some() {
        let advice = budget::advice(record);
        if !advice.is_empty() {
            out.heading("To know it better");
            advice.iter().for_each(|a| out.item(a));
        }
    }
    out.0
}

/// `22.4 ± 0.3 stitches per 10 cm`.
pub fn per_10cm(interval: &Expanded, what: &str) -> String {
    format!("{} {what} per 10 cm", plus_minus(interval.value, interval.expanded_uncertainty))
}

/// One of several possible readings in one line.
pub fn rival(rival: &Rival) -> String {
    let reading = format!("{:.1} stitches x {:.1} rows per 10 cm", rival.stitches_per_10cm, rival.rows_per_10cm);
    if rival.why.is_empty() { reading } else { format!("{reading}: {}", rival.why) }
}

/// What the gauge speaks of: the swatch, or the part of the photo that the user outlined.
pub fn of_what(record: &Record) -> &'static str {
    let decision = record.lattice.as_ref().and_then(|lattice| lattice.decision.as_ref());
    let outlined = decision.is_some_and(|d| d.declared.iter().any(|said| said == "region"));
    if outlined { "the part you marked" } else { "this swatch" }
}

fn gauge_lines(out: &mut Lines, gauge: &Gauge, of_what: &str) {
    for (interval, what) in [(&gauge.stitches_per_10cm, "stitches"), (&gauge.rows_per_10cm, "rows")] {
        let four_in =
            plus_minus(interval.value * FOUR_INCHES_PER_10CM, interval.expanded_uncertainty * FOUR_INCHES_PER_10CM);
        out.plain(&format!("  {:<34}({four_in} per 4 in)", per_10cm(interval, what)));
    }
    let percent = gauge.stitches_per_10cm.confidence.fraction() * 100.0;
    out.paragraph(&format!(
        "The true gauge of {of_what}, as it lies, is in these intervals with {percent:.0} % confidence."
    ));
    if let Some(next) = &gauge.next_fabric {
        let value = |i: &Expanded| plus_minus(i.value, i.expanded_uncertainty);
        let (stitches, rows) = (value(&next.stitches_per_10cm), value(&next.rows_per_10cm));
        out.paragraph(&format!("Another fabric knitted alike: {stitches} stitches and {rows} rows per 10 cm."));
    }
}

fn basis_lines(out: &mut Lines, record: &Record) {
    if let Some(pattern) = &record.stitch_pattern {
        out.entry("Pattern", &pattern_words(pattern));
    }
    if let Some(lattice) = &record.lattice {
        out.entry("Counted", &counted_words(lattice));
        if let Some(decision) = &lattice.decision {
            out.entry("Decided", &decision_words(decision));
        }
    }
    if let Some(counted) = &record.counted {
        out.entry("Counted", &ways::counted_words(counted));
    }
    if let Some(scale) = &record.scale {
        out.entry("Scale", &scale_words(scale));
    }
    let unknown = record.cautions.iter().find(|c| c.code == CautionCode::OutlineUnknown);
    match (record.swatch.as_ref().and_then(ways::swatch_words), unknown) {
        (Some(words), _) => out.entry("Swatch", &words),
        (None, Some(why)) => out.entry("Swatch", &sentence(&why.message)),
        (None, None) => {}
    }
}

fn pattern_words(note: &PatternNote) -> String {
    let p = &note.pattern;
    let repeat = if (p.repeat_stitches, p.repeat_rows) == (1, 1) {
        String::new()
    } else {
        format!(", repeat {} x {}", plural(p.repeat_stitches, "stitch", "es"), plural(p.repeat_rows, "row", "s"))
    };
    let source = match (note.source, note.confidence) {
        (PatternSource::Declared, _) => "as you said".to_owned(),
        (PatternSource::Recognised, Some(c)) => format!("recognised, {:.0} % sure", (c * 100.0).floor().min(99.0)),
        (PatternSource::Recognised, None) => "recognised".to_owned(),
    };
    format!("{}{repeat} ({source})", p.name)
}

fn plural(count: u32, one: &str, ending: &str) -> String {
    let ending = if count == 1 { "" } else { ending };
    format!("{count} {one}{ending}")
}

fn counted_words(lattice: &LatticeNote) -> String {
    let others = match lattice.other_parts_px.len() {
        0 => String::new(),
        1 => ", and another part of the fabric".to_owned(),
        n => format!(", and {n} other parts of the fabric"),
    };
    format!("{:.1} stitches x {:.1} rows{others}", lattice.stitches_counted, lattice.rows_counted)
}

/// `no other count came near (ahead by 31, 4 needed); 3 of 4 places agree`; of a recognised pattern without the lead, since its
/// probability decides.
fn decision_words(decision: &DecisionNote) -> String {
    let nearest = match decision.rivals.first() {
        None => "no other count came near".to_owned(),
        Some(r) => format!("next best {:.1} x {:.1}", r.stitches_per_10cm, r.rows_per_10cm),
    };
    let places = match decision.places.of {
        0 | 1 => String::new(),
        of => format!("; {} of {of} places agree", decision.places.agree),
    };
    let lead = if decision.margin_needed > 0.0 {
        format!(" (ahead by {:.0}, {:.0} needed)", decision.margin, decision.margin_needed)
    } else {
        String::new()
    };
    format!("{nearest}{lead}{places}")
}

fn scale_words(scale: &Scale) -> String {
    let unit = match scale.unit {
        Some(RulerUnit::Cm) => " in cm",
        Some(RulerUnit::Inch) => " in inches",
        None => "",
    };
    let kind = match scale.kind {
        ScaleKind::Ruler => "ruler",
        ScaleKind::Card => "calibration card",
        ScaleKind::Id1 => "card of ID-1 size",
        ScaleKind::Grid => "printed grid",
        ScaleKind::Span => "length you gave",
        ScaleKind::Outline => "outline of the swatch",
    };
    let marks = match scale.graduations_read {
        0 => String::new(),
        n => format!(", {n} marks over {:.0} mm", scale.length_read_mm),
    };
    let tilt = scale.tilt_deg.map_or_else(String::new, |t| format!(", camera tilted by {t:.0} degrees"));
    format!("{kind}{unit}{marks}, {:.1} px per mm{tilt}", scale.px_per_mm)
}

fn limits(out: &mut Lines, record: &Record) {
    let largest = budget::largest(record, LARGEST);
    if largest.is_empty() {
        return;
    }
    out.heading("What the intervals come from most (standard uncertainty: stitches, rows)");
    for part in largest {
        let percent = |p: f64| format!("{:.2} %", p.abs());
        out.item(&format!("{}: {}, {}", part.source, percent(part.stitches_percent), percent(part.rows_percent)));
    }
}

fn refusal_lines(out: &mut Lines, refusal: &RefusalNote) {
    out.paragraph(&format!("No gauge: {}.", refusal.message.trim_end_matches('.')));
    if !refusal.rivals.is_empty() {
        out.heading("It could be");
        refusal.rivals.iter().for_each(|r| out.item(&rival(r)));
    }
    out.heading("What to do");
    out.item(&refusal.advice);
}

/// The text with a capital letter in front and a full stop behind.
fn sentence(text: &str) -> String {
    let mut letters = text.trim_end_matches('.').chars();
    letters.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}

/// Lines of text, broken at [`COLUMNS`].
#[derive(Default)]
pub(super) struct Lines(pub(super) String);

impl Lines {
    pub(super) fn plain(&mut self, line: &str) {
        self.0.push_str(line);
        self.0.push('\n');
    }

    fn indented(&mut self, first: &str, rest: &str, text: &str) {
        for (i, line) in wrap(text, COLUMNS - rest.chars().count()).iter().enumerate() {
            let indent = if i == 0 { first } else { rest };
            self.plain(&format!("{indent}{line}"));
        }
    }

    pub(super) fn paragraph(&mut self, text: &str) {
        self.indented("  ", "  ", text);
    }

    fn entry(&mut self, name: &str, text: &str) {
        self.indented(&format!("  {:<9}", format!("{name}:")), "           ", text);
    }

    pub(super) fn heading(&mut self, text: &str) {
        self.indented("  ", "  ", &format!("{text}:"));
    }

    pub(super) fn item(&mut self, text: &str) {
        self.indented("  - ", "    ", text);
    }
}

/// The text in lines of at most `columns` letters, broken between words; a longer word keeps a line to itself.
pub fn wrap(text: &str, columns: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= columns => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
