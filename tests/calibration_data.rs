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

/// Measures of the calibration card, as the table keeps them.
const CARD: &str = include_str!("../calibration/calibration-card.csv");

#[test]
fn the_card_is_that_of_the_table() {
    use walewise::card;
    let of = |name: &str| -> f64 {
        let line = CARD.lines().find(|l| l.split(',').next() == Some(name)).expect("a line of this name");
        line.split(',').nth(1).expect("a value").parse().expect("a number")
    };
    for (name, value) in [
        ("columns", f64::from(card::COLUMNS)),
        ("rows", f64::from(card::ROWS)),
        ("square", card::SQUARE_MM),
        ("rim", card::RIM_MM),
        ("diamond half-diagonal", card::DIAMOND),
        ("card width", card::SIZE_MM[0]),
        ("card height", card::SIZE_MM[1]),
        ("check length", card::CHECK_LENGTH_MM),
        ("smallest block told from all others", f64::from(card::BLOCK)),
        ("squares in which two blocks differ", f64::from(card::BLOCK_DISTANCE)),
    ] {
        assert!((of(name) - value).abs() < 1e-12, "{name}");
    }
}
