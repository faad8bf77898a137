//! What a measurement of a synthetic photo should find.

use super::fabric_surface::FabricSurface;
use super::scene::{Body, Difficulty, Ruler, RulerScale, Scene};
use super::view::View;
use serde::{Deserialize, Serialize};

/// Below this many stitches or rows of visible body a photo must be refused: about 6 × 6 is the least that carries a
/// lattice (a stated choice).
const FEWEST: i64 = 6;

/// A Gaussian blur of half a stitch takes all but 0.7 % of the stitches' contrast (exp(−2π²/4)).
const BLUR_OF_STITCH: f64 = 0.5;

/// Least length of visible scale, mm: two numbers of a centimetre scale (a stated choice).
const LEAST_SCALE_MM: f64 = 20.0;

/// Below this many pixels a stitch has no shape (two pixels a leg; a stated choice).
const LEAST_STITCH_PX: f64 = 4.0;

/// The truth about one photo. All px are photo points (the centre of the first pixel is (0.5, 0.5)); all angles are
/// degrees in the photo, 0 right, 90 down.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// The scene's seed.
    pub seed: u64,
    /// Width and height, px.
    pub image_size: [u32; 2],
    /// Stitch pattern; `None` without a swatch.
    pub pattern: Option<PatternTruth>,
    /// Stitches per 10 cm along the row: least squares of index on mm over the visible body.
    pub stitch_gauge: Option<f64>,
    /// Rows per 10 cm along the wale, likewise.
    pub row_gauge: Option<f64>,
    /// Visible stitches and rows of the body.
    pub interior_count: [u32; 2],
    /// Outline of the visible body, px, cut by the frame.
    pub interior_polygon_px: Vec<[f64; 2]>,
    /// Direction of the growing stitch index in the middle of the visible body.
    pub stitch_axis_deg: Option<f64>,
    /// Direction of the growing row index, likewise.
    pub row_axis_deg: Option<f64>,
    /// Angle from the rows' normal to the wales in the fabric, degrees.
    pub skew_deg: Option<f64>,
    /// Size of a stitch in the middle of the visible body, px.
    pub px_per_stitch: Option<f64>,
    /// Size of a row, likewise.
    pub px_per_row: Option<f64>,
    /// The plane of the fabric's visible surface.
    pub fabric_plane: Option<PlaneTruth>,
    /// Radial distortion of the lens.
    pub distortion: DistortionTruth,
    /// The ruler; `None` without one.
    pub ruler: Option<RulerTruth>,
    /// How much too large the fabric looks against the ruler because it lies higher (negative: lower), percent.
    pub height_bias_percent: Option<f64>,
    /// The camera.
    pub camera: CameraTruth,
    /// Whether no honest measurement is possible.
    pub must_refuse: bool,
    /// Why not: `no_fabric`, `no_ruler`, `ruler_without_ticks`, `out_of_focus`, `too_few_stitches`, `too small`.
    pub refuse_reason: Option<String>,
    /// How hard the photo is meant to be.
    pub difficulty: Difficulty,
}

/// A stitch pattern.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PatternTruth {
    /// Name, with `_` between words.
    pub name: String,
    /// Stitches of one repeat.
    pub repeat_stitches: u32,
    /// Rows of one repeat.
    pub repeat_rows: u32,
    /// Stitches and rows of garter border on every side.
    pub border: [u32; 2],
}

/// A plane parallel to the table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlaneTruth {
    /// Height above the table, mm.
    pub height_mm: f64,
    /// From mm on the plane (x right, y down as on the table) to px before the distortion.
    pub homography_mm_to_px_undistorted: [[f64; 3]; 3],
}

/// Radial distortion: p_d = c + (p_u − c)(1 + k1 r²), r = |p_u − c| / radius.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DistortionTruth {
    /// Strength; negative is a barrel.
    pub k1: f64,
    /// The centre c, px.
    pub center: [f64; 2],
    /// Half the picture's diagonal, px.
    pub radius: f64,
}

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

/// The camera.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CameraTruth {
    /// Distance to the table along the optical axis, mm.
    pub distance_mm: f64,
    /// Height above the table, mm.
    pub height_above_table_mm: f64,
    /// Angle between the optical axis and the table's normal, degrees.
    pub tilt_deg: f64,
    /// Direction on the table in which the camera looks, degrees.
    pub azimuth_deg: f64,
    /// Turn about the optical axis, degrees.
    pub roll_deg: f64,
    /// Focal length, px.
    pub focal_px: f64,
    /// Focal length for a 35 mm film frame, by the diagonal, mm.
    pub f35_mm: f64,
    /// Blur, standard deviation in px.
    pub blur_sigma_px: f64,
}

