//! Arguments of `walewise measure`, and those of them that `walewise class` has too → what the chain is told.

use super::input_file::{self, Kind};
use super::measure::MeasureArguments;
use super::{numbers, wishes};
use crate::gauge::RulerOn;
use crate::lattice::StitchPattern;
use crate::measure::Setup;
use crate::plane::{LensProfile, Span};
use crate::quantity::RulerClass;
use crate::ruler::RulerUnit;
use std::path::{Path, PathBuf};

/// How photos are measured, as it may be the same for many of them.
#[derive(clap::Args)]
pub struct PhotoArguments {
    /// What was knitted: stockinette, reverse-stockinette, garter, seed, rib-1x1, rib-2x2, or any name with --repeat
    #[arg(long, value_name = "NAME|auto", default_value = "auto")]
    stitch: String,

    /// The smallest block that repeats, stitches x rows, such as 4x2 (a garter ridge is two rows)
    #[arg(long, value_name = "AxB", value_parser = numbers::repeat)]
    repeat: Option<(u32, u32)>,

    /// What the ruler counts in
    #[arg(long, value_name = "auto|cm|inch", value_parser = ruler_unit, default_value = "auto")]
    ruler: UnitChoice,

    /// Take a printed grid of this pitch as the scale (squared paper, a cutting mat)
    #[arg(long, value_name = "MM", value_parser = numbers::length_mm, allow_hyphen_values = true)]
    grid: Option<f64>,

    /// Take the printed calibration card (walewise card) as the scale
    #[arg(long, conflicts_with_all = ["grid", "id1"])]
    card: bool,

    /// The card's check length (printed as 150 mm), as your ruler says
    #[arg(long, value_name = "MM", value_parser = numbers::card_length_mm, allow_hyphen_values = true, requires = "card")]
    card_length: Option<f64>,

    /// Take a card of bank card size (ISO/IEC 7810 ID-1), blank side up, as the scale; it is blanked in every picture
    #[arg(long, conflicts_with = "grid")]
    id1: bool,

    /// The lens as measured with walewise lens
    #[arg(long, value_name = "FILE")]
    pub(super) lens: Option<PathBuf>,

    /// Accuracy class of the ruler
    #[arg(long, value_name = "I|II|III", value_enum, ignore_case = true)]
    ruler_class: Option<ClassChoice>,

    /// Name of the ruler: measurements with the same ruler share its error, which is then in no difference between them
    #[arg(long, value_name = "NAME")]
    ruler_id: Option<String>,

    /// Thickness of the ruler
    #[arg(long, value_name = "MM", value_parser = numbers::thickness_mm, allow_hyphen_values = true)]
    ruler_thickness: Option<f64>,

    /// What the ruler lies on
    #[arg(long, value_name = "table|fabric", value_parser = ruler_on)]
    ruler_on: Option<RulerOn>,

    /// About what you expect, stitches x rows per 10 cm, such as 22x30; settles only between readings that fit equally
    #[arg(long, value_name = "SxR", value_parser = numbers::gauge, allow_hyphen_values = true)]
    expect: Option<(f64, f64)>,
}

/// `--ruler`: a unit, or read it from the marks.
#[derive(Debug, Clone, Copy)]
pub struct UnitChoice(pub Option<RulerUnit>);

fn ruler_unit(text: &str) -> Result<UnitChoice, String> {
    match text {
        "auto" => Ok(UnitChoice(None)),
        "cm" => Ok(UnitChoice(Some(RulerUnit::Cm))),
        "inch" => Ok(UnitChoice(Some(RulerUnit::Inch))),
        _ => Err("use auto, cm or inch".to_owned()),
    }
}

fn ruler_on(text: &str) -> Result<RulerOn, String> {
    match text {
        "table" => Ok(RulerOn::Table),
        "fabric" => Ok(RulerOn::Fabric),
        _ => Err("use table or fabric".to_owned()),
    }
}

/// `--ruler-class` as typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum ClassChoice {
    #[value(name = "I")]
    First,
    #[value(name = "II")]
    Second,
    #[value(name = "III")]
    Third,
}

impl From<ClassChoice> for RulerClass {
    fn from(choice: ClassChoice) -> Self {
        match choice {
            ClassChoice::First => Self::I,
            ClassChoice::Second => Self::II,
            ClassChoice::Third => Self::III,
        }
    }
}

