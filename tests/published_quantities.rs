//! Uncertainty arithmetic against published numbers; the source stands beside each check.

use walewise::quantity::{
    Confidence, Contribution, Line, RulerClass, Shape, Source, Uncertain, block_mean, lag1_autocorrelation,
    propagate_distributions, sample_mean, series_mean, t_coverage_factor,
};

#[track_caller]
fn assert_near(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{got} instead of {expected} ± {tolerance}");
}

fn stated(name: &'static str, value: f64, u: f64) -> Uncertain {
    Uncertain::exact(value).with(Contribution::stated(Source::named(name), u))
}

/// JCGM 100:2008, 4.3.7, 4.3.9, H.1.3.4: the formulas themselves, so to rounding.
#[test]
fn limits_become_standard_uncertainties() {
    assert_near(Shape::Rectangular.standard_uncertainty(1.0), 1.0 / 3f64.sqrt(), 1e-15);
    assert_near(Shape::Triangular.standard_uncertainty(1.0), 1.0 / 6f64.sqrt(), 1e-15);
    assert_near(Shape::Arcsine.standard_uncertainty(1.0), 1.0 / 2f64.sqrt(), 1e-15);
}

/// JCGM 100:2008, Table G.2 (two decimals printed).
#[test]
fn t_factors_of_the_gum_table() {
    let p68 = Confidence::new(0.6827).unwrap();
    for (nu, p, t) in [
        (1.0, Confidence::P95, 12.71),
        (2.0, Confidence::P95, 4.30),
        (5.0, Confidence::P95, 2.57),
        (10.0, Confidence::P95, 2.23),
        (50.0, Confidence::P95, 2.01),
        (f64::INFINITY, Confidence::P95, 1.960),
        (1.0, Confidence::P99, 63.66),
        (10.0, Confidence::P99, 3.17),
        (3.0, p68, 1.20),
        (16.0, Confidence::P99, 2.92),
    ] {
        assert_near(t_coverage_factor(nu, p), t, 0.005001);
    }
    // H.1.6 of the same prints three decimals.
    assert_near(t_coverage_factor(16.0, Confidence::P99), 2.921, 0.0005);
    // Nearly normal must join on to normal.
    assert_near(t_coverage_factor(2e6, Confidence::P95), 1.959964, 1e-5);
    assert_near(t_coverage_factor(9e5, Confidence::P95), 1.959964, 1e-5);
}

/// Distributions whose quantiles are elementary: k = p√3 rectangular, √6 (1 − √(1 − p)) triangular, √2 sin(πp/2)
/// arcsine. Tolerance: half of the convolution's grid of 0.004 standard uncertainties.
#[test]
fn a_bounded_contribution_alone_has_its_own_coverage_factor() {
    for p in [0.90, 0.95, 0.99] {
        let confidence = Confidence::new(p).unwrap();
        for (shape, k) in [
            (Shape::Rectangular, p * 3f64.sqrt()),
            (Shape::Triangular, 6f64.sqrt() * (1.0 - (1.0 - p).sqrt())),
            (Shape::Arcsine, 2f64.sqrt() * (std::f64::consts::FRAC_PI_2 * p).sin()),
        ] {
            let value = Uncertain::exact(7.0).with(Contribution::type_b(Source::named("limits"), 0.3, shape, -2.0));
            assert_near(value.expanded(confidence).coverage_factor, k, 0.002);
        }
    }
}

/// Two rectangular influences of half-widths a and b make a trapezoid: k = (1 − √((1 − p)(1 − β²))) / √((1 + β²)/6),
/// β = (a − b)/(a + b), as long as the sloping sides are reached (EA-4/02 M, S10.13, formula derived, printed k = 1.83 for
/// β = 0.33 from memory).
#[test]
fn two_rectangular_contributions_of_ea_4_02() {
    let limits = |name, a| Contribution::type_b(Source::named(name), a, Shape::Rectangular, 1.0);
    for (a, b, printed) in [(50.0, 25.0, Some(1.83)), (1.0, 1.0, None), (3.0, 2.0, None)] {
        let beta: f64 = (a - b) / (a + b);
        let k = (1.0 - (0.05 * (1.0 - beta * beta)).sqrt()) / ((1.0 + beta * beta) / 6.0).sqrt();
        let sum = Uncertain::exact(0.0).with(limits("first", a)).with(limits("second", b)).expanded(Confidence::P95);
        assert_near(sum.coverage_factor, k, 0.002);
        assert_near(k, printed.unwrap_or(k), 0.005);
    }
}

