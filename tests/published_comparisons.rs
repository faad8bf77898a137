//! Comparison statistics against published numbers; the source stands beside each check. And against drawing: what is
//! called 5 % must happen in about 5 of 100.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use walewise::compare::{Comparison, MeasuredGauge, NeedleFit, NeedleSwatch, WeightedLine, compare};
use walewise::quantity::{Confidence, Contribution, SampleMean, Source, Uncertain, sample_mean};

#[track_caller]
fn assert_near(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{got} instead of {expected} ± {tolerance}");
}

/// A mean of `n` observations with standard deviation `s`.
fn mean(name: &'static str, mean: f64, s: f64, n: f64) -> Uncertain {
    Uncertain::exact(mean).with(Contribution::type_a(Source::named(name), s / n.sqrt(), n - 1.0))
}

#[track_caller]
fn assert_tests(seen: &Comparison, p_lower: f64, p_upper: f64, tolerance: f64) {
    assert_near(seen.equivalence.p_lower, p_lower, tolerance);
    assert_near(seen.equivalence.p_upper, p_upper, tolerance);
}

/// Two one-sided Welch tests, two samples: values of a public test suite for equivalence tests (read there and
/// recomputed): 5.25 (s 0.95, n 95) against 5.22 (s 0.83, n 89), bounds ±0.384.
#[test]
fn equivalence_of_two_means() {
    let seen = compare(&mean("a", 5.25, 0.95, 95.0), &mean("b", 5.22, 0.83, 89.0), 0.384);
    assert_near(seen.difference.degrees_of_freedom, 181.1344, 5e-5);
    assert_tests(&seen, 0.000_945_87, 0.003_838_99, 5e-9);
    let [low, high] = seen.equivalence.interval_90;
    assert_near(low, -0.187_084, 5e-7);
    assert_near(high, 0.247_084, 5e-7);
    assert!(seen.equivalence.holds());
}

/// Two one-sided tests, one sample against a fixed value: the same suite.
#[test]
fn equivalence_of_a_mean_to_a_value() {
    let seen = compare(&mean("a", 0.54, 1.2, 100.0), &Uncertain::exact(0.50), 0.36);
    assert_tests(&seen, 0.000_604_00, 0.004_474_62, 5e-9);
    let [low, high] = seen.equivalence.interval_90;
    assert_near(low, -0.159_247, 5e-7);
    assert_near(high, 0.239_247, 5e-7);
    let seen = compare(&mean("a", 0.52, 0.5, 300.0), &Uncertain::exact(0.50), 0.1);
    assert_near(seen.equivalence.p_upper, 0.002_966_76, 5e-9);
}

const A: [f64; 13] = [452.0, 874.0, 554.0, 447.0, 356.0, 754.0, 558.0, 574.0, 664.0, 682.0, 547.0, 435.0, 245.0];
const B: [f64; 16] =
    [546.0, 547.0, 774.0, 465.0, 459.0, 665.0, 467.0, 365.0, 589.0, 534.0, 456.0, 651.0, 654.0, 665.0, 546.0, 537.0];

fn samples() -> [SampleMean; 2] {
    [sample_mean(&A).unwrap(), sample_mean(&B).unwrap()]
}

/// Raw data of the same suite, bounds ±110, unequal variances: SE 53.618547, df 19.169, p 0.03628 and 0.02002.
#[test]
fn equivalence_from_raw_data_welch() {
    let [a, b] = samples();
    let seen = compare(&a.uncertain(Source::named("a")), &b.uncertain(Source::named("b")), 110.0);
    assert_near(seen.difference.value, -8.115_384_6, 5e-8);
    assert_near(seen.difference.standard_uncertainty, 53.618_547, 5e-7);
    assert_near(seen.difference.degrees_of_freedom, 19.169, 5e-4);
    assert_tests(&seen, 0.036_28, 0.020_02, 5e-6);
}

/// The same with a pooled variance: SE 51.114285, df 27, p 0.02821 and 0.01436.
#[test]
fn equivalence_from_raw_data_pooled() {
    let [a, b] = samples();
    let (n, m) = (A.len() as f64, B.len() as f64);
    let squares = a.standard_deviation.powi(2) * (n - 1.0) + b.standard_deviation.powi(2) * (m - 1.0);
    let standard = (squares / (n + m - 2.0) * (1.0 / n + 1.0 / m)).sqrt();
    let both = Contribution::type_a(Source::named("both"), standard, n + m - 2.0);
    let seen = compare(&Uncertain::exact(a.mean).with(both), &Uncertain::exact(b.mean), 110.0);
    assert_near(seen.difference.standard_uncertainty, 51.114_285, 5e-7);
    assert_tests(&seen, 0.028_21, 0.014_36, 5e-6);
}

