//! Keys and values of a plan file, each with its path; what is not asked for is an unknown key.

use super::super::error::PlanError;
use crate::sizing::{Length, LengthUnit};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use toml::de::{DeTable, DeValue};

/// No plan has more of anything: pieces, parts, steps, rows to space, counts of a pattern, gauges (a stated choice).
pub const MOST_TABLES: usize = 200;

/// One table of the file while it is read.
pub struct Keys<'t> {
    table: &'t DeTable<'t>,
    path: String,
    unit: LengthUnit,
    asked: Vec<&'static str>,
}

/// One value of the file.
#[derive(Clone)]
pub struct Item<'t> {
    value: &'t DeValue<'t>,
    /// Its path.
    pub path: String,
    unit: LengthUnit,
}

impl<'t> Keys<'t> {
    /// The table at a path; bare lengths are in `unit`.
    pub fn new(table: &'t DeTable<'t>, path: String, unit: LengthUnit) -> Self {
        Self { table, path, unit, asked: Vec::new() }
    }

    /// Path of the table.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Path of a key of the table.
    pub fn path_of(&self, key: &str) -> String {
        join(&self.path, key)
    }

    /// Bare lengths are in this unit from now on.
    pub fn set_unit(&mut self, unit: LengthUnit) {
        self.unit = unit;
    }

    /// The value of a key, if it is there.
    pub fn get(&mut self, key: &'static str) -> Option<Item<'t>> {
        if !self.asked.contains(&key) {
            self.asked.push(key);
        }
        let value = self.table.get(key)?.get_ref();
        Some(Item { value, path: self.path_of(key), unit: self.unit })
    }

    /// The value of a key that must be there.
    pub fn need(&mut self, key: &'static str, example: &str) -> Result<Item<'t>, PlanError> {
        self.get(key)
            .ok_or_else(|| PlanError::at(self.path.clone(), format!("{key} is missing; for example {example}")))
    }

    /// All keys whose names the user chooses, in the order of the file.
    pub fn named(&mut self) -> Vec<(String, Item<'t>)> {
        let mut entries: Vec<_> = self.table.iter().collect();
        entries.sort_by_key(|(key, _)| key.span().start);
        entries
            .into_iter()
            .map(|(key, value)| {
                let path = self.path_of(key.get_ref());
                (key.get_ref().to_string(), Item { value: value.get_ref(), path, unit: self.unit })
            })
            .collect()
    }

    /// Complains about the first key nobody asked for.
    pub fn finish(self) -> Result<(), PlanError> {
        let unknown = self.table.iter().filter(|(key, _)| !self.asked.contains(&key.get_ref().as_ref()));
        match unknown.min_by_key(|(key, _)| key.span().start) {
            None => Ok(()),
            Some((key, _)) => {
                let message = format!("unknown key; accepted here: {}", self.asked.join(", "));
                Err(PlanError::at(join(&self.path, key.get_ref()), message))
            }
        }
    }
}

impl<'t> Item<'t> {
    fn wrong(&self, wanted: &str) -> PlanError {
        PlanError::at(self.path.clone(), format!("{} is not accepted here; {wanted}", self.words()))
    }

    /// The value as the user wrote it, more or less.
    fn words(&self) -> String {
        match self.value {
            DeValue::Array(_) => "a list".to_owned(),
            DeValue::Table(_) => "a table".to_owned(),
            _ => self.text().map_or_else(|| "this".to_owned(), |t| format!("'{t}'")),
        }
    }

    /// Text, or a number as it is written.
    fn text(&self) -> Option<String> {
        match self.value {
            DeValue::String(text) => Some(text.to_string()),
            DeValue::Integer(number) if number.radix() == 10 => Some(number.as_str().to_owned()),
            DeValue::Float(number) => Some(number.as_str().to_owned()),
            DeValue::Boolean(flag) => Some(flag.to_string()),
            _ => None,
        }
    }

    /// Whether it is a whole number, or a list that begins with one.
    pub fn is_whole(&self) -> bool {
        match self.value {
            DeValue::Array(list) => list.first().is_some_and(|v| v.get_ref().is_integer()),
            value => value.is_integer(),
        }
    }

    /// A table.
    pub fn keys(&self) -> Result<Keys<'t>, PlanError> {
        match self.value {
            DeValue::Table(table) => Ok(Keys::new(table, self.path.clone(), self.unit)),
            _ => Err(self.wrong("a table with keys of its own is expected")),
        }
    }

    /// The tables of an array of tables, [`MOST_TABLES`] at most.
    pub fn tables(&self) -> Result<Vec<Keys<'t>>, PlanError> {
        let wanted = || self.wrong(&format!("write [[{}]]: there may be several", self.path.replace("[1]", "")));
        let list = self.list().ok_or_else(wanted)?;
        if list.len() > MOST_TABLES {
            let message = format!("{} of them; at most {MOST_TABLES} are accepted", list.len());
            return Err(PlanError::at(self.path.clone(), message));
        }
        list.iter().map(Self::keys).collect()
    }

