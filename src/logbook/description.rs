//! What is known of a swatch apart from its measurements, field by field.

use super::LONGEST_TEXT;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::fmt;

/// In which state the fabric was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Still on the needle.
    OnNeedle,
    /// Off the needle, not washed.
    OffNeedle,
    /// Steamed.
    Steamed,
    /// Washed and dried.
    Washed,
    /// Pinned out while drying.
    Pinned,
    /// Hung.
    Hung,
}

impl State {
    /// All states, in the order a swatch goes through them.
    pub const ALL: [Self; 6] = [Self::OnNeedle, Self::OffNeedle, Self::Steamed, Self::Washed, Self::Pinned, Self::Hung];

    /// The name that is typed and stored.
    pub fn name(self) -> &'static str {
        match self {
            Self::OnNeedle => "on-needle",
            Self::OffNeedle => "off-needle",
            Self::Steamed => "steamed",
            Self::Washed => "washed",
            Self::Pinned => "pinned",
            Self::Hung => "hung",
        }
    }

    /// The state of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.name() == name)
    }
}

/// How a fabric was worked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Worked {
    /// Back and forth.
    Flat,
    /// In the round.
    Round,
}

impl Worked {
    /// The name that is typed and stored.
    pub fn name(self) -> &'static str {
        match self {
            Self::Flat => "flat",
            Self::Round => "round",
        }
    }
}

/// What is known of a swatch; every part may be absent.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Description {
    /// Day it was knitted.
    pub made_on: Option<Date>,
    /// Who knitted it.
    pub knitter: Option<String>,
    /// The yarn, in words.
    pub yarn: Option<String>,
    /// What the yarn is made of.
    pub fibre: Option<String>,
    /// Weight category, in words or as a number.
    pub yarn_weight: Option<String>,
    /// Mass of one ball, in g.
    pub ball_g: Option<f64>,
    /// Length of yarn in one ball, in m.
    pub ball_m: Option<f64>,
    /// Dye lot.
    pub dye_lot: Option<String>,
    /// Diameter of the needle, in mm.
    pub needle_mm: Option<f64>,
    /// What the needle is made of.
    pub needle_material: Option<String>,
    /// Stitch pattern.
    pub stitch: Option<String>,
    /// Stitches in one repeat of it.
    pub repeat_stitches: Option<u32>,
    /// Rows in one repeat of it.
    pub repeat_rows: Option<u32>,
    /// Flat or in the round.
    pub worked: Option<Worked>,
    /// Anything else.
    pub note: Option<String>,
}

/// One part of a [`Description`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Field {
    /// [`Description::made_on`]
    MadeOn,
    /// [`Description::knitter`]
    Knitter,
    /// [`Description::yarn`]
    Yarn,
    /// [`Description::fibre`]
    Fibre,
    /// [`Description::yarn_weight`]
    YarnWeight,
    /// [`Description::ball_g`]
    BallG,
    /// [`Description::ball_m`]
    BallM,
    /// [`Description::dye_lot`]
    DyeLot,
    /// [`Description::needle_mm`]
    NeedleMm,
    /// [`Description::needle_material`]
    NeedleMaterial,
    /// [`Description::stitch`]
    Stitch,
    /// [`Description::repeat_stitches`]
    RepeatStitches,
    /// [`Description::repeat_rows`]
    RepeatRows,
    /// [`Description::worked`]
    Worked,
    /// [`Description::note`]
    Note,
}

/// The value of one part.
#[derive(Debug, Clone, PartialEq)]
pub enum FieldValue {
    /// Words, a date or a name out of a list.
    Text(String),
    /// A length or mass.
    Number(f64),
    /// A count.
    Whole(u32),
}

impl fmt::Display for FieldValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Text(text) => f.write_str(text),
            Self::Number(number) => write!(f, "{number}"),
            Self::Whole(count) => write!(f, "{count}"),
        }
    }
}

/// A value that a field can't have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldError {
    /// Name of the field.
    pub field: &'static str,
    /// What is wrong.
    pub message: String,
}

impl fmt::Display for FieldError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.field, self.message)
    }
}

