//! What the page's controls say (JSON) → what the chain is told.

use serde::Deserialize;
use walewise::gauge::{Counted, CountedBetween, RulerOn, USUAL_TOLERANCE, Wanted};
use walewise::lattice::StitchPattern;
use walewise::measure::Setup;
use walewise::plane::Span;
use walewise::quantity::{PhotoPoint, RulerClass};
use walewise::ruler::RulerUnit;

/// How surely a person places an end of a span, in px: as on the command line.
const SPAN_END_PX: f64 = 1.0;

/// The page's settings; anything may be missing. Names and units are those of the command's options.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Settings {
    /// Name of the stitch pattern.
    stitch: Option<String>,
    /// Stitches and rows of its repeat.
    repeat: Option<(u32, u32)>,
    /// What the ruler counts in.
    ruler: Option<RulerUnit>,
    /// Pitch of a printed grid, in mm.
    grid: Option<f64>,
    /// Whether the printed calibration card gives the scale.
    card: bool,
    /// Its check length as measured, in mm.
    card_length: Option<f64>,
    /// Whether a card of bank card size gives the scale.
    id1: bool,
    /// Two points and the length between them.
    span: Option<TypedSpan>,
    /// Direction of the rows, in degrees.
    axes: Option<f64>,
    /// Left, top, width, height, in px.
    region: Option<[f64; 4]>,
    /// Accuracy class of the ruler.
    ruler_class: Option<RulerClass>,
    /// Name of the ruler.
    ruler_id: Option<String>,
    /// Thickness of the ruler, in mm.
    ruler_thickness: Option<f64>,
    /// What the ruler lies on.
    ruler_on: Option<RulerOn>,
    /// Expected gauge, per 10 cm.
    expect: Option<(f64, f64)>,
    /// Stitches and rows that were counted: between the ends of the span, else between `corners`, else over the whole
    /// swatch.
    counted: Option<(f64, f64)>,
    /// Opposite corners of what was counted.
    corners: Option<[[f64; 2]; 2]>,
    /// Wanted gauge, per 10 cm.
    wanted: Option<(f64, f64)>,
    /// How far from it still matches.
    tolerance: Option<(f64, f64)>,
}

/// Two photo points and a length.
#[derive(Debug, Deserialize)]
struct TypedSpan {
    from: [f64; 2],
    to: [f64; 2],
    mm: f64,
}

/// Reads the settings; `Err` says in words what is wrong with them.
pub fn read(json: &str) -> Result<Setup, String> {
    let settings: Settings = serde_json::from_str(json).map_err(|e| format!("settings: {e}"))?;
    settings.check()?;
    let counted = settings.counted();
    Ok(Setup {
        stitch: pattern(settings.stitch.as_deref(), settings.repeat)?,
        ruler_unit: settings.ruler,
        grid_mm: settings.grid,
        card: settings.card,
        card_length_mm: settings.card_length,
        id1: settings.id1,
        span: settings.span.as_ref().map(span).transpose()?,
        row_direction_deg: settings.axes,
        region: settings.region,
        ruler_class: settings.ruler_class,
        ruler_id: settings.ruler_id,
        ruler_thickness_mm: settings.ruler_thickness,
        ruler_on: settings.ruler_on,
        expected: settings.expect,
        counted,
        wanted: settings.wanted.map(|(stitches_per_10cm, rows_per_10cm)| Wanted {
            stitches_per_10cm,
            rows_per_10cm,
            tolerance: settings.tolerance.unwrap_or(USUAL_TOLERANCE),
        }),
        ..Setup::default()
    })
}

impl Settings {
    /// The ranges of the command line.
    fn check(&self) -> Result<(), String> {
        let within = |what: &str, value: Option<f64>, low: f64, high: f64| match value {
            Some(v) if !(low..=high).contains(&v) => Err(format!("{what}: {v} is not between {low} and {high}")),
            _ => Ok(()),
        };
        within("grid", self.grid, 0.01, 10_000.0)?;
        within("card length", self.card_length, 120.0, 180.0)?;
        within("ruler thickness", self.ruler_thickness, 0.0, 50.0)?;
        within("span", self.span.as_ref().map(|s| s.mm), 0.01, 10_000.0)?;
        for (what, pair) in [("expected gauge", self.expect), ("wanted gauge", self.wanted)] {
            within(what, pair.map(|p| p.0), 0.5, 300.0)?;
            within(what, pair.map(|p| p.1), 0.5, 300.0)?;
        }
        within("stitches counted", self.counted.map(|c| c.0), 1.0, 1000.0)?;
        within("rows counted", self.counted.map(|c| c.1), 1.0, 1000.0)?;
        within("tolerance", self.tolerance.map(|t| t.0), 1e-6, 20.0)?;
        within("tolerance", self.tolerance.map(|t| t.1), 1e-6, 20.0)?;
        let scales = [self.grid.is_some(), self.card, self.id1, self.span.is_some(), self.ruler.is_some()];
        if scales.iter().filter(|given| **given).count() > 1 {
            return Err("only one thing can give the scale".to_owned());
        }
        Ok(())
    }

    fn counted(&self) -> Option<Counted> {
        let (stitches, rows) = self.counted?;
        let corners = self.span.as_ref().map(|s| [s.from, s.to]).or(self.corners);
        let between = corners.map_or(CountedBetween::Edges, |ends| CountedBetween::Corners(ends.map(point)));
        Some(Counted { stitches, rows, between })
    }
}

fn point(p: [f64; 2]) -> PhotoPoint {
    PhotoPoint::new(p[0], p[1])
}

fn span(typed: &TypedSpan) -> Result<Span, String> {
    let (from, to) = (point(typed.from), point(typed.to));
    if from.distance(to) < 1.0 {
        return Err("the two points are less than a pixel apart".to_owned());
    }
    Ok(Span { from, to, length_mm: typed.mm, sigma_px: SPAN_END_PX })
}

fn pattern(name: Option<&str>, repeat: Option<(u32, u32)>) -> Result<Option<StitchPattern>, String> {
    const LARGEST: u32 = 500;
    let Some(name) = name.map(str::trim).filter(|name| !name.is_empty()) else { return Ok(None) };
    match (StitchPattern::named(name), repeat) {
        (Some(known), _) => Ok(Some(known)),
        (None, Some((a, b))) if (1..=LARGEST).contains(&a) && (1..=LARGEST).contains(&b) => {
            Ok(Some(StitchPattern::with_repeat(name, a, b)))
        }
        (None, _) => Err(format!("{name}: its repeat is missing (stitches and rows, 1 to {LARGEST})")),
    }
}
