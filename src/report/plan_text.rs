//! A plan in words, for a terminal: short lines that fit 80 columns.

use super::one_line::harmless;
use super::plan_instructions::{ABBREVIATIONS, graded, instructions, is_shaped, spacing as spacing_words, worked};
use super::plan_measures::{cm, cm_and_in, cm_and_in_interval, count, plain};
use super::text::Lines;
use crate::compare::SizeChoice;
use crate::plan::{AxisPlan, EvenPlan, GaugeNote, PiecePlan, Plan, RegaugePlan, YarnPlan};
use crate::quantity::{Expanded, FOUR_INCHES_PER_10CM, plus_minus};
use crate::sizing::{
    Arrangement, Candidate, Castable, CountRule, Counted, GaugeLine, NeedleAdvice, Regauged, Substitution, Tension,
    ne_from_tex, nm_from_tex, probability_percent,
};

/// The whole plan.
pub fn describe(plan: &Plan) -> String {
    let mut out = Lines::default();
    if !plan.title.is_empty() {
        out.plain(&plan.title);
        out.plain("");
    }
    plan.gauges.iter().for_each(|gauge| gauge_lines(&mut out, gauge));
    if !plan.sizes_source.is_empty() {
        out.paragraph(&format!("Sizes: {}.", plan.sizes_source));
    }
    plan.pieces.iter().for_each(|piece| piece_lines(&mut out, piece));
    plan.evenly.iter().for_each(|evenly| out.item(&evenly_words(evenly)));
    if needs_abbreviations(plan) {
        out.plain("");
        out.paragraph(&format!("{ABBREVIATIONS}."));
    }
    if let Some(regauge) = &plan.regauge {
        regauge_lines(&mut out, regauge);
    }
    if !plan.yarn.is_empty() {
        out.plain("");
        out.plain("Yarn (pieces, swatch, tails, seams and what you want to spare; one dye lot)");
        plan.yarn.iter().for_each(|yarn| out.item(&yarn_words(yarn)));
        plan.yarn.first().into_iter().for_each(|yarn| out.item(&count_words(yarn)));
    }
    if let Some(substitution) = &plan.substitution {
        out.item(&substitution_words(substitution));
    }
    if !plan.cautions.is_empty() {
        out.plain("");
        out.plain("Careful");
        plan.cautions.iter().for_each(|c| out.item(&c.message));
    }
    // Names come out of files; they must not steer the terminal.
    harmless(&out.0)
}

/// Whether knitting text stands in it.
pub fn needs_abbreviations(plan: &Plan) -> bool {
    !plan.evenly.is_empty() || plan.pieces.iter().any(is_shaped)
}

/// `22.4 ± 0.3 stitches and 30.1 ± 0.5 rows per 10 cm`, for a length that is `scale` times 10 cm.
pub fn gauge_words(gauge: &GaugeNote, scale: f64, over: &str) -> String {
    let value = |e: &Expanded| plus_minus(e.value * scale, e.expanded_uncertainty * scale);
    let rows = gauge.rows_per_10cm.as_ref().map_or_else(String::new, |r| format!(" and {} rows", value(r)));
    format!("{} stitches{rows} per {over}", value(&gauge.stitches_per_10cm))
}

/// Both lengths' words.
pub fn gauge_over(gauge: &GaugeNote) -> [String; 2] {
    [gauge_words(gauge, 1.0, "10 cm"), gauge_words(gauge, FOUR_INCHES_PER_10CM, "4 in")]
}

/// `22.5 sts and 30 rows = 10 cm`: the gauge as a pattern prints it.
pub fn printed_line(line: &GaugeLine) -> String {
    let rows = line.rows.map_or_else(String::new, |rows| format!(" and {} rows", plain(rows)));
    let over = if line.over.mm() == 100.0 { "10 cm" } else { "4 in (10.16 cm)" };
    format!("{} sts{rows} = {over}", plain(line.stitches))
}

