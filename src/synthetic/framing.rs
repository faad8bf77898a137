//! Where ruler and camera are put so that the photo shows what it should.

use super::draw::Draw;
use super::sample::SampleSettings;
use super::scene::{Body, Camera, Fabric, Ruler, RulerScale};
use crate::card;

/// Where the ruler lies and what the photo shows.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Framing {
    /// The whole swatch with the ruler beside it.
    Beside,
    /// The whole swatch with the ruler across it.
    Across,
    /// Nothing but fabric, with the ruler across it.
    CloseUp,
}

/// The ruler wished for, or any; `hard` runs from 0 (easy) to 1.
pub(super) fn ruler(
    wishes: &SampleSettings,
    framing: Framing,
    fabric: &Fabric,
    hard: f64,
    draw: &mut Draw,
) -> Option<Ruler> {
    use RulerScale::{Cm, CmInch, HalfMm, InchEighths, InchSixteenths};
    let drawn = draw.pick(&[Cm, Cm, Cm, Cm, HalfMm, InchEighths, InchSixteenths, CmInch, CmInch]);
    let scale = wishes.ruler.unwrap_or(Some(drawn))?;
    if is_card(scale) {
        return Some(card_beside(scale, fabric, hard, draw));
    }
    let inch = matches!(scale, InchEighths | InchSixteenths);
    let body = match scale {
        InchEighths | InchSixteenths => draw.pick(&[Body::Wood, Body::Wood, Body::Plastic, Body::Steel, Body::Tape]),
        _ => draw.pick(&[
            Body::Steel,
            Body::Steel,
            Body::Plastic,
            Body::Plastic,
            Body::Clear,
            Body::Wood,
            Body::Tape,
            Body::Dark,
        ]),
    };
    let zero_mm = if body == Body::Tape { 3.0 } else { draw.between(3.0, 8.0) };
    let scale_mm = if inch { 25.4 * draw.pick(&[6.0, 8.0, 12.0]) } else { draw.pick(&[150.0, 200.0, 300.0]) };
    let length_mm = scale_mm + zero_mm + draw.between(3.0, 8.0);
    // Two rows of marks and numerals need 28 mm.
    let two_edges = matches!(scale, CmInch | HalfMm);
    let width_mm = match body {
        _ if two_edges => draw.between(28.0, 36.0),
        Body::Tape => draw.between(15.0, 19.0),
        _ => draw.between(20.0, 34.0),
    };
    let [half_w, half_h] = fabric.size_mm().map(|s| s / 2.0);
    let gap = draw.between(4.0, 10.0) + width_mm / 2.0;
    let upright = draw.chance(0.4);
    let along = if upright { 90.0 } else { 0.0 };
    let flip = if draw.chance(0.3) { 180.0 } else { 0.0 };
    let (side, angle) = match framing {
        Framing::Beside => (if upright { half_w } else { half_h } + gap, draw.between(-1.5, 1.5) * (1.0 + hard)),
        Framing::Across => (draw.between(-0.5, 0.5) * if upright { half_w } else { half_h }, draw.between(-12.0, 12.0)),
        Framing::CloseUp => (draw.between(-25.0, 25.0), draw.between(-15.0, 15.0)),
    };
    let side = if draw.chance(0.5) { side } else { -side };
    let slide = draw.between(-15.0, 15.0);
    let off = if upright { [side, slide] } else { [slide, side] };
    let (sin, cos) = fabric.angle_deg.to_radians().sin_cos();
    Some(Ruler {
        scale,
        body,
        length_mm,
        width_mm,
        thickness_mm: thickness(body, draw),
        on_fabric: framing != Framing::Beside,
        centre_mm: [
            fabric.centre_mm[0] + off[0] * cos - off[1] * sin,
            fabric.centre_mm[1] + off[0] * sin + off[1] * cos,
        ],
        angle_deg: fabric.angle_deg + along + flip + angle,
        zero_mm,
        mark_width_mm: draw.between(0.16, 0.3),
        mark_length: draw.between(0.8, 1.15),
        numerals: draw.chance(0.9),
        wear: if draw.chance(0.3 + 0.3 * hard) { draw.between(0.0, 0.25 + 0.45 * hard) } else { 0.0 },
    })
}

/// Whether a scale is a card, which lies beside the swatch.
pub(super) fn is_card(scale: RulerScale) -> bool {
    matches!(scale, RulerScale::Card | RulerScale::Id1)
}

/// A calibration card or an ID-1 card on the table beside the swatch.
fn card_beside(scale: RulerScale, fabric: &Fabric, hard: f64, draw: &mut Draw) -> Ruler {
    // 85.60 mm x 53.98 mm x 0.76 mm: ISO/IEC 7810, from memory.
    let (body, [length_mm, width_mm], thickness_mm) = match scale {
        RulerScale::Card => (Body::Paper, card::SIZE_MM, draw.between(0.08, 0.3)),
        _ => (draw.pick(&[Body::Plastic, Body::Plastic, Body::Dark, Body::Tape]), [85.60, 53.98], 0.76),
    };
    let upright = draw.chance(0.5);
    let [half_w, half_h] = fabric.size_mm().map(|s| s / 2.0);
    let side = draw.between(5.0, 12.0) + width_mm / 2.0 + if upright { half_w } else { half_h };
    let side = if draw.chance(0.5) { side } else { -side };
    let slide = draw.between(-12.0, 12.0);
    let off = if upright { [side, slide] } else { [slide, side] };
    let (sin, cos) = fabric.angle_deg.to_radians().sin_cos();
    let turned = if upright { 90.0 } else { 0.0 } + if draw.chance(0.5) { 180.0 } else { 0.0 };
    Ruler {
        scale,
        body,
        length_mm,
        width_mm,
        thickness_mm,
        on_fabric: false,
        centre_mm: [
            fabric.centre_mm[0] + off[0] * cos - off[1] * sin,
            fabric.centre_mm[1] + off[0] * sin + off[1] * cos,
        ],
        angle_deg: fabric.angle_deg + turned + draw.between(-2.0, 2.0) * (1.0 + 2.0 * hard),
        zero_mm: 0.0,
        mark_width_mm: 0.2,
        mark_length: 1.0,
        numerals: false,
        wear: 0.0,
    }
}

