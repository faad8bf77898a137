//! Values of `--counted`, `--wanted`, `--tolerance` and `--span`, and how they go together.

use super::numbers;
use crate::gauge::{Counted, CountedBetween, USUAL_TOLERANCE, Wanted};
use crate::plane::Span;
use crate::quantity::{FOUR_INCHES_PER_10CM, PhotoPoint};

/// Two points of the photo, and the length between them where it was given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TypedSpan {
    /// With its length: it can give the scale.
    Known(Span),
    /// Its ends alone: what was counted lies between them.
    Ends([PhotoPoint; 2]),
}

impl TypedSpan {
    fn ends(&self) -> [PhotoPoint; 2] {
        match self {
            Self::Known(span) => [span.from, span.to],
            Self::Ends(ends) => *ends,
        }
    }
}

/// `X1,Y1,X2,Y2=LENGTHmm`, or without the length.
pub fn span(text: &str) -> Result<TypedSpan, String> {
    if text.contains('=') {
        return numbers::span(text).map(TypedSpan::Known);
    }
    // Any length will do: only the ends are kept.
    let wrong = |_| format!("'{text}' is not of the form X1,Y1,X2,Y2=LENGTHmm (or X1,Y1,X2,Y2 with --counted)");
    numbers::span(&format!("{text}=1mm")).map(|s| TypedSpan::Ends([s.from, s.to])).map_err(wrong)
}

/// `SxR`: stitches and rows that were counted.
pub fn counted(text: &str) -> Result<(f64, f64), String> {
    /// Fewer than a person needs to count, and more than a swatch holds (stated choices).
    const RANGE: std::ops::RangeInclusive<f64> = 2.0..=2000.0;
    let wrong = || format!("'{text}': both stitches and rows are needed, each from 2 to 2000, such as 24x32");
    let (stitches, rows) = numbers::pair(text).map_err(|_| wrong())?;
    if RANGE.contains(&stitches) && RANGE.contains(&rows) { Ok((stitches, rows)) } else { Err(wrong()) }
}

/// `SxR`, `SxR/10cm` or `SxR/4in`: stitches and rows, as they are per 10 cm.
pub fn wanted(text: &str) -> Result<(f64, f64), String> {
    let (pair, per) = match text.split_once('/') {
        None => (text, 1.0),
        Some((pair, unit)) => match unit.trim().to_lowercase().replace(' ', "").as_str() {
            "10cm" => (pair, 1.0),
            "4in" | "4inch" | "4\"" => (pair, FOUR_INCHES_PER_10CM),
            _ => return Err(format!("'{text}': per what? Use 22x30, 22x30/10cm or 22x30/4in")),
        },
    };
    let (stitches, rows) = numbers::gauge(pair)?;
    Ok((stitches / per, rows / per))
}

/// `SxR`: how many stitches and rows per 10 cm still count as the same.
pub fn tolerance(text: &str) -> Result<(f64, f64), String> {
    /// More would call any two gauges the same (a stated choice).
    const LARGEST: f64 = 20.0;
    let (stitches, rows) = numbers::pair(text)?;
    let both = stitches <= LARGEST && rows <= LARGEST;
    if both { Ok((stitches, rows)) } else { Err(format!("'{text}': at most 20 stitches or rows per 10 cm")) }
}

/// `--wanted` with its tolerance.
pub fn wish(wanted: Option<(f64, f64)>, tolerance: Option<(f64, f64)>) -> Result<Option<Wanted>, String> {
    match (wanted, tolerance) {
        (None, Some(_)) => Err("--tolerance needs --wanted: it says how near to it is near enough".to_owned()),
        (None, None) => Ok(None),
        (Some((stitches_per_10cm, rows_per_10cm)), tolerance) => {
            Ok(Some(Wanted { stitches_per_10cm, rows_per_10cm, tolerance: tolerance.unwrap_or(USUAL_TOLERANCE) }))
        }
    }
}

