//! The photo resampled into the plane's millimetre grid, and its lighting evened out.

use super::even_light::even_light;
use super::{Sheet, inside};
use crate::photo::{GreyImage, LinearCopy, Photo};
use crate::plane::PlaneMap;
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::side_by_side::map_in_order;
use std::sync::{Arc, LazyLock};

/// Added to linear light before its logarithm: about the noise floor of an 8-bit photo's shadows, so that black does not
/// dominate (stated choice).
const DARK: f32 = 0.008;
/// Output pixels between points at which the plane map itself is evaluated; between them the map is interpolated
/// (perspective and lens bend by far less than 0.01 px over such a step).
const MAP_STEP: usize = 8;
/// Reduced copies of the photo never exceed this many pixels (8 bytes each): bounded memory for any photo.
const SOURCE_LIMIT: usize = 13_000_000;
/// Width of the neighbourhood over which light is evened when nothing is known of the fabric, in mm (design: measured
/// on rendered photos, about one to one and a half stitches of hand knitting).
pub(crate) const LIGHT_MM: f64 = 4.0;

/// A part of the plane in colour: logarithms of linear red, green and blue on a square millimetre grid.
#[derive(Debug, Clone)]
pub struct Patch {
    /// Plane point of the outer corner of the first pixel.
    pub origin: PlanePoint,
    /// Pixels per mm.
    pub px_per_mm: f64,
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// Logarithm of linear red, green, blue per pixel, by rows.
    pub log_rgb: Vec<[f32; 3]>,
    /// 1 where the photo shows the plane and nothing excluded covers it, else 0.
    pub valid: Vec<f32>,
}

impl Patch {
    /// Resamples the photo around `centre`.
    pub fn resample(
        photo: &Photo,
        map: &PlaneMap,
        centre: PlanePoint,
        size_mm: (f64, f64),
        px_per_mm: f64,
        excluded: &[Vec<PhotoPoint>],
    ) -> Self {
        // A size that was worked out from whole pixels is whole again, whichever way its last digit fell.
        let width = (size_mm.0 * px_per_mm - 1e-6).ceil().clamp(1.0, 8192.0) as usize;
        let height = (size_mm.1 * px_per_mm - 1e-6).ceil().clamp(1.0, 8192.0) as usize;
        let half = (width as f64 / 2.0 / px_per_mm, height as f64 / 2.0 / px_per_mm);
        let origin = centre.moved(-half.0, -half.1);
        let grid = MapGrid::new(map, origin, px_per_mm, width, height);
        let shrink = map.px_per_mm(centre).unwrap_or(px_per_mm) / px_per_mm;
        let source = Reduced::new(photo, grid.bounds(photo), shrink);
        let taps = if shrink / source.copy.factor as f64 > 1.3 { 2 } else { 1 };
        let log = &*LOG_TABLE;
        let mut log_rgb = vec![[0.0; 3]; width * height];
        let mut valid = vec![0.0; width * height];
        let cells = grid.cells(excluded);
        // The cells of a row of the grid, with the rows of pixels that they fill.
        let rows = log_rgb.chunks_mut(MAP_STEP * width).zip(valid.chunks_mut(MAP_STEP * width)).enumerate();
        let cells_in = |y: usize| {
            let before = |y: usize| cells.partition_point(|c| c.at.1 < y);
            &cells[before(y)..before(y + 1)]
        };
        let fill = |cell: &Cell, log_rgb: &mut [[f32; 3]], valid: &mut [f32]| {
            let x0 = cell.at.0 * MAP_STEP;
            let inner = cell.cover == Cover::Open && cell.corners.iter().all(|p| source.covers(*p));
            for y in 0..valid.len() / width {
                let row = cell.row(y);
                let places = source.row(&row);
                let x1 = (x0 + MAP_STEP).min(width);
                let out =
                    log_rgb[y * width + x0..y * width + x1].iter_mut().zip(&mut valid[y * width + x0..y * width + x1]);
                for (x, (log_rgb, valid)) in out.enumerate() {
                    if !inner {
                        let p = row.at(x);
                        let hidden = cell.cover == Cover::Partly && excluded.iter().any(|polygon| inside(polygon, p));
                        if hidden || !source.covers(p) {
                            continue;
                        }
                    }
                    let rgb = if taps == 1 { source.at(places.at(x)) } else { source.mean(&places, x, taps) };
                    *log_rgb = [rgb[0], rgb[1], rgb[2]].map(|v| log[(v + 0.5) as usize]);
                    *valid = 1.0;
                }
            }
        };
        map_in_order(rows, |(y, (log_rgb, valid))| cells_in(y).iter().for_each(|cell| fill(cell, log_rgb, valid)));
        Self { origin, px_per_mm, width, height, log_rgb, valid }
    }

