//! Averaging photos: coverage by drawing, agreement, and the algebra.

use super::*;
use crate::quantity::{Confidence, Shape, Source};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A value with a shared rectangular ruler error, heights, an unseen tilt and a reading of its own, in per cent.
fn photo(value: f64, [ruler, height, tilt, reading, stitches]: [f64; 5]) -> Uncertain {
    let of = |percent: f64| percent / 100.0;
    let normal = |name: &'static str, percent: f64| Contribution::stated(Source::named(name), of(percent));
    let ruler_part = Contribution {
        shape: Shape::Rectangular,
        ..Contribution::stated(Source::named("accuracy of the ruler"), of(ruler))
    };
    Uncertain::exact(value)
        .with_relative(ruler_part)
        .with_relative(normal("height of the fabric's surface", height))
        .with_relative(normal("tilt that was not seen", tilt))
        .with_relative(normal("reading of the graduations", reading))
        .with_relative(normal("irregular stitches", stitches))
}

fn pair(value: f64, parts: [f64; 5]) -> [Uncertain; 2] {
    [photo(value, parts), photo(1.4 * value, parts)]
}

/// An influence that is renamed where it is made would be taken for one of which nothing is known, without a word.
#[test]
fn every_influence_that_is_placed_is_made_somewhere() {
    let made = [include_str!("swatch.rs"), include_str!("counted.rs")];
    for name in SHARED.iter().chain(&OWN).chain([&HABIT]) {
        assert!(made.iter().any(|text| text.contains(&format!("\"{name}"))), "{name}");
    }
}

#[test]
fn readings_average_and_the_ruler_does_not() {
    let one = [0.3, 0.0, 0.0, 0.4, 0.0];
    let four = combine(&vec![pair(22.0, one); 4]).unwrap();
    let [stitches, _] = &four.gauge;
    let part = |name: &str| stitches.contributions.iter().find(|c| c.source.name == name).unwrap().standard / 22.0;
    assert!((part("accuracy of the ruler") - 0.003).abs() < 1e-12);
    assert!((part("reading of the graduations") - 0.002).abs() < 1e-12);
    assert!(four.weights[0].iter().all(|w| (w - 0.25).abs() < 1e-12));
}

#[test]
fn one_photo_stays_as_it_is() {
    let one = pair(22.0, [0.3, 0.2, 0.6, 0.1, 0.2]);
    let combined = combine(std::slice::from_ref(&one)).unwrap();
    for axis in [0, 1] {
        assert!((combined.gauge[axis].value - one[axis].value).abs() < 1e-12);
        let (a, b) = (combined.gauge[axis].standard_uncertainty(), one[axis].standard_uncertainty());
        assert!((a - b).abs() < 1e-12);
    }
}

#[test]
fn the_photo_that_contradicts_the_others_is_named() {
    let parts = [0.3, 0.2, 0.3, 0.1, 0.1];
    let photos = [pair(22.0, parts), pair(22.05, parts), pair(23.5, parts), pair(21.95, parts)];
    let disagreement = combine(&photos).unwrap_err();
    assert_eq!(disagreement.farthest, 2);
    assert!(disagreement.chance < 1e-6);
    // A common ruler error explains nothing: photos that share it must agree in spite of it.
    let ruler_only = [3.0, 0.0, 0.0, 0.1, 0.0];
    assert!(combine(&[pair(22.0, ruler_only), pair(22.5, ruler_only)]).is_err());
}

#[test]
fn an_influence_of_unknown_sign_is_not_cancelled() {
    let with_sign = |sign: f64| {
        let part = Contribution::stated(Source::named("lens distortion"), 0.1 * sign);
        [Uncertain::exact(22.0).with(part.clone()), Uncertain::exact(30.0).with(part)]
    };
    let combined = combine(&[with_sign(1.0), with_sign(-1.0)]).unwrap();
    assert!((combined.gauge[0].standard_uncertainty() - 0.1).abs() < 1e-12);
}

/// Over swatches drawn as the budget says, with the doubtful influences drawn anew in each photo and then the same in all:
/// the interval holds the truth in 95 % or more, never less than sampling allows (2000 swatches: ± 1 %).
#[test]
fn the_interval_covers_whether_the_doubtful_go_together_or_not() {
    let parts = [0.25, 0.3, 0.6, 0.2, 0.2];
    let truth = 22.0;
    for together in [0.0, 1.0] {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let (mut held, mut refused) = (0, 0);
        const SWATCHES: usize = 2000;
        for _ in 0..SWATCHES {
            let mut draw = || -> f64 { StandardNormal.sample(&mut rng) };
            let (height, tilt, stitches) = (draw(), draw(), draw());
            let photos: Vec<(f64, f64, f64, f64)> = (0..3).map(|_| (draw(), draw(), draw(), draw())).collect();
            let ruler = (2.0 * rng.random::<f64>() - 1.0) * 3f64.sqrt();
            let values: Vec<[Uncertain; 2]> = photos
                .iter()
                .map(|(reading, own_tilt, own_stitches, _)| {
                    let mix = |shared: f64, own: f64, r: f64| r.sqrt() * shared + (1.0 - r).sqrt() * own;
                    let error = parts[0] * ruler
                        + parts[1] * height
                        + parts[2] * mix(tilt, *own_tilt, HABIT_SHARED * together)
                        + parts[3] * reading
                        + parts[4] * mix(stitches, *own_stitches, together);
                    pair(truth * (1.0 + error / 100.0), parts)
                })
                .collect();
            match combine(&values) {
                Ok(combined) => {
                    let (low, high) = combined.gauge[0].expanded(Confidence::P95).interval();
                    held += usize::from((low..high).contains(&truth));
                }
                Err(_) => refused += 1,
            }
        }
        let share = held as f64 / (SWATCHES - refused) as f64;
        assert!((0.94..0.995).contains(&share), "together {together}: {share}");
        assert!((refused as f64) < 0.02 * SWATCHES as f64, "together {together}: {refused} refused");
    }
}

proptest! {
    #[test]
    fn a_combination_is_never_worse_than_its_best_photo_and_lies_between_them(
        values in prop::collection::vec((0.998..1.002f64, 0.05..0.5f64, 0.05..0.5f64), 1..6),
    ) {
        let photos: Vec<[Uncertain; 2]> =
            values.iter().map(|(v, tilt, reading)| pair(22.0 * v, [0.3, 0.3, *tilt, *reading, 0.1])).collect();
        if let Ok(combined) = combine(&photos) {
            for axis in [0, 1] {
                let u = |p: &[Uncertain; 2]| p[axis].standard_uncertainty();
                let best = photos.iter().map(u).fold(f64::INFINITY, f64::min);
                prop_assert!(combined.gauge[axis].standard_uncertainty() <= best * (1.0 + 1e-3));
                let (low, high) = photos.iter().fold((f64::MAX, f64::MIN), |(l, h), p| (l.min(p[axis].value), h.max(p[axis].value)));
                prop_assert!((low - 1e-9..=high + 1e-9).contains(&combined.gauge[axis].value));
                prop_assert!(combined.weights[axis].iter().all(|w| (0.0..=1.0).contains(w)));
                prop_assert!((combined.weights[axis].iter().sum::<f64>() - 1.0).abs() < 1e-9);
            }
        }
    }
}
