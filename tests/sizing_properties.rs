//! What holds for every count and schedule, and what drawing says of intervals and probabilities.

use proptest::prelude::*;
use std::collections::BTreeMap;
use walewise::quantity::{Confidence, Contribution, Shape, Source, Uncertain, propagate_distributions};
use walewise::sizing::{
    Arrangement, CountRule, Counted, FabricVariation, Length, LengthUnit, Pace, ShapingStep, Target, band_from_cord,
    castable, finished_mm, schedule, space_decreases, space_increases,
};

fn target(finished_mm: f64, tolerance_mm: f64) -> Target {
    Target { body_mm: finished_mm, ease_mm: 0.0, finished_mm, tolerance_mm }
}

fn arrangement() -> impl Strategy<Value = Arrangement> {
    prop_oneof![Just(Arrangement::HalfAtEnds), Just(Arrangement::EqualSections), Just(Arrangement::Round)]
}

/// Largest minus smallest.
fn range(values: &[u32]) -> u32 {
    values.iter().max().unwrap_or(&0) - values.iter().min().unwrap_or(&0)
}

proptest! {
    #[test]
    fn schedules_add_up_and_are_even(
        from in 1u32..400, shaping_rows in 0u32..80, per_row in 1u32..7, rows in 0u32..500, up: bool, right_side_only: bool,
    ) {
        let change = shaping_rows * per_row;
        let (from, to) = if up { (from, from + change) } else { (from + change, from) };
        let step = ShapingStep { from, to, per_row, pace: Pace::Over(rows), right_side_only };
        let unit = if right_side_only { 2 } else { 1 };
        match schedule(step) {
            Err(_) => prop_assert!(rows / unit < shaping_rows, "only too few rows are an error"),
            Ok(even) => {
                prop_assert_eq!(even.rows(), rows);
                prop_assert_eq!(even.intervals.len() as u32, shaping_rows);
                prop_assert!(range(&even.intervals) <= unit);
                prop_assert!(even.intervals.iter().all(|i| *i > 0 && i % unit == 0));
                prop_assert!(!right_side_only || even.table().iter().all(|(row, _)| row % 2 == 1), "right-side rows are odd");
                prop_assert_eq!(even.table().last().map_or(from, |(_, stitches)| *stitches), to);
                let one_by_one: u64 = (1..=rows).map(|row| {
                    u64::from(even.table().iter().rev().find(|(r, _)| *r <= row).map_or(from, |(_, s)| *s))
                }).sum();
                prop_assert_eq!(even.stitches_worked(), one_by_one);
                // The odd rows are spread: no stretch of rows holds a shaping row more or fewer than its share.
                for (i, (row, _)) in even.table().iter().enumerate() {
                    let share = f64::from(row + u32::from(right_side_only)) * f64::from(shaping_rows) / f64::from(rows - even.plain_after);
                    prop_assert!((share - (i + 1) as f64).abs() < 1.0 + 1e-9, "row {} is not shaping row {}", row, i + 1);
                }
            }
        }
    }

    #[test]
    fn a_pace_in_rows_is_kept(from in 1u32..200, shaping_rows in 0u32..60, per_row in 1u32..5, every in 1u32..20) {
        let step = ShapingStep { from, to: from + shaping_rows * per_row, per_row, pace: Pace::Every(every), right_side_only: false };
        let kept = schedule(step).unwrap();
        prop_assert_eq!(kept.rows(), every * shaping_rows);
        let odd = ShapingStep { to: step.to + 1, per_row: per_row + 1, ..step };
        let whole = (odd.to - from).is_multiple_of(odd.per_row);
        prop_assert_eq!(schedule(odd).is_ok(), whole);
    }

    #[test]
    fn spacing_adds_up_and_is_even(stitches in 1u32..500, changes in 0u32..120, how in arrangement(), gains: bool) {
        let spaced = if gains { space_increases(stitches, changes, how) } else { space_decreases(stitches, changes, how) };
        let most = if gains { stitches } else { stitches / 2 };
        prop_assert_eq!(spaced.is_ok(), changes <= most);
        if let Ok(row) = spaced {
            let plain = row.before_each.iter().sum::<u32>() + row.after_last;
            let (taken, made) = if gains { (plain, plain + changes) } else { (plain + 2 * changes, plain + changes) };
            prop_assert_eq!((taken, made), (stitches, row.to));
            if let Some(share) = plain.checked_div(changes) {
                let inner = match how {
                    Arrangement::HalfAtEnds => &row.before_each[1..],
                    _ => &row.before_each[..],
                };
                prop_assert!(range(inner) <= 1);
                if how == Arrangement::HalfAtEnds {
                    let ends = [row.before_each[0] + row.after_last, share];
                    prop_assert!(range(&ends) <= 1);
                    prop_assert!(row.before_each[0].abs_diff(row.after_last) <= 1);
                }
            }
        }
    }

    #[test]
    fn bands_add_up(cord in 1u32..8, steps in 1u32..30, per_row in 1u32..4, every in 1u32..6, rows in 0u32..400) {
        let band = band_from_cord(cord, cord + steps * per_row, rows, per_row, every);
        prop_assert_eq!(band.is_ok(), 2 * steps * every <= rows);
        if let Ok(band) = band {
            prop_assert_eq!(band.rows(), rows);
            prop_assert_eq!(band.narrow.to, cord);
        }
    }

    #[test]
    fn counts_respect_their_rule(
        mm in 20.0f64..2000.0, per in 5.0f64..60.0, multiple in 1u32..25, balance in 0u32..25, edge in 0u32..6, seam in 0u32..6,
        step in 1u32..5, start in 0u32..9,
    ) {
        let rule = CountRule { multiple, balance, edge, seam, also: Some((step, start)) };
        if let Ok(found) = castable(Counted::Stitches, target(mm, 10.0), rule, &Uncertain::exact(per)) {
            for c in &found.candidates {
                prop_assert!(c.count >= multiple + balance + edge + seam);
                prop_assert_eq!((c.count - balance - edge - seam) % multiple, 0);
                prop_assert_eq!(c.count % step, start % step);
                let seen = f64::from(c.count - seam);
                prop_assert!((c.finished_mm.value - 100.0 * seen / per).abs() < 1e-9);
            }
            let chosen = found.chosen();
            // Without uncertainty a count within the tolerance is taken wherever there is one.
            let hits = found.candidates.iter().any(|c| c.off_mm.abs() <= 10.0);
            prop_assert_eq!(chosen.probability_within_tolerance > 0.5, hits);
            prop_assert!(found.candidates.iter().all(|c| hits || c.off_mm.abs() >= chosen.off_mm.abs() - 1e-9));
        }
        prop_assert_eq!(rule.in_the_round().allows(multiple * 3), (multiple * 3) % step == start % step);
    }

    #[test]
    fn wider_needs_no_fewer_stitches(mm in 50.0f64..1500.0, more in 0.0f64..300.0, per in 5.0f64..60.0, multiple in 1u32..13) {
        let rule = CountRule { multiple, ..CountRule::ANY };
        let count = |mm: f64| castable(Counted::Stitches, target(mm, 1.0), rule, &Uncertain::exact(per)).ok().map(|c| c.chosen().count);
        if let (Some(narrow), Some(wide)) = (count(mm), count(mm + more)) {
            prop_assert!(narrow <= wide);
        }
    }

    #[test]
    fn lengths_survive_every_unit(steps in 1i64..9_999_999) {
        // Thousandths of an inch and hundredths of a mm are whole numbers of steps: exact, whatever way they are written.
        for (text, unit) in [(format!("{}.{:03}", steps / 1000, steps % 1000), LengthUnit::Inch), (format!("{}.{:02}", steps / 100, steps % 100), LengthUnit::Mm)] {
            if let Ok(length) = Length::parse(&text, unit) {
                prop_assert_eq!(Length::from_mm(length.mm()), length);
                prop_assert_eq!(Length::parse(&format!("{} mm", length.mm()), LengthUnit::Inch), Ok(length));
                let inches = format!("{:.6} in", length.in_unit(LengthUnit::Inch));
                prop_assert_eq!(Length::parse(&inches, LengthUnit::Cm), Ok(length));
            }
        }
    }

    #[test]
    fn larger_pieces_vary_less(w in 10.0f64..1000.0, h in 10.0f64..1000.0, more in 1.0f64..3.0, correlation_mm in 5.0f64..80.0) {
        let variation = FabricVariation { correlation_mm, ..FabricVariation::usual() };
        prop_assert!(variation.over(w * more, h)[0] <= variation.over(w, h)[0] + 1e-15);
        prop_assert!(variation.over(w, h * more)[1] <= variation.over(w, h)[1] + 1e-15);
    }

    #[test]
    fn no_text_breaks_a_reader(text in "\\PC{0,24}") {
        let _ = Length::parse(&text, LengthUnit::Cm);
        let _ = walewise::sizing::Over::parse(&text);
        let _ = walewise::sizing::GaugeCount::parse(&text);
        let _ = walewise::sizing::Ease::parse(&text, LengthUnit::Inch);
        let _ = walewise::plan::read(&text);
    }
}

