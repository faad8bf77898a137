//! One measurement of one swatch, as a class takes it in.

use crate::compare::{GaugeError, MeasuredGauge};
use crate::quantity::{Contribution, Source, Uncertain};
use crate::record::Record;

/// A measured swatch: a photo, a line of a table, or an entry of the log.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Who knitted it.
    pub knitter: String,
    /// Which of the knitter's swatches.
    pub swatch: String,
    /// What it is called: a file, a line, a number in the log.
    pub label: String,
    /// Stitches and rows per 10 cm; rows may be missing.
    pub gauge: [Option<Uncertain>; 2],
    /// The gauge from place to place, where a photo showed it.
    pub places: Vec<Place>,
    /// Stitch pattern, where it is known.
    pub stitch: Option<String>,
    /// State in which it was measured (washed …), where it is known.
    pub state: Option<String>,
    /// Yarn, where it is known.
    pub yarn: Option<String>,
    /// Needle size, where it is known, in mm.
    pub needle_mm: Option<f64>,
    /// Name of the ruler, where it has one.
    pub ruler: Option<String>,
    /// SHA-256 of the photo, in hexadecimal.
    pub photo_sha256: Option<String>,
    /// What else another piece of the same fabric varies, relative, of stitches and of rows; where the photo showed it.
    pub between_fabrics: Option<[f64; 2]>,
}

/// The gauge at one place of a swatch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Where, in mm. Distances are what counts, and they are good to the photo's tilt.
    pub at_mm: [f64; 2],
    /// Where in the photo, in px.
    pub at_px: [f64; 2],
    /// Stitches and rows per 10 cm there.
    pub per_10cm: [f64; 2],
}

/// Beginnings of the names of the errors that every photo has anew; any other is one swatch's, the same in all its photos:
/// how the ruler stands against the fabric, which of its stitches can be followed. Counting such an error once for each
/// swatch takes it from the spread between swatches, which is where it would show.
const OF_THE_PHOTO: [&str; 9] = [
    "reading of the graduations",
    "direction of the ruler's marks",
    "tilt that was not seen",
    "focal length",
    "how the picture was cut",
    "lens distortion",
    "drift of tension",
    "irregular stitches taken for tilt",
    "uncertainty as stated",
];

/// Beginnings of the names of the errors that belong to the ruler: with a ruler that has a name they are the same in all its
/// photos. How high the fabric stands against it is counted here too: one yarn on one ruler stands alike every time.
const OF_THE_RULER: [&str; 3] = ["accuracy of the ruler", "thickness of the ruler", "height of the fabric's surface"];

impl Reading {
    /// A measurement by its gauge alone.
    pub fn new(knitter: &str, swatch: &str, label: &str, gauge: [Option<Uncertain>; 2]) -> Self {
        let named = |value: &Uncertain| value.contributions.iter().find_map(|c| c.source.shared_id.clone());
        let ruler = gauge.iter().flatten().find_map(named);
        let mut reading = Self {
            knitter: knitter.to_owned(),
            swatch: swatch.to_owned(),
            label: label.to_owned(),
            gauge,
            places: Vec::new(),
            stitch: None,
            state: None,
            yarn: None,
            needle_mm: None,
            ruler,
            photo_sha256: None,
            between_fabrics: None,
        };
        reading.place_sources();
        reading
    }

    /// From the record of a measured photo.
    ///
    /// # Errors
    /// Where the record holds no sound gauge.
    pub fn from_record(knitter: &str, swatch: &str, record: &Record) -> Result<Self, GaugeError> {
        let label = record.photo.file.clone();
        let gauge = MeasuredGauge::from_record(record, &label)?;
        let px_per_mm = record.scale.as_ref().map(|s| s.px_per_mm).filter(|s| *s > 0.0);
        let places = record.lattice.iter().flat_map(|lattice| &lattice.local).filter_map(|l| {
            let at_mm = px_per_mm.map(|s| [l.x_px / s, l.y_px / s])?;
            Some(Place { at_mm, at_px: [l.x_px, l.y_px], per_10cm: [l.stitches_per_10cm, l.rows_per_10cm] })
        });
        Ok(Self {
            places: places.collect(),
            stitch: record.stitch_pattern.as_ref().map(|p| p.pattern.name.clone()),
            photo_sha256: record.photo.sha256.clone(),
            between_fabrics: gauge.between_fabrics.map(|b| [b.stitches, b.rows]),
            ..Self::new(knitter, swatch, &label, [Some(gauge.stitches_per_10cm), Some(gauge.rows_per_10cm)])
        })
    }

    /// Names the ruler: its errors are then the same in all its photos.
    pub fn with_ruler(mut self, ruler: Option<&str>) -> Self {
        if ruler.is_some() {
            self.ruler = ruler.map(str::to_owned);
            self.place_sources();
        }
        self
    }

    /// Gives every error the thing it belongs to: the photo, the swatch, or a named ruler.
    fn place_sources(&mut self) {
        let (photo, swatch) = (self.label.clone(), format!("{} / {}", self.knitter, self.swatch));
        let starts = |names: &[&str], name: &str| names.iter().any(|n| name.starts_with(n));
        for part in self.gauge.iter_mut().flatten().flat_map(|value| &mut value.contributions) {
            let source = &mut part.source;
            if let Some(ruler) = self.ruler.as_ref().filter(|_| starts(&OF_THE_RULER, &source.name)) {
                *source = Source::shared(source.name.clone(), ruler.clone());
            } else if source.shared_id.is_none() {
                source.occasion = Some(if starts(&OF_THE_PHOTO, &source.name) { &photo } else { &swatch }.clone());
            }
        }
    }
}

/// Variance of a value by whom its errors belong to: what is shared with other swatches through a named thing, and the rest.
pub(super) fn shared_and_own(value: &Uncertain) -> [f64; 2] {
    let sum = |shared: bool| {
        let parts = value.contributions.iter().filter(move |c| c.source.shared_id.is_some() == shared);
        parts.map(|c: &Contribution| c.standard * c.standard).sum()
    };
    [sum(true), sum(false)]
}

/// The name, with a number behind it where it is taken already; it is then taken.
pub fn free_name(taken: &mut Vec<String>, name: String) -> String {
    let mut free = name.clone();
    let mut number = 2;
    while taken.contains(&free) {
        free = format!("{name} ({number})");
        number += 1;
    }
    taken.push(free.clone());
    free
}

#[cfg(test)]
mod tests {
    use super::{OF_THE_PHOTO, OF_THE_RULER};

    /// A source that is renamed where it is made would be taken for the swatch's without a word.
    #[test]
    fn every_error_that_is_placed_is_made_somewhere() {
        let made = [
            include_str!("../gauge/swatch.rs"),
            include_str!("../gauge/height.rs"),
            include_str!("../compare/count.rs"),
            include_str!("../compare/gauge.rs"),
        ];
        for name in OF_THE_PHOTO.iter().chain(&OF_THE_RULER) {
            assert!(made.iter().any(|text| text.contains(&format!("\"{name}"))), "{name}");
        }
    }
}
