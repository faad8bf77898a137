//! The gauges a plan stands on.

use super::super::error::{PlanError, PlanProblem};
use super::super::provided::{self, Provided};
use super::super::request::{GaugeRequest, GaugeSource};
use super::super::result::GaugeNote;
use crate::quantity::{Confidence, Source, Uncertain, plus_minus};
use crate::sizing::{
    FabricGauge, FabricVariation, GaugeCount, GaugeLine, Length, Over, SwatchFacts, TriedNeedles, per_10cm,
};
use std::collections::BTreeMap;

/// One gauge, worked out.
pub struct Fabric {
    /// What is calculated with.
    pub gauge: FabricGauge,
    /// Where it comes from, in words.
    source: String,
    /// What was knitted; empty where nobody said.
    pub stitch: String,
    /// Whether the swatch was knitted in the round.
    round: Option<bool>,
    /// Whether it was washed and dried as the piece will be.
    washed: Option<bool>,
    /// Whether it was measured stretched as worn.
    stretched: bool,
    /// What the measurement warns of, in words.
    pub cautions: Vec<String>,
    /// Area of the whole swatch in mm², where its measurement saw it.
    pub swatch_area_mm2: Option<Uncertain>,
    /// Swatches of the same fabric on other needles.
    pub needles: Option<TriedNeedles>,
    /// Whether it was stated over "10 cm / 4 in", and 10 cm was taken.
    pub ten_cm_taken: bool,
}

/// All of them, in the order of the request.
pub fn all(requests: &[GaugeRequest], provided: &BTreeMap<String, Provided>) -> Result<Vec<Fabric>, PlanProblem> {
    requests.iter().map(|request| one(request, provided.get(&request.name))).collect()
}

fn one(request: &GaugeRequest, provided: Option<&Provided>) -> Result<Fabric, PlanProblem> {
    let mut fabric = known(request, provided)?;
    if let Some(percent) = request.variation_percent {
        let stated = percent / 100.0;
        let variation = fabric.gauge.variation;
        fabric.gauge.variation = FabricVariation { stitches: stated, rows: stated, known: true, ..variation };
    }
    fabric.gauge.between_fabrics = request.another_day_percent / 100.0;
    let rows_per_10cm = fabric.gauge.rows_per_10cm.as_ref().map(|rows| rows.value);
    check_range(fabric.gauge.stitches_per_10cm.value, rows_per_10cm, &request.key)?;
    if too_vague(&fabric.gauge) {
        let message = format!(
            "{}: the gauge of the next piece is known to a fifth at best: no count follows from it; count more stitches, or over a longer length",
            request.key
        );
        return Err(PlanProblem::Inconclusive(message));
    }
    // What the plan file says goes before what was kept.
    if !request.stitch.is_empty() {
        fabric.stitch.clone_from(&request.stitch);
    }
    fabric.round = request.round.or(fabric.round);
    fabric.washed = request.washed.or(fabric.washed);
    fabric.stretched |= request.stretched;
    Ok(fabric)
}

/// A gauge so vague that it tells nothing: the 95 % interval of the next 10 × 10 cm reaches further than a fifth either way
/// (the measurement refuses at the same point).
fn too_vague(gauge: &FabricGauge) -> bool {
    const TELLS_NOTHING: f64 = 0.2;
    let vague = |value: Uncertain| value.expanded(Confidence::P95).relative().is_none_or(|r| r > TELLS_NOTHING);
    let (stitches, rows) = gauge.of_next_ten_cm();
    vague(stitches) || rows.is_some_and(vague)
}

