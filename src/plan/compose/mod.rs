//! A request → a plan.

mod beside;
mod extent;
mod fabrics;
mod part;
mod shape;
mod warnings;

use super::error::{PlanError, PlanProblem};
use super::provided::Provided;
use super::request::{PieceRequest, Request};
use super::result::{PiecePlan, Plan, SCHEMA, SizedPiece};
use crate::quantity::{Confidence, Uncertain};
use fabrics::Fabric;
use part::{Place, Worked};
use std::collections::BTreeMap;

/// Works a request out. `provided` holds, by name of the gauge, what stands behind each gauge that is not typed.
pub fn compose(request: &Request, provided: &BTreeMap<String, Provided>) -> Result<Plan, PlanProblem> {
    let fabrics = fabrics::all(&request.gauges, provided)?;
    let mut pieces = Vec::new();
    // What each size takes, in the order of the sizes: the yarn is reckoned from it.
    let mut worked: Vec<Vec<Worked>> = request.sizes.iter().map(|_| Vec::new()).collect();
    let mut changes = 0;
    for piece in &request.pieces {
        let mut sizes = Vec::new();
        for (index, size) in request.sizes.iter().enumerate() {
            let parts = parts_of(piece, index, size, &fabrics)?;
            changes += parts.iter().map(|part| extent::changes(&part.plan)).sum::<u64>();
            extent::check_changes(changes, &piece.key)?;
            sizes.push(sized(size, &parts));
            worked[index].extend(parts);
        }
        pieces.push(PiecePlan { name: piece.name.clone(), round: piece.round, direction: piece.direction, sizes });
    }
    let yarn = match &request.yarn {
        Some(yarn) => beside::yarn(yarn, &fabrics, &request.sizes, &worked)?,
        None => Vec::new(),
    };
    let mut plan = Plan {
        schema: SCHEMA,
        version: env!("CARGO_PKG_VERSION"),
        title: request.title.clone(),
        sizes: request.sizes.clone(),
        sizes_source: request.sizes_source.clone(),
        gauges: fabrics.iter().map(Fabric::note).collect(),
        pieces,
        regauge: request.regauge.as_ref().map(|r| beside::regauge(r, &fabrics)).transpose()?,
        yarn,
        substitution: request.yarn.as_ref().and_then(beside::substitution),
        evenly: request.evenly.iter().map(beside::evenly).collect::<Result<_, _>>()?,
        cautions: Vec::new(),
    };
    plan.cautions = warnings::all(request, &fabrics, &plan);
    Ok(plan)
}

fn parts_of(piece: &PieceRequest, index: usize, size: &str, fabrics: &[Fabric]) -> Result<Vec<Worked>, PlanProblem> {
    let mut parts: Vec<Worked> = Vec::new();
    for part in &piece.parts {
        let place = Place { piece, part, size: index, fabric: &fabrics[part.gauge], fabrics };
        let done = part::work(place, parts.last()).map_err(|error| for_size(error, size))?;
        parts.push(done);
    }
    Ok(parts)
}

/// Says which size a mistake is about, where there are several.
fn for_size(error: PlanError, size: &str) -> PlanError {
    if size.is_empty() { error } else { PlanError { message: format!("size {size}: {}", error.message), ..error } }
}

fn sized(size: &str, parts: &[Worked]) -> SizedPiece {
    let lengths: Option<Vec<&Uncertain>> = parts.iter().map(|p| p.length.as_ref()).collect();
    let length_mm = lengths.map(|lengths| {
        lengths.into_iter().fold(Uncertain::exact(0.0), |sum, length| &sum + length).expanded(Confidence::P95)
    });
    SizedPiece { size: size.to_owned(), parts: parts.iter().map(|p| p.plan.clone()).collect(), length_mm }
}

#[cfg(test)]
mod tests;
