//! The gauge in a record: what was knitted, the counts, and what their uncertainty is made of.

use crate::lattice::StitchPattern;
use crate::quantity::{Evaluation, Expanded, PairedBudgetLine, Shape};
use serde::{Deserialize, Serialize};

/// A stitch pattern and how it is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PatternNote {
    /// Name and repeat.
    #[serde(flatten)]
    pub pattern: StitchPattern,
    /// Who said so.
    pub source: PatternSource,
    /// Probability of a recognised pattern, 0 to 1; `None` when declared.
    pub confidence: Option<f64>,
}

/// How a stitch pattern is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PatternSource {
    /// The user said it.
    Declared,
    /// It was recognised in the photo.
    Recognised,
}

/// The gauge: both axes, of this swatch and of the next fabric knitted alike.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Gauge {
    /// Stitches in 10 cm along the row.
    pub stitches_per_10cm: Expanded,
    /// Rows in 10 cm along the wale.
    pub rows_per_10cm: Expanded,
    /// The same for another 10 × 10 cm knitted alike; `None` where the swatch shows too little of its own variation.
    pub next_fabric: Option<NextFabric>,
}

/// What another fabric knitted alike would give.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NextFabric {
    /// Stitches in 10 cm along the row.
    pub stitches_per_10cm: Expanded,
    /// Rows in 10 cm along the wale.
    pub rows_per_10cm: Expanded,
    /// How the fabric varies from place to place.
    pub variation: Variation,
}

/// Variation of the gauge within one fabric.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Variation {
    /// Standard deviation between places of 10 × 10 cm, in per cent, of stitches and of rows.
    pub between_places_percent: [f64; 2],
    /// Distance over which neighbouring places vary alike, in mm.
    pub correlation_mm: f64,
}

/// One source of uncertainty: signed relative standard uncertainties. Over the whole budget their root sum of squares is
/// the relative standard uncertainty of the result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contribution {
    /// Name of the source.
    pub source: String,
    /// From statistics (A) or from other knowledge (B).
    #[serde(rename = "type")]
    pub evaluation: Evaluation,
    /// Names what is shared with other measurements, such as one ruler; `None` where nothing is.
    pub shared_id: Option<String>,
    /// Signed part in the stitches, in per cent.
    pub stitches_percent: f64,
    /// Signed part in the rows, in per cent.
    pub rows_percent: f64,
    /// Degrees of freedom; `None` when infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Distribution of the influence; `None` in records that do not tell.
    #[serde(default)]
    pub shape: Option<Shape>,
}

impl From<PairedBudgetLine> for Contribution {
    fn from(line: PairedBudgetLine) -> Self {
        Self {
            source: line.source.name.into_owned(),
            evaluation: line.evaluation,
            shared_id: line.source.shared_id,
            stitches_percent: line.stitches_percent,
            rows_percent: line.rows_percent,
            degrees_of_freedom: line.degrees_of_freedom.is_finite().then_some(line.degrees_of_freedom),
            shape: Some(line.shape),
        }
    }
}