    /// The patch in independent colour projections: luminance, the strongest colour direction of the local contrast, and
    /// a chroma direction square to the light; light evened over about `light_mm`.
    pub fn sheets(&self, light_mm: f64) -> Vec<Sheet> {
        map_in_order(super::colour::projections(self), |w| self.sheet(w, light_mm))
    }

    /// A number for each pixel's colour.
    pub(super) fn each(&self, of: impl Fn(&[f32; 3]) -> f32 + Sync) -> Vec<f32> {
        /// Pixels taken at once.
        const PIXELS: usize = 1 << 16;
        let mut numbers = vec![0.0; self.log_rgb.len()];
        map_in_order(numbers.chunks_mut(PIXELS).zip(self.log_rgb.chunks(PIXELS)), |(numbers, colours)| {
            numbers.iter_mut().zip(colours).for_each(|(number, colour)| *number = of(colour));
        });
        numbers
    }

    /// One projection of the patch, local mean 0 and local deviation 1 over about `light_mm`.
    pub fn sheet(&self, weights: [f32; 3], light_mm: f64) -> Sheet {
        let grey = self.each(|v| (0..3).map(|c| weights[c] * v[c]).sum());
        let radius = (light_mm * self.px_per_mm / 2.0).round().max(2.0) as usize;
        let (even, _) = even_light(&grey, &self.valid, self.width, self.height, radius);
        let picture = |v: Vec<f32>| {
            GreyImage::from_raw(self.width as u32, self.height as u32, v).unwrap_or_else(|| GreyImage::new(0, 0))
        };
        Sheet {
            origin: self.origin,
            px_per_mm: self.px_per_mm,
            grey: picture(even),
            valid: picture(self.valid.clone()),
            weights,
        }
    }
}

/// Logarithm of linear light (16 bits) plus the dark level.
static LOG_TABLE: LazyLock<Vec<f32>> =
    LazyLock::new(|| (0..=65536_u32).map(|v| (v as f32 / 65535.0 + DARK).ln()).collect());

/// How much of a cell of the map grid lies under excluded polygons.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Cover {
    Open,
    Partly,
}

/// One cell of the map grid: its number, its corners in the photo by rows, and whether something covers part of it.
struct Cell {
    at: (usize, usize),
    corners: [PhotoPoint; 4],
    cover: Cover,
}

/// One row of pixels in a cell: where its left edge lies in the photo, and what one pixel right and down move there.
struct Row {
    left: PhotoPoint,
    right_step: (f64, f64),
    down_step: (f64, f64),
}

impl Cell {
    fn row(&self, y: usize) -> Row {
        let [a, b, c, d] = self.corners;
        let part = (y as f64 + 0.5) / MAP_STEP as f64;
        let mix = |p: PhotoPoint, q: PhotoPoint| p.moved((q.x - p.x) * part, (q.y - p.y) * part);
        let (left, right) = (mix(a, c), mix(b, d));
        let step = |p: PhotoPoint, q: PhotoPoint| ((q.x - p.x) / MAP_STEP as f64, (q.y - p.y) / MAP_STEP as f64);
        Row { left, right_step: step(left, right), down_step: step(a, c) }
    }
}

impl Row {
    /// The middle of a pixel.
    fn at(&self, x: usize) -> PhotoPoint {
        let k = x as f64 + 0.5;
        self.left.moved(k * self.right_step.0, k * self.right_step.1)
    }
}

/// The plane map tabulated over the patch, in photo points.
struct MapGrid {
    across: usize,
    nodes: Vec<Option<PhotoPoint>>,
}

impl MapGrid {
    fn new(map: &PlaneMap, origin: PlanePoint, px_per_mm: f64, width: usize, height: usize) -> Self {
        let (across, down) = (width / MAP_STEP + 2, height / MAP_STEP + 2);
        let mm = MAP_STEP as f64 / px_per_mm;
        let at = |i: usize| map.to_photo(origin.moved((i % across) as f64 * mm, (i / across) as f64 * mm));
        Self { across, nodes: (0..across * down).map(at).collect() }
    }

    /// The cells of the grid that show the plane and are not wholly under an excluded polygon (judged by their corners: a
    /// ruler is wider than a cell).
    fn cells(&self, excluded: &[Vec<PhotoPoint>]) -> Vec<Cell> {
        let covered = |p: &Option<PhotoPoint>| p.is_none_or(|p| excluded.iter().any(|polygon| inside(polygon, p)));
        let covered: Vec<bool> = self.nodes.iter().map(covered).collect();
        let down = self.nodes.len() / self.across;
        let mut cells = Vec::with_capacity(self.nodes.len());
        for y in 0..down - 1 {
            for x in 0..self.across - 1 {
                let i = y * self.across + x;
                let four = [i, i + 1, i + self.across, i + self.across + 1];
                let cover = match four.iter().filter(|k| covered[**k]).count() {
                    0 => Cover::Open,
                    4 => continue,
                    _ => Cover::Partly,
                };
                if let [Some(a), Some(b), Some(c), Some(d)] = four.map(|k| self.nodes[k]) {
                    cells.push(Cell { at: (x, y), corners: [a, b, c, d], cover });
                }
            }
        }
        cells
    }

