//! Where the stitches of a synthetic photo are: the visible lattice, its outline and its gauge.

use super::fabric_surface::FabricSurface;
use super::ruler_face::RulerFace;
use super::scene::Scene;
use super::view::View;
use serde::{Deserialize, Serialize};

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

/// Whether a photo point lies in a picture of this size.
pub(super) fn in_frame([x, y]: [f64; 2], size: [u32; 2]) -> bool {
    x >= 0.0 && y >= 0.0 && x <= f64::from(size[0]) && y <= f64::from(size[1])
}

/// The interior's stitches inside the frame.
pub(super) fn visible_lattice(
    surface: &FabricSurface,
    view: &View,
    scene: &Scene,
    ruler_face_mm: f64,
) -> Vec<StitchTruth> {
    let size = [scene.camera.width_px, scene.camera.height_px];
    let face = surface.face_mm();
    let [[i0, i1], [j0, j1]] = interior(surface);
    let cover = scene.ruler.as_ref().filter(|r| r.on_fabric).map(|r| RulerFace::new(r, 0));
    let mut lattice = Vec::new();
    for (row, stitch) in (j0..j1).flat_map(|j| (i0..i1).map(move |i| (j, i))) {
        let mm = surface.lattice_point(stitch, row);
        let Some(px) = view.project(mm[0], mm[1], face).filter(|&px| in_frame(px, size)) else { continue };
        let hidden = |c: &RulerFace| c.outside(c.place(view.sight(px[0], px[1]).at_height(ruler_face_mm))) < 0.0;
        let under_ruler = cover.as_ref().is_some_and(hidden);
        lattice.push(StitchTruth { stitch, row, mm, px, knit: surface.sign(stitch, row) > 0.0, under_ruler });
    }
    lattice
}

/// Stitches and rows spanned by the visible lattice.
pub(super) fn count(seen: &[&StitchTruth]) -> [u32; 2] {
    let span = |index: fn(&StitchTruth) -> i64| {
        let low = seen.iter().map(|s| index(s)).min();
        let high = seen.iter().map(|s| index(s)).max();
        low.zip(high).map_or(0, |(low, high)| (high - low + 1) as u32)
    };
    [span(|s| s.stitch), span(|s| s.row)]
}

/// Least squares of the two indices on the place: the lattice's own vectors, mm.
pub(super) struct AxisFit {
    middle: [f64; 2],
    pub stitch_mm: [f64; 2],
    pub row_mm: [f64; 2],
}

impl AxisFit {
    pub fn of(seen: &[&StitchTruth]) -> Option<Self> {
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

    pub fn skew_deg(&self) -> f64 {
        let (s, r) = (self.stitch_mm, self.row_mm);
        let dot = s[0] * r[0] + s[1] * r[1];
        let cross = (s[0] * r[1] - s[1] * r[0]).abs();
        dot.atan2(cross).to_degrees()
    }

    /// One step along a lattice vector in the photo, px, from the middle half a step each way.
    pub fn step_px(&self, [x, y]: [f64; 2], face: f64, view: &View) -> Option<[f64; 2]> {
        let [mx, my] = self.middle;
        let back = view.project(mx - x / 2.0, my - y / 2.0, face)?;
        let on = view.project(mx + x / 2.0, my + y / 2.0, face)?;
        Some([on[0] - back[0], on[1] - back[1]])
    }
}

/// Outline of the interior at its outermost stitches' edges, cut by the frame.
pub(super) fn interior_polygon(surface: &FabricSurface, view: &View, size: [u32; 2]) -> Vec<[f64; 2]> {
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
