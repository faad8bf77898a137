//! Whole plans, worked out by hand beside each check.

use super::compose;
use crate::plan::{Plan, read};
use crate::sizing::PlanCautionCode;
use std::collections::BTreeMap;

/// 20 stitches and 30 rows in 10 cm: a stitch is 5 mm wide, three rows are 1 cm.
const GAUGE: &str = "[gauge.a]\nstitches = \"20 ± 0.1\"\nrows = \"30 ± 0.1\"\nover = \"10 cm\"\n";

fn planned(text: &str) -> Result<Plan, String> {
    let file = read(text).map_err(|e| e.to_string())?;
    compose(&file.request, &BTreeMap::new()).map_err(|problem| problem.to_string())
}

#[track_caller]
fn mistake(text: &str, words: &[&str]) {
    let message = planned(text).map(|_| ()).expect_err("a mistake");
    words.iter().for_each(|word| assert!(message.contains(word), "'{word}' in {message}"));
}

/// A hem of 40 stitches and 15 rows, and a body of 50 stitches and 60 rows: the row that joins them is one of the 60.
#[test]
fn a_row_that_joins_two_parts_is_one_of_the_second_parts_rows() {
    let text = format!(
        "{GAUGE}[[piece]]\nname = \"x\"\n[[piece.part]]\nname = \"hem\"\nwidth = \"20 cm\"\nlength = \"5 cm\"\n\
         [[piece.part]]\nname = \"body\"\nwidth = \"25 cm\"\nlength = \"20 cm\"\n"
    );
    let plan = planned(&text).expect("a plan");
    let body = &plan.pieces[0].sizes[0].parts[1];
    assert_eq!((body.rows.as_ref().map(|r| r.count), body.straight_rows), (Some(60), 59));
    assert_eq!(body.stitches_worked, 60 * 50);
}

/// Row numbers of the whole piece from 1, a right-side row; the shaping rows are odd, wherever the step begins.
#[test]
fn right_side_rows_are_counted_through_the_whole_piece() {
    // The hem has 15 rows (5 cm) or 18 (6 cm); the body begins with or without a row that joins them; a step of 21 rows
    // (7 cm), in which any row shapes, comes before the one that is looked at.
    for (hem, hem_rows) in [("5 cm", 15), ("6 cm", 18)] {
        for (width, joined) in [("", 0), ("width = \"25 cm\"\n", 1)] {
            for (first, first_rows) in [("", 0), ("[[piece.part.shaping]]\nto = 60\nover = \"7 cm\"\n", 21)] {
                let text = format!(
                    "{GAUGE}[[piece]]\nname = \"x\"\n[[piece.part]]\nname = \"hem\"\nwidth = \"20 cm\"\nlength = \"{hem}\"\n\
                     [[piece.part]]\nname = \"body\"\n{width}length = \"20 cm\"\n{first}\
                     [[piece.part.shaping]]\nto = 30\nright_side_only = true\n"
                );
                let plan = planned(&text).expect("a plan");
                let body = &plan.pieces[0].sizes[0].parts[1];
                let schedule = &body.shaping.last().expect("a step").schedule;
                let before = hem_rows + joined + first_rows;
                let rows: Vec<u32> = schedule.table().iter().map(|(row, _)| before + row).collect();
                assert!(rows.iter().all(|row| row % 2 == 1), "{text}{rows:?}");
                assert_eq!(joined + first_rows + schedule.rows() + body.straight_rows, 60, "{text}");
            }
        }
    }
    // After 15 rows and the joining one, no row is missing for ten steps (20 rows); after 15 rows alone, one is.
    let tight = |width: &str, length: &str| {
        format!(
            "{GAUGE}[[piece]]\nname = \"x\"\n[[piece.part]]\nname = \"hem\"\nwidth = \"20 cm\"\nlength = \"5 cm\"\n\
             [[piece.part]]\nname = \"body\"\n{width}length = \"{length}\"\n\
             [[piece.part.shaping]]\nto = 20\nright_side_only = true\n"
        )
    };
    // 7 cm are 21 rows.
    assert!(planned(&tight("", "7 cm")).is_ok());
    mistake(
        &tight("", "200 mm").replace("200 mm", "66.7 mm"),
        &["10 shaping rows don't fit into 20 rows; at least 21"],
    );
    assert!(planned(&tight("width = \"20.5 cm\"\n", "7 cm").replace("to = 20", "to = 21")).is_ok(), "one row joins");
    // In the round every row is a right-side row.
    mistake(
        &format!(
            "{GAUGE}[[piece]]\nname = \"x\"\nworked = \"round\"\nwidth = \"20 cm\"\nlength = \"9 cm\"\n\
             [[piece.shaping]]\nto = 30\nright_side_only = true\n"
        ),
        &["piece[1].shaping[1].right_side_only", "every"],
    );
}

