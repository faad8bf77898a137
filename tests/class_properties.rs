//! What holds for the arithmetic of every class: small and lopsided nests, no stated errors, wild values.

use proptest::prelude::*;
use walewise::class::anova::OneWay;
use walewise::class::{Class, ClassQuestion, Part, Piece, Reading, class};
use walewise::quantity::{Contribution, Source, Uncertain};

/// A measurement: knitter, swatch, stitches, standard uncertainty.
type Line = (u8, u8, f64, f64);

fn lines() -> impl Strategy<Value = Vec<Line>> {
    let uncertainty = prop_oneof![Just(0.0), 0.01..0.5, Just(3.0)];
    let value = prop_oneof![3 => 18.0..26.0, 1 => Just(22.0)];
    prop::collection::vec((0_u8..7, 0_u8..3, value, uncertainty), 1..24)
}

fn analysed(lines: &[Line], ruler: f64) -> Class {
    let reading = |(i, (knitter, swatch, value, u)): (usize, &Line)| {
        let mut gauge = Uncertain::exact(*value);
        if *u > 0.0 {
            gauge = gauge.with(Contribution::stated(Source::named("reading of the graduations"), *u));
        }
        if ruler > 0.0 {
            gauge = gauge.with(Contribution::stated(Source::shared("accuracy of the ruler", "steel"), ruler));
        }
        Reading::new(&format!("k{knitter}"), &format!("s{swatch}"), &i.to_string(), [Some(gauge), None])
    };
    let question =
        ClassQuestion { title: String::new(), piece: Piece::HEADBAND, mixed_patterns: false, mixed_states: false };
    class(lines.iter().enumerate().map(reading).collect(), Vec::new(), &question).unwrap()
}

/// The same with an error of its own for each: without any, equal values make a likelihood that has no bound.
fn with_errors(lines: Vec<Line>) -> Vec<Line> {
    lines.into_iter().map(|(k, s, v, u)| (k, s, v, u.max(0.05))).collect()
}

fn parts(class: &Class) -> &[Part] {
    &class.spread[0].parts
}

/// Alike to a millionth of the larger, or of one thousandth of a stitch, below which a variance of zero wavers.
fn alike(a: f64, b: f64) -> bool {
    (a - b).abs() <= 2e-3 * a.abs().max(b.abs()).max(0.02)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn every_number_is_one(lines in lines()) {
        let found = analysed(&lines, 0.1);
        let spread = &found.spread[0];
        prop_assert!(spread.mean_per_10cm.value.is_finite() && spread.mean_per_10cm.expanded_uncertainty >= 0.0);
        let sum: f64 = parts(&found).iter().map(|p| p.share).sum();
        prop_assert!((sum - 1.0).abs() < 1e-9 || sum == 0.0, "{sum}");
        for part in parts(&found) {
            prop_assert!(part.standard_deviation >= 0.0 && part.standard_deviation.is_finite() && part.share >= 0.0);
            if let Some([low, high]) = part.interval_95 {
                prop_assert!(low >= 0.0 && high.is_finite(), "{part:?}");
                prop_assert!(low <= part.standard_deviation * (1.0 + 1e-9) && part.standard_deviation <= high * (1.0 + 1e-9), "{part:?}");
            }
        }
        if let Some(share) = spread.knitters_share {
            let [low, high] = share.interval_95;
            prop_assert!(0.0 <= low && low <= share.value && share.value <= high && high <= 1.0, "{share:?}");
        }
        for knitter in &found.knitters {
            let piece = knitter.piece.as_ref().unwrap();
            prop_assert!(piece.cast_on > 0 && (0.0..=1.0).contains(&piece.probability_within_tolerance));
        }
    }

    /// Another unit, another zero, another order: the same class.
    #[test]
    fn unit_zero_and_order_do_not_matter(lines in lines(), seed in 0_usize..24) {
        let lines = with_errors(lines);
        let found = analysed(&lines, 0.0);
        let scaled: Vec<Line> = lines.iter().map(|(k, s, v, u)| (*k, *s, 1.016 * v, 1.016 * u)).collect();
        let shifted: Vec<Line> = lines.iter().map(|(k, s, v, u)| (*k, *s, v + 7.0, *u)).collect();
        let mut turned = lines.clone();
        turned.rotate_left(seed % lines.len());
        for (other, factor) in [(&scaled, 1.016), (&shifted, 1.0), (&turned, 1.0)] {
            let again = analysed(other, 0.0);
            for (a, b) in parts(&found).iter().zip(parts(&again)) {
                prop_assert!(alike(factor * a.standard_deviation, b.standard_deviation), "{a:?} {b:?}");
            }
        }
    }

    /// A ruler that all share moves the mean's uncertainty and no part of the spread.
    #[test]
    fn a_shared_ruler_is_in_no_spread(lines in lines(), ruler in 0.05_f64..1.0) {
        let lines = with_errors(lines);
        let (without, with) = (analysed(&lines, 0.0), analysed(&lines, ruler));
        for (a, b) in parts(&without).iter().zip(parts(&with)) {
            prop_assert!(alike(a.standard_deviation, b.standard_deviation), "{a:?} {b:?}");
        }
        let square = |c: &Class| c.spread[0].mean_per_10cm.standard_uncertainty.powi(2);
        prop_assert!(alike(square(&with), square(&without) + ruler * ruler));
    }

    /// Squares between and within groups make those about the mean.
    #[test]
    fn squares_add_up(groups in prop::collection::vec(prop::collection::vec(-5.0_f64..5.0, 1..6), 2..6)) {
        if let Some(a) = OneWay::of(&groups) {
            let all: Vec<f64> = groups.concat();
            let mean = all.iter().sum::<f64>() / all.len() as f64;
            let whole: f64 = all.iter().map(|v| (v - mean).powi(2)).sum();
            prop_assert!((a.between_squares + a.within_squares - whole).abs() < 1e-9);
        }
    }
}
