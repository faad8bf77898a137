//! Where in the photo something is knitted: tiles whose spectrum has lines in two directions, and the sheets for reading
//! the lattice there.

use super::even_light::even_light;
use super::patch::Patch;
use super::spectrum::{Spectrum, TILE_PX};
use super::{Sheet, TwoColours, inside, sharpness};
use crate::photo::Photo;
use crate::plane::PlaneMap;
use crate::quantity::{PhotoPoint, PlanePoint};
use crate::refusal::{Refusal, RefusalCode};
use crate::side_by_side::{both, map_in_order};

/// A place where a texture repeats in two directions, with the pictures to read its lattice from.
#[derive(Debug, Clone)]
pub struct FabricSeed {
    /// Middle of the place.
    pub centre: PlanePoint,
    /// Side of the square seen by the sheets, in mm.
    pub size_mm: f64,
    /// How strongly the texture repeats in two directions: sum over its spectral lines of the logarithm of their power
    /// over the noise around, reduced where one direction dominates.
    pub score: f64,
    /// Geometric mean period of the strongest lines, in mm: about half a stitch to a whole repeat.
    pub period_mm: f64,
    /// Standard deviation of the logarithm of light about its local mean (over about 12 mm).
    pub contrast: f32,
    /// The same place in independent colour projections: luminance, the strongest colour direction of the local contrast,
    /// and a chroma direction square to the light.
    pub sheets: Vec<Sheet>,
}

impl FabricSeed {
    /// The pictures of another place of the same fabric: as large, as fine, in the same projections of colour.
    pub fn sheets_at(
        &self,
        photo: &Photo,
        map: &PlaneMap,
        centre: PlanePoint,
        excluded: &[Vec<PhotoPoint>],
    ) -> Vec<Sheet> {
        let Some(px_per_mm) = self.sheets.first().map(|s| s.px_per_mm) else { return Vec::new() };
        let patch = Patch::resample(photo, map, centre, (self.size_mm, self.size_mm), px_per_mm, excluded);
        let patch = in_one_colour(patch, centre, self.size_mm, self.period_mm);
        self.sheets.iter().map(|s| patch.sheet(s.weights, light_mm(self.period_mm))).collect()
    }
}

/// The patch without the difference of two yarns' colours, where it shows two.
fn in_one_colour(patch: Patch, centre: PlanePoint, size_mm: f64, period_mm: f64) -> Patch {
    match TwoColours::seen(&patch, centre, size_mm, DETAIL_PERIODS * period_mm) {
        Some(colours) => patch.in_one_colour(&colours),
        None => patch,
    }
}

/// Width over which light is evened for a texture of a mean period, in mm.
fn light_mm(period_mm: f64) -> f64 {
    (2.5 * period_mm).clamp(2.0, 16.0)
}

/// Pixels per mm of the finest tiles: a fine-gauge row (1.5 mm) still has 7 px.
const FINE_PX_PER_MM: f64 = 5.0;
/// Most pixels of the plane that are searched; larger views are searched at a coarser grid.
const SEARCH_LIMIT: f64 = 2.0e6;
/// Textures whose lines have a shorter mean period count less: half a stitch of fine-gauge hand knitting (30 stitches in
/// 10 cm); woven cloth and the speckle of a table lie below.
const LEAST_PERIOD_MM: f64 = 1.3;
/// Tiles side by side beyond which they do not overlap (bounded time).
const MANY_TILES: usize = 24;
/// Seeds handed on at most.
const MOST_SEEDS: usize = 5;
/// Seeds at most whose periods are within a fifth of each other.
const MOST_AS_FINE: usize = 3;
const AS_FINE: f64 = 0.2;
/// Least score of a seed: white noise and grained tables stay below, faint knitting lies above (measured on rendered
/// swatches and plain textures).
const LEAST_SCORE: f64 = 3.0;
/// Pixels of the sheets per dominant period: (2, 0) and (1, 1) lines of a stitch then leave 20 px a stitch.
const PX_PER_PERIOD: f64 = 10.0;
/// Periods over which the colour of the yarn is told: well under a stitch.
const DETAIL_PERIODS: f64 = 0.25;
/// Share of the best place's score from which on another may be a second swatch's.
const SECOND_SHARE: f64 = 0.3;
/// What a photo of unknown scale is taken to show on its longer side, mm: a swatch with a ruler beside it.
const SEARCH_LONGEST_MM: f64 = 250.0;
/// Smallest stitch that can be read, in photo pixels (measured: lattices are lost below about six).
const LEAST_STITCH_PX: f64 = 6.0;

