//! Is my gauge the pattern's, and if not, would another needle help?

use super::body::USUAL_TOLERANCE;
use crate::compare::{NeedleFit, STANDARD_SIZES_MM, SizeChoice, Wanted};
use crate::quantity::{Confidence, Expanded, INCH_MM, Uncertain};
use serde::Serialize;

/// How a gauge compares with the one that is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Tension {
    /// The whole 95 % interval lies within 2.5 % of what is wanted.
    Matches,
    /// Surely more stitches than wanted.
    TooTight,
    /// Surely fewer stitches than wanted.
    TooLoose,
    /// The interval holds what is wanted and more than 2.5 % about it.
    CantTell,
}

/// How the gauge answers to the needle, and where that is known from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NeedleResponse {
    /// Stitches per 10 cm fewer for a needle one size larger.
    pub stitches_per_10cm_per_size: f64,
    /// Where it is known from, in words.
    pub basis: String,
}

impl NeedleResponse {
    /// What knitters go by where nobody has measured it: one (US) needle size changes the gauge of worsted yarn by about
    /// half a stitch an inch (common practice, no source).
    pub fn common_practice() -> Self {
        Self {
            stitches_per_10cm_per_size: 0.5 * 100.0 / INCH_MM,
            basis: "common practice, no source: one needle size is about half a stitch an inch".to_owned(),
        }
    }
}

/// What to do about the needle.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NeedleAdvice {
    /// How the gauges compare.
    pub tension: Tension,
    /// Mine minus wanted, in per cent of the wanted one, with its 95 % interval.
    pub difference_percent: Expanded,
    /// Needle sizes to go up (more than 0) or down; 0: keep the needle, since one size changes more than is wanted, or
    /// nothing is known to be wrong.
    pub sizes: i32,
    /// How the needle's effect is known.
    pub response: NeedleResponse,
    /// What another swatch on each size near those tried would give, the likeliest to come within 2.5 % of what is wanted
    /// first; empty where only common practice is known.
    pub choices: Vec<SizeChoice>,
}

/// Swatches of the same yarn and stitch pattern on several needles, and the needle of mine.
#[derive(Debug, Clone, PartialEq)]
pub struct TriedNeedles {
    /// The needle my swatch was knitted on, in mm.
    pub needle_mm: f64,
    /// How the gauge follows the needle.
    pub fit: NeedleFit,
}

/// Advice from swatches on several needles. Where their fit does not surely show that the needle matters, or leaves the
/// possible, it is that of common practice, and says so.
pub fn tried_needle_advice(mine: &Uncertain, stitches: f64, rows: Option<f64>, tried: &TriedNeedles) -> NeedleAdvice {
    let by_practice = |why: &str| {
        let practice = NeedleResponse::common_practice();
        let response = NeedleResponse { basis: format!("{why}; {}", practice.basis), ..practice };
        needle_advice(mine, stitches, response)
    };
    let wish = Wanted {
        stitches_per_10cm: stitches,
        stitches_tolerance: stitches * USUAL_TOLERANCE,
        rows_per_10cm: rows,
        rows_tolerance: rows.unwrap_or(0.0) * USUAL_TOLERANCE,
    };
    let choices = tried.fit.choices(wish);
    let step = per_size(tried);
    let (Some(best), Some(step), true) = (choices.first().copied(), step, tried.fit.needle_shows()) else {
        return by_practice("the log's swatches do not surely show what the needle does");
    };
    let sizes = tried.fit.sizes_mm.iter().map(|mm| mm.to_string()).collect::<Vec<_>>().join(", ");
    let basis = format!("from {} swatches in the log, on {sizes} mm", tried.fit.swatches);
    let mut advice = needle_advice(mine, stitches, NeedleResponse { stitches_per_10cm_per_size: step, basis });
    if matches!(advice.tension, Tension::TooTight | Tension::TooLoose) {
        advice.sizes = sizes_between(tried.needle_mm, best.needle_mm);
    }
    NeedleAdvice { choices, ..advice }
}

/// Stitches per 10 cm fewer on the next standard size.
fn per_size(tried: &TriedNeedles) -> Option<f64> {
    let larger = STANDARD_SIZES_MM.into_iter().find(|mm| *mm > tried.needle_mm)?;
    let at = |mm| tried.fit.at(mm).map(|next| next.stitches_per_10cm.value);
    Some(at(tried.needle_mm)? - at(larger)?)
}

