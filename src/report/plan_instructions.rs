//! One size of a piece as knitting text, in the usual abbreviations (`k` stands for working in the stitch pattern).

use super::one_line::capital;
use super::plan_measures::{cm, count};
use crate::plan::{CordPlan, Ends, PartPlan, PiecePlan, ShapingPlan, SizedPiece};
use crate::sizing::{Counted, Direction, Schedule, Spacing, run_lengths};

/// What the abbreviations mean.
pub const ABBREVIATIONS: &str = "k: knit, or work in the stitch pattern; st(s): stitch(es); M1: make one stitch from the strand \
                                 between two; M1L, M1R: the same leaning left, right; k2tog: knit two together; ssk: slip, \
                                 slip, knit two together; [ ]: repeat what is inside";

/// The steps of one piece in one size, in order.
pub fn instructions(piece: &PiecePlan, sized: &SizedPiece) -> Vec<String> {
    let mut steps = Vec::new();
    for (index, part) in sized.parts.iter().enumerate() {
        let before = steps.len();
        part_steps(&mut steps, piece, part, index == 0);
        if sized.parts.len() > 1
            && let Some(first) = steps.get_mut(before)
        {
            *first = format!("{}: {first}", part.name);
        }
    }
    steps.extend(sized.parts.last().map(|last| finish(last, piece.round)));
    steps
}

/// At most so many stitches are gathered at the top of a tube instead of bound off (common practice, no source).
const GATHERED: u32 = 12;

fn finish(last: &PartPlan, round: bool) -> String {
    let stitches = count(last.stitches_at_end, Counted::Stitches, round);
    match &last.cord {
        Some(_) => "Fasten off.".to_owned(),
        None if round && last.stitches_at_end <= GATHERED => {
            format!("Break the yarn and draw it tight through the last {stitches}.")
        }
        None => format!("Bind off {stitches}."),
    }
}

fn part_steps(steps: &mut Vec<String>, piece: &PiecePlan, part: &PartPlan, first: bool) {
    let stitches = |n| count(n, Counted::Stitches, piece.round);
    if let Some(cord) = &part.cord {
        return band_steps(steps, part, cord);
    }
    match (&part.join, first) {
        (_, true) if piece.round => {
            steps.push(format!("Cast on {}; join to work in the round.", stitches(part.stitches.count)));
        }
        (_, true) => steps.push(format!("Cast on {}.", stitches(part.stitches.count))),
        (Some(join), false) => {
            steps.push(format!("Next {}: {}. {}.", row_word(piece.round), spacing(join), stitches(join.to)));
        }
        (None, false) => steps.push(format!("Go on with {}.", stitches(part.stitches.count))),
    }
    for step in &part.shaping {
        shaping_steps(steps, step, piece.round);
    }
    if part.straight_rows > 0 {
        let joined =
            if part.join.is_some() { format!(" with the {} before", row_word(piece.round)) } else { String::new() };
        let whole = part.rows.as_ref().filter(|_| part.shaping.is_empty());
        let measure = whole.map(|r| format!(" ({}{joined})", cm(r.finished_mm.value)));
        let rows = count(part.straight_rows, Counted::Rows, piece.round);
        steps.push(format!("Work {rows} straight{}.", measure.unwrap_or_default()));
    } else if part.rows.is_none() && part.shaping.is_empty() {
        steps.push("Work to the length you want.".to_owned());
    }
}

fn band_steps(steps: &mut Vec<String>, part: &PartPlan, cord: &CordPlan) {
    let rows = cord.rows.map_or_else(String::new, |rows| format!(" ({rows} rows)"));
    let length = cm(cord.length_mm.mm());
    let cord_words = format!("a cord until it measures {length}{rows}");
    steps.push(format!("Cast on {} and work {cord_words}.", count(cord.stitches, Counted::Stitches, false)));
    for (schedule, word) in [(&cord.band.widen, "Increase"), (&cord.band.narrow, "Decrease")] {
        if word == "Decrease" {
            steps.push(format!("Work {} straight.", count(cord.band.straight_rows, Counted::Rows, false)));
        }
        steps.push(format!(
            "{word} {} on {}: {} after {}.",
            each_end(schedule.per_row),
            which_rows(schedule, false),
            count(schedule.to, Counted::Stitches, false),
            count(schedule.rows(), Counted::Rows, false)
        ));
    }
    let band = part.rows.as_ref().map_or_else(String::new, |r| count(r.count, Counted::Rows, false));
    steps.push(format!("Work {cord_words}. (The band between the cords has {band}.)"));
}

