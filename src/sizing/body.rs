//! What a piece should measure: the body's measure and the ease.

use super::{Length, LengthUnit};
use serde::Serialize;
use std::fmt;

/// Finished minus body measure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ease {
    /// So much more (or less, negative) in mm.
    Mm(Length),
    /// So much more or less in per cent of the body measure.
    Percent(f64),
}

impl Ease {
    /// None.
    pub const NONE: Self = Self::Percent(0.0);

    /// Reads `5 cm`, `-2 in`, `-8 %`. The error says what is accepted.
    pub fn parse(text: &str, unit: LengthUnit) -> Result<Self, String> {
        /// Far beyond any ease in per cent, and short in a message (a stated choice).
        const MOST_PERCENT: f64 = 1000.0;
        let wrong = || format!("'{text}' is not an ease such as 5 cm, -1 in or -8 %");
        match text.trim().strip_suffix('%') {
            Some(number) => {
                let number = number.trim().replace('−', "-");
                number.parse().ok().filter(|p: &f64| p.abs() <= MOST_PERCENT).map(Self::Percent).ok_or_else(wrong)
            }
            None => Length::parse(text, unit).map(Self::Mm).map_err(|_| wrong()),
        }
    }

    /// In mm, for a body measure.
    pub fn mm(self, body: Length) -> f64 {
        match self {
            Self::Mm(length) => length.mm(),
            Self::Percent(percent) => body.mm() * percent / 100.0,
        }
    }
}

/// A measure of the body (or a finished measure, with no ease).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BodyMeasure {
    /// The body's measure, more than 0.
    pub body: Length,
    /// What the piece is larger.
    pub ease: Ease,
    /// How far off the finished measure may be; `None` takes [`usual_tolerance_mm`].
    pub tolerance: Option<Length>,
}

/// Tolerance of a finished measure where none is stated, relative: half of what trade tolerances for a fabric's count
/// allow (5 %, ASTM D3887, from memory); a stated choice.
pub const USUAL_TOLERANCE: f64 = 0.025;

/// Least tolerance where none is stated, in mm: nobody measures a soft edge better, and a row is often as high (a stated
/// choice).
const LEAST_TOLERANCE_MM: f64 = 5.0;

/// The tolerance of a finished measure where none is stated, in mm.
pub fn usual_tolerance_mm(finished_mm: f64) -> f64 {
    (finished_mm * USUAL_TOLERANCE).max(LEAST_TOLERANCE_MM)
}

/// Ease beyond these shares of the body measure is a slip of the pen: a band of half the head's measure can't be pulled
/// on, and nothing is knitted twice as wide as its wearer (stated choices).
const EASE_RANGE: std::ops::RangeInclusive<f64> = -0.5..=1.0;

/// What a piece should measure when it is finished.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Target {
    /// The body's measure, in mm.
    pub body_mm: f64,
    /// Ease, in mm.
    pub ease_mm: f64,
    /// Wanted finished measure, in mm.
    pub finished_mm: f64,
    /// Half-width of the range that is good enough, in mm.
    pub tolerance_mm: f64,
}

/// An ease that can't be meant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EaseError {
    ease_mm: f64,
    body_mm: f64,
}

impl fmt::Display for EaseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = (EASE_RANGE.start() * 100.0, EASE_RANGE.end() * 100.0);
        let (ease, body) = (self.ease_mm / 10.0, self.body_mm / 10.0);
        write!(f, "an ease of {ease:.1} cm on {body:.1} cm makes no sense; {low:.0} % to {high:.0} % are accepted")
    }
}

impl BodyMeasure {
    /// The finished measure; an error for an ease out of all proportion.
    pub fn target(self) -> Result<Target, EaseError> {
        let (body_mm, ease_mm) = (self.body.mm(), self.ease.mm(self.body));
        if !EASE_RANGE.contains(&(ease_mm / body_mm)) {
            return Err(EaseError { ease_mm, body_mm });
        }
        let finished_mm = body_mm + ease_mm;
        let tolerance_mm = self.tolerance.map_or_else(|| usual_tolerance_mm(finished_mm), Length::mm);
        Ok(Target { body_mm, ease_mm, finished_mm, tolerance_mm })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ease_in_lengths_and_per_cent() {
        let body = Length::parse("56 cm", LengthUnit::Cm).unwrap();
        let target = |ease: &str| {
            BodyMeasure { body, ease: Ease::parse(ease, LengthUnit::Cm).unwrap(), tolerance: None }.target()
        };
        assert_eq!(target("-5 cm").unwrap().finished_mm, 510.0);
        assert!((target("-12.5 %").unwrap().finished_mm - 490.0).abs() < 1e-9);
        assert_eq!(target("2 in").unwrap().ease_mm, 50.8);
        assert!(target("-30 cm").is_err() && target("150 %").is_err());
        assert!(Ease::parse("loose", LengthUnit::Cm).is_err() && Ease::parse("NaN %", LengthUnit::Cm).is_err());
        assert!(Ease::parse("1e308 %", LengthUnit::Cm).is_err(), "a message would print 300 digits");
    }
}
