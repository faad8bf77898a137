//! What a train grows from: a chain of strokes in full-size pixels, with its base line and the colours it shows in.

use super::Frame;
use crate::ruler::chain::Chain;
use crate::ruler::fit::{Curve, quantile};
use crate::ruler::ink::Ink;
use image::RgbImage;

/// Index and both ends of a stroke.
type Ends = (i32, (f64, f64), (f64, f64));

/// A chain in full-size pixels, in the frame of its base line.
#[derive(Clone)]
pub(super) struct Seed {
    pub frame: Frame,
    /// (index, u at the band's middle, v of the base-side end, v of the free end)
    pub strokes: Vec<(i32, f64, f64, f64)>,
    /// Spacing of the strokes, px.
    pub pitch: f64,
    /// Lean of the strokes: px along per px across.
    pub lean: f64,
    /// Usual length of the short strokes, px.
    pub short: f64,
}

impl Seed {
    pub fn new(chain: &Chain, scale: f64) -> Option<Self> {
        let full = |p: (f64, f64)| (p.0 * scale, p.1 * scale);
        let ends: Vec<Ends> = chain.strokes.iter().map(|(i, s)| (*i, full(s.a), full(s.b))).collect();
        let first = Self::in_frame(&ends)?;
        let swapped: Vec<_> = ends.iter().map(|&(i, a, b)| (i, b, a)).collect();
        let other = Self::in_frame(&swapped)?;
        let spread = |s: &Self| {
            let points: Vec<(f64, f64)> = s.strokes.iter().map(|m| (m.1, m.2)).collect();
            Curve::new(&points, 1).map_or(f64::INFINITY, |c| {
                points.iter().map(|p| (p.1 - c.at(p.0)).abs().min(s.pitch * 3.0)).sum::<f64>()
            })
        };
        Some(if spread(&first) <= spread(&other) { first } else { other })
    }

    /// Frame whose u runs along the `a` ends and whose v points to the `b` ends.
    fn in_frame(ends: &[Ends]) -> Option<Self> {
        let (first, last) = (ends.first()?, ends.last()?);
        let rough = frame_through(first.1, last.1, first.2)?;
        let places: Vec<(f64, f64)> = ends.iter().map(|e| rough.place(e.1)).collect();
        let line = Curve::new(&places, 1)?;
        let (u0, u1) = (places.first()?.0, places.last()?.0);
        let frame = frame_through(rough.point(u0, line.at(u0)), rough.point(u1, line.at(u1)), first.2)?;
        let placed: Vec<Ends> = ends.iter().map(|e| (e.0, frame.place(e.1), frame.place(e.2))).collect();
        // Lean by the summed ends, so that long strokes count more.
        let (du, dv) = placed.iter().fold((0.0, 0.0), |(u, v), e| (u + e.2.0 - e.1.0, v + e.2.1 - e.1.1));
        let lean = (dv.abs() > 1e-9).then(|| du / dv)?;
        let short = quantile(placed.iter().map(|e| e.2.1 - e.1.1), 0.25)?;
        let strokes: Vec<(i32, f64, f64, f64)> = placed
            .iter()
            .map(|e| {
                let (mu, mv) = ((e.1.0 + e.2.0) / 2.0, (e.1.1 + e.2.1) / 2.0);
                (e.0, mu - lean * mv, e.1.1, e.2.1)
            })
            .collect();
        let span = (last.0 - first.0) as f64;
        let pitch = (strokes.last()?.1 - strokes.first()?.1).abs() / span;
        (short > 1.0 && lean.abs() < 1.0 && pitch > 1.5).then_some(Self { frame, strokes, pitch, lean, short })
    }

    /// The same with base and free end exchanged.
    pub fn turned(&self) -> Self {
        let height = quantile(self.strokes.iter().map(|s| s.3), 0.5).unwrap_or(self.short);
        let o = self.frame.point(self.lean * height, height);
        let across = (-self.frame.across.0, -self.frame.across.1);
        let frame = Frame { origin: o, along: self.frame.along, across };
        let strokes = self.strokes.iter().map(|s| (s.0, s.1, height - s.3, height - s.2)).collect();
        Self { frame, strokes, pitch: self.pitch, lean: -self.lean, short: self.short }
    }

    /// The colour mix in which this seed's marks stand out.
    pub fn ink<'a>(&self, rgb: &'a RgbImage) -> Ink<'a> {
        let place = |m: &(i32, f64, f64, f64), height: f64| {
            let v = m.2 + height * self.short;
            [0.0, -0.5, 0.5].map(|du| self.frame.point(m.1 + du * self.pitch + self.lean * v, v))
        };
        let places: Vec<[(f64, f64); 3]> =
            self.strokes.iter().flat_map(|m| [0.3, 0.5, 0.7].map(|height| place(m, height))).collect();
        Ink::best_mix(rgb, &places)
    }
}

/// Frame with its origin at `p`, u towards `q`, v to the side of `side`.
fn frame_through(p: (f64, f64), q: (f64, f64), side: (f64, f64)) -> Option<Frame> {
    let l = (q.0 - p.0).hypot(q.1 - p.1);
    if l < 1.0 {
        return None;
    }
    let along = ((q.0 - p.0) / l, (q.1 - p.1) / l);
    let mut across = (-along.1, along.0);
    if (side.0 - p.0) * across.0 + (side.1 - p.1) * across.1 < 0.0 {
        across = (-across.0, -across.1);
    }
    Some(Frame { origin: p, along, across })
}