/// JCGM 101:2008, 9.2 (additive model of four equal influences): four rectangular ones, 95 % ± 3.88 (Table 3,
/// from memory; the exact value follows from the Irwin–Hall distribution), four normal ones ± 3.92.
#[test]
fn four_rectangular_influences_of_jcgm_101() {
    let sum = |shape: Shape| {
        ["a", "b", "c", "d"].iter().fold(Uncertain::exact(0.0), |sum, name| {
            let half_width = 1.0 / shape.standard_uncertainty(1.0);
            sum.with(Contribution::type_b(Source::named(*name), half_width, shape, 1.0))
        })
    };
    let rectangular = sum(Shape::Rectangular).expanded(Confidence::P95);
    assert_near(rectangular.standard_uncertainty, 2.0, 1e-12);
    assert_near(rectangular.expanded_uncertainty, 3.88, 0.005);
    assert_near(sum(Shape::Normal).expanded(Confidence::P95).expanded_uncertainty, 3.92, 0.005);
}

/// The inputs of JCGM 100:2008, H.1: standard, observed difference, expansion coefficient, its difference, temperature
/// deviation, temperature difference.
struct EndGauge {
    l_s: Uncertain,
    d: Uncertain,
    alpha_s: Uncertain,
    delta_alpha: Uncertain,
    theta: Uncertain,
    delta_theta: Uncertain,
}

impl EndGauge {
    fn new() -> Self {
        let named = Source::named;
        let limits = |name, a, shape, nu| Contribution::type_b(named(name), a, shape, 1.0).with_degrees_of_freedom(nu);
        Self {
            l_s: Uncertain::exact(50_000_623.0).with(Contribution::type_a(named("standard"), 25.0, 18.0)),
            d: Uncertain::exact(215.0)
                .with(Contribution::type_a(named("repetition"), 5.8, 24.0))
                .with(Contribution::type_a(named("comparator, random"), 3.9, 5.0))
                .with(Contribution::stated(named("comparator, systematic"), 6.7).with_degrees_of_freedom(8.0)),
            alpha_s: Uncertain::exact(11.5e-6).with(limits("alpha_s", 2e-6, Shape::Rectangular, f64::INFINITY)),
            delta_alpha: Uncertain::exact(0.0).with(limits("delta alpha", 1e-6, Shape::Rectangular, 50.0)),
            theta: Uncertain::exact(-0.1).with(Contribution::stated(named("mean temperature"), 0.2)).with(limits(
                "temperature cycle",
                0.5,
                Shape::Arcsine,
                f64::INFINITY,
            )),
            delta_theta: Uncertain::exact(0.0).with(limits("delta theta", 0.05, Shape::Rectangular, 2.0)),
        }
    }

    fn length(&self) -> Uncertain {
        let expansion = &(&self.delta_alpha * &self.theta) + &(&self.alpha_s * &self.delta_theta);
        &(&self.l_s + &self.d) - &(&self.l_s * &expansion)
    }
}

/// JCGM 100:2008, H.1.
#[test]
fn gum_h1_end_gauge() {
    let gauge = EndGauge::new();
    let length = gauge.length();
    assert_near(length.value, 50_000_838.0, 1e-6);
    // u(d) is printed as 9.7 nm with 25.6 degrees of freedom; 25.45 follows from the unrounded u.
    assert_near(gauge.d.standard_uncertainty(), 9.68, 0.005);
    assert_near(gauge.d.effective_degrees_of_freedom(), 25.45, 0.05);
    let part = |name: &str| length.contributions.iter().find(|c| c.source.name == name).unwrap().standard.abs();
    assert_near(part("standard"), 25.0, 1e-3);
    assert_near(part("delta alpha"), 2.9, 0.05);
    assert_near(part("delta theta"), 16.6, 0.05);
    // The uncertainty of alpha_s and of the temperature drop out at first order.
    assert_near(part("alpha_s"), 0.0, 1e-12);
    assert_near(part("temperature cycle"), 0.0, 1e-12);
    assert_near(length.standard_uncertainty(), 31.67, 0.03);
    assert_near(length.effective_degrees_of_freedom(), 16.76, 0.1);
    // U99 = 93 nm (H.1.7) with the degrees of freedom truncated to 16, as there.
    let truncated = t_coverage_factor(length.effective_degrees_of_freedom().floor(), Confidence::P99);
    assert_near(truncated * length.standard_uncertainty(), 93.0, 0.7);
    // Untruncated it is a little less.
    assert_near(length.expanded(Confidence::P99).expanded_uncertainty, 92.0, 1.0);
}