/// `1 st at each end`; an odd number can't be shared.
fn each_end(per_row: u32) -> String {
    if per_row.is_multiple_of(2) {
        format!("{} at each end", count(per_row / 2, Counted::Stitches, false))
    } else {
        count(per_row, Counted::Stitches, false)
    }
}

fn shaping_steps(steps: &mut Vec<String>, step: &ShapingPlan, round: bool) {
    let schedule = &step.schedule;
    let to = count(schedule.to, Counted::Stitches, round);
    if schedule.intervals.is_empty() {
        steps.push(format!("{}: no shaping; {}.", capital(&step.name), count(schedule.rows(), Counted::Rows, round)));
        return;
    }
    let what = if schedule.increases() { "Increase" } else { "Decrease" };
    let row = row_word(round);
    if step.across.is_empty() {
        steps.push(format!("{what} {row}: {}.", at_ends(step)));
        steps.push(format!(
            "{}: work {} in all with the {} {row} on {}; {to}.",
            capital(&step.name),
            count(schedule.rows(), Counted::Rows, round),
            what.to_lowercase(),
            which_rows(schedule, round)
        ));
        return;
    }
    let words = format!("{}: work {} in all", capital(&step.name), count(schedule.rows(), Counted::Rows, round));
    steps.push(format!(
        "{words} with {} on {}:",
        if schedule.increases() { "increases" } else { "decreases" },
        which_rows(schedule, round)
    ));
    for ((number, stitches), across) in schedule.table().into_iter().zip(&step.across) {
        steps.push(format!(
            "{} {number}: {}. {}.",
            capital(row),
            spacing(across),
            count(stitches, Counted::Stitches, round)
        ));
    }
}

/// What is done in a shaping row with shaping at the ends.
fn at_ends(step: &ShapingPlan) -> String {
    let per_row = step.schedule.per_row;
    let more = step.schedule.increases();
    let change = if more { "increased" } else { "decreased" };
    let sts = |n: u32| count(n, Counted::Stitches, false);
    // The shortest shaping row must have its edge stitches, and two more for each decrease.
    let shortest = if more { step.schedule.from } else { step.schedule.to + per_row };
    let fits = shortest >= if more { 2 } else { 3 * per_row };
    let words = match (step.ends, if fits { per_row } else { 0 }, more) {
        (Ends::Both, 2, true) => "k1, M1L, k to last st, M1R, k1".to_owned(),
        (Ends::Both, 2, false) => "k1, ssk, k to last 3 sts, k2tog, k1".to_owned(),
        (Ends::Beginning, 1, true) => "k1, M1L, k to end".to_owned(),
        (Ends::Beginning, 1, false) => "k1, ssk, k to end".to_owned(),
        (Ends::End, 1, true) => "k to last st, M1R, k1".to_owned(),
        (Ends::End, 1, false) => "k to last 3 sts, k2tog, k1".to_owned(),
        (Ends::Both, ..) => format!("{} {change} at each end", sts(per_row / 2)),
        (Ends::Beginning, ..) => format!("{} {change} at the beginning", sts(per_row)),
        (Ends::End | Ends::Across, ..) => format!("{} {change} at the end", sts(per_row)),
    };
    let total = count(per_row, Counted::Stitches, false);
    format!("{words} ({total} {})", if more { "more" } else { "fewer" })
}

/// `rows 3, 7, 11 (every 4th row 2 times, every 3rd row once)`; the last row of each interval shapes.
pub fn which_rows(schedule: &Schedule, round: bool) -> String {
    let row = row_word(round);
    let table = schedule.table();
    let consecutive = table.windows(2).all(|pair| pair[1].0 == pair[0].0 + 1);
    match (table.first(), table.last()) {
        (Some((only, _)), Some(_)) if table.len() == 1 => format!("{row} {only}"),
        (Some((first, _)), Some((last, _))) if consecutive => format!("{row}s {first} to {last}"),
        _ => {
            let numbers: Vec<String> = table.iter().map(|(number, _)| number.to_string()).collect();
            format!("{row}s {} ({})", numbers.join(", "), paces(schedule, row))
        }
    }
}

