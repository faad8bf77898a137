//! Light on yarn, table and ruler: a lamp from one side, light from all around that hollows keep out, soft shadows.

use super::fabric_surface::FabricSurface;
use super::ruler_face::RulerFace;
use super::scene::{Body, Scene};
use super::table;
use super::tubes::YarnLayer;
use super::view::{Sight, View};
use super::yarn_path::{palette, tubes};

/// Where in a pixel its four samples lie: a turned square, so that near-vertical and near-horizontal edges meet four
/// different offsets; their mean is the pixel's centre.
const SAMPLES: [[f64; 2]; 4] = [[0.375, 0.125], [0.875, 0.375], [0.625, 0.875], [0.125, 0.625]];

/// Linear light of every pixel, red, green, blue.
pub(super) struct LightField {
    pub width: usize,
    pub height: usize,
    pub pixels: Vec<[f32; 3]>,
}

/// Everything that stands in front of the camera, ready to be drawn.
pub(super) struct Stage<'a> {
    scene: &'a Scene,
    view: &'a View,
    surface: Option<&'a FabricSurface<'a>>,
    face: Option<RulerFace<'a>>,
    /// Height of the ruler's underside and of its face, mm.
    ruler_heights: [f64; 2],
    /// Columns and rows of the photo that the ruler can reach.
    ruler_box: [[usize; 2]; 2],
    lamp: Lamp,
}

struct Lamp {
    /// Direction to the lamp, in photo directions and up.
    to: [f32; 3],
    /// Strength of the lamp and of the light from all around; a flat white surface gets 1 in sum.
    direct: f32,
    ambient: f32,
    /// Horizontal way (mm on the table) towards the lamp for each mm of height.
    reach: [f64; 2],
    /// Normal of a mirror that sends the lamp into the camera.
    half: [f32; 3],
}

impl<'a> Stage<'a> {
    pub fn new(scene: &'a Scene, view: &'a View, surface: Option<&'a FabricSurface<'a>>) -> Self {
        let face = scene.ruler.as_ref().map(|ruler| RulerFace::new(ruler, scene.seed));
        let under = scene.ruler.as_ref().filter(|r| r.on_fabric).and(surface).map_or(0.0, FabricSurface::top_mm);
        let thick = scene.ruler.as_ref().map_or(0.0, |r| r.thickness_mm);
        let mut stage = Self {
            scene,
            view,
            surface,
            face,
            ruler_heights: [under, under + thick],
            ruler_box: [[0, 0], [0, 0]],
            lamp: Lamp::new(scene),
        };
        stage.ruler_box = stage.reach_of_ruler();
        stage
    }

    /// Height of the ruler's face above the table, mm.
    pub fn ruler_face_mm(&self) -> f64 {
        self.ruler_heights[1]
    }

    /// Draws the scene, without what lens and sensor add.
    pub fn draw(&self) -> LightField {
        let (width, height) = (self.scene.camera.width_px as usize, self.scene.camera.height_px as usize);
        let mut field = LightField { width, height, pixels: vec![[0.0; 3]; width * height] };
        let yarn_tubes = self.surface.map_or_else(Vec::new, |s| tubes(s, self.view, self.scene.seed));
        let colours = self.surface.map_or_else(Vec::new, |s| palette(&s.fabric.yarn));
        let mut layer = YarnLayer::new(width, height, &yarn_tubes, self.surface.map(|s| &s.fabric.yarn));
        layer.draw([0.5, 0.5]);
        let hollows = self.hollows(&layer);
        let settled = self.settle(&mut field, &layer, &hollows);
        for (k, sample) in SAMPLES.iter().enumerate() {
            let moved = self.moved(k, *sample);
            layer.draw(moved.map(|v| v as f32));
            self.light(&mut field, &layer, &hollows, &colours, moved, &settled);
        }
        field
    }

    /// A pixel's sample, moved on along the camera's motion while the shutter is open.
    fn moved(&self, sample: usize, [x, y]: [f64; 2]) -> [f64; 2] {
        let part = (sample as f64 - 1.5) / 4.0;
        let motion = self.scene.camera.motion_px;
        [x + part * motion[0], y + part * motion[1]]
    }

    /// Lights the pixels that need one sample only: bare table away from yarn and ruler, and the inside of an opaque
    /// ruler, whose marks fade over a sample's width by themselves. Says which they are.
    fn settle(&self, field: &mut LightField, layer: &YarnLayer, hollows: &Hollows) -> Vec<bool> {
        let (w, h) = (field.width, field.height);
        let mut settled = vec![false; w * h];
        if self.scene.camera.motion_px != [0.0, 0.0] {
            return settled;
        }
        for y in 0..h {
            for x in 0..w {
                let index = y * w + x;
                let ruler = self.near_ruler(x, y);
                if !ruler && !bare(&layer.heights, w, h, x, y) {
                    continue;
                }
                let sight = self.view.sight(x as f64 + 0.5, y as f64 + 0.5);
                if ruler {
                    let Some(colour) = self.inside_ruler(&sight, layer.heights[index]) else { continue };
                    field.pixels[index] = colour;
                } else {
                    field.pixels[index] = self.table(sight.at_height(0.0), hollows, index, [x, y], 1.0, 1.0);
                }
                settled[index] = true;
            }
        }
        settled
    }

