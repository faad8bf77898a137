//! The largest parts of the uncertainty, and what would make them smaller.

use crate::record::{Contribution, Record};

/// Sources below this share of the largest one (in variance) are not worth advice: halving them would not show.
const WORTH_ADVICE: f64 = 0.25;

const REPLACE_RULER: &str = "Use a better ruler (steel, not a cloth tape), with more of its length in the picture; say which with --ruler-class.";
const SHOW_MORE: &str = "Photograph a larger part of the fabric, or a larger swatch.";
const FOLLOW_MORE: &str =
    "Let more of the swatch be read: nothing lying on it, light evenly from one side, sharp to its borders.";
const HOLD_LEVEL: &str = "Hold the camera level, straight above the swatch, and show more of the ruler.";
const STEP_BACK: &str = "Take the photo from farther away, and say how thick the ruler is and what it lies on (--ruler-thickness, --ruler-on).";
const ORIGINAL: &str = "Use the photo as the camera stored it, uncut, with its focal length still in it.";
const KEEP_CENTRAL: &str = "Step back a little, with swatch and ruler near the middle of the picture.";
const COUNT_MORE: &str = "Count over a larger swatch: its edges, or half a stitch at each end, then weigh less.";
const PLAIN_TABLE: &str = "Lay the swatch on a plain table of another colour, its edges straight and flat.";
const READ_BETTER: &str = "Take the photo closer and sharp, with more of the ruler in it and no glare on it.";

const MEASURE_CARD: &str =
    "Measure the two check lengths of the printed card with a ruler, and say their mean with --card-length.";
const MEASURE_CARD_BETTER: &str = "Measure the card's check lengths with a steel ruler (--ruler-class I), or print it on a printer whose two check lengths are equal.";

/// Words in the name of a source, and what makes that source smaller. The first that fits counts.
const REMEDIES: [(&str, &str); 23] = [
    ("card was printed", MEASURE_CARD),
    ("check length", MEASURE_CARD_BETTER),
    ("unequally", MEASURE_CARD_BETTER),
    (
        "card's edge",
        "Use a ruler, or the printed calibration card (walewise card): the edges of a bank card are round.",
    ),
    ("edge", COUNT_MORE),
    ("counting", COUNT_MORE),
    ("ends", PLAIN_TABLE),
    ("direction of the rows", "Give a second --span along the wales instead of --axes."),
    ("tilt", HOLD_LEVEL),
    ("direction", HOLD_LEVEL),
    ("irregular", SHOW_MORE),
    ("accuracy", REPLACE_RULER),
    ("graduations", READ_BETTER),
    ("height", STEP_BACK),
    ("thickness", STEP_BACK),
    ("focal", ORIGINAL),
    ("cut", ORIGINAL),
    ("lens", KEEP_CENTRAL),
    ("typed length", "Give a longer --span, with its ends read on an enlarged picture."),
    ("followed", FOLLOW_MORE),
    ("part to part", FOLLOW_MORE),
    ("towards one side", FOLLOW_MORE),
    ("foreshortening", HOLD_LEVEL),
];

/// The largest contributions, largest first.
pub fn largest(record: &Record, count: usize) -> Vec<&Contribution> {
    let mut parts: Vec<&Contribution> = record.budget.iter().filter(|p| variance(p) > 0.0).collect();
    parts.sort_by(|a, b| variance(b).total_cmp(&variance(a)));
    parts.truncate(count);
    parts
}

/// What would make the largest contributions smaller, each advice once.
pub fn advice(record: &Record) -> Vec<&'static str> {
    let parts = largest(record, 3);
    let Some(most) = parts.first().map(|p| variance(p)) else { return Vec::new() };
    let worth = parts.iter().filter(|p| variance(p) >= WORTH_ADVICE * most);
    let mut out: Vec<&'static str> = Vec::new();
    for advice in worth.filter_map(|p| remedy(&p.source)) {
        if !out.contains(&advice) {
            out.push(advice);
        }
    }
    out
}

fn remedy(source: &str) -> Option<&'static str> {
    REMEDIES.iter().find(|(word, _)| source.contains(word)).map(|(_, remedy)| *remedy)
}

fn variance(part: &Contribution) -> f64 {
    part.stitches_percent.powi(2) + part.rows_percent.powi(2)
}

#[cfg(test)]
mod tests {
    use super::remedy;

    /// The sources a photo's gauge has; a largest one without a word on how to make it smaller leaves a reader helpless.
    #[test]
    fn every_source_has_a_remedy() {
        for source in [
            "irregular stitches",
            "irregular rows",
            "which stitches were followed",
            "which rows were followed",
            "stitches from part to part",
            "rows from part to part",
            "stitches that change towards one side",
            "rows that change towards one side",
            "irregular stitches taken for tilt",
            "drift of tension taken for tilt",
            "tilt that was not seen",
            "foreshortening that was not seen",
            "direction of the ruler's marks",
            "reading of the graduations",
            "accuracy of the ruler",
            "thickness of the ruler",
            "height of the fabric's surface",
            "focal length",
            "how the picture was cut",
            "lens distortion",
            "higher lens terms",
            "the typed length",
        ] {
            assert!(remedy(source).is_some(), "{source}");
        }
    }
}
