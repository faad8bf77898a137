//! The fitted lattice over the fabric: a line through every stitch column and every row, numbered, with the loops that
//! were seen on their crossings.

use super::Pen;
use super::canvas::{Canvas, Mark, Place, colour, words_size};
use crate::lattice::{FollowedLattice, LatticeModel, LoopSeen, crossings};
use crate::record::Evidence;

/// More lines than this in one direction can't be told apart in any picture, and would take for ever to draw.
const MOST_LINES: f64 = 2000.0;

/// Lines closer than this, in px, would merge.
const CLOSEST_PX: f64 = 2.0;

/// Draws the region's outline, the lattice's lines and numbers, the loops and the axes.
pub fn draw(canvas: &mut Canvas, evidence: &Evidence, pen: Pen) {
    let outline = pen.places(&evidence.region_px);
    let drawn = evidence.lattice.as_ref().and_then(|model| Drawn::new(model, evidence, pen));
    if let Some(drawn) = &drawn {
        draw_lines(canvas, drawn, pen);
    }
    let others = evidence.other_parts_px.iter().map(|other| pen.places(other));
    for outline in others.chain([outline]) {
        draw_outline(canvas, &outline, pen);
    }
    if let Some(drawn) = &drawn {
        draw_axes(canvas, drawn, pen);
    }
    let pitch_px = drawn.as_ref().map_or(12.0 * pen.px, |d| d.pitch_px);
    draw_loops(canvas, &evidence.loops, pitch_px, pen);
    if let Some(drawn) = &drawn {
        draw_numbers(canvas, drawn, pen);
    }
}

fn draw_outline(canvas: &mut Canvas, outline: &[Place], pen: Pen) {
    if let (Some(&first), true) = (outline.first(), outline.len() > 2) {
        let closed: Vec<Place> = outline.iter().copied().chain([first]).collect();
        let marks: Vec<Mark> = Mark::path(&closed, 1.5 * pen.px).collect();
        canvas.layer(&marks, colour::BLUE, (colour::WHITE, pen.px), 0.9);
    }
}

/// Smaller of the px between stitches and the px between rows in the middle of the region, in the photo.
pub fn pitch_px(evidence: &Evidence) -> Option<f64> {
    let drawn = Drawn::new(evidence.lattice.as_ref()?, evidence, Pen::PLAIN)?;
    Some(drawn.pitch_px)
}

/// The two families of lines.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Family {
    /// Lines of constant stitch number: along the wales.
    Stitches,
    /// Lines of constant row number: along the rows.
    Rows,
}

/// The lattice made ready for drawing: the region in (stitch, row) numbers, and the way back to the canvas.
struct Drawn<'a> {
    followed: FollowedLattice<'a>,
    pen: Pen,
    /// Corners of the region in (stitch, row) numbers.
    region: Vec<(f64, f64)>,
    /// Smallest and largest (stitch, row) number in the region.
    low: (f64, f64),
    high: (f64, f64),
    /// Smaller of the px between stitches and the px between rows, in the middle of the region.
    pitch_px: f64,
}

impl<'a> Drawn<'a> {
    fn new(model: &'a LatticeModel, evidence: &Evidence, pen: Pen) -> Option<Self> {
        let region: Vec<(f64, f64)> = evidence.region_px.iter().filter_map(|&p| model.numbers(p)).collect();
        let fold = |pick: fn(f64, f64) -> f64, start: f64| {
            region.iter().fold((start, start), |a, p| (pick(a.0, p.0), pick(a.1, p.1)))
        };
        let (low, high) = (fold(f64::min, f64::INFINITY), fold(f64::max, f64::NEG_INFINITY));
        let few = |low: f64, high: f64| high - low > 0.0 && high - low < MOST_LINES;
        if !few(low.0, high.0) || !few(low.1, high.1) {
            return None;
        }
        let followed = FollowedLattice::new(model, &evidence.blocks)?;
        let pitch_px = pen.zoom * followed.pitch_px((low.0 + high.0) / 2.0, (low.1 + high.1) / 2.0)?;
        (pitch_px > CLOSEST_PX).then_some(Self { followed, pen, region, low, high, pitch_px })
    }

    /// Where the canvas shows stitch number `stitch` in row number `row`.
    fn at(&self, stitch: f64, row: f64) -> Option<Place> {
        self.followed.place(stitch, row).map(|p| self.pen.place(p))
    }

    /// The whole numbers of one family in the region.
    fn whole_numbers(&self, family: Family) -> std::ops::RangeInclusive<i64> {
        let (low, high) = match family {
            Family::Stitches => (self.low.0, self.high.0),
            Family::Rows => (self.low.1, self.high.1),
        };
        low.ceil() as i64..=high.floor() as i64
    }

    /// The pieces of one line that lie in the region, each as points in the photo.
    fn pieces(&self, family: Family, number: f64) -> Vec<Vec<Place>> {
        self.crossings(family, number)
            .chunks_exact(2)
            .map(|ends| self.piece(family, number, ends[0], ends[1]))
            .collect()
    }

