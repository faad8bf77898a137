//! Which swatches are meant, as arguments.

use super::about;
use crate::cli::numbers;
use crate::logbook::{Filter, State};
use jiff::civil::Date;

/// Which swatches; everything that is given must fit.
#[derive(clap::Args)]
#[command(next_help_heading = "Which swatches")]
pub struct FilterArguments {
    /// Part of the yarn's name
    #[arg(long, value_name = "WORDS")]
    yarn: Option<String>,
    /// Stitch pattern
    #[arg(long, value_name = "NAME")]
    stitch: Option<String>,
    /// Needle size in mm, or sizes from..to
    #[arg(long, value_name = "MM|FROM..TO", value_parser = range)]
    needle: Option<(f64, f64)>,
    /// Who knitted it
    #[arg(long, value_name = "NAME")]
    knitter: Option<String>,
    /// Measured in this state; each swatch's newest measurement in it
    #[arg(long, value_name = "STATE", value_parser = about::state)]
    state: Option<State>,
    /// Tag; several must all be there
    #[arg(long = "tag", value_name = "TAG", value_parser = about::tag)]
    tags: Vec<String>,
    /// A word or part of one, in any text; several must all be there
    #[arg(long = "with", value_name = "WORD")]
    words: Vec<String>,
    /// Knitted on this day or later
    #[arg(long, value_name = "DAY", value_parser = about::day)]
    since: Option<Date>,
    /// Knitted on this day or earlier
    #[arg(long, value_name = "DAY", value_parser = about::day)]
    until: Option<Date>,
    /// Stitches per 10 cm, from..to
    #[arg(long, value_name = "FROM..TO", value_parser = range)]
    stitches: Option<(f64, f64)>,
    /// Rows per 10 cm, from..to
    #[arg(long, value_name = "FROM..TO", value_parser = range)]
    rows: Option<(f64, f64)>,
}

/// `FROM..TO`, or one number for itself.
fn range(text: &str) -> Result<(f64, f64), String> {
    let (from, to) = text.split_once("..").unwrap_or((text, text));
    let (from, to) = (numbers::positive(from)?, numbers::positive(to)?);
    if from <= to { Ok((from, to)) } else { Err(format!("'{text}': the first number must not be the larger one")) }
}

impl FilterArguments {
    /// The filter, with the swatches' numbers where they were named.
    pub fn filter(&self, ids: &[i64]) -> Filter {
        let ends = |range: Option<(f64, f64)>| range.map(|(from, to)| from..=to);
        Filter {
            ids: ids.to_vec(),
            words: self.words.clone(),
            yarn: self.yarn.clone(),
            knitter: self.knitter.clone(),
            stitch: self.stitch.clone(),
            needle_mm: ends(self.needle),
            state: self.state,
            tags: self.tags.clone(),
            since: self.since,
            until: self.until,
            stitches_per_10cm: ends(self.stitches),
            rows_per_10cm: ends(self.rows),
            deleted: false,
        }
    }

    /// The state that was asked for.
    pub fn state(&self) -> Option<State> {
        self.state
    }
}
