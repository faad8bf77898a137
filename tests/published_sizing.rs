//! The arithmetic of plans against printed worked examples and definitions, each with its source.
//!
//! "Trade page" stands for a published knitting lesson whose example was read; the practice in it is the trade's, the
//! arithmetic is checked. "Derived" is calculated by hand from the definition beside it.

use walewise::quantity::{Source, Uncertain};
use walewise::sizing::{
    Arrangement, CountRule, Counted, GaugeCount, Length, LengthUnit, Over, Pace, ShapingStep, SwatchYarn, Target,
    YarnNeeds, band_from_cord, castable, denier_from_tex, finished_mm, looped_length, ne_from_tex, nm_from_tex,
    per_10cm, published, schedule, space_increases, tex_from_mass_and_length, tex_from_ne, tex_from_nm, yarn_amount,
};

fn gauge(count: f64, over: &str) -> Uncertain {
    let stated = GaugeCount { count, half_width: Some(0.0) };
    per_10cm(stated, Over::parse(over).expect("a length"), Source::named("count"))
}

fn length(text: &str) -> Length {
    Length::parse(text, LengthUnit::Cm).expect("a length")
}

/// The count nearest to a length.
fn nearest(text: &str, gauge: &Uncertain, rule: CountRule) -> u32 {
    let finished_mm = length(text).mm();
    let target = Target { body_mm: finished_mm, ease_mm: 0.0, finished_mm, tolerance_mm: 10.0 };
    castable(Counted::Stitches, target, rule, gauge).expect("a count").chosen().count
}

#[track_caller]
fn near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} is not {expected}");
}

/// Trade pages: 18 sts / 10 cm over 80 cm; 22 sts / 10 cm over 40 cm with 2 seam stitches; 6 sts and 7 rows per inch over
/// 36 in × 36 in; 30 sts in 13.8 cm over 48 cm (104.35).
#[test]
fn casting_on() {
    assert_eq!(nearest("80 cm", &gauge(18.0, "10 cm"), CountRule::ANY), 144);
    assert_eq!(nearest("40 cm", &gauge(22.0, "10 cm"), CountRule { seam: 2, ..CountRule::ANY }), 90);
    assert_eq!(nearest("36 in", &gauge(6.0, "1 in"), CountRule::ANY), 216);
    assert_eq!(nearest("36 in", &gauge(7.0, "1 in"), CountRule::ANY), 252);
    assert_eq!(nearest("48 cm", &gauge(30.0, "13.8 cm"), CountRule::ANY), 104);
}

/// Trade page: 96 sts measure 17.45 in at 5.5 and 16 in at 6 sts per inch. Trade page: 19 sts in 4 in are 4.75 per inch.
/// Derived: ± 1 st in 20 over 100 cm: 200 sts are 100.0, 105.3 and 95.2 cm at 20, 19 and 21 sts / 10 cm.
#[test]
fn the_same_stitches_at_another_gauge() {
    near(finished_mm(96, &gauge(5.5, "1 in")).value / 25.4, 17.45, 0.005);
    near(finished_mm(96, &gauge(6.0, "1 in")).value / 25.4, 16.0, 1e-9);
    near(gauge(19.0, "4 in").value * 0.254, 4.75, 1e-12);
    for (per, cm) in [(20.0, 100.0), (19.0, 105.3), (21.0, 95.2)] {
        near(finished_mm(200, &gauge(per, "10 cm")).value / 10.0, cm, 0.05);
    }
}

/// Definition of the inch (25.4 mm, 1959): 20 sts / 4 in are 19.685 per 10 cm; the two lengths are 1.6 % apart.
#[test]
fn four_inches_are_not_ten_centimetres() {
    near(gauge(20.0, "4 in").value, 19.685, 0.0005);
    near(Length::FOUR_INCHES.mm() / Length::TEN_CM.mm(), 1.016, 1e-12);
}

/// Trade page, a sleeve: 7.75 in at 5 sts per inch are 38.75, so 38; 12 in are 60; the 22 sts between are 11 paired
/// increases; 15.5 in at 7 rows per inch are 108.5 rows.
#[test]
fn a_sleeve() {
    let five = gauge(5.0, "1 in");
    near(length("7.75 in").mm() * five.value / 100.0, 38.75, 1e-9);
    assert_eq!(nearest("7.75 in", &five, CountRule { multiple: 2, ..CountRule::ANY }), 38);
    assert_eq!(nearest("12 in", &five, CountRule::ANY), 60);
    near(length("15.5 in").mm() * gauge(7.0, "1 in").value / 100.0, 108.5, 1e-9);
    let step = ShapingStep { from: 38, to: 60, per_row: 2, pace: Pace::Over(108), right_side_only: false };
    assert_eq!(schedule(step).expect("a schedule").intervals.len(), 11);
}

/// Trade page: 36 paired increases in 140 rows: every 3rd row 4 times and every 4th row 32 times.
#[test]
fn increases_over_rows() {
    let step = ShapingStep { from: 60, to: 132, per_row: 2, pace: Pace::Over(140), right_side_only: false };
    let even = schedule(step).expect("a schedule");
    assert_eq!(even.intervals_by_length(), [(3, 4), (4, 32)]);
    assert_eq!(even.rows(), 140);
}

