//! The photo with what was seen drawn on it, for a person's eye: a count can be checked by looking, and a wrong one shows.

mod canvas;
mod caption;
mod lattice;
mod ruler;

use crate::quantity::PhotoPoint;
use crate::record::{Evidence, Record};
use canvas::{Canvas, Place};
use image::RgbImage;

/// Smallest distance of neighbouring stitches or rows, in px, at which dots and lines leave something of the stitches to
/// be seen (tried on photos with 11 to 200 px a row).
const CLEAR_PITCH_PX: f64 = 24.0;
/// Pictures are not enlarged beyond this, in pixels: a stated choice, to keep memory and files small.
const LARGEST_ENLARGED_PX: f64 = 30e6;

/// The photo with the ruler's marks, the region, the lattice and the loops drawn on it as they were seen, and the result
/// or the reason of the refusal in a bar added below. A photo with very small stitches is enlarged.
pub fn draw(record: &Record, evidence: &Evidence, photo: RgbImage) -> RgbImage {
    let zoom = enlargement(evidence, &photo);
    let photo = enlarged(photo, zoom);
    let longer = f64::from(photo.width().max(photo.height()));
    // An ordinary line is a pixel for each 1100 of the longer side, so that lines and words look alike in pictures of
    // any size (a stated choice).
    let pen = Pen { px: (longer / 1100.0).max(0.8), zoom: f64::from(zoom) };
    let mut canvas = Canvas::new(photo);
    lattice::draw(&mut canvas, evidence, pen);
    ruler::draw(&mut canvas, &evidence.trains, &pen.places(&evidence.ruler_outline_px), pen);
    caption::add_below(canvas.into_picture(), record, evidence, pen.px)
}

/// How wide lines are, and how much the photo was enlarged.
#[derive(Debug, Clone, Copy)]
struct Pen {
    /// Width of an ordinary line, in px of the canvas.
    px: f64,
    /// Canvas px for one px of the photo.
    zoom: f64,
}

impl Pen {
    fn place(self, p: PhotoPoint) -> Place {
        (p.x * self.zoom, p.y * self.zoom)
    }

    fn places(self, points: &[PhotoPoint]) -> Vec<Place> {
        points.iter().map(|&p| self.place(p)).collect()
    }
}

/// Whole number of times to enlarge the photo so that the stitches can be told apart under the marks.
fn enlargement(evidence: &Evidence, photo: &RgbImage) -> u32 {
    let Some(pitch_px) = lattice::pitch_px(evidence) else { return 1 };
    let wanted = (CLEAR_PITCH_PX / pitch_px).ceil();
    let pixels = f64::from(photo.width()) * f64::from(photo.height());
    let possible = (LARGEST_ENLARGED_PX / pixels.max(1.0)).sqrt().floor();
    // Casts saturate, so that what is no number becomes 1.
    (wanted.min(possible).min(4.0) as u32).max(1)
}

fn enlarged(photo: RgbImage, times: u32) -> RgbImage {
    if times == 1 {
        return photo;
    }
    let (w, h) = (photo.width() * times, photo.height() * times);
    image::imageops::resize(&photo, w, h, image::imageops::FilterType::CatmullRom)
}
