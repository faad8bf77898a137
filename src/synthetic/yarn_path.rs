//! The yarn's way through the swatch, as short straight tubes in the photo.
//!
//! Centre line of a loop over t in −π..π: x = t/2π + a sin 2t, y = A cos t, z = ±d cos 2t; the sinusoidal form of a
//! plain-knit loop goes back to F. T. Peirce's geometry (1947, from memory). The legs lie at t = ±π/2: in front for knit,
//! behind for purl. A loop's head lies where the loop drawn through it next does not; the sinkers lie opposite the legs.

use super::draw::Draw;
use super::fabric_surface::{FabricSurface, along_yarn};
use super::scene::Yarn;
use super::view::View;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Sideways swing of the loop, in stitches: the legs stand 0.25 apart at the foot and 0.75 at the head, by eye.
const SWING: f64 = 0.25;

/// Half the height of the loop, in rows: the head reaches behind the feet of the next row's loop.
const HALF_LOOP: f64 = 0.92;

/// Shades that a changing colour is cut into.
pub(super) const SHADES: usize = 64;

/// A short straight piece of yarn or hair as the camera sees it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tube {
    /// Ends, px.
    pub from: [f32; 2],
    pub to: [f32; 2],
    /// Heights of the ends above the table, mm.
    pub heights: [f32; 2],
    /// Radius, px.
    pub radius_px: f32,
    /// Radius, mm.
    pub radius_mm: f32,
    /// Length of yarn before this piece, and of the piece, mm.
    pub along_mm: [f32; 2],
    /// Index into the palette.
    pub colour: u8,
    /// Whether it is a single hair, without plies.
    pub hair: bool,
}

/// A point of the yarn's centre line.
#[derive(Clone, Copy)]
struct Node {
    at: [f64; 2],
    height: f64,
    colour: u8,
}

/// The palette the tubes' colours point into, linear red, green, blue.
pub(super) fn palette(yarn: &Yarn) -> Vec<[f32; 3]> {
    let plain = |c: &[f64; 3]| c.map(|v| v as f32);
    if yarn.variegation == 0.0 || yarn.colours.len() < 2 {
        return yarn.colours.iter().map(plain).collect();
    }
    let last = yarn.colours.len() - 1;
    let shade = |k: usize| {
        let place = k as f64 / (SHADES - 1) as f64 * last as f64;
        let lower = (place as usize).min(last - 1);
        let part = place - lower as f64;
        [0, 1, 2].map(|c| (yarn.colours[lower][c] * (1.0 - part) + yarn.colours[lower + 1][c] * part) as f32)
    };
    (0..SHADES).map(shade).collect()
}

/// All tubes of the swatch.
pub(super) fn tubes(surface: &FabricSurface, view: &View, seed: u64) -> Vec<Tube> {
    let fabric = surface.fabric;
    let px_per_stitch =
        view.px_per_mm(fabric.centre_mm[0], fabric.centre_mm[1], surface.face_mm()) * fabric.stitch_mm();
    // A loop is about 3.5 stitches long: pieces of 7 px, but never so few that a bend shows corners.
    let pieces = ((px_per_stitch * 0.5) as usize).clamp(14, 28) & !1;
    let mut path = Path { surface, view, tubes: Vec::new(), salt: seed as u32 };
    let mut line = Vec::new();
    for row in 0..i64::from(fabric.rows) {
        line.clear();
        for stitch in 0..i64::from(fabric.stitches) {
            path.loop_nodes(stitch, row, pieces, &mut line);
        }
        path.edge_loop(row, &mut line);
        path.lay(&line, surface.yarn_mm() / 2.0, false);
    }
    path.cords();
    path.hairs(seed);
    path.tubes
}

struct Path<'a> {
    surface: &'a FabricSurface<'a>,
    view: &'a View,
    tubes: Vec<Tube>,
    salt: u32,
}

