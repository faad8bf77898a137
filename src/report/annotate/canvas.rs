//! Marks on a picture: smooth lines, discs and words, each with a casing of the opposite lightness so that it shows on
//! dark and on light yarn alike.

use ab_glyph::{Font, FontRef, ScaleFont, point};
use image::{GrayImage, Rgb, RgbImage};

/// Colours that people with any colour vision tell apart (Okabe and Ito 2008), with white and near-black as casings.
pub mod colour {
    use image::Rgb;
    pub const WHITE: Rgb<u8> = Rgb([255, 255, 255]);
    pub const BLACK: Rgb<u8> = Rgb([20, 20, 20]);
    pub const SKY: Rgb<u8> = Rgb([86, 180, 233]);
    pub const BLUE: Rgb<u8> = Rgb([0, 114, 178]);
    pub const VERMILION: Rgb<u8> = Rgb([213, 94, 0]);
    pub const YELLOW: Rgb<u8> = Rgb([240, 228, 66]);
}

/// A place on the canvas, px from its upper left corner.
pub type Place = (f64, f64);

/// One mark. All marks of one layer are drawn in one colour and merge where they touch.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A straight line with round ends.
    Line { from: Place, to: Place, width: f64 },
    /// A filled circle.
    Disc { centre: Place, radius: f64 },
    /// Words on one line, their middle at `centre`, `size` px high.
    Words { centre: Place, size: f64, text: String },
}

impl Mark {
    /// An oblique cross whose arms reach `radius` from the centre.
    pub fn cross(centre: Place, radius: f64, width: f64) -> [Self; 2] {
        let r = radius * std::f64::consts::FRAC_1_SQRT_2;
        let line = |dx: f64, dy: f64| Self::Line {
            from: (centre.0 - dx, centre.1 - dy),
            to: (centre.0 + dx, centre.1 + dy),
            width,
        };
        [line(r, r), line(r, -r)]
    }

    /// A path of straight pieces.
    pub fn path(points: &[Place], width: f64) -> impl Iterator<Item = Self> + '_ {
        points.windows(2).map(move |p| Self::Line { from: p[0], to: p[1], width })
    }
}

/// A picture that marks are drawn on.
pub struct Canvas {
    picture: RgbImage,
    mask: GrayImage,
}

impl Canvas {
    /// A canvas over `picture`.
    pub fn new(picture: RgbImage) -> Self {
        let mask = GrayImage::new(picture.width(), picture.height());
        Self { picture, mask }
    }

    /// The picture with everything drawn on it.
    pub fn into_picture(self) -> RgbImage {
        self.picture
    }

    /// Width and height, in px.
    pub fn size(&self) -> (f64, f64) {
        (f64::from(self.picture.width()), f64::from(self.picture.height()))
    }

    /// Draws a layer of marks in `ink`, first widened all round by `casing` px in the casing's colour.
    pub fn layer(&mut self, marks: &[Mark], ink: Rgb<u8>, casing: (Rgb<u8>, f64), opacity: f64) {
        self.pass(marks, casing.1, casing.0, opacity);
        self.pass(marks, 0.0, ink, opacity);
    }

    /// Draws all marks, widened by `grow` px, in one colour.
    fn pass(&mut self, marks: &[Mark], grow: f64, ink: Rgb<u8>, opacity: f64) {
        let mut touched = Touched::default();
        for mark in marks {
            touched.add(self.cover(mark, grow));
        }
        self.ink_mask(&touched, ink, opacity);
    }

    fn cover(&mut self, mark: &Mark, grow: f64) -> Touched {
        match mark {
            Mark::Line { from, to, width } => self.cover_segment(*from, *to, width / 2.0 + grow),
            Mark::Disc { centre, radius } => self.cover_segment(*centre, *centre, radius + grow),
            Mark::Words { centre, size, text } => self.cover_words(*centre, *size, text, grow),
        }
    }

    /// Raises the mask to the coverage of all that lies within `half` px of the segment.
    fn cover_segment(&mut self, a: Place, b: Place, half: f64) -> Touched {
        let reach = half + 1.0;
        let area = self.clip(a.0.min(b.0) - reach, a.1.min(b.1) - reach, a.0.max(b.0) + reach, a.1.max(b.1) + reach);
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let length2 = (dx * dx + dy * dy).max(1e-12);
        for y in area.top..area.bottom {
            for x in area.left..area.right {
                let (px, py) = (f64::from(x) + 0.5 - a.0, f64::from(y) + 0.5 - a.1);
                let t = ((px * dx + py * dy) / length2).clamp(0.0, 1.0);
                let distance = (px - t * dx).hypot(py - t * dy);
                self.raise(x, y, half + 0.5 - distance);
            }
        }
        area
    }