    /// The face of an opaque ruler where the whole pixel lies inside it.
    fn inside_ruler(&self, sight: &Sight, yarn_height: f32) -> Option<[f32; 3]> {
        let face = self.face.as_ref().filter(|f| f.ruler.body != Body::Clear)?;
        let top = self.ruler_heights[1];
        let place = face.place(sight.at_height(top));
        let pixel = 2.0 * self.sample_mm(top);
        if f64::from(yarn_height) > top || face.outside(place) > -2.0 * pixel {
            return None;
        }
        let lamp = self.lamp.ambient + self.lamp.direct * self.lamp.to[2];
        Some(face.at(place, pixel).colour.map(|c| c * lamp))
    }

    fn near_ruler(&self, x: usize, y: usize) -> bool {
        let [[left, right], [upper, lower]] = self.ruler_box;
        (upper..lower).contains(&y) && (left..right).contains(&x)
    }

    fn hollows(&self, layer: &YarnLayer) -> Hollows {
        let (width, height) = (self.scene.camera.width_px as usize, self.scene.camera.height_px as usize);
        let Some(surface) = self.surface else { return Hollows::none() };
        let fabric = surface.fabric;
        let scale = self.view.px_per_mm(fabric.centre_mm[0], fabric.centre_mm[1], 0.0);
        let near = (0.33 * fabric.stitch_mm() * scale).max(1.0) as usize;
        let wide = (1.3 * fabric.stitch_mm() * scale).max(2.0) as usize;
        Hollows {
            near: blurred(&layer.heights, width, height, near),
            wide: blurred(&layer.heights, width, height, wide),
            width,
            height,
            yarn_mm: surface.yarn_mm() as f32,
            step: [0, 1].map(|c| (f64::from(self.lamp.to[c]) * 0.8 * wide as f64) as isize),
        }
    }

    fn light(
        &self,
        field: &mut LightField,
        layer: &YarnLayer,
        hollows: &Hollows,
        colours: &[[f32; 3]],
        sample: [f64; 2],
        settled: &[bool],
    ) {
        for index in (0..field.pixels.len()).filter(|&index| !settled[index]) {
            let at = [index % field.width, index / field.width];
            let height = layer.heights[index];
            let near_ruler = self.near_ruler(at[0], at[1]);
            let sight = || self.view.sight(at[0] as f64 + sample[0], at[1] as f64 + sample[1]);
            let sight = (near_ruler || height <= 0.0).then(sight);
            let shadow = match &sight {
                Some(sight) if near_ruler => self.ruler_shadow(sight.at_height(f64::from(height)), f64::from(height)),
                _ => 1.0,
            };
            let mut colour = [0.0; 3];
            if height > 0.0 {
                colour = self.yarn(layer, hollows, colours, index, at, shadow);
            } else if let Some(sight) = &sight {
                colour = self.table(sight.at_height(0.0), hollows, index, at, shadow, 0.5);
            }
            if let (true, Some(sight)) = (near_ruler, &sight) {
                colour = self.ruler(colour, sight, height);
            }
            let pixel = &mut field.pixels[index];
            for c in 0..3 {
                pixel[c] += 0.25 * colour[c];
            }
        }
    }

    fn yarn(&self, layer: &YarnLayer, hollows: &Hollows, colours: &[[f32; 3]], index: usize, at: [usize; 2], shadow: f32) -> [f32; 3] {
        let look = layer.look(at[0], at[1]);
        let [nx, ny, nz] = look.normal;
        let lamp = &self.lamp;
        let facing = (nx * lamp.to[0] + ny * lamp.to[1] + nz * lamp.to[2]).max(0.0);
        let open = hollows.open(index, layer.heights[index]);
        let lit = hollows.lit(index, at, layer.heights[index]) * shadow;
        // Yarn scatters light inside: a quarter of it does not depend on the normal.
        let sum = lamp.ambient * open * (0.45 + 0.55 * nz) * (0.5 + 0.5 * shadow)
            + lamp.direct * lit * open.sqrt() * (0.25 * lamp.to[2] + 0.75 * facing);
        let gloss = self.surface.map_or(0.0, |s| s.fabric.yarn.gloss) as f32;
        let half = lamp.half;
        let bright = (nx * half[0] + ny * half[1] + nz * half[2]).max(0.0).powi(24);
        let shine = gloss * 0.35 * lit * lamp.direct * bright * look.tone;
        let base = colours.get(look.colour).copied().unwrap_or([0.5; 3]);
        base.map(|c| c * look.tone * sum + shine)
    }