    fn piece(&self, family: Family, number: f64, from: f64, to: f64) -> Vec<Place> {
        let parts = (2.0 * (to - from)).ceil().clamp(1.0, 2.0 * MOST_LINES) as u32;
        let along = (0..=parts).map(|k| from + (to - from) * f64::from(k) / f64::from(parts));
        let at = |t| match family {
            Family::Stitches => self.at(number, t),
            Family::Rows => self.at(t, number),
        };
        along.filter_map(at).collect()
    }

    /// Where the line enters and leaves the region, sorted: an even number of places along it.
    fn crossings(&self, family: Family, number: f64) -> Vec<f64> {
        match family {
            Family::Stitches => crossings(&self.region, number),
            Family::Rows => crossings(&self.region.iter().map(|&(s, r)| (r, s)).collect::<Vec<_>>(), number),
        }
    }
}

fn draw_lines(canvas: &mut Canvas, drawn: &Drawn, pen: Pen) {
    let thin = (0.05 * drawn.pitch_px).clamp(0.7, pen.px);
    let (mut each, mut fifth, mut tenth) = (Vec::new(), Vec::new(), Vec::new());
    for family in [Family::Stitches, Family::Rows] {
        for (count, number) in (1_u32..).zip(drawn.whole_numbers(family)) {
            let (layer, width) = match (count % 10, count % 5) {
                (0, _) => (&mut tenth, 2.2 * thin),
                (_, 0) => (&mut fifth, 1.4 * thin),
                _ => (&mut each, thin),
            };
            for piece in drawn.pieces(family, number as f64) {
                layer.extend(Mark::path(&piece, width));
            }
        }
    }
    let casing = (colour::BLACK, 0.5 * thin);
    canvas.layer(&each, colour::SKY, casing, 0.7);
    canvas.layer(&fifth, colour::WHITE, casing, 0.8);
    canvas.layer(&tenth, colour::YELLOW, casing, 0.9);
}

fn draw_loops(canvas: &mut Canvas, loops: &[LoopSeen], pitch_px: f64, pen: Pen) {
    let radius = (0.11 * pitch_px).clamp(1.2, 5.0 * pen.px);
    let (seen, missing): (Vec<&LoopSeen>, Vec<&LoopSeen>) = loops.iter().partition(|l| l.matched);
    let discs: Vec<Mark> = seen.iter().map(|l| Mark::Disc { centre: pen.place(l.at_px), radius }).collect();
    canvas.layer(&discs, colour::VERMILION, (colour::WHITE, 0.45 * radius), 1.0);
    let width = (0.5 * radius).max(1.0);
    let crosses: Vec<Mark> =
        missing.iter().flat_map(|l| Mark::cross(pen.place(l.at_px), 2.0 * radius, width)).collect();
    canvas.layer(&crosses, colour::BLACK, (colour::YELLOW, 0.45 * radius), 1.0);
}

/// Numbers every fifth line (every tenth where the lines are close) at both of its ends.
fn draw_numbers(canvas: &mut Canvas, drawn: &Drawn, pen: Pen) {
    let size = 16.0 * pen.px;
    let every = if drawn.pitch_px * 5.0 > 2.5 * size { 5 } else { 10 };
    let extent = canvas.size();
    let mut words = Vec::new();
    for family in [Family::Stitches, Family::Rows] {
        for (count, number) in (1_u32..).zip(drawn.whole_numbers(family)) {
            if count % every != 0 {
                continue;
            }
            let pieces = drawn.pieces(family, number as f64);
            let (Some(first), Some(last)) = (pieces.first(), pieces.last()) else { continue };
            let ends = [first.get(..2).map(|p| (p[0], p[1])), last.last_chunk::<2>().map(|p| (p[1], p[0]))];
            let on_canvas = |p: Place| (0.0..=extent.0).contains(&p.0) && (0.0..=extent.1).contains(&p.1);
            for (end, inner) in ends.into_iter().flatten().filter(|ends| on_canvas(ends.0)) {
                words.push(words_beyond(canvas, end, inner, count.to_string(), size));
            }
        }
    }
    canvas.layer(&words, colour::BLACK, (colour::WHITE, 0.14 * size), 1.0);
}

/// Words just beyond the end of a line, moved inwards where the picture ends.
fn words_beyond(canvas: &Canvas, end: Place, inner: Place, text: String, size: f64) -> Mark {
    let (dx, dy) = (end.0 - inner.0, end.1 - inner.1);
    let length = dx.hypot(dy).max(1e-9);
    let half = (words_size(&text, size).0 / 2.0 + 0.2 * size, 0.6 * size);
    // As far out as the words' own box needs in this direction.
    let step = (half.0 * dx.abs() + half.1 * dy.abs()) / length + 0.1 * size;
    let (w, h) = canvas.size();
    let into = |v: f64, half: f64, extent: f64| v.max(half).min((extent - half).max(half));
    let centre = (into(end.0 + dx / length * step, half.0, w), into(end.1 + dy / length * step, half.1, h));
    Mark::Words { centre, size, text }
}

