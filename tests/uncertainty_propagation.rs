//! Uncertain values against numeric derivatives and drawing, shared sources, budgets, and what people are shown.

use proptest::prelude::*;
use walewise::quantity::{
    Budget, Confidence, Contribution, Shape, Source, Uncertain, paired_budget, plus_minus, plus_minus_two_digits,
    propagate_distributions,
};

fn with_u(name: &'static str, value: f64, u: f64, shape: Shape) -> Uncertain {
    let half_width = u / shape.standard_uncertainty(1.0);
    Uncertain::exact(value).with(Contribution::type_b(Source::named(name), half_width, shape, 1.0))
}

fn shape() -> impl Strategy<Value = Shape> {
    prop_oneof![Just(Shape::Normal), Just(Shape::Rectangular), Just(Shape::Triangular), Just(Shape::Arcsine)]
}

/// x² y / (x + 3) − exp(y / 10) + ln x, once with uncertain values, once plainly.
fn model(x: &Uncertain, y: &Uncertain) -> Option<Uncertain> {
    let fraction = (&x.powi(2)? * y).divided_by(&x.shifted(3.0))?;
    Some(&(&fraction - &y.scaled(0.1).exp()) + &x.ln()?)
}

fn plain_model(x: f64, y: f64) -> f64 {
    x * x * y / (x + 3.0) - (y / 10.0).exp() + x.ln()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn propagation_matches_numeric_derivatives(x in 0.2f64..50.0, y in -20f64..20.0, ux in 0.001f64..0.1, uy in 0.001f64..0.1) {
        let out = model(&with_u("x", x, ux, Shape::Normal), &with_u("y", y, uy, Shape::Normal)).unwrap();
        let step = 1e-5;
        let by_x = (plain_model(x * (1.0 + step), y) - plain_model(x * (1.0 - step), y)) / (2.0 * step * x);
        let by_y = (plain_model(x, y + step) - plain_model(x, y - step)) / (2.0 * step);
        prop_assert!((out.value - plain_model(x, y)).abs() <= 1e-9 * (1.0 + out.value.abs()));
        // Central differences: error of the order step² plus rounding over step.
        let allowed = 1e-6 * (1.0 + by_x.abs() + by_y.abs() + out.value.abs() / x);
        prop_assert!((out.contributions[0].standard / ux - by_x).abs() <= allowed);
        prop_assert!((out.contributions[1].standard / uy - by_y).abs() <= allowed);
    }

    /// The coverage factor against 40 000 draws: the share inside has a sampling error of 0.11 to 0.15 %, of which five
    /// are allowed, and the factor itself is good to 0.003 (which the steep ends of an arcsine turn into a per cent).
    #[test]
    fn intervals_hold_what_they_state(
        parts in prop::collection::vec((0.05f64..1.0, shape()), 1..5),
        confidence in prop_oneof![Just(Confidence::P90), Just(Confidence::P95), Just(Confidence::P99)],
        seed in 0u64..1000,
    ) {
        let names = ["a", "b", "c", "d"];
        let sum = parts.iter().zip(names).fold(Uncertain::exact(3.0), |sum, ((u, shape), name)| {
            &sum + &with_u(name, 0.0, *u, *shape)
        });
        let expanded = sum.expanded(confidence);
        let drawn = propagate_distributions(&[&sum], |x| Some(x[0]), 40_000, seed).unwrap();
        let inside = |k: f64| drawn.probability(|v| (v - 3.0).abs() <= k * expanded.standard_uncertainty);
        let (k, p) = (expanded.coverage_factor, confidence.fraction());
        prop_assert!(inside(k - 0.003) < p + 0.007 && inside(k + 0.003) > p - 0.007, "{expanded:?}");
        prop_assert!((drawn.standard_uncertainty() / sum.standard_uncertainty() - 1.0).abs() < 0.03);
    }

    #[test]
    fn a_shared_scale_error_cancels_in_a_ratio(s in 10f64..40.0, r in 10f64..60.0, scale in 0.0001f64..0.01, u in 0.0001f64..0.01) {
        let ruler = || Contribution::stated(Source::shared("ruler accuracy", "blue ruler"), scale);
        let phase = |name| Contribution::type_a(Source::named(name), u, 12.0);
        let stitches = Uncertain::exact(s).with_relative(ruler()).with_relative(phase("stitch phase"));
        let rows = Uncertain::exact(r).with_relative(ruler()).with_relative(phase("row phase"));
        let ratio = rows.divided_by(&stitches).unwrap();
        let expected = 2f64.sqrt() * u;
        prop_assert!((ratio.relative_standard_uncertainty().unwrap() / expected - 1.0).abs() < 1e-9);
        // In the product it counts twice.
        let product = &rows * &stitches;
        let expected = (2.0 * u * u + 4.0 * scale * scale).sqrt();
        prop_assert!((product.relative_standard_uncertainty().unwrap() / expected - 1.0).abs() < 1e-9);
    }

    #[test]
    fn json_keeps_every_bit(value in -1e6f64..1e6, u in 1e-6f64..1e3, nu in prop_oneof![Just(f64::INFINITY), 1f64..500.0]) {
        let before = Uncertain::exact(value).with(Contribution::type_a(Source::shared("ruler", "one"), u, nu));
        let text = serde_json::to_string(&before).unwrap();
        let after: Uncertain = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(after, before);
    }

    /// What is shown never differs from the truth by more than half a unit of the last shown digit.
    #[test]
    fn shown_digits_are_near_the_numbers(value in -1e4f64..1e4, half_width in 1e-4f64..1e3) {
        for text in [plus_minus(value, half_width), plus_minus_two_digits(value, half_width)] {
            let (v, u) = text.split_once(" ± ").unwrap();
            let (v, u): (f64, f64) = (v.parse().unwrap(), u.parse().unwrap());
            prop_assert!((u / half_width - 1.0).abs() < 0.18, "{text} for {half_width}");
            prop_assert!((v - value).abs() <= 0.18 * half_width + 1e-9, "{text} for {value}");
        }
    }
}