    fn table(&self, place: [f64; 2], hollows: &Hollows, index: usize, at: [usize; 2], shadow: f32, size_px: f64) -> [f32; 3] {
        let soft = 2.0 * size_px * self.sample_mm(0.0);
        let ground = table::colour(&self.scene.table, place, soft, self.scene.seed as u32 ^ 0x7AB1);
        let lit = hollows.lit(index, at, 0.0) * shadow;
        let open = hollows.open(index, 0.0).max(0.25);
        let light = self.lamp.ambient * open * (0.5 + 0.5 * shadow) + self.lamp.direct * self.lamp.to[2] * lit;
        ground.map(|c| c * light)
    }

    /// Size of a sample on a plane of the scene, mm; half a pixel.
    fn sample_mm(&self, height: f64) -> f64 {
        let [x, y] = self.scene.camera.target_mm;
        0.5 / self.view.px_per_mm(x, y, height)
    }

    fn ruler(&self, below: [f32; 3], sight: &Sight, yarn_height: f32) -> [f32; 3] {
        let Some(face) = &self.face else { return below };
        let [under, top] = self.ruler_heights;
        if f64::from(yarn_height) > top {
            return below;
        }
        let place = face.place(sight.at_height(top));
        let outside = face.outside(place);
        let soft = self.sample_mm(top);
        if outside < 0.0 {
            let seen = face.at(place, soft);
            let lamp = self.lamp.ambient + self.lamp.direct * self.lamp.to[2];
            return [0, 1, 2].map(|c| below[c] * (1.0 - seen.cover) + seen.colour[c] * lamp * seen.cover);
        }
        // The side of the body, where the line of sight enters it below its face.
        let side = [0.5, 0.0].iter().any(|t| face.outside(face.place(sight.at_height(under + t * (top - under)))) < 0.0);
        if side {
            let seen = face.at([place[0], face.ruler.width_mm / 2.0], soft);
            return [0, 1, 2].map(|c| below[c] * (1.0 - seen.cover) + 0.55 * seen.colour[c] * seen.cover);
        }
        below
    }

    /// 1 in the open, less where the ruler keeps the lamp away.
    fn ruler_shadow(&self, place: [f64; 2], height: f64) -> f32 {
        let Some(face) = &self.face else { return 1.0 };
        let gap = self.ruler_heights[1] - height;
        if gap <= 0.0 || face.ruler.thickness_mm <= 0.0 {
            return 1.0;
        }
        let towards = [place[0] + self.lamp.reach[0] * gap, place[1] + self.lamp.reach[1] * gap];
        let outside = face.outside(face.place(towards));
        // Half-shadow about as wide as the gap is high.
        let dark = (0.5 - outside / (0.8 * gap + 0.2)).clamp(0.0, 1.0);
        let cover = if face.ruler.body == Body::Clear { 0.25 } else { 0.8 };
        1.0 - cover * dark as f32
    }

    fn reach_of_ruler(&self) -> [[usize; 2]; 2] {
        let Some(face) = &self.face else { return [[0, 0], [0, 0]] };
        let ruler = face.ruler;
        let (w, h) = (f64::from(self.scene.camera.width_px), f64::from(self.scene.camera.height_px));
        let mut spans = [[f64::MAX, f64::MIN]; 2];
        // Shadow and side reach a little beyond the body.
        let more = 4.0 * (ruler.thickness_mm + self.ruler_heights[1]) + 1.0;
        for k in 0..=40 {
            let u = -more + (ruler.length_mm + 2.0 * more) * f64::from(k) / 40.0;
            for v in [-more, ruler.width_mm + more] {
                let [x, y] = ruler.on_table(u, v);
                let Some(px) = self.view.project(x, y, self.ruler_heights[1]) else { continue };
                for c in 0..2 {
                    spans[c] = [spans[c][0].min(px[c]), spans[c][1].max(px[c])];
                }
            }
        }
        let cut = |[lo, hi]: [f64; 2], size: f64| [lo.clamp(0.0, size) as usize, hi.ceil().clamp(0.0, size) as usize];
        [cut(spans[0], w), cut(spans[1], h)]
    }
}