/// One stitch: its lattice point, the middle of its loop in the plane of the fabric's visible surface.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StitchTruth {
    /// Stitch of the row, from 0 at the swatch's edge.
    pub stitch: i64,
    /// Row, from 0 at the cast-on.
    pub row: i64,
    /// Place on the plane, mm.
    pub mm: [f64; 2],
    /// Place in the photo, px.
    pub px: [f64; 2],
    /// Whether it is knit as seen (else purl).
    pub knit: bool,
    /// Whether the ruler hides it.
    pub under_ruler: bool,
}

/// The truth of a scene, and its visible lattice.
pub(super) fn of(
    scene: &Scene,
    view: &View,
    surface: Option<&FabricSurface>,
    ruler_face_mm: f64,
) -> (Truth, Vec<StitchTruth>) {
    let camera = &scene.camera;
    let size = [camera.width_px, camera.height_px];
    let lattice = surface.map_or_else(Vec::new, |s| visible_lattice(s, view, scene, ruler_face_mm));
    let seen: Vec<&StitchTruth> = lattice.iter().filter(|s| !s.under_ruler).collect();
    let fit = AxisFit::of(&seen);
    let face = surface.map(FabricSurface::face_mm);
    let ruler = scene.ruler.as_ref().map(|r| ruler_truth(r, view, size, ruler_face_mm, face));
    let mut truth = Truth {
        seed: scene.seed,
        image_size: size,
        pattern: scene.fabric.as_ref().map(|f| PatternTruth {
            name: f.chart.name.replace('-', "_"),
            repeat_stitches: f.chart.repeat().0,
            repeat_rows: f.chart.repeat().1,
            border: [f.border_stitches, f.border_rows],
        }),
        stitch_gauge: fit.as_ref().map(|f| 100.0 / f.stitch_mm[0].hypot(f.stitch_mm[1])),
        row_gauge: fit.as_ref().map(|f| 100.0 / f.row_mm[0].hypot(f.row_mm[1])),
        interior_count: count(&seen),
        interior_polygon_px: surface.map_or_else(Vec::new, |s| interior_polygon(s, view, size)),
        stitch_axis_deg: None,
        row_axis_deg: None,
        skew_deg: fit.as_ref().map(AxisFit::skew_deg),
        px_per_stitch: None,
        px_per_row: None,
        fabric_plane: face
            .map(|height_mm| PlaneTruth { height_mm, homography_mm_to_px_undistorted: view.homography(height_mm) }),
        distortion: DistortionTruth { k1: view.k1, center: view.centre, radius: view.radius },
        height_bias_percent: face.filter(|_| ruler.is_some()).map(|face| {
            let [x, y] = scene.fabric.as_ref().map_or(camera.target_mm, |f| f.centre_mm);
            100.0 * (view.px_per_mm(x, y, face) / view.px_per_mm(x, y, ruler_face_mm) - 1.0)
        }),
        ruler,
        camera: CameraTruth {
            distance_mm: camera.distance_mm,
            height_above_table_mm: view.height_mm(),
            tilt_deg: view.tilt_deg(),
            azimuth_deg: view.azimuth_deg(),
            roll_deg: camera.roll_deg,
            focal_px: view.focal_px,
            f35_mm: camera.focal_length_35mm,
            blur_sigma_px: camera.blur_px,
        },
        must_refuse: false,
        refuse_reason: None,
        difficulty: scene.difficulty,
    };
    if let (Some(fit), Some(face)) = (&fit, face) {
        let step = |way: [f64; 2]| fit.step_px(way, face, view);
        let (along, up) = (step(fit.stitch_mm), step(fit.row_mm));
        truth.stitch_axis_deg = along.map(|[x, y]| y.atan2(x).to_degrees());
        truth.row_axis_deg = up.map(|[x, y]| y.atan2(x).to_degrees());
        truth.px_per_stitch = along.map(|[x, y]| x.hypot(y));
        truth.px_per_row = up.map(|[x, y]| x.hypot(y));
    }
    truth.refuse_reason = reason(&truth, scene).map(str::to_owned);
    truth.must_refuse = truth.refuse_reason.is_some();
    (truth, lattice)
}