/// Standard sizes from one needle to another, more than 0 for a larger one.
fn sizes_between(from_mm: f64, to_mm: f64) -> i32 {
    let steps = |low: f64, high: f64| {
        let between = STANDARD_SIZES_MM.into_iter().filter(|mm| *mm > low && *mm <= high).count();
        i32::try_from(between).unwrap_or(i32::MAX)
    };
    if to_mm >= from_mm { steps(from_mm, to_mm) } else { -steps(to_mm, from_mm) }
}

/// Compares stitches per 10 cm with the wanted ones (more than 0).
pub fn needle_advice(mine: &Uncertain, wanted: f64, response: NeedleResponse) -> NeedleAdvice {
    let difference = mine.shifted(-wanted).scaled(100.0 / wanted).expanded(Confidence::P95);
    let (low, high) = difference.interval();
    let near = 100.0 * USUAL_TOLERANCE;
    let tension = match () {
        () if low >= -near && high <= near => Tension::Matches,
        () if low > 0.0 => Tension::TooTight,
        () if high < 0.0 => Tension::TooLoose,
        () => Tension::CantTell,
    };
    let sizes = match tension {
        Tension::TooTight | Tension::TooLoose => {
            ((mine.value - wanted) / response.stitches_per_10cm_per_size).round() as i32
        }
        Tension::Matches | Tension::CantTell => 0,
    };
    NeedleAdvice { tension, difference_percent: difference, sizes, response, choices: Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::{MeasuredGauge, NeedleSwatch};
    use crate::quantity::{Contribution, Source};

    #[test]
    fn too_many_stitches_want_a_larger_needle() {
        let mine = |value: f64, u: f64| Uncertain::exact(value).with(Contribution::stated(Source::named("count"), u));
        let advice = |value, u| needle_advice(&mine(value, u), 20.0, NeedleResponse::common_practice());
        assert_eq!((advice(22.0, 0.2).tension, advice(22.0, 0.2).sizes), (Tension::TooTight, 1));
        assert_eq!((advice(18.0, 0.2).tension, advice(18.0, 0.2).sizes), (Tension::TooLoose, -1));
        assert_eq!((advice(20.1, 0.1).tension, advice(20.1, 0.1).sizes), (Tension::Matches, 0));
        assert_eq!((advice(20.5, 0.5).tension, advice(20.5, 0.5).sizes), (Tension::CantTell, 0));
        assert_eq!((advice(20.8, 0.2).tension, advice(20.8, 0.2).sizes), (Tension::TooTight, 0), "a size is too much");
    }

    /// Swatches whose stitches are 1.5 mm + 0.7 × the needle wide; what 3.75 mm would give is wanted.
    #[test]
    fn tried_needles_go_before_common_practice() {
        let mine = |value: f64| Uncertain::exact(value).with(Contribution::stated(Source::named("count"), 0.1));
        let stitches = |mm: f64| 100.0 / (1.5 + 0.7 * mm);
        let on = |mm: f64, per_10cm: f64| NeedleSwatch {
            needle_mm: mm,
            gauge: MeasuredGauge {
                stitches_per_10cm: mine(per_10cm),
                rows_per_10cm: mine(1.4 * per_10cm),
                between_fabrics: None,
            },
        };
        let tried =
            |swatches: &[NeedleSwatch], needle_mm| TriedNeedles { needle_mm, fit: NeedleFit::of(swatches).unwrap() };
        let sizes = [3.0, 3.5, 4.0, 4.5];
        let line = tried(&sizes.map(|mm| on(mm, stitches(mm))), 4.5);
        let wanted = stitches(3.75);
        let advice = tried_needle_advice(&mine(stitches(4.5)), wanted, Some(1.4 * wanted), &line);
        // From 4.5 over 4.0 to 3.75.
        assert_eq!((advice.tension, advice.sizes), (Tension::TooLoose, -2));
        assert_eq!(advice.choices[0].needle_mm, 3.75);
        assert!(advice.choices[0].rows_probability.unwrap() > 0.5 && advice.response.basis.contains("4 swatches"));
        let matches = tried_needle_advice(&mine(wanted), wanted, None, &line);
        assert_eq!((matches.tension, matches.sizes), (Tension::Matches, 0));
        // Swatches that are alike whatever the needle.
        let flat = tried(&[on(3.0, 22.0), on(3.5, 22.4), on(4.0, 21.9), on(4.5, 22.2)], 4.5);
        let practice = tried_needle_advice(&mine(22.0), 20.0, None, &flat);
        assert_eq!(practice.sizes, 1);
        assert!(practice.choices.is_empty() && practice.response.basis.contains("common practice"));
    }
}
