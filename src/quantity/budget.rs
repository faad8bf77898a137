//! The uncertainty budget: the contributions of a value, the largest first.

use super::type_b::Shape;
use super::uncertain::{Contribution, Evaluation, Source, Uncertain};
use serde::{Deserialize, Serialize};

/// One line of a budget.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudgetLine {
    /// Where it comes from, with its signed standard contribution in the value's unit.
    #[serde(flatten)]
    pub contribution: Contribution,
    /// Signed standard contribution relative to the value's size, in per cent; `None` for a value of zero.
    pub relative_percent: Option<f64>,
    /// Part of the combined variance, 0 to 1.
    pub share: f64,
}

/// The contributions of one value, the largest first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Budget {
    /// The lines, by falling size.
    pub lines: Vec<BudgetLine>,
}

impl Budget {
    /// The budget of a value.
    pub fn of(value: &Uncertain) -> Self {
        let variance = value.standard_uncertainty().powi(2);
        let mut lines: Vec<_> = value
            .contributions
            .iter()
            .map(|c| BudgetLine {
                contribution: c.clone(),
                relative_percent: percent(c.standard, value.value),
                share: if variance > 0.0 { c.standard * c.standard / variance } else { 0.0 },
            })
            .collect();
        lines.sort_by(|a, b| b.share.total_cmp(&a.share));
        Self { lines }
    }
}

/// One line of the common budget of the two gauges, in per cent of each.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PairedBudgetLine {
    /// What it comes from.
    pub source: Source,
    /// How it was evaluated.
    pub evaluation: Evaluation,
    /// Signed standard contribution to the stitch gauge, in per cent; 0 where it has no part.
    pub stitches_percent: f64,
    /// Signed standard contribution to the row gauge, in per cent; 0 where it has no part.
    pub rows_percent: f64,
    /// Degrees of freedom, infinite (null in JSON) when the contribution is taken as known.
    #[serde(with = "super::degrees_of_freedom")]
    pub degrees_of_freedom: f64,
    /// Distribution of the influence.
    pub shape: Shape,
}

/// The budgets of stitches and rows side by side, a line a source, the largest first. `None` if one value is zero.
pub fn paired_budget(stitches: &Uncertain, rows: &Uncertain) -> Option<Vec<PairedBudgetLine>> {
    let mut lines: Vec<PairedBudgetLine> = Vec::new();
    for (value, is_row) in [(stitches, false), (rows, true)] {
        for c in &value.contributions {
            let relative = percent(c.standard, value.value)?;
            let line = line_of(&mut lines, c);
            if is_row {
                line.rows_percent = relative
            } else {
                line.stitches_percent = relative
            }
            line.degrees_of_freedom = line.degrees_of_freedom.min(c.degrees_of_freedom);
        }
    }
    let size = |l: &PairedBudgetLine| l.stitches_percent.hypot(l.rows_percent);
    lines.sort_by(|a, b| size(b).total_cmp(&size(a)));
    (stitches.value != 0.0 && rows.value != 0.0).then_some(lines)
}

/// The line of the contribution's source, new where there is none.
fn line_of<'a>(lines: &'a mut Vec<PairedBudgetLine>, c: &Contribution) -> &'a mut PairedBudgetLine {
    let at = lines.iter().position(|l| l.source == c.source).unwrap_or(lines.len());
    if at == lines.len() {
        lines.push(PairedBudgetLine {
            source: c.source.clone(),
            evaluation: c.evaluation,
            stitches_percent: 0.0,
            rows_percent: 0.0,
            degrees_of_freedom: c.degrees_of_freedom,
            shape: c.shape,
        });
    }
    &mut lines[at]
}

fn percent(standard: f64, value: f64) -> Option<f64> {
    (value != 0.0).then(|| 100.0 * standard / value.abs())
}