/// Trade page: 51 sts, 4 increases: after 6, 19, 32, 45 in a flat row; every 12.75 in the round. Trade pages: 112 sts, 16
/// increases: every 7th; 40 sts, 4 increases, 5 sections of 8.
#[test]
fn increases_in_one_row() {
    let places =
        |stitches, increases, arrangement| space_increases(stitches, increases, arrangement).expect("spacing").places();
    assert_eq!(places(51, 4, Arrangement::HalfAtEnds), [6, 19, 32, 45]);
    // The page rounds to 13, 26, 39, 51; ours lie as evenly (intervals of 12 and 13).
    assert_eq!(places(51, 4, Arrangement::Round), [12, 25, 38, 51]);
    assert_eq!(space_increases(112, 16, Arrangement::Round).expect("spacing").before_each, [7; 16]);
    let sections = space_increases(40, 4, Arrangement::EqualSections).expect("spacing");
    assert_eq!((sections.before_each, sections.after_last), (vec![8; 4], 8));
}

/// Common practice, no source: a band grows from a cord of 5 to 25 stitches (a multiple of 4 plus 1) at 2 a row in 10 rows.
#[test]
fn a_band_out_of_a_cord() {
    let band = band_from_cord(5, 25, 100, 2, 1).expect("a band");
    assert_eq!((band.widen.rows(), band.straight_rows, band.narrow.rows()), (10, 80, 10));
    assert!(CountRule { multiple: 4, balance: 1, ..CountRule::ANY }.allows(25));
}

/// Hand-knitting size lists: a designer's published list of head circumferences (child 20.5 in); EN 420:2003, glove size 8
/// is a hand of 203 mm.
#[test]
fn published_sizes() {
    let of = |table: &str, size: &str| published(table).and_then(|t| t.of(size)).map(Length::mm);
    assert_eq!(of("head", "child"), Some(520.7));
    assert_eq!(of("hand", "8"), Some(203.0));
    assert_eq!(of("chest-men", "M"), Some(980.0), "EN 13402-3: 94 to 102 cm");
    assert_eq!(of("chest-women", "M"), Some(940.0), "EN 13402-3: 90 to 98 cm");
    assert_eq!(of("head", "giant"), None);
}

/// Derived from the definition: a swatch of 15 × 15 cm and 8.0 g, a garment of 9000 cm², 2.5 m/g: 320 g and 800 m.
#[test]
fn yarn_by_the_weight_of_a_swatch() {
    let needs = YarnNeeds {
        swatch: SwatchYarn::ByArea { mass_g: Uncertain::exact(8.0), area_mm2: SwatchYarn::area([150.0, 150.0], 0.0) },
        ball: (50.0, 125.0),
        work: (1, Uncertain::exact(900_000.0)),
        amounts: walewise::sizing::Amounts { tails_m: 0.0, seams_m: 0.0, swatches: 0, spare: 0.0, spread: 0.0 },
    };
    let amount = yarn_amount(&needs).expect("an amount");
    near(amount.grams.value, 320.0, 1e-9);
    near(amount.metres.value, 800.0, 1e-9);
    assert_eq!((amount.balls_50, amount.balls_95), (7, 7), "6.4 balls of 125 m");
}

/// Trade book: a drop-shoulder sweater, in square inches: body 2 × 20 × 28 = 1120, sleeves (8 + 15)/2 × 18 = 207 each; by
/// stitches of a shaped sleeve at 10 sts and 10 rows per inch the same area comes out.
#[test]
fn area_of_a_shaped_piece() {
    let ten = gauge(10.0, "1 in").value;
    let step = ShapingStep { from: 80, to: 150, per_row: 2, pace: Pace::Over(180), right_side_only: false };
    let stitches = schedule(step).expect("a schedule").stitches_worked() as f64;
    let square_inches = stitches * 1e4 / (ten * ten) / (25.4 * 25.4);
    // The steps lie half an interval late: 0.4 % of the area.
    near(square_inches, 207.0, 1.0);
}

/// Texcoms handbook 2023, p. 147, and ISO 2959-type definitions: 60 Nm = 16.67 tex, 20 tex = 29.53 Ne, 40 Nm = 23.62 Ne,
/// 2/48 Nm = 24 Nm resultant = 14.17 Ne; derived: 50 g / 125 m = 400 tex = Nm 2.5; 1/40 Ne = 147.6 dtex (printed 148 with
/// the rounded constant 591); denier = 9 tex; Nm = 1.69336 Ne.
#[test]
fn yarn_counts() {
    near(tex_from_nm(60.0), 16.67, 0.005);
    near(ne_from_tex(20.0), 29.53, 0.005);
    near(ne_from_tex(tex_from_nm(40.0)), 23.62, 0.005);
    near(ne_from_tex(tex_from_nm(24.0)), 14.17, 0.005);
    near(tex_from_mass_and_length(50.0, 125.0), 400.0, 1e-9);
    near(nm_from_tex(400.0), 2.5, 1e-12);
    near(10.0 * tex_from_ne(40.0), 148.0, 0.5);
    near(ne_from_tex(1.0), 590.541, 0.001);
    near(nm_from_tex(tex_from_ne(1.0)), 1.69336, 0.00001);
    near(denier_from_tex(20.0), 180.0, 0.0);
}

/// Munden's constants, fully relaxed (GATE Textile 2015, question 54: a loop of 0.5 cm gives 92 loops per cm²); derived:
/// 22 × 30 per 10 cm: a loop of 18.708 mm, so 12.347 m in 10 × 10 cm.
#[test]
fn loops_by_munden() {
    // 92.4 loops per cm² as 9.24 × 10.
    near(looped_length(92.4, 100.0), 5.0, 1e-9);
    near(looped_length(22.0, 30.0), 18.708, 0.0005);
    near(22.0 * 30.0 * looped_length(22.0, 30.0) / 1000.0, 12.347, 0.0005);
}
