//! A gauge as people state it: so many over such a length, with or without ±; and what it means per 10 cm.

use super::{Length, LengthUnit};
use crate::quantity::{Contribution, NORMAL_95, Shape, Source, Uncertain};

/// The length a gauge is stated over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Over {
    /// One length, such as 10 cm, 4 in or 1 in.
    Length(Length),
    /// "10 cm / 4 in", printed as if the two were one. They differ by 1.6 %; nobody but the author knows which is meant.
    TenCmOrFourInches,
}

impl Over {
    /// Reads `10 cm`, `4 in`, `1 in`, any other length with its unit, or `10 cm / 4 in` in either order. The error says what is
    /// accepted.
    pub fn parse(text: &str) -> Result<Self, String> {
        let wrong = |e: &str| format!("{e}; a gauge is stated over a length: 10 cm, 4 in, 1 in, or 10 cm / 4 in");
        let parse = |part: &str| {
            let length = Length::parse(part, LengthUnit::Cm).map_err(|e| wrong(&e))?;
            // A bare 10 is cm and a bare 4 inches to most knitters, and a slip between them is a factor of 2.54.
            let unit = LengthUnit::at_end_of(part.trim());
            unit.map(|_| length).ok_or_else(|| wrong(&format!("'{}' has no unit", part.trim())))
        };
        if let Some((first, second)) = text.split_once('/').filter(|(first, _)| first.contains(char::is_alphabetic)) {
            let both = [parse(first)?, parse(second)?];
            let known = [Length::TEN_CM, Length::FOUR_INCHES];
            return if both == known || both == [known[1], known[0]] {
                Ok(Self::TenCmOrFourInches)
            } else {
                Err(wrong(&format!("'{text}' names two lengths")))
            };
        }
        if text.split_once('/').is_some_and(|(first, second)| is_improper(first, second)) {
            return Err(wrong(&format!("'{text}' may be a fraction or two lengths")));
        }
        let length = parse(text)?;
        if length.is_positive() { Ok(Self::Length(length)) } else { Err(wrong(&format!("'{text}' is no length"))) }
    }

    /// The length that is calculated with: 10 cm where it may be either.
    pub fn length(self) -> Length {
        match self {
            Self::Length(length) => length,
            Self::TenCmOrFourInches => Length::TEN_CM,
        }
    }
}

/// Whether a fraction is more than one: `10/4 in` is 2.5 in to a reader of numbers, and 10 cm / 4 in to a knitter.
fn is_improper(first: &str, second: &str) -> bool {
    let whole = |digits: &str| digits.parse::<u64>().ok();
    let numerator = first.split_whitespace().next_back().and_then(whole);
    let denominator = second.trim_start().split(|c: char| !c.is_ascii_digit()).next().and_then(whole);
    numerator.zip(denominator).is_some_and(|(numerator, denominator)| numerator > denominator)
}

/// A count over a length, as stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeCount {
    /// Stitches or rows, more than 0.
    pub count: f64,
    /// Half-width of its 95 % interval, in stitches or rows; `None` for a bare count.
    pub half_width: Option<f64>,
}

impl GaugeCount {
    /// Reads `22`, `22.5`, `22.5 ± 0.3`, `22.5 +- 0.3`. The error says what is accepted.
    pub fn parse(text: &str) -> Result<Self, String> {
        let wrong = || format!("'{text}' is not a count such as 22, 22.5 or 22.5 ± 0.3");
        let parts = ["±", "+/-", "+-"].iter().find_map(|sign| text.split_once(sign));
        let number = |t: &str| t.trim().parse::<f64>().ok().filter(|v| v.is_finite());
        let (count, half_width) = match parts {
            Some((count, half)) => (number(count), Some(number(half).filter(|h| *h >= 0.0).ok_or_else(wrong)?)),
            None => (number(text), None),
        };
        let count = count.filter(|c| *c > 0.0).ok_or_else(wrong)?;
        if half_width.is_some_and(|h| h >= count) {
            return Err(format!(
                "'{text}': the half-width is as large as the count: that is no gauge; less than the count is accepted"
            ));
        }
        Ok(Self { count, half_width })
    }
}

/// Half the step of a hand count: a whole number of stitches is known to half a stitch either way (the bound that the
/// rounding itself gives; no study of people counting was found).
const HALF_STITCH: f64 = 0.5;

/// What a stated count means per 10 cm, of the swatch it was counted on. With ± its half-width is read as a 95 % interval
/// of normal shape; a bare count has rectangular limits of half a stitch (JCGM 100:2008, 4.3.7). `source` names the
/// count: two counts on two swatches must differ in it.
pub fn per_10cm(stated: GaugeCount, over: Over, source: Source) -> Uncertain {
    let scale = Length::TEN_CM.mm() / over.length().mm();
    let contribution = match stated.half_width {
        Some(half) => Contribution::stated(source, scale * half / NORMAL_95),
        None => Contribution::type_b(source, HALF_STITCH, Shape::Rectangular, scale),
    };
    let value = Uncertain::exact(stated.count * scale);
    if contribution.standard > 0.0 { value.with(contribution) } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Confidence;

    #[test]
    fn ten_centimetres_four_inches_and_one_inch_are_three_lengths() {
        let per = |count: f64, over: &str| {
            let stated = GaugeCount { count, half_width: None };
            per_10cm(stated, Over::parse(over).unwrap(), Source::named("count")).value
        };
        assert_eq!(per(22.0, "10 cm"), 22.0);
        assert!((per(20.0, "4 in") - 19.685).abs() < 0.0005, "4 in = 101.6 mm: 20 sts / 4 in = 19.685 per 10 cm");
        assert_eq!(per(5.0, "1 in"), per(20.0, "4 in"));
        assert_eq!(Over::parse("10 cm / 4 in"), Ok(Over::TenCmOrFourInches));
        assert_eq!(Over::parse("4 in/10 cm"), Ok(Over::TenCmOrFourInches));
        assert_eq!(Over::parse("1/2 in").map(Over::length).map(Length::mm), Ok(12.7));
        assert_eq!(Over::parse("1 1/2 in").map(Over::length).map(Length::mm), Ok(38.1));
        for wrong in ["10 cm / 5 in", "", "0 cm", "-4 in", "ten", "10/4", "10/4 in", "10 / 4\"", "4", "10 cm / 4"] {
            assert!(Over::parse(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn bare_counts_have_limits_of_half_a_stitch() {
        // ±½ stitch in 22: u = 0.289 stitches (a/√3).
        let bare = per_10cm(GaugeCount::parse("22").unwrap(), Over::parse("10 cm").unwrap(), Source::named("count"));
        assert!((bare.standard_uncertainty() - 0.5 / 3f64.sqrt()).abs() < 1e-12);
        let stated = GaugeCount::parse("22.5 ± 0.3").unwrap();
        let stated = per_10cm(stated, Over::parse("10 cm").unwrap(), Source::named("count"));
        assert!((stated.expanded(Confidence::P95).expanded_uncertainty - 0.3).abs() < 1e-9);
        for wrong in ["", "0", "-3", "22 ± -1", "22 ± 22", "NaN", "inf", "many"] {
            assert!(GaugeCount::parse(wrong).is_err(), "{wrong}");
        }
        assert_eq!(GaugeCount::parse("22.5 +- 0.3"), GaugeCount::parse("22.5+/-0.3"));
    }
}