/// Values that plan files may hold by mistake or malice.
const ODD: [&str; 16] = [
    "0",
    "1",
    "3",
    "4000000000",
    "-1",
    "1e308",
    "0.0001",
    "\"0.001 mm\"",
    "\"100 m\"",
    "\"48 cm\"",
    "\"-20 %\"",
    "\"22 ± 0.3\"",
    "\"1e300\"",
    "[\"1 cm\", \"99 m\"]",
    "true",
    "\"across\"",
];

/// Keys of a plan file, each with a value that works.
const KEYS: [(&str, &str); 19] = [
    ("stitches", "22"),
    ("rows", "30"),
    ("over", "\"10 cm\""),
    ("variation_percent", "1"),
    ("width", "\"48 cm\""),
    ("ease", "\"2 cm\""),
    ("tolerance", "\"1 cm\""),
    ("length", "\"20 cm\""),
    ("multiple", "4"),
    ("balance", "2"),
    ("seam_stitches", "2"),
    ("row_multiple", "2"),
    ("to", "60"),
    ("per_row", "2"),
    ("every", "2"),
    ("swatch_mass_g", "12"),
    ("ball_m", "120"),
    ("spare_percent", "10"),
    ("from", "51"),
];

proptest! {
    /// Whatever stands in a plan file: a plan whose numbers are finite, or a mistake in words; never a panic.
    #[test]
    fn no_plan_file_breaks_the_arithmetic(changes in prop::collection::vec((0..KEYS.len(), 0..ODD.len()), 0..4)) {
        let value = |key: &str| {
            let at = KEYS.iter().position(|(k, _)| *k == key).unwrap();
            changes.iter().find(|(k, _)| *k == at).map_or(KEYS[at].1, |(_, v)| ODD[*v])
        };
        let line = |key: &&str| format!("{key} = {}\n", value(key));
        let keys = |keys: &[&str]| keys.iter().map(line).collect::<String>();
        let text = format!(
            "[sizes]\nnames = [\"a\", \"b\"]\n[gauge.body]\n{}[[piece]]\nname = \"p\"\n{}[[piece.shaping]]\n{}[yarn]\nball_g = 50\nswatch_stitches = 900\n{}[[evenly]]\nto = 60\n{}",
            keys(&["stitches", "rows", "over", "variation_percent"]),
            keys(&["width", "ease", "tolerance", "length", "multiple", "balance", "seam_stitches", "row_multiple"]),
            keys(&["to", "per_row", "every"]),
            keys(&["swatch_mass_g", "ball_m", "spare_percent"]),
            keys(&["from"]),
        );
        if let Ok(file) = walewise::plan::read(&text)
            && let Ok(plan) = walewise::plan::compose(&file.request, &BTreeMap::new())
        {
            let json = walewise::report::json::plan_line(&plan);
            prop_assert!(json.contains("walewise.plan/1"));
            prop_assert!(!walewise::report::plan_text::describe(&plan).contains("NaN"));
            prop_assert!(!walewise::report::plan_html::page(&plan).contains("NaN"));
        }
    }
}

