//! The photo with what was seen drawn on it, for a person's eye: a count can be checked by looking, and a wrong one shows.

mod blank;
mod canvas;
mod caption;
mod lattice;
mod ruler;

use crate::quantity::PhotoPoint;
use crate::record::{Evidence, Record};
pub(super) use blank::blanked;
use canvas::{Canvas, Place};
use image::RgbImage;

/// Smallest distance of neighbouring stitches or rows, in px, at which dots and lines leave something of the stitches to
/// be seen (tried on photos with 11 to 200 px a row).
const CLEAR_PITCH_PX: f64 = 24.0;
/// Pictures are not enlarged beyond this, in pixels: a stated choice, to keep memory and files small.
const LARGEST_ENLARGED_PX: f64 = 24e6;

/// The photo with the ruler's marks, the region, the lattice and the loops drawn on it as they were seen, and the result
/// or the reason of the refusal in a bar added below. Where the stitches are very small, the part of the photo that holds
/// swatch and ruler is enlarged.
pub fn draw(record: &Record, evidence: &Evidence, photo: RgbImage) -> RgbImage {
    let photo = blanked(photo, &evidence.blanked_px);
    let (photo, mut pen) = framed(evidence, photo);
    let longer = f64::from(photo.width().max(photo.height()));
    // An ordinary line is a pixel for each 1100 of the longer side, so that lines and words look alike in pictures of
    // any size (a stated choice).
    pen.px = (longer / 1100.0).max(0.8);
    let mut canvas = Canvas::new(photo);
    lattice::draw(&mut canvas, evidence, pen);
    ruler::draw(&mut canvas, &evidence.trains, &pen.places(&evidence.ruler_outline_px), pen);
    ruler::draw_places(&mut canvas, &pen.places(&evidence.places_px), pen);
    caption::add_below(canvas.into_picture(), record, evidence, pen.px)
}

/// How wide lines are, and where on the canvas the photo lies.
#[derive(Debug, Clone, Copy)]
struct Pen {
    /// Width of an ordinary line, in px of the canvas.
    px: f64,
    /// Canvas px for one px of the photo.
    zoom: f64,
    /// Photo point at the canvas's upper left corner.
    corner: PhotoPoint,
}

impl Pen {
    /// A pen for the whole photo as it is.
    const PLAIN: Self = Self { px: 1.0, zoom: 1.0, corner: PhotoPoint::new(0.0, 0.0) };

    fn place(self, p: PhotoPoint) -> Place {
        ((p.x - self.corner.x) * self.zoom, (p.y - self.corner.y) * self.zoom)
    }

    fn places(self, points: &[PhotoPoint]) -> Vec<Place> {
        points.iter().map(|&p| self.place(p)).collect()
    }
}

/// The photo to draw on: as it is, or its part with swatch and ruler a whole number of times enlarged, so that the
/// stitches can be told apart under the marks.
fn framed(evidence: &Evidence, photo: RgbImage) -> (RgbImage, Pen) {
    let wanted = lattice::pitch_px(evidence).map_or(1.0, |pitch| (CLEAR_PITCH_PX / pitch).ceil());
    if wanted <= 1.0 {
        return (photo, Pen::PLAIN);
    }
    let (left, top, w, h) = subject(evidence, &photo);
    let possible = (LARGEST_ENLARGED_PX / (f64::from(w) * f64::from(h)).max(1.0)).sqrt().floor();
    // Casts saturate, so that what is no number becomes 1.
    let times = (wanted.min(possible).min(4.0) as u32).max(1);
    if times == 1 {
        return (photo, Pen::PLAIN);
    }
    let part = image::imageops::crop_imm(&photo, left, top, w, h).to_image();
    let part = image::imageops::resize(&part, w * times, h * times, image::imageops::FilterType::CatmullRom);
    let corner = PhotoPoint::new(f64::from(left), f64::from(top));
    (part, Pen { zoom: f64::from(times), corner, ..Pen::PLAIN })
}

/// Left, top, width and height of the part of the photo that holds the region and the ruler, with room for words.
fn subject(evidence: &Evidence, photo: &RgbImage) -> (u32, u32, u32, u32) {
    let marks = evidence.trains.iter().flat_map(|t| t.marks.iter().map(|m| m.mark.at));
    let points = || marks.clone().chain(evidence.region_px.iter().chain(&evidence.places_px).copied());
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    let within = |values: &mut dyn Iterator<Item = f64>, extent: f64| {
        let (low, high) = values.fold((extent, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
        let room = 0.08 * (high - low).max(0.0) + 40.0;
        ((low - room).clamp(0.0, extent).floor(), (high + room).clamp(0.0, extent).ceil())
    };
    let (left, right) = within(&mut points().map(|p| p.x), w);
    let (top, bottom) = within(&mut points().map(|p| p.y), h);
    (left as u32, top as u32, (right - left).max(1.0) as u32, (bottom - top).max(1.0) as u32)
}
