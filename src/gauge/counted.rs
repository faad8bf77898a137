//! The gauge from a count by hand: so many stitches and rows, counted over a length that the photo shows.
//!
//! It goes the same way as a count in the photo, through the same budget: the count is laid over the fabric's plane as
//! blocks of known stitch and row number. What is different is where the count begins and ends.

use super::swatch::{GaugeSettings, RandomPart, ScaleSource, SwatchGauge, swatch_gauge};
use crate::fabric::{MeanLength, SwatchOutline};
use crate::lattice::PhaseBlock;
use crate::plane::{PlaneEstimate, PlaneMap};
use crate::quantity::{Contribution, PhotoPoint, PlanePoint, Shape, Source, Uncertain};

/// How far a count may be off at each of its two ends, in stitches or rows: a part of a stitch is counted or left out, and
/// the outermost stitch rolls under (common practice, no source). Two equal rectangular parts make a triangular one.
const HALF_A_STITCH: f64 = 0.5;

/// How much wider than its count a whole swatch is, in stitches: middle and limits. The outermost loops stand out by half
/// a yarn, a fifth of a stitch, on each side (0.4); edges that roll under or are slack take away or add as much.
const EDGE_STITCHES: (f64, f64) = (0.5, 0.5);

/// How much higher than its count a whole swatch is, in rows: middle and limits. The cast-on and the cast-off edge are not
/// counted as rows, and each takes from nothing to a row (common practice, no source).
const EDGE_ROWS: (f64, f64) = (1.0, 1.0);

/// A direction of the row is known to so many degrees where a person says it (a stated choice), and where it is seen.
const TYPED_AXES_DEG: f64 = 2.0;
const SEEN_AXES_DEG: f64 = 0.5;

/// What a person counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counted {
    /// Stitches along the row.
    pub stitches: f64,
    /// Rows along the wale.
    pub rows: f64,
    /// Over what.
    pub between: CountedBetween,
}

/// Over what a person counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CountedBetween {
    /// The whole swatch, from edge to edge.
    Edges,
    /// Opposite corners of what was counted.
    Corners([PhotoPoint; 2]),
    /// One run for the stitches, another for the rows.
    Runs {
        /// Ends of the run along the row.
        row: [PhotoPoint; 2],
        /// Ends of the run along the wale.
        wale: [PhotoPoint; 2],
    },
}

impl CountedBetween {
    /// The points a person gave.
    pub fn points(&self) -> Vec<PhotoPoint> {
        match self {
            Self::Edges => Vec::new(),
            Self::Corners(corners) => corners.to_vec(),
            Self::Runs { row, wale } => [*row, *wale].concat(),
        }
    }
}

/// A count laid over the photo.
#[derive(Debug, Clone)]
pub struct LaidCount {
    blocks: Vec<PhaseBlock>,
    /// What makes the lengths uncertain, relative, for stitches and for rows.
    own: [Vec<Contribution>; 2],
}

