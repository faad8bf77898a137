//! A class in plain sentences.

use crate::class::{AsWritten, Class, Knitter, KnitterPiece, Meaning, Part, PartKind, Spread};
use crate::quantity::{Expanded, plus_minus};
use crate::report::plan_measures::cm;
use crate::sizing::{Tension, probability_percent};

/// Name of a part of the variance.
pub fn part_name(what: PartKind) -> &'static str {
    match what {
        PartKind::Knitters => "between knitters",
        PartKind::Swatches => "between swatches of one knitter",
        PartKind::KnittersAndSwatches => "between knitters and their swatches",
        PartKind::Places => "from place to place in one swatch",
        PartKind::Measuring => "the measuring itself",
    }
}

/// `22.1 ± 0.6`.
pub fn interval(value: &Expanded) -> String {
    plus_minus(value.value, value.expanded_uncertainty)
}

/// `12 knitters, 14 swatches, 14 measurements`.
pub fn counts(class: &Class) -> String {
    let many = |n: usize, one: &str, more: &str| format!("{n} {}", if n == 1 { one } else { more });
    [
        many(class.knitters.len(), "knitter", "knitters"),
        many(class.swatches.len(), "swatch", "swatches"),
        many(class.readings, "measurement", "measurements"),
    ]
    .join(", ")
}

/// The mean of an axis, and what another knitter would have.
pub fn mean_sentence(spread: &Spread) -> String {
    let what = spread.counted.word(2);
    let mean = format!("On average {} {what} per 10 cm.", interval(&spread.mean_per_10cm));
    match spread.next_knitter_per_10cm {
        Some([low, high]) => {
            format!(
                "{mean} Another knitter of such a class would have from {low:.1} to {high:.1} {what} (with 95 % probability)."
            )
        }
        None => mean,
    }
}

/// The largest knitted part in words a newcomer knows.
pub fn spread_sentence(spread: &Spread) -> Option<String> {
    let part = spread.parts.iter().find(|p| p.what != PartKind::Measuring && p.what != PartKind::Places)?;
    let what = spread.counted.word(2);
    let who = match part.what {
        PartKind::Knitters => "Knitters differ from each other",
        PartKind::KnittersAndSwatches => "The knitters' swatches differ from each other",
        _ => "The swatches differ from each other",
    };
    if part.set_to_zero {
        return Some(format!("{who} by no more {what} than the measuring and the swatches themselves make expect."));
    }
    Some(format!(
        "{who} by {:.1} {what} per 10 cm ({:.1} %): about two of three lie within that of the mean.",
        part.standard_deviation, part.percent
    ))
}

/// `0.9 (0.6 to 1.5)` of a part's standard deviation.
pub fn deviation(part: &Part) -> (String, String) {
    let digits = |v: f64| if v >= 10.0 { format!("{v:.1}") } else { format!("{v:.2}") };
    let ends = part
        .interval_95
        .map_or_else(|| "as stated".to_owned(), |[low, high]| format!("{} to {}", digits(low), digits(high)));
    (digits(part.standard_deviation), ends)
}

/// The knitters' share in words.
pub fn share_sentence(spread: &Spread) -> Option<String> {
    let share = spread.knitters_share?;
    let percent = |v: f64| format!("{:.0}", 100.0 * v);
    Some(format!(
        "Of the variance of the knitted {}, {} % ({} to {} %, with 95 % confidence) lies between knitters: so far the second \
         swatch of a knitter is like the first (intraclass correlation).",
        spread.counted.word(2),
        percent(share.value),
        percent(share.interval_95[0]),
        percent(share.interval_95[1])
    ))
}

/// What photos of one swatch say of the measuring.
pub fn precision_sentence(spread: &Spread) -> Option<String> {
    let seen = spread.seen_precision?;
    let what = spread.counted.word(2);
    let again = format!(
        "Measuring: the same swatch photographed again gives {what} that differ by {:.2} per 10 cm (repeatability standard \
         deviation, {:.0} degrees of freedom)",
        seen.repeatability, seen.freedom
    );
    Some(match seen.reproducibility {
        Some(r) => format!("{again}; with another ruler by {r:.2} (reproducibility)."),
        None => format!("{again}."),
    })
}

/// What the pattern casts on, and what becomes of it.
pub fn piece_sentence(piece: &Meaning) -> String {
    let [low, high] = piece.widths_mm;
    let written = if piece.pattern_is_stated { "the pattern's gauge" } else { "the class's mean gauge" };
    let gauge = piece.pattern_per_10cm[0].map_or_else(String::new, |g| format!(" ({g:.1} stitches per 10 cm)"));
    format!(
        "A piece {} wide takes {} stitches at {written}{gauge}. The same {} stitches come out from {} to {} wide in this class.",
        cm(piece.width_mm),
        piece.stitches,
        piece.stitches,
        cm(low),
        cm(high)
    )
}

/// The rows of the piece.
pub fn rows_sentence(piece: &Meaning) -> Option<String> {
    let ([low, high], rows) = (piece.heights_mm?, piece.rows?);
    Some(format!(
        "For {} of height {rows} rows are knitted; they come out from {} to {} high.",
        cm(piece.height_mm),
        cm(low),
        cm(high)
    ))
}

/// Who can use the pattern as written.
pub fn sharing_sentence(class: &Class, piece: &Meaning) -> String {
    let count = |wanted: AsWritten| {
        class.knitters.iter().filter_map(|k| k.piece.as_ref()).filter(|p| p.pattern_as_written == wanted).count()
    };
    let of = class.knitters.iter().filter(|k| k.piece.is_some()).count();
    format!(
        "Within {} of the wanted width: {} of {of} knitters surely come out there with the pattern as written, {} surely do \
         not, and for {} it can't be told.",
        cm(piece.tolerance_mm),
        count(AsWritten::Yes),
        count(AsWritten::No),
        count(AsWritten::CantTell)
    )
}

/// `yes (97 %)`, `no (less than 1 %)`, `can't tell (40 %)`.
pub fn as_written(piece: &KnitterPiece) -> String {
    format!("{} ({})", verdict(piece), probability_percent(piece.probability_within_tolerance))
}

/// The same for a narrow column: `yes, 97 %`.
pub fn as_written_briefly(piece: &KnitterPiece) -> String {
    let percent = probability_percent(piece.probability_within_tolerance);
    format!("{}, {}", verdict(piece), percent.replace("more than", ">").replace("less than", "<"))
}

fn verdict(piece: &KnitterPiece) -> &'static str {
    match piece.pattern_as_written {
        AsWritten::Yes => "yes",
        AsWritten::No => "no",
        AsWritten::CantTell => "can't tell",
    }
}

/// What to try with the needle.
pub fn needle(piece: &KnitterPiece) -> String {
    let sizes = piece.needle_sizes.unsigned_abs();
    let many = if sizes == 1 { "size" } else { "sizes" };
    match (piece.tension, piece.needle_sizes) {
        (_, n) if n > 0 => format!("{sizes} {many} larger"),
        (_, n) if n < 0 => format!("{sizes} {many} smaller"),
        (Tension::Matches, _) => "keep".to_owned(),
        (Tension::CantTell, _) => "too close to tell".to_owned(),
        _ => "keep (< ½ size)".to_owned(),
    }
}

/// Whether a knitter stands apart in stitches or rows.
pub fn stands_apart(knitter: &Knitter) -> bool {
    knitter.apart.iter().any(Option::is_some)
}