/// Half-width of the neighbourhood over which the searched tiles are evenly lit, in mm: one stitch of chunky yarn.
const LIGHT_RADIUS_MM: f64 = 3.0;

/// What a search for fabric found.
#[derive(Debug)]
pub struct Search {
    /// Up to five places that may be knitted, the best first; not empty.
    pub seeds: Vec<FabricSeed>,
    /// All places that were looked at, the best first.
    tiles: Vec<Tile>,
}

impl Search {
    /// Up to two more places that may be knitted, wholly outside a region that was followed, the best first.
    pub fn beyond(
        &self,
        photo: &Photo,
        map: &PlaneMap,
        excluded: &[Vec<PhotoPoint>],
        followed: &[PhotoPoint],
    ) -> Vec<FabricSeed> {
        const MOST: usize = 2;
        let best = self.tiles.first().map_or(0.0, |t| t.score);
        // The middles and corners of a tile: fabric under its taper is fabric in its middle half.
        let outside = |t: &Tile| {
            (0..9).all(|k| {
                let off = |i: i32| f64::from(i - 1) * 0.3 * t.side_mm;
                map.to_photo(t.centre.moved(off(k % 3), off(k / 3))).is_some_and(|p| !inside(followed, p))
            })
        };
        let mut chosen: Vec<&Tile> = Vec::new();
        for t in self.tiles.iter().filter(|t| t.score >= LEAST_SCORE.max(SECOND_SHARE * best)) {
            if chosen.iter().all(|c| t.lies_apart(c)) && outside(t) {
                chosen.push(t);
                if chosen.len() == MOST {
                    break;
                }
            }
        }
        map_in_order(chosen, |t| seed(photo, map, t, excluded))
    }
}

/// Whether anything in the photo repeats in two directions as knitting does, whatever its scale: for photos whose scale is
/// not known. `None` for a photo that is empty.
pub fn repeats_somewhere(photo: &Photo) -> Option<bool> {
    // As many pixels as are searched with a known scale: then a stitch is as large in them as it is there.
    let longest = f64::from(photo.width().max(photo.height()));
    let mm_per_px = SEARCH_LONGEST_MM / longest;
    let map = PlaneMap::new(nalgebra::Matrix3::from_diagonal(&[mm_per_px, mm_per_px, 1.0].into()), None)?;
    let view = view(photo, &map, None)?;
    let (tiles, _) = searched(photo, &map, &view, &[]);
    Some(tiles.iter().any(|t| t.score >= LEAST_SCORE))
}

/// Finds places that may be knitted.
///
/// Refuses `too_small` where a stitch can hardly have six pixels, `glare` where most of the picture is blown out,
/// `out_of_focus` where no texture shows because the picture is blurred, and `not_knit` where no texture repeats in two
/// directions.
pub fn search(
    photo: &Photo,
    map: &PlaneMap,
    excluded: &[Vec<PhotoPoint>],
    region: Option<&[PhotoPoint]>,
) -> Result<Search, Refusal> {
    let nothing = |why: String| Refusal::new(RefusalCode::NotKnit, why);
    let view = view(photo, map, region).ok_or_else(|| nothing("the photo does not show the ruler's plane".into()))?;
    let (mut tiles, photo_scale) = searched(photo, map, &view, excluded);
    if let Some(polygon) = region {
        tiles.retain(|t| map.to_photo(t.centre).is_some_and(|p| inside(polygon, p)));
    }
    let best = tiles.first().map_or(0.0, |t| t.score);
    if best < LEAST_SCORE && region.is_none() || best <= 0.0 {
        return Err(sharpness::why_nothing(photo, photo_scale, best));
    }
    if let Some(t) = tiles.first().filter(|t| t.period_mm * photo_scale * 2.0 < LEAST_STITCH_PX) {
        let seen =
            format!("a stitch has about {:.1} px, {LEAST_STITCH_PX} are needed", 1.5 * t.period_mm * photo_scale);
        return Err(Refusal::new(RefusalCode::TooSmall, seen));
    }
    let seeds = map_in_order(choose(&tiles, best), |t| seed(photo, map, t, excluded));
    Ok(Search { seeds, tiles })
}