impl Lamp {
    fn new(scene: &Scene) -> Self {
        let light = &scene.light;
        let (sin_e, cos_e) = light.elevation_deg.to_radians().sin_cos();
        let (sin_a, cos_a) = light.azimuth_deg.to_radians().sin_cos();
        let (sin_r, cos_r) = scene.camera.roll_deg.to_radians().sin_cos();
        let flat = [cos_a * cos_r - sin_a * sin_r, cos_a * sin_r + sin_a * cos_r];
        let away = cos_e / sin_e;
        let to = [(flat[0] * cos_e) as f32, (flat[1] * cos_e) as f32, sin_e as f32];
        Self {
            to,
            half: half_vector(to),
            direct: ((1.0 - light.ambient) / sin_e) as f32,
            ambient: light.ambient as f32,
            reach: [cos_a * away, sin_a * away],
        }
    }
}

fn half_vector(to: [f32; 3]) -> [f32; 3] {
    let half = [to[0], to[1], to[2] + 1.0];
    let size = (half[0] * half[0] + half[1] * half[1] + half[2] * half[2]).sqrt();
    half.map(|v| v / size)
}

/// Where light does not reach: mean heights around every pixel.
struct Hollows {
    near: Vec<f32>,
    wide: Vec<f32>,
    width: usize,
    height: usize,
    yarn_mm: f32,
    /// Step towards the lamp, px.
    step: [isize; 2],
}

impl Hollows {
    fn none() -> Self {
        Self { near: Vec::new(), wide: Vec::new(), width: 0, height: 0, yarn_mm: 1.0, step: [0, 0] }
    }

    /// Share of the light from all around that reaches a height here: less the deeper it lies below its surroundings.
    fn open(&self, index: usize, height: f32) -> f32 {
        let Some(&near) = self.near.get(index) else { return 1.0 };
        let below = ((near - height) / self.yarn_mm).max(0.0);
        let wider = ((self.wide[index] - height) / self.yarn_mm).max(0.0);
        1.0 / (1.0 + 1.4 * below * below + 0.9 * below + 0.35 * wider)
    }

    /// Share of the lamp that reaches a height here past the surroundings towards the lamp.
    fn lit(&self, index: usize, [x, y]: [usize; 2], height: f32) -> f32 {
        if self.near.is_empty() {
            return 1.0;
        }
        let tx = (x as isize + self.step[0]).clamp(0, self.width as isize - 1) as usize;
        let ty = (y as isize + self.step[1]).clamp(0, self.height as isize - 1) as usize;
        let towards = self.wide[ty * self.width + tx].max(0.7 * self.near[index]);
        1.0 - (0.55 * (towards - height) / self.yarn_mm).clamp(0.0, 0.85)
    }
}

/// Whether no yarn is in a pixel or beside it.
fn bare(heights: &[f32], w: usize, h: usize, x: usize, y: usize) -> bool {
    let columns = x.saturating_sub(1)..(x + 2).min(w);
    (y.saturating_sub(1)..(y + 2).min(h)).all(|j| heights[j * w + columns.start..j * w + columns.end].iter().all(|&z| z <= 0.0))
}

/// Mean over a square of (2 radius + 1) px, taken twice.
fn blurred(values: &[f32], width: usize, height: usize, radius: usize) -> Vec<f32> {
    let mut result = values.to_vec();
    let mut line = Vec::new();
    for _ in 0..2 {
        for y in 0..height {
            running_mean(&mut result[y * width..(y + 1) * width], radius, &mut line);
        }
        running_mean_down(&mut result, width, height, radius);
    }
    result
}

fn running_mean(values: &mut [f32], radius: usize, line: &mut Vec<f32>) {
    line.clear();
    line.extend_from_slice(values);
    let last = line.len() - 1;
    let scale = 1.0 / (2 * radius + 1) as f32;
    let at = |i: isize| line[i.clamp(0, last as isize) as usize];
    let r = radius as isize;
    let mut sum: f32 = (-r..=r).map(at).sum();
    for (i, value) in values.iter_mut().enumerate() {
        *value = sum * scale;
        sum += at(i as isize + r + 1) - at(i as isize - r);
    }
}

fn running_mean_down(values: &mut [f32], width: usize, height: usize, radius: usize) {
    let source = values.to_vec();
    let scale = 1.0 / (2 * radius + 1) as f32;
    let r = radius as isize;
    let row = |j: isize| { let j = j.clamp(0, height as isize - 1) as usize; &source[j * width..(j + 1) * width] };
    let mut sums = vec![0.0_f32; width];
    for j in -r..=r {
        sums.iter_mut().zip(row(j)).for_each(|(sum, v)| *sum += v);
    }
    for j in 0..height {
        let line = &mut values[j * width..(j + 1) * width];
        line.iter_mut().zip(&sums).for_each(|(value, sum)| *value = sum * scale);
        let (enter, leave) = (row(j as isize + r + 1), row(j as isize - r));
        for x in 0..width {
            sums[x] += enter[x] - leave[x];
        }
    }
}
