//! `[sizes]`: names, and measures of the body by name, one value a size.

use super::super::error::PlanError;
use super::table::{Item, Keys};
use crate::sizing::{Length, PUBLISHED_SIZES, PublishedSizes, published};
use std::collections::BTreeMap;

/// The sizes of a plan.
pub struct Sizes {
    /// Their names; one empty name where the plan has one size.
    pub names: Vec<String>,
    /// Where the measures come from; empty for the user's own.
    pub source: String,
    /// Whether a size of a published table is a child's.
    pub of_children: bool,
    measures: BTreeMap<String, Vec<Length>>,
}

/// No plan has more sizes (a stated choice).
const MOST: usize = 40;

/// The sizes; one without a name where the file has none.
pub fn read(item: Option<Item<'_>>) -> Result<Sizes, PlanError> {
    let Some(item) = item else {
        return Ok(Sizes::own(vec![String::new()]));
    };
    let mut keys = item.keys()?;
    let table = keys.get("table").map(|t| published_table(&t)).transpose()?;
    let names = names(&mut keys, table)?;
    let mut sizes = Sizes::own(names);
    if let Some(table) = table {
        table.source.clone_into(&mut sizes.source);
        sizes.of_children = sizes.names.iter().any(|name| table.of_children.contains(&name.as_str()));
        let measures = sizes.names.iter().map(|name| of_table(table, name, &item.path)).collect::<Result<_, _>>()?;
        sizes.measures.insert(table.measure.to_owned(), measures);
    }
    for (name, item) in keys.named() {
        if !["names", "table"].contains(&name.as_str()) {
            let measures = sizes.lengths(&item)?;
            sizes.measures.insert(name, measures);
        }
    }
    Ok(sizes)
}

fn published_table(item: &Item<'_>) -> Result<&'static PublishedSizes, PlanError> {
    let name = item.string("head")?;
    let known = || PUBLISHED_SIZES.map(|t| t.name).join(", ");
    published(&name)
        .ok_or_else(|| PlanError::at(item.path.clone(), format!("no table '{name}'; there are {}", known())))
}

fn of_table(table: &PublishedSizes, size: &str, path: &str) -> Result<Length, PlanError> {
    let known = || table.sizes.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ");
    let unknown = || format!("table '{}' has no size '{size}'; it has {}", table.name, known());
    table.of(size).ok_or_else(|| PlanError::at(format!("{path}.names"), unknown()))
}

fn names(keys: &mut Keys<'_>, table: Option<&PublishedSizes>) -> Result<Vec<String>, PlanError> {
    let Some(item) = keys.get("names") else {
        let all = |t: &PublishedSizes| t.sizes.iter().map(|(name, _)| (*name).to_owned()).collect();
        let missing = || PlanError::at(keys.path(), "names is missing; for example names = [\"S\", \"M\", \"L\"]");
        return table.map(all).ok_or_else(missing);
    };
    let wrong = |message: &str| PlanError::at(item.path.clone(), message);
    let list = item.list().ok_or_else(|| wrong("a list is expected, for example [\"S\", \"M\", \"L\"]"))?;
    let names = list.iter().map(|name| name.string("M")).collect::<Result<Vec<_>, _>>()?;
    if names.is_empty() || names.len() > MOST {
        return Err(wrong(&format!("1 to {MOST} sizes are accepted")));
    }
    match (1..names.len()).find(|i| names[..*i].contains(&names[*i])) {
        Some(twice) => Err(wrong(&format!("the size '{}' is there twice", names[twice]))),
        None => Ok(names),
    }
}

impl Sizes {
    /// Sizes of the user's own, without measures yet.
    fn own(names: Vec<String>) -> Self {
        Self { names, source: String::new(), of_children: false, measures: BTreeMap::new() }
    }

    /// One length a size: a list, the name of a measure, or one length for all.
    pub fn lengths(&self, item: &Item<'_>) -> Result<Vec<Length>, PlanError> {
        if let Some(list) = item.list() {
            self.check_number(list.len(), &item.path)?;
            return list.iter().map(Item::length).collect();
        }
        let name = item.string("head").unwrap_or_default();
        if let Some(measures) = self.measures.get(&name) {
            return Ok(measures.clone());
        }
        if name.starts_with(char::is_alphabetic) {
            let known: Vec<&str> = self.measures.keys().map(String::as_str).collect();
            let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
            let message =
                format!("'{name}' is neither a length such as 48 cm nor a measure of [sizes]; there: {known}");
            return Err(PlanError::at(item.path.clone(), message));
        }
        Ok(vec![item.length()?; self.names.len()])
    }

    /// One whole number a size: a list, or one number for all.
    pub fn counts(&self, item: &Item<'_>, most: u32) -> Result<Vec<u32>, PlanError> {
        match item.list() {
            Some(list) => {
                self.check_number(list.len(), &item.path)?;
                list.iter().map(|entry| entry.whole(1..=most)).collect()
            }
            None => Ok(vec![item.whole(1..=most)?; self.names.len()]),
        }
    }

    fn check_number(&self, given: usize, path: &str) -> Result<(), PlanError> {
        let wanted = self.names.len();
        if given == wanted {
            return Ok(());
        }
        Err(PlanError::at(
            path,
            format!("{given} values for {wanted} sizes; one value a size, or a single one, is accepted"),
        ))
    }
}
