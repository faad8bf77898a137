//! The gauges a plan stands on.

use super::super::error::{PlanError, PlanProblem};
use super::super::request::{GaugeRequest, GaugeSource};
use super::super::result::GaugeNote;
use super::too_vague;
use crate::quantity::{Confidence, Contribution, Source, Uncertain, plus_minus};
use crate::record::Record;
use crate::sizing::{FabricGauge, FabricVariation, GaugeCount, GaugeLine, Length, Over, SwatchFacts, per_10cm};
use std::collections::BTreeMap;

/// One gauge, worked out.
pub struct Fabric {
    /// What was asked.
    pub request: GaugeRequest,
    /// What is calculated with.
    pub gauge: FabricGauge,
    /// What was knitted; empty where nobody said.
    pub stitch: String,
    /// Where it comes from, in words.
    source: String,
    /// What the measurement warns of, in words.
    pub cautions: Vec<String>,
    /// Area of the whole swatch in mm², where its measurement saw it. Its scale is the gauge's own, so in stitches it is
    /// surer than this: taken as independent it makes the yarn's interval rather too wide.
    pub swatch_area_mm2: Option<Uncertain>,
}

/// All of them, in the order of the request.
pub fn all(requests: &[GaugeRequest], records: &BTreeMap<String, Record>) -> Result<Vec<Fabric>, PlanProblem> {
    requests.iter().map(|request| one(request, records.get(&request.name))).collect()
}

fn one(request: &GaugeRequest, record: Option<&Record>) -> Result<Fabric, PlanProblem> {
    let mut cautions = Vec::new();
    let mut swatch_area_mm2 = None;
    let (mut gauge, source, recorded) = match &request.source {
        GaugeSource::Typed { stitches, rows, over } => {
            (typed(&request.name, *stitches, *rows, *over), typed_words(*stitches, *rows, *over), String::new())
        }
        GaugeSource::Measurement { file, .. } => {
            let missing = || PlanError::at(format!("{}.measurement", request.key), format!("'{file}' was not read"));
            let record = record.ok_or_else(missing)?;
            let gauge = FabricGauge::from_record(&request.name, record)
                .map_err(|e| PlanProblem::Inconclusive(format!("{}.measurement: {file}: {e}", request.key)))?;
            cautions.extend(record.cautions.iter().map(|c| c.message.clone()));
            swatch_area_mm2 = record.swatch.as_ref().and_then(|s| s.area_mm2.zip(s.area_standard_uncertainty_mm2)).map(
                |(area, standard)| {
                    Uncertain::exact(area)
                        .with(Contribution::stated(Source::named("area of the whole swatch"), standard))
                },
            );
            let pattern = record.stitch_pattern.as_ref().map(|p| p.pattern.name.clone()).unwrap_or_default();
            (gauge, format!("measured on {}", record.photo.file), pattern)
        }
    };
    if let Some(percent) = request.variation_percent {
        let stated = percent / 100.0;
        gauge.variation = FabricVariation { stitches: stated, rows: stated, known: true, ..gauge.variation };
    }
    gauge.between_fabrics = request.another_day_percent / 100.0;
    check_range(&gauge, &request.key)?;
    if too_vague(&gauge) {
        let message = format!(
            "{}: the gauge is known to a fifth at best: no count follows from it; count more stitches, or over a longer length",
            request.key
        );
        return Err(PlanProblem::Inconclusive(message));
    }
    let stitch = if request.stitch.is_empty() { recorded } else { request.stitch.clone() };
    Ok(Fabric { request: request.clone(), gauge, stitch, source, cautions, swatch_area_mm2 })
}

