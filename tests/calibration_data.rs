//! The tables in `calibration/` against the code that relies on them.

use walewise::quantity::RulerClass;

/// Directive 2014/32/EU, Annex X (MI-008), chapter I, as the table keeps it.
const CLASSES: &str = include_str!("../calibration/ruler-accuracy-classes.csv");

#[test]
fn accuracy_classes_are_those_of_the_table() {
    let mut seen = 0;
    for line in CLASSES.lines().skip(1) {
        let (name, numbers) = line.split_once(',').expect("a class and its numbers");
        let class = match name {
            "I" => RulerClass::I,
            "II" => RulerClass::II,
            "III" => RulerClass::III,
            other => panic!("an unknown class: {other}"),
        };
        let numbers: Vec<f64> = numbers.split(',').map(|n| n.parse().expect("a number")).collect();
        let [a, b, c, near, far] = numbers[..] else { panic!("five numbers, not {numbers:?}") };
        for metres in 1..=10 {
            let length_mm = 1000.0 * f64::from(metres);
            let limit = a + b * f64::from(metres);
            assert!((class.limit_mm(length_mm) - limit).abs() < 1e-12);
            assert!((class.limit_mm(length_mm - 999.0) - limit).abs() < 1e-12);
            assert!((class.limit_from_end_mm(length_mm) - limit - c).abs() < 1e-12);
        }
        let neighbours = |spacing: f64| class.neighbour_limit_mm(spacing).expect("a limit");
        assert!((neighbours(1.0) - near).abs() < 1e-12 && (neighbours(10.0) - far).abs() < 1e-12);
        seen += 1;
    }
    assert_eq!(seen, 3);
}