/// What `--span` and `--counted` mean together: the length that gives the scale, and what was counted between which
/// points.
pub fn count_and_scale(
    counted: Option<(f64, f64)>,
    spans: &[TypedSpan],
) -> Result<(Option<Span>, Option<Counted>), String> {
    let scale = match spans.first() {
        Some(TypedSpan::Known(span)) => Some(*span),
        _ => None,
    };
    let Some((stitches, rows)) = counted else {
        return match spans {
            [] | [TypedSpan::Known(_)] => Ok((scale, None)),
            [TypedSpan::Ends(_)] => {
                Err("--span needs its length, as in X1,Y1,X2,Y2=100mm, unless --counted is given".into())
            }
            _ => Err("--span can be given twice only with --counted".to_owned()),
        };
    };
    let between = match spans {
        [] => CountedBetween::Edges,
        [one] => CountedBetween::Corners(one.ends()),
        [row, TypedSpan::Ends(wale)] => CountedBetween::Runs { row: row.ends(), wale: *wale },
        [_, TypedSpan::Known(_)] => {
            return Err("only the first --span may have a length: it gives the scale for both".to_owned());
        }
        _ => return Err("--span is given at most twice: along the rows, then along the wales".to_owned()),
    };
    Ok((scale, Some(Counted { stitches, rows, between })))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_inches_are_not_ten_centimetres() {
        assert_eq!(wanted("22x30"), Ok((22.0, 30.0)));
        assert_eq!(wanted("22x30/10 cm"), Ok((22.0, 30.0)));
        let (stitches, rows) = wanted("22x30/4in").unwrap();
        assert!((stitches - 21.653_543_307).abs() < 1e-9 && (rows - 29.527_559_055).abs() < 1e-9);
        for text in ["22", "22x30/5cm", "22x", "0x30", "22x30/"] {
            assert!(wanted(text).is_err(), "{text}");
        }
    }

    #[test]
    fn counts_need_both_directions() {
        assert_eq!(counted("24x32.5"), Ok((24.0, 32.5)));
        for text in ["24", "24x-", "-x32", "0x10", "1x10", "24x1e9", "24xNaN"] {
            assert!(counted(text).is_err(), "{text}");
        }
    }

    #[test]
    fn spans_and_counts_together() {
        let known = span("0,0,100,0=50mm").unwrap();
        let ends = span("0,0,0,100").unwrap();
        assert!(matches!((known, ends), (TypedSpan::Known(_), TypedSpan::Ends(_))));
        assert!(count_and_scale(None, &[ends]).is_err());
        assert!(count_and_scale(None, &[known, ends]).is_err());
        assert_eq!(count_and_scale(None, &[known]).unwrap().0.unwrap().length_mm, 50.0);
        let over =
            |spans: &[TypedSpan]| count_and_scale(Some((20.0, 28.0)), spans).map(|(s, c)| (s, c.unwrap().between));
        assert_eq!(over(&[]), Ok((None, CountedBetween::Edges)));
        assert!(matches!(over(&[ends]), Ok((None, CountedBetween::Corners(_)))));
        assert!(matches!(over(&[known]), Ok((Some(_), CountedBetween::Corners(_)))));
        assert!(matches!(over(&[known, ends]), Ok((Some(_), CountedBetween::Runs { .. }))));
        assert!(matches!(over(&[ends, ends]), Ok((None, CountedBetween::Runs { .. }))));
        assert!(over(&[ends, known]).is_err() && over(&[ends, ends, ends]).is_err());
        for text in ["1,2,3", "1,2,1,2", "1,2,3,x", "1,2,3,4="] {
            assert!(span(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_tolerance_needs_a_wish() {
        assert!(wish(None, Some((1.0, 1.0))).is_err());
        assert_eq!(wish(Some((22.0, 30.0)), None).unwrap().unwrap().tolerance, USUAL_TOLERANCE);
        assert!(tolerance("0.5x30").is_err() && tolerance("0x1").is_err());
    }
}
