//! Edges: how trains and chains lie to each other on one ruler.

use super::chain::Chain;
use super::fit::quantile;
use super::ink::Ink;
use super::train::Train;
use image::RgbImage;

/// Edges are parallel within this slope (perspective, tapers).
pub(super) const PARALLEL: f64 = 0.09;

/// Both base lines are the same.
pub(super) fn same_line(a: &Train, b: &Train) -> bool {
    let Some(m) = a.marks.get(a.marks.len() / 2) else { return false };
    let p = a.at(m);
    let (u, v) = b.frame.place((p.x, p.y));
    (v - b.base.at(u)).abs() < 2.0 * b.pitch_px()
}

/// The trains run side by side and their marks point to each other.
pub(super) fn faces(a: &Train, b: &Train) -> bool {
    let (Some(first), Some(last)) = (a.marks.first(), a.marks.last()) else { return false };
    let ends = [first, last].map(|m| {
        let p = a.at(m);
        b.frame.place((p.x, p.y))
    });
    let slope = (ends[1].1 - ends[0].1) / (ends[1].0 - ends[0].0);
    let middle = (ends[0].0 + ends[1].0) / 2.0;
    let width = (ends[0].1 + ends[1].1) / 2.0 - b.base.at(middle);
    let tip = a.frame.point(first.u, a.base.at(first.u) + a.short_px);
    let towards = b.frame.place(tip).1 < ends[0].1;
    let inside = b
        .marks
        .first()
        .zip(b.marks.last())
        .is_some_and(|(f, l)| ends[0].0.min(ends[1].0) < l.u && ends[0].0.max(ends[1].0) > f.u);
    slope.abs() < PARALLEL && inside && towards && width > a.short_px + b.short_px
}

/// Largest difference between the grounds of one ruler's two edges, of full scale in any sRGB-coded channel (stated choice:
/// light that falls off by a third across a ruler, or a shadow along one edge, makes 0.15).
const GROUNDS_DIFFER: f64 = 0.2;

/// Whether the bare ground between the marks has about the same colour along both trains, as a ruler's two edges have; where
/// the one is a ruler and the other fabric that repeats like marks, it has not.
pub(super) fn same_ground(rgb: &RgbImage, a: &Train, b: &Train) -> bool {
    let channels = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|weights| Ink::new(rgb, weights));
    let differ = |channel: &Ink| Some((ground(channel, a)? - ground(channel, b)?).abs());
    channels.iter().all(|channel| differ(channel).is_some_and(|d| d < GROUNDS_DIFFER))
}

/// The usual value half-way between neighbouring marks; `None` where the picture shows none.
fn ground(channel: &Ink, train: &Train) -> Option<f64> {
    let between = train.marks.windows(2).filter(|w| w[1].index - w[0].index == 1).filter_map(|w| {
        let u = (w[0].u + w[1].u) / 2.0;
        let (x, y) = train.point(u, train.short_px / 2.0);
        channel.at(x, y).map(f64::from)
    });
    quantile(between, 0.5)
}

/// A chain that runs along a train at a ruler's width from it, and overlaps it.
pub(super) fn beside_train(chain: &Chain, scale: f64, train: &Train) -> bool {
    let (Some(a), Some(b)) = (train.marks.first(), train.marks.last()) else { return false };
    let places: Vec<(f64, f64)> = chain.line().map(|p| train.frame.place((p.0 * scale, p.1 * scale))).to_vec();
    let slope = (places[1].1 - places[0].1) / (places[1].0 - places[0].0);
    let overlaps = places[0].0.min(places[1].0) < b.u && places[0].0.max(places[1].0) > a.u;
    let away = (places[0].1 - train.base.at(places[0].0)) / train.short_px;
    slope.abs() < PARALLEL && overlaps && (2.0..40.0).contains(&away)
}

/// A chain whose strokes lie on a train that was read already.
pub(super) fn lies_on(chain: &Chain, scale: f64, train: &Train) -> bool {
    let (Some(a), Some(b)) = (train.marks.first(), train.marks.last()) else { return false };
    let pitch = train.pitch_px();
    let long = quantile(train.marks.iter().map(|m| m.length_px), 0.95).unwrap_or(train.short_px);
    chain.line().iter().all(|p| {
        let (u, v) = train.frame.place((p.0 * scale, p.1 * scale));
        let above = v - train.base.at(u.max(a.u.min(b.u)).min(a.u.max(b.u)));
        u > a.u - 2.0 * pitch && u < b.u + 2.0 * pitch && above > -1.5 * pitch && above < long + pitch
    })
}