/// JCGM 100:2008, H.1.7: second-order terms of 11.9 and 1.7 nm raise u to 34 nm (33.87 by the sum of squares). Drawn
/// 200 000 times: the sampling error of a standard deviation is 0.2 %, hence ± 0.2.
#[test]
fn gum_h1_second_order_by_drawing() {
    let gauge = EndGauge::new();
    let normal = |name, value: &Uncertain| stated(name, value.value, value.standard_uncertainty());
    let (l_s, d) = (normal("standard", &gauge.l_s), normal("difference", &gauge.d));
    let inputs = [&l_s, &d, &gauge.alpha_s, &gauge.delta_alpha, &gauge.theta, &gauge.delta_theta];
    let model = |x: &[f64]| Some(x[0] + x[1] - x[0] * (x[3] * x[4] + x[2] * x[5]));
    let drawn = propagate_distributions(&inputs, model, 200_000, 1).unwrap();
    assert_near(drawn.standard_uncertainty(), 33.87, 0.2);
    assert_near(drawn.mean(), 50_000_838.0, 0.4);
}

/// JCGM 100:2008, Table H.2, and the results of H.2.3 (tolerance: the printed digits).
#[test]
fn gum_h2_correlated_inputs() {
    let v = [5.007, 4.994, 5.005, 4.990, 4.999];
    let i = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3];
    let phi = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
    let [v, i, phi] = correlated_means([&v, &i, &phi]);
    assert_near(v.value, 4.9990, 5e-5);
    assert_near(i.value, 19.6610e-3, 5e-8);
    assert_near(phi.value, 1.04446, 5e-6);
    assert_near(v.standard_uncertainty(), 0.0032, 5e-5);
    assert_near(i.standard_uncertainty(), 0.0095e-3, 5e-8);
    assert_near(phi.standard_uncertainty(), 0.00075, 5e-6);
    assert_near(v.correlation(&i).unwrap(), -0.36, 0.005);
    assert_near(v.correlation(&phi).unwrap(), 0.86, 0.005);
    assert_near(i.correlation(&phi).unwrap(), -0.65, 0.005);

    let z = v.divided_by(&i).unwrap();
    let (sin, cos) = phi.value.sin_cos();
    let r = &z * &Uncertain::combine(cos, &[(&phi, -sin)]);
    let x = &z * &Uncertain::combine(sin, &[(&phi, cos)]);
    for (got, value, u) in [(&r, 127.732, 0.0711), (&x, 219.847, 0.2956), (&z, 254.260, 0.2363)] {
        assert_near(got.value, value, 0.001);
        assert_near(got.standard_uncertainty(), u, 0.0001);
    }
    assert_near(r.correlation(&x).unwrap(), -0.588, 0.0006);
    assert_near(r.correlation(&z).unwrap(), -0.485, 0.0006);
    assert_near(x.correlation(&z).unwrap(), 0.993, 0.0006);
}

/// Means of simultaneous observations, their covariance carried by three shared sources (Cholesky).
fn correlated_means(samples: [&[f64; 5]; 3]) -> [Uncertain; 3] {
    let mean = |s: &[f64; 5]| s.iter().sum::<f64>() / 5.0;
    let covariance = |a: &[f64; 5], b: &[f64; 5]| {
        a.iter().zip(b).map(|(x, y)| (x - mean(a)) * (y - mean(b))).sum::<f64>() / (5.0 * 4.0)
    };
    let mut l = [[0.0; 3]; 3];
    for row in 0..3 {
        for column in 0..=row {
            let known: f64 = (0..column).map(|k| l[row][k] * l[column][k]).sum();
            let left = covariance(samples[row], samples[column]) - known;
            l[row][column] = if row == column { left.sqrt() } else { left / l[column][column] };
        }
    }
    std::array::from_fn(|row| {
        (0..=row).fold(Uncertain::exact(mean(samples[row])), |value, k| {
            value.with(Contribution::stated(Source::named(["first", "second", "third"][k]), l[row][k]))
        })
    })
}

