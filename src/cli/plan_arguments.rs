//! One piece described by options: written as the plan file it stands for, so that one reader understands both.

use crate::plan::PlanError;
use std::fmt::Write;

/// Options that describe one gauge and one piece. Their values are read as those of the plan file's keys are.
#[derive(Debug, Clone, Default, PartialEq, Eq, clap::Args)]
pub struct PieceArguments {
    /// Stitches x rows, such as 22x30, "22.5 ± 0.3 x 30 ± 0.5" or 22 (no rows)
    #[arg(long, value_name = "SxR", conflicts_with_all = ["measurement", "swatch"])]
    gauge: Option<String>,

    /// The length the gauge is over: "10 cm", "4 in", "1 in", or "10 cm / 4 in" [default: 10 cm]
    #[arg(long, value_name = "LENGTH", requires = "gauge")]
    over: Option<String>,

    /// Take the gauge from what `walewise measure --json` wrote
    #[arg(long, value_name = "FILE")]
    measurement: Option<String>,

    /// Which photo's measurement, where the file holds several
    #[arg(long, value_name = "NAME", requires = "measurement")]
    photo: Option<String>,

    /// Take the gauge from this swatch of the log
    #[arg(long, value_name = "NUMBER", conflicts_with = "measurement")]
    swatch: Option<u32>,

    /// The state in which that swatch was measured; its newest measurement counts when not given
    #[arg(long, value_name = "STATE", requires = "swatch")]
    state: Option<String>,

    /// Space increases or decreases evenly in one row: from so many stitches to so many, such as 51:55
    #[arg(long, value_name = "FROM:TO")]
    evenly: Option<String>,

    /// What was knitted
    #[arg(long, value_name = "NAME")]
    stitch: Option<String>,

    /// The swatch was washed and dried as the piece will be
    #[arg(long)]
    washed: bool,

    /// The swatch was knitted in the round
    #[arg(long)]
    swatch_round: bool,

    /// What the piece is called
    #[arg(long, value_name = "TEXT")]
    name: Option<String>,

    /// Width, or circumference, of the body (or of the piece, without --ease): "56 cm", "22 in"
    #[arg(long, value_name = "LENGTH")]
    width: Option<String>,

    /// Finished minus body measure: "-5 cm", "2 in", "-8 %"
    #[arg(long, value_name = "EASE", allow_hyphen_values = true)]
    ease: Option<String>,

    /// How far off the width may be [default: 2.5 %]
    #[arg(long, value_name = "LENGTH")]
    tolerance: Option<String>,

    /// Length of the piece
    #[arg(long, value_name = "LENGTH")]
    length: Option<String>,

    /// Worked in the round
    #[arg(long)]
    round: bool,

    /// Knitted sideways: the width is rows
    #[arg(long)]
    sideways: bool,

    /// The stitch pattern's multiple
    #[arg(long, value_name = "N")]
    multiple: Option<u32>,

    /// Stitches beyond whole multiples (flat only)
    #[arg(long, value_name = "N")]
    balance: Option<u32>,

    /// Edge stitches of both sides together (flat only)
    #[arg(long, value_name = "N")]
    edge_stitches: Option<u32>,

    /// Stitches of both sides that vanish in seams (flat only)
    #[arg(long, value_name = "N")]
    seam_stitches: Option<u32>,

    /// The stitch pattern's multiple of rows
    #[arg(long, value_name = "N")]
    row_multiple: Option<u32>,

    /// Rows beyond whole multiples
    #[arg(long, value_name = "N")]
    row_balance: Option<u32>,

    /// Shape to so many stitches (60) or so wide ("30 cm"), 2 a row, evenly over the length
    #[arg(long, value_name = "TO")]
    shape_to: Option<String>,

    /// Stitches gained or lost in one shaping row
    #[arg(long, value_name = "N", requires = "shape_to")]
    per_row: Option<u32>,

    /// A shaping row every so many rows
    #[arg(long, value_name = "ROWS", requires = "shape_to")]
    every: Option<u32>,

    /// A child wears it
    #[arg(long)]
    child: bool,

    /// It has cords or ties
    #[arg(long)]
    ties: bool,

    /// It has beads or buttons
    #[arg(long)]
    beads: bool,
}

/// Name of the gauge that the options describe.
const GAUGE: &str = "swatch";

impl PieceArguments {
    /// What of it says something about one row of spaced stitches; the rest describes a piece, which needs a gauge.
    fn of_one_row(&self) -> Self {
        let Self { evenly, round, child, ties, beads, .. } = self.clone();
        Self { evenly, round, child, ties, beads, ..Self::default() }
    }

