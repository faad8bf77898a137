//! Draws tubes into a depth buffer: for each sample the highest yarn, its normal, its tone and its colour.

use super::noise;
use super::scene::Yarn;
use super::yarn_path::Tube;

/// What the camera sees of the yarn, one sample a pixel.
pub(super) struct YarnLayer {
    width: usize,
    height: usize,
    /// Height above the table, mm; 0 where no yarn is.
    pub heights: Vec<f32>,
    /// Packed normal, tone and colour; see [`Look`].
    looks: Vec<u32>,
}

/// How one sample of yarn looks.
pub(super) struct Look {
    /// Sideways parts of the surface normal in photo directions, −1..1.
    pub normal: [f32; 2],
    /// Brightness of the fibres, 0..2, mean 1.
    pub tone: f32,
    /// Index into the palette.
    pub colour: usize,
}

impl YarnLayer {
    pub fn new(width: usize, height: usize) -> Self {
        Self { width, height, heights: vec![0.0; width * height], looks: vec![0; width * height] }
    }

    pub fn clear(&mut self) {
        self.heights.fill(0.0);
    }

    pub fn look(&self, index: usize) -> Look {
        let [nx, ny, tone, colour] = self.looks[index].to_le_bytes();
        let side = |byte: u8| f32::from(byte as i8) / 127.0;
        Look { normal: [side(nx), side(ny)], tone: f32::from(tone) / 127.5, colour: usize::from(colour) }
    }

    /// Draws a tube; the sample of a pixel sits at `sample` within it.
    pub fn draw(&mut self, tube: &Tube, sample: [f32; 2], yarn: &Yarn) {
        let a = [tube.from[0] - sample[0], tube.from[1] - sample[1]];
        let b = [tube.to[0] - sample[0], tube.to[1] - sample[1]];
        let r = tube.radius_px;
        let span = |lo: f32, hi: f32, size: usize| {
            let first = (lo - r).ceil().max(0.0) as usize;
            let end = ((hi + r).floor() + 1.0).clamp(0.0, size as f32) as usize;
            first..end
        };
        let columns = span(a[0].min(b[0]), a[0].max(b[0]), self.width);
        let rows = span(a[1].min(b[1]), a[1].max(b[1]), self.height);
        if columns.is_empty() || rows.is_empty() {
            return;
        }
        let piece = Piece::new(tube, a, b, yarn);
        for y in rows {
            for x in columns.clone() {
                let Some((height, at)) = piece.hit(x as f32, y as f32) else { continue };
                let index = y * self.width + x;
                if height > self.heights[index] {
                    self.heights[index] = height;
                    self.looks[index] = piece.look(at);
                }
            }
        }
    }
}

/// A tube prepared for drawing.
struct Piece<'a> {
    tube: &'a Tube,
    a: [f32; 2],
    dir: [f32; 2],
    length: f32,
    /// How far beyond its ends it is drawn, as a share of its length: closes the gap on the outside of a bend.
    beyond: f32,
    /// Height gained for each millimetre along the tube.
    slope: f32,
    plies: f32,
    turns_per_mm: f32,
    heather: f32,
}

impl<'a> Piece<'a> {
    fn new(tube: &'a Tube, a: [f32; 2], b: [f32; 2], yarn: &Yarn) -> Self {
        let d = [b[0] - a[0], b[1] - a[1]];
        let length = d[0].hypot(d[1]).max(1e-3);
        let flat_mm = (tube.along_mm[1].powi(2) - (tube.heights[1] - tube.heights[0]).powi(2)).max(1e-6).sqrt();
        Self {
            tube,
            a,
            dir: [d[0] / length, d[1] / length],
            length,
            beyond: 0.35 * tube.radius_px / length,
            slope: ((tube.heights[1] - tube.heights[0]) / flat_mm).clamp(-2.0, 2.0),
            plies: yarn.plies as f32,
            turns_per_mm: 1.0 / (yarn.lay as f32 * 2.0 * tube.radius_mm),
            heather: yarn.heather as f32,
        }
    }

    /// Height of the tube over a pixel, and where it is hit: share of the length, and across in radii.
    fn hit(&self, x: f32, y: f32) -> Option<(f32, [f32; 2])> {
        let p = [x - self.a[0], y - self.a[1]];
        let across = (p[0] * self.dir[1] - p[1] * self.dir[0]) / self.tube.radius_px;
        let under = 1.0 - across * across;
        let t = (p[0] * self.dir[0] + p[1] * self.dir[1]) / self.length;
        if under <= 0.0 || t < -self.beyond || t > 1.0 + self.beyond {
            return None;
        }
        let [h0, h1] = self.tube.heights;
        Some((h0 + t * (h1 - h0) + self.tube.radius_mm * under.sqrt(), [t, across]))
    }

    fn look(&self, [t, across]: [f32; 2]) -> u32 {
        let up = (1.0 - across * across).max(0.0).sqrt();
        // The side vector (dir turned) points to positive `across`.
        let n = [
            self.dir[1] * across - self.slope * self.dir[0] * up,
            -self.dir[0] * across - self.slope * self.dir[1] * up,
        ];
        let size = (n[0] * n[0] + n[1] * n[1] + up * up).sqrt().max(1e-3);
        let byte = |v: f32| ((v / size * 127.0) as i8) as u8;
        let tone = if self.tube.hair { 1.15 } else { self.tone(t, across) };
        u32::from_le_bytes([byte(n[0]), byte(n[1]), (tone * 127.5).clamp(0.0, 255.0) as u8, self.tube.colour])
    }

    /// Plies with dark grooves between them, and fibres of uneven brightness.
    fn tone(&self, t: f32, across: f32) -> f32 {
        let along = self.tube.along_mm[0] + t * self.tube.along_mm[1];
        // asin by its first terms; the far sides are foreshortened anyway.
        let angle = across * (1.0 + 0.35 * across * across) / std::f32::consts::TAU;
        let phase = self.plies * (along * self.turns_per_mm + angle);
        let groove = 2.0 * (phase - phase.floor()) - 1.0;
        let g2 = groove * groove;
        let depth = if self.plies > 1.0 { 0.45 } else { 0.12 };
        let fibre = noise::cell((phase * 7.0).floor() as i32, (along / self.tube.radius_mm * 0.9).floor() as i32, 77) - 0.5;
        (1.0 - depth * g2 * g2) * (1.0 + (0.22 + 0.9 * self.heather) * fibre)
    }
}