#[test]
fn different_occasions_average_shared_things_do_not() {
    let measured = |day: &str| {
        Uncertain::exact(22.0)
            .with_relative(Contribution::stated(Source::shared("ruler accuracy", "blue ruler"), 0.003))
            .with_relative(Contribution::type_a(Source::named("phase fit"), 0.004, 20.0))
            .on_occasion(day)
    };
    let mean = Uncertain::mean(&[measured("1"), measured("2"), measured("3"), measured("4")]).unwrap();
    let expected = (0.003f64.powi(2) + 0.004f64.powi(2) / 4.0).sqrt();
    assert!((mean.relative_standard_uncertainty().unwrap() - expected).abs() < 1e-12);
    // Four independent sources of 20 degrees of freedom each, and one known.
    let share: f64 = 0.002f64.powi(2) / expected.powi(2);
    assert!((mean.effective_degrees_of_freedom() - 80.0 / share.powi(2)).abs() < 1e-6);
}

#[test]
fn no_answer_is_none() {
    let zero = Uncertain::exact(0.0);
    assert_eq!(Uncertain::exact(1.0).divided_by(&zero), None);
    assert_eq!(zero.powi(-1), None);
    assert_eq!(zero.ln(), None);
    assert_eq!(zero.relative_standard_uncertainty(), None);
    assert_eq!(zero.expanded(Confidence::P95).relative(), None);
    assert_eq!(Uncertain::mean(&[]), None);
    assert_eq!(paired_budget(&zero, &zero), None);
    let exact = Uncertain::exact(5.0).expanded(Confidence::P95);
    assert_eq!(exact.expanded_uncertainty, 0.0);
    assert_eq!(propagate_distributions(&[&zero], |_| None, 100, 1), None);
}

#[test]
fn budgets_are_sorted_and_complete() {
    let ruler = || Contribution::stated(Source::named("ruler accuracy"), 0.003);
    let stitches = Uncertain::exact(22.0).with_relative(ruler()).with_relative(Contribution::type_a(
        Source::named("stitch phase"),
        -0.004,
        9.0,
    ));
    let rows = Uncertain::exact(30.0).with_relative(ruler());
    let budget = Budget::of(&stitches);
    assert_eq!(budget.lines[0].contribution.source.name, "stitch phase");
    assert!((budget.lines.iter().map(|l| l.share).sum::<f64>() - 1.0).abs() < 1e-12);
    assert!((budget.lines[0].relative_percent.unwrap() + 0.4).abs() < 1e-12);
    let paired = paired_budget(&stitches, &rows).unwrap();
    assert_eq!(paired.len(), 2);
    assert!((paired[0].stitches_percent - 0.3).abs() < 1e-12 && (paired[0].rows_percent - 0.3).abs() < 1e-12);
    assert_eq!(paired[1].rows_percent, 0.0);
}

#[test]
fn people_see_sensible_digits() {
    assert_eq!(plus_minus(22.4137, 0.31), "22.4 ± 0.3");
    assert_eq!(plus_minus(22.4137, 0.1349), "22.41 ± 0.13");
    assert_eq!(plus_minus(22.4137, 0.0961), "22.41 ± 0.10");
    assert_eq!(plus_minus(22.4137, 0.0996), "22.41 ± 0.10");
    assert_eq!(plus_minus(22.4137, 0.996), "22.4 ± 1.0");
    assert_eq!(plus_minus(22.4137, 0.297), "22.4 ± 0.3");
    assert_eq!(plus_minus(1234.0, 56.0), "1230 ± 60");
    assert_eq!(plus_minus(-3.0, 0.0), "-3.00 ± 0.00");
    assert_eq!(plus_minus_two_digits(22.4137, 0.31), "22.41 ± 0.31");
    assert_eq!(plus_minus_two_digits(100.0, 12.3), "100 ± 12");
}

/// Probabilities against shapes whose distribution is elementary, and against the interval of the same value.
#[test]
fn probabilities_belong_to_the_intervals() {
    let normal = Uncertain::exact(10.0).with(Contribution::stated(Source::named("a"), 0.5));
    assert!((normal.probability_below(10.0) - 0.5).abs() < 1e-12);
    assert!((normal.probability_between(10.0 - 0.98, 10.0 + 0.98) - 0.95).abs() < 1e-4, "1.96 standard uncertainties");
    let limits = Uncertain::exact(3.0).with(Contribution::type_b(Source::named("b"), 2.0, Shape::Rectangular, 1.0));
    assert!((limits.probability_between(2.0, 4.0) - 0.5).abs() < 0.002, "half of the range");
    assert!(limits.probability_below(0.9) < 1e-6 && limits.probability_below(5.1) > 1.0 - 1e-6);
    let few = Contribution::type_a(Source::named("c"), 0.4, 5.0);
    for value in [normal.clone().with(few), &limits + &normal, &limits - &normal] {
        let (low, high) = value.expanded(Confidence::P95).interval();
        assert!((value.probability_between(low, high) - 0.95).abs() < 0.001);
        assert!((value.probability_below(low) - 0.025).abs() < 0.0005);
    }
    let exact = Uncertain::exact(7.0);
    assert_eq!(
        (exact.probability_below(6.9), exact.probability_below(7.0), exact.probability_between(7.0, 7.0)),
        (0.0, 1.0, 1.0)
    );
}