    /// Whether nothing was said.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// The plan file that the options stand for; `Err` says in one line what is missing.
pub fn as_toml(of: &PieceArguments) -> Result<String, String> {
    let mut text = Text::default();
    if of.child {
        text.key("for", &quoted("child"));
    }
    text.flag("ties", of.ties);
    text.flag("beads", of.beads);
    if let Some(evenly) = &of.evenly {
        spaced(&mut text, evenly, of.round)?;
        if *of == of.of_one_row() {
            return Ok(text.0);
        }
    }
    gauge(&mut text, of)?;
    text.table("[[piece]]");
    text.words("name", Some(of.name.as_deref().unwrap_or("Piece")));
    text.words("worked", of.round.then_some("round"));
    text.words("direction", of.sideways.then_some("sideways"));
    let width =
        of.width.as_deref().ok_or("--width is missing: how wide the piece should be, for example --width \"48 cm\"")?;
    text.words("width", Some(width));
    for (key, value) in [("ease", &of.ease), ("tolerance", &of.tolerance), ("length", &of.length)] {
        text.words(key, value.as_deref());
    }
    for (key, value) in [
        ("multiple", of.multiple),
        ("balance", of.balance),
        ("edge_stitches", of.edge_stitches),
        ("seam_stitches", of.seam_stitches),
        ("row_multiple", of.row_multiple),
        ("row_balance", of.row_balance),
    ] {
        text.number(key, value);
    }
    if let Some(to) = &of.shape_to {
        text.table("[[piece.shaping]]");
        let whole = to.trim().bytes().all(|b| b.is_ascii_digit()) && !to.trim().is_empty();
        text.key("to", &if whole { to.trim().to_owned() } else { quoted(to) });
        text.number("per_row", of.per_row);
        text.number("every", of.every);
    }
    Ok(text.0)
}

/// One row of increases or decreases.
fn spaced(text: &mut Text, evenly: &str, round: bool) -> Result<(), String> {
    let wrong = || format!("--evenly: '{evenly}' is not two counts of stitches such as 51:55");
    let (from, to) = evenly.split_once(':').ok_or_else(wrong)?;
    let count = |t: &str| t.trim().parse::<u32>().map_err(|_| wrong());
    text.table("[[evenly]]");
    text.number("from", Some(count(from)?));
    text.number("to", Some(count(to)?));
    text.words("worked", round.then_some("round"));
    Ok(())
}

fn gauge(text: &mut Text, of: &PieceArguments) -> Result<(), String> {
    text.table(&format!("[gauge.{GAUGE}]"));
    match (&of.gauge, &of.measurement, of.swatch) {
        (Some(gauge), _, _) => {
            let (stitches, rows) =
                gauge.split_once(['x', 'X', '×']).map_or((gauge.as_str(), None), |(s, r)| (s, Some(r)));
            text.words("stitches", Some(stitches.trim()));
            text.words("rows", rows.map(str::trim));
            text.words("over", Some(of.over.as_deref().unwrap_or("10 cm")));
        }
        (None, Some(file), _) => {
            text.words("measurement", Some(file));
            text.words("photo", of.photo.as_deref());
        }
        (None, None, Some(swatch)) => {
            text.number("swatch", Some(swatch));
            text.words("state", of.state.as_deref());
        }
        (None, None, None) => {
            let alone = if of.evenly.is_some() { "; --evenly alone goes with --round only" } else { "" };
            return Err(format!("a gauge is missing: --gauge 22x30, --measurement FILE, or --swatch NUMBER{alone}"));
        }
    }
    text.words("stitch", of.stitch.as_deref());
    text.flag("washed", of.washed);
    text.words("knitted", of.swatch_round.then_some("round"));
    Ok(())
}

/// A mistake in one line, with the option that was typed for the key.
pub fn explain(error: &PlanError) -> String {
    let key = error.key.rsplit('.').next().unwrap_or_default();
    let option = match key {
        _ if error.key.starts_with("evenly") => "evenly".to_owned(),
        GAUGE if error.key == format!("gauge.{GAUGE}.swatch") => "swatch".to_owned(),
        "" => return error.message.clone(),
        "stitches" | "rows" | GAUGE => "gauge".to_owned(),
        "to" => "shape-to".to_owned(),
        key if key.starts_with("shaping") => "shape-to".to_owned(),
        key if key.starts_with("piece") => return error.message.clone(),
        key => key.replace('_', "-"),
    };
    format!("--{option}: {}", error.message)
}

/// A plan file while it is written.
#[derive(Default)]
struct Text(String);

impl Text {
    fn table(&mut self, header: &str) {
        let gap = if self.0.is_empty() { "" } else { "\n" };
        // Writing to a String can't fail.
        let _ = writeln!(self.0, "{gap}{header}");
    }

    fn key(&mut self, key: &str, value: &str) {
        let _ = writeln!(self.0, "{key} = {value}");
    }

    fn words(&mut self, key: &str, value: Option<&str>) {
        if let Some(value) = value {
            self.key(key, &quoted(value));
        }
    }

    fn number(&mut self, key: &str, value: Option<u32>) {
        if let Some(value) = value {
            self.key(key, &value.to_string());
        }
    }

    fn flag(&mut self, key: &str, set: bool) {
        if set {
            self.key(key, "true");
        }
    }
}

/// Text between quotation marks, as TOML wants it.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out + "\""
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn options_and_the_file_they_stand_for() {
        let of = PieceArguments {
            gauge: Some("22.5 ± 0.3 x 30".to_owned()),
            width: Some("19 \"1/2\\".to_owned()),
            multiple: Some(4),
            ..PieceArguments::default()
        };
        let text = as_toml(&of).expect("a plan file");
        assert!(text.contains("stitches = \"22.5 ± 0.3\"\nrows = \"30\"\nover = \"10 cm\""), "{text}");
        assert!(text.contains(r#"width = "19 \"1/2\\""#), "{text}");
        assert!(as_toml(&PieceArguments::default()).is_err());
        assert_eq!(explain(&PlanError::at("piece[1].edge_stitches", "no")), "--edge-stitches: no");
        assert_eq!(explain(&PlanError::at("gauge.swatch.rows", "no")), "--gauge: no");
    }
}
