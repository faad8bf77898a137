//! The photo with what was seen drawn on it, for a person's eye: a count can be checked by looking, and a wrong one shows.

mod canvas;
mod caption;
mod lattice;
mod ruler;

use crate::quantity::PhotoPoint;
use crate::record::{Evidence, Record};
use canvas::{Canvas, Place};
use image::RgbImage;

/// The photo with the ruler's marks, the region, the lattice and the loops drawn on it as they were seen, and the result
/// or the reason of the refusal in a bar added below.
pub fn draw(record: &Record, evidence: &Evidence, photo: RgbImage) -> RgbImage {
    let pen = pen_px(&photo);
    let mut canvas = Canvas::new(photo);
    lattice::draw(&mut canvas, evidence, pen);
    let outline: Vec<Place> = evidence.ruler_outline_px.iter().map(|&p| place(p)).collect();
    ruler::draw(&mut canvas, &evidence.trains, &outline, pen);
    caption::add_below(canvas.into_picture(), record, evidence, pen)
}

/// Width of an ordinary line: a pixel for each 1100 of the longer side, so that lines and words look alike in pictures
/// of any size (a stated choice).
fn pen_px(photo: &RgbImage) -> f64 {
    (f64::from(photo.width().max(photo.height())) / 1100.0).max(0.8)
}

fn place(p: PhotoPoint) -> Place {
    (p.x, p.y)
}
