//! What is said of a swatch and of the state it was measured in, as arguments.

use super::{Ended, today};
use crate::cli::numbers;
use crate::logbook::{Description, Field, LONGEST_TEXT, State, Worked};
use jiff::civil::Date;
use std::collections::BTreeSet;

/// What is known of a swatch.
#[derive(clap::Args)]
#[command(next_help_heading = "What the swatch is")]
pub struct AboutArguments {
    /// The yarn, in your own words
    #[arg(long, value_name = "WORDS")]
    yarn: Option<String>,
    /// What the yarn is made of
    #[arg(long, value_name = "WORDS")]
    fibre: Option<String>,
    /// Weight category of the yarn, in words or as a number
    #[arg(long, value_name = "WORDS")]
    yarn_weight: Option<String>,
    /// Mass of one ball, in g
    #[arg(long, value_name = "G", value_parser = numbers::positive)]
    ball_g: Option<f64>,
    /// Yarn in one ball, in m
    #[arg(long, value_name = "M", value_parser = numbers::positive)]
    ball_m: Option<f64>,
    /// Dye lot
    #[arg(long, value_name = "LOT")]
    dye_lot: Option<String>,
    /// Needle size, in mm
    #[arg(long, value_name = "MM", value_parser = numbers::positive)]
    needle: Option<f64>,
    /// What the needle is made of
    #[arg(long, value_name = "WORDS")]
    needle_material: Option<String>,
    /// Knitted flat or in the round
    #[arg(long, value_name = "flat|round", value_parser = worked)]
    worked: Option<Worked>,
    /// Who knitted it
    #[arg(long, value_name = "NAME")]
    knitter: Option<String>,
    /// Day it was knitted, such as 2024-05-31
    #[arg(long, value_name = "DAY", value_parser = day)]
    made_on: Option<Date>,
    /// Anything else
    #[arg(long, value_name = "WORDS")]
    note: Option<String>,
    /// Tag; may be given several times
    #[arg(long = "tag", value_name = "TAG", value_parser = tag)]
    tags: Vec<String>,
}

fn worked(text: &str) -> Result<Worked, String> {
    match text {
        "flat" => Ok(Worked::Flat),
        "round" => Ok(Worked::Round),
        _ => Err("use flat or round".to_owned()),
    }
}

/// A day of the calendar.
pub fn day(text: &str) -> Result<Date, String> {
    text.trim().parse().map_err(|_| format!("'{text}' is not a day such as 2024-05-31"))
}

/// A tag: some letters, no comma, so that a list of them can be read back.
pub fn tag(text: &str) -> Result<String, String> {
    /// A stated choice: a tag is a word or two.
    const LONGEST: usize = 100;
    let text = text.trim();
    match text {
        "" => Err("a tag can't be empty".to_owned()),
        _ if text.contains([',', '\n', '\r']) => Err(format!("'{text}': a tag holds no comma and no line end")),
        _ if text.chars().count() > LONGEST => Err(format!("a tag has at most {LONGEST} characters")),
        _ => Ok(text.to_owned()),
    }
}

impl AboutArguments {
    /// Sets what was said in `description`; what was not said stays.
    pub fn apply(&self, description: &mut Description) -> Result<(), Ended> {
        let set = |slot: &mut Option<String>, said: &Option<String>| {
            if let Some(text) = said {
                *slot = Some(text.clone());
            }
        };
        set(&mut description.yarn, &self.yarn);
        set(&mut description.fibre, &self.fibre);
        set(&mut description.yarn_weight, &self.yarn_weight);
        set(&mut description.dye_lot, &self.dye_lot);
        set(&mut description.needle_material, &self.needle_material);
        set(&mut description.knitter, &self.knitter);
        set(&mut description.note, &self.note);
        description.ball_g = self.ball_g.or(description.ball_g);
        description.ball_m = self.ball_m.or(description.ball_m);
        description.needle_mm = self.needle.or(description.needle_mm);
        description.worked = self.worked.or(description.worked);
        description.made_on = self.made_on.or(description.made_on);
        let long = |field: &Field| {
            description.get(*field).is_some_and(|value| value.to_string().chars().count() > LONGEST_TEXT)
        };
        match Field::ALL.into_iter().find(long) {
            Some(field) => Err(Ended::bad(format!("--{}: longer than {LONGEST_TEXT} characters", option_of(field)))),
            None => Ok(()),
        }
    }

    /// The tags that were given.
    pub fn tags(&self) -> BTreeSet<String> {
        self.tags.iter().cloned().collect()
    }

    /// Whether anything was said.
    pub fn is_empty(&self) -> bool {
        let mut nothing = Description::default();
        self.tags.is_empty() && self.apply(&mut nothing).is_ok() && nothing == Description::default()
    }
}

/// The option that sets a field.
fn option_of(field: Field) -> String {
    field.name().replace('_', "-").replace("-mm", "")
}

/// A stitch pattern for entries that are not measured from a photo.
#[derive(clap::Args)]
pub struct StitchArguments {
    /// What was knitted
    #[arg(long, value_name = "NAME")]
    stitch: Option<String>,
    /// The smallest block that repeats, stitches x rows
    #[arg(long, value_name = "AxB", value_parser = numbers::repeat)]
    repeat: Option<(u32, u32)>,
}

impl StitchArguments {
    /// Sets what was said; a pattern known by name brings its repeat.
    pub fn apply(&self, description: &mut Description) {
        if let Some(name) = &self.stitch {
            let known = crate::lattice::StitchPattern::named(name);
            description.stitch = Some(name.clone());
            description.repeat_stitches = known.as_ref().map(|k| k.repeat_stitches);
            description.repeat_rows = known.as_ref().map(|k| k.repeat_rows);
        }
        if let Some((stitches, rows)) = self.repeat {
            description.repeat_stitches = Some(stitches);
            description.repeat_rows = Some(rows);
        }
    }

    /// Whether nothing was said.
    pub fn is_empty(&self) -> bool {
        self.stitch.is_none() && self.repeat.is_none()
    }
}

/// The state a swatch was measured in.
#[derive(clap::Args)]
#[command(next_help_heading = "How it was measured")]
pub struct StateArguments {
    /// State of the fabric: on-needle, off-needle (not washed), steamed, washed (and dried), pinned, hung
    #[arg(long, value_name = "STATE", value_parser = state)]
    state: Option<State>,
    /// Stretched to this width, in mm, instead of relaxed
    #[arg(long, value_name = "MM", value_parser = numbers::length_mm)]
    stretched_to: Option<f64>,
    /// Day of the measuring; today when not given
    #[arg(long, value_name = "DAY", value_parser = day)]
    measured_on: Option<Date>,
}

/// A state by its name.
pub fn state(text: &str) -> Result<State, String> {
    State::named(text).ok_or_else(|| format!("use one of {}", State::ALL.map(State::name).join(", ")))
}

impl StateArguments {
    /// State, stretched width in mm, and day of the measuring.
    pub fn get(&self) -> (Option<State>, Option<f64>, Date) {
        (self.state, self.stretched_to, self.measured_on.unwrap_or_else(today))
    }
}