/// A gauge of 22 sts / 10 cm with about so much relative uncertainty: half of it a ruler's limits, half normal.
fn uncertain_gauge(relative: f64) -> Uncertain {
    let half = relative / 2f64.sqrt();
    Uncertain::exact(22.0)
        .with_relative(Contribution::type_b(Source::named("limits"), half * 3f64.sqrt(), Shape::Rectangular, 1.0))
        .with_relative(Contribution::stated(Source::named("normal"), half))
}

/// Widths and probabilities by drawing (JCGM 101:2008) against what the plan states. The probability is that of the gauge's
/// own distribution and agrees to the draws' noise (10⁵ draws: 0.16 % at most); the interval is linear, and departs by the
/// curvature of 1/g: its middle by u² (relative), which at 1 % is 0.01 % of the width and at 3 % 0.09 %.
#[test]
fn drawing_agrees_with_what_is_stated() {
    const DRAWS: usize = 100_000;
    for relative in [0.003, 0.01, 0.03] {
        let gauge = uncertain_gauge(relative);
        let target = target(500.0, 12.0);
        let found = castable(Counted::Stitches, target, CountRule { multiple: 4, ..CountRule::ANY }, &gauge).unwrap();
        for candidate in &found.candidates {
            let n = f64::from(candidate.count);
            let drawn = propagate_distributions(&[&gauge], |g| Some(100.0 * n / g[0]), DRAWS, 7).unwrap();
            let within = drawn.probability(|mm| (mm - target.finished_mm).abs() <= target.tolerance_mm);
            let stated = candidate.probability_within_tolerance;
            assert!((within - stated).abs() < 0.006, "{relative}: {within} drawn, {stated} stated");
            let (low, high) = drawn.interval(Confidence::P95);
            let (stated_low, stated_high) = candidate.finished_mm.interval();
            let curvature = 500.0 * 2.5 * (2.0 * relative).powi(2) + 0.02 * candidate.finished_mm.expanded_uncertainty;
            assert!((low - stated_low).abs() < curvature, "{relative}: {low} {stated_low}");
            assert!((high - stated_high).abs() < curvature, "{relative}: {high} {stated_high}");
        }
    }
}

