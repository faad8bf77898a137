//! Inches, in which rulers and patterns count as well.

/// Millimetres in an inch, exactly (the international inch of 1959).
pub const INCH_MM: f64 = 25.4;

/// 4 in in units of 10 cm, exactly: 101.6 mm ÷ 100 mm. A count per 10 cm times this is the count per 4 in.
pub const FOUR_INCHES_PER_10CM: f64 = 1.016;

#[cfg(test)]
mod tests {
    use super::{FOUR_INCHES_PER_10CM, INCH_MM};

    #[test]
    fn four_inches_are_not_ten_centimetres() {
        assert!((FOUR_INCHES_PER_10CM - 4.0 * INCH_MM / 100.0).abs() < 1e-15);
    }
}
