//! One measured photo as a line of a table.

use crate::photo_sets::TruePhoto;
use std::path::Path;
use walewise::record::{Record, Status};

/// Head of the table.
pub const HEAD: &str = "id,source,varied,difficulty,status,ruler_error,true_stitches,true_rows,stitches,rows,u_stitches,u_rows,half_width_stitches,half_width_rows";

/// What came of one photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub id: String,
    /// `synthetic`, or the name of a photo set.
    pub source: String,
    pub varied: String,
    pub difficulty: String,
    /// `measured`, a refusal's code, or `unreadable`.
    pub status: String,
    /// Relative error of the ruler that was drawn for it.
    pub ruler_error: f64,
    pub truth: [f64; 2],
    /// Stitches and rows per 10 cm, their standard uncertainties and half-widths; zeros unless measured.
    pub value: [f64; 2],
    pub standard: [f64; 2],
    pub half_width: [f64; 2],
}

impl Row {
    /// From an answer; `None` for photos without a true gauge.
    pub fn of(id: &str, source: &str, varied: &str, photo: &TruePhoto, answer: &Record) -> Option<Self> {
        let mut row = Self {
            id: id.to_owned(),
            source: source.to_owned(),
            varied: varied.to_owned(),
            difficulty: photo.truth["difficulty"].as_str().unwrap_or("").to_owned(),
            status: "unreadable".to_owned(),
            ruler_error: photo.ruler_error(),
            truth: photo.gauge()?,
            value: [0.0; 2],
            standard: [0.0; 2],
            half_width: [0.0; 2],
        };
        if let Some(refusal) = &answer.refusal {
            let code = serde_json::to_value(refusal.code).expect("a code is JSON");
            row.status = code.as_str().unwrap_or("refused").to_owned();
        }
        if let (Status::Measured, Some(gauge)) = (answer.status, &answer.gauge) {
            let axes = [gauge.stitches_per_10cm, gauge.rows_per_10cm];
            row.status = "measured".to_owned();
            row.value = axes.map(|a| a.value);
            row.standard = axes.map(|a| a.standard_uncertainty);
            row.half_width = axes.map(|a| a.expanded_uncertainty);
        }
        Some(row)
    }

    pub fn measured(&self) -> bool {
        self.status == "measured"
    }

    /// Error of one axis, relative to the value that the drawn ruler would give.
    pub fn error(&self, axis: usize) -> f64 {
        self.value[axis] / (self.truth[axis] * (1.0 + self.ruler_error)) - 1.0
    }

    pub fn line(&self) -> String {
        let numbers: Vec<String> = [self.truth, self.value, self.standard, self.half_width]
            .iter()
            .flatten()
            .map(|v| format!("{v:.5}"))
            .collect();
        format!(
            "{},{},{},{},{},{:.6},{}",
            self.id,
            self.source,
            self.varied,
            self.difficulty,
            self.status,
            self.ruler_error,
            numbers.join(",")
        )
    }

    fn parse(line: &str) -> Option<Self> {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |k: usize| cells.get(k)?.parse::<f64>().ok();
        let pair = |k: usize| Some([number(k)?, number(k + 1)?]);
        let text = |k: usize| cells.get(k).map(|c| (*c).to_owned());
        Some(Self {
            id: text(0)?,
            source: text(1)?,
            varied: text(2)?,
            difficulty: text(3)?,
            status: text(4)?,
            ruler_error: number(5)?,
            truth: pair(6)?,
            value: pair(8)?,
            standard: pair(10)?,
            half_width: pair(12)?,
        })
    }
}

/// The rows of a table that was begun before; none where there is no file.
pub fn read(path: &Path) -> Vec<Row> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    text.lines().skip(1).filter_map(Row::parse).collect()
}