/// Why a photo cannot be measured.
fn reason(truth: &Truth, scene: &Scene) -> Option<&'static str> {
    let Some(ruler) = &truth.ruler else {
        return Some(if truth.pattern.is_none() { "no_fabric" } else { "no_ruler" });
    };
    if truth.pattern.is_none() {
        return Some("no_fabric");
    }
    if scene.ruler.as_ref().is_some_and(|r| r.scale == RulerScale::Unmarked) {
        return Some("ruler_without_ticks");
    }
    if ruler.visible_length_mm < LEAST_SCALE_MM {
        return Some("no_ruler");
    }
    let (Some(stitch), Some(row)) = (truth.px_per_stitch, truth.px_per_row) else { return Some("too_few_stitches") };
    if truth.interior_count.iter().any(|&n| i64::from(n) < FEWEST) {
        return Some("too_few_stitches");
    }
    if stitch.min(row) < LEAST_STITCH_PX {
        return Some("too small");
    }
    (scene.camera.blur_px > BLUR_OF_STITCH * stitch.min(row)).then_some("out_of_focus")
}

/// First and last (exclusive) stitch and row of the interior: without border, and without the two outermost where there
/// is none.
fn interior(surface: &FabricSurface) -> [[i64; 2]; 2] {
    let f = surface.fabric;
    let span = |total: u32, border: u32| {
        let off = i64::from(if border == 0 { 2 } else { border });
        [off, (i64::from(total) - off).max(off)]
    };
    [span(f.stitches, f.border_stitches), span(f.rows, f.border_rows)]
}

fn in_frame([x, y]: [f64; 2], size: [u32; 2]) -> bool {
    x >= 0.0 && y >= 0.0 && x <= f64::from(size[0]) && y <= f64::from(size[1])
}

fn visible_lattice(surface: &FabricSurface, view: &View, scene: &Scene, ruler_face_mm: f64) -> Vec<StitchTruth> {
    let size = [scene.camera.width_px, scene.camera.height_px];
    let face = surface.face_mm();
    let [[i0, i1], [j0, j1]] = interior(surface);
    let cover = scene.ruler.as_ref().filter(|r| r.on_fabric).map(|r| super::ruler_face::RulerFace::new(r, 0));
    let mut lattice = Vec::new();
    for (row, stitch) in (j0..j1).flat_map(|j| (i0..i1).map(move |i| (j, i))) {
        let mm = surface.lattice_point(stitch, row);
        let Some(px) = view.project(mm[0], mm[1], face).filter(|&px| in_frame(px, size)) else { continue };
        let hidden = |c: &super::ruler_face::RulerFace| {
            c.outside(c.place(view.sight(px[0], px[1]).at_height(ruler_face_mm))) < 0.0
        };
        let under_ruler = cover.as_ref().is_some_and(hidden);
        lattice.push(StitchTruth { stitch, row, mm, px, knit: surface.sign(stitch, row) > 0.0, under_ruler });
    }
    lattice
}

/// Stitches and rows spanned by the visible lattice.
fn count(seen: &[&StitchTruth]) -> [u32; 2] {
    let span = |index: fn(&StitchTruth) -> i64| {
        let low = seen.iter().map(|s| index(s)).min();
        let high = seen.iter().map(|s| index(s)).max();
        low.zip(high).map_or(0, |(low, high)| (high - low + 1) as u32)
    };
    [span(|s| s.stitch), span(|s| s.row)]
}

/// Least squares of the two indices on the place: the lattice's own vectors, mm.
struct AxisFit {
    middle: [f64; 2],
    stitch_mm: [f64; 2],
    row_mm: [f64; 2],
}

