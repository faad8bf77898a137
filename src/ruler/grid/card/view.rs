//! How the card lies in the photo: one projective view, bent by the lens.

use super::Corner;
use crate::card;
use crate::photo::Photo;
use crate::quantity::PhotoPoint;
use crate::ruler::grid::refine::{seen, view_of};
use nalgebra::Matrix3;

/// Radial lens terms that are tried: photos of phones stay well within (a stated choice, as wide as drawn photos have).
const LENS_RANGE: f64 = 0.12;

/// Steps from zero to the end of the range.
const LENS_STEPS: i32 = 6;

/// Fewest corners from which a lens term is worth fitting beside the eight numbers of a view.
const LENS_CORNERS: usize = 24;

/// Numbers along the card → photo.
pub(super) struct CardView {
    to_px: Matrix3<f64>,
    centre: PhotoPoint,
    radius_px: f64,
    /// Radial term with which this view's points are bent about the photo's centre, r in half-diagonals.
    k1: f64,
}

impl CardView {
    /// The view that fits the corners best. `None` where no view fits.
    pub fn fit(photo: &Photo, corners: &[Corner]) -> Option<Self> {
        let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
        let with = |k1: f64| {
            let mut view = Self {
                to_px: Matrix3::identity(),
                centre: PhotoPoint::new(w / 2.0, h / 2.0),
                radius_px: w.hypot(h) / 2.0,
                k1,
            };
            let straight: Vec<Corner> = corners.iter().map(|c| (c.0, c.1, view.straightened(c.2))).collect();
            view.to_px = view_of(&straight)?;
            let sum: f64 = corners.iter().map(|c| view.distance(c).powi(2)).sum();
            sum.is_finite().then_some((sum, view))
        };
        if corners.len() < LENS_CORNERS {
            return Some(with(0.0)?.1);
        }
        let step = LENS_RANGE / f64::from(LENS_STEPS);
        let tried: Vec<(f64, f64)> = (-LENS_STEPS..=LENS_STEPS)
            .filter_map(|n| with(f64::from(n) * step).map(|(sum, view)| (sum, view.k1)))
            .collect();
        let best = tried.iter().enumerate().min_by(|a, b| a.1.0.total_cmp(&b.1.0))?.0;
        let mut k1 = tried[best].1;
        if let (Some(before), Some(after)) = (best.checked_sub(1).and_then(|n| tried.get(n)), tried.get(best + 1)) {
            // The sum of squares is nearly a parabola in k1: its lowest point.
            let bend = before.0 + after.0 - 2.0 * tried[best].0;
            if bend > 0.0 {
                k1 += step * (before.0 - after.0) / (2.0 * bend);
            }
        }
        Some(with(k1)?.1)
    }

    /// Where the photo shows a place on the card, in squares from the upper left corner of the squares.
    pub fn at(&self, u: f64, v: f64) -> Option<PhotoPoint> {
        let p = seen(&self.to_px, u, v)?;
        let (dx, dy) = (p.x - self.centre.x, p.y - self.centre.y);
        // Farther out the lens term would fold the picture back into itself.
        let r2 = ((dx * dx + dy * dy) / (self.radius_px * self.radius_px)).min(2.0);
        let bent = 1.0 + self.k1 * r2;
        Some(PhotoPoint::new(self.centre.x + dx * bent, self.centre.y + dy * bent))
    }

    fn straightened(&self, p: PhotoPoint) -> PhotoPoint {
        let (dx, dy) = (p.x - self.centre.x, p.y - self.centre.y);
        let mut s = 1.0;
        for _ in 0..12 {
            let r2 = (dx * dx + dy * dy) / (s * s * self.radius_px * self.radius_px);
            s = (1.0 + self.k1 * r2).max(0.5);
        }
        PhotoPoint::new(self.centre.x + dx / s, self.centre.y + dy / s)
    }

    /// Distance of a corner from where the view has it, in px.
    pub fn distance(&self, c: &Corner) -> f64 {
        self.at(f64::from(c.0), f64::from(c.1)).map_or(f64::INFINITY, |p| p.distance(c.2))
    }

    /// Side of a square at the middle corner, in px.
    pub fn side_px(&self, corners: &[Corner]) -> Option<f64> {
        let middle = corners.get(corners.len() / 2)?;
        let (u, v) = (f64::from(middle.0), f64::from(middle.1));
        Some(self.at(u, v)?.distance(self.at(u + 1.0, v)?))
    }

    /// Whether the second direction turns against the photo's sense from the first.
    pub fn is_mirrored(&self, corners: &[Corner]) -> Option<bool> {
        let middle = corners.get(corners.len() / 2)?;
        let (u, v) = (f64::from(middle.0), f64::from(middle.1));
        let (at, along, across) = (self.at(u, v)?, self.at(u + 1.0, v)?, self.at(u, v + 1.0)?);
        Some((along.x - at.x) * (across.y - at.y) < (along.y - at.y) * (across.x - at.x))
    }

    /// The card's outer edge and a fifth of a square beyond it, followed in steps for a bending lens.
    pub fn outline(&self) -> Option<Vec<PhotoPoint>> {
        const STEPS: i32 = 8;
        let out = card::RIM_MM / card::SQUARE_MM + 0.2;
        let (low, right, bottom) = (-out, f64::from(card::COLUMNS) + out, f64::from(card::ROWS) + out);
        let corners = [(low, low), (right, low), (right, bottom), (low, bottom)];
        (0..4)
            .flat_map(|k| {
                let (a, b): ((f64, f64), (f64, f64)) = (corners[k], corners[(k + 1) % 4]);
                (0..STEPS).map(move |n| {
                    let t = f64::from(n) / f64::from(STEPS);
                    (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1))
                })
            })
            .map(|(u, v)| self.at(u, v))
            .collect()
    }
}
