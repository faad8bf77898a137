//! `walewise log edit`: change what is said of a swatch; what it was before stays in its history.

use super::about::{AboutArguments, StitchArguments, tag};
use super::{Done, Ended, now, open};
use crate::cli::{ExitStatus, output};
use crate::logbook::{Access, Field};
use std::path::Path;

/// Change what is said of a swatch; `log history` shows what it was before
#[derive(clap::Args)]
#[command(after_help = "Examples:
  walewise log edit 1 --note \"soft, drapes well\" --tag headband
  walewise log edit 1 --clear note")]
pub struct EditArguments {
    /// Number of the swatch
    #[arg(value_name = "NUMBER")]
    swatch: i64,
    #[command(flatten)]
    about: AboutArguments,
    #[command(flatten)]
    stitch: StitchArguments,
    /// Take a tag away; may be given several times
    #[arg(long = "untag", value_name = "TAG", value_parser = tag)]
    untags: Vec<String>,
    /// Clear a field, such as dye-lot; may be given several times
    #[arg(long = "clear", value_name = "FIELD", value_parser = field)]
    clears: Vec<Field>,
}

fn field(text: &str) -> Result<Field, String> {
    let names = || Field::ALL.map(|f| f.name().replace('_', "-")).join(", ");
    let short = if text == "needle" { "needle-mm" } else { text };
    Field::named(short).ok_or_else(|| format!("use one of {}", names()))
}

/// Runs the command.
pub fn run(arguments: &EditArguments, path: &Path) -> Done {
    let nothing = arguments.about.is_empty() && arguments.stitch.is_empty();
    if nothing && arguments.untags.is_empty() && arguments.clears.is_empty() {
        return Err(Ended::bad("say what to change, such as --yarn or --tag"));
    }
    let mut log = open(path, Access::Write)?;
    let swatch = log.swatch(arguments.swatch)?;
    let mut description = swatch.description;
    for field in &arguments.clears {
        description.set(*field, None).map_err(|e| Ended::bad(e.to_string()))?;
    }
    arguments.about.apply(&mut description)?;
    arguments.stitch.apply(&mut description);
    let mut tags = swatch.tags;
    tags.extend(arguments.about.tags());
    tags.retain(|tag| !arguments.untags.contains(tag));
    let changes = log.edit(arguments.swatch, &description, &tags, now())?;
    let said = match changes {
        0 => "nothing to change".to_owned(),
        1 => "1 change".to_owned(),
        n => format!("{n} changes"),
    };
    output::print(&format!("Swatch {}: {said}.\n", arguments.swatch))?;
    Ok(ExitStatus::Done)
}