/// `every 4th row 2 times, every 3rd row once`; where rows follow each shaping row, the first stands apart.
fn paces(schedule: &Schedule, row: &str) -> String {
    let times = |n: u32| if n == 1 { "once".to_owned() } else { format!("{n} times") };
    let every = |rows: u32| if rows == 1 { format!("every {row}") } else { format!("every {} {row}", ordinal(rows)) };
    let words = |runs: Vec<(u32, u32)>| {
        let runs = runs.into_iter().map(|(rows, n)| format!("{} {}", every(rows), times(n)));
        runs.collect::<Vec<_>>().join(", ")
    };
    match schedule.table().first() {
        Some((first, _)) if schedule.right_side_only => {
            let mut gaps = schedule.intervals[1..].to_vec();
            gaps.sort_unstable();
            format!("{row} {first}, then {}", words(run_lengths(&gaps)))
        }
        _ => words(schedule.intervals_by_length()),
    }
}

/// `[k13, M1] 3 times, k12`: one row of evenly spaced increases or decreases.
pub fn spacing(spacing: &Spacing) -> String {
    let change = if spacing.increases() { "M1" } else { "k2tog" };
    let mut words: Vec<String> = run_lengths(&spacing.before_each)
        .into_iter()
        .map(|(plain, times)| {
            let one = if plain == 0 { change.to_owned() } else { format!("k{plain}, {change}") };
            if times == 1 { one } else { format!("[{one}] {times} times") }
        })
        .collect();
    if spacing.after_last > 0 {
        words.push(format!("k{}", spacing.after_last));
    }
    words.join(", ")
}

fn row_word(round: bool) -> &'static str {
    if round { "round" } else { "row" }
}

fn ordinal(n: u32) -> String {
    let ending = match (n % 100, n % 10) {
        (11..=13, _) => "th",
        (_, 1) => "st",
        (_, 2) => "nd",
        (_, 3) => "rd",
        _ => "th",
    };
    format!("{n}{ending}")
}

/// The counts of all sizes as patterns print them, `brim: 72 (76, 80) sts, 10 (10, 12) rounds`; none for one size.
pub fn graded(piece: &PiecePlan) -> Vec<String> {
    let [first, others @ ..] = &piece.sizes[..] else { return Vec::new() };
    if others.is_empty() {
        return Vec::new();
    }
    let all = |of: &dyn Fn(&SizedPiece) -> u32, counted: Counted| {
        let others: Vec<String> = others.iter().map(|sized| of(sized).to_string()).collect();
        let first = count(of(first), counted, piece.round);
        let (number, word) = first.split_once(' ').unwrap_or((&first, ""));
        format!("{number} ({}) {word}", others.join(", "))
    };
    let part = |(index, part): (usize, &PartPlan)| {
        let stitches = all(&|sized| sized.parts[index].stitches.count, Counted::Stitches);
        let rows_of = |sized: &SizedPiece| sized.parts[index].rows.as_ref().map_or(0, |rows| rows.count);
        let rows = part.rows.as_ref().map_or_else(String::new, |_| format!(", {}", all(&rows_of, Counted::Rows)));
        format!("{}: {stitches}{rows}", part.name)
    };
    first.parts.iter().enumerate().map(part).collect()
}

/// Whether a piece needs more than casting on and straight knitting.
pub fn is_shaped(piece: &PiecePlan) -> bool {
    let mut parts = piece.sizes.iter().flat_map(|s| &s.parts);
    parts.any(|p| !p.shaping.is_empty() || p.join.is_some() || p.cord.is_some())
}

