//! Blank: a long straight body without marks, so that a refusal can say that the ruler lies wrong side up.

use super::small::small_copy;
use image::RgbImage;

/// Longer side of the picture in which the body is looked for, px.
const SEARCH_PX: u32 = 480;
/// Neighbouring pixels of a plain body differ by less than this in every channel, code values.
const EVEN: i32 = 7;
/// A body's shape: length against width, length against the picture's longer side, and how much of the rectangle it
/// fills. Rulers are 6 to 12 times as long as wide, of which the picture shows a part.
const SLENDER: f64 = 3.0;
const LONG: f64 = 0.3;
const FILLED: f64 = 0.85;
/// Least width against the picture's longer side.
const WIDE: f64 = 0.02;
/// Both long sides differ from the body by at least this, code values in the channel that differs most.
const STANDS_OUT: f64 = 16.0;

/// Straightness of the long sides: how far they stray from a line, and how much the width changes from end to end, as
/// shares of the width (and at least a pixel). A finger strays by a twentieth; pencils taper, folds wander.
const STRAY: f64 = 0.02;
const TAPER: f64 = 0.25;

/// A plain long rectangle in a photo, px.
#[derive(Debug, Clone, Copy)]
pub(super) struct Body {
    middle: (f64, f64),
    /// Unit vector along it.
    along: (f64, f64),
    length: f64,
    width: f64,
}

impl Body {
    /// Whether a point lies on it, or beside it by no more than a fifth of its width: what is plain may end where its marks begin.
    pub fn holds(&self, (x, y): (f64, f64)) -> bool {
        let (dx, dy) = (x - self.middle.0, y - self.middle.1);
        let (u, v) = (dx * self.along.0 + dy * self.along.1, dy * self.along.0 - dx * self.along.1);
        u.abs() < 0.5 * self.length + 0.2 * self.width && v.abs() < 0.7 * self.width
    }

    /// The same in a picture of another size.
    fn times(self, factor: f64) -> Self {
        let Self { middle: (x, y), along, length, width } = self;
        Self { middle: (factor * x, factor * y), along, length: factor * length, width: factor * width }
    }
}

/// The plain long rectangles in the photo that stand out on both sides.
pub(super) fn blank_rulers(rgb: &RgbImage) -> Vec<Body> {
    let longest = rgb.width().max(rgb.height()).max(1);
    let side = |px: u32| (px * SEARCH_PX / longest).max(1);
    let small = if longest > SEARCH_PX { small_copy(rgb, side(rgb.width()), side(rgb.height())) } else { rgb.clone() };
    let reduced_by = f64::from(longest) / f64::from(small.width().max(small.height()).max(1));
    let longest = f64::from(small.width().max(small.height()));
    let least = (WIDE * LONG * longest * longest) as usize;
    even_regions(&small, least)
        .iter()
        .filter_map(|region| body(&small, region))
        .filter(|body| body.length > LONG * longest && body.width > WIDE * longest)
        .map(|body| body.times(reduced_by))
        .collect()
}

/// Connected regions of even colour with at least `least` pixels.
fn even_regions(rgb: &RgbImage, least: usize) -> Vec<Vec<(u32, u32)>> {
    let (w, h) = rgb.dimensions();
    let alike = |a: (u32, u32), b: (u32, u32)| {
        let (p, q) = (rgb.get_pixel(a.0, a.1).0, rgb.get_pixel(b.0, b.1).0);
        (0..3).all(|c| (i32::from(p[c]) - i32::from(q[c])).abs() < EVEN)
    };
    let mut seen = vec![false; (w * h) as usize];
    let mut regions = Vec::new();
    for start in (0..w * h).map(|i| (i % w, i / w)) {
        let mut region = Vec::new();
        let mut stack = vec![start];
        while let Some((x, y)) = stack.pop() {
            if std::mem::replace(&mut seen[(y * w + x) as usize], true) {
                continue;
            }
            region.push((x, y));
            let around = [(x.wrapping_sub(1), y), (x + 1, y), (x, y.wrapping_sub(1)), (x, y + 1)];
            stack.extend(around.into_iter().filter(|&n| n.0 < w && n.1 < h && alike((x, y), n)));
        }
        if region.len() >= least {
            regions.push(region);
        }
    }
    regions
}

