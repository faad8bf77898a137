//! Where the photo looks like the fabric that was followed: its colours, as rough.

use crate::fabric;
use crate::lattice::LatticeReading;
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};
use imageproc::geometry::convex_hull;
use imageproc::point::Point;
use std::sync::LazyLock;

/// Mean logarithms of red, green and blue over a small square, and the logarithm of green's deviation in it.
type Look = [f64; 4];

/// Smallest deviations that count: light falls off by a tenth over a picture, roughness differs by a third with focus.
const LEAST_DEVIATION: Look = [0.1, 0.1, 0.1, 0.3];

/// How near a look is the fabric's: within so many of the fabric's own deviations in each part.
const ALIKE_DEVIATIONS: f64 = 2.5;

/// Fewest places from which the fabric's look is taken.
const FEWEST: usize = 8;

/// How much of the fabric was followed, and where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Covered {
    /// Share of the fabric, 0 to 1.
    pub share: f64,
    /// Middle of what was followed, in the photo.
    pub followed: PhotoPoint,
    /// Middle of all the fabric, in the photo.
    pub fabric: PhotoPoint,
}

/// The look of the followed fabric.
pub(super) struct FabricLook<'a> {
    photo: &'a Photo,
    mean: Look,
    deviation: Look,
    half_px: u32,
    /// Width of a stitch in the photo, in px.
    pub stitch_px: f64,
}

impl<'a> FabricLook<'a> {
    /// From the places that were followed; `None` where they are too few.
    pub fn of(photo: &'a Photo, reading: &LatticeReading) -> Option<Self> {
        /// Blocks looked at, at most: their mean is known to a fifteenth of the spread.
        const MOST: usize = 200;
        let stitch_px = typical_stitch_px(reading)?;
        // Means over one to two stitches: the loops' own light and shade falls out.
        let half_px = (0.75 * stitch_px).max(3.0) as u32;
        let step = reading.blocks.len().div_ceil(MOST).max(1);
        // Blocks stand in step with the stitches; ribs and valleys shall both be seen, so each place is moved by up to a
        // stitch, evenly by the golden ratio and another irrational one.
        let moved = |k: usize| [0.618_034, 0.754_878].map(|r: f64| stitch_px * (2.0 * (r * k as f64).fract() - 1.0));
        let places = reading.blocks.iter().step_by(step).enumerate().map(|(k, b)| {
            let [dx, dy] = moved(k);
            b.at_px.moved(dx, dy)
        });
        Self::of_places(photo, places, half_px, stitch_px)
    }

    /// From places that are known to show something, over squares of twice `half_px` and a pixel; `None` where they are too few.
    pub fn of_places(
        photo: &'a Photo,
        places: impl Iterator<Item = PhotoPoint>,
        half_px: u32,
        stitch_px: f64,
    ) -> Option<Self> {
        let looks: Vec<Look> = places.filter_map(|at| look(photo, at, half_px)).collect();
        if looks.len() < FEWEST {
            return None;
        }
        let n = looks.len() as f64;
        let mean: Look = std::array::from_fn(|c| looks.iter().map(|f| f[c]).sum::<f64>() / n);
        let deviation: Look = std::array::from_fn(|c| {
            let own = (looks.iter().map(|f| (f[c] - mean[c]).powi(2)).sum::<f64>() / n).sqrt();
            own.max(LEAST_DEVIATION[c])
        });
        Some(Self { photo, mean, deviation, half_px, stitch_px })
    }

    /// Whether a place looks like the fabric; `None` near the picture's edge and beyond it.
    pub fn alike(&self, at: PhotoPoint) -> Option<bool> {
        let seen = look(self.photo, at, self.half_px)?;
        Some((0..4).all(|c| (seen[c] - self.mean[c]).abs() < ALIKE_DEVIATIONS * self.deviation[c]))
    }

    /// How much of the fabric in the photo, or in what the user outlined of it, the followed region covers: the fabric is what
    /// looks alike and hangs together with the region, across the ruler too. What looks alike but is not counted (borders, a
    /// table of the yarn's colour) makes the share too small.
    pub fn covered(&self, region: &[PhotoPoint], ruler: &[PhotoPoint], outlined: Option<&[PhotoPoint]>) -> Covered {
        /// Places along the longer side of what is looked at.
        const ALONG: f64 = 48.0;
        let (from, to) = self.bounds(outlined);
        let (width, height) = (to.x - from.x, to.y - from.y);
        let step = (width.max(height) / ALONG).max(1.0);
        let (columns, rows) = ((width / step).ceil() as usize, (height / step).ceil() as usize);
        let at = |i: usize| from.moved(((i % columns) as f64 + 0.5) * step, ((i / columns) as f64 + 0.5) * step);
        let places: Vec<Shows> = (0..columns * rows)
            .map(|i| {
                let at = at(i);
                if outlined.is_some_and(|outline| !fabric::inside(outline, at)) {
                    Shows::Other
                } else if fabric::inside(region, at) {
                    Shows::Followed
                } else if fabric::inside(ruler, at) {
                    Shows::Ruler
                } else if self.alike(at) == Some(true) {
                    Shows::Alike
                } else {
                    Shows::Other
                }
            })
            .collect();
        let reached = reached(&places, columns);
        let of = |kinds: &[Shows]| -> Vec<PhotoPoint> {
            (0..places.len()).filter(|i| reached[*i] && kinds.contains(&places[*i])).map(at).collect()
        };
        let (followed, fabric) = (of(&[Shows::Followed]), of(&[Shows::Followed, Shows::Alike]));
        if followed.is_empty() {
            return Covered { share: 1.0, followed: from, fabric: from };
        }
        let share = followed.len() as f64 / fabric.len() as f64;
        Covered { share, followed: middle(&followed), fabric: middle(&fabric) }
    }

