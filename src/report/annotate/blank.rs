//! Parts of a photo that no picture may show.

use crate::quantity::PhotoPoint;
use image::{Rgb, RgbImage};

/// What is put in their place: middle grey.
const BLANK: Rgb<u8> = Rgb([128, 128, 128]);

/// The photo with the polygon filled flat; as it is for fewer than three corners. A pixel that the polygon touches at all
/// is filled.
pub fn blanked(mut photo: RgbImage, polygon: &[PhotoPoint]) -> RgbImage {
    if polygon.len() < 3 {
        return photo;
    }
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    for y in 0..photo.height() {
        // The polygon's extent in a band one pixel above and below the row, one pixel wider.
        let (top, bottom) = (f64::from(y) - 1.0, f64::from(y) + 2.0);
        let mut crossed: Vec<f64> = Vec::new();
        for (k, a) in polygon.iter().enumerate() {
            let b = polygon[(k + 1) % polygon.len()];
            crossed.extend(clip(*a, b, top, bottom).into_iter().flatten());
        }
        let (low, high) = crossed.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        if low > high || bottom < 0.0 || top > h {
            continue;
        }
        let (left, right) = ((low - 1.0).clamp(0.0, w) as u32, (high + 1.0).clamp(0.0, w).ceil() as u32);
        (left..right).for_each(|x| photo.put_pixel(x, y, BLANK));
    }
    photo
}

/// Ends of the part of an edge that lies in a band of rows: their x.
fn clip(a: PhotoPoint, b: PhotoPoint, top: f64, bottom: f64) -> Option<[f64; 2]> {
    let (upper, lower) = if a.y <= b.y { (a, b) } else { (b, a) };
    if lower.y < top || upper.y > bottom {
        return None;
    }
    let at = |y: f64| {
        let span = lower.y - upper.y;
        if span > 0.0 { upper.x + (lower.x - upper.x) * ((y - upper.y) / span).clamp(0.0, 1.0) } else { upper.x }
    };
    let ends = if lower.y > upper.y { [at(top), at(bottom)] } else { [upper.x, lower.x] };
    Some(ends)
}
