//! Single loops: at every crossing of the followed lattice, whether the photo shows there what the other loops of the same
//! place in the repeat show, and where exactly. Evidence for the eye and for counting what is hidden; the gauge itself
//! rests on the phases.
//!
//! Method: normalised cross-correlation (Lewis 1995) of each loop's surroundings, resampled to the lattice, with the
//! mean of its kind, the loop itself left out.

use super::followed::FollowedLattice;
use crate::photo::{GreyImage, Photo, linear_table};
use crate::quantity::PhotoPoint;
use std::collections::HashMap;

/// One loop (stitch) of the fabric.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoopSeen {
    /// Stitch number in the lattice model.
    pub stitch: i32,
    /// Row number in the lattice model.
    pub row: i32,
    /// Where it was detected in the photo; where the model puts it, when it was not.
    pub at_px: PhotoPoint,
    /// Whether a loop was detected there and agrees with the model.
    pub matched: bool,
}

/// Samples across one stitch and up one row: finer than the yarn, coarse enough to pass over its fibres.
const SAMPLES: i32 = 8;
/// A loop is compared over this many samples either side of its crossing: a stitch and a half.
const HALF: i32 = 6;
/// How far a loop may lie from the model, in samples: a bit over a third of a stitch, below the half where its
/// neighbour begins.
const SHIFT: i32 = 3;
/// Samples in the whole patch, with room for the shift.
const SIDE: i32 = 2 * (HALF + SHIFT) + 1;
/// Least correlation of a loop with its kind.
const LEAST_CORRELATION: f64 = 0.4;
/// Kinds with fewer loops are compared with all loops instead.
const LEAST_OF_A_KIND: usize = 12;
/// More loops than this are not looked for, to bound memory: four times what the largest swatches hold.
pub const MOST_LOOPS: usize = 20_000;

/// Looks for a loop at every one of the given (stitch, row) numbers. `weights` mix the logarithms of linear red, green and
/// blue to the picture where the stitches show; `repeat` is stitches × rows of the pattern. Loops whose surroundings the
/// frame cuts are left out of the answer.
pub fn see_loops(
    photo: &Photo,
    weights: [f32; 3],
    lattice: &FollowedLattice,
    numbers: &[(i32, i32)],
    repeat: (u32, u32),
) -> Vec<LoopSeen> {
    let numbers = &numbers[..numbers.len().min(MOST_LOOPS)];
    let middle = numbers.get(numbers.len() / 2).copied().unwrap_or((0, 0));
    let pitch = lattice.pitch_px(f64::from(middle.0), f64::from(middle.1)).unwrap_or(0.0);
    let shades = Reduced::new(photo, weights, (pitch / f64::from(SAMPLES)) as u32, bounds(lattice, numbers, pitch));
    let by_shade = see_in(&shades, lattice, numbers, repeat);
    let matched = |loops: &[LoopSeen]| loops.iter().filter(|l| l.matched).count();
    if 2 * matched(&by_shade) >= by_shade.len() {
        return by_shade;
    }
    // In colourwork the colours of the neighbours outweigh the shading of a loop, and only the loops' outlines agree.
    let by_outline = see_in(&shades.outlines(), lattice, numbers, repeat);
    if matched(&by_outline) > matched(&by_shade) { by_outline } else { by_shade }
}

/// Corners, in the photo, of what holds all loops and their surroundings.
fn bounds(lattice: &FollowedLattice, numbers: &[(i32, i32)], pitch_px: f64) -> [f64; 4] {
    /// Room around a loop, in stitches: its surroundings, with what they may be taller than wide.
    const AROUND: f64 = 3.0;
    let room = AROUND * pitch_px;
    let places = numbers.iter().filter_map(|n| lattice.place(f64::from(n.0), f64::from(n.1)));
    places.fold([f64::INFINITY, f64::INFINITY, 0.0, 0.0], |[x0, y0, x1, y1], p| {
        [x0.min(p.x - room), y0.min(p.y - room), x1.max(p.x + room), y1.max(p.y + room)]
    })
}

