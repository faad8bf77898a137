//! The cautions of a finished plan: those of its facts, and those its numbers give rise to.

use super::super::request::Request;
use super::super::result::{PartPlan, Plan};
use super::fabrics::Fabric;
use crate::quantity::Uncertain;
use crate::sizing::{
    Castable, Counted, GaugeLine, Length, PieceFacts, PlanCaution, PlanCautionCode, castable, cautions,
};

/// All cautions.
pub fn all(request: &Request, fabrics: &[Fabric], plan: &Plan) -> Vec<PlanCaution> {
    let swatches: Vec<_> = fabrics.iter().map(Fabric::facts).collect();
    let mut out = cautions(&request.facts, &swatches, &piece_facts(request, fabrics));
    out.extend(
        fabrics.iter().filter(|f| f.ten_cm_taken()).map(|f| both_lengths(&format!("The gauge '{}'", f.gauge.name))),
    );
    if plan.regauge.as_ref().is_some_and(|r| r.ten_cm_taken) {
        out.push(both_lengths("The pattern's gauge"));
    }
    for piece in &plan.pieces {
        for sized in &piece.sizes {
            for part in &sized.parts {
                let name = described(&piece.name, &part.name, &sized.size);
                out.extend(unlikely(part, &name));
                out.extend(fabrics.iter().find(|f| f.gauge.name == part.gauge).and_then(|f| rounded(part, f, &name)));
            }
        }
    }
    out
}

fn described(piece: &str, part: &str, size: &str) -> String {
    let name = if piece == part { piece.to_owned() } else { format!("{piece}, {part}") };
    if size.is_empty() { name } else { format!("{name}, size {size}") }
}

fn piece_facts(request: &Request, fabrics: &[Fabric]) -> Vec<PieceFacts> {
    let mut facts = Vec::new();
    for piece in &request.pieces {
        facts.extend(piece.parts.iter().map(|part| PieceFacts {
            name: described(&piece.name, &part.name, ""),
            gauge: fabrics[part.gauge].gauge.name.clone(),
            round: piece.round,
            stretched: part.width.as_ref().is_some_and(|w| w.sizes.iter().any(|size| w.ease.mm(*size) < 0.0)),
        }));
    }
    facts
}

fn both_lengths(what: &str) -> PlanCaution {
    let message = format!(
        "{what} is stated over \"10 cm / 4 in\", which are not the same length: 10 cm is taken. If 4 in (10.16 cm) is meant, there are 1.6 % fewer stitches in 10 cm, and a piece of 50 cm comes out at 50.8 cm. Ask the author, or write over = \"4 in\"."
    );
    PlanCaution { code: PlanCautionCode::TenCmOrFourInches, message }
}

/// Below this even the best count is as likely to miss as to fit.
const AS_LIKELY_AS_NOT: f64 = 0.5;

fn castables(part: &PartPlan) -> impl Iterator<Item = &Castable> {
    part.stitches.castable.iter().chain(part.rows.iter().filter_map(|rows| rows.castable.as_ref()))
}

fn unlikely(part: &PartPlan, name: &str) -> Vec<PlanCaution> {
    let bad = castables(part).filter(|c| c.chosen().probability_within_tolerance < AS_LIKELY_AS_NOT);
    let words = |c: &Castable| {
        let message = format!(
            "{name}: no possible number of {} is likely to come within {:.1} cm of {:.1} cm. Allow more, choose a smaller multiple, or know the gauge better.",
            c.counted.word(2),
            c.target.tolerance_mm / 10.0,
            c.target.finished_mm / 10.0
        );
        PlanCaution { code: PlanCautionCode::NoGoodCount, message }
    };
    bad.map(words).collect()
}

/// Whether someone who works from the printed gauge line would take another count.
fn rounded(part: &PartPlan, fabric: &Fabric, name: &str) -> Option<PlanCaution> {
    let line = GaugeLine::of(&fabric.gauge, Length::TEN_CM)?;
    let moved = castables(part).find_map(|c| {
        let (exact, printed) = match c.counted {
            Counted::Stitches => (fabric.gauge.stitches_per_10cm.value, line.stitches_per_10cm()),
            Counted::Rows => (fabric.gauge.rows_per_10cm.as_ref()?.value, line.rows_per_10cm()?),
        };
        let count = |per_10cm: f64| {
            Some(castable(c.counted, c.target, c.rule, &Uncertain::exact(per_10cm)).ok()?.chosen().count)
        };
        let (exact_count, printed_count) = (count(exact)?, count(printed)?);
        (exact_count != printed_count).then_some((c.counted, exact, printed, exact_count, printed_count))
    });
    let (counted, exact, printed, exact_count, printed_count) = moved?;
    let word = counted.word(2);
    let message = format!(
        "{name}: the printed gauge line rounds {exact:.2} {word} to {printed}, and that moves the count from {exact_count} to {printed_count} {word}. Print the counts, or the gauge with its decimals."
    );
    Some(PlanCaution { code: PlanCautionCode::RoundingMovesSize, message })
}
