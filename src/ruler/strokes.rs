//! Strokes: short, thin, straight dark lines, of which graduations are made.
//!
//! Each row of a sheared copy of the picture is cut into valleys (minima with a shoulder on both sides), and valleys of
//! neighbouring rows are linked. Six shears, three along each axis, cover every direction.

use crate::photo::GreyImage;
use crate::side_by_side::{both, map_in_order};

/// Rows averaged before valleys are looked for: noise falls by √5, and at the steepest slope within one shear
/// (0.36 px a row) a stroke smears by no more than ±0.7 px.
const ROWS_AVERAGED: usize = 5;
/// Slopes (px sideways a row) of the shears; with ±0.36 about each they reach 45° and a little beyond.
const SHEARS: [f64; 3] = [-0.66, 0.0, 0.66];
/// How far a stroke may lean within its shear, in px a row: half the step between shears and a margin of 0.03.
const LEAN_LIMIT: f64 = 0.36;
/// Shortest stroke, in rows of the averaged picture.
const ROWS_MIN: usize = 5;
/// Valleys of neighbouring rows belong together up to this distance, in px.
const LINK_PX: f32 = 1.3;
/// A stroke is straight when its valleys scatter about a line by less than this (root mean square, px).
const STRAIGHT_RMS_PX: f64 = 0.6;

/// A thin straight dark line; ends in photo-point convention of the picture it was found in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stroke {
    /// One end.
    pub a: (f64, f64),
    /// The other end.
    pub b: (f64, f64),
    /// Mean depth of the valley against the lower of its shoulders, in units of the picture.
    pub depth: f64,
}

impl Stroke {
    /// Length, px.
    pub fn length(&self) -> f64 {
        (self.b.0 - self.a.0).hypot(self.b.1 - self.a.1)
    }

    /// Middle.
    pub fn middle(&self) -> (f64, f64) {
        ((self.a.0 + self.b.0) / 2.0, (self.a.1 + self.b.1) / 2.0)
    }
}

/// All strokes deeper than `depth_min` in a grey picture.
pub(super) fn find_strokes(grey: &GreyImage, depth_min: f32) -> Vec<Stroke> {
    let upright = Raster { data: grey.as_raw(), width: grey.width() as usize, height: grey.height() as usize };
    let in_shears = |raster: &Raster| map_in_order(SHEARS, |shear| sheared_strokes(raster, shear, depth_min));
    let (along, mut across) = both(
        || in_shears(&upright),
        || {
            let data = upright.transposed();
            in_shears(&Raster { data: &data, width: upright.height, height: upright.width })
        },
    );
    across.iter_mut().flatten().for_each(|s| (s.a, s.b) = ((s.a.1, s.a.0), (s.b.1, s.b.0)));
    along.into_iter().zip(across).flat_map(|(along, across)| [along, across]).collect::<Vec<_>>().concat()
}

/// A plain row-major picture.
struct Raster<'a> {
    data: &'a [f32],
    width: usize,
    height: usize,
}

impl Raster<'_> {
    /// Its columns, one after the other.
    fn transposed(&self) -> Vec<f32> {
        /// Columns that are copied at once: what one read from memory brings of a row.
        const COLUMNS: usize = 16;
        let mut data = vec![0.0; self.data.len()];
        let bands = data.chunks_mut((COLUMNS * self.height).max(1)).enumerate();
        map_in_order(bands, |(band, columns)| {
            for (y, row) in self.data.chunks_exact(self.width.max(1)).enumerate() {
                for (column, v) in columns.chunks_exact_mut(self.height).zip(&row[band * COLUMNS..]) {
                    column[y] = *v;
                }
            }
        });
        data
    }
}

/// Strokes that lean by no more than [`LEAN_LIMIT`] from the direction of the shear.
fn sheared_strokes(raster: &Raster, shear: f64, depth_min: f32) -> Vec<Stroke> {
    let (w, h) = (raster.width, raster.height);
    if w < 8 || h < ROWS_AVERAGED + ROWS_MIN {
        return Vec::new();
    }
    let reach = (shear.abs() * h as f64).ceil() as usize + 1;
    let span = w + reach;
    // Sheared column X of row y shows picture column X − shift(y).
    let shift = |y: usize| -> usize {
        let s = shear * y as f64;
        if shear >= 0.0 { reach - 1 - s.round() as usize } else { (-s).round() as usize }
    };
    let mut sums = vec![0.0f32; span];
    let mut linker = Linker::new();
    for y in 0..h {
        add_row(&mut sums, raster, y, shift(y), 1.0);
        if y + 1 < ROWS_AVERAGED {
            continue;
        }
        let centre = y - ROWS_AVERAGED / 2;
        // Only where all averaged rows lie inside the picture.
        let (first, last) = (y + 1 - ROWS_AVERAGED, y);
        let lo = shift(first).max(shift(last));
        let hi = (shift(first).min(shift(last)) + w).min(span);
        if lo < hi {
            let valleys = valleys(&sums[lo..hi], depth_min * ROWS_AVERAGED as f32);
            linker.next_row(centre, lo, &valleys);
        }
        add_row(&mut sums, raster, first, shift(first), -1.0);
    }
    linker.finish();
    let exact_shift = |y: f64| if shear >= 0.0 { (reach - 1) as f64 - shear * y } else { -shear * y };
    linker
        .done
        .iter()
        .filter_map(|t| t.to_line())
        .map(|(y0, x0, y1, x1, depth)| Stroke {
            a: (x0 - exact_shift(y0) + 0.5, y0 + 0.5),
            b: (x1 - exact_shift(y1) + 0.5, y1 + 0.5),
            depth: depth / ROWS_AVERAGED as f64,
        })
        .collect()
}

