//! What was seen → lines and points to draw over the picture, in photo pixels.

use serde_json::{Value, json};
use walewise::lattice::{FollowedLattice, LatticeModel, LoopSeen, crossings};
use walewise::quantity::PhotoPoint;
use walewise::record::{Evidence, Record};

/// More lines than this in one direction can't be told apart in any picture.
const MOST_LINES: f64 = 2000.0;

/// The drawing as JSON.
pub fn of(evidence: &Evidence, record: &Record, size: (u32, u32)) -> String {
    let marks = evidence.trains.iter().flat_map(|train| {
        let (dx, dy) = train.mark_direction;
        train.marks.iter().filter(|m| m.matched).map(move |m| json!([tenth(m.mark.at.x), tenth(m.mark.at.y), dx, dy]))
    });
    let (seen, missing): (Vec<&LoopSeen>, Vec<&LoopSeen>) = evidence.loops.iter().partition(|l| l.matched);
    let loops = |of: &[&LoopSeen]| of.iter().map(|l| point(l.at_px)).collect::<Vec<_>>();
    let lattice = evidence.lattice.as_ref().and_then(|model| lines(model, evidence));
    json!({
        "width": size.0,
        "height": size.1,
        "marks": marks.collect::<Vec<_>>(),
        "ruler": points(&evidence.ruler_outline_px),
        "places": points(&evidence.places_px),
        "blanked": points(&evidence.blanked_px),
        "region": points(&evidence.region_px),
        "outline": record.swatch.as_ref().map(|s| &s.outline_px),
        "loops": loops(&seen),
        "missing": loops(&missing),
        "lattice": lattice,
    })
    .to_string()
}

/// A line for every stitch and every row in the region, each as pieces of points.
fn lines(model: &LatticeModel, evidence: &Evidence) -> Option<Value> {
    let region: Vec<(f64, f64)> = evidence.region_px.iter().filter_map(|&p| model.numbers(p)).collect();
    let turned: Vec<(f64, f64)> = region.iter().map(|&(s, r)| (r, s)).collect();
    let followed = FollowedLattice::new(model, &evidence.blocks)?;
    let stitches = family(&region, |number, along| followed.place(number, along));
    let rows = family(&turned, |number, along| followed.place(along, number));
    let (low, high) = extent(&region);
    let (row_low, row_high) = extent(&turned);
    let pitch = followed.pitch_px((low + high) / 2.0, (row_low + row_high) / 2.0)?;
    Some(json!({"stitches": stitches?, "rows": rows?, "pitch_px": tenth(pitch)}))
}

fn family(region: &[(f64, f64)], place: impl Fn(f64, f64) -> Option<PhotoPoint>) -> Option<Vec<Vec<Value>>> {
    let (low, high) = extent(region);
    if !(high - low > 0.0 && high - low < MOST_LINES) {
        return None;
    }
    let line = |number: f64| {
        crossings(region, number).chunks_exact(2).map(|ends| piece(ends[0], ends[1], |t| place(number, t))).collect()
    };
    Some((low.ceil() as i64..=high.floor() as i64).map(|number| line(number as f64)).collect())
}

/// Points along a line, one for each stitch or row it crosses.
fn piece(from: f64, to: f64, place: impl Fn(f64) -> Option<PhotoPoint>) -> Value {
    let parts = (to - from).ceil().clamp(1.0, MOST_LINES) as u32;
    let along = (0..=parts).map(|k| from + (to - from) * f64::from(k) / f64::from(parts));
    along.filter_map(place).map(point).collect()
}

fn extent(of: &[(f64, f64)]) -> (f64, f64) {
    of.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| (low.min(p.0), high.max(p.0)))
}

fn points(of: &[PhotoPoint]) -> Vec<Value> {
    of.iter().map(|&p| point(p)).collect()
}

fn point(p: PhotoPoint) -> Value {
    json!([tenth(p.x), tenth(p.y)])
}

/// A tenth of a pixel is finer than any screen shows.
fn tenth(px: f64) -> f64 {
    (px * 10.0).round() / 10.0
}
