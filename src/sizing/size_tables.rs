//! Published tables of body measures. They differ from one another: a measured head is better than any of them.

use super::Length;
use crate::quantity::INCH_MM;

/// One published table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PublishedSizes {
    /// The name used in plan files.
    pub name: &'static str,
    /// Which measure of the body, such as `head`.
    pub measure: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// Millimetres in the table's unit.
    pub unit_mm: f64,
    /// Size and measure, in the table's unit.
    pub sizes: &'static [(&'static str, f64)],
    /// The sizes that children wear, up to 14 years as in EN 14682 (its scope from memory); none in a table for grown people.
    pub of_children: &'static [&'static str],
}

impl PublishedSizes {
    /// The measure of a size; `None` where the table has no such size.
    pub fn of(&self, size: &str) -> Option<Length> {
        self.sizes.iter().find(|(name, _)| *name == size).map(|(_, value)| Length::from_mm(value * self.unit_mm))
    }
}

/// The tables this program knows.
pub const PUBLISHED_SIZES: [PublishedSizes; 4] = [
    PublishedSizes {
        name: "head",
        measure: "head",
        // Read in the list itself.
        source: "head circumference as a hat designer published it, in inches",
        unit_mm: INCH_MM,
        sizes: &[
            ("preemie", 12.0),
            ("newborn", 14.0),
            ("0-6 months", 16.0),
            ("6-12 months", 17.0),
            ("toddler", 19.0),
            ("child", 20.5),
            ("teen", 21.0),
            ("woman", 21.0),
            ("man", 22.0),
        ],
        of_children: &["preemie", "newborn", "0-6 months", "6-12 months", "toddler", "child", "teen"],
    },
    PublishedSizes {
        name: "hand",
        measure: "hand",
        // Seen in a trade reproduction of the standard's table.
        source: "hand circumference by glove size, EN 420:2003",
        unit_mm: 1.0,
        sizes: &[("6", 152.0), ("7", 178.0), ("8", 203.0), ("9", 229.0), ("10", 254.0), ("11", 279.0)],
        of_children: &[],
    },
    PublishedSizes {
        name: "chest-men",
        measure: "chest",
        // Seen in a reproduction of the standard's ranges: 70–78, 78–86, 86–94, 94–102, 102–110, 110–118, 118–129, 129–141.
        source: "men's chest girth, middle of each letter code of EN 13402-3",
        unit_mm: 10.0,
        sizes: &[
            ("XXS", 74.0),
            ("XS", 82.0),
            ("S", 90.0),
            ("M", 98.0),
            ("L", 106.0),
            ("XL", 114.0),
            ("XXL", 123.5),
            ("3XL", 135.0),
        ],
        of_children: &[],
    },
    PublishedSizes {
        name: "chest-women",
        measure: "chest",
        // Likewise: 66–74, 74–82, 82–90, 90–98, 98–107, 107–119, 119–131, 131–143.
        source: "women's bust girth, middle of each letter code of EN 13402-3",
        unit_mm: 10.0,
        sizes: &[
            ("XXS", 70.0),
            ("XS", 78.0),
            ("S", 86.0),
            ("M", 94.0),
            ("L", 102.5),
            ("XL", 113.0),
            ("XXL", 125.0),
            ("3XL", 137.0),
        ],
        of_children: &[],
    },
];

/// The published table of a name.
pub fn published(name: &str) -> Option<&'static PublishedSizes> {
    PUBLISHED_SIZES.iter().find(|table| table.name == name)
}