/// A gauge outside what hands can knit is a slip of the pen, or the wrong length behind `over`.
fn check_range(gauge: &FabricGauge, key: &str) -> Result<(), PlanError> {
    /// Finer than the finest hand knitting, and coarser than arm knitting (common practice, no source).
    const PER_10CM: std::ops::RangeInclusive<f64> = 0.5..=300.0;
    let axes = [("stitches", Some(&gauge.stitches_per_10cm)), ("rows", gauge.rows_per_10cm.as_ref())];
    for (name, value) in axes {
        if let Some(value) = value.filter(|v| !PER_10CM.contains(&v.value)) {
            let message = format!(
                "{:.4} {name} per 10 cm is no hand-knitted gauge; {} to {} are accepted",
                value.value,
                PER_10CM.start(),
                PER_10CM.end()
            );
            return Err(PlanError::at(format!("{key}.{name}"), message));
        }
    }
    Ok(())
}

fn typed(name: &str, stitches: GaugeCount, rows: Option<GaugeCount>, over: Over) -> FabricGauge {
    let source = |what: &str| Source::named(format!("{what} counted on the swatch, {name}"));
    FabricGauge {
        name: name.to_owned(),
        stitches_per_10cm: per_10cm(stitches, over, source("stitches")),
        rows_per_10cm: rows.map(|rows| per_10cm(rows, over, source("rows"))),
        variation: FabricVariation::usual(),
        between_fabrics: 0.0,
    }
}

fn typed_words(stitches: GaugeCount, rows: Option<GaugeCount>, over: Over) -> String {
    let count = |c: GaugeCount, what: &str| match c.half_width {
        Some(half) => format!("{} {what}", plus_minus(c.count, half)),
        None => format!("{} {what} (a bare count: ± half a stitch)", c.count),
    };
    let rows = rows.map_or_else(String::new, |rows| format!(" and {}", count(rows, "rows")));
    let over = match over {
        Over::TenCmOrFourInches => "10 cm (or 4 in)".to_owned(),
        Over::Length(Length::FOUR_INCHES) => "4 in (10.16 cm)".to_owned(),
        Over::Length(length) => format!("{} cm", length.mm() / 10.0),
    };
    format!("typed: {}{rows} over {over}", count(stitches, "stitches"))
}

impl Fabric {
    /// Whether it was stated over "10 cm / 4 in".
    pub fn ten_cm_taken(&self) -> bool {
        matches!(self.request.source, GaugeSource::Typed { over: Over::TenCmOrFourInches, .. })
    }

    /// Whether it is a rib.
    pub fn is_rib(&self) -> bool {
        self.stitch.to_lowercase().split(|c: char| !c.is_alphanumeric()).any(|word| word == "rib" || word == "ribbing")
    }

    /// Whether it is plain stockinette, the one fabric Munden's constants speak of.
    pub fn is_stockinette(&self) -> bool {
        self.stitch.trim().eq_ignore_ascii_case("stockinette")
    }

    /// What cautions go by.
    pub fn facts(&self) -> SwatchFacts {
        SwatchFacts {
            gauge: self.gauge.name.clone(),
            round: self.request.round,
            washed: self.request.washed,
            rib: self.is_rib(),
            relaxed: !self.request.stretched,
            variation_known: self.gauge.variation.known,
        }
    }

    /// What the plan says of it.
    pub fn note(&self) -> GaugeNote {
        let side = Length::TEN_CM.mm();
        let next = |value: Uncertain| value.expanded(Confidence::P95);
        GaugeNote {
            name: self.gauge.name.clone(),
            source: self.source.clone(),
            stitch: self.stitch.clone(),
            stitches_per_10cm: next(self.gauge.stitches_over(side, side, "10 × 10 cm")),
            rows_per_10cm: self.gauge.rows_over(side, side, "10 × 10 cm").map(next),
            variation: self.gauge.variation,
            lines: [Length::TEN_CM, Length::FOUR_INCHES]
                .iter()
                .filter_map(|l| GaugeLine::of(&self.gauge, *l))
                .collect(),
            ten_cm_taken: self.ten_cm_taken(),
        }
    }
}