fn gauge_lines(out: &mut Lines, gauge: &GaugeNote) {
    let stitch = if gauge.stitch.is_empty() { String::new() } else { format!(", {}", gauge.stitch) };
    out.plain(&format!("Gauge '{}'{stitch}", gauge.name));
    for words in gauge_over(gauge) {
        out.paragraph(&words);
    }
    out.paragraph(&format!("95 % intervals for the next 10 x 10 cm knitted alike; {}.", gauge.source));
    let lines: Vec<String> = gauge.lines.iter().map(printed_line).collect();
    out.paragraph(&format!("To print: {}.", lines.join("; ")));
}

fn piece_lines(out: &mut Lines, piece: &PiecePlan) {
    out.plain("");
    out.plain(&format!("{} ({})", piece.name, worked(piece)));
    graded(piece).iter().for_each(|line| out.paragraph(line));
    let parts = piece.sizes.first().map_or(0, |sized| sized.parts.len());
    for index in 0..parts {
        size_table(out, piece, index);
    }
    for sized in &piece.sizes {
        let heading =
            if sized.size.is_empty() { "To knit".to_owned() } else { format!("To knit, size {}", sized.size) };
        out.heading(&heading);
        instructions(piece, sized).iter().for_each(|step| out.item(step));
    }
}

/// One part in all sizes: the possible counts, what each would measure, and which to take.
fn size_table(out: &mut Lines, piece: &PiecePlan, index: usize) {
    if let Some(first) = piece.sizes.first().filter(|s| s.parts.len() > 1).map(|s| &s.parts[index]) {
        out.heading(&format!("{} (gauge '{}')", first.name, first.gauge));
    }
    for sized in &piece.sizes {
        let part = &sized.parts[index];
        axis_lines(out, &sized.size, &part.stitches, Counted::Stitches, piece.round);
        if let Some(rows) = &part.rows {
            axis_lines(out, &sized.size, rows, Counted::Rows, piece.round);
        }
    }
}

fn axis_lines(out: &mut Lines, size: &str, axis: &AxisPlan, counted: Counted, round: bool) {
    let row = |mark: &str, number: u32, finished: &Expanded, within: &str| {
        let number = count(number, counted, round);
        format!("   {mark:>3} {number:>10}   {:<36} {within}", cm_and_in_interval(finished)).trim_end().to_owned()
    };
    let size = if size.is_empty() { String::new() } else { format!("{size}: ") };
    let Some(castable) = &axis.castable else {
        out.paragraph(&format!("{size}goes on with the stitches of the part before"));
        return out.plain(&row("->", axis.count, &axis.finished_mm, ""));
    };
    out.paragraph(&format!("{size}{}", wanted_words(castable)));
    for candidate in shown(castable) {
        let mark = if candidate.count == axis.count { "->" } else { "" };
        let within = probability_percent(candidate.probability_within_tolerance);
        out.plain(&row(mark, candidate.count, &candidate.finished_mm, &within));
    }
    if !is_free(castable) {
        out.paragraph(&format!("{}.", castable.reason));
    }
}

/// `53.3 cm with -5.3 cm of ease: 48.0 ± 2.0 cm wanted, a multiple of 4`.
fn wanted_words(castable: &Castable) -> String {
    let target = &castable.target;
    let ease = if target.ease_mm == 0.0 {
        String::new()
    } else {
        format!("{} with {:+.1} cm of ease: ", cm(target.body_mm), target.ease_mm / 10.0)
    };
    let rule = if castable.rule == CountRule::ANY { String::new() } else { format!(", {}", castable.rule.words()) };
    format!("{ease}{:.1} ± {} wanted{rule}", target.finished_mm / 10.0, cm(target.tolerance_mm))
}

/// Whether any number of rows would do: then the others are not worth a look.
fn is_free(castable: &Castable) -> bool {
    castable.counted == Counted::Rows && castable.rule == CountRule::ANY
}

