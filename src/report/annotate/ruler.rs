//! The ruler's graduations as they were detected, drawn as ticks that continue the marks outwards from their base line,
//! so that the marks themselves stay to be seen.

use super::Pen;
use super::canvas::{Canvas, Mark, Place, colour};
use crate::quantity::INCH_MM;
use crate::record::{GraduationSeen, TrainSeen};
use crate::ruler::RulerUnit;

/// Draws the ruler's outline and all trains.
pub fn draw(canvas: &mut Canvas, trains: &[TrainSeen], outline: &[Place], pen: Pen) {
    if let (Some(&first), true) = (outline.first(), outline.len() > 2) {
        let closed: Vec<Place> = outline.iter().copied().chain([first]).collect();
        let marks: Vec<Mark> = Mark::path(&closed, pen.px).collect();
        canvas.layer(&marks, colour::BLUE, (colour::WHITE, pen.px * 0.6), 0.7);
    }
    for train in trains {
        draw_train(canvas, train, pen);
    }
}

/// Draws the corners of a card or grid, or places on a card's edges, as small crosses.
pub fn draw_places(canvas: &mut Canvas, places: &[Place], pen: Pen) {
    let crosses: Vec<Mark> = places.iter().flat_map(|at| Mark::cross(*at, 4.0 * pen.px, 0.8 * pen.px)).collect();
    canvas.layer(&crosses, colour::VERMILION, (colour::WHITE, 0.6 * pen.px), 1.0);
}

fn draw_train(canvas: &mut Canvas, train: &TrainSeen, pen: Pen) {
    let spacing = median_spacing(&train.marks).map_or(10.0 * pen.px, |s| s * pen.zoom);
    let whole = marks_per_number(train);
    let first = first_numbered(&train.marks, whole);
    let width = (0.22 * spacing).clamp(1.0, 2.0 * pen.px);
    let (ux, uy) = (-train.mark_direction.0, -train.mark_direction.1);
    let outwards = |at: Place, length: f64| (at.0 + ux * length, at.1 + uy * length);
    let (mut ticks, mut strange, mut numbers) = (Vec::new(), Vec::new(), Vec::new());
    for seen in &train.marks {
        let at = pen.place(seen.mark.at);
        if !seen.matched {
            strange.extend(Mark::cross(outwards(at, 5.0 * pen.px), 4.0 * pen.px, width));
            continue;
        }
        let step = i64::from(seen.mark.index) - i64::from(first);
        let numbered = step.rem_euclid(i64::from(whole)) == 0;
        let half = whole % 2 == 0 && step.rem_euclid(i64::from(whole / 2)) == 0;
        let pens = if numbered {
            14.0
        } else if half {
            10.0
        } else {
            6.0
        };
        let length = pens * pen.px;
        ticks.push(Mark::Line { from: at, to: outwards(at, length), width });
        if numbered && step >= 0 {
            let text = (step / i64::from(whole)).to_string();
            numbers.push(Mark::Words { centre: outwards(at, 25.0 * pen.px), size: 18.0 * pen.px, text });
        }
    }
    canvas.layer(&ticks, colour::VERMILION, (colour::WHITE, (0.6 * width).min(pen.px)), 1.0);
    canvas.layer(&strange, colour::BLACK, (colour::YELLOW, pen.px), 1.0);
    canvas.layer(&numbers, colour::VERMILION, (colour::WHITE, 2.0 * pen.px), 1.0);
}

/// How many marks lie between two numbered ones: 1 cm, or 1 inch.
fn marks_per_number(train: &TrainSeen) -> i32 {
    /// The finest usual scale has 64 marks to the inch (common practice, no source).
    const MOST: f64 = 64.0;
    let unit_mm = match train.unit {
        RulerUnit::Cm => 10.0,
        RulerUnit::Inch => INCH_MM,
    };
    // What is no number casts to 0 and becomes 1.
    (unit_mm / train.pitch_mm).round().clamp(1.0, MOST).max(1.0) as i32
}

/// Index of the first mark of the kind that is longest, every `whole`-th mark being of one kind.
fn first_numbered(marks: &[GraduationSeen], whole: i32) -> i32 {
    let mean_length = |residue: i32| {
        let of_kind = marks.iter().filter(|m| m.matched && m.mark.index.rem_euclid(whole) == residue);
        let (sum, n) = of_kind.fold((0.0, 0.0), |(s, n), m| (s + m.mark.length_px, n + 1.0));
        if n > 0.0 { sum / n } else { 0.0 }
    };
    let residue = (0..whole).max_by(|&a, &b| mean_length(a).total_cmp(&mean_length(b))).unwrap_or(0);
    let of_kind = marks.iter().map(|m| m.mark.index).filter(|i| i.rem_euclid(whole) == residue);
    of_kind.min().unwrap_or(residue)
}

/// Median distance of neighbouring marks, in px of the photo.
fn median_spacing(marks: &[GraduationSeen]) -> Option<f64> {
    let mut sorted: Vec<_> = marks.iter().filter(|m| m.matched).collect();
    sorted.sort_by_key(|m| m.mark.index);
    let step = |p: &[&GraduationSeen]| {
        let marks_apart = (i64::from(p[1].mark.index) - i64::from(p[0].mark.index)).max(1);
        p[0].mark.at.distance(p[1].mark.at) / marks_apart as f64
    };
    let mut steps: Vec<f64> = sorted.windows(2).map(step).filter(|s| s.is_finite()).collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied()
}