fn see_in(picture: &Reduced, lattice: &FollowedLattice, numbers: &[(i32, i32)], repeat: (u32, u32)) -> Vec<LoopSeen> {
    let patches: Vec<Option<Patch>> = numbers.iter().map(|&n| Patch::read(picture, lattice, n)).collect();
    let kinds = Kinds::new(numbers, &patches, repeat);
    let see = |(&(stitch, row), patch): (&(i32, i32), &Option<Patch>)| {
        let patch = patch.as_ref()?;
        let found = kinds.others_like(stitch, row, patch).and_then(|kind| patch.find(&kind));
        let (ds, dr) = found.unwrap_or((0.0, 0.0));
        let at_px = lattice.place(f64::from(stitch) + ds, f64::from(row) + dr)?;
        Some(LoopSeen { stitch, row, at_px, matched: found.is_some() })
    };
    numbers.iter().zip(&patches).filter_map(see).collect()
}

/// A picture made from a part of the photo, averaged over squares so that one sample is about one pixel of it.
struct Reduced {
    value: GreyImage,
    factor: f64,
    /// Squares of the photo left of the part and above it.
    from: (f64, f64),
}

impl Reduced {
    /// The weighted logarithm of the photo's colours between two corners, x₀, y₀, x₁, y₁.
    fn new(photo: &Photo, weights: [f32; 3], factor: u32, [x0, y0, x1, y1]: [f64; 4]) -> Self {
        /// Keeps the logarithm finite; about the noise of a dark pixel (a stated choice).
        const DARKEST: f32 = 0.003;
        let factor = factor.clamp(1, 64);
        let linear = linear_table();
        let (w, h) = ((photo.width() / factor).max(1), (photo.height() / factor).max(1));
        // Casts saturate, and what is no number becomes 0.
        let square = |at: f64, most: u32| ((at / f64::from(factor)) as u32).min(most);
        let (left, top) = (square(x0, w - 1), square(y0, h - 1));
        let (right, bottom) = (square(x1, w - 1), square(y1, h - 1));
        let (w, h) = (right.saturating_sub(left) + 1, bottom.saturating_sub(top) + 1);
        let value = GreyImage::from_fn(w, h, |x, y| {
            let (x, y) = (x + left, y + top);
            let (mut sum, mut n) = ([0.0_f32; 3], 0.0_f32);
            for yy in y * factor..((y + 1) * factor).min(photo.height()) {
                for xx in x * factor..((x + 1) * factor).min(photo.width()) {
                    let rgb = photo.rgb.get_pixel(xx, yy).0;
                    sum.iter_mut().zip(rgb).for_each(|(s, code)| *s += linear[usize::from(code)]);
                    n += 1.0;
                }
            }
            image::Luma([sum.iter().zip(weights).map(|(s, w)| w * (s / n.max(1.0) + DARKEST).ln()).sum()])
        });
        Self { value, factor: f64::from(factor), from: (left.into(), top.into()) }
    }

    /// How steep the picture is at each of its pixels (Sobel's operator, which smooths a little).
    fn outlines(&self) -> Self {
        let (w, h) = self.value.dimensions();
        let value = GreyImage::from_fn(w, h, |x, y| {
            let at = |dx: i64, dy: i64| {
                let inside = |v: u32, d: i64, n: u32| (i64::from(v) + d).clamp(0, i64::from(n) - 1) as u32;
                self.value.get_pixel(inside(x, dx, w), inside(y, dy, h)).0[0]
            };
            let across = at(1, -1) + 2.0 * at(1, 0) + at(1, 1) - at(-1, -1) - 2.0 * at(-1, 0) - at(-1, 1);
            let down = at(-1, 1) + 2.0 * at(0, 1) + at(1, 1) - at(-1, -1) - 2.0 * at(0, -1) - at(1, -1);
            image::Luma([across.hypot(down)])
        });
        Self { value, ..*self }
    }

    /// Bilinear value at a place of the full-size photo; `None` outside.
    fn at(&self, p: PhotoPoint) -> Option<f32> {
        let (x, y) = (p.x / self.factor - 0.5 - self.from.0, p.y / self.factor - 0.5 - self.from.1);
        let (x0, y0) = (x.floor(), y.floor());
        let inside = x0 >= 0.0
            && y0 >= 0.0
            && x0 + 1.0 < f64::from(self.value.width())
            && y0 + 1.0 < f64::from(self.value.height());
        if !inside {
            return None;
        }
        let (fx, fy) = ((x - x0) as f32, (y - y0) as f32);
        let value = |dx: u32, dy: u32| self.value.get_pixel(x0 as u32 + dx, y0 as u32 + dy).0[0];
        let upper = value(0, 0) * (1.0 - fx) + value(1, 0) * fx;
        let lower = value(0, 1) * (1.0 - fx) + value(1, 1) * fx;
        Some(upper * (1.0 - fy) + lower * fy)
    }
}