impl LaidCount {
    /// From edge to edge of the swatch. `None` beyond the plane's horizon.
    pub fn over_outline(counted: &Counted, outline: &SwatchOutline, map: &PlaneMap) -> Option<Self> {
        let (s, r) = (counted.stitches + EDGE_STITCHES.0, counted.rows + EDGE_ROWS.0);
        let [begin, end, low, high] = &outline.sides_px;
        let part = |k: usize, side: &[PhotoPoint]| k as f64 / (side.len() - 1) as f64;
        let mut blocks = Vec::new();
        for (side, at) in [(begin, 0.0), (end, s)] {
            let along = side.iter().enumerate().map(|(k, p)| block(map, *p, at, r * part(k, side)));
            blocks.extend(along.collect::<Option<Vec<_>>>()?);
        }
        for (side, at) in [(low, 0.0), (high, r)] {
            let along = side.iter().enumerate().map(|(k, p)| block(map, *p, s * part(k, side), at));
            blocks.extend(along.collect::<Option<Vec<_>>>()?);
        }
        let ends = |name: &'static str, length: MeanLength| {
            Contribution::type_a(Source::named(name), length.standard_mm / length.mm, length.degrees_of_freedom)
        };
        let edge = |name: &'static str, limits: f64| {
            Contribution::type_b(Source::named(name), limits, Shape::Rectangular, 1.0)
        };
        let own = [
            vec![ends("where the rows end", outline.width), edge("width of the edge stitches", EDGE_STITCHES.1 / s)],
            vec![ends("where the wales end", outline.height), edge("height of the cast-on edge", EDGE_ROWS.1 / r)],
        ];
        Some(Self { blocks, own })
    }

    /// Between opposite corners, along the plane's directions `row` and `wale` (unit vectors; `seen` when they were seen
    /// and not typed). `None` where the corners lie along one of the two, so that there is no length along the other.
    pub fn between_corners(
        counted: &Counted,
        corners: [PhotoPoint; 2],
        map: &PlaneMap,
        (row, wale): ([f64; 2], [f64; 2]),
        seen: bool,
    ) -> Option<Self> {
        let (from, to) = (map.to_plane(corners[0])?, map.to_plane(corners[1])?);
        let (along_row, along_wale) = resolved(from, to, row, wale)?;
        let (n, t) = (along_row.abs(), along_wale.abs());
        // Nearer than 10 degrees to an axis a degree more or less would change the shorter length by a tenth.
        const SLIMMEST: f64 = 0.176;
        if n.min(t) < SLIMMEST * n.max(t) {
            return None;
        }
        let place = |a: f64, b: f64| from.moved(a * row[0] + b * wale[0], a * row[1] + b * wale[1]);
        let (s, r) = (counted.stitches, counted.rows);
        let corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)];
        let blocks = corners.iter().map(|(a, b)| {
            let p = place(a * along_row, b * along_wale);
            block(map, map.to_photo(p)?, a * s, b * r)
        });
        let blocks = blocks.collect::<Option<Vec<_>>>()?;
        // Turning the axes by d makes one length longer by d·t/n and the other shorter by d·n/t.
        let turn = if seen { SEEN_AXES_DEG } else { TYPED_AXES_DEG }.to_radians();
        let axes = |sensitivity: f64| {
            Contribution::type_b(Source::named("direction of the rows"), turn, Shape::Rectangular, sensitivity)
        };
        let own =
            [vec![axes(t / n), ends("counting the stitches", s)], vec![axes(-n / t), ends("counting the rows", r)]];
        Some(Self { blocks, own })
    }

    /// Along two runs. `None` where they run nearly the same way, or beyond the plane's horizon.
    pub fn along_runs(counted: &Counted, row: [PhotoPoint; 2], wale: [PhotoPoint; 2], map: &PlaneMap) -> Option<Self> {
        /// Rows and wales cross at a right angle, up to the skew of a fabric: 60 degrees at least.
        const LEAST_SINE: f64 = 0.86;
        let vector = |[a, b]: [PhotoPoint; 2]| {
            let (a, b) = (map.to_plane(a)?, map.to_plane(b)?);
            Some(([b.x - a.x, b.y - a.y], PlanePoint::new((a.x + b.x) / 2.0, (a.y + b.y) / 2.0)))
        };
        let ((u, middle), (v, other)) = (vector(row)?, vector(wale)?);
        let sine = (u[0] * v[1] - u[1] * v[0]) / (u[0].hypot(u[1]) * v[0].hypot(v[1])).max(1e-9);
        if sine.abs() < LEAST_SINE {
            return None;
        }
        let centre = PlanePoint::new((middle.x + other.x) / 2.0, (middle.y + other.y) / 2.0);
        let (s, r) = (counted.stitches, counted.rows);
        let ends_of = [(-0.5, 0.0), (0.5, 0.0), (0.0, -0.5), (0.0, 0.5)];
        let blocks = ends_of.iter().map(|(a, b)| {
            let p = centre.moved(a * u[0] + b * v[0], a * u[1] + b * v[1]);
            block(map, map.to_photo(p)?, a * s, b * r)
        });
        let blocks = blocks.collect::<Option<Vec<_>>>()?;
        let own = [vec![ends("counting the stitches", s)], vec![ends("counting the rows", r)]];
        Some(Self { blocks, own })
    }

    /// Gauge and budget of the count.
    pub fn gauge(&self, plane: &PlaneEstimate, scale: ScaleSource, settings: &GaugeSettings) -> Option<SwatchGauge> {
        let none = RandomPart {
            stitches: 0.0,
            rows: 0.0,
            degrees_of_freedom: f64::INFINITY,
            region_stitches: 0.0,
            region_rows: 0.0,
        };
        let mut gauge = swatch_gauge(plane, &self.blocks, none, scale, settings)?;
        let with_own = |mut value: Uncertain, own: &[Contribution]| {
            value.contributions.retain(|c| c.standard != 0.0);
            own.iter().fold(value, |value, part| value.with_relative(part.clone()))
        };
        gauge.stitches_per_10cm = with_own(gauge.stitches_per_10cm, &self.own[0]);
        gauge.rows_per_10cm = with_own(gauge.rows_per_10cm, &self.own[1]);
        Some(gauge)
    }
}