fn add_row(sums: &mut [f32], raster: &Raster, y: usize, shift: usize, sign: f32) {
    let row = &raster.data[y * raster.width..(y + 1) * raster.width];
    for (s, v) in sums[shift..].iter_mut().zip(row) {
        *s += sign * v;
    }
}

/// A minimum along a row.
#[derive(Clone, Copy)]
struct Valley {
    x: f32,
    depth: f32,
}

/// Minima that lie at least `depth_min` below a maximum on both sides before a lower value comes.
fn valleys(row: &[f32], depth_min: f32) -> Vec<Valley> {
    let mut found = Vec::new();
    let (mut low, mut low_at, mut high) = (f32::INFINITY, 0usize, f32::NEG_INFINITY);
    let mut left_high = f32::NEG_INFINITY;
    let mut falling = false;
    for (x, &v) in row.iter().enumerate() {
        if falling {
            if v < low {
                (low, low_at) = (v, x);
            } else if v > low + depth_min {
                // Its right shoulder is the next maximum, not known yet: the depth is corrected when that is passed.
                found.push(Valley { x: refine(row, low_at), depth: left_high - low });
                falling = false;
                high = v;
            }
        } else if v > high {
            high = v;
        } else if v < high - depth_min {
            if let Some(last) = found.last_mut() {
                last.depth = last.depth.min(high - low);
            }
            left_high = high;
            (low, low_at) = (v, x);
            falling = true;
        }
    }
    found
}

/// Sub-pixel place of a minimum by a parabola through three samples.
fn refine(row: &[f32], at: usize) -> f32 {
    if at == 0 || at + 1 >= row.len() {
        return at as f32;
    }
    let (a, b, c) = (row[at - 1], row[at], row[at + 1]);
    let curvature = a - 2.0 * b + c;
    if curvature <= 1e-9 { at as f32 } else { at as f32 + (0.5 * (a - c) / curvature).clamp(-0.5, 0.5) }
}

/// A growing stroke: running sums for the line x = a + b·y.
#[derive(Clone, Copy)]
struct Thread {
    x: f32,
    row: usize,
    first: usize,
    y0: f64,
    n: f64,
    sy: f64,
    sx: f64,
    syy: f64,
    sxy: f64,
    sxx: f64,
    depth: f64,
}

impl Thread {
    fn new(row: usize, x: f32, depth: f32) -> Self {
        let y0 = row as f64;
        let zero = Self { x, row, first: row, y0, n: 0.0, sy: 0.0, sx: 0.0, syy: 0.0, sxy: 0.0, sxx: 0.0, depth: 0.0 };
        zero.with(row, x, depth)
    }

    fn with(mut self, row: usize, x: f32, depth: f32) -> Self {
        let (dy, dx) = (row as f64 - self.y0, x as f64);
        self.n += 1.0;
        self.sy += dy;
        self.sx += dx;
        self.syy += dy * dy;
        self.sxy += dx * dy;
        self.sxx += dx * dx;
        self.depth += depth as f64;
        self.x = x;
        self.row = row;
        self
    }

    /// First and last point of the fitted line, and the mean depth, if it is long, straight and upright enough.
    fn to_line(self) -> Option<(f64, f64, f64, f64, f64)> {
        if self.n < ROWS_MIN as f64 {
            return None;
        }
        let (my, mx) = (self.sy / self.n, self.sx / self.n);
        let vyy = self.syy / self.n - my * my;
        let vxy = self.sxy / self.n - mx * my;
        let vxx = self.sxx / self.n - mx * mx;
        if vyy <= 0.0 {
            return None;
        }
        let slope = vxy / vyy;
        let scatter = (vxx - slope * vxy).max(0.0).sqrt();
        if slope.abs() > LEAN_LIMIT || scatter > STRAIGHT_RMS_PX {
            return None;
        }
        let at = |y: f64| mx + slope * (y - self.y0 - my);
        let (y0, y1) = (self.first as f64, self.row as f64);
        Some((y0, at(y0), y1, at(y1), self.depth / self.n))
    }
}

/// Links valleys of successive rows.
struct Linker {
    open: Vec<Thread>,
    done: Vec<Thread>,
}

impl Linker {
    fn new() -> Self {
        Self { open: Vec::new(), done: Vec::new() }
    }

    fn next_row(&mut self, row: usize, offset: usize, valleys: &[Valley]) {
        let mut next = Vec::with_capacity(valleys.len());
        let mut k = 0;
        for v in valleys {
            let x = v.x + offset as f32;
            while k < self.open.len() && self.open[k].x < x - LINK_PX {
                self.close(k..k + 1);
                k += 1;
            }
            if k < self.open.len() && self.open[k].x <= x + LINK_PX {
                next.push(self.open[k].with(row, x, v.depth));
                k += 1;
            } else {
                next.push(Thread::new(row, x, v.depth));
            }
        }
        self.close(k..self.open.len());
        self.open = next;
    }

    fn close(&mut self, which: std::ops::Range<usize>) {
        self.done.extend(self.open[which].iter().filter(|t| t.n >= ROWS_MIN as f64));
    }

    fn finish(&mut self) {
        self.close(0..self.open.len());
    }
}