    /// The values of a list; `None` for a single value. Entries are counted from 1.
    pub fn list(&self) -> Option<Vec<Self>> {
        let DeValue::Array(list) = self.value else { return None };
        let entry = |(i, value): (usize, &'t toml::Spanned<DeValue<'t>>)| Item {
            value: value.get_ref(),
            path: format!("{}[{}]", self.path, i + 1),
            unit: self.unit,
        };
        Some(list.iter().enumerate().map(entry).collect())
    }

    /// Text in quotation marks, not empty.
    pub fn string(&self, example: &str) -> Result<String, PlanError> {
        match self.value {
            DeValue::String(text) if !text.trim().is_empty() => Ok(text.trim().to_owned()),
            _ => Err(self.wrong(&format!("text is expected, for example \"{example}\""))),
        }
    }

    /// `true` or `false`.
    pub fn flag(&self) -> Result<bool, PlanError> {
        self.value.as_bool().ok_or_else(|| self.wrong("true or false is accepted"))
    }

    /// A whole number within a range.
    pub fn whole(&self, range: RangeInclusive<u32>) -> Result<u32, PlanError> {
        let number = self.value.as_integer().and_then(|n| u32::from_str_radix(n.as_str(), n.radix()).ok());
        let wanted = || self.wrong(&format!("a whole number from {} to {} is", range.start(), range.end()));
        number.filter(|n| range.contains(n)).ok_or_else(wanted)
    }

    /// A number within a range.
    pub fn number(&self, range: RangeInclusive<f64>) -> Result<f64, PlanError> {
        let number = match self.value {
            DeValue::Integer(_) | DeValue::Float(_) => self.text().and_then(|t| t.parse::<f64>().ok()),
            _ => None,
        };
        let wanted = || self.wrong(&format!("a number from {} to {} is", range.start(), range.end()));
        number.filter(|n| range.contains(n)).ok_or_else(wanted)
    }

    /// One of several words.
    pub fn choice<T: Copy>(&self, choices: &[(&str, T)]) -> Result<T, PlanError> {
        let wanted = || {
            let names: Vec<String> = choices.iter().map(|(name, _)| format!("\"{name}\"")).collect();
            self.wrong(&format!("one of {} is", names.join(", ")))
        };
        let text = self.value.as_str().map(str::trim).ok_or_else(wanted)?;
        choices.iter().find(|(name, _)| *name == text).map(|(_, value)| *value).ok_or_else(wanted)
    }

    /// Anything that is read from text or a bare number, with the reader's own message.
    pub fn parsed<T>(&self, parse: impl Fn(&str, LengthUnit) -> Result<T, String>) -> Result<T, PlanError> {
        let text = self.text().ok_or_else(|| self.wrong("a number or text is expected"))?;
        parse(&text, self.unit).map_err(|message| PlanError::at(self.path.clone(), message))
    }

    /// A length of more than nothing.
    pub fn length(&self) -> Result<Length, PlanError> {
        let length = self.parsed(Length::parse)?;
        if length.is_positive() { Ok(length) } else { Err(self.wrong("a length of more than 0 is")) }
    }

    /// A length that may be nothing.
    pub fn length_or_none(&self) -> Result<Length, PlanError> {
        let length = self.parsed(Length::parse)?;
        if length >= Length::ZERO { Ok(length) } else { Err(self.wrong("a length of 0 or more is")) }
    }
}

fn join(path: &str, key: &str) -> String {
    if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") }
}

/// The line of every key of the file, by path.
pub fn lines(text: &str, table: &DeTable<'_>) -> BTreeMap<String, usize> {
    let starts: Vec<usize> = std::iter::once(0).chain(text.match_indices('\n').map(|(i, _)| i + 1)).collect();
    let mut found = BTreeMap::new();
    collect(table, "", &starts, &mut found);
    found
}

/// Line of a byte of the text, from 1.
pub fn line_of(text: &str, byte: usize) -> usize {
    text.bytes().take(byte).filter(|b| *b == b'\n').count() + 1
}

fn collect(table: &DeTable<'_>, path: &str, starts: &[usize], found: &mut BTreeMap<String, usize>) {
    for (key, value) in table {
        let path = join(path, key.get_ref());
        found.insert(path.clone(), starts.partition_point(|s| *s <= key.span().start));
        match value.get_ref() {
            DeValue::Table(inner) => collect(inner, &path, starts, found),
            DeValue::Array(list) => {
                for (i, entry) in list.iter().enumerate() {
                    let path = format!("{path}[{}]", i + 1);
                    found.insert(path.clone(), starts.partition_point(|s| *s <= entry.span().start));
                    if let DeValue::Table(inner) = entry.get_ref() {
                        collect(inner, &path, starts, found);
                    }
                }
            }
            _ => {}
        }
    }
}