/// Two pieces vary independently from place to place, whatever they are called.
#[test]
fn pieces_of_one_name_are_two_pieces() {
    let metres = |second: &str| {
        let piece = |name| format!("[[piece]]\nname = \"{name}\"\nwidth = \"20 cm\"\nlength = \"20 cm\"\n");
        let yarn = "[yarn]\nswatch_mass_g = 20\nswatch_sides = [\"15 cm\", \"15 cm\"]\nball_g = 50\nball_m = 120\n";
        let text = format!("{GAUGE}{}{}{yarn}", piece("sleeve"), piece(second));
        planned(&text).expect("a plan").yarn[0].amount.pieces_g
    };
    assert_eq!(metres("sleeve"), metres("other sleeve"));
}

#[test]
fn a_short_file_asks_for_no_endless_plan() {
    let sizes: Vec<String> = (0..40).map(|i| format!("\"{i}\"")).collect();
    let sizes = format!("{GAUGE}[sizes]\nnames = [{}]\n[[piece]]\nname = \"x\"\n", sizes.join(", "));
    let parts = "[[piece.part]]\nname = \"p\"\nwidth = \"20 cm\"\n".repeat(51);
    mistake(&format!("{sizes}{parts}"), &["piece: ", "2040 parts", "at most 2000"]);
    let steps = "[[piece.shaping]]\nto = 9040\nevery = 1\n[[piece.shaping]]\nto = 40\nevery = 1\n".repeat(12);
    mistake(&format!("{sizes}width = \"20 cm\"\n{steps}"), &["piece[1].shaping[23]", "more than 200000 stitches"]);
    let step = "[[piece.shaping]]\nto = 9040\nevery = 1\n";
    mistake(&format!("{sizes}width = \"20 cm\"\n{step}"), &["piece[1]: ", "more than 200000 stitches"]);
    mistake(&"[[evenly]]\nfrom = 4\nto = 5\n".repeat(201), &["evenly: ", "201 of them", "at most 200"]);
}

#[test]
fn a_patterns_gauge_is_in_range_like_mine() {
    let regauge =
        |printed: &str| format!("{GAUGE}[regauge]\n{printed}\n[[regauge.count]]\nname = \"b\"\nstitches = 9\n");
    mistake(&regauge("stitches = 22\nover = \"1 mm\""), &["regauge.stitches", "2200.0000 stitches", "0.5 to 300"]);
    mistake(&regauge("stitches = \"1e300\"\nover = \"10 cm\""), &["regauge.stitches", "1e300 stitches"]);
    mistake(&regauge("stitches = 22\nrows = \"1e-7\"\nover = \"10 cm\""), &["regauge.rows", "1e-7 rows"]);
}

