//! Numerals: at which marks something is printed beyond the marks' ends. They are not read; where they stand tells
//! an inch in eighths from one in sixteenths when the longest marks are hard to tell from the next.

use super::fit::quantile;
use super::ink::Ink;
use super::train::Train;
use image::RgbImage;

/// Heights beyond the longest marks in which numerals stand, in pitches times marks per numeral, and no more than this
/// many pitches (common practice, no source: numerals are 2 to 5 mm high).
const HEIGHT_PERIODS: f64 = 0.35;
/// Half the width of the place looked at, in periods.
const HALF_WIDTH_PERIODS: f64 = 0.14;
/// Share of pairs of places in which the one kind must have more ink, and the ratio of their medians. Measured: places
/// with numerals have 2 to 10 times the ink of those without, also on wood and under blur.
const CLEAR_PAIRS: f64 = 0.9;
const CLEAR_RATIO: f64 = 1.3;
/// Places of which one need not show its numeral (stated choice: four others that all do are no chance).
const MANY: usize = 5;
/// Numerals are of like size everywhere: where there is less than this share of the ink, above that of the bare ruler, that is
/// the ends of marks (stated choice: half, 1 against 12).
const LIKE_INK: f64 = 0.5;

/// What the numerals say of a scale whose longest marks are `period` apart, one of them at `phase`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NumeralPeriod {
    /// Numerals stand half a period apart as well: the period is half as long.
    Half,
    /// Numerals stand at every second of these marks only: the period is twice as long.
    Double,
    /// Numerals stand at these marks and not between them.
    Confirmed,
    /// The same of the marks half a period on.
    ConfirmedHalfOn,
    /// Nothing is clear.
    Open,
}

/// Compares the ink beyond the marks' ends at, half way and a quarter way between the longest marks.
pub(super) fn numeral_period(rgb: &RgbImage, train: &Train, phase: i32, period: i32) -> NumeralPeriod {
    length_half_way(train, phase, period).map_or(NumeralPeriod::Open, |top| {
        compared(rgb, train, (phase, period), &Window { top, height_of: period, line_px: 0.0 })
    })
}

/// The same beside the marks' own lines, whose ends may stand above the marks half way, and in the places where another scale
/// (`of`: its phase and period) on these marks would have its numerals.
pub(super) fn numeral_period_beside_lines(
    rgb: &RgbImage,
    train: &Train,
    counts: (i32, i32),
    of: (i32, i32),
) -> NumeralPeriod {
    length_half_way(train, of.0, of.1).map_or(NumeralPeriod::Open, |top| {
        compared(rgb, train, counts, &Window { top, height_of: of.1, line_px: line_px(train) })
    })
}

/// Whether numerals stand at all the longer of marks that are long and short by turns, one of the long ones at `phase`, and at
/// none of the shorter.
pub(super) fn numerals_at_every_second(rgb: &RgbImage, train: &Train, phase: i32) -> bool {
    let ink = Ink::new(rgb, train.mix);
    let of =
        |offset: i32, every: i32| train.marks.iter().filter(move |m| (m.index - phase - offset).rem_euclid(every) == 0);
    let Some(top) = quantile(of(0, 2).map(|m| m.length_px), 0.5) else { return false };
    let window = Window { top, height_of: 2, line_px: line_px(train) };
    let at = |offset: i32, every: i32| -> Vec<f64> {
        of(offset, every).filter_map(|m| ink_beyond(&ink, train, m.index, &window)).collect()
    };
    let (numbered, half) = (at(0, 2), at(1, 2));
    let above = |v: &[f64]| middle(v) - middle(&half);
    let (even, odd) = (above(&at(0, 4)), above(&at(2, 4)));
    more(&numbered, &half) && even > LIKE_INK * odd && odd > LIKE_INK * even
}

/// Half the width in which a mark's line is seen: its flanks reach as far again as it is wide.
fn line_px(train: &Train) -> f64 {
    quantile(train.marks.iter().map(|m| m.width_px), 0.5).unwrap_or(0.0)
}

/// Where numerals are looked for at a mark.
struct Window {
    /// Height from which on they stand, px.
    top: f64,
    /// Period whose numerals' height and width it has.
    height_of: i32,
    /// Half the width of the mark's own line, px, which does not count.
    line_px: f64,
}

/// Length of the marks half way between the longest, which may have a numeral taken for ink of theirs.
fn length_half_way(train: &Train, phase: i32, period: i32) -> Option<f64> {
    let half_way = train.marks.iter().filter(|m| (m.index - phase).rem_euclid(period) == period / 2);
    quantile(half_way.map(|m| m.length_px), 0.5)
}