/// JCGM 100:2008, Table H.6 and H.3.3 (tolerance: the printed digits).
#[test]
fn gum_h3_straight_line() {
    let t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let line = Line::fit(&t.map(|t| t - 20.0), &b).unwrap();
    assert_near(line.intercept, -0.171204, 1e-6);
    assert_near(line.intercept_uncertainty, 0.002878, 1e-6);
    assert_near(line.slope, 0.00218270, 2e-8);
    assert_near(line.slope_uncertainty, 0.00066794, 2e-8);
    assert_near(line.correlation().unwrap(), -0.9304, 5e-5);
    assert_near(line.residual_standard_deviation, 0.0034976, 2e-7);
    let at_30 = line.at(10.0, Source::named("fit"));
    assert_near(at_30.value, -0.14938, 1e-5);
    assert_near(at_30.standard_uncertainty(), 0.00414, 5e-6);
    assert_eq!(at_30.effective_degrees_of_freedom(), 9.0);
}

/// NIST Technical Note 1900, thermal expansion coefficient; u is printed as 1.76e-6.
#[test]
fn nist_tn_1900_thermal_expansion() {
    let (l0, l1) = (stated("L0", 1.4999, 0.0001), stated("L1", 1.5021, 0.0002));
    let (t0, t1) = (stated("T0", 288.15, 0.02), stated("T1", 373.10, 0.05));
    let alpha = (&l1 - &l0).divided_by(&(&l0 * &(&t1 - &t0))).unwrap();
    assert_near(alpha.value, 1.7266e-5, 5e-10);
    assert_near(alpha.standard_uncertainty(), 1.7555e-6, 5e-11);
    assert_near(alpha.relative_standard_uncertainty().unwrap(), 0.10167, 1e-4);
}

/// Directive 2014/32/EU, Annex X: tabulated limits for 2 to 10 m, and the formula for rulers up to one metre.
#[test]
fn ruler_limits_of_directive_2014_32() {
    for (metres, limits) in [
        (0.1, [0.2, 0.5, 1.0]),
        (0.3, [0.2, 0.5, 1.0]),
        (1.0, [0.2, 0.5, 1.0]),
        (2.0, [0.3, 0.7, 1.4]),
        (3.0, [0.4, 0.9, 1.8]),
        (5.0, [0.6, 1.3, 2.6]),
        (8.0, [0.9, 1.9, 3.8]),
        (10.0, [1.1, 2.3, 4.6]),
    ] {
        for (class, limit) in [RulerClass::I, RulerClass::II, RulerClass::III].into_iter().zip(limits) {
            assert_near(class.limit_mm(1000.0 * metres), limit, 1e-12);
        }
    }
    // Rounded up to the next metre; the end surface adds c.
    assert_near(RulerClass::II.limit_mm(1000.1), 0.7, 1e-12);
    assert_near(RulerClass::II.limit_from_end_mm(300.0), 0.7, 1e-12);
    assert_near(RulerClass::III.limit_from_end_mm(300.0), 1.3, 1e-12);
    assert_eq!(RulerClass::II.neighbour_limit_mm(1.0), Some(0.2));
    assert_eq!(RulerClass::III.neighbour_limit_mm(5.0), Some(0.6));
    assert_eq!(RulerClass::I.neighbour_limit_mm(25.4), None);
    // Rectangular over 100 mm: 0.115, 0.289, 0.577 %.
    for (class, percent) in [(RulerClass::I, 0.115), (RulerClass::II, 0.289), (RulerClass::III, 0.577)] {
        let scale = class.scale_contribution(Source::named("ruler accuracy"), 100.0);
        assert_near(100.0 * scale.standard, percent, 0.0005);
    }
}