/// How a piece is worked, in words.
pub fn worked(piece: &PiecePlan) -> &'static str {
    match (piece.round, piece.direction) {
        (true, _) => "in the round",
        (false, Direction::Upwards) => "flat",
        (false, Direction::Sideways) => "flat, knitted sideways",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{compose, read};
    use crate::sizing::{Arrangement, Pace, ShapingStep, schedule, space_decreases, space_increases};

    /// The steps of the first piece at 20 stitches and 30 rows in 10 cm.
    fn steps_of(piece: &str) -> Vec<String> {
        let gauge = "[gauge.a]\nstitches = \"20 ± 0.1\"\nrows = \"30 ± 0.1\"\nover = \"10 cm\"\n";
        let file = read(&format!("{gauge}[[piece]]\nname = \"x\"\n{piece}")).expect("a plan file");
        let plan = compose(&file.request, &std::collections::BTreeMap::new()).expect("a plan");
        instructions(&plan.pieces[0], &plan.pieces[0].sizes[0])
    }

    #[test]
    fn a_joining_row_is_among_the_rows_of_its_part() {
        let steps = steps_of(
            "[[piece.part]]\nname = \"hem\"\nwidth = \"20 cm\"\nlength = \"5 cm\"\n\
             [[piece.part]]\nname = \"body\"\nwidth = \"25 cm\"\nlength = \"20 cm\"\n",
        );
        let expected = [
            "hem: Cast on 40 sts.",
            "Work 15 rows straight (5.0 cm).",
            "body: Next row: k2, M1, [k4, M1] 9 times, k2. 50 sts.",
            "Work 59 rows straight (20.0 cm with the row before).",
            "Bind off 50 sts.",
        ];
        assert_eq!(steps, expected);
    }

    /// `k1, ssk, k to last 3 sts, k2tog, k1` takes six stitches; from four to two there are not so many.
    #[test]
    fn shaping_at_the_ends_is_spelt_out_where_the_row_is_long_enough() {
        let row_of = |to: u32, per_row: u32, ends: &str| {
            let shaping = format!("to = {to}\nper_row = {per_row}\nends = \"{ends}\"\n");
            steps_of(&format!("width = \"4 cm\"\nlength = \"20 cm\"\n[[piece.shaping]]\n{shaping}"))[1].clone()
        };
        // 4 cm are 8 stitches.
        assert_eq!(row_of(4, 2, "both"), "Decrease row: k1, ssk, k to last 3 sts, k2tog, k1 (2 sts fewer).");
        assert_eq!(row_of(2, 2, "both"), "Decrease row: 1 st decreased at each end (2 sts fewer).");
        assert_eq!(row_of(2, 1, "beginning"), "Decrease row: k1, ssk, k to end (1 st fewer).");
        assert_eq!(row_of(1, 1, "end"), "Decrease row: 1 st decreased at the end (1 st fewer).");
        assert_eq!(row_of(2, 6, "both"), "Decrease row: 3 sts decreased at each end (6 sts fewer).");
    }

    #[test]
    fn spacing_reads_as_knitters_write_it() {
        assert_eq!(spacing(&space_increases(112, 16, Arrangement::Round).unwrap()), "[k7, M1] 16 times");
        assert_eq!(spacing(&space_increases(51, 4, Arrangement::HalfAtEnds).unwrap()), "k6, M1, [k13, M1] 3 times, k6");
        assert_eq!(spacing(&space_decreases(64, 8, Arrangement::Round).unwrap()), "[k6, k2tog] 8 times");
        assert_eq!(spacing(&space_decreases(16, 8, Arrangement::Round).unwrap()), "[k2tog] 8 times");
    }

    #[test]
    fn schedules_name_their_rows() {
        let of = |from, to, pace| {
            let step = ShapingStep { from, to, per_row: 2, pace, right_side_only: false };
            which_rows(&schedule(step).unwrap(), false)
        };
        assert_eq!(of(5, 25, Pace::Every(1)), "rows 1 to 10");
        assert_eq!(of(20, 26, Pace::Over(10)), "rows 3, 6, 10 (every 3rd row 2 times, every 4th row once)");
        assert_eq!(of(20, 22, Pace::Over(10)), "row 10");
        let right_side = ShapingStep { from: 42, to: 50, per_row: 2, pace: Pace::Over(39), right_side_only: true };
        assert_eq!(
            which_rows(&schedule(right_side).unwrap(), false),
            "rows 7, 17, 27, 37 (row 7, then every 10th row 3 times)"
        );
    }
}
