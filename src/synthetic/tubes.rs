//! Draws tubes into a depth buffer: for each sample the highest yarn, its normal, its tone and its colour.

use super::noise::{self, floor};
use super::scene::Yarn;
use super::yarn_path::Tube;

/// How far a tube is drawn beyond its ends, in radii: closes the gap on the outside of a bend of up to 35°.
const BEYOND: f32 = 0.3;

/// What the camera sees of the yarn, one sample a pixel.
pub(super) struct YarnLayer<'a> {
    width: usize,
    height: usize,
    tubes: &'a [Tube],
    yarn: Option<&'a Yarn>,
    /// Where in its pixel each sample lies, px.
    sample: [f32; 2],
    /// Height above the table, mm; 0 where no yarn is.
    pub heights: Vec<f32>,
    /// Which tube is seen.
    owners: Vec<u32>,
}

/// How one sample of yarn looks.
pub(super) struct Look {
    /// Unit normal of the surface: right, down, towards the camera.
    pub normal: [f32; 3],
    /// Brightness of the fibres, mean about 1.
    pub tone: f32,
    /// Index into the palette.
    pub colour: usize,
}

impl<'a> YarnLayer<'a> {
    pub fn new(width: usize, height: usize, tubes: &'a [Tube], yarn: Option<&'a Yarn>) -> Self {
        let size = width * height;
        Self { width, height, tubes, yarn, sample: [0.5; 2], heights: vec![0.0; size], owners: vec![0; size] }
    }

    /// Draws all tubes anew; the sample of a pixel sits at `sample` within it.
    pub fn draw(&mut self, sample: [f32; 2]) {
        self.sample = sample;
        self.heights.fill(0.0);
        for (owner, tube) in self.tubes.iter().enumerate() {
            self.draw_tube(tube, owner as u32);
        }
    }

    fn draw_tube(&mut self, tube: &Tube, owner: u32) {
        let line = Line::new(tube, self.sample);
        let reach = tube.radius_px;
        let first = (tube.from[1].min(tube.to[1]) - self.sample[1] - reach).ceil().max(0.0) as usize;
        let end = (tube.from[1].max(tube.to[1]) - self.sample[1] + reach + 1.0).clamp(0.0, self.height as f32) as usize;
        let limit = 1.0 + line.beyond;
        for y in first..end {
            let start = line.at(0.0, y as f32);
            // Along the row both parts grow evenly, so the tube covers one stretch of it.
            let (low, high) = stretch(start[0], line.step[0], -line.beyond, limit);
            let (low2, high2) = stretch(start[1], line.step[1], -1.0, 1.0);
            let from = low.max(low2).ceil().max(0.0) as usize;
            let to = (high.min(high2) + 1.0).clamp(0.0, self.width as f32) as usize;
            if from >= to {
                continue;
            }
            let base = y * self.width;
            for (k, (height, seen)) in self.heights[base + from..base + to]
                .iter_mut()
                .zip(&mut self.owners[base + from..base + to])
                .enumerate()
            {
                let x = (from + k) as f32;
                let across = start[1] + x * line.step[1];
                let rise = tube.radius_mm * (1.0 - across * across).max(0.0).sqrt();
                let here = tube.heights[0] + (start[0] + x * line.step[0]) * line.climb + rise;
                if here > *height {
                    *height = here;
                    *seen = owner;
                }
            }
        }
    }

    /// How the yarn at a pixel looks; only where [`YarnLayer::heights`] is above 0.
    pub fn look(&self, x: usize, y: usize) -> Look {
        let owner = self.owners[y * self.width + x] as usize;
        let (Some(tube), Some(yarn)) = (self.tubes.get(owner), self.yarn) else {
            return Look { normal: [0.0, 0.0, 1.0], tone: 1.0, colour: 0 };
        };
        let line = Line::new(tube, self.sample);
        let [t, across] = line.at(x as f32, y as f32);
        let up = (1.0 - across * across).max(0.0).sqrt();
        let flat = (tube.along_mm[1].powi(2) - line.climb * line.climb).max(1e-6).sqrt();
        let slope = (line.climb / flat).clamp(-2.0, 2.0);
        // The side vector (the direction turned) points to positive `across`.
        let n = [line.dir[1] * across - slope * line.dir[0] * up, -line.dir[0] * across - slope * line.dir[1] * up];
        let size = (n[0] * n[0] + n[1] * n[1] + up * up).sqrt().max(1e-3);
        let tone = if tube.hair { 1.15 } else { tone(tube, yarn, t, across) };
        Look { normal: [n[0] / size, n[1] / size, up / size], tone, colour: usize::from(tube.colour) }
    }
}

/// The range of x over which `start + step x` lies between two values.
fn stretch(start: f32, step: f32, low: f32, high: f32) -> (f32, f32) {
    if step.abs() < 1e-9 {
        return if start > low && start < high { (f32::MIN, f32::MAX) } else { (1.0, 0.0) };
    }
    let (a, b) = ((low - start) / step, (high - start) / step);
    (a.min(b), a.max(b))
}

/// A tube's axis in the photo.
struct Line {
    from: [f32; 2],
    dir: [f32; 2],
    /// How far beyond its ends the tube is drawn, as a share of its length.
    beyond: f32,
    /// Change of (share of the length, side in radii) for each pixel to the right.
    step: [f32; 2],
    per_length: f32,
    per_radius: f32,
    /// Height gained from end to end, mm.
    climb: f32,
}

impl Line {
    fn new(tube: &Tube, sample: [f32; 2]) -> Self {
        let d = [tube.to[0] - tube.from[0], tube.to[1] - tube.from[1]];
        let length = (d[0] * d[0] + d[1] * d[1]).sqrt().max(1e-3);
        let dir = [d[0] / length, d[1] / length];
        let (per_length, per_radius) = (1.0 / length, 1.0 / tube.radius_px);
        Self {
            from: [tube.from[0] - sample[0], tube.from[1] - sample[1]],
            dir,
            beyond: BEYOND * tube.radius_px * per_length,
            step: [dir[0] * per_length, dir[1] * per_radius],
            per_length,
            per_radius,
            climb: tube.heights[1] - tube.heights[0],
        }
    }

    /// Share of the length, and side in radii, of a pixel's sample.
    fn at(&self, x: f32, y: f32) -> [f32; 2] {
        let p = [x - self.from[0], y - self.from[1]];
        [
            (p[0] * self.dir[0] + p[1] * self.dir[1]) * self.per_length,
            (p[0] * self.dir[1] - p[1] * self.dir[0]) * self.per_radius,
        ]
    }
}

/// Brightness of the fibres: plies with dark grooves between them, fibres of uneven brightness.
fn tone(tube: &Tube, yarn: &Yarn, t: f32, across: f32) -> f32 {
    let along = tube.along_mm[0] + t * tube.along_mm[1];
    let turns = along / (yarn.lay as f32 * 2.0 * tube.radius_mm);
    // asin by its first terms; the far sides are foreshortened anyway.
    let angle = across * (1.0 + 0.35 * across * across) / std::f32::consts::TAU;
    let phase = yarn.plies as f32 * (turns + angle);
    let groove = 2.0 * (phase - floor(phase) as f32) - 1.0;
    let g2 = groove * groove;
    let depth = if yarn.plies > 1 { 0.45 } else { 0.12 };
    let fibre = noise::cell(floor(phase * 7.0), floor(along / tube.radius_mm * 0.9), 77) - 0.5;
    (1.0 - depth * g2 * g2) * (1.0 + (0.22 + 0.9 * yarn.heather as f32) * fibre)
}
