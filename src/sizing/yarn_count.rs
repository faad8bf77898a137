//! Metres and grams of a yarn against the counts printed on cones: tex, Nm, Ne, denier.
//!
//! Definitions: tex is grams per 1000 m; Nm is metres per gram; Ne (cotton count) is hanks of 840 yd per pound; denier is
//! grams per 9000 m. The factors follow from the yard of 0.9144 m and the pound of 453.59237 g (1959), exactly.

/// Metres of one cotton hank: 840 yd.
const HANK_M: f64 = 840.0 * 0.9144;
/// Grams of one pound.
const POUND_G: f64 = 453.592_37;

/// tex of a ball of so many grams and metres (both more than 0).
pub fn tex_from_mass_and_length(grams: f64, metres: f64) -> f64 {
    1000.0 * grams / metres
}

/// Nm from tex (more than 0).
pub fn nm_from_tex(tex: f64) -> f64 {
    1000.0 / tex
}

/// tex from Nm (more than 0).
pub fn tex_from_nm(nm: f64) -> f64 {
    1000.0 / nm
}

/// Ne from tex (more than 0).
pub fn ne_from_tex(tex: f64) -> f64 {
    1000.0 * POUND_G / (HANK_M * tex)
}

/// tex from Ne (more than 0).
pub fn tex_from_ne(ne: f64) -> f64 {
    1000.0 * POUND_G / (HANK_M * ne)
}

/// Denier from tex.
pub fn denier_from_tex(tex: f64) -> f64 {
    9.0 * tex
}