/// NIST Statistical Reference Datasets, univariate: NumAcc1 to 4 (certified values). Tolerances: the data themselves are
/// only held to a relative 1e-16 of their size, which is 1e-8 of the deviation in NumAcc4.
#[test]
fn nist_strd_numerical_accuracy() {
    let alternating = |base: f64| {
        let mut data = vec![base + 0.2];
        (0..500).for_each(|_| data.extend([base + 0.1, base + 0.3]));
        data
    };
    for (data, mean, sd, r, tolerance) in [
        (vec![10_000_001.0, 10_000_003.0, 10_000_002.0], 10_000_002.0, 1.0, -0.5, 1e-14),
        (alternating(1.0), 1.2, 0.1, -0.999, 1e-13),
        (alternating(1_000_000.0), 1_000_000.2, 0.1, -0.999, 2e-9),
        (alternating(10_000_000.0), 10_000_000.2, 0.1, -0.999, 2e-8),
    ] {
        let sample = sample_mean(&data).unwrap();
        assert_near(sample.mean, mean, 1e-15 * mean);
        assert_near(sample.standard_deviation, sd, tolerance);
        assert_near(lag1_autocorrelation(&data).unwrap(), r, 1e-8);
    }
}

/// NIST Statistical Reference Datasets, univariate: Mavro (certified values), 2.00 followed by three digits.
#[rustfmt::skip]
const MAVRO: [u16; 50] = [
    180, 170, 180, 190, 180, 170, 150, 140, 150, 150, 170, 180, 180, 190, 190, 210, 200, 160, 140, 130, 130, 150, 150,
    160, 150, 140, 130, 140, 150, 140, 150, 160, 150, 160, 190, 200, 200, 210, 220, 230, 240, 250, 270, 260, 260, 260,
    270, 260, 250, 240,
];

#[test]
fn nist_strd_mavro_is_worth_few_independent_observations() {
    let data = MAVRO.map(|digits| 2.0 + f64::from(digits) * 1e-5);
    let sample = sample_mean(&data).unwrap();
    assert_near(sample.mean, 2.001856, 1e-14);
    assert_near(sample.standard_deviation, 0.000429123454003053, 1e-15);
    assert_near(lag1_autocorrelation(&data).unwrap(), 0.937989183438248, 1e-12);
    // The simple sd/√n is several times too small here; both remedies say so.
    let by_lag = series_mean(&data).unwrap();
    let by_blocks = block_mean(&data, 10).unwrap();
    assert!(by_lag.standard_uncertainty > 4.0 * sample.standard_uncertainty);
    assert!(by_blocks.standard_uncertainty > 2.0 * sample.standard_uncertainty);
    assert!(by_lag.effective_size < 4.0);
}

/// A first-order autoregressive series is drawn many times: the uncertainty stated for its mean must match the scatter
/// of the means (theory: n (1 − r)/(1 + r) independent values). 400 series: the scatter is known to 3.5 %.
#[test]
fn means_of_correlated_series_scatter_as_stated() {
    for r in [0.0, 0.3, 0.6, 0.8] {
        let (mut means, mut by_lag, mut by_blocks) = (Vec::new(), 0.0, 0.0);
        for seed in 0..400 {
            let series = autoregressive(r, 200, seed);
            means.push(sample_mean(&series).unwrap().mean);
            by_lag += series_mean(&series).unwrap().standard_uncertainty.powi(2) / 400.0;
            by_blocks += block_mean(&series, 20).unwrap().standard_uncertainty.powi(2) / 400.0;
        }
        let scatter = sample_mean(&means).unwrap().standard_deviation;
        assert_near(by_lag.sqrt() / scatter, 1.0, 0.12);
        assert_near(by_blocks.sqrt() / scatter, 1.0, 0.15);
    }
}

fn autoregressive(r: f64, n: usize, seed: u64) -> Vec<f64> {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let mut value: f64 = StandardNormal.sample(&mut rng);
    let mut step = || {
        let noise: f64 = StandardNormal.sample(&mut rng);
        value = r * value + (1.0 - r * r).sqrt() * noise;
        value
    };
    (0..n).map(|_| step()).collect()
}
