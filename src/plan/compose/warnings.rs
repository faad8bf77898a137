//! The cautions of a finished plan: those of its facts, and those its numbers give rise to.

use super::super::request::{MeasureRequest, PartRequest, PieceRequest, Request};
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
    for fabric in fabrics {
        let words = |message: &String| format!("The measurement of '{}' says: {message}.", fabric.gauge.name);
        let caution = |message| PlanCaution { code: PlanCautionCode::FromMeasurement, message: words(message) };
        out.extend(fabric.cautions.iter().map(caution));
    }
    out.extend(
        fabrics.iter().filter(|f| f.ten_cm_taken).map(|f| both_lengths(&format!("The gauge '{}'", f.gauge.name))),
    );
    if plan.regauge.as_ref().is_some_and(|r| r.ten_cm_taken) {
        out.push(both_lengths("The pattern's gauge"));
    }
    out.extend(request.pieces.iter().filter(|piece| piece.round).filter_map(flat_only));
    for piece in &plan.pieces {
        for index in 0..piece.sizes.first().map_or(0, |sized| sized.parts.len()) {
            let parts: Vec<(&str, &PartPlan)> =
                piece.sizes.iter().map(|s| (s.size.as_str(), &s.parts[index])).collect();
            let (_, first) = parts[0];
            let name =
                if piece.name == first.name { piece.name.clone() } else { format!("{}, {}", piece.name, first.name) };
            out.extend(unlikely(&name, &parts));
            out.extend(fabrics.iter().find(|f| f.gauge.name == first.gauge).and_then(|f| rounded(&name, &parts, f)));
        }
    }
    out
}

/// What is known of the pieces, parts of one gauge together.
fn piece_facts(request: &Request, fabrics: &[Fabric]) -> Vec<PieceFacts> {
    let mut facts = Vec::new();
    for piece in &request.pieces {
        for (index, fabric) in fabrics.iter().enumerate() {
            let parts: Vec<&PartRequest> = piece.parts.iter().filter(|part| part.gauge == index).collect();
            if parts.is_empty() {
                continue;
            }
            let names: Vec<&str> = parts.iter().map(|part| part.name.as_str()).collect();
            let whole = parts.len() == piece.parts.len();
            let smaller = |m: &MeasureRequest| m.sizes.iter().any(|size| m.ease.mm(*size) < 0.0);
            facts.push(PieceFacts {
                name: if whole { piece.name.clone() } else { format!("{} ({})", piece.name, names.join(", ")) },
                gauge: fabric.gauge.name.clone(),
                round: piece.round,
                stretched: parts.iter().any(|part| part.width.as_ref().is_some_and(smaller)),
            });
        }
    }
    facts
}

fn both_lengths(what: &str) -> PlanCaution {
    let message = format!(
        "{what} is stated over \"10 cm / 4 in\", which are not the same length: 10 cm is taken. If 4 in (10.16 cm) is meant, there are 1.6 % fewer stitches in 10 cm, and a piece of 50 cm comes out at 50.8 cm. Ask the author, or write over = \"4 in\"."
    );
    PlanCaution { code: PlanCautionCode::TenCmOrFourInches, message }
}

/// Balance, edges and seams belong to flat knitting.
fn flat_only(piece: &PieceRequest) -> Option<PlanCaution> {
    let said = |part: &PartRequest| part.stitch_rule != part.stitch_rule.in_the_round();
    let message = format!(
        "{} is worked in the round: the balance, edge and seam stitches that were given belong to flat knitting and are left out.",
        piece.name
    );
    piece.parts.iter().any(said).then_some(PlanCaution { code: PlanCautionCode::FlatOnly, message })
}

/// Below this even the best count is as likely to miss as to fit.
const AS_LIKELY_AS_NOT: f64 = 0.5;

fn castables(part: &PartPlan) -> impl Iterator<Item = &Castable> {
    part.stitches.castable.iter().chain(part.rows.iter().filter_map(|rows| rows.castable.as_ref()))
}

/// Sizes in which no possible count is likely to fit.
fn unlikely(name: &str, parts: &[(&str, &PartPlan)]) -> Vec<PlanCaution> {
    let caution = |counted: Counted| {
        let bad: Vec<(&str, &Castable)> = parts
            .iter()
            .flat_map(|(size, part)| castables(part).map(move |c| (*size, c)))
            .filter(|(_, c)| c.counted == counted && c.chosen().probability_within_tolerance < AS_LIKELY_AS_NOT)
            .collect();
        let sizes: Vec<String> = bad
            .iter()
            .map(|(size, c)| {
                let (within, wanted) = (c.target.tolerance_mm / 10.0, c.target.finished_mm / 10.0);
                of_size(size, &format!("{within:.1} cm of {wanted:.1} cm"))
            })
            .collect();
        let message = format!(
            "{name}: no possible number of {} is likely to come within {}. Allow more, choose a smaller multiple, or know the gauge better.",
            counted.word(2),
            sizes.join(", ")
        );
        (!bad.is_empty()).then_some(PlanCaution { code: PlanCautionCode::NoGoodCount, message })
    };
    [Counted::Stitches, Counted::Rows].into_iter().filter_map(caution).collect()
}

fn of_size(size: &str, words: &str) -> String {
    if size.is_empty() { words.to_owned() } else { format!("{words} (size {size})") }
}

/// Sizes in which someone who works from the printed gauge line would take other counts.
fn rounded(name: &str, parts: &[(&str, &PartPlan)], fabric: &Fabric) -> Option<PlanCaution> {
    let line = GaugeLine::of(&fabric.gauge, Length::TEN_CM)?;
    let mut moved = Vec::new();
    for (size, part) in parts {
        for c in castables(part) {
            let (exact, printed) = match c.counted {
                Counted::Stitches => (fabric.gauge.stitches_per_10cm.value, line.stitches_per_10cm()),
                Counted::Rows => (fabric.gauge.rows_per_10cm.as_ref()?.value, line.rows_per_10cm()?),
            };
            let (exact, printed) = (count_at(c, exact)?, count_at(c, printed)?);
            if exact != printed {
                moved.push(of_size(size, &format!("{exact} {} become {printed}", c.counted.word(exact))));
            }
        }
    }
    let message = format!(
        "{name}: whoever works from the gauge line, rounded to halves, gets other counts: {}. Print the counts, or the gauge with its decimals.",
        moved.join(", ")
    );
    (!moved.is_empty()).then_some(PlanCaution { code: PlanCautionCode::RoundingMovesSize, message })
}

/// The nearest possible count at a gauge taken as exact.
fn count_at(of: &Castable, per_10cm: f64) -> Option<u32> {
    let found = castable(of.counted, of.target, of.rule, &Uncertain::exact(per_10cm)).ok()?;
    found.candidates.iter().min_by(|a, b| a.off_mm.abs().total_cmp(&b.off_mm.abs())).map(|c| c.count)
}
