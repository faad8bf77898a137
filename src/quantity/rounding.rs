//! How many digits people are shown. Numbers in JSON stay unrounded.

/// Value ± half-width for people, such as `22.4 ± 0.3`: the half-width to one significant digit, to two when it begins
/// with 1 or 2 (where one digit would change it by up to a third), the value to the same place.
pub fn plus_minus(value: f64, half_width: f64) -> String {
    let two = decimals_for(half_width, 2);
    let leading = rounded(half_width.abs(), two) * 10f64.powi(two);
    // One place less, also where that rounds up to a 1 with its zero (0.096 to 0.10).
    let decimals = if leading < 29.5 { two } else { two - 1 };
    written(value, half_width, decimals)
}

/// Value ± half-width with two significant digits of the half-width (JCGM 100:2008, 7.2.6), such as `22.41 ± 0.31`.
pub fn plus_minus_two_digits(value: f64, half_width: f64) -> String {
    written(value, half_width, decimals_for(half_width, 2))
}

/// Decimal places that show `half_width` to so many significant digits; negative for tens, hundreds …; 2 for a
/// half-width that is zero or not finite. A half-width that rounds up to the next power of ten (0.996) keeps its
/// significant digits (1.0).
pub fn decimals_for(half_width: f64, significant_digits: i32) -> i32 {
    let size = half_width.abs();
    if !(size.is_finite() && size > 0.0) {
        return 2;
    }
    let decimals = significant_digits - 1 - size.log10().floor() as i32;
    let carried = rounded(size, decimals) * 10f64.powi(decimals) >= 10f64.powi(significant_digits) - 0.5;
    if carried { decimals - 1 } else { decimals }
}

fn written(value: f64, half_width: f64, decimals: i32) -> String {
    let places = decimals.clamp(0, 12) as usize;
    format!("{:.places$} ± {:.places$}", rounded(value, decimals), rounded(half_width.abs(), decimals))
}

fn rounded(x: f64, decimals: i32) -> f64 {
    // Powers of ten with a positive exponent are exact: divide by them where the place is above the point.
    let scale = 10f64.powi(decimals.abs().min(300));
    if decimals >= 0 { (x * scale).round() / scale } else { (x / scale).round() * scale }
}
