//! The truth about the ruler in a synthetic photo.

use super::lattice_truth::in_frame;
use super::scene::{Body, Ruler, RulerScale};
use super::view::View;
use serde::{Deserialize, Serialize};

/// A ruler.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RulerTruth {
    /// Body and scale, as in `steel_cm`.
    pub r#type: String,
    /// `cm`, `inch`, `cm+inch`; `None` without marks.
    pub unit: Option<String>,
    /// Distance of neighbouring marks on the first edge, mm; `None` without marks.
    pub pitch_mm: Option<f64>,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Length of the body, mm.
    pub length_mm: f64,
    /// Width of the body, mm.
    pub width_mm: f64,
    /// Height of its face above the table, mm.
    pub top_height_mm: f64,
    /// Height of its face above the fabric's visible surface, mm (negative: lower); `None` without a swatch.
    pub height_above_fabric_plane_mm: Option<f64>,
    /// `table` or `fabric`.
    pub lies_on: String,
    /// Direction of the growing scale in the photo, in the middle of the visible part; `None` if nothing is visible.
    pub axis_deg: Option<f64>,
    /// Length of scale inside the frame, mm.
    pub visible_length_mm: f64,
    /// Corners of the face, px, those that the camera can see.
    pub corners_px: Vec<[f64; 2]>,
    /// Every row of marks.
    pub scales: Vec<RulerScaleTruth>,
}

/// A row of marks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RulerScaleTruth {
    /// `cm` or `inch`.
    pub unit: String,
    /// Distance of neighbouring marks, mm.
    pub tick_spacing_mm: f64,
    /// Number of marks, the one of zero included.
    pub ticks: u32,
    /// First and last mark at the body's edge, px; may lie outside the frame, `None` far outside.
    pub end_points_px: [Option<[f64; 2]>; 2],
}

/// The truth about a ruler whose face lies `face_mm` above the table, against a fabric surface at `fabric_mm`.
pub(super) fn ruler_truth(
    ruler: &Ruler,
    view: &View,
    size: [u32; 2],
    face_mm: f64,
    fabric_mm: Option<f64>,
) -> RulerTruth {
    let edges = ruler.edges();
    let seen = |u: f64, v: f64| {
        let [x, y] = ruler.on_table(u, v);
        view.project(x, y, face_mm)
    };
    let scales: Vec<RulerScaleTruth> = edges
        .iter()
        .map(|edge| {
            let v = if edge.far { ruler.width_mm } else { 0.0 };
            let last = ruler.last_mark(edge);
            let ends = [0.0, f64::from(last) * edge.pitch_mm].map(|mm| seen(ruler.zero_mm + mm, v));
            RulerScaleTruth {
                unit: edge.unit.to_owned(),
                tick_spacing_mm: edge.pitch_mm,
                ticks: last + 1,
                end_points_px: ends,
            }
        })
        .collect();
    // In steps of 1/4 mm along the near edge.
    let scale_mm = edges.first().map_or(ruler.length_mm, |edge| f64::from(ruler.last_mark(edge)) * edge.pitch_mm);
    let start = if edges.is_empty() { 0.0 } else { ruler.zero_mm };
    let visible: Vec<f64> = (0..(scale_mm * 4.0) as usize)
        .map(|k| start + k as f64 / 4.0)
        .filter(|&u| seen(u, 0.0).is_some_and(|px| in_frame(px, size)))
        .collect();
    let middle = visible.get(visible.len() / 2).copied();
    let axis = middle.and_then(|u| Some((seen(u - 0.5, 0.0)?, seen(u + 0.5, 0.0)?)));
    let unit = match edges.as_slice() {
        [] => None,
        [one] => Some(one.unit.to_owned()),
        [one, two, ..] if one.unit != two.unit => Some(format!("{}+{}", one.unit, two.unit)),
        [one, ..] => Some(one.unit.to_owned()),
    };
    RulerTruth {
        r#type: kind(ruler),
        unit,
        pitch_mm: edges.first().map(|edge| edge.pitch_mm),
        thickness_mm: ruler.thickness_mm,
        length_mm: ruler.length_mm,
        width_mm: ruler.width_mm,
        top_height_mm: face_mm,
        height_above_fabric_plane_mm: fabric_mm.map(|f| face_mm - f),
        lies_on: if ruler.on_fabric { "fabric" } else { "table" }.to_owned(),
        axis_deg: axis.map(|(a, b)| (b[1] - a[1]).atan2(b[0] - a[0]).to_degrees()),
        visible_length_mm: visible.len() as f64 / 4.0,
        corners_px: [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]
            .iter()
            .filter_map(|(u, v)| seen(u * ruler.length_mm, v * ruler.width_mm))
            .collect(),
        scales,
    }
}

fn kind(ruler: &Ruler) -> String {
    let body = match ruler.body {
        Body::Steel => "steel",
        Body::Plastic => "plastic",
        Body::Clear => "clear",
        Body::Wood => "wood",
        Body::Tape => "tape",
        Body::Dark => "dark",
        Body::Paper => "paper",
    };
    let scale = match ruler.scale {
        RulerScale::Cm => "cm",
        RulerScale::HalfMm => "halfmm",
        RulerScale::InchEighths => "in8",
        RulerScale::InchSixteenths => "in16",
        RulerScale::CmInch => "cm_in",
        RulerScale::Unmarked => "blank",
        RulerScale::Card => "card",
        RulerScale::Id1 => "id1",
    };
    format!("{body}_{scale}")
}
