//! Analysis of variance, components and precision against certified and published numbers; each source stands beside its
//! check.

use walewise::class::anova::{OneWay, precision};
use walewise::class::{Level, Nested, critical, intervals, reml, share_interval};
use walewise::quantity::{Contribution, Source, Uncertain};

/// Correct significant digits of a value, as NIST counts them: −log₁₀ of the relative error.
fn digits(got: f64, certified: f64) -> f64 {
    let error = ((got - certified) / certified).abs();
    if error == 0.0 { 16.0 } else { -error.log10() }
}

#[track_caller]
fn at_least(wanted: f64, got: f64, certified: f64) {
    let found = digits(got, certified);
    assert!(found >= wanted, "{got} has {found:.1} digits of {certified}, {wanted} are wanted");
}

/// SiRstv: NIST StRD, analysis of variance, lower difficulty; certified to 15 digits.
const SI_RSTV: [[f64; 5]; 5] = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
];

#[test]
fn nist_si_rstv() {
    let a = OneWay::of(&SI_RSTV.map(Vec::from)).unwrap();
    assert_eq!((a.between_freedom(), a.within_freedom()), (4.0, 20.0));
    at_least(11.0, a.between_squares, 5.114_626_16e-2);
    at_least(11.0, a.between_mean_square(), 1.278_656_54e-2);
    at_least(11.0, a.within_squares, 2.166_365_6e-1);
    at_least(11.0, a.within_mean_square(), 1.083_182_8e-2);
    at_least(11.0, a.f(), 1.180_462_374_402_55);
    at_least(11.0, a.r_squared(), 1.909_990_390_511_29e-1);
    at_least(11.0, a.within_mean_square().sqrt(), 1.040_760_683_346_56e-1);
    // Derived from the certified mean squares: (MS between − MS within)/5.
    at_least(7.0, a.between_component(), 3.909_474_8e-4);
}

/// AtmWtAg: NIST StRD, average difficulty. The values agree in seven digits: without a shift of origin about eight digits
/// of F are the most that is left.
#[test]
fn nist_atm_wt_ag() {
    let first = [
        1568, 1465, 1572, 1785, 1446, 1903, 1526, 1494, 1616, 1587, 1519, 1486, 1419, 1569, 1508, 1672, 1385, 1518,
        1662, 1424, 1360, 1333, 1610, 1477,
    ];
    let second = [
        1079, 1344, 1513, 1197, 1604, 1385, 1642, 1365, 1151, 1082, 1517, 1448, 1198, 1482, 1334, 1609, 1101, 1512,
        1469, 1360, 1254, 1261, 1450, 1368,
    ];
    let value = |last: i32| format!("107.868{last}").parse().unwrap();
    let a = OneWay::of(&[first, second].map(|g| g.map(value).to_vec())).unwrap();
    assert_eq!((a.between_freedom(), a.within_freedom()), (1.0, 46.0));
    at_least(8.0, a.between_squares, 3.638_341_875e-9);
    at_least(8.0, a.within_squares, 1.049_517_291_666_67e-8);
    at_least(8.0, a.f(), 15.946_733_567_793);
    at_least(8.0, a.r_squared(), 2.574_265_445_383_21e-1);
    at_least(8.0, a.within_mean_square().sqrt(), 1.510_483_144_464_1e-5);
}

/// SmLs01 to SmLs09: NIST StRD, lower to higher difficulty. In the last three the values agree in thirteen digits of
/// sixteen, so that the data themselves hold only three or four; what is left is stated, not hidden.
#[test]
fn nist_sm_ls() {
    let sets = [(21, 1.68, 21.0, 1.80), (201, 16.08, 201.0, 18.0), (2001, 160.08, 2001.0, 180.0)];
    for (constant, wanted) in [(0.0, 12.0), (1e6, 8.0), (1e12, 2.0)] {
        for (n, between, f, within) in sets {
            let group = |mean: f64| {
                let deviation = |i: i32| match i {
                    0 => 0.0,
                    i if i % 2 == 1 => -0.1,
                    _ => 0.1,
                };
                (0..n).map(|i| ((constant + mean) * 10.0 + 10.0 * deviation(i)).round() / 10.0).collect::<Vec<f64>>()
            };
            let a = OneWay::of(&[1.4, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5].map(group)).unwrap();
            assert_eq!((a.between_freedom(), a.within_freedom()), (8.0, 9.0 * f64::from(n) - 9.0));
            at_least(wanted, a.between_squares, between);
            at_least(wanted, a.within_squares, within);
            at_least(wanted, a.f(), f);
            at_least(wanted, a.within_mean_square().sqrt(), 0.1);
        }
    }
}

