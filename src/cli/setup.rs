//! Arguments of `walewise measure` → what the chain is told.

use super::input_file::{self, Kind};
use super::measure::MeasureArguments;
use super::wishes;
use crate::lattice::StitchPattern;
use crate::measure::Setup;
use crate::plane::LensProfile;
use crate::quantity::RulerClass;
use std::path::Path;

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
    let others = [
        ("--grid", arguments.grid.is_some()),
        ("--span", span.is_some()),
        ("--card", arguments.card),
        ("--id1", arguments.id1),
    ];
    let mut given = others.iter().filter(|(_, given)| *given).map(|(name, _)| name);
    let first = given.next();
    if let (Some(first), Some(second)) = (first, given.next()) {
        return Err(format!("{first} and {second} contradict each other: only one can give the scale"));
    }
    if arguments.same_swatch && arguments.photos.len() < 2 {
        return Err("--same-swatch needs at least two photos of the swatch".to_owned());
    }
    if let (true, Some(other)) = (arguments.ruler.0.is_some(), first) {
        return Err(format!("--ruler cm or inch and {other} contradict each other: only one can give the scale"));
    }
    Ok(Setup {
        stitch: pattern(&arguments.stitch, arguments.repeat)?,
        ruler_unit: arguments.ruler.0,
        grid_mm: arguments.grid,
        card: arguments.card,
        card_length_mm: arguments.card_length,
        id1: arguments.id1,
        lens: arguments.lens.as_deref().map(lens).transpose()?,
        span,
        row_direction_deg: arguments.axes,
        region: arguments.region,
        ruler_class: arguments.ruler_class.map(Into::into),
        ruler_id: arguments.ruler_id.clone(),
        ruler_thickness_mm: arguments.ruler_thickness,
        ruler_on: arguments.ruler_on,
        expected: arguments.expect,
        counted,
        wanted: wishes::wish(arguments.wanted, arguments.tolerance)?,
    })
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
