//! A plan file (TOML) → a request. Every mistake names its key; the line comes from the file.

mod evenly;
mod gauges;
mod pieces;
mod shaping;
mod sizes;
mod table;
mod yarn;

use super::error::PlanError;
use super::request::Request;
use crate::sizing::{LengthUnit, Wearer, WholeFacts};
use std::collections::BTreeMap;
use table::Keys;
use toml::de::DeTable;

/// A plan file that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanFile {
    /// What it asks for.
    pub request: Request,
    /// The line of every key, by path, for mistakes that are found later.
    pub lines: BTreeMap<String, usize>,
}

/// Reads the text of a plan file.
pub fn read(text: &str) -> Result<PlanFile, PlanError> {
    let table = DeTable::parse(text).map_err(|error| PlanError {
        key: String::new(),
        line: error.span().map(|span| table::line_of(text, span.start)),
        message: format!("this is not TOML: {}", error.message().replace('\n', ", ")),
    })?;
    let lines = table::lines(text, table.get_ref());
    match request(table.get_ref()) {
        Ok(request) => Ok(PlanFile { request, lines }),
        Err(error) => Err(error.located(&lines)),
    }
}

fn request(table: &DeTable<'_>) -> Result<Request, PlanError> {
    let mut keys = Keys::new(table, String::new(), LengthUnit::Cm);
    if let Some(unit) = keys.get("units") {
        keys.set_unit(unit.choice(&[("cm", LengthUnit::Cm), ("in", LengthUnit::Inch)])?);
    }
    let title = keys.get("title").map(|t| t.string("Winter band")).transpose()?.unwrap_or_default();
    let mut facts = facts(&mut keys)?;
    let evenly = keys.get("evenly").map_or(Ok(Vec::new()), |item| evenly::read(&item))?;
    let gauges = match keys.get("gauge") {
        None if !evenly.is_empty() => Vec::new(),
        _ => gauges::read(keys.need("gauge", "a table [gauge.body]")?)?,
    };
    let sizes = sizes::read(keys.get("sizes"))?;
    let pieces = match keys.get("piece") {
        Some(list) => pieces::read(&list, &gauges, &sizes)?,
        None => Vec::new(),
    };
    // What hurts a child is said of a plan with children's sizes, whatever else is said of its wearer.
    if sizes.of_children {
        facts.wearer = Some(Wearer::Child);
    }
    facts.ties |= pieces.iter().flat_map(|p| &p.parts).any(|part| part.cord.is_some());
    let regauge = keys.get("regauge").map(|item| gauges::read_regauge(&item, &gauges)).transpose()?;
    let yarn = keys.get("yarn").map(|item| yarn::read(&item, &gauges)).transpose()?;
    keys.finish()?;
    if pieces.is_empty() && regauge.is_none() && evenly.is_empty() {
        return Err(PlanError::at(
            "",
            "there is nothing to plan: a [[piece]], a [regauge] or an [[evenly]] is expected",
        ));
    }
    let (sizes, sizes_source) = (sizes.names, sizes.source);
    Ok(Request { title, facts, gauges, sizes, sizes_source, pieces, regauge, yarn, evenly })
}

fn facts(keys: &mut Keys<'_>) -> Result<WholeFacts, PlanError> {
    let mut flag = |key| keys.get(key).map_or(Ok(false), |f| f.flag());
    let (ties, beads, on_skin) = (flag("ties")?, flag("beads")?, flag("on_skin")?);
    Ok(WholeFacts {
        wearer: keys.get("for").map(|w| w.choice(&[("child", Wearer::Child), ("adult", Wearer::Adult)])).transpose()?,
        ties,
        beads,
        fibre: keys.get("fibre").map(|f| f.string("merino wool")).transpose()?.unwrap_or_default(),
        on_skin,
    })
}
