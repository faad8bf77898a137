//! Digits of our own, drawn as strokes.

/// Width of a digit and the step to the next, as shares of its height.
const WIDTH: f32 = 0.52;
const STEP: f32 = 0.68;

/// Half the width of a stroke, as a share of the height.
const HALF_STROKE: f32 = 0.055;

type Stroke = [[f32; 2]; 2];

const TOP: Stroke = [[0.06, 0.0], [0.46, 0.0]];
const MIDDLE: Stroke = [[0.08, 0.47], [0.44, 0.47]];
const BOTTOM: Stroke = [[0.06, 1.0], [0.46, 1.0]];
const UPPER_LEFT: Stroke = [[0.02, 0.05], [0.02, 0.45]];
const UPPER_RIGHT: Stroke = [[0.5, 0.05], [0.5, 0.45]];
const LOWER_LEFT: Stroke = [[0.02, 0.52], [0.02, 0.95]];
const LOWER_RIGHT: Stroke = [[0.5, 0.52], [0.5, 0.95]];

const DIGITS: [&[Stroke]; 10] = [
    &[TOP, BOTTOM, UPPER_LEFT, UPPER_RIGHT, LOWER_LEFT, LOWER_RIGHT],
    &[[[0.3, 0.0], [0.3, 1.0]], [[0.1, 0.2], [0.3, 0.0]]],
    &[TOP, UPPER_RIGHT, [[0.5, 0.45], [0.02, 1.0]], BOTTOM],
    &[TOP, UPPER_RIGHT, MIDDLE, LOWER_RIGHT, BOTTOM],
    &[[[0.36, 0.0], [0.0, 0.68]], [[0.0, 0.68], [0.52, 0.68]], [[0.38, 0.4], [0.38, 1.0]]],
    &[TOP, UPPER_LEFT, MIDDLE, LOWER_RIGHT, BOTTOM],
    &[[[0.4, 0.0], [0.02, 0.55]], LOWER_LEFT, MIDDLE, LOWER_RIGHT, BOTTOM],
    &[TOP, [[0.5, 0.0], [0.16, 1.0]]],
    &[TOP, MIDDLE, BOTTOM, UPPER_LEFT, UPPER_RIGHT, LOWER_LEFT, LOWER_RIGHT],
    &[TOP, UPPER_LEFT, UPPER_RIGHT, MIDDLE, [[0.5, 0.45], [0.14, 1.0]]],
];

/// Ink (0..1) of `number`, centred on x = 0 with its upper edge at y = 0, in units of the digits' height.
/// `soft` is the width over which an edge fades, in the same unit.
pub(super) fn ink(number: u32, x: f32, y: f32, soft: f32) -> f32 {
    if !(-0.2..=1.2).contains(&y) {
        return 0.0;
    }
    let digits = if number >= 100 { 3 } else { 1 + usize::from(number >= 10) };
    let width = STEP * (digits - 1) as f32 + WIDTH;
    let place = x + width / 2.0;
    let index = (place / STEP).floor();
    let mut best = 0.0_f32;
    for k in [index - 1.0, index] {
        if k < 0.0 || k as usize >= digits {
            continue;
        }
        let power = 10_u32.pow((digits - 1 - k as usize) as u32);
        let digit = (number / power % 10) as usize;
        for stroke in DIGITS[digit] {
            let far = distance([place - k * STEP, y], stroke);
            best = best.max(((HALF_STROKE - far) / soft.max(1e-3) + 0.5).clamp(0.0, 1.0));
        }
    }
    best
}

fn distance(p: [f32; 2], [a, b]: &Stroke) -> f32 {
    let d = [b[0] - a[0], b[1] - a[1]];
    let q = [p[0] - a[0], p[1] - a[1]];
    let t = ((q[0] * d[0] + q[1] * d[1]) / (d[0] * d[0] + d[1] * d[1])).clamp(0.0, 1.0);
    (q[0] - t * d[0]).hypot(q[1] - t * d[1])
}
