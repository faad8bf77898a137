//! From gauge to needles: pure arithmetic on counts, lengths and values that carry their uncertainty.
//!
//! Counts of stitches and rows are whole numbers throughout, and what divides them is integer arithmetic: a schedule adds
//! up exactly or is an error. Lengths that people write are exact ([`Length`]); what follows from a gauge is an
//! [`crate::quantity::Uncertain`] whose sources stay named, so that one swatch's error moves all pieces the same way.
//!
//! One subject a file. Nothing here knows plan files, output formats or each other's callers.

mod body;
mod castable;
mod cautions;
mod cord;
mod fabric_gauge;
mod gauge_count;
mod gauge_line;
mod length;
mod needle;
mod regauge;
mod shaping;
mod size_tables;
mod spacing;
mod substitution;
mod variation;
mod yarn;
mod yarn_count;

pub use body::{BodyMeasure, Ease, EaseError, Target, USUAL_TOLERANCE, usual_tolerance_mm};
pub use castable::{
    Candidate, Castable, CountError, CountRule, Counted, Direction, castable, finished_mm, probability_percent,
    probability_within,
};
pub use cautions::{PieceFacts, PlanCaution, PlanCautionCode, SwatchFacts, Wearer, WholeFacts, cautions};
pub use cord::{Band, BandError, band_from_cord};
pub use fabric_gauge::{FabricGauge, RecordGaugeError};
pub use gauge_count::{GaugeCount, Over, per_10cm};
pub use gauge_line::{GaugeLine, half_stitch};
pub use length::{Length, LengthUnit};
pub use needle::{NeedleAdvice, NeedleResponse, Tension, TriedNeedles, needle_advice, tried_needle_advice};
pub use regauge::{Regauged, regauge};
pub use shaping::{Pace, Schedule, ShapingError, ShapingStep, even_parts, run_lengths, schedule};
pub use size_tables::{PUBLISHED_SIZES, PublishedSizes, published};
pub use spacing::{Arrangement, Spacing, SpacingError, space, space_decreases, space_increases};
pub use substitution::{Substitution, substitute, whole_balls};
pub use variation::{FabricVariation, mean_variance_share};
pub use yarn::{Amounts, SwatchYarn, USUAL_SPREAD, YarnAmount, YarnNeeds, looped_length, yarn_amount};
pub use yarn_count::{denier_from_tex, ne_from_tex, nm_from_tex, tex_from_mass_and_length, tex_from_ne, tex_from_nm};
