//! The outline of the whole swatch, borders and cast-on edge included: four sides, each a gentle curve.
//!
//! A swatch is a piece with four sides. Where it ends is asked of every line across it: the place that best parts pixels
//! that look like fabric from pixels that look like what lies around (the most likely change point of a sequence; Hinkley
//! 1970). A robust curve through these places is a side; it bridges what a ruler hides.

mod ground;
mod looks;
mod sides;

use crate::fabric::Bands;
use crate::photo::Photo;
use crate::plane::PlaneMap;
use crate::quantity::{PhotoPoint, PlanePoint};
use ground::Ground;

/// Points along each side of the outline.
const POINTS: usize = 17;
/// Least share of the area within the outline that looks like fabric.
const LEAST_INSIDE: f64 = 0.8;
/// Largest share of the band around it that may.
const MOST_AROUND: f64 = 0.4;
/// Width of that band and its distance from the outline, in mm.
const BAND_MM: (f64, f64) = (2.0, 8.0);

/// What is known of the swatch before its outline is looked for.
#[derive(Debug, Clone, Default)]
pub struct SwatchHints {
    /// Outline of an area that surely is fabric, in the photo; empty where none is known: the photo's middle is taken.
    pub fabric: Vec<PhotoPoint>,
    /// Directions of row and wale in the plane, unit vectors; `None` takes them from the swatch's own sides.
    pub axes: Option<([f64; 2], [f64; 2])>,
}

/// A length with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanLength {
    /// In mm.
    pub mm: f64,
    /// Standard uncertainty, in mm: how the sides' places scatter, and how surely fabric's edge is defined.
    pub standard_mm: f64,
    /// Degrees of freedom of it.
    pub degrees_of_freedom: f64,
}

/// The whole swatch as its outline shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct SwatchOutline {
    /// Points along the four sides in the photo: where the row begins, where it ends, where the wale begins, where it
    /// ends. Points of opposite sides stand in the same order.
    pub sides_px: [Vec<PhotoPoint>; 4],
    /// Mean width along the row.
    pub width: MeanLength,
    /// Mean height along the wale.
    pub height: MeanLength,
    /// Area, in mm².
    pub area_mm2: f64,
    /// Share of the outline that was bridged because something lies on it, 0 to 1.
    pub bridged: f64,
}

/// Why there is no outline.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoOutline {
    /// The swatch goes on beyond the picture.
    LeavesPicture,
    /// Too much of a side is hidden.
    Hidden,
    /// Fabric and surroundings can't be told apart surely.
    Unclear,
}

impl SwatchOutline {
    /// The same swatch with row and wale exchanged.
    pub fn turned(self) -> Self {
        let [begin, end, low, high] = self.sides_px;
        Self { sides_px: [low, high, begin, end], width: self.height, height: self.width, ..self }
    }

    /// Direction in the photo from where the row begins to where it ends, in degrees.
    pub fn row_direction_deg(&self) -> f64 {
        let middle = |side: &[PhotoPoint]| side[side.len() / 2];
        let (from, to) = (middle(&self.sides_px[0]), middle(&self.sides_px[1]));
        (to.y - from.y).atan2(to.x - from.x).to_degrees()
    }

    /// The closed outline in the photo.
    pub fn outline_px(&self) -> Vec<PhotoPoint> {
        let [begin, end, low, high] = &self.sides_px;
        let forward = |side: &[PhotoPoint]| side[..side.len() - 1].to_vec();
        let backward = |side: &[PhotoPoint]| side[1..].iter().rev().copied().collect::<Vec<_>>();
        [forward(low), forward(end), backward(high), backward(begin)].concat()
    }
}