fn known(request: &GaugeRequest, provided: Option<&Provided>) -> Result<Fabric, PlanProblem> {
    match (&request.source, provided) {
        (GaugeSource::Typed { stitches, rows, over }, _) => {
            let gauge = typed(&request.name, *stitches, *rows, *over);
            let ten_cm_taken = *over == Over::TenCmOrFourInches;
            Ok(Fabric { ten_cm_taken, ..Fabric::of(gauge, typed_words(*stitches, *rows, *over)) })
        }
        (GaugeSource::Measurement { file, .. }, Some(Provided::Record(record))) => {
            let gauge = FabricGauge::from_record(&request.name, record)
                .map_err(|e| PlanProblem::Inconclusive(format!("{}.measurement: {file}: {e}", request.key)))?;
            Ok(Fabric {
                stitch: record.stitch_pattern.as_ref().map(|p| p.pattern.name.clone()).unwrap_or_default(),
                cautions: provided::warnings(record),
                swatch_area_mm2: provided::swatch_area_mm2(record),
                ..Fabric::of(gauge, format!("measured on {}", record.photo.file))
            })
        }
        (GaugeSource::Logged { .. }, Some(Provided::Swatch(swatch))) => Ok(Fabric {
            stitch: swatch.stitch.clone(),
            round: swatch.round,
            washed: swatch.washed,
            stretched: swatch.stretched,
            cautions: swatch.cautions.clone(),
            swatch_area_mm2: swatch.area_mm2.clone(),
            needles: swatch.needles.clone(),
            ..Fabric::of(FabricGauge::from_measured(&request.name, swatch.gauge.clone()), swatch.words.clone())
        }),
        (GaugeSource::Measurement { file, .. }, _) => {
            Err(PlanError::at(format!("{}.measurement", request.key), format!("'{file}' was not read")).into())
        }
        (GaugeSource::Logged { swatch, .. }, _) => {
            Err(PlanError::at(format!("{}.swatch", request.key), format!("swatch {swatch} was not looked up")).into())
        }
    }
}

impl Fabric {
    /// A gauge of which no more is known.
    fn of(gauge: FabricGauge, source: String) -> Self {
        Self {
            gauge,
            source,
            stitch: String::new(),
            round: None,
            washed: None,
            stretched: false,
            cautions: Vec::new(),
            swatch_area_mm2: None,
            needles: None,
            ten_cm_taken: false,
        }
    }
}

/// A gauge outside what hands can knit is a slip of the pen, or the wrong length behind `over`; `key` is its table.
pub fn check_range(stitches_per_10cm: f64, rows_per_10cm: Option<f64>, key: &str) -> Result<(), PlanError> {
    /// Finer than the finest hand knitting, and coarser than arm knitting (common practice, no source).
    const PER_10CM: std::ops::RangeInclusive<f64> = 0.5..=300.0;
    for (name, value) in [("stitches", Some(stitches_per_10cm)), ("rows", rows_per_10cm)] {
        if let Some(value) = value.filter(|value| !PER_10CM.contains(value)) {
            let shown = if (1e-3..1e6).contains(&value) { format!("{value:.4}") } else { format!("{value:e}") };
            let (least, most) = (PER_10CM.start(), PER_10CM.end());
            let message = format!("{shown} {name} per 10 cm is no hand-knitted gauge; {least} to {most} are accepted");
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
    /// Whether it is a rib.
    pub fn is_rib(&self) -> bool {
        self.stitch
            .to_lowercase()
            .split(|c: char| !c.is_alphanumeric())
            .any(|word| ["rib", "ribs", "ribbed", "ribbing"].contains(&word))
    }

    /// Whether it is plain stockinette, the one fabric Munden's constants speak of.
    pub fn is_stockinette(&self) -> bool {
        self.stitch.trim().eq_ignore_ascii_case("stockinette")
    }

    /// What cautions go by.
    pub fn facts(&self) -> SwatchFacts {
        SwatchFacts {
            gauge: self.gauge.name.clone(),
            round: self.round,
            washed: self.washed,
            rib: self.is_rib(),
            relaxed: !self.stretched,
            variation_known: self.gauge.variation.known,
        }
    }

    /// What the plan says of it.
    pub fn note(&self) -> GaugeNote {
        let (stitches, rows) = self.gauge.of_next_ten_cm();
        GaugeNote {
            name: self.gauge.name.clone(),
            source: self.source.clone(),
            stitch: self.stitch.clone(),
            stitches_per_10cm: stitches.expanded(Confidence::P95),
            rows_per_10cm: rows.map(|rows| rows.expanded(Confidence::P95)),
            variation: self.gauge.variation,
            lines: [Length::TEN_CM, Length::FOUR_INCHES]
                .iter()
                .filter_map(|l| GaugeLine::of(&self.gauge, *l))
                .collect(),
            ten_cm_taken: self.ten_cm_taken,
        }
    }
}