    /// The same share inside the smallest outline without hollows around the followed region: small where the lattice goes
    /// around fabric that it does not hold on.
    pub fn share_within(&self, region: &[PhotoPoint], ruler: &[PhotoPoint]) -> f64 {
        let far = self.bounds(None).1;
        self.covered(region, ruler, Some(&without_hollows(region, far))).share
    }

    /// Corners of the photo, or of the part of it that holds an outline.
    fn bounds(&self, outlined: Option<&[PhotoPoint]>) -> (PhotoPoint, PhotoPoint) {
        let far = PhotoPoint::new(f64::from(self.photo.width()), f64::from(self.photo.height()));
        let (mut from, mut to) = (PhotoPoint::new(0.0, 0.0), far);
        if let Some(outlined) = outlined {
            let (low, high) = outlined.iter().fold((far, from), |(low, high), p| {
                (PhotoPoint::new(low.x.min(p.x), low.y.min(p.y)), PhotoPoint::new(high.x.max(p.x), high.y.max(p.y)))
            });
            from = PhotoPoint::new(low.x.max(0.0), low.y.max(0.0));
            to = PhotoPoint::new(high.x.min(far.x), high.y.min(far.y));
        }
        (from, to)
    }
}

/// The smallest outline without hollows around the part of another that lies in the picture, which ends at `far`; to whole pixels:
/// the hull's search wants each corner once, exactly, and not so far away that products overflow.
fn without_hollows(outline: &[PhotoPoint], far: PhotoPoint) -> Vec<PhotoPoint> {
    let within = |v: f64, far: f64| v.clamp(0.0, far).round() as i32;
    let mut corners: Vec<(i32, i32)> = outline.iter().map(|p| (within(p.x, far.x), within(p.y, far.y))).collect();
    corners.sort_unstable();
    corners.dedup();
    let corners: Vec<Point<i32>> = corners.into_iter().map(|(x, y)| Point::new(x, y)).collect();
    convex_hull(corners).into_iter().map(|p| PhotoPoint::new(p.x.into(), p.y.into())).collect()
}

/// Refuses a lattice that ends amid the fabric: what is followed over a small part of what looks like it is a wrong lattice, or a
/// part that stands for no whole; the sooner where fewer than two `places` that were read show it.
pub(super) fn check_share(share: Option<f64>, places: usize) -> Result<(), Refusal> {
    /// Smallest share of the fabric (stated choice; how far the gauge of a part may be from that of the whole is in the budget. Of
    /// eleven photos of six makers with a share from here to 0.2 and two places at least all were within their intervals).
    const LEAST_SHARE: f64 = 0.1;
    /// The same of what one place only shows (stated choice: of 3000 photos some ten right answers lie between, and three of
    /// those off by more than 5 %).
    const LEAST_OF_ONE: f64 = 0.25;
    let least = if places < 2 { LEAST_OF_ONE } else { LEAST_SHARE };
    match share {
        Some(share) if share < least => {
            let seen = format!("the stitches could be followed over {:.0} % of the fabric only", 100.0 * share);
            Err(Refusal::new(RefusalCode::LatticeUnclear, seen))
        }
        _ => Ok(()),
    }
}

/// Refuses a lattice that goes around fabric and does not hold on it: that of a border, not of what it frames.
pub(super) fn check_not_a_frame(share_within: Option<f64>) -> Result<(), Refusal> {
    /// Smallest share of what it goes around (derived: a border of a sixth of the side has 0.56. Of 285 right answers one has
    /// 0.70 and the others 0.84 and more, a border read for its eyelets 0.52).
    const LEAST_WITHIN: f64 = 0.6;
    match share_within {
        Some(share) if share < LEAST_WITHIN => {
            let seen = "the stitches could be followed around the middle of the fabric only, as along a border; mark the \
                        middle with --region";
            Err(Refusal::new(RefusalCode::LatticeUnclear, seen))
        }
        _ => Ok(()),
    }
}

/// What a place in the photo shows.
#[derive(Clone, Copy, PartialEq)]
enum Shows {
    Followed,
    Alike,
    Ruler,
    Other,
}

/// Mean of some points; there must be some.
fn middle(points: &[PhotoPoint]) -> PhotoPoint {
    let n = points.len() as f64;
    PhotoPoint::new(points.iter().map(|p| p.x).sum::<f64>() / n, points.iter().map(|p| p.y).sum::<f64>() / n)
}