/// Scores the tiles of a view at three scales, the best first; and the photo's scale in the middle, px per mm.
fn searched(photo: &Photo, map: &PlaneMap, view: &View, excluded: &[Vec<PhotoPoint>]) -> (Vec<Tile>, f64) {
    let photo_scale = map.px_per_mm(view.centre).unwrap_or(1.0);
    let fine = (SEARCH_LIMIT / (view.size.0 * view.size.1)).sqrt().min(FINE_PX_PER_MM).min(photo_scale * 1.2);
    let patch = Patch::resample(photo, map, view.centre, view.size, fine, excluded);
    let coarser = || {
        let half = patch.halved();
        let quarter = half.as_ref().and_then(Patch::halved);
        [half, quarter].iter().flatten().flat_map(score_tiles).collect::<Vec<Tile>>()
    };
    let (mut tiles, coarser) = both(|| score_tiles(&patch), coarser);
    tiles.extend(coarser);
    tiles.sort_by(|a, b| b.score.total_cmp(&a.score));
    (tiles, photo_scale)
}

/// The best places of each texture: two of the best, one of every other; no more than three whose lines are equally fine,
/// since a table cloth looks different from place to place and would take them all.
fn choose(tiles: &[Tile], best: f64) -> Vec<&Tile> {
    let mut chosen: Vec<&Tile> = Vec::new();
    for t in tiles.iter().filter(|t| t.score >= LEAST_SCORE.min(best).max(0.2 * best)) {
        let alike = chosen.iter().filter(|c| t.resembles(c)).count();
        let as_fine = chosen.iter().filter(|c| (t.period_mm / c.period_mm).ln().abs() < AS_FINE).count();
        let apart = chosen.iter().all(|c| t.lies_apart(c));
        let room = if chosen.first().is_some_and(|c| t.resembles(c)) { 2 } else { 1 };
        if chosen.len() < MOST_SEEDS && alike < room && as_fine < MOST_AS_FINE && apart {
            chosen.push(t);
        }
    }
    chosen
}

/// The sheets of one chosen place.
fn seed(photo: &Photo, map: &PlaneMap, tile: &Tile, excluded: &[Vec<PhotoPoint>]) -> FabricSeed {
    // 24 dominant periods are about 12 stitches; never less than 20 mm nor more than 90 (chunky yarn).
    let size_mm = (24.0 * tile.period_mm).clamp(20.0, 90.0);
    let photo_scale = map.px_per_mm(tile.centre).unwrap_or(1.0);
    let px_per_mm = (PX_PER_PERIOD / tile.period_mm).min(1.25 * photo_scale);
    let patch = Patch::resample(photo, map, tile.centre, (size_mm, size_mm), px_per_mm, excluded);
    let sheets = in_one_colour(patch, tile.centre, size_mm, tile.period_mm).sheets(light_mm(tile.period_mm));
    FabricSeed {
        centre: tile.centre,
        size_mm,
        score: tile.score,
        period_mm: tile.period_mm,
        contrast: tile.contrast,
        sheets,
    }
}

/// One searched square.
#[derive(Debug, Clone)]
struct Tile {
    centre: PlanePoint,
    side_mm: f64,
    score: f64,
    period_mm: f64,
    contrast: f32,
    /// Frequencies in cycles per mm along x and y, and strengths.
    lines: Vec<[f64; 3]>,
}

impl Tile {
    /// Whether it shows another place than the other. Middles lie half of the smaller side apart, or a multiple of that by
    /// rows and columns: the limit lies between neighbours, which share half of what they show (0.5), and diagonal ones
    /// (0.71), so that no last digit decides.
    fn lies_apart(&self, other: &Self) -> bool {
        const SIDES: f64 = 0.6;
        self.centre.distance(other.centre) > SIDES * self.side_mm.min(other.side_mm)
    }

    /// Whether most of the weaker tile's lines are lines of the other: the same texture, lying the same way.
    fn resembles(&self, other: &Tile) -> bool {
        let near = 2.0 / self.side_mm.min(other.side_mm);
        let shared = |l: &&[f64; 3]| {
            let same =
                |m: &[f64; 3]| (l[0] - m[0]).hypot(l[1] - m[1]) < near || (l[0] + m[0]).hypot(l[1] + m[1]) < near;
            other.lines.iter().any(same)
        };
        let total: f64 = self.lines.iter().map(|l| l[2]).sum();
        self.lines.iter().filter(shared).map(|l| l[2]).sum::<f64>() > 0.5 * total
    }
}

