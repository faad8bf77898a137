//! Needle sizes that are sold, in mm. Millimetres are the only safe key: numbered sizes differ between countries, and
//! published tables disagree on some of them.

/// Common metric sizes (conversion tables of the trade agree on these, apart from 12 and 12.75).
pub const STANDARD_SIZES_MM: [f64; 25] = [
    1.5, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0, 3.25, 3.5, 3.75, 4.0, 4.5, 5.0, 5.5, 6.0, 6.5, 7.0, 7.5, 8.0, 9.0, 10.0,
    12.0, 15.0, 20.0, 25.0,
];