    /// The part of the photo that the patch sees: x0, y0, x1, y1 in whole pixels.
    fn bounds(&self, photo: &Photo) -> [usize; 4] {
        let mut b = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
        for p in self.nodes.iter().flatten() {
            b = [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)];
        }
        let clip = |v: f64, limit: u32| v.clamp(0.0, f64::from(limit)) as usize;
        let (w, h) = (photo.width(), photo.height());
        [clip(b[0] - 2.0, w), clip(b[1] - 2.0, h), clip(b[2] + 3.0, w), clip(b[3] + 3.0, h)]
    }
}

/// A reduced copy of the photo, read between its pixels.
struct Reduced {
    copy: Arc<LinearCopy>,
}

/// One row of pixels in a cell, in the pixels of a reduced copy from the centre of the first: its left edge, and what one
/// pixel right and down move there.
struct Places {
    left: (f64, f64),
    right_step: (f64, f64),
    down_step: (f64, f64),
}

impl Places {
    fn at(&self, x: usize) -> (f64, f64) {
        let k = x as f64 + 0.5;
        (self.left.0 + k * self.right_step.0, self.left.1 + k * self.right_step.1)
    }
}

impl Reduced {
    fn new(photo: &Photo, [x0, y0, x1, y1]: [usize; 4], shrink: f64) -> Self {
        let (across, down) = (x1.saturating_sub(x0), y1.saturating_sub(y0));
        let mut factor = (shrink.clamp(1.0, 64.0) + 0.05) as usize;
        while across * down / (factor * factor) > SOURCE_LIMIT {
            factor += 1;
        }
        Self { copy: photo.linear_copy([x0, y0, x1, y1], factor) }
    }

    /// Reduced pixel coordinates of a photo point, from the centre of the first pixel.
    fn place(&self, p: PhotoPoint) -> (f64, f64) {
        let (f, corner) = (self.copy.factor as f64, self.copy.corner);
        ((p.x - corner.0 as f64) / f - 0.5, (p.y - corner.1 as f64) / f - 0.5)
    }

    fn row(&self, row: &Row) -> Places {
        let f = self.copy.factor as f64;
        let step = |(x, y): (f64, f64)| (x / f, y / f);
        Places { left: self.place(row.left), right_step: step(row.right_step), down_step: step(row.down_step) }
    }

    fn covers(&self, p: PhotoPoint) -> bool {
        let (x, y) = self.place(p);
        x >= -0.5 && y >= -0.5 && x < self.copy.width as f64 - 0.5 && y < self.copy.height as f64 - 0.5
    }

    /// Linear light averaged over `taps` × `taps` places in the patch pixel at `x` of a row.
    fn mean(&self, places: &Places, x: usize, taps: usize) -> [f32; 4] {
        let off = |k: usize| (k as f64 + 0.5) / taps as f64 - 0.5;
        let (at, right, down) = (places.at(x), places.right_step, places.down_step);
        let mut sum = [0.0_f32; 4];
        for t in 0..taps * taps {
            let (u, v) = (off(t % taps), off(t / taps));
            let rgb = self.at((at.0 + u * right.0 + v * down.0, at.1 + u * right.1 + v * down.1));
            (0..4).for_each(|c| sum[c] += rgb[c]);
        }
        sum.map(|v| v / (taps * taps) as f32)
    }

    /// Linear light (0 … 65535) at a place, bilinear; the edge pixels reach outwards.
    fn at(&self, (x, y): (f64, f64)) -> [f32; 4] {
        let (width, height) = (self.copy.width, self.copy.height);
        let (x, y) = (x.clamp(0.0, width as f64 - 1.0), y.clamp(0.0, height as f64 - 1.0));
        let (ix, iy) = (x as u32 as usize, y as u32 as usize);
        let (fx, fy) = ((x - ix as f64) as f32, (y - iy as f64) as f32);
        let right = usize::from(ix + 1 < width);
        let i = iy * width + ix;
        let j = if iy + 1 < height { i + width } else { i };
        let [a, b, c, d] = [i, i + right, j, j + right].map(|k| self.copy.rgb[k].map(f32::from));
        std::array::from_fn(|k| {
            let top = a[k] * (1.0 - fx) + b[k] * fx;
            let low = c[k] * (1.0 - fx) + d[k] * fx;
            top * (1.0 - fy) + low * fy
        })
    }
}
