//! Cautions: a number was measured, with a warning.

use serde::{Deserialize, Serialize};

/// What to be careful about. The names are part of the JSON contract.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CautionCode {
    /// Only a small part of the swatch carried the measurement.
    SmallRegion,
    /// The photo holds no focal length; a usual distance was assumed.
    NoFocalLength,
    /// The tilt across the ruler was not seen well.
    TiltUncertain,
    /// The gauge differs from place to place by more than the interval of this swatch.
    UnevenTension,
    /// A rib was measured as it lies; worn, it stretches.
    RibRelaxed,
    /// Nobody measured the check length of the printed calibration card.
    CardUnconfirmed,
    /// Whether the lens profile is of this photo's lens could not be checked.
    LensUnchecked,
    /// The ruler's unit was given by the user against what the marks suggest.
    UnitOverruled,
    /// The outline of the whole swatch was not seen, so its area is not known.
    OutlineUnknown,
    /// The stitches that show in the photo do not agree with what was counted by hand.
    CountDiffers,
    /// A photo of the swatch took no part in the result.
    PhotoLeftOut,
}

/// A warning that goes with a number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Caution {
    /// Which caution.
    pub code: CautionCode,
    /// What was seen and what it means, in words.
    pub message: String,
}
