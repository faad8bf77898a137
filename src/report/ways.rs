//! Words for what goes beyond one photo's gauge: the wanted gauge, the whole swatch, a count by hand, several photos.

use super::one_line::safe;
use crate::gauge::{Verdict, WantedAnswer, WantedAxis};
use crate::quantity::{INCH_MM, NORMAL_95, plus_minus};
use crate::record::{CountedNote, CountedOver, PhotoPart, Record, Swatch};

/// Centimetres in an inch.
const INCH_CM: f64 = INCH_MM / 10.0;
/// A half-width of less than this share of the present one is out of a photo's reach.
const OUT_OF_REACH: f64 = 0.3;

/// `22 stitches x 30 rows per 10 cm, within 0.5 stitches and 1 row`.
pub(super) fn wanted_words(wanted: &WantedAnswer) -> String {
    let (s, r) = (&wanted.stitches, &wanted.rows);
    let word =
        |n: f64, one: &str, many: &str| if n == 1.0 { format!("1 {one}") } else { format!("{} {many}", short(n)) };
    format!(
        "{} stitches x {} rows per 10 cm, within {} and {}",
        short(s.wanted_per_10cm),
        short(r.wanted_per_10cm),
        word(s.tolerance_per_10cm, "stitch", "stitches"),
        word(r.tolerance_per_10cm, "row", "rows"),
    )
}

/// Up to one decimal.
fn short(n: f64) -> String {
    let rounded = (n * 10.0).round() / 10.0;
    format!("{rounded}")
}

/// One line for stitches, one for rows, and what to try.
pub(super) fn wanted_lines(record: &Record, wanted: &WantedAnswer) -> Vec<String> {
    let half_width = |rows: bool| {
        let gauge = record.gauge.as_ref()?;
        Some(if rows { gauge.rows_per_10cm } else { gauge.stitches_per_10cm }.expanded_uncertainty)
    };
    let mut lines = vec![
        axis_words(&wanted.stitches, "Stitches", "wide", half_width(false)),
        axis_words(&wanted.rows, "Rows", "long", half_width(true)),
    ];
    lines.extend(advice(wanted));
    lines
}

fn axis_words(axis: &WantedAxis, what: &str, way: &str, half_width: Option<f64>) -> String {
    let verdict = match axis.verdict {
        Verdict::TooTight => "too tight".to_owned(),
        Verdict::TooLoose => "too loose".to_owned(),
        Verdict::Matches => "matches".to_owned(),
        Verdict::CantTell => can_not_tell(axis, half_width),
    };
    let piece = axis.piece_comes_out_cm;
    let cm = plus_minus(piece.value, piece.expanded_uncertainty);
    let inches = plus_minus(piece.value / INCH_CM, piece.expanded_uncertainty / INCH_CM);
    let planned = short(axis.piece_planned_cm);
    format!("{what}: {verdict}. A piece planned {planned} cm {way} comes out {cm} cm ({inches} in) {way}.")
}

fn can_not_tell(axis: &WantedAxis, half_width: Option<f64>) -> String {
    let percent = |p: f64| format!("{:.0} %", 100.0 * p);
    let all = [
        (axis.probability_too_tight, "too tight"),
        (axis.probability_matches, "matching"),
        (axis.probability_too_loose, "too loose"),
    ];
    let likely: Vec<String> =
        all.iter().filter(|(p, _)| *p >= 0.02).map(|(p, word)| format!("{} {word}", percent(*p))).collect();
    let reach = match (axis.deciding_half_width_per_10cm, half_width) {
        (Some(needed), Some(now)) if needed < OUT_OF_REACH * now => {
            "; it is so near the limit that no photo would tell".to_owned()
        }
        (Some(needed), Some(_)) => format!("; an interval of ± {needed:.2} would tell"),
        _ => String::new(),
    };
    format!("can't tell ({}{reach})", likely.join(", "))
}

/// What to try, stitches before rows (common practice, no source).
fn advice(wanted: &WantedAnswer) -> Option<String> {
    let needle = |word: &str| Some(format!("Try a {word} needle and knit a new swatch (common practice)."));
    match (wanted.stitches.verdict, wanted.rows.verdict) {
        (Verdict::TooTight, _) => needle("larger"),
        (Verdict::TooLoose, _) => needle("smaller"),
        (Verdict::Matches, Verdict::TooTight | Verdict::TooLoose) => Some(
            "Keep the needle, since the stitches match, and knit lengths by measure, not by rows (common practice)."
                .to_owned(),
        ),
        (Verdict::CantTell, _) | (_, Verdict::CantTell) => Some(
            "What would tell: smaller intervals (see below what makes them smaller), a larger --tolerance, or several \
             photos of the swatch with --same-swatch."
                .to_owned(),
        ),
        (Verdict::Matches, Verdict::Matches) => None,
    }
}

/// `15.2 ± 0.2 x 17.9 ± 0.2 cm (5.98 ± 0.08 x 7.05 ± 0.08 in), 272 ± 4 cm²`.
pub(super) fn swatch_words(swatch: &Swatch) -> Option<String> {
    let (width, height) = (swatch.width_mm?, swatch.height_mm?);
    let of = |mm: f64| {
        plus_minus(width.value / mm, width.half_width_95() / mm)
            + " x "
            + &plus_minus(height.value / mm, height.half_width_95() / mm)
    };
    let area = match (swatch.area_mm2, swatch.area_standard_uncertainty_mm2) {
        (Some(area), Some(u)) => format!(", {} cm²", plus_minus(area / 100.0, NORMAL_95 * u / 100.0)),
        _ => String::new(),
    };
    /// From here on it is worth saying that part of the outline was not seen.
    const WORTH: f64 = 0.03;
    let bridged = match swatch.bridged_share {
        share if share >= WORTH => format!("; {:.0} % of its outline lies under the ruler", 100.0 * share),
        _ => String::new(),
    };
    Some(format!("{} cm ({} in){area}{bridged}", of(10.0), of(10.0 * INCH_CM)))
}

/// `24 stitches over 11.2 cm, 32 rows over 10.9 cm (by you, over the whole swatch)`.
pub(super) fn counted_words(counted: &CountedNote) -> String {
    let over = match counted.over {
        CountedOver::Outline => "over the whole swatch",
        CountedOver::Corners => "between your two points",
        CountedOver::Runs => "along your two spans",
    };
    let length = |mm: f64| format!("{:.1} cm ({:.2} in)", mm / 10.0, mm / 10.0 / INCH_CM);
    format!(
        "{} stitches over {}, {} rows over {} (by you, {over})",
        short(counted.stitches),
        length(counted.width_mm),
        short(counted.rows),
        length(counted.height_mm)
    )
}

/// One line a photo: its own gauge and its weight.
pub(super) fn photo_words(part: &PhotoPart) -> String {
    let file = safe(&part.photo.file);
    match (part.stitches_per_10cm, part.rows_per_10cm, part.weights) {
        (Some(s), Some(r), weights) => {
            let of = |i: crate::quantity::Expanded| plus_minus(i.value, i.expanded_uncertainty);
            let weight = match weights {
                Some([a, b]) => format!(", weight {:.0} % and {:.0} %", 100.0 * a, 100.0 * b),
                None => String::new(),
            };
            format!("{file}: {} stitches, {} rows{weight}", of(s), of(r))
        }
        _ => format!("{file}: not measured"),
    }
}