/// Usual thicknesses, mm (measured on rulers at hand, rounded).
fn thickness(body: Body, draw: &mut Draw) -> f64 {
    match body {
        Body::Steel => draw.between(0.5, 1.0),
        Body::Plastic | Body::Clear | Body::Dark => draw.between(1.5, 3.0),
        Body::Wood => draw.between(2.0, 5.0),
        Body::Tape => draw.between(0.2, 0.5),
        Body::Paper => 0.1,
    }
}

/// Nearest distance at which phones focus, rounded (common practice, no source), mm.
const NEAREST_MM: f64 = 110.0;

/// A camera that sees what the framing asks for; `hard` runs from 0 (easy) to 1.
pub(super) fn camera(
    wishes: &SampleSettings,
    framing: Framing,
    fabric: &Fabric,
    ruler: Option<&Ruler>,
    hard: f64,
    draw: &mut Draw,
) -> Camera {
    let [x_span, y_span] = content(framing, fabric, ruler, draw);
    let (wide, tall) = (x_span[1] - x_span[0], y_span[1] - y_span[0]);
    let [a, b] = draw.pick(&[[1440, 1080], [1600, 1200], [1840, 1380]]);
    let [width_px, height_px] = wishes.size.unwrap_or(if wide >= tall { [a, b] } else { [b, a] });
    let focal_length_35mm = draw.pick(&[24.0, 25.0, 26.0, 26.0, 27.0, 28.0, 35.0, 50.0]);
    let diagonal = f64::from(width_px).hypot(f64::from(height_px));
    let focal_px = focal_length_35mm * diagonal / 43.2666;
    let fill = draw.between(0.82, 0.95);
    let filling = fill * (f64::from(width_px) / wide).min(f64::from(height_px) / tall);
    let px_per_mm = filling.min(focal_px / NEAREST_MM);
    let tilt = wishes.tilt_deg.unwrap_or_else(|| draw.between(0.0, 2.5 + 13.0 * hard));
    let way = draw.between(0.0, std::f64::consts::TAU);
    let stitch_px = px_per_mm * fabric.stitch_mm().min(fabric.row_mm());
    let blur = draw.between(0.5, 0.75 + 1.3 * hard);
    let shaken = draw.chance(0.35 * hard);
    let motion = if shaken { draw.between(0.0, 2.0) } else { 0.0 };
    let shake = draw.between(0.0, std::f64::consts::TAU);
    Camera {
        width_px,
        height_px,
        focal_length_35mm,
        distance_mm: focal_px / px_per_mm,
        target_mm: [(x_span[0] + x_span[1]) / 2.0, (y_span[0] + y_span[1]) / 2.0],
        pitch_deg: tilt * way.cos(),
        yaw_deg: tilt * way.sin(),
        roll_deg: draw.between(-2.0, 2.0) * (1.0 + 2.0 * hard),
        k1: draw.between(-0.03, 0.02) * (0.3 + hard),
        // Never so much that the stitches' contrast goes below a half: exp(−2π²σ²/p²) at σ = 0.18 p.
        blur_px: blur.min(0.18 * stitch_px),
        motion_px: [motion * shake.cos(), motion * shake.sin()],
        vignetting: draw.between(0.0, 0.2 + 0.2 * hard),
        exposure_ev: draw.between(-0.3 - 0.7 * hard, 0.25 + 0.2 * hard),
        shot_noise: draw.between(0.003, 0.008 + 0.022 * hard),
        read_noise: draw.between(0.001, 0.002 + 0.006 * hard),
        white_balance: [draw.between(0.9, 1.1), 1.0, draw.between(0.85, 1.1)],
        jpeg_quality: draw.pick(&[80, 86, 90, 93, 95]),
    }
}

/// The part of the table that the photo shall show, mm: spans along x and y.
fn content(framing: Framing, fabric: &Fabric, ruler: Option<&Ruler>, draw: &mut Draw) -> [[f64; 2]; 2] {
    if framing == Framing::CloseUp {
        let wide = draw.between(70.0, 120.0);
        let [x, y] = fabric.centre_mm;
        return [[x - wide / 2.0, x + wide / 2.0], [y - 0.375 * wide, y + 0.375 * wide]];
    }
    let mut spans = [[f64::MAX, f64::MIN]; 2];
    let mut keep = |centre: [f64; 2], [w, h]: [f64; 2], angle: f64| {
        let (sin, cos) = angle.to_radians().sin_cos();
        for (a, b) in [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)] {
            let (u, v) = (a * w, b * h);
            let corner = [centre[0] + u * cos - v * sin, centre[1] + u * sin + v * cos];
            for c in 0..2 {
                spans[c] = [spans[c][0].min(corner[c]), spans[c][1].max(corner[c])];
            }
        }
    };
    keep(fabric.centre_mm, fabric.size_mm(), fabric.angle_deg);
    if let Some(ruler) = ruler {
        // A ruler longer than the swatch may stick out of the picture.
        let most = if is_card(ruler.scale) { f64::INFINITY } else { draw.between(0.9, 1.4) };
        let shown = ruler.length_mm.min(fabric.size_mm()[0].max(fabric.size_mm()[1]) * most);
        keep(ruler.centre_mm, [shown, ruler.width_mm], ruler.angle_deg);
    }
    spans
}
