//! How true a printed calibration card and an ID-1 card are to their measures.

use crate::card::CHECK_LENGTH_MM;
use crate::quantity::{Contribution, RulerClass, Shape, Source};

/// How well a person reads the check length, ± mm: half a millimetre over both ends (a stated choice).
const READ_LIMIT_MM: f64 = 0.5;

/// How much the two check lengths of one sheet may differ, mm: the sheet says to print it again beyond that.
const UNEVEN_LIMIT_MM: f64 = 1.0;

/// Limits of what printing does to a sheet that nobody measured, relative. "Fit to page" shrinks to the printable part,
/// 3–4 % less for margins of 4–6 mm, and an A4 sheet on letter paper to 279.4/297 = 94 % (derived; that printers do so is
/// common practice, no source).
const UNCONFIRMED_LIMIT: f64 = 0.06;

/// Limits of the measures of an ID-1 card, relative: 85.47–85.72 mm and 53.92–54.03 mm (ISO/IEC 7810, from memory), the
/// larger of the two.
const ID1_LIMIT: f64 = 0.0015;

/// How far off the true edge a card's edge is seen, mm, as limits for both edges of a side together: its rounded rim and
/// its side face, 0.76 mm high and seen at up to 15° (derived).
const ID1_EDGE_LIMIT_MM: f64 = 0.2;

/// Mean side of an ID-1 card, mm.
const ID1_SIDE_MM: f64 = 69.8;

/// What makes the card's measures unsure, relative, for stitches (`axis` 0) or rows (1). `check_length_mm` is what the
/// user measured, `None` where nobody did.
pub(super) fn printed_card(
    check_length_mm: Option<f64>,
    class: RulerClass,
    ruler_id: Option<&str>,
    axis: usize,
) -> Vec<Contribution> {
    let uneven = UNEVEN_LIMIT_MM / 2.0 / CHECK_LENGTH_MM;
    // What is too long one way is too short the other: the measured length is the mean of both.
    let sign = if axis == 0 { 1.0 } else { -1.0 };
    let mut parts = vec![Contribution::type_b(
        Source::named("card printed unequally in its two directions"),
        uneven,
        Shape::Triangular,
        sign,
    )];
    match check_length_mm {
        Some(length) => {
            let ruler = match ruler_id {
                Some(id) => Source::shared("accuracy of the ruler", id.to_owned()),
                None => Source::named("accuracy of the ruler"),
            };
            parts.push(class.scale_contribution(ruler, length));
            let read = READ_LIMIT_MM / length;
            parts.push(Contribution::type_b(
                Source::named("reading of the card's check length"),
                read,
                Shape::Rectangular,
                1.0,
            ));
        }
        None => {
            let source = Source::named("size at which the card was printed");
            parts.push(Contribution::type_b(source, UNCONFIRMED_LIMIT, Shape::Rectangular, 1.0));
        }
    }
    parts
}

/// The same for an ID-1 card.
pub(super) fn id1_card() -> Vec<Contribution> {
    let part = |name, limit| Contribution::type_b(Source::named(name), limit, Shape::Rectangular, 1.0);
    vec![
        part("measures of the ID-1 card", ID1_LIMIT),
        part("where the card's edge is seen", ID1_EDGE_LIMIT_MM / ID1_SIDE_MM),
    ]
}