/// A loop's surroundings, sampled along the lattice; row by row, `SIDE` samples each way.
struct Patch(Vec<f32>);

impl Patch {
    /// `None` where part of it lies outside the photo.
    fn read(picture: &Reduced, lattice: &FollowedLattice, (stitch, row): (i32, i32)) -> Option<Self> {
        let (i, j) = (f64::from(stitch), f64::from(row));
        let centre = lattice.place(i, j)?;
        let step = |a: PhotoPoint, b: PhotoPoint| {
            let n = f64::from(SAMPLES);
            ((b.x - a.x) / n, (b.y - a.y) / n)
        };
        let along = step(lattice.place(i - 0.5, j)?, lattice.place(i + 0.5, j)?);
        let up = step(lattice.place(i, j - 0.5)?, lattice.place(i, j + 0.5)?);
        let reach = HALF + SHIFT;
        let mut values = Vec::with_capacity((SIDE * SIDE) as usize);
        for b in -reach..=reach {
            for a in -reach..=reach {
                let (a, b) = (f64::from(a), f64::from(b));
                values.push(picture.at(centre.moved(a * along.0 + b * up.0, a * along.1 + b * up.1))?);
            }
        }
        Some(Self(values))
    }

    /// The part compared, moved by whole samples, brought to mean 0 and length 1; `None` where nothing varies.
    fn window(&self, shift: (i32, i32)) -> Option<Vec<f32>> {
        let first = |s: i32| (SHIFT + s) as usize;
        let side = (2 * HALF + 1) as usize;
        let rows = self.0.chunks_exact(SIDE as usize).skip(first(shift.1)).take(side);
        unit(rows.flat_map(|row| &row[first(shift.0)..first(shift.0) + side]).copied().collect())
    }

    /// Where it agrees best with `kind`, in stitches and rows from the crossing; `None` where it does not agree.
    fn find(&self, kind: &[f32]) -> Option<(f64, f64)> {
        let agreement = |shift: (i32, i32)| -> f64 {
            let window = self.window(shift).unwrap_or_default();
            window.iter().zip(kind).map(|(a, b)| f64::from(a * b)).sum()
        };
        let shifts = (-SHIFT..=SHIFT).flat_map(|b| (-SHIFT..=SHIFT).map(move |a| (a, b)));
        let scored = shifts.map(|shift| (agreement(shift), shift));
        let (best, (a, b)) = scored.max_by(|x, y| x.0.total_cmp(&y.0))?;
        // Best at the very end of the search: the loop lies farther off than a loop may.
        if best < LEAST_CORRELATION || a.abs() == SHIFT || b.abs() == SHIFT {
            return None;
        }
        let fine = |low: f64, high: f64| parabola_peak(low, best, high);
        let da = fine(agreement((a - 1, b)), agreement((a + 1, b)));
        let db = fine(agreement((a, b - 1)), agreement((a, b + 1)));
        let n = f64::from(SAMPLES);
        Some(((f64::from(a) + da) / n, (f64::from(b) + db) / n))
    }
}

/// Sums of the loops of each kind: of the same place in the repeat.
struct Kinds {
    sums: HashMap<(i32, i32), (usize, Vec<f32>)>,
    all: (usize, Vec<f32>),
    repeat: (i32, i32),
}

impl Kinds {
    fn new(numbers: &[(i32, i32)], patches: &[Option<Patch>], repeat: (u32, u32)) -> Self {
        let whole = |n: u32| i32::try_from(n).unwrap_or(i32::MAX).max(1);
        let nothing = || (0, vec![0.0; ((2 * HALF + 1) * (2 * HALF + 1)) as usize]);
        let mut kinds = Self { sums: HashMap::new(), all: nothing(), repeat: (whole(repeat.0), whole(repeat.1)) };
        for (&(stitch, row), patch) in numbers.iter().zip(patches) {
            let Some(window) = patch.as_ref().and_then(|p| p.window((0, 0))) else { continue };
            let kind = kinds.kind(stitch, row);
            for (count, sum) in [kinds.sums.entry(kind).or_insert_with(nothing), &mut kinds.all] {
                *count += 1;
                sum.iter_mut().zip(&window).for_each(|(s, w)| *s += w);
            }
        }
        kinds
    }