fn compared(rgb: &RgbImage, train: &Train, (phase, period): (i32, i32), window: &Window) -> NumeralPeriod {
    let ink = Ink::new(rgb, train.mix);
    let (Some(first), Some(last)) = (train.marks.first(), train.marks.last()) else { return NumeralPeriod::Open };
    let at = |offset: i32, every: i32| -> Vec<f64> {
        (first.index..=last.index)
            .filter(|i| (i - phase - offset).rem_euclid(every) == 0)
            .filter_map(|i| ink_beyond(&ink, train, i, window))
            .collect()
    };
    let (numbered, half) = (at(0, period), at(period / 2, period));
    let quarters = [at(period / 4, period), at(period - period / 4, period)].concat();
    let (even, odd) = (at(0, 2 * period), at(period, 2 * period));
    let between = [half.as_slice(), quarters.as_slice()].concat();
    let above = |v: &[f64]| middle(v) - middle(&quarters);
    let as_inky = |a: &[f64], b: &[f64]| above(a) > LIKE_INK * above(b);
    // Of every second of the longest marks: numerals at the one, nothing or no more than marks' ends at the other.
    let lone = |a: &[f64], b: &[f64]| more(a, b) && !(more(b, &between) && as_inky(b, a));
    if more(&shown(&half), &quarters) && as_inky(&half, &numbered) {
        if as_inky(&numbered, &half) { NumeralPeriod::Half } else { NumeralPeriod::ConfirmedHalfOn }
    } else if lone(&even, &odd) || lone(&odd, &even) {
        NumeralPeriod::Double
    } else if more(&shown(&numbered), &between) && !(half.len() > 1 && as_inky(&half, &numbered)) {
        NumeralPeriod::Confirmed
    } else {
        NumeralPeriod::Open
    }
}

fn middle(values: &[f64]) -> f64 {
    quantile(values.iter().copied(), 0.5).unwrap_or(0.0)
}

/// The ink of numerals, of many without the least: that one may be covered or worn off.
fn shown(ink: &[f64]) -> Vec<f64> {
    let mut ink = ink.to_vec();
    ink.sort_by(|a, b| b.total_cmp(a));
    if ink.len() >= MANY {
        ink.pop();
    }
    ink
}

/// `a` has clearly more ink than `b`: in nearly all pairs (Mann & Whitney 1947) and in the middle.
fn more(a: &[f64], b: &[f64]) -> bool {
    if a.len() < 2 || b.len() < 2 {
        return false;
    }
    let won = a.iter().flat_map(|x| b.iter().map(move |y| x > y)).filter(|w| *w).count();
    won as f64 >= CLEAR_PAIRS * (a.len() * b.len()) as f64 && middle(a) > CLEAR_RATIO * middle(b)
}

/// Mean change of the ink along the ruler (grain along it does not count) in the place of a numeral, on both sides of where the
/// mark's own line goes on.
fn ink_beyond(ink: &Ink, train: &Train, index: i32, window: &Window) -> Option<f64> {
    let Window { top, height_of: period, line_px } = *window;
    let pitch = train.fit.step(index as f64).abs();
    let half = HALF_WIDTH_PERIODS * pitch * period as f64;
    let height = HEIGHT_PERIODS * pitch * period as f64;
    let centre = train.fit.at(index as f64);
    let (base, lean) = (train.base.at(centre), train.lean.at(centre));
    let (columns, rows) = (((2.0 * half).ceil() as usize).clamp(4, 80), (height.ceil() as usize).clamp(3, 24));
    let (mut sum, mut count) = (0.0, 0);
    for r in 0..rows {
        let v = 1.05 * top + height * (r as f64 + 0.5) / rows as f64;
        let mut before = None;
        for c in 0..=columns {
            let off = 2.0 * half * c as f64 / columns as f64 - half;
            if off.abs() < line_px {
                before = None;
                continue;
            }
            let u = centre + lean * v + off;
            let (x, y) = train.frame.point(u, base + v);
            let value = ink.at(x, y)? as f64;
            if let Some(b) = before {
                sum += f64::abs(value - b);
                count += 1;
            }
            before = Some(value);
        }
    }
    (count > 0).then(|| sum / f64::from(count))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_numeral_of_many_may_be_covered() {
        let none = [0.0031, 0.0034, 0.0029, 0.0030, 0.0033, 0.0028];
        let covered = [0.0080, 0.0058, 0.0026, 0.0126, 0.0131];
        let clear = |ink: &[f64]| more(&shown(ink), &none);
        assert!(clear(&covered));
        assert!(!clear(&covered[1..]), "one of four");
        assert!(!clear(&[0.0080, 0.0027, 0.0026, 0.0126, 0.0131]), "two of five");
        assert!(!clear(&none));
    }
}
