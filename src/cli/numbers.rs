//! Typed values → numbers, each with a message that says what is expected.

use crate::card::CHECK_LENGTH_MM;
use crate::plane::Span;
use crate::quantity::PhotoPoint;
use crate::sizing::{Length, LengthUnit};

/// A finite number.
pub fn number(text: &str) -> Result<f64, String> {
    let value: f64 = text.trim().parse().map_err(|_| format!("'{text}' is not a number"))?;
    if value.is_finite() { Ok(value) } else { Err(format!("'{text}' is not a finite number")) }
}

/// A number above zero.
pub fn positive(text: &str) -> Result<f64, String> {
    let value = number(text)?;
    if value > 0.0 { Ok(value) } else { Err(format!("'{text}' must be more than 0")) }
}

/// Thickness of a ruler in mm, zero or more; a `mm` behind it is allowed.
pub fn thickness_mm(text: &str) -> Result<f64, String> {
    /// Thicker than any ruler (a stated choice); a typing mistake of a decimal place shows.
    const LARGEST_MM: f64 = 50.0;
    let value = number(without_unit(text, "mm"))?;
    if (0.0..=LARGEST_MM).contains(&value) {
        Ok(value)
    } else {
        Err(format!("'{text}' is not between 0 and {LARGEST_MM} mm"))
    }
}

/// A length in a photo, in mm, above zero; a `mm` behind it is allowed.
pub fn length_mm(text: &str) -> Result<f64, String> {
    within_range_mm(positive(without_unit(text, "mm"))?, text)
}

/// A length as plans take it (`20 cm`, `8 in`, `7 7/8 in`), or a bare number of mm; in mm, above zero.
pub fn length_of_any_unit_mm(text: &str) -> Result<f64, String> {
    within_range_mm(Length::parse(text, LengthUnit::Mm)?.mm(), text)
}

fn within_range_mm(mm: f64, text: &str) -> Result<f64, String> {
    /// A hundredth of a millimetre to ten metres: far beyond both ends of what a photo of a swatch shows (a stated choice).
    const RANGE_MM: std::ops::RangeInclusive<f64> = 0.01..=10_000.0;
    if RANGE_MM.contains(&mm) { Ok(mm) } else { Err(format!("'{text}' is not between 0.01 and 10000 mm")) }
}

/// The calibration card's check length as measured, in mm; a `mm` behind it is allowed.
pub fn card_length_mm(text: &str) -> Result<f64, String> {
    // No printer is farther off: half of that or less is a length in cm or inches, or of something else.
    let (low, high) = (0.8 * CHECK_LENGTH_MM, 1.2 * CHECK_LENGTH_MM);
    let value = number(without_unit(text, "mm"))?;
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(format!(
            "'{text}' is not between {low:.0} and {high:.0} mm: the check length is printed as {CHECK_LENGTH_MM:.0} mm"
        ))
    }
}

/// `SxR`: a gauge someone expects, in stitches and rows per 10 cm, such as 22x30.
pub fn gauge(text: &str) -> Result<(f64, f64), String> {
    /// Finer than the finest machine knitting, and coarser than arm knitting (common practice, no source).
    const PER_10CM: std::ops::RangeInclusive<f64> = 0.5..=300.0;
    let (stitches, rows) = pair(text)?;
    if PER_10CM.contains(&stitches) && PER_10CM.contains(&rows) {
        Ok((stitches, rows))
    } else {
        Err(format!("'{text}': stitches and rows per 10 cm must each be between 0.5 and 300"))
    }
}

/// `SxR`: two numbers above zero, such as 22x30 or 21.5x29.
pub fn pair(text: &str) -> Result<(f64, f64), String> {
    let (a, b) = text.split_once(['x', 'X', '×']).ok_or_else(|| format!("'{text}' is not of the form 22x30"))?;
    Ok((positive(a)?, positive(b)?))
}

/// `AxB`: whole stitches × rows of a repeat.
pub fn repeat(text: &str) -> Result<(u32, u32), String> {
    /// No repeat is wider or higher than a swatch: a stated choice, far above what one photo can hold.
    const LARGEST: u32 = 500;
    let wrong = || format!("'{text}' is not of the form 4x2 (whole stitches x rows, 1 to {LARGEST})");
    let (a, b) = text.split_once(['x', 'X', '×']).ok_or_else(wrong)?;
    let whole = |t: &str| t.trim().parse().ok().filter(|n| (1..=LARGEST).contains(n)).ok_or_else(wrong);
    Ok((whole(a)?, whole(b)?))
}

