//! What can be wrong with a plan.

use std::collections::BTreeMap;
use std::fmt;

/// A mistake in what was asked: which key, and what would be accepted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanError {
    /// Path of the key, such as `piece[1].part[2].multiple`, counted from 1; empty for the file as a whole.
    pub key: String,
    /// Line of the plan file, from 1; `None` where it is not known (or there is no file).
    pub line: Option<usize>,
    /// What is wrong, and what would be accepted.
    pub message: String,
}

impl PlanError {
    /// A mistake at a key.
    pub fn at(key: impl Into<String>, message: impl Into<String>) -> Self {
        Self { key: key.into(), line: None, message: message.into() }
    }

    /// The same with the line of its key, or of the nearest table that holds it.
    pub fn located(mut self, lines: &BTreeMap<String, usize>) -> Self {
        let mut key = self.key.as_str();
        while self.line.is_none() && !key.is_empty() {
            self.line = lines.get(key).copied();
            key = key.rfind(['.', '[']).map_or("", |end| &key[..end]);
        }
        self
    }
}

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        if !self.key.is_empty() {
            write!(f, "{}: ", self.key)?;
        }
        f.write_str(&self.message)
    }
}

/// Why a request gives no plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PlanProblem {
    /// What was asked makes no sense.
    Input(PlanError),
    /// What is known does not allow an honest answer.
    Inconclusive(String),
}

impl From<PlanError> for PlanProblem {
    fn from(error: PlanError) -> Self {
        Self::Input(error)
    }
}

impl fmt::Display for PlanProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => error.fmt(f),
            Self::Inconclusive(message) => f.write_str(message),
        }
    }
}
