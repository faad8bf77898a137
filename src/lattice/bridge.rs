//! On beyond what is hidden: the blocks found so far foretell the lattice on the far side of a ruler that lies across the
//! fabric.

use super::field::Field;
use super::grow::{Growth, SIDES, VISIBLE, within_reach};

/// Largest standard uncertainty, in stitches or rows, at which the lattice beyond a hidden strip is foretold: a miscount by
/// one then starts at two standard deviations, and is seen once both sides are joined.
const BRIDGE_DOUBT: f64 = 0.25;
/// Scatter about one smooth field, in steps, that a miscount of one beyond a strip adds at least (a step of one in a
/// third of a region leaves 0.15 about a quadratic).
const MISCOUNT: f64 = 0.06;
/// Step between both sides of a strip, in stitches or rows, from which on it is nearer to a miscount of one than to none.
const STEP: f64 = 0.5;

impl Growth<'_> {
    /// Goes on beyond places that are hidden (a ruler across the fabric): the blocks found so far foretell the lattice on
    /// the other side, as far as their scatter allows. Where both sides together fit one smooth field clearly worse than
    /// the first side did, a row or stitch was miscounted under the strip, and the far side is given up.
    pub fn bridge(&mut self) {
        let Some(mut field) = Field::fit(&self.nodes) else { return };
        for _ in 0..3 {
            let near = self.nodes.clone();
            for at in self.beyond(&field) {
                let node = field.frame(at).and_then(|frame| self.read(at, frame, 0.0));
                if let Some(node) = node.filter(|n| self.belongs(n)) {
                    self.nodes.insert(at, node);
                    self.offer(at);
                }
            }
            self.run();
            if self.nodes.len() == near.len() {
                return;
            }
            let limit = 2.0 * field.scatter_mm + MISCOUNT * field.step_mm;
            let miscounted = field.step_beyond(&near, &self.nodes).is_some_and(|step| step > STEP);
            match Field::fit(&self.nodes).filter(|whole| !miscounted && whole.scatter_mm <= limit) {
                Some(whole) => field = whole,
                None => {
                    self.nodes = near;
                    return;
                }
            }
        }
    }

    /// Places not yet tried on the far side of hidden ones, as far as the field foretells them well.
    fn beyond(&mut self, field: &Field) -> Vec<(i32, i32)> {
        let mut places = Vec::new();
        let mut stack: Vec<(i32, i32)> = self.hidden.iter().copied().collect();
        while let Some(at) = stack.pop() {
            for (di, dj) in SIDES {
                let next = (at.0 + di, at.1 + dj);
                let known =
                    self.nodes.contains_key(&next) || self.hidden.contains(&next) || self.tried.contains_key(&next);
                let foretold = within_reach(next) && field.doubt(next) <= BRIDGE_DOUBT;
                if known || !foretold {
                    continue;
                }
                self.tried.insert(next, 1);
                // What is hidden because the picture ends there has no far side.
                let Some(frame) = field.frame(next).filter(|f| self.reader.sheet().holds(f.at)) else { continue };
                if self.demodulator.window(self.reader, &frame).valid < VISIBLE {
                    self.hidden.insert(next);
                    stack.push(next);
                } else {
                    places.push(next);
                }
            }
        }
        places
    }
}