    fn kind(&self, stitch: i32, row: i32) -> (i32, i32) {
        (stitch.rem_euclid(self.repeat.0), row.rem_euclid(self.repeat.1))
    }

    /// The mean of the other loops of one kind, of length 1; of all other loops where there are too few of the kind.
    fn others_like(&self, stitch: i32, row: i32, own: &Patch) -> Option<Vec<f32>> {
        let of_kind = self.sums.get(&self.kind(stitch, row)).filter(|k| k.0 >= LEAST_OF_A_KIND);
        let own = own.window((0, 0))?;
        unit(of_kind.unwrap_or(&self.all).1.iter().zip(&own).map(|(s, w)| s - w).collect())
    }
}

/// The values with their mean taken out, of length 1; `None` where nothing varies.
fn unit(mut values: Vec<f32>) -> Option<Vec<f32>> {
    let mean = values.iter().sum::<f32>() / values.len().max(1) as f32;
    values.iter_mut().for_each(|v| *v -= mean);
    let length = values.iter().map(|v| v * v).sum::<f32>().sqrt();
    (length > 1e-6).then(|| {
        values.iter_mut().for_each(|v| *v /= length);
        values
    })
}

/// Where a parabola through three neighbouring values has its peak, from the middle one; −0.5 to 0.5.
fn parabola_peak(low: f64, middle: f64, high: f64) -> f64 {
    let bend = low - 2.0 * middle + high;
    if bend < 0.0 { (0.5 * (low - high) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::super::{Basis, LatticeModel};
    use super::*;
    use crate::plane::PlaneMap;
    use crate::quantity::PlanePoint;
    use nalgebra::Matrix3;

    /// Dark spots, each moved off its crossing by a known little way; one is missing.
    #[test]
    fn loops_are_found_where_they_are_and_missing_ones_are_not() {
        let map = PlaneMap::new(Matrix3::new(0.1, 0.0, 0.0, 0.0, 0.1, 0.0, 0.0, 0.0, 1.0), None).unwrap();
        let basis = Basis { stitch: [0.5, 0.0], row: [0.0, 0.625] };
        let model = LatticeModel { map, basis, origin: PlanePoint::new(6.0, 6.0) };
        let offset = |i: i32, j: i32| (f64::from((i * 7 + j * 3) % 5 - 2), f64::from((i * 3 + j * 5) % 5 - 2));
        let missing = (6, 7);
        let rgb = image::RgbImage::from_fn(400, 400, |x, y| {
            let (mut value, p) = (0.5, (f64::from(x) + 0.5, f64::from(y) + 0.5));
            for i in -2..18 {
                for j in -3..22 {
                    let (dx, dy) = offset(i, j);
                    let (x, y) = (60.0 + 20.0 * f64::from(i) + dx, 60.0 + 16.0 * f64::from(j) + dy);
                    let r2 = (p.0 - x).powi(2) + (p.1 - y).powi(2);
                    if (i, j) != missing {
                        value -= 0.3 * (-r2 / 18.0).exp();
                    }
                }
            }
            // Even noise that is the same in every run.
            let noise = f64::from((x * 7919 + y * 104_729) % 101) / 101.0 - 0.5;
            image::Rgb([(255.0 * (value + 0.02 * noise)).round() as u8; 3])
        });
        let photo = Photo { rgb, ..Photo::default() };
        let lattice = FollowedLattice::new(&model, &[]).unwrap();
        let numbers: Vec<(i32, i32)> = (0..14).flat_map(|i| (0..16).map(move |j| (i, j))).collect();
        let loops = see_loops(&photo, [0.3, 0.6, 0.1], &lattice, &numbers, (1, 1));
        assert_eq!(loops.len(), numbers.len());
        for l in &loops {
            assert_eq!(l.matched, (l.stitch, l.row) != missing, "{l:?}");
            if l.matched {
                let (dx, dy) = offset(l.stitch, l.row);
                let truth =
                    PhotoPoint::new(60.0 + 20.0 * f64::from(l.stitch) + dx, 60.0 + 16.0 * f64::from(l.row) + dy);
                assert!(l.at_px.distance(truth) < 2.0, "{l:?} {truth:?}");
            }
        }
    }
}
