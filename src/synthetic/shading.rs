//! Light on yarn, table and ruler: a lamp from one side, light from all around that hollows keep out, soft shadows.

use super::fabric_surface::FabricSurface;
use super::hollows::Hollows;
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
    /// The part of the photo that the ruler and its shadow can reach.
    ruler_reach: Reach,
    lamp: Lamp,
}

struct Lamp {
    /// Unit vectors to the lamp and up from the table: right, down, towards the camera.
    to: [f32; 3],
    up: [f32; 3],
    /// Sine of the lamp's elevation: its share on a flat surface.
    lift: f32,
    /// Strength of the lamp and of the light from all around; a flat white surface gets 1 in sum.
    direct: f32,
    ambient: f32,
    /// Horizontal way (mm on the table) towards the lamp for each mm of height.
    reach: [f64; 2],
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
            ruler_reach: Reach::NOWHERE,
            lamp: Lamp::new(scene, view),
        };
        stage.ruler_reach = stage.reach_of_ruler();
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
                let ruler = self.ruler_reach.holds(x, y);
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
        let lamp = self.lamp.ambient + self.lamp.direct * self.lamp.lift;
        Some(face.at(place, pixel).colour.map(|c| c * lamp))
    }

    fn hollows(&self, layer: &YarnLayer) -> Hollows {
        let (width, height) = (self.scene.camera.width_px as usize, self.scene.camera.height_px as usize);
        let Some(surface) = self.surface else { return Hollows::none() };
        let fabric = surface.fabric;
        let scale = self.view.px_per_mm(fabric.centre_mm[0], fabric.centre_mm[1], 0.0);
        let near = (0.33 * fabric.stitch_mm() * scale).max(1.0) as usize;
        let wide = (1.3 * fabric.stitch_mm() * scale).max(2.0) as usize;
        let step = [0, 1].map(|c| (f64::from(self.lamp.to[c]) * 0.8 * wide as f64) as isize);
        Hollows::new(&layer.heights, [width, height], [near, wide], surface.yarn_mm() as f32, step)
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
        let places = (0..field.height).flat_map(|y| (0..field.width).map(move |x| [x, y]));
        for (index, at) in places.enumerate().filter(|(index, _)| !settled[*index]) {
            let height = layer.heights[index];
            let near_ruler = self.ruler_reach.holds(at[0], at[1]);
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

    fn yarn(
        &self,
        layer: &YarnLayer,
        hollows: &Hollows,
        colours: &[[f32; 3]],
        index: usize,
        at: [usize; 2],
        shadow: f32,
    ) -> [f32; 3] {
        let look = layer.look(at[0], at[1]);
        let lamp = &self.lamp;
        let back = self.view.back(at);
        // The drawn normal is square to the line of sight, which is not square to the picture away from its middle.
        let [nx, ny, nz] = look.normal;
        let normal = unit([nx + nz * back[0], ny + nz * back[1], nz * back[2]]);
        let facing = dot(normal, lamp.to).max(0.0);
        let upward = dot(normal, lamp.up).max(0.0);
        let open = hollows.open(index, layer.heights[index]);
        let lit = hollows.lit(index, at, layer.heights[index]) * shadow;
        // Yarn scatters light inside: a quarter of it does not depend on the normal.
        let sum = lamp.ambient * open * (0.45 + 0.55 * upward) * (0.5 + 0.5 * shadow)
            + lamp.direct * lit * open.sqrt() * (0.25 * lamp.lift + 0.75 * facing);
        let gloss = self.surface.map_or(0.0, |s| s.fabric.yarn.gloss) as f32;
        let mut shine = 0.0;
        if gloss > 0.0 {
            let half = unit([0, 1, 2].map(|c| lamp.to[c] + back[c]));
            shine = gloss * 0.35 * lit * lamp.direct * dot(normal, half).max(0.0).powi(24) * look.tone;
        }
        let base = colours.get(look.colour).copied().unwrap_or([0.5; 3]);
        base.map(|c| c * look.tone * sum + shine)
    }

    fn table(
        &self,
        place: [f64; 2],
        hollows: &Hollows,
        index: usize,
        at: [usize; 2],
        shadow: f32,
        size_px: f64,
    ) -> [f32; 3] {
        let soft = 2.0 * size_px * self.sample_mm(0.0);
        let ground = table::colour(&self.scene.table, place, soft, self.scene.seed as u32 ^ 0x7AB1);
        let lit = hollows.lit(index, at, 0.0) * shadow;
        let open = hollows.open(index, 0.0).max(0.25);
        let light = self.lamp.ambient * open * (0.5 + 0.5 * shadow) + self.lamp.direct * self.lamp.lift * lit;
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
        if face.outside(place) < 0.0 {
            let seen = face.at(place, self.sample_mm(top));
            let lamp = self.lamp.ambient + self.lamp.direct * self.lamp.lift;
            return [0, 1, 2].map(|c| below[c] * (1.0 - seen.cover) + seen.colour[c] * lamp * seen.cover);
        }
        // The side of the body, where the line of sight enters it below its face.
        let side =
            [0.5, 0.0].iter().any(|t| face.outside(face.place(sight.at_height(under + t * (top - under)))) < 0.0);
        if side {
            let seen = face.body(place[0] as f32, face.ruler.width_mm as f32 / 2.0);
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

    fn reach_of_ruler(&self) -> Reach {
        let Some(face) = &self.face else { return Reach::NOWHERE };
        let ruler = face.ruler;
        // Shadow and side reach a little beyond the body.
        let more = 4.0 * (ruler.thickness_mm + self.ruler_heights[1]) + 1.0;
        let outline = (0..=40).flat_map(|k| {
            let u = -more + (ruler.length_mm + 2.0 * more) * f64::from(k) / 40.0;
            [-more, ruler.width_mm + more].map(|v| ruler.on_table(u, v))
        });
        let seen: Vec<[f64; 2]> = outline.filter_map(|[x, y]| self.view.project(x, y, self.ruler_heights[1])).collect();
        Reach::around(&seen)
    }
}

/// A strip of the photo.
struct Reach {
    through: [f64; 2],
    /// Unit vector along the strip.
    along: [f64; 2],
    /// Spans along and across, px.
    spans: [[f64; 2]; 2],
}

impl Reach {
    const NOWHERE: Self = Self { through: [0.0; 2], along: [1.0, 0.0], spans: [[1.0, 0.0]; 2] };

    /// The strip that holds all points, along the line from the first to the last.
    fn around(points: &[[f64; 2]]) -> Self {
        let (Some(first), Some(last)) = (points.first(), points.last()) else { return Self::NOWHERE };
        let d = [last[0] - first[0], last[1] - first[1]];
        let length = d[0].hypot(d[1]).max(1e-9);
        let mut reach = Self { through: *first, along: d.map(|v| v / length), ..Self::NOWHERE };
        let places: Vec<[f64; 2]> = points.iter().map(|p| reach.place(p[0], p[1])).collect();
        // Straight between the points: they lie close enough for two pixels to cover the lens.
        reach.spans = [0, 1].map(|c| {
            let low = places.iter().fold(f64::MAX, |low, p| low.min(p[c]));
            let high = places.iter().fold(f64::MIN, |high, p| high.max(p[c]));
            [low - 2.0, high + 2.0]
        });
        reach
    }

    fn place(&self, x: f64, y: f64) -> [f64; 2] {
        let d = [x - self.through[0], y - self.through[1]];
        [d[0] * self.along[0] + d[1] * self.along[1], d[1] * self.along[0] - d[0] * self.along[1]]
    }

    fn holds(&self, x: usize, y: usize) -> bool {
        let place = self.place(x as f64, y as f64);
        (0..2).all(|c| self.spans[c][0] <= place[c] && place[c] <= self.spans[c][1])
    }
}

impl Lamp {
    fn new(scene: &Scene, view: &View) -> Self {
        let light = &scene.light;
        let (sin_e, cos_e) = light.elevation_deg.to_radians().sin_cos();
        let (sin_a, cos_a) = light.azimuth_deg.to_radians().sin_cos();
        let away = cos_e / sin_e;
        Self {
            to: view.direction([cos_a * cos_e, sin_a * cos_e, sin_e]),
            up: view.direction([0.0, 0.0, 1.0]),
            lift: sin_e as f32,
            direct: ((1.0 - light.ambient) / sin_e) as f32,
            ambient: light.ambient as f32,
            reach: [cos_a * away, sin_a * away],
        }
    }
}

fn dot(a: [f32; 3], b: [f32; 3]) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn unit(v: [f32; 3]) -> [f32; 3] {
    let size = dot(v, v).sqrt().max(1e-6);
    v.map(|c| c / size)
}

/// Whether no yarn is in a pixel or beside it.
fn bare(heights: &[f32], w: usize, h: usize, x: usize, y: usize) -> bool {
    let columns = x.saturating_sub(1)..(x + 2).min(w);
    (y.saturating_sub(1)..(y + 2).min(h))
        .all(|j| heights[j * w + columns.start..j * w + columns.end].iter().all(|&z| z <= 0.0))
}
