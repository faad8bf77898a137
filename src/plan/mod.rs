//! A plan: what is asked (a plan file or arguments) → counts, shaping, sizes and yarn, each with its interval.
//!
//! `request` is what is asked, after reading and before any arithmetic; `read` makes one from the text of a plan file;
//! `compose` works it out with the arithmetic of [`crate::sizing`]; `result` is what comes out, the JSON contract
//! `walewise.plan/1`. No files are opened here: whoever calls hands over the
//! measurements and swatches a request names ([`Provided`]).

mod compose;
mod error;
mod provided;
mod read;
mod request;
mod result;

pub use compose::compose;
pub use error::{PlanError, PlanProblem};
pub use provided::{LoggedSwatch, Provided, swatch_area_mm2, warnings};
pub use read::{PlanFile, read};
pub use request::{
    CordRequest, Ends, EvenRequest, GaugeRequest, GaugeSource, MeasureRequest, PartRequest, PieceRequest, RegaugeCount,
    RegaugeRequest, Request, ShapePace, ShapeTo, ShapingRequest, SubstituteRequest, SwatchWeight, YarnRequest,
};
pub use result::{
    AxisPlan, CordPlan, EvenPlan, GaugeNote, PartPlan, PiecePlan, Plan, RegaugePlan, SCHEMA, ShapingPlan, SizedPiece,
    YarnPlan,
};