#[test]
fn yarn_stands_on_sides_and_balls_that_can_be() {
    let yarn = |of: &str| {
        let piece = "[[piece]]\nname = \"x\"\nwidth = \"20 cm\"\nlength = \"20 cm\"\n";
        format!("{GAUGE}{piece}[yarn]\nswatch_mass_g = 20\nball_g = 50\n{of}\n")
    };
    let sides = yarn("ball_m = 120\nswatch_sides = [\"15 cm\", \"4 cm\"]\nsides_within = \"1 cm\"");
    mistake(&sides, &["yarn.swatch_sides", "within 10 mm", "a fifth"]);
    assert!(planned(&sides.replace("4 cm", "5 cm")).is_ok(), "1 cm is a fifth of 5 cm");
    // 50 g at 100 000 tex are half a metre, at 0.01 tex five million.
    mistake(&yarn("tex = 100000\nswatch_stitches = 900"), &["yarn.tex", "0.500 m", "1 to 100000"]);
    mistake(&yarn("tex = 0.01\nswatch_stitches = 900"), &["yarn.tex", "5000000.000 m"]);
    assert!(planned(&yarn("nm = 2.4\nswatch_stitches = 900")).is_ok(), "120 m");
}

/// A size of a published table that children wear is a child's, whatever else is said.
#[test]
fn sizes_of_children_are_for_children() {
    let codes = |size: &str, wearer: &str| {
        let sizes = format!("[sizes]\ntable = \"head\"\nnames = [\"{size}\", \"man\"]\n");
        let text = format!("ties = true\n{wearer}{GAUGE}{sizes}[[piece]]\nname = \"x\"\nwidth = \"head\"\n");
        planned(&text).expect("a plan").cautions[0].code
    };
    for wearer in ["", "for = \"adult\"\n", "for = \"child\"\n"] {
        assert_eq!(codes("toddler", wearer), PlanCautionCode::ChildCords, "{wearer}");
    }
    assert_eq!(codes("woman", ""), PlanCautionCode::CordsWearerUnsaid);
    assert_ne!(codes("woman", "for = \"adult\"\n"), PlanCautionCode::CordsWearerUnsaid);
}

#[test]
fn a_measure_may_have_any_name_that_is_no_length() {
    let text = format!(
        "{GAUGE}[sizes]\nnames = [\"S\"]\n\"2nd finger\" = [\"10 cm\"]\n[[piece]]\nname = \"x\"\nwidth = \"2nd finger\"\n"
    );
    assert_eq!(planned(&text).expect("a plan").pieces[0].sizes[0].parts[0].stitches.count, 20);
}

#[test]
fn rows_that_are_needed_are_asked_for() {
    let band = "[gauge.c]\nstitches = 20\nover = \"10 cm\"\n[[piece]]\nname = \"x\"\ndirection = \"sideways\"\ngauge = \"a\"\n\
                width = \"40 cm\"\nlength = \"5 cm\"\n[piece.cord]\nstitches = 2\nlength = \"9 cm\"\ngauge = \"c\"\n";
    mistake(&format!("{GAUGE}{band}"), &["piece[1].cord.gauge", "'c' has no rows", "count them too"]);
    let plan = planned(&format!("{GAUGE}{}", band.replace("\"c\"", "\"a\""))).expect("a plan");
    // 9 cm at three rows a cm.
    assert_eq!(plan.pieces[0].sizes[0].parts[0].cord.as_ref().and_then(|cord| cord.rows), Some(27));
}

/// A fabric that differs by a seventh from piece to piece (half of a 95 % interval of 28 %) tells no count, however well the
/// swatch was counted.
#[test]
fn a_next_piece_that_may_be_anything_has_no_plan() {
    let piece = "[[piece]]\nname = \"x\"\nwidth = \"20 cm\"\n";
    let text = |percent: u32| format!("{GAUGE}variation_percent = {percent}\nanother_day_percent = {percent}\n{piece}");
    mistake(&text(10), &["gauge.a", "a fifth", "count more"]);
    assert!(planned(&text(5)).is_ok(), "14 %");
}