/// Dyestuff: Davies & Goldsmith 1972, *Statistical Methods in Research and Production*, 6.4.
const DYESTUFF: [[f64; 5]; 6] = [
    [1545.0, 1440.0, 1440.0, 1520.0, 1580.0],
    [1540.0, 1555.0, 1490.0, 1560.0, 1495.0],
    [1595.0, 1550.0, 1605.0, 1510.0, 1560.0],
    [1445.0, 1440.0, 1595.0, 1465.0, 1545.0],
    [1595.0, 1630.0, 1515.0, 1635.0, 1625.0],
    [1520.0, 1455.0, 1450.0, 1480.0, 1445.0],
];

/// Dyestuff2: Box & Tiao 1973, *Bayesian Inference in Statistical Analysis*, 5.1.2.
const DYESTUFF2: [[f64; 5]; 6] = [
    [7.298, 3.846, 2.434, 9.566, 7.990],
    [5.220, 6.556, 0.608, 11.788, -0.892],
    [0.110, 10.386, 13.434, 5.510, 8.166],
    [2.212, 4.852, 7.092, 9.288, 4.980],
    [0.282, 9.014, 4.458, 9.446, 7.198],
    [1.722, 4.782, 8.106, 0.758, 3.758],
];

/// Batches as knitters and samples as swatches, one value each, nothing known of the measuring.
fn nest(batches: &[Vec<f64>]) -> Nested {
    let values: Vec<Uncertain> = batches.iter().flatten().map(|v| Uncertain::exact(*v)).collect();
    let batch: Vec<usize> = batches.iter().enumerate().flat_map(|(i, b)| vec![i; b.len()]).collect();
    let sample: Vec<usize> = (0..values.len()).collect();
    Nested::new(&values, &batch, &sample).unwrap()
}

fn of(variances: &[(Level, f64)], level: Level) -> f64 {
    variances.iter().find(|v| v.0 == level).unwrap().1
}

#[test]
fn dyestuff_components_and_share() {
    let batches = DYESTUFF.map(Vec::from);
    let a = OneWay::of(&batches).unwrap();
    at_least(9.0, a.between_mean_square(), 11271.5);
    at_least(9.0, a.within_mean_square(), 2451.25);
    at_least(6.0, a.f(), 4.598_266);
    at_least(9.0, a.between_component(), 1764.05);
    let nested = nest(&batches);
    let fitted = reml(&nested).unwrap();
    // The restricted likelihood's published value is 1764.0375 (its own tolerance 1e-5); balanced data give the exact one.
    at_least(8.0, of(&fitted.variances, Level::Knitter), 1764.05);
    at_least(8.0, of(&fitted.variances, Level::Swatch), 2451.25);
    at_least(8.0, fitted.criterion, 319.654_277);
    at_least(9.0, fitted.mean, 1527.5);
    at_least(6.0, fitted.mean_variance.sqrt(), 19.3834);
    // Intraclass correlation 0.418487 with the exact 95 % interval 0.0838 to 0.8479 (derived from F).
    let share = of(&fitted.variances, Level::Knitter) / (1764.05 + 2451.25);
    at_least(6.0, share, 0.418_487);
    let [low, high] = share_interval(&nested, &intervals(&nested).unwrap()).unwrap();
    assert!((low - 0.0838).abs() < 5e-5 && (high - 0.8479).abs() < 5e-5, "{low} {high}");
    // s_r and s_R of ISO 5725-2 (derived).
    let seen = precision(&[batches.to_vec()]).unwrap();
    at_least(6.0, seen.repeatability, 49.5101);
    at_least(6.0, seen.reproducibility.unwrap(), 64.9253);
}

/// Less spread between batches than within them makes expect: the raw component is −1.321913, and 0 is given and said.
#[test]
fn dyestuff2_negative_component_is_zero() {
    let batches = DYESTUFF2.map(Vec::from);
    let a = OneWay::of(&batches).unwrap();
    at_least(6.0, a.mean, 5.6656);
    at_least(7.0, a.between_mean_square(), 8.336_326);
    at_least(7.0, a.within_mean_square(), 14.945_890);
    at_least(6.0, a.f(), 0.557_767);
    at_least(6.0, a.between_component(), -1.321_913);
    let nested = nest(&batches);
    assert_eq!(of(&reml(&nested).unwrap().variances, Level::Knitter), 0.0);
    let knitters = intervals(&nested).unwrap()[0];
    assert_eq!((knitters.level, knitters.estimate, knitters.negative), (Level::Knitter, 0.0, true));
    assert_eq!(knitters.interval[0], 0.0);
    assert!(knitters.interval[1] > 0.0, "how large it may still be is said: {knitters:?}");
    let share = share_interval(&nested, &intervals(&nested).unwrap()).unwrap();
    assert!(share[0] == 0.0 && share[1] > 0.0 && share[1] < 1.0, "{share:?}");
}