impl Path<'_> {
    fn loop_nodes(&self, stitch: i64, row: i64, pieces: usize, line: &mut Vec<Node>) {
        let surface = self.surface;
        let here = surface.sign(stitch, row);
        let head = -surface.sign(stitch, row + 1);
        let beside = [surface.sign(stitch - 1, row), surface.sign(stitch + 1, row)];
        let colour = self.colour(stitch, row);
        for k in 0..pieces {
            let t = -PI + TAU * (k as f64 + 0.5) / pieces as f64;
            let leg = t.sin() * t.sin();
            let other = if t.abs() < FRAC_PI_2 { head } else { self.sinker(t, here, beside) };
            let across = stitch as f64 + t / TAU + SWING * (2.0 * t).sin();
            let up = row as f64 + HALF_LOOP * t.cos();
            let swing = surface.loop_depth_mm() * (here * leg + other * (1.0 - leg));
            line.push(self.node(across, up, swing, colour));
        }
    }

    /// Side on which the yarn runs between two stitches: behind knit, before purl, crossing over half-way between them.
    fn sinker(&self, t: f64, here: f64, beside: [f64; 2]) -> f64 {
        let neighbour = if t < 0.0 { beside[0] } else { beside[1] };
        let share = ((t.abs() - 0.75 * PI) / (0.25 * PI)).max(0.0) / 2.0;
        -(here * (1.0 - share) + neighbour * share)
    }

    fn node(&self, across: f64, up: f64, swing: f64, colour: u8) -> Node {
        let (at, middle) = self.surface.place(across, up);
        Node { at: self.around_eyelets(across, up, at), height: middle + swing, colour }
    }

    /// Pushes yarn out of the holes: the disc around an eyelet is mapped onto a ring.
    fn around_eyelets(&self, across: f64, up: f64, at: [f64; 2]) -> [f64; 2] {
        let fabric = self.surface.fabric;
        if fabric.chart.eyelets.is_empty() {
            return at;
        }
        let (reach, hole) = (1.15 * fabric.stitch_mm(), 0.5 * fabric.stitch_mm());
        let (i0, j0) = (across.round() as i64, up.round() as i64);
        let (bs, br) = (i64::from(fabric.border_stitches), i64::from(fabric.border_rows));
        for (i, j) in (-1..=1).flat_map(|di| (-1..=1).map(move |dj| (i0 + di, j0 + dj))) {
            if !self.surface.in_body(i, j) || !fabric.chart.is_eyelet(i - bs, j - br) {
                continue;
            }
            let middle = self.surface.lattice_point(i, j);
            let d = [at[0] - middle[0], at[1] - middle[1]];
            let far = d[0].hypot(d[1]);
            if far < reach && far > 1e-6 {
                let moved = hole + far * (1.0 - hole / reach);
                return [middle[0] + d[0] * moved / far, middle[1] + d[1] * moved / far];
            }
        }
        at
    }

    fn colour(&self, stitch: i64, row: i64) -> u8 {
        let fabric = self.surface.fabric;
        let yarn = &fabric.yarn;
        if yarn.variegation > 0.0 && yarn.colours.len() > 1 {
            let n = fabric.stitches as f64;
            let done = if row % 2 == 0 { stitch as f64 } else { n - 1.0 - stitch as f64 };
            let slow = along_yarn(row as f64 * n + done, 17.0, self.salt)
                + 0.3 * along_yarn(row as f64 * n + done, 3.0, !self.salt);
            let place = ((slow / 1.3 - 0.5) * yarn.variegation * 1.8 + 0.5).clamp(0.0, 1.0);
            return (place * (SHADES - 1) as f64) as u8;
        }
        if !self.surface.in_body(stitch, row) {
            return 0;
        }
        let (bs, br) = (i64::from(fabric.border_stitches), i64::from(fabric.border_rows));
        fabric.chart.colour(stitch - bs, row - br).min(yarn.colours.len() as u8 - 1)
    }

    /// At the end of every second row the yarn turns up into the next one, on the right and on the left in turn.
    fn edge_loop(&self, row: i64, line: &mut Vec<Node>) {
        let n = i64::from(self.surface.fabric.stitches);
        let right = row % 2 == 0;
        let edge = if right { n as f64 - 0.5 } else { -0.5 };
        let out = if right { 1.0 } else { -1.0 };
        let colour = self.colour(if right { n - 1 } else { 0 }, row);
        let turn = (0..=8).map(|k| {
            let t = PI * f64::from(k) / 8.0;
            let swing = -self.surface.loop_depth_mm() * (0.3 + 0.5 * t.sin());
            self.node(edge + out * 0.45 * t.sin(), row as f64 - HALF_LOOP + 0.5 - 0.5 * t.cos(), swing, colour)
        });
        if right { line.extend(turn) } else { drop(line.splice(0..0, turn.rev())) }
    }

    /// Cast-on and bound-off edge: two strands around each other.
    fn cords(&mut self) {
        let fabric = self.surface.fabric;
        let n = fabric.stitches;
        let radius = self.surface.yarn_mm() / 2.0;
        for (row, bulge) in [(-0.85, 0.22), (f64::from(fabric.rows) - 0.2, 0.34)] {
            let colour = self.colour(0, if row < 0.0 { 0 } else { i64::from(fabric.rows) - 1 });
            for phase in [0.0, PI] {
                let steps = n * 10;
                let nodes: Vec<Node> = (0..=steps)
                    .map(|k| {
                        let across = f64::from(k) / 10.0 - 0.5;
                        let t = TAU * across + phase;
                        self.node(across, row + bulge * t.sin(), self.surface.loop_depth_mm() * t.cos() * 1.1, colour)
                    })
                    .collect();
                self.lay(&nodes, radius, false);
            }
        }
    }

    /// Hairs that stand out of the yarn at random.
    fn hairs(&mut self, seed: u64) {
        let fabric = self.surface.fabric;
        let count = (fabric.yarn.fuzz * f64::from(fabric.stitches) * f64::from(fabric.rows)) as usize;
        let mut draw = Draw::new(seed, 3);
        let yarn_mm = self.surface.yarn_mm();
        // A fibre of wool measures about 0.02 to 0.04 mm (from memory); drawn at 0.05 mm, seldom below a tenth of a pixel.
        let radius = 0.025_f64.max(0.02 * yarn_mm);
        for _ in 0..count {
            let (across, up) =
                (draw.share() * f64::from(fabric.stitches) - 0.5, draw.share() * f64::from(fabric.rows) - 0.5);
            let colour = self.colour(across.round() as i64, up.round() as i64);
            let mut direction = draw.share() * TAU;
            let step = yarn_mm * (0.25 + 0.35 * draw.share());
            let mut swing = self.surface.loop_depth_mm() + 0.3 * yarn_mm;
            let mut at = self.surface.place(across, up).0;
            let middle = self.surface.place(across, up).1;
            let nodes: [Node; 4] = std::array::from_fn(|_| {
                let node = Node { at, height: middle + swing, colour };
                direction += 0.7 * draw.normal();
                swing += 0.12 * yarn_mm * (1.0 + draw.normal());
                at = [at[0] + step * direction.cos(), at[1] + step * direction.sin()];
                node
            });
            self.lay(&nodes, radius, true);
        }
    }

    /// Projects a line of nodes and keeps its pieces.
    fn lay(&mut self, nodes: &[Node], radius_mm: f64, hair: bool) {
        let mut before: Option<(Node, [f64; 2])> = None;
        let mut length = 0.0;
        for &node in nodes {
            let seen = self.view.project(node.at[0], node.at[1], node.height);
            if let (Some((last, from)), Some(to)) = (before, seen) {
                let flat = (node.at[0] - last.at[0]).hypot(node.at[1] - last.at[1]);
                let piece = flat.hypot(node.height - last.height);
                let scale = self.view.px_per_mm(node.at[0], node.at[1], node.height);
                self.tubes.push(Tube {
                    from: from.map(|v| v as f32),
                    to: to.map(|v| v as f32),
                    heights: [last.height as f32, node.height as f32],
                    radius_px: (radius_mm * scale) as f32,
                    radius_mm: radius_mm as f32,
                    along_mm: [length as f32, piece as f32],
                    colour: node.colour,
                    hair,
                });
                length += piece;
            }
            before = seen.map(|px| (node, px));
        }
    }
}