/// The candidates worth showing.
pub fn shown(castable: &Castable) -> impl Iterator<Item = &Candidate> {
    let only = is_free(castable).then_some(castable.recommended);
    castable.candidates.iter().enumerate().filter(move |(i, _)| only.is_none_or(|only| only == *i)).map(|(_, c)| c)
}

/// What was wanted and why a count was chosen.
pub fn reason_words(castable: &Castable) -> String {
    format!("{}. {}.", wanted_words(castable), castable.reason)
}

/// One row of evenly spaced increases or decreases.
pub fn evenly_words(evenly: &EvenPlan) -> String {
    let spacing = &evenly.spacing;
    let name = if evenly.name.is_empty() { String::new() } else { format!("{}: ", evenly.name) };
    let changes = spacing.from.abs_diff(spacing.to);
    let what = if spacing.increases() { "increase" } else { "decrease" };
    let (plural, after) = if changes == 1 { ("", "stitch") } else { ("s", "stitches") };
    let row = if spacing.arrangement == Arrangement::Round { "round" } else { "row" };
    let places: Vec<String> = evenly.places.iter().map(u32::to_string).collect();
    format!(
        "{name}{} to {}, {changes} {what}{plural} evenly in one {row}: {} (after {after} {}).",
        spacing.from,
        count(spacing.to, Counted::Stitches, false),
        spacing_words(spacing),
        places.join(", ")
    )
}

fn regauge_lines(out: &mut Lines, regauge: &RegaugePlan) {
    out.plain("");
    out.plain(&format!("The pattern at the gauge '{}'", regauge.gauge));
    regauge.counts.iter().for_each(|count| out.item(&regauged_words(count)));
    out.item(&needle_words(&regauge.needle));
}

/// What one count becomes.
pub fn regauged_words(of: &Regauged) -> String {
    let restored = of.restored.chosen();
    let ending = |n: u32| if n == 1 { "s" } else { "" };
    format!(
        "{}: {} measure{} {} at the pattern's gauge and {} at yours; {} restore{} it ({})",
        of.name,
        count(of.pattern_count, of.counted, false),
        ending(of.pattern_count),
        cm_and_in(of.at_pattern_gauge_mm),
        cm_and_in_interval(&of.at_my_gauge_mm),
        count(restored.count, of.counted, false),
        ending(restored.count),
        cm_and_in_interval(&restored.finished_mm),
    )
}

/// What to do about the needle.
pub fn needle_words(advice: &NeedleAdvice) -> String {
    let difference = &advice.difference_percent;
    let seen = plus_minus(difference.value.abs(), difference.expanded_uncertainty);
    let word = if difference.value < 0.0 { "fewer" } else { "more" };
    let tension = match advice.tension {
        Tension::Matches => "Your gauge matches the pattern's",
        Tension::TooTight => "You knit tighter than the pattern",
        Tension::TooLoose => "You knit looser than the pattern",
        Tension::CantTell => {
            "Whether your gauge is the pattern's can't be told from this swatch: a larger one says more"
        }
    };
    let what = match (advice.tension, advice.choices.first()) {
        (Tension::TooTight | Tension::TooLoose, Some(best)) => tried_words(advice, best),
        (Tension::TooTight | Tension::TooLoose, None) => practice_words(advice),
        (Tension::Matches | Tension::CantTell, _) => String::new(),
    };
    format!("{tension}: {seen} % {word} stitches than wanted{what}.")
}

/// Farther from the needle of the swatch the fabric itself becomes another one, open or stiff (a stated choice).
const MOST_SIZES: u32 = 4;

/// Which needle, by common practice.
fn practice_words(advice: &NeedleAdvice) -> String {
    let sizes = match advice.sizes.unsigned_abs() {
        1 => "1 size".to_owned(),
        n => format!("{n} sizes"),
    };
    let what = match advice.sizes {
        0 => "one needle size would change more than that: keep the needle and change the counts".to_owned(),
        far if far.unsigned_abs() > MOST_SIZES => {
            format!("that is about {sizes}, more than a needle makes up for: take another yarn, or change the counts")
        }
        up if up > 0 => format!("try a needle {sizes} larger, and swatch again"),
        _ => format!("try a needle {sizes} smaller, and swatch again"),
    };
    format!("; {what} ({})", advice.response.basis)
}