impl Field {
    /// All fields in the order they are stored, shown and exported.
    pub const ALL: [Self; 15] = [
        Self::MadeOn,
        Self::Knitter,
        Self::Yarn,
        Self::Fibre,
        Self::YarnWeight,
        Self::BallG,
        Self::BallM,
        Self::DyeLot,
        Self::NeedleMm,
        Self::NeedleMaterial,
        Self::Stitch,
        Self::RepeatStitches,
        Self::RepeatRows,
        Self::Worked,
        Self::Note,
    ];

    /// Name of the column in the file and in tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::MadeOn => "made_on",
            Self::Knitter => "knitter",
            Self::Yarn => "yarn",
            Self::Fibre => "fibre",
            Self::YarnWeight => "yarn_weight",
            Self::BallG => "ball_g",
            Self::BallM => "ball_m",
            Self::DyeLot => "dye_lot",
            Self::NeedleMm => "needle_mm",
            Self::NeedleMaterial => "needle_material",
            Self::Stitch => "stitch",
            Self::RepeatStitches => "repeat_stitches",
            Self::RepeatRows => "repeat_rows",
            Self::Worked => "worked",
            Self::Note => "note",
        }
    }

    /// The field of that name; hyphens count as underscores.
    pub fn named(name: &str) -> Option<Self> {
        let name = name.replace('-', "_");
        Self::ALL.into_iter().find(|f| f.name() == name)
    }

    /// Whether its text is found by a search for words.
    pub fn is_words(self) -> bool {
        matches!(
            self,
            Self::Knitter
                | Self::Yarn
                | Self::Fibre
                | Self::YarnWeight
                | Self::DyeLot
                | Self::NeedleMaterial
                | Self::Stitch
                | Self::Note
        )
    }
}

impl Description {
    /// One field's value.
    pub fn get(&self, field: Field) -> Option<FieldValue> {
        let text = |t: &Option<String>| t.clone().map(FieldValue::Text);
        match field {
            Field::MadeOn => self.made_on.map(|d| FieldValue::Text(d.to_string())),
            Field::Knitter => text(&self.knitter),
            Field::Yarn => text(&self.yarn),
            Field::Fibre => text(&self.fibre),
            Field::YarnWeight => text(&self.yarn_weight),
            Field::BallG => self.ball_g.map(FieldValue::Number),
            Field::BallM => self.ball_m.map(FieldValue::Number),
            Field::DyeLot => text(&self.dye_lot),
            Field::NeedleMm => self.needle_mm.map(FieldValue::Number),
            Field::NeedleMaterial => text(&self.needle_material),
            Field::Stitch => text(&self.stitch),
            Field::RepeatStitches => self.repeat_stitches.map(FieldValue::Whole),
            Field::RepeatRows => self.repeat_rows.map(FieldValue::Whole),
            Field::Worked => self.worked.map(|w| FieldValue::Text(w.name().to_owned())),
            Field::Note => text(&self.note),
        }
    }

    /// Sets one field from text, as typed or as in a table; `None` or empty text clears it.
    pub fn set(&mut self, field: Field, text: Option<&str>) -> Result<(), FieldError> {
        let wrong = |message: &str| FieldError { field: field.name(), message: message.to_owned() };
        let text = text.filter(|t| !t.is_empty());
        let number = || -> Result<Option<f64>, FieldError> {
            let Some(text) = text else { return Ok(None) };
            let value: f64 = text.trim().parse().map_err(|_| wrong("not a number"))?;
            if value > 0.0 && value.is_finite() { Ok(Some(value)) } else { Err(wrong("not a number above 0")) }
        };
        let whole = || -> Result<Option<u32>, FieldError> {
            let Some(text) = text else { return Ok(None) };
            text.trim().parse().ok().filter(|n| *n > 0).map(Some).ok_or_else(|| wrong("not a whole number above 0"))
        };
        match field {
            Field::MadeOn => self.made_on = date(text).map_err(|m| wrong(&m))?,
            Field::Knitter => self.knitter = words(field, text)?,
            Field::Yarn => self.yarn = words(field, text)?,
            Field::Fibre => self.fibre = words(field, text)?,
            Field::YarnWeight => self.yarn_weight = words(field, text)?,
            Field::BallG => self.ball_g = number()?,
            Field::BallM => self.ball_m = number()?,
            Field::DyeLot => self.dye_lot = words(field, text)?,
            Field::NeedleMm => self.needle_mm = number()?,
            Field::NeedleMaterial => self.needle_material = words(field, text)?,
            Field::Stitch => self.stitch = words(field, text)?,
            Field::RepeatStitches => self.repeat_stitches = whole()?,
            Field::RepeatRows => self.repeat_rows = whole()?,
            Field::Worked => self.worked = worked(text).ok_or_else(|| wrong("use flat or round"))?,
            Field::Note => self.note = words(field, text)?,
        }
        Ok(())
    }