    fn cover_words(&mut self, centre: Place, size: f64, text: &str, grow: f64) -> Touched {
        /// Directions in which letters are moved to widen them.
        const DIRECTIONS: u32 = 12;
        let Some(font) = font() else { return Touched::default() };
        let font = font.as_scaled(size as f32);
        let (width, _) = words_size(text, size);
        let left = centre.0 - width / 2.0;
        let base = centre.1 + f64::from(font.ascent() + font.descent()) / 2.0;
        let shifts: Vec<(f64, f64)> = if grow > 0.0 {
            let angle = |i| f64::from(i) * std::f64::consts::TAU / f64::from(DIRECTIONS);
            (0..DIRECTIONS).map(|i| (grow * angle(i).cos(), grow * angle(i).sin())).collect()
        } else {
            vec![(0.0, 0.0)]
        };
        let mut touched = Touched::default();
        for (dx, dy) in shifts {
            let mut pen = left + dx;
            for c in text.chars() {
                let id = font.glyph_id(c);
                let glyph = id.with_scale_and_position(size as f32, point(pen as f32, (base + dy) as f32));
                pen += f64::from(font.h_advance(id));
                let Some(outline) = font.outline_glyph(glyph) else { continue };
                let box_ = outline.px_bounds();
                let (x0, y0) = (f64::from(box_.min.x), f64::from(box_.min.y));
                touched.add(self.clip(x0, y0, f64::from(box_.max.x), f64::from(box_.max.y)));
                outline.draw(|x, y, coverage| {
                    let (x, y) = (x0 as i64 + i64::from(x), y0 as i64 + i64::from(y));
                    if let (Ok(x), Ok(y)) = (u32::try_from(x), u32::try_from(y)) {
                        self.raise(x, y, f64::from(coverage));
                    }
                });
            }
        }
        touched
    }

    fn raise(&mut self, x: u32, y: u32, coverage: f64) {
        if let Some(pixel) = self.mask.get_pixel_mut_checked(x, y) {
            pixel.0[0] = pixel.0[0].max((coverage.clamp(0.0, 1.0) * 255.0).round() as u8);
        }
    }

    /// Blends the ink where the mask is set, and clears the mask.
    fn ink_mask(&mut self, area: &Touched, ink: Rgb<u8>, opacity: f64) {
        for y in area.top..area.bottom {
            for x in area.left..area.right {
                let mask = &mut self.mask.get_pixel_mut(x, y).0[0];
                if *mask > 0 {
                    let weight = f64::from(*mask) / 255.0 * opacity;
                    *mask = 0;
                    for (old, new) in self.picture.get_pixel_mut(x, y).0.iter_mut().zip(ink.0) {
                        *old = (f64::from(*old) * (1.0 - weight) + f64::from(new) * weight).round() as u8;
                    }
                }
            }
        }
    }

    fn clip(&self, left: f64, top: f64, right: f64, bottom: f64) -> Touched {
        let (w, h) = self.size();
        // Casts saturate, so that what is no number becomes an empty area at the corner.
        Touched {
            left: left.floor().clamp(0.0, w) as u32,
            top: top.floor().clamp(0.0, h) as u32,
            right: right.ceil().clamp(0.0, w) as u32,
            bottom: bottom.ceil().clamp(0.0, h) as u32,
        }
    }
}

/// The part of the canvas that a layer touched; empty when right ≤ left.
#[derive(Debug, Clone, Copy, Default)]
struct Touched {
    left: u32,
    top: u32,
    right: u32,
    bottom: u32,
}

impl Touched {
    fn add(&mut self, other: Self) {
        if other.right <= other.left || other.bottom <= other.top {
            return;
        }
        if self.right <= self.left {
            *self = other;
            return;
        }
        self.left = self.left.min(other.left);
        self.top = self.top.min(other.top);
        self.right = self.right.max(other.right);
        self.bottom = self.bottom.max(other.bottom);
    }
}

/// Width and height of one line of words `size` px high.
pub fn words_size(text: &str, size: f64) -> (f64, f64) {
    let Some(font) = font() else { return (0.0, size) };
    let font = font.as_scaled(size as f32);
    let width = text.chars().map(|c| f64::from(font.h_advance(font.glyph_id(c)))).sum();
    (width, f64::from(font.height()))
}

fn font() -> Option<FontRef<'static>> {
    FontRef::try_from_slice(epaint_default_fonts::HACK_REGULAR).ok()
}