/// The difference of two points as so much of `row` and so much of `wale`.
fn resolved(from: PlanePoint, to: PlanePoint, row: [f64; 2], wale: [f64; 2]) -> Option<(f64, f64)> {
    let (x, y) = (to.x - from.x, to.y - from.y);
    let d = row[0] * wale[1] - row[1] * wale[0];
    (d.abs() > 1e-6).then(|| ((x * wale[1] - y * wale[0]) / d, (y * row[0] - x * row[1]) / d))
}

/// Half a stitch at each end of a count.
fn ends(name: &'static str, count: f64) -> Contribution {
    Contribution::type_b(Source::named(name), 2.0 * HALF_A_STITCH / count, Shape::Triangular, 1.0)
}

fn block(map: &PlaneMap, at_px: PhotoPoint, stitches: f64, rows: f64) -> Option<PhaseBlock> {
    Some(PhaseBlock { at: map.to_plane(at_px)?, at_px, stitches, rows, stitches_sigma: 0.0, rows_sigma: 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Matrix3;

    /// Ten px a mm, square on.
    fn map() -> PlaneMap {
        PlaneMap::new(Matrix3::new(0.1, 0.0, 0.0, 0.0, 0.1, 0.0, 0.0, 0.0, 1.0), None).unwrap()
    }

    fn counted(stitches: f64, rows: f64) -> Counted {
        Counted { stitches, rows, between: CountedBetween::Edges }
    }

    fn point(x: f64, y: f64) -> PhotoPoint {
        PhotoPoint::new(x, y)
    }

    #[test]
    fn corners_give_both_lengths_when_the_row_is_known() {
        let turned = 10f64.to_radians();
        let (row, wale) = ([turned.cos(), turned.sin()], [-turned.sin(), turned.cos()]);
        let (w, h) = (80.0, 60.0);
        let to = point(10.0 * (w * row[0] + h * wale[0]), 10.0 * (w * row[1] + h * wale[1]));
        let laid = LaidCount::between_corners(&counted(16.0, 18.0), [point(0.0, 0.0), to], &map(), (row, wale), false)
            .unwrap();
        let last = laid.blocks.last().unwrap();
        assert!((last.at.x.hypot(last.at.y) - 100.0).abs() < 1e-9);
        assert!((laid.blocks[1].at.x.hypot(laid.blocks[1].at.y) - w).abs() < 1e-9);
        // Two degrees, rectangular: 0.0349/√3, times h/w and w/h.
        let u = 2f64.to_radians() / 3f64.sqrt();
        assert!((laid.own[0][0].standard - u * h / w).abs() < 1e-12);
        assert!((laid.own[1][0].standard + u * w / h).abs() < 1e-12);
    }

    #[test]
    fn corners_along_the_row_hold_no_rows() {
        let axes = ([1.0, 0.0], [0.0, 1.0]);
        let corners = [point(0.0, 0.0), point(1000.0, 100.0)];
        assert!(LaidCount::between_corners(&counted(20.0, 3.0), corners, &map(), axes, true).is_none());
    }

    #[test]
    fn runs_must_cross() {
        let row = [point(0.0, 0.0), point(1000.0, 0.0)];
        let of = |wale| LaidCount::along_runs(&counted(20.0, 28.0), row, wale, &map());
        assert!(of([point(500.0, -400.0), point(520.0, 600.0)]).is_some());
        assert!(of([point(0.0, 0.0), point(1000.0, 500.0)]).is_none());
    }

    /// Two equal independent rectangular parts of ± ½ have the variance 2·(½)²/3 = 1/6.
    #[test]
    fn half_a_stitch_at_each_end_is_a_sixth_in_variance() {
        let part = ends("counting the stitches", 20.0);
        assert!((part.standard * 20.0 - (1.0f64 / 6.0).sqrt()).abs() < 1e-12);
    }
}