/// Yarn by drawing every input (gauge, swatch's sides and mass, spread) against the plan's linear interval. Four inputs of 2
/// to 3 % divide: the drawn interval lies a little higher; its ends agree to a tenth of the half-width.
#[test]
fn yarn_agrees_with_drawing() {
    let text = "[gauge.body]\nstitches = \"22 ± 0.6\"\nrows = \"30 ± 0.9\"\nover = \"10 cm\"\n[[piece]]\nname = \"p\"\nwidth = \"40 cm\"\nlength = \"50 cm\"\n[yarn]\nswatch_mass_g = 20\nswatch_sides = [\"15 cm\", \"16 cm\"]\nball_g = 50\nball_m = 120\n";
    let request = walewise::plan::read(text).unwrap().request;
    let plan = walewise::plan::compose(&request, &BTreeMap::new()).unwrap();
    let worked = plan.pieces[0].sizes[0].parts[0].stitches_worked as f64;
    let amount = &plan.yarn[0].amount;
    let normal = |name, value: f64, u: f64| Uncertain::exact(value).with(Contribution::stated(Source::named(name), u));
    let limits = |name, value: f64, half: f64| {
        Uncertain::exact(value).with(Contribution::type_b(Source::named(name), half, Shape::Rectangular, 1.0))
    };
    let inputs = [
        normal("stitches", 22.0, 0.6 / 1.96),
        normal("rows", 30.0, 0.9 / 1.96),
        limits("mass", 20.0, 0.5),
        limits("width", 150.0, 2.0),
        limits("height", 160.0, 2.0),
        normal("spread", 1.0, 0.03),
    ];
    let arguments: Vec<&Uncertain> = inputs.iter().collect();
    let metres = |v: &[f64]| Some((v[2] * v[5] * worked * 1e4 / (v[0] * v[1]) / (v[3] * v[4]) + v[2]) * 120.0 / 50.0);
    let drawn = propagate_distributions(&arguments, metres, 100_000, 11).unwrap();
    let ((low, high), (stated_low, stated_high)) = (drawn.interval(Confidence::P95), amount.metres.interval());
    let tenth = 0.1 * amount.metres.expanded_uncertainty;
    assert!(
        (low - stated_low).abs() < tenth && (high - stated_high).abs() < tenth,
        "{low} {stated_low} {high} {stated_high}"
    );
    // Balls: enough with 95 % means that at most one draw of twenty takes more.
    let enough = f64::from(amount.balls_95) * 120.0;
    assert!(drawn.probability(|m| m <= enough) > 0.94);
}

/// Area and sums of parts: one swatch's error moves all parts the same way.
#[test]
fn parts_of_one_gauge_move_together() {
    let gauge = uncertain_gauge(0.01);
    let (a, b) = (finished_mm(40, &gauge), finished_mm(60, &gauge));
    let sum = &a + &b;
    let whole = finished_mm(100, &gauge);
    assert!((sum.standard_uncertainty() - whole.standard_uncertainty()).abs() < 1e-9);
}