    /// Checks every field, for descriptions that came from a file: numbers positive and finite, texts not too long.
    pub fn check(&self) -> Result<(), FieldError> {
        Field::ALL.into_iter().try_for_each(|field| match self.get(field) {
            Some(FieldValue::Text(text)) => words(field, Some(&text)).map(drop),
            Some(FieldValue::Number(n)) if !(n > 0.0 && n.is_finite()) => {
                Err(FieldError { field: field.name(), message: "not a number above 0".to_owned() })
            }
            Some(FieldValue::Whole(0)) => {
                Err(FieldError { field: field.name(), message: "not a whole number above 0".to_owned() })
            }
            _ => Ok(()),
        })
    }
}

fn date(text: Option<&str>) -> Result<Option<Date>, String> {
    let Some(text) = text else { return Ok(None) };
    text.trim().parse().map(Some).map_err(|_| "not a date such as 2024-05-31".to_owned())
}

fn worked(text: Option<&str>) -> Option<Option<Worked>> {
    match text.map(str::trim) {
        None => Some(None),
        Some("flat") => Some(Some(Worked::Flat)),
        Some("round") => Some(Some(Worked::Round)),
        Some(_) => None,
    }
}

/// Text as it is kept: exactly as given.
fn words(field: Field, text: Option<&str>) -> Result<Option<String>, FieldError> {
    match text {
        Some(text) if text.chars().count() > LONGEST_TEXT => {
            Err(FieldError { field: field.name(), message: format!("longer than {LONGEST_TEXT} characters") })
        }
        text => Ok(text.map(str::to_owned)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_comes_back_as_it_was_set() {
        let samples = [
            "2024-05-31",
            "Ada",
            "grey lambswool 4-ply",
            "lambswool",
            "fine",
            "50",
            "225.5",
            "7",
            "3.25",
            "bamboo",
            "seed",
            "2",
            "4",
            "round",
            "a\nnote",
        ];
        let mut description = Description::default();
        for (field, sample) in Field::ALL.into_iter().zip(samples) {
            assert_eq!(description.get(field), None);
            description.set(field, Some(sample)).unwrap();
            assert_eq!(description.get(field).unwrap().to_string(), sample);
            assert_eq!(Field::named(&field.name().replace('_', "-")), Some(field));
        }
        assert_eq!(description.check(), Ok(()));
        let json = serde_json::to_string(&description).unwrap();
        assert_eq!(serde_json::from_str::<Description>(&json).unwrap(), description);
        Field::ALL.into_iter().for_each(|field| description.set(field, None).unwrap());
        assert_eq!(description, Description::default());
    }

    #[test]
    fn values_that_no_field_can_have() {
        let mut description = Description::default();
        for (field, text) in [
            (Field::MadeOn, "31.5.2024"),
            (Field::NeedleMm, "0"),
            (Field::NeedleMm, "NaN"),
            (Field::BallG, "1e999"),
            (Field::RepeatRows, "2.5"),
            (Field::Worked, "sideways"),
            (Field::Note, &"x".repeat(LONGEST_TEXT + 1)),
        ] {
            assert!(description.set(field, Some(text)).is_err(), "{field:?}");
        }
        assert_eq!(description, Description::default());
        description.needle_mm = Some(f64::INFINITY);
        assert!(description.check().is_err());
    }
}