/// Looks for the outline of the swatch in the whole photo. `excluded` are the outlines of rulers and cards.
pub fn swatch_outline(
    photo: &Photo,
    map: &PlaneMap,
    excluded: &[Vec<PhotoPoint>],
    hints: &SwatchHints,
) -> Result<SwatchOutline, NoOutline> {
    let middle;
    let fabric = if hints.fabric.is_empty() {
        middle = middle_of(photo);
        middle.as_slice()
    } else {
        &hints.fabric
    };
    let ground = Ground::of(photo, map, excluded, fabric).ok_or(NoOutline::Unclear)?;
    let evidence = ground.evidence()?;
    let area = ground.area(&evidence);
    let axes = hints.axes.or_else(|| ground.rectangle_axes(&area)).ok_or(NoOutline::Unclear)?;
    let sides = sides::four_sides(&ground, &evidence, &area, axes)?;
    let in_photo = |points: &Vec<PlanePoint>| points.iter().map(|p| map.to_photo(*p)).collect::<Option<Vec<_>>>();
    let points = sides.points(POINTS);
    let [a, b, c, d] = points.each_ref().map(in_photo);
    let [width, height] = sides.lengths();
    let outline = SwatchOutline {
        sides_px: [
            a.ok_or(NoOutline::Unclear)?,
            b.ok_or(NoOutline::Unclear)?,
            c.ok_or(NoOutline::Unclear)?,
            d.ok_or(NoOutline::Unclear)?,
        ],
        width,
        height,
        area_mm2: enclosed_mm2(&points),
        bridged: sides.hidden(),
    };
    check(&ground, &evidence, &outline.outline_px(), map)?;
    Ok(outline)
}

/// The middle of the photo, where a person puts the swatch.
fn middle_of(photo: &Photo) -> Vec<PhotoPoint> {
    /// Half of it, as a share of the photo's sides.
    const HALF: f64 = 0.12;
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    let corners = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
    corners.map(|(x, y)| PhotoPoint::new(w * (0.5 + HALF * x), h * (0.5 + HALF * y))).to_vec()
}

/// Area within four sides, by the trapezoid rule (Gauss).
fn enclosed_mm2(sides: &[Vec<PlanePoint>; 4]) -> f64 {
    let [begin, end, low, high] = sides;
    let around: Vec<PlanePoint> =
        low.iter().chain(end).chain(high.iter().rev()).chain(begin.iter().rev()).copied().collect();
    let next = around.iter().cycle().skip(1);
    around.iter().zip(next).map(|(p, q)| p.x * q.y - q.x * p.y).sum::<f64>().abs() / 2.0
}

/// What lies within must look like fabric, what lies around must not.
fn check(ground: &Ground, evidence: &[f32], outline: &[PhotoPoint], map: &PlaneMap) -> Result<(), NoOutline> {
    let plane: Vec<PhotoPoint> = outline
        .iter()
        .filter_map(|p| map.to_plane(*p))
        .map(|p| {
            let patch = &ground.patch;
            PhotoPoint::new((p.x - patch.origin.x) * patch.px_per_mm, (p.y - patch.origin.y) * patch.px_per_mm)
        })
        .collect();
    let outline = Bands::of(&plane);
    let gathered = ground.gathered(evidence);
    let width = ground.patch.width;
    let (near, far) = (ground.radius(BAND_MM.0) as f64, ground.radius(BAND_MM.1) as f64);
    let centre =
        plane.iter().fold((0.0, 0.0), |(x, y), p| (x + p.x / plane.len() as f64, y + p.y / plane.len() as f64));
    let (mut within, mut around) = ([0.0_f64; 2], [0.0_f64; 2]);
    for i in (0..gathered.len()).filter(|&i| ground.patch.valid[i] > 0.0) {
        let p = PhotoPoint::new((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
        let looks = f64::from(u8::from(gathered[i] > 0.0));
        if outline.hold(p) {
            within = [within[0] + looks, within[1] + 1.0];
            continue;
        }
        // Drawn towards the middle by the band's width, a point of the band lands inside.
        let (dx, dy) = (centre.0 - p.x, centre.1 - p.y);
        let length = dx.hypot(dy).max(1e-9);
        let drawn = |by: f64| p.moved(dx / length * by, dy / length * by);
        if outline.hold(drawn(far)) && !outline.hold(drawn(near)) {
            around = [around[0] + looks, around[1] + 1.0];
        }
    }
    let share = |[yes, all]: [f64; 2]| yes / f64::max(all, 1.0);
    if share(within) < LEAST_INSIDE || share(around) > MOST_AROUND {
        return Err(NoOutline::Unclear);
    }
    Ok(())
}