/// Which places of a grid hang together with the followed ones.
fn reached(places: &[Shows], columns: usize) -> Vec<bool> {
    let mut reached: Vec<bool> = places.iter().map(|p| *p == Shows::Followed).collect();
    let mut open: Vec<usize> = (0..places.len()).filter(|i| reached[*i]).collect();
    while let Some(i) = open.pop() {
        let column = i % columns;
        let neighbours = [
            (column > 0).then(|| i - 1),
            (column + 1 < columns).then_some(i + 1),
            i.checked_sub(columns),
            Some(i + columns).filter(|j| *j < places.len()),
        ];
        for j in neighbours.into_iter().flatten() {
            if !reached[j] && places[j] != Shows::Other {
                reached[j] = true;
                open.push(j);
            }
        }
    }
    reached
}

/// Logarithms of the values of a channel, one added so that black has one.
static LOGARITHMS: LazyLock<[f64; 256]> = LazyLock::new(|| std::array::from_fn(|v| (v as f64 + 1.0).ln()));

/// How a place looks; `None` near the picture's edge.
fn look(photo: &Photo, at: PhotoPoint, half_px: u32) -> Option<Look> {
    /// Pixels looked at along each side of the square.
    const SIDE: u32 = 13;
    let (x, y) = ((at.x >= 0.0).then_some(at.x as u32)?, (at.y >= 0.0).then_some(at.y as u32)?);
    let far = |v: u32| v.saturating_add(half_px);
    if x < half_px || y < half_px || far(x) >= photo.width() || far(y) >= photo.height() {
        return None;
    }
    let step = ((2 * half_px + 1) / SIDE).max(1) as usize;
    let logarithms = &*LOGARITHMS;
    let (mut sum, mut square, mut count) = ([0.0; 3], 0.0, 0.0);
    for py in (y - half_px..=y + half_px).step_by(step) {
        for px in (x - half_px..=x + half_px).step_by(step) {
            let pixel = photo.rgb.get_pixel(px, py).0.map(|v| logarithms[usize::from(v)]);
            (0..3).for_each(|c| sum[c] += pixel[c]);
            square += pixel[1] * pixel[1];
            count += 1.0;
        }
    }
    let [r, g, b] = sum.map(|s| s / count);
    let deviation = (square / count - g * g).max(1e-6).sqrt();
    Some([r, g, b, deviation.ln()])
}

/// Width of a stitch in the photo, from two far blocks' counts.
fn typical_stitch_px(reading: &LatticeReading) -> Option<f64> {
    let (a, b) = (reading.blocks.first()?, reading.blocks.last()?);
    let (stitch, row) = reading.basis.steps_mm()?;
    let (ds, dr) = (b.stitches - a.stitches, b.rows - a.rows);
    let mm = (ds * stitch[0] + dr * row[0]).hypot(ds * stitch[1] + dr * row[1]);
    let px = a.at_px.distance(b.at_px);
    (mm > 0.0 && px > 0.0).then(|| px / mm * stitch[0].hypot(stitch[1]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_has_hollows() {
        let corners = [(0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (6.0, 9.0), (6.0, 3.0), (3.0, 3.0), (3.0, 9.0), (0.0, 9.0)];
        let outline = corners.map(|(x, y)| PhotoPoint::new(x, y));
        let far = PhotoPoint::new(20.0, 20.0);
        let filled = without_hollows(&outline, far);
        assert!(
            fabric::inside(&filled, PhotoPoint::new(4.5, 6.0)) && !fabric::inside(&outline, PhotoPoint::new(4.5, 6.0))
        );
        assert_eq!(filled.len(), 4);
        let one_place = [PhotoPoint::new(2.4, 2.4), PhotoPoint::new(2.3, 2.2), PhotoPoint::new(1.9, 2.1)];
        assert_eq!(without_hollows(&one_place, far).len(), 1);
        assert!(without_hollows(&[], far).is_empty());
        let beyond = [PhotoPoint::new(-1e12, 3.0), PhotoPoint::new(1e12, 3.0), PhotoPoint::new(5.0, f64::NAN)];
        assert!(without_hollows(&beyond, far).iter().all(|p| (0.0..=20.0).contains(&p.x)));
        assert!(check_not_a_frame(Some(0.55)).is_err());
        assert!(check_not_a_frame(Some(0.84)).is_ok() && check_not_a_frame(None).is_ok());
    }

    #[test]
    fn a_small_part_of_the_fabric_stands_for_no_whole() {
        assert!(check_share(None, 0).is_ok());
        assert!(check_share(Some(0.22), 2).is_ok() && check_share(Some(0.26), 1).is_ok());
        assert!(check_share(Some(0.22), 1).is_err() && check_share(Some(0.09), 5).is_err());
    }

    #[test]
    fn what_hangs_together_across_the_ruler_is_reached() {
        use Shows::{Alike, Followed, Other, Ruler};
        let places = [Followed, Ruler, Alike, Other, Alike, Other, Other, Other, Other, Other];
        let reached = reached(&places, 5);
        assert_eq!(reached[..5], [true, true, true, false, false]);
        assert!(!reached[5..].iter().any(|r| *r));
    }
}