/// JCGM 100:2008, H.3 (calibration of a thermometer), equal weights: intercept −0.171204, slope 0.00218270 with their
/// standard uncertainties, residual s 0.0034976, and −0.14938 ± 0.00414 at t = 30 (t₀ = 20).
#[test]
fn weighted_line_with_equal_weights_is_that_of_the_gum() {
    let t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let points: Vec<(f64, f64, f64)> = t.iter().zip(b).map(|(t, b)| (t - 20.0, b, 1.0)).collect();
    let line = WeightedLine::fit(&points).unwrap();
    let s = line.scatter_ratio();
    assert_near(s, 0.003_497_6, 5e-8);
    assert_near(line.at(0.0), -0.171_204, 5e-7);
    assert_near(s * line.variance_at(0.0).sqrt(), 0.002_878, 5e-7);
    assert_near(line.slope, 0.002_182_70, 5e-9);
    assert_near(s * line.slope_variance.sqrt(), 0.000_667_94, 5e-9);
    assert_near(line.at(10.0), -0.149_38, 5e-6);
    assert_near(s * line.variance_at(10.0).sqrt(), 0.004_14, 5e-6);
}

/// Derived: a point of weight k is k points of weight 1, and the line is the sum of its sensitivities × y.
#[test]
fn weights_count_like_repeated_points() {
    let once = [(3.0, 3.6, 1.0 / 3f64.sqrt()), (3.5, 3.9, 1.0), (4.0, 4.4, 1.0 / 2f64.sqrt()), (5.0, 5.0, 1.0)];
    let repeated: Vec<(f64, f64, f64)> =
        once.iter().flat_map(|p| vec![(p.0, p.1, 1.0); (1.0 / (p.2 * p.2)).round() as usize]).collect();
    let (a, b) = (WeightedLine::fit(&once).unwrap(), WeightedLine::fit(&repeated).unwrap());
    for x in [2.0, 3.75, 6.0] {
        assert_near(a.at(x), b.at(x), 1e-12);
        assert_near(a.variance_at(x), b.variance_at(x), 1e-12);
        let sum: f64 = a.sensitivities_at(x).iter().zip(once).map(|(c, p)| c * p.1).sum();
        assert_near(sum, a.at(x), 1e-12);
    }
    assert_near(a.chi_squared, b.chi_squared, 1e-12);
    assert!(WeightedLine::fit(&once[..2]).is_none());
    assert!(WeightedLine::fit(&[(1.0, 1.0, 1.0); 4]).is_none());
    assert!(WeightedLine::fit(&[(1.0, 1.0, 0.0), (2.0, 1.0, 1.0), (3.0, 1.0, 1.0)]).is_none());
}

fn gauge(stitches: f64, relative: f64, occasion: &str) -> MeasuredGauge {
    let value = |value: f64| {
        Uncertain::exact(value)
            .with_relative(Contribution::stated(Source::named("own"), relative))
            .on_occasion(occasion)
    };
    MeasuredGauge { stitches_per_10cm: value(stitches), rows_per_10cm: value(1.35 * stitches), between_fabrics: None }
}

/// The draws of one test: seeded, so that the test says the same every time.
fn draws() -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(20)
}

/// Of swatches whose true difference is just the tolerance, at most 5 % may be called alike; of those that are the
/// same, about 5 % show a difference by chance.
#[test]
fn errors_happen_as_often_as_stated() {
    const DRAWS: usize = 4000;
    let mut random = draws();
    let (mut alike, mut different) = (0, 0);
    let noise = Normal::new(0.0, 0.15).unwrap();
    for _ in 0..DRAWS {
        let value = |mean: f64, name: &'static str, random: &mut ChaCha8Rng| {
            Uncertain::exact(mean + noise.sample(random)).with(Contribution::stated(Source::named(name), 0.15))
        };
        let (a, b, same) =
            (value(20.5, "a", &mut random), value(20.0, "b", &mut random), value(20.5, "c", &mut random));
        alike += usize::from(compare(&a, &b, 0.5).equivalence.holds());
        let (low, high) = compare(&a, &same, 0.5).difference.interval();
        different += usize::from(low > 0.0 || high < 0.0);
    }
    let share = |n: usize| n as f64 / DRAWS as f64;
    // Three standard deviations of a binomial of 4000 at 5 % are 1.0 %.
    assert!(share(alike) <= 0.06, "{}", share(alike));
    assert_near(share(different), 0.05, 0.0104);
}

/// The interval of the needle fit holds the next swatch at least 95 times in 100, with three to six swatches and with
/// swatches that scatter more than they were measured.
#[test]
fn the_next_swatch_on_a_needle_lies_in_its_interval() {
    const DRAWS: usize = 600;
    let mut random = draws();
    for (count, scatter) in [(3, 0.0), (4, 0.01), (6, 0.02)] {
        let mut held = 0;
        for _ in 0..DRAWS {
            let mut swatch = |mm: f64, i: usize| {
                let own = Normal::new(0.0, 0.005f64.hypot(scatter)).unwrap();
                let width = (1.5 + 0.7 * mm) * (1.0 + own.sample(&mut random));
                NeedleSwatch { needle_mm: mm, gauge: gauge(100.0 / width, 0.005, &i.to_string()) }
            };
            let swatches: Vec<NeedleSwatch> = (0..count).map(|i| swatch(3.0 + 0.5 * i as f64, i)).collect();
            let next = swatch(3.75, 99).gauge.stitches_per_10cm.value;
            let (low, high) = NeedleFit::of(&swatches)
                .unwrap()
                .at(3.75)
                .unwrap()
                .stitches_per_10cm
                .expanded(Confidence::P95)
                .interval();
            held += usize::from((low..=high).contains(&next));
        }
        let share = held as f64 / DRAWS as f64;
        assert!(share >= 0.93, "{count} swatches, scatter {scatter}: {share}");
    }
}