/// A filled slender rectangle with straight sides that differs from what lies on both of them.
fn body(rgb: &RgbImage, region: &[(u32, u32)]) -> Option<Body> {
    if region.is_empty() {
        return None;
    }
    let n = region.len() as f64;
    let mean = |f: &dyn Fn(f64, f64) -> f64| region.iter().map(|p| f(f64::from(p.0), f64::from(p.1))).sum::<f64>() / n;
    let (mx, my) = (mean(&|x, _| x), mean(&|_, y| y));
    let (xx, yy) = (mean(&|x, _| (x - mx).powi(2)), mean(&|_, y| (y - my).powi(2)));
    let angle = 0.5 * (2.0 * mean(&|x, y| (x - mx) * (y - my))).atan2(xx - yy);
    let (s, c) = angle.sin_cos();
    let laid: Vec<(f64, f64)> = region
        .iter()
        .map(|p| (f64::from(p.0) - mx, f64::from(p.1) - my))
        .map(|(x, y)| (c * x + s * y, c * y - s * x))
        .collect();
    let spread = |f: fn(&(f64, f64)) -> f64| -> (f64, f64) {
        let mut v: Vec<f64> = laid.iter().map(f).collect();
        v.sort_by(f64::total_cmp);
        (v[v.len() / 100], v[v.len() - 1 - v.len() / 100])
    };
    let (u, v) = (spread(|p| p.0), spread(|p| p.1));
    let (length, width) = (u.1 - u.0 + 1.0, v.1 - v.0 + 1.0);
    if length < SLENDER * width || n < FILLED * length * width || !has_straight_sides(&laid, u, width) {
        return None;
    }
    let colour = |u: f64, v: f64| -> Option<[f64; 3]> {
        let (x, y) = (mx + c * u - s * v, my + s * u + c * v);
        let inside = x >= 0.0 && y >= 0.0 && x < f64::from(rgb.width()) && y < f64::from(rgb.height());
        inside.then(|| rgb.get_pixel(x as u32, y as u32).0.map(f64::from))
    };
    // Along nearly the whole of both sides, so that a strip of table between swatch and frame does not pass.
    let differs = |edge: f64| {
        const PLACES: usize = 21;
        let beside = (0..PLACES).filter(|k| {
            let along = u.0 + length * (*k as f64 + 0.5) / PLACES as f64;
            let pair = colour(along, (v.0 + v.1) / 2.0).zip(colour(along, edge));
            pair.is_some_and(|(p, q)| (0..3).any(|c| (p[c] - q[c]).abs() > STANDS_OUT))
        });
        beside.count() * 10 >= PLACES * 8
    };
    let margin = 0.15 * width + 3.0;
    let (along, across) = ((u.0 + u.1) / 2.0, (v.0 + v.1) / 2.0);
    let middle = (mx + c * along - s * across, my + s * along + c * across);
    (differs(v.0 - margin) && differs(v.1 + margin)).then_some(Body { middle, along: (c, s), length, width })
}

/// Whether both long sides are lines, nearly parallel. `laid` are the region's pixels along and across it, `u` its ends.
fn has_straight_sides(laid: &[(f64, f64)], u: (f64, f64), width: f64) -> bool {
    const SLICES: usize = 24;
    let mut sides = vec![(f64::MAX, f64::MIN); SLICES];
    for &(along, across) in laid {
        let k = ((along - u.0) / (u.1 - u.0).max(1.0) * SLICES as f64) as usize;
        if let Some(side) = sides.get_mut(k) {
            *side = (side.0.min(across), side.1.max(across));
        }
    }
    // The ends may be rounded.
    let inner: Vec<(f64, f64)> = sides[2..SLICES - 2].iter().copied().filter(|s| s.0 <= s.1).collect();
    if inner.len() < SLICES / 2 {
        return false;
    }
    let line = |of: fn(&(f64, f64)) -> f64| -> (f64, f64) {
        let n = inner.len() as f64;
        let (mt, mv) = ((n - 1.0) / 2.0, inner.iter().map(of).sum::<f64>() / n);
        let moment = |f: &dyn Fn(f64, f64) -> f64| {
            inner.iter().enumerate().map(|(t, s)| f(t as f64 - mt, of(s) - mv)).sum::<f64>()
        };
        let slope = moment(&|t, v| t * v) / moment(&|t, _| t * t).max(1e-9);
        let mut stray: Vec<f64> =
            inner.iter().enumerate().map(|(t, s)| (of(s) - mv - slope * (t as f64 - mt)).abs()).collect();
        stray.sort_by(f64::total_cmp);
        // Four fifths of the slices: a mark or a hole may notch the side.
        (slope, stray[stray.len() * 4 / 5])
    };
    let ((a, stray_a), (b, stray_b)) = (line(|s| s.0), line(|s| s.1));
    let taper = (a - b).abs() * inner.len() as f64;
    stray_a.max(stray_b) < (STRAY * width).max(1.0) && taper < (TAPER * width).max(1.5)
}