/// Scores half-overlapping squares of the patch.
fn score_tiles(patch: &Patch) -> Vec<Tile> {
    let light = patch.each(|v| v.iter().sum::<f32>() / 3.0);
    let radius = (LIGHT_RADIUS_MM * patch.px_per_mm) as usize;
    let (grey, contrast) = even_light(&light, &patch.valid, patch.width, patch.height, radius);
    let (grey, valid) = (&grey[..], &patch.valid[..]);
    let spectrum = Spectrum::new();
    let half = TILE_PX / 2;
    let side_mm = TILE_PX as f64 / patch.px_per_mm;
    // Half-overlapping, unless they are many: then the coarser tiles overlap enough.
    let many = patch.width * patch.height > MANY_TILES * TILE_PX * TILE_PX;
    let stride = if many { TILE_PX } else { half };
    let starts = |n: usize| (0..).map(move |k| k * stride).take_while(move |s| s + half < n);
    let in_row = |y: usize| {
        let (mut spectrum, mut tiles) = (spectrum.clone(), Vec::new());
        for x in starts(patch.width) {
            let seen = spectrum.load(grey, valid, patch.width, patch.height, (x, y));
            if seen < 0.5 {
                continue;
            }
            let texture = spectrum.texture();
            let period_mm = texture.period_px / patch.px_per_mm;
            let score = texture.score * (period_mm / LEAST_PERIOD_MM).powi(2).min(1.0);
            let per_mm = |v: f64| v / side_mm;
            let lines = texture.lines.iter().map(|l| [per_mm(l.x), per_mm(l.y), l.strength]).collect();
            let mid = |v: usize| (v + half) as f64 / patch.px_per_mm;
            let centre = patch.origin.moved(mid(x), mid(y));
            let at = |v: usize, limit: usize| (v + half).min(limit - 1);
            let contrast = contrast[at(y, patch.height) * patch.width + at(x, patch.width)];
            tiles.push(Tile { centre, side_mm, score, period_mm, contrast, lines });
        }
        tiles
    };
    map_in_order(starts(patch.height), in_row).concat()
}

/// The part of the plane that the photo shows.
struct View {
    centre: PlanePoint,
    size: (f64, f64),
}

/// Bounding box in the plane of the frame or region, without the far distance of a very oblique view: places whose scale
/// is under a quarter of the frame centre's are left out.
fn view(photo: &Photo, map: &PlaneMap, region: Option<&[PhotoPoint]>) -> Option<View> {
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    let whole = [PhotoPoint::new(0.0, 0.0), PhotoPoint::new(w, h)];
    let frame = region.filter(|r| r.len() > 2).unwrap_or(&whole);
    let range = |f: fn(&PhotoPoint) -> f64, limit: f64| {
        let lo = frame.iter().map(f).fold(f64::INFINITY, f64::min).clamp(0.0, limit);
        (lo, frame.iter().map(f).fold(f64::NEG_INFINITY, f64::max).clamp(0.0, limit))
    };
    let ((x0, x1), (y0, y1)) = (range(|p| p.x, w), range(|p| p.y, h));
    let middle = map.to_plane(PhotoPoint::new((x0 + x1) / 2.0, (y0 + y1) / 2.0))?;
    let least = 0.25 * map.px_per_mm(middle)?;
    let mut b = [middle.x, middle.y, middle.x, middle.y];
    const SIDE: usize = 9;
    for k in 0..SIDE * SIDE {
        let part = |i: usize| i as f64 / (SIDE - 1) as f64;
        let at = PhotoPoint::new(x0 + (x1 - x0) * part(k % SIDE), y0 + (y1 - y0) * part(k / SIDE));
        let Some(p) = map.to_plane(at) else { continue };
        if map.px_per_mm(p).is_some_and(|s| s >= least) {
            b = [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)];
        }
    }
    let size = (b[2] - b[0], b[3] - b[1]);
    (size.0 > 1.0 && size.1 > 1.0 && size.0.is_finite() && size.1.is_finite())
        .then(|| View { centre: PlanePoint::new((b[0] + b[2]) / 2.0, (b[1] + b[3]) / 2.0), size })
}

impl Patch {
    /// The patch at half its resolution; `None` where it is too small for that.
    fn halved(&self) -> Option<Self> {
        let (width, height) = (self.width / 2, self.height / 2);
        if width < TILE_PX / 2 || height < TILE_PX / 2 {
            return None;
        }
        let (mut log_rgb, mut valid) = (Vec::with_capacity(width * height), Vec::with_capacity(width * height));
        for i in 0..width * height {
            let at = 2 * (i / width) * self.width + 2 * (i % width);
            let four = [at, at + 1, at + self.width, at + self.width + 1];
            let seen: f32 = four.iter().map(|&k| self.valid[k]).sum();
            valid.push(if seen >= 4.0 { 1.0 } else { 0.0 });
            log_rgb.push(std::array::from_fn(|c| four.iter().map(|&k| self.log_rgb[k][c]).sum::<f32>() / 4.0));
        }
        Some(Self { origin: self.origin, px_per_mm: self.px_per_mm / 2.0, width, height, log_rgb, valid })
    }
}