/// `X,Y,W,H` in photo pixels.
pub fn region(text: &str) -> Result<[f64; 4], String> {
    let wrong = || format!("'{text}' is not of the form X,Y,WIDTH,HEIGHT in pixels");
    let [x, y, w, h] = numbers(text).ok_or_else(wrong)?;
    if x < 0.0 || y < 0.0 || w <= 0.0 || h <= 0.0 {
        return Err(format!("'{text}': X and Y must not be negative, WIDTH and HEIGHT must be more than 0"));
    }
    Ok([x, y, w, h])
}

/// How surely a person places an end of a span, in px (a stated choice).
const SPAN_END_PX: f64 = 1.0;

/// `X1,Y1,X2,Y2=LENGTHmm`: two photo points and the length between them.
pub fn span(text: &str) -> Result<Span, String> {
    let wrong = || format!("'{text}' is not of the form X1,Y1,X2,Y2=LENGTHmm");
    let (points, length) = text.split_once('=').ok_or_else(wrong)?;
    let [ax, ay, bx, by] = numbers(points).ok_or_else(wrong)?;
    let (a, b) = (PhotoPoint::new(ax, ay), PhotoPoint::new(bx, by));
    if a.distance(b) < 1.0 {
        return Err(format!("'{text}': the two points are less than a pixel apart"));
    }
    Ok(Span { from: a, to: b, length_mm: length_mm(length)?, sigma_px: SPAN_END_PX })
}

fn without_unit<'a>(text: &'a str, unit: &str) -> &'a str {
    let text = text.trim();
    text.strip_suffix(unit).unwrap_or(text)
}

fn numbers(text: &str) -> Option<[f64; 4]> {
    let values: Vec<f64> = text.split(',').map(|t| number(t).ok()).collect::<Option<_>>()?;
    values.try_into().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_number_is_refused() {
        for text in ["", "NaN", "inf", "-inf", "1e999", "ten", "1,5"] {
            assert!(number(text).is_err(), "{text}");
        }
        for text in ["0", "-1", "-0"] {
            assert!(positive(text).is_err(), "{text}");
        }
    }

    #[test]
    fn pairs_and_repeats() {
        assert_eq!(pair("21.5x29"), Ok((21.5, 29.0)));
        assert_eq!(repeat("4x2"), Ok((4, 2)));
        for text in ["22", "22x", "x30", "22x0", "22xNaN", "22x30x1"] {
            assert!(pair(text).is_err(), "{text}");
        }
        for text in ["4", "0x2", "4.5x2", "4x-2", "4x9999"] {
            assert!(repeat(text).is_err(), "{text}");
        }
    }

    #[test]
    fn lengths_and_gauges_that_no_swatch_has() {
        assert_eq!((thickness_mm("0"), thickness_mm("1.2mm")), (Ok(0.0), Ok(1.2)));
        assert_eq!((length_mm("10 mm"), gauge("22x30")), (Ok(10.0), Ok((22.0, 30.0))));
        // A bare number stays what it was; the inch is 25.4 mm exactly.
        for (text, mm) in [("200", 200.0), ("200mm", 200.0), ("20 cm", 200.0), ("8in", 203.2), ("7 7/8 in", 200.025)] {
            assert_eq!(length_of_any_unit_mm(text), Ok(mm), "{text}");
        }
        for text in ["", "0", "0 cm", "-5", "20 m", "20 ft", "10 cm / 4 in", "NaN", "1e300"] {
            assert!(length_of_any_unit_mm(text).is_err(), "{text}");
        }
        for text in ["-0.1", "51", "1e300", "NaN"] {
            assert!(thickness_mm(text).is_err(), "{text}");
        }
        for text in ["0", "-5", "1e300", "1e-300", "inf"] {
            assert!(length_mm(text).is_err(), "{text}");
            assert!(gauge(&format!("22x{text}")).is_err(), "{text}");
        }
    }

    #[test]
    fn regions_and_spans() {
        assert_eq!(region("1,2,3,4"), Ok([1.0, 2.0, 3.0, 4.0]));
        let s = span("10,20,310,20=100mm").unwrap();
        assert_eq!((s.from.x, s.to.x, s.length_mm), (10.0, 310.0, 100.0));
        assert_eq!(span("10,20,310,20=68.3564").unwrap().length_mm, 68.3564);
        for text in ["1,2,3", "1,2,0,4", "-1,2,3,4", "1,2,3,nan"] {
            assert!(region(text).is_err(), "{text}");
        }
        for text in ["1,2,3,4", "1,2,1,2=5mm", "1,2,3,4=0mm", "1,2,3,4=-5", "1,2,3=5", "1,2,30,4=mm"] {
            assert!(span(text).is_err(), "{text}");
        }
    }
}
