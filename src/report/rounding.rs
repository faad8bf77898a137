//! Rounding for people: as many digits as the uncertainty allows. The record itself stays unrounded.

/// Decimals to show beside an uncertainty: two significant digits of it where the first is 1, else one (JCGM 100:2008,
/// 7.2.6 allows at most two).
pub fn decimals(uncertainty: f64) -> usize {
    /// More decimals than anybody reads; reached only for an uncertainty of 0.
    const MOST: i32 = 4;
    if !(uncertainty.is_finite() && uncertainty > 0.0) {
        return 1;
    }
    let place = uncertainty.log10().floor() as i32;
    let first = uncertainty / 10f64.powi(place);
    let digits = if first < 1.95 { 1 } else { 0 };
    (digits - place).clamp(0, MOST) as usize
}

/// `22.4 ± 0.3`.
pub fn with_uncertainty(value: f64, uncertainty: f64) -> String {
    let d = decimals(uncertainty);
    format!("{value:.d$} ± {uncertainty:.d$}")
}

#[cfg(test)]
mod tests {
    use super::with_uncertainty;

    #[test]
    fn digits_follow_the_uncertainty() {
        assert_eq!(with_uncertainty(22.4321, 0.31), "22.4 ± 0.3");
        assert_eq!(with_uncertainty(22.4321, 0.131), "22.43 ± 0.13");
        assert_eq!(with_uncertainty(22.4321, 0.96), "22.4 ± 1.0");
        assert_eq!(with_uncertainty(22.4321, 3.1), "22 ± 3");
        assert_eq!(with_uncertainty(22.4321, 0.0), "22.4 ± 0.0");
    }
}
