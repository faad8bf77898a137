//! One piece, as the page's form describes it → counts, shaping and words, through the same plan file that the command
//! reads.

use crate::said;
use serde::Deserialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write;
use walewise::plan::{self, AxisPlan, Plan, PlanProblem};
use walewise::record::Record;
use walewise::report;

/// Name of the gauge.
const GAUGE: &str = "swatch";

/// What the form says. Lengths are texts with their unit, as a plan file has them ("48 cm", "19 in").
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Asked {
    /// A measurement record, as JSON text; or the next three.
    record: Option<String>,
    /// Stitches typed, such as `22` or `22.5 ± 0.3`.
    stitches: Option<String>,
    /// Rows typed.
    rows: Option<String>,
    /// The length both are over.
    over: Option<String>,
    /// The swatch was washed as the piece will be.
    washed: bool,
    /// What the piece is called.
    name: String,
    /// Body measure, or the piece's own without ease.
    width: String,
    /// Finished minus body measure.
    ease: Option<String>,
    /// How far off the width may be.
    tolerance: Option<String>,
    /// Length of the piece.
    length: Option<String>,
    /// Worked in the round.
    round: bool,
    /// Knitted sideways.
    sideways: bool,
    /// Of the stitch pattern.
    multiple: Option<u32>,
    /// Beyond whole multiples.
    balance: Option<u32>,
    /// Of both sides together.
    edge_stitches: Option<u32>,
    /// Rows of the stitch pattern.
    row_multiple: Option<u32>,
    /// Stitches (a number) or a width to shape to.
    shape_to: Option<String>,
    /// Stitches gained or lost in one shaping row.
    per_row: Option<u32>,
}

/// `{"plan": …}` with its words, or `{"error": {"key", "message"}}`.
pub fn answer(asked: &str) -> String {
    let answer = serde_json::from_str::<Asked>(asked).map_err(|e| error("", &e.to_string())).and_then(|a| work(&a));
    answer.unwrap_or_else(|error| json!({ "error": error })).to_string()
}

fn error(key: &str, message: &str) -> Value {
    json!({"key": key.rsplit('.').next(), "message": message})
}

fn work(asked: &Asked) -> Result<Value, Value> {
    let toml = as_toml(asked);
    let file = plan::read(&toml).map_err(|e| error(&e.key, &e.message))?;
    let mut records = BTreeMap::new();
    if let Some(text) = &asked.record {
        let record: Record = serde_json::from_str(text).map_err(|e| error("record", &e.to_string()))?;
        records.insert(GAUGE.to_owned(), record.into());
    }
    let plan = plan::compose(&file.request, &records).map_err(|problem| match problem {
        PlanProblem::Input(e) => error(&e.key, &e.message),
        PlanProblem::Inconclusive(message) => error("", &message),
    })?;
    Ok(in_words(&plan, &toml))
}

fn in_words(plan: &Plan, toml: &str) -> Value {
    let piece = plan.pieces.first();
    let sized = piece.and_then(|p| p.sizes.first());
    let part = sized.and_then(|s| s.parts.first());
    let steps = piece.zip(sized).map(|(piece, sized)| report::instructions(piece, sized)).unwrap_or_default();
    json!({
        "plan": plan,
        "stitches": part.map(|p| axis(&p.stitches)),
        "rows": part.and_then(|p| p.rows.as_ref()).map(axis),
        "end": part.map(|p| said::millimetres(&p.end_mm)),
        "steps": steps,
        "cautions": plan.cautions.iter().map(|c| &c.message).collect::<Vec<_>>(),
        "text": report::plan_text::describe(plan),
        "page": report::plan_html::page(plan),
        "toml": toml,
    })
}

fn axis(of: &AxisPlan) -> Value {
    let candidates = of.castable.iter().flat_map(|c| &c.candidates).map(|c| {
        json!({
            "count": c.count,
            "finished": said::millimetres(&c.finished_mm),
            "probability": c.probability_within_tolerance,
            "chosen": c.count == of.count,
        })
    });
    json!({
        "count": of.count,
        "finished": said::millimetres(&of.finished_mm),
        "candidates": candidates.collect::<Vec<_>>(),
        "reason": of.castable.as_ref().map(report::plan_text::reason_words),
    })
}

/// The plan file the form stands for. JSON's quoting of text is TOML's too.
fn as_toml(of: &Asked) -> String {
    let mut text = format!("[gauge.{GAUGE}]\n");
    match &of.record {
        Some(_) => words(&mut text, "measurement", Some("photo")),
        None => {
            words(&mut text, "stitches", of.stitches.as_deref());
            words(&mut text, "rows", of.rows.as_deref());
            words(&mut text, "over", Some(of.over.as_deref().unwrap_or("10 cm")));
        }
    }
    flag(&mut text, "washed", of.washed);
    text += "\n[[piece]]\n";
    words(&mut text, "name", Some(&of.name));
    words(&mut text, "worked", of.round.then_some("round"));
    words(&mut text, "direction", of.sideways.then_some("sideways"));
    words(&mut text, "width", Some(&of.width));
    for (key, value) in [("ease", &of.ease), ("tolerance", &of.tolerance), ("length", &of.length)] {
        words(&mut text, key, value.as_deref());
    }
    number(&mut text, "multiple", of.multiple);
    number(&mut text, "balance", of.balance);
    number(&mut text, "edge_stitches", of.edge_stitches);
    number(&mut text, "row_multiple", of.row_multiple);
    if let Some(to) = &of.shape_to {
        text += "\n[[piece.shaping]]\n";
        match to.trim().parse::<u32>() {
            Ok(stitches) => number(&mut text, "to", Some(stitches)),
            Err(_) => words(&mut text, "to", Some(to)),
        }
        number(&mut text, "per_row", of.per_row);
    }
    text
}

fn words(text: &mut String, key: &str, value: Option<&str>) {
    if let Some(value) = value {
        // Writing to a String can't fail.
        let _ = writeln!(text, "{key} = {}", Value::from(value));
    }
}

fn number(text: &mut String, key: &str, value: Option<u32>) {
    if let Some(value) = value {
        let _ = writeln!(text, "{key} = {value}");
    }
}

fn flag(text: &mut String, key: &str, set: bool) {
    if set {
        let _ = writeln!(text, "{key} = true");
    }
}
