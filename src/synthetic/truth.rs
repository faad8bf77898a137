//! What a measurement of a synthetic photo should find.

use super::fabric_surface::FabricSurface;
use super::lattice_truth::{AxisFit, StitchTruth, count, interior_polygon, visible_lattice};
use super::ruler_truth::{RulerTruth, ruler_truth};
use super::scene::{Difficulty, RulerScale, Scene};
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