/// What the chain is told; `Err` says in one line why the arguments make no sense.
pub fn from_arguments(arguments: &MeasureArguments) -> Result<Setup, String> {
    let (span, counted) = wishes::count_and_scale(arguments.counted, &arguments.span)?;
    if arguments.same_swatch && arguments.photos.len() < 2 {
        return Err("--same-swatch needs at least two photos of the swatch".to_owned());
    }
    Ok(Setup {
        row_direction_deg: arguments.axes,
        region: arguments.region,
        counted,
        wanted: wishes::wish(arguments.wanted, arguments.tolerance)?,
        ..arguments.how.setup(span)?
    })
}

impl PhotoArguments {
    /// What the chain is told by these, and by a span whose length is known; `Err` says in one line why they make no sense.
    pub(super) fn setup(&self, span: Option<Span>) -> Result<Setup, String> {
        self.check_one_scale(span.is_some())?;
        Ok(Setup {
            stitch: pattern(&self.stitch, self.repeat)?,
            ruler_unit: self.ruler.0,
            grid_mm: self.grid,
            card: self.card,
            card_length_mm: self.card_length,
            id1: self.id1,
            lens: self.lens.as_deref().map(lens).transpose()?,
            span,
            ruler_class: self.ruler_class.map(Into::into),
            ruler_id: self.ruler_id.clone(),
            ruler_thickness_mm: self.ruler_thickness,
            ruler_on: self.ruler_on,
            expected: self.expect,
            ..Setup::default()
        })
    }

    /// Only one thing can give the scale.
    fn check_one_scale(&self, span: bool) -> Result<(), String> {
        let others = [("--grid", self.grid.is_some()), ("--span", span), ("--card", self.card), ("--id1", self.id1)];
        let ruler = ("--ruler cm or inch", self.ruler.0.is_some());
        let mut given = [ruler].into_iter().chain(others).filter(|(_, given)| *given).map(|(name, _)| name);
        match (given.next(), given.next()) {
            (Some(first), Some(second)) => {
                Err(format!("{first} and {second} contradict each other: only one can give the scale"))
            }
            _ => Ok(()),
        }
    }
}

/// The lens profile in a file; `Err` says in one line what is wrong with it.
fn lens(path: &Path) -> Result<LensProfile, String> {
    let wrong = |what: String| format!("--lens {}: {what}", path.display());
    let text = input_file::text(path, Kind::LENS).map_err(wrong)?;
    LensProfile::from_json(&text).map_err(|e| wrong(e.to_string()))
}

/// The declared pattern: a known name, or any name with its repeat; `auto` leaves it open.
fn pattern(stitch: &str, repeat: Option<(u32, u32)>) -> Result<Option<StitchPattern>, String> {
    let name = stitch.trim().to_lowercase().replace(['_', ' '], "-");
    match (name.as_str(), repeat) {
        ("", _) => Err("--stitch is empty: name what was knitted".to_owned()),
        ("auto", None) => Ok(None),
        ("auto", Some(_)) => Err("--repeat needs --stitch NAME: any name will do".to_owned()),
        (name, repeat) => match (StitchPattern::named(name), repeat) {
            (Some(known), None) => Ok(Some(known)),
            (Some(known), Some(given)) if given == (known.repeat_stitches, known.repeat_rows) => Ok(Some(known)),
            (Some(known), Some((a, b))) => Err(format!(
                "{name} repeats over {}x{}, not {a}x{b}: leave --repeat out, or use another name",
                known.repeat_stitches, known.repeat_rows
            )),
            (None, Some((a, b))) => Ok(Some(StitchPattern::with_repeat(stitch.trim(), a, b))),
            (None, None) => Err(format!(
                "--stitch '{stitch}' is not a known pattern: add its --repeat AxB (stitches x rows), or use one of {}",
                StitchPattern::NAMED.map(|(n, _, _)| n).join(", ")
            )),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::pattern;
    use crate::lattice::StitchPattern;

    #[test]
    fn known_names_in_any_spelling() {
        assert_eq!(pattern("Rib_1x1", None), Ok(StitchPattern::named("rib-1x1")));
        assert_eq!(pattern("garter", Some((1, 2))), Ok(StitchPattern::named("garter")));
        assert_eq!(pattern("auto", None), Ok(None));
    }

    #[test]
    fn other_names_need_a_repeat() {
        assert_eq!(pattern("Basket Weave", Some((8, 8))), Ok(Some(StitchPattern::with_repeat("Basket Weave", 8, 8))));
        assert!(pattern("basket", None).unwrap_err().contains("stockinette, reverse-stockinette, garter"));
        assert!(pattern("auto", Some((2, 2))).is_err());
        assert!(pattern("garter", Some((2, 2))).is_err());
        assert!(pattern(" ", None).is_err());
    }
}