impl AxisFit {
    fn of(seen: &[&StitchTruth]) -> Option<Self> {
        if seen.len() < 4 {
            return None;
        }
        let n = seen.len() as f64;
        let mean = |value: &dyn Fn(&StitchTruth) -> f64| seen.iter().map(|s| value(s)).sum::<f64>() / n;
        let middle = [mean(&|s| s.mm[0]), mean(&|s| s.mm[1])];
        let index = [mean(&|s| s.stitch as f64), mean(&|s| s.row as f64)];
        let [mut xx, mut xy, mut yy] = [0.0; 3];
        let mut with = [[0.0; 2]; 2];
        for s in seen {
            let (x, y) = (s.mm[0] - middle[0], s.mm[1] - middle[1]);
            (xx, xy, yy) = (xx + x * x, xy + x * y, yy + y * y);
            for (k, value) in [s.stitch as f64 - index[0], s.row as f64 - index[1]].into_iter().enumerate() {
                with[k] = [with[k][0] + value * x, with[k][1] + value * y];
            }
        }
        let det = xx * yy - xy * xy;
        if det <= 1e-9 * xx * yy {
            return None;
        }
        // Rows: gradient of the stitch and of the row index; the inverse has the lattice's vectors as columns.
        let gradient = with.map(|[a, b]| [(a * yy - b * xy) / det, (b * xx - a * xy) / det]);
        let turn = gradient[0][0] * gradient[1][1] - gradient[0][1] * gradient[1][0];
        (turn.abs() > 1e-12).then(|| Self {
            middle,
            stitch_mm: [gradient[1][1] / turn, -gradient[1][0] / turn],
            row_mm: [-gradient[0][1] / turn, gradient[0][0] / turn],
        })
    }

    fn skew_deg(&self) -> f64 {
        let (s, r) = (self.stitch_mm, self.row_mm);
        let dot = s[0] * r[0] + s[1] * r[1];
        let cross = (s[0] * r[1] - s[1] * r[0]).abs();
        dot.atan2(cross).to_degrees()
    }

    /// One step along a lattice vector in the photo, px, from the middle half a step each way.
    fn step_px(&self, [x, y]: [f64; 2], face: f64, view: &View) -> Option<[f64; 2]> {
        let [mx, my] = self.middle;
        let back = view.project(mx - x / 2.0, my - y / 2.0, face)?;
        let on = view.project(mx + x / 2.0, my + y / 2.0, face)?;
        Some([on[0] - back[0], on[1] - back[1]])
    }
}

/// Outline of the interior at its outermost stitches' edges, cut by the frame.
fn interior_polygon(surface: &FabricSurface, view: &View, size: [u32; 2]) -> Vec<[f64; 2]> {
    let [[i0, i1], [j0, j1]] = interior(surface).map(|span| span.map(|v| v as f64 - 0.5));
    let corners = [[i0, j0], [i1, j0], [i1, j1], [i0, j1]];
    let mut outline = Vec::new();
    for k in 0..4 {
        let (a, b) = (corners[k], corners[(k + 1) % 4]);
        outline.extend((0..8).filter_map(|step| {
            let t = f64::from(step) / 8.0;
            let [x, y] = surface.grid_point(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]));
            view.project(x, y, surface.face_mm())
        }));
    }
    let (w, h) = (f64::from(size[0]), f64::from(size[1]));
    for (axis, limit, below) in [(0, 0.0, false), (0, w, true), (1, 0.0, false), (1, h, true)] {
        outline = cut(&outline, axis, limit, below);
    }
    outline
}

/// The part of a polygon on one side of a limit on one axis (Sutherland and Hodgman, 1974).
fn cut(outline: &[[f64; 2]], axis: usize, limit: f64, below: bool) -> Vec<[f64; 2]> {
    let inside = |p: &[f64; 2]| if below { p[axis] <= limit } else { p[axis] >= limit };
    let mut kept = Vec::with_capacity(outline.len() + 4);
    for (k, to) in outline.iter().enumerate() {
        let from = &outline[(k + outline.len() - 1) % outline.len()];
        if inside(from) != inside(to) {
            let t = (limit - from[axis]) / (to[axis] - from[axis]);
            kept.push([from[0] + t * (to[0] - from[0]), from[1] + t * (to[1] - from[1])]);
        }
        if inside(to) {
            kept.push(*to);
        }
    }
    kept
}

fn ruler_truth(ruler: &Ruler, view: &View, size: [u32; 2], face_mm: f64, fabric_mm: Option<f64>) -> RulerTruth {
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
    };
    let scale = match ruler.scale {
        RulerScale::Cm => "cm",
        RulerScale::HalfMm => "halfmm",
        RulerScale::InchEighths => "in8",
        RulerScale::InchSixteenths => "in16",
        RulerScale::CmInch => "cm_in",
        RulerScale::Unmarked => "blank",
    };
    format!("{body}_{scale}")
}