/// Two arrows near a corner of the region, in the directions in which stitch and row numbers grow.
fn draw_axes(canvas: &mut Canvas, drawn: &Drawn, pen: Pen) {
    let Some([start, along_row, along_wale]) = arrow_ends(canvas, drawn) else { return };
    let size = 20.0 * pen.px;
    let (mut arrows, mut words) = (Vec::new(), Vec::new());
    for (tip, text) in [(along_row, "stitches"), (along_wale, "rows")] {
        arrows.extend(arrow(start, tip, pen));
        words.push(words_beyond(canvas, tip, start, text.to_owned(), size));
    }
    canvas.layer(&arrows, colour::BLUE, (colour::WHITE, 1.2 * pen.px), 1.0);
    canvas.layer(&words, colour::BLUE, (colour::WHITE, 0.16 * size), 1.0);
}

/// Where the arrows start and where they end: all on the canvas, the start in the region, as near to where both numbers
/// begin as can be, and between the lines, so that no loop is hidden. `None` where no place will do.
fn arrow_ends(canvas: &Canvas, drawn: &Drawn) -> Option<[Place; 3]> {
    /// Places that are tried along each axis.
    const TRIED: u32 = 16;
    /// Length of an arrow, as a part of the region's extent.
    const LENGTH: f64 = 0.2;
    let (w, h) = canvas.size();
    let on_canvas = |p: &Place| (0.0..=w).contains(&p.0) && (0.0..=h).contains(&p.1);
    let extent = (drawn.high.0 - drawn.low.0, drawn.high.1 - drawn.low.1);
    let between = |low: f64, extent: f64, i: u32| (low + extent * f64::from(i) / f64::from(TRIED)).floor() + 0.5;
    let ends = |(i, j): (u32, u32)| {
        let from = (between(drawn.low.0, extent.0, i), between(drawn.low.1, extent.1, j));
        let in_region = drawn.crossings(Family::Stitches, from.0).iter().filter(|&&r| r < from.1).count() % 2 == 1;
        let start = in_region.then(|| drawn.at(from.0, from.1))??;
        let along_row = drawn.at(from.0 + LENGTH * extent.0, from.1)?;
        let along_wale = drawn.at(from.0, from.1 + LENGTH * extent.1)?;
        Some([start, along_row, along_wale]).filter(|ends| ends.iter().all(on_canvas))
    };
    let mut tried: Vec<(u32, u32)> = (0..TRIED).flat_map(|i| (0..TRIED).map(move |j| (i, j))).collect();
    tried.sort_by_key(|(i, j)| i + j);
    tried.into_iter().find_map(ends)
}

fn arrow(from: Place, to: Place, pen: Pen) -> [Mark; 3] {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let length = dx.hypot(dy).max(1e-9);
    let (ux, uy) = (dx / length, dy / length);
    let (back, side) = (10.0 * pen.px, 5.0 * pen.px);
    let barb = |side: f64| (to.0 - ux * back - uy * side, to.1 - uy * back + ux * side);
    let line = |from, to| Mark::Line { from, to, width: 3.0 * pen.px };
    [line(from, to), line(barb(side), to), line(barb(-side), to)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lattice::Basis;
    use crate::plane::PlaneMap;
    use crate::quantity::{PhotoPoint, PlanePoint};
    use nalgebra::Matrix3;

    fn evidence() -> Evidence {
        let map = PlaneMap::new(Matrix3::new(0.1, 0.0, 0.0, 0.0, 0.1, 0.0, 0.0, 0.0, 1.0), None).unwrap();
        let basis = Basis { stitch: [0.2, 0.0], row: [0.0, -0.25] };
        let corner = PhotoPoint::new;
        Evidence {
            region_px: vec![corner(100.0, 100.0), corner(400.0, 100.0), corner(400.0, 300.0), corner(100.0, 300.0)],
            lattice: Some(LatticeModel { map, basis, origin: PlanePoint::new(11.0, 29.0) }),
            ..Evidence::default()
        }
    }

    #[test]
    fn one_line_through_each_stitch_and_row_of_the_region() {
        let evidence = evidence();
        let drawn = Drawn::new(evidence.lattice.as_ref().unwrap(), &evidence, Pen::PLAIN).unwrap();
        // 30 mm × 20 mm at 2 stitches and 2.5 rows per cm, the first of each inside the edge.
        assert_eq!(drawn.whole_numbers(Family::Stitches), 0..=5);
        assert_eq!(drawn.whole_numbers(Family::Rows), 0..=4);
        let pieces = drawn.pieces(Family::Stitches, 1.0);
        assert_eq!(pieces.len(), 1);
        let (first, last) = (pieces[0][0], *pieces[0].last().unwrap());
        assert!((first.0 - 160.0).abs() < 1e-9 && (last.0 - 160.0).abs() < 1e-9);
        assert!((first.1 - 300.0).abs() < 1e-9 && (last.1 - 100.0).abs() < 1e-9);
        assert!((drawn.pitch_px - 40.0).abs() < 1e-9);
    }
}
