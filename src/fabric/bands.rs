//! A polygon with its edges sorted into bands, for asking of very many points whether they lie inside.

use crate::quantity::PhotoPoint;

/// A polygon's edges by the height at which they lie.
pub(crate) struct Bands {
    top: f64,
    per_band: f64,
    /// The edges that reach into each band.
    edges: Vec<Vec<[PhotoPoint; 2]>>,
}

impl Bands {
    /// Of a polygon, closed from its last point to its first.
    pub fn of(polygon: &[PhotoPoint]) -> Self {
        /// Bands to an edge: then few bands hold more than the two edges that every height has.
        const BANDS_PER_EDGE: usize = 4;
        let (top, low) = polygon.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| (a.min(p.y), b.max(p.y)));
        let count = BANDS_PER_EDGE * polygon.len();
        let per_band = if low > top { (low - top) / count as f64 } else { 1.0 };
        let mut bands = Self { top, per_band, edges: vec![Vec::new(); count] };
        for (i, a) in polygon.iter().enumerate() {
            let b = polygon[(i + 1) % polygon.len()];
            // One more on either side: the same place may be rounded into the next band.
            let (from, to) = (bands.number(a.y.min(b.y)).saturating_sub(1), bands.number(a.y.max(b.y)) + 1);
            bands.edges[from..=to.min(count - 1)].iter_mut().for_each(|band| band.push([*a, b]));
        }
        bands
    }

    fn number(&self, y: f64) -> usize {
        (((y - self.top) / self.per_band) as usize).min(self.edges.len().saturating_sub(1))
    }

    /// Whether a point lies inside; as `inside` has it.
    pub fn hold(&self, p: PhotoPoint) -> bool {
        let crossed = |[a, b]: &&[PhotoPoint; 2]| {
            (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x)
        };
        self.edges.get(self.number(p.y)).is_some_and(|edges| edges.iter().filter(crossed).count() % 2 == 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fabric::inside;

    #[test]
    fn holds_what_is_inside() {
        let star: Vec<PhotoPoint> = (0..23)
            .map(|k| {
                let (sin, cos) = (f64::from(k) * 1.9).sin_cos();
                PhotoPoint::new(50.0 + f64::from(20 + k) * cos, 40.0 + f64::from(30 - k) * sin)
            })
            .collect();
        for polygon in [&star[..], &star[..3], &star[..1], &[]] {
            let bands = Bands::of(polygon);
            for k in 0..120 * 100 {
                let p = PhotoPoint::new(f64::from(k % 120) - 5.0, f64::from(k / 120) - 5.0 + 1e-3 * f64::from(k % 7));
                assert_eq!(bands.hold(p), inside(polygon, p));
            }
        }
    }
}