/// Interlaboratory data of ASTM E691 (glucose), three of its materials: s_r, s_R and the limits r = 2.8 s_r, R = 2.8 s_R.
#[test]
fn astm_e691_glucose() {
    let materials = [
        (
            "41.03 41.45 41.37 / 41.17 42.00 41.15 / 41.01 40.68 42.66 / 39.37 42.37 42.63 / 41.88 41.19 41.32 / \
             43.28 40.50 42.28 / 41.08 41.27 39.02 / 43.36 42.65 41.72",
            [41.5183, 1.0632, 1.0632],
        ),
        (
            "193.71 193.59 193.65 / 190.88 200.14 194.30 / 192.71 193.28 190.28 / 195.85 196.36 199.43 / \
             192.59 191.44 195.12 / 195.34 198.26 198.13 / 194.66 191.99 187.13 / 197.56 195.99 200.82",
            [194.7171, 2.6251, 3.3657],
        ),
        (
            "292.78 294.09 292.89 / 292.27 309.40 295.08 / 295.53 290.14 292.34 / 295.19 295.44 296.83 / \
             293.93 292.48 294.28 / 297.74 296.80 290.33 / 287.29 293.76 289.36 / 298.46 295.28 296.12",
            [294.4921, 3.9350, 4.1923],
        ),
    ];
    for (text, [mean, repeatability, reproducibility]) in materials {
        let laboratories: Vec<Vec<f64>> =
            text.split('/').map(|lab| lab.split_whitespace().map(|v| v.parse().unwrap()).collect()).collect();
        assert!((OneWay::of(&laboratories).unwrap().mean - mean).abs() < 5e-5);
        let seen = precision(&[laboratories]).unwrap();
        assert!((seen.repeatability - repeatability).abs() < 6e-5, "{seen:?}");
        assert!((seen.reproducibility.unwrap() - reproducibility).abs() < 6e-5, "{seen:?}");
        assert_eq!(seen.freedom, 16.0);
    }
}

/// One level with known errors, where the interval is exact: the equation Q(τ²) = chi-squared's point is checked at its
/// ends, with points of 5 degrees of freedom from the usual tables (0.831212, 12.832502).
#[test]
fn interval_with_known_errors_solves_its_equation() {
    let data = [(20.1, 0.3), (21.4, 0.2), (19.2, 0.5), (22.0, 0.25), (20.7, 0.4), (18.9, 0.3)];
    let value = |(i, (v, u)): (usize, &(f64, f64))| {
        Uncertain::exact(*v).with(Contribution::stated(Source::named("reading"), *u)).on_occasion(&i.to_string())
    };
    let values: Vec<Uncertain> = data.iter().enumerate().map(value).collect();
    let one_each: Vec<usize> = (0..data.len()).collect();
    let nested = Nested::new(&values, &one_each, &one_each).unwrap();
    assert_eq!(nested.levels(), [Level::Swatch], "one swatch each: no level of knitters");
    let found = intervals(&nested).unwrap()[0];
    let q = |variance: f64| {
        let weight = |u: f64| 1.0 / (variance + u * u);
        let sum: f64 = data.iter().map(|(_, u)| weight(*u)).sum();
        let mean = data.iter().map(|(v, u)| v * weight(*u)).sum::<f64>() / sum;
        data.iter().map(|(v, u)| (v - mean).powi(2) * weight(*u)).sum::<f64>()
    };
    assert!((q(found.estimate) - 5.0).abs() < 1e-6);
    assert!((q(found.interval[0]) - 12.832_502).abs() < 1e-4, "{}", q(found.interval[0]));
    assert!((q(found.interval[1]) - 0.831_212).abs() < 1e-4, "{}", q(found.interval[1]));
}

/// Grubbs' critical values, two-sided at 5 % and 1 % (ISO 5725-2, table 5; from memory: n = 12 is 2.412 and 2.636).
#[test]
fn grubbs_critical_values() {
    for (n, five, one) in [(5, 1.715, 1.764), (10, 2.290, 2.482), (12, 2.412, 2.636), (20, 2.709, 3.001)] {
        assert!((critical(n, 0.05) - five).abs() < 2e-3, "{n} {}", critical(n, 0.05));
        assert!((critical(n, 0.01) - one).abs() < 2e-3, "{n} {}", critical(n, 0.01));
    }
}