/// Which needle, by swatches on several.
fn tried_words(advice: &NeedleAdvice, best: &SizeChoice) -> String {
    let tried = if best.beyond_those_tried { ", a size not tried yet" } else { "" };
    let what = if advice.sizes == 0 {
        format!("your needle, {} mm, comes nearest all the same: change the counts", best.needle_mm)
    } else {
        format!("{} mm{tried} comes nearest", best.needle_mm)
    };
    let rows =
        best.rows_probability.map_or_else(String::new, |p| format!(", its rows with {}", probability_percent(p)));
    let stitches = &best.stitches_per_10cm;
    format!(
        "; {what} ({}): another swatch on it has {} stitches per 10 cm, within 2.5 % of the pattern's with {} \
         probability{rows}",
        advice.response.basis,
        plus_minus(stitches.value, stitches.expanded_uncertainty),
        probability_percent(best.stitches_probability)
    )
}

/// How much yarn for one size.
pub fn yarn_words(yarn: &YarnPlan) -> String {
    let amount = &yarn.amount;
    let size = if yarn.size.is_empty() { String::new() } else { format!("{}: ", yarn.size) };
    let value = |e: &Expanded| plus_minus(e.value, e.expanded_uncertainty);
    let balls = |n: u32| if n == 1 { "1 ball".to_owned() } else { format!("{n} balls") };
    let plausible = yarn.plausible_m.map_or_else(String::new, |m| {
        format!(" For comparison: relaxed machine-knitted wool of this gauge would hold about {m:.0} m in the pieces (Munden).")
    });
    let enough = if amount.balls_50 == amount.balls_95 {
        format!("{}: enough with 95 % probability.", balls(amount.balls_95))
    } else {
        let (even, sure) = (balls(amount.balls_50), balls(amount.balls_95));
        format!("{even} may do (an even chance); {sure}: enough with 95 % probability.")
    };
    format!("{size}{} m, {} g. {enough}{plausible}", value(&amount.metres), value(&amount.grams))
}

/// How fine the yarn is, in the usual counts.
pub fn count_words(yarn: &YarnPlan) -> String {
    let (nm, ne) = (nm_from_tex(yarn.tex), ne_from_tex(yarn.tex));
    format!("The yarn is {:.0} tex (Nm {nm:.2}, Ne {ne:.2}).", yarn.tex)
}

/// Another yarn for a pattern's.
pub fn substitution_words(of: &Substitution) -> String {
    let by_mass = if of.balls_by_mass == of.balls {
        "by mass it would be as many".to_owned()
    } else {
        let off = of.metres_off_by_mass;
        let word = if off < 0.0 { "too few" } else { "more than needed" };
        format!("bought by mass it would be {}, {:.0} m {word}", of.balls_by_mass, off.abs())
    };
    format!("The pattern's {:.0} m are {} of your balls ({by_mass}).", of.metres, of.balls)
}

#[cfg(test)]
mod tests {
    use super::needle_words;
    use crate::quantity::Uncertain;
    use crate::sizing::{NeedleResponse, needle_advice};

    /// A size is half a stitch an inch, 1.97 in 10 cm: 4 stitches are 2 sizes, 12 are 6.
    #[test]
    fn no_needle_makes_up_for_another_yarn() {
        let words =
            |mine| needle_words(&needle_advice(&Uncertain::exact(mine), 20.0, NeedleResponse::common_practice()));
        assert!(words(24.0).contains("try a needle 2 sizes larger"), "{}", words(24.0));
        assert!(words(32.0).contains("about 6 sizes") && words(32.0).contains("another yarn"), "{}", words(32.0));
        assert!(!words(8.0).contains("try a needle"), "{}", words(8.0));
    }
}
