//! Lengths as people write them: exact, whatever the unit.

use serde::{Serialize, Serializer};
use std::ops::{Add, Sub};

/// Steps of a length in one millimetre. A step is a tenth of a micrometre: the inch (25.4 mm exactly, international yard
/// and pound agreement 1959) and its sixteenths (1.5875 mm) are then whole numbers of steps, so no unit drifts.
const STEPS_PER_MM: i64 = 10_000;

/// Longest length that is accepted, in mm: a hundred metres, beyond any piece or cord (a stated choice).
const LONGEST_MM: i64 = 100_000;

/// A length, a whole number of tenths of a micrometre.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Length(i64);

/// A unit people write lengths in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthUnit {
    /// Millimetres.
    Mm,
    /// Centimetres.
    Cm,
    /// Inches of 25.4 mm.
    Inch,
    /// Metres.
    Metre,
}

impl LengthUnit {
    fn steps(self) -> i64 {
        match self {
            Self::Mm => STEPS_PER_MM,
            Self::Cm => 10 * STEPS_PER_MM,
            Self::Inch => 254 * STEPS_PER_MM / 10,
            Self::Metre => 1000 * STEPS_PER_MM,
        }
    }

    /// The unit a text ends in, and the text before it.
    pub(super) fn at_end_of(text: &str) -> Option<(Self, &str)> {
        const NAMES: [(&str, LengthUnit); 9] = [
            ("inches", LengthUnit::Inch),
            ("inch", LengthUnit::Inch),
            ("in.", LengthUnit::Inch),
            ("in", LengthUnit::Inch),
            ("\"", LengthUnit::Inch),
            ("″", LengthUnit::Inch),
            ("mm", LengthUnit::Mm),
            ("cm", LengthUnit::Cm),
            ("m", LengthUnit::Metre),
        ];
        NAMES.iter().find_map(|(name, unit)| text.strip_suffix(name).map(|rest| (*unit, rest.trim_end())))
    }
}

impl Length {
    /// No length.
    pub const ZERO: Self = Self(0);
    /// 10 cm.
    pub const TEN_CM: Self = Self(100 * STEPS_PER_MM);
    /// 4 in, 101.6 mm.
    pub const FOUR_INCHES: Self = Self(1016 * STEPS_PER_MM / 10);

    /// The nearest length to so many millimetres; beyond ± 100 m, or for no number, the nearest end of that range or zero.
    pub fn from_mm(mm: f64) -> Self {
        let limit = (LONGEST_MM * STEPS_PER_MM) as f64;
        // A cast from f64 saturates, and takes what is no number for zero.
        Self((mm * STEPS_PER_MM as f64).round().clamp(-limit, limit) as i64)
    }

    /// In millimetres.
    pub fn mm(self) -> f64 {
        self.0 as f64 / STEPS_PER_MM as f64
    }

    /// In a unit.
    pub fn in_unit(self, unit: LengthUnit) -> f64 {
        self.0 as f64 / unit.steps() as f64
    }

    /// Whether it is more than nothing.
    pub fn is_positive(self) -> bool {
        self.0 > 0
    }

    /// Reads `48 cm`, `18.5 in`, `18 1/2 in`, `480mm`, or a bare number in `unit`; at most 100 m either way. The error says
    /// what is accepted.
    pub fn parse(text: &str, unit: LengthUnit) -> Result<Self, String> {
        let wrong = || format!("'{text}' is not a length such as 48 cm, 18.5 in or 18 1/2 in");
        let trimmed = text.trim();
        let (unit, number) = LengthUnit::at_end_of(trimmed).unwrap_or((unit, trimmed));
        let (negative, number) = match number.strip_prefix(['-', '−']) {
            Some(rest) => (true, rest),
            None => (false, number.strip_prefix('+').unwrap_or(number)),
        };
        let (numerator, denominator) = rational(number.trim()).ok_or_else(wrong)?;
        let steps = i128::from(unit.steps()) * numerator;
        let steps = (2 * steps + denominator).div_euclid(2 * denominator);
        if steps > i128::from(LONGEST_MM * STEPS_PER_MM) {
            return Err(format!("'{text}' is more than {} m", LONGEST_MM / 1000));
        }
        let steps = i64::try_from(steps).map_err(|_| wrong())?;
        Ok(Self(if negative { -steps } else { steps }))
    }
}

/// A whole number, decimal, fraction or mixed number as numerator and denominator: `18`, `18.5`, `1/2`, `18 1/2`.
fn rational(text: &str) -> Option<(i128, i128)> {
    /// More digits than any length needs, few enough that nothing overflows.
    const DIGITS: usize = 12;
    let whole = |t: &str| {
        (!t.is_empty() && t.len() <= DIGITS && t.bytes().all(|b| b.is_ascii_digit())).then(|| t.parse::<i128>().ok())?
    };
    if let Some((left, denominator)) = text.split_once('/') {
        let (units, numerator) = left.trim().rsplit_once(' ').unwrap_or(("0", left.trim()));
        let denominator = whole(denominator.trim()).filter(|d| *d > 0)?;
        return Some((whole(units.trim())? * denominator + whole(numerator)?, denominator));
    }
    let (units, decimals) = text.split_once('.').unwrap_or((text, "0"));
    let scale = 10i128.checked_pow(u32::try_from(decimals.len()).ok()?)?;
    Some((whole(units)? * scale + whole(decimals)?, scale))
}

impl Add for Length {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl Sub for Length {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

/// Written in millimetres.
impl Serialize for Length {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_f64(self.mm())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_in_every_spelling() {
        let mm = |text: &str| Length::parse(text, LengthUnit::Cm).map(Length::mm);
        for (text, expected) in [
            ("48", 480.0),
            ("48 cm", 480.0),
            ("48cm", 480.0),
            ("480 mm", 480.0),
            ("1.5 m", 1500.0),
            ("4 in", 101.6),
            ("4\"", 101.6),
            ("18 1/2 in", 469.9),
            ("1/16 in", 1.5875),
            ("-2.5 cm", -25.0),
        ] {
            assert_eq!(mm(text), Ok(expected), "{text}");
        }
        for text in ["", "cm", "ten cm", "1,5 cm", "1/0 in", "NaN", "inf", "1e9", "200 m", "1.2.3", "4 ft"] {
            assert!(mm(text).is_err(), "{text}");
        }
        assert_eq!(Length::parse("4", LengthUnit::Inch), Ok(Length::FOUR_INCHES));
    }
}
