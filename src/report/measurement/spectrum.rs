//! The spectrum along one axis with the peak that was counted and its rivals, as SVG.

use crate::lattice::AxisSpectrum;
use crate::report::axis::{Axis, FAINT, INK, MARK, OTHER, QUIET, drawing, hundredth, line, words};
use crate::report::comparison::bare_number;
use svg::node::element::{Group, Path};

/// Measures of the drawing, in px at full size, so narrow that letters stay legible on a phone: stated choices.
const WIDTH: f64 = 430.0;
const LEFT: f64 = 40.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 44.0;
const HEIGHT: f64 = 170.0;
const BOTTOM: f64 = 46.0;

/// The drawing; `counted` is what was counted per 10 cm, `rivals` what else could have been; `what` names them.
pub fn spectrum(of: &AxisSpectrum, counted: f64, rivals: &[f64], what: &str) -> String {
    let (first, last) = (of.multiples.first().copied().unwrap_or(0.0), of.multiples.last().copied().unwrap_or(1.0));
    let across = Axis::between(first * counted, last * counted, LEFT, WIDTH - LEFT - RIGHT);
    let highest = of.amplitude_over_noise.iter().copied().fold(2.0, f64::max);
    let foot = TOP + HEIGHT;
    let y = |amplitude: f64| hundredth(foot - HEIGHT * amplitude / (1.05 * highest));
    let points = of.multiples.iter().zip(&of.amplitude_over_noise);
    let path: Vec<String> = points.map(|(m, a)| format!("{} {}", across.place(m * counted), y(*a))).collect();
    let told = rivals.iter().map(|r| format!("{r:.1}")).collect::<Vec<_>>().join(", ");
    let whole = foot + BOTTOM;
    let others_told = if told.is_empty() { "none" } else { &told };
    let title = format!("Spectrum along the {what}: counted {counted:.1} per 10 cm; other readings: {others_told}");
    drawing(WIDTH, whole, &title)
        .add(frame(&across, foot, what, highest, y))
        .add(others(&across, rivals, counted, foot))
        .add(
            Path::new()
                .set("d", format!("M {}", path.join(" L ")))
                .set("fill", "none")
                .set("stroke", MARK)
                .set("stroke-width", 1.8)
                .set("stroke-linejoin", "round"),
        )
        .add(used(&across, counted, foot))
        .to_string()
}

/// Axes and their words.
fn frame(across: &Axis, foot: f64, what: &str, highest: f64, y: impl Fn(f64) -> f64) -> Group {
    let mut group = Group::new()
        .add(line(LEFT, foot, WIDTH - RIGHT, foot, QUIET))
        .add(words(format!("{what} per 10 cm"), (LEFT + WIDTH - RIGHT) / 2.0, foot + 38.0, "middle"))
        .add(words("amplitude over noise", 6.0, 14.0, "start").set("fill", QUIET).set("font-size", 12));
    for tick in Axis::between(0.0, 1.05 * highest, 0.0, 1.0).ticks(3.0) {
        group = group
            .add(line(LEFT, y(tick), WIDTH - RIGHT, y(tick), FAINT))
            .add(words(bare_number(tick), LEFT - 6.0, y(tick) + 4.0, "end").set("font-size", 12));
    }
    for tick in across.ticks(5.0) {
        let x = across.place(tick);
        let number = words(bare_number(tick), x, foot + 18.0, "middle");
        group = group.add(line(x, foot, x, foot + 4.0, QUIET)).add(number.set("font-size", 12));
    }
    group
}

/// The count that was taken, and its second and third multiple, which belong to it.
fn used(across: &Axis, counted: f64, foot: f64) -> Group {
    let x = across.place(counted);
    let mut group = Group::new()
        .add(line(x, TOP - 6.0, x, foot, INK).set("stroke-width", 2))
        .add(words(format!("counted {counted:.1}"), x, TOP - 12.0, "middle").set("font-weight", 600));
    for times in [2.0, 3.0].into_iter().filter(|t| t * counted <= across.high) {
        let x = across.place(times * counted);
        group = group
            .add(line(x, TOP + 8.0, x, foot, INK).set("stroke-dasharray", "2 4"))
            .add(words(format!("{times} ×"), x, TOP + 2.0, "middle").set("font-size", 12));
    }
    group
}

/// Other readings within the picture, dashed.
fn others(across: &Axis, rivals: &[f64], counted: f64, foot: f64) -> Group {
    /// Readings nearer to each other than this are one line, as a part of the count.
    const ONE_LINE: f64 = 0.02;
    let mut drawn: Vec<f64> = Vec::new();
    let mut group = Group::new();
    for rival in rivals.iter().filter(|r| (across.low..=across.high).contains(*r)) {
        if drawn.iter().chain([&counted]).any(|d| (d - rival).abs() < ONE_LINE * counted) {
            continue;
        }
        drawn.push(*rival);
        let x = across.place(*rival);
        group = group
            .add(line(x, TOP + 16.0, x, foot, OTHER).set("stroke-width", 2).set("stroke-dasharray", "6 4"))
            .add(words(format!("{rival:.1}?"), x, TOP + 12.0, "middle").set("font-size", 12));
    }
    group
}
