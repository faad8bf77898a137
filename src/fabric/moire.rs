//! Moiré: whether a photo was taken of a screen, by the colours of the beats between screen and sensor.

use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use crate::side_by_side::map_in_order;
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::TAU;
use std::sync::Arc;

/// Side of a tile in pixels: beats from 3 to 40 px stand up in it.
const TILE: usize = 128;
/// Most tiles along each side of the picture; they do not overlap.
const ACROSS: usize = 7;
/// Fewest tiles that tell: two by four.
const FEWEST: usize = 8;
/// Lines this near to zero frequency are shading, in cycles per tile.
const SLOWEST: f32 = 3.0;
/// Lines finer than this are the camera's own, in cycles per tile: a sensor sees one colour at every second pixel, and files keep
/// colour for two pixels at once, so that bands of colour are three pixels wide at least.
const FASTEST: f32 = TILE as f32 / 3.0;
/// Power of a line over the median of its ring that counts (drawn screens have 500 and more; exponential noise passes 15
/// in one tile of ten).
const LINE: f32 = 60.0;
/// How much stronger a line must be in one sense of turning through the hues than in the other, as a share of both.
const TURNS: f32 = 0.5;
/// Frequencies of one grid differ by no more than this over a picture, in cycles per tile (lens and tilt change the scale
/// of a grid by some per cent, and with it a beat by so many cycles).
const ALIKE: f64 = 8.0;
/// Share of the tiles that must show the same grid. Drawn screens show it in more than half of them; swatches and tables,
/// rendered and real, in less than a fifth (measured).
const SHARE: f64 = 0.45;
/// A tile with more blown-out pixels than this tells nothing.
const BLOWN: f32 = 0.3;

/// Whether coloured beats cover the picture, as in photos of a screen: `moire`.
///
/// A screen's red, green and blue stand side by side, so red, green and blue beat with the sensor one after the other:
/// along such a beat the colour runs through all hues, always in the same sense. What is dyed, however regular, goes from
/// one colour to another and back. With colour as a complex number the first is a line of the spectrum at one of two
/// opposite frequencies, the second at both. And the beats do not stop at the swatch's edge.
pub fn moire(photo: &Photo) -> Option<Refusal> {
    let (w, h) = (photo.width() as usize, photo.height() as usize);
    let (across, down) = ((w / TILE).min(ACROSS), (h / TILE).min(ACROSS));
    if across * down < FEWEST {
        return None;
    }
    let start = |k: usize, n: usize, size: usize| if n > 1 { (size - TILE) * k / (n - 1) } else { (size - TILE) / 2 };
    let hues = Hues::new();
    let seen = map_in_order(0..down, |row| {
        let mut hues = hues.clone();
        let corner = |k: usize| (start(k, across, w), start(row, down, h));
        let mut seen = Vec::new();
        for k in 0..across {
            if hues.load(photo, corner(k)) {
                seen.push(hues.turning_line());
            }
        }
        seen
    })
    .concat();
    let told = seen.len();
    let lines: Vec<(f64, f64)> = seen.into_iter().flatten().collect();
    let alike = |a: &(f64, f64)| lines.iter().filter(|b| (a.0 - b.0).hypot(a.1 - b.1) < ALIKE).count();
    let most = lines.iter().max_by_key(|line| alike(line))?;
    if told < FEWEST || (alike(most) as f64) < SHARE * told as f64 {
        return None;
    }
    let period_px = TILE as f64 / most.0.hypot(most.1);
    Some(Refusal::new(RefusalCode::Moire, format!("coloured bands every {period_px:.1} px all over the picture")))
}

/// The spectrum of a tile's colour.
#[derive(Clone)]
struct Hues {
    fft: Arc<dyn Fft<f32>>,
    taper: Vec<f32>,
    data: Vec<Complex32>,
    power: Vec<f32>,
    /// Distance of each bin of `power` from zero frequency, in bins.
    ring_of: Vec<f32>,
}

impl Hues {
    fn new() -> Self {
        let signed = |k: usize| if k < TILE / 2 { k as f32 } else { k as f32 - TILE as f32 };
        let hann = |i: usize| (0.5 - 0.5 * (TAU * (i as f64 + 0.5) / TILE as f64).cos()) as f32;
        Self {
            fft: FftPlanner::new().plan_fft_forward(TILE),
            taper: (0..TILE).map(hann).collect(),
            data: vec![Complex32::ZERO; TILE * TILE],
            power: vec![0.0; TILE * TILE],
            ring_of: (0..TILE * TILE).map(|bin| signed(bin / TILE).hypot(signed(bin % TILE))).collect(),
        }
    }

    /// Transforms the tile at a corner; false where it is blown out.
    fn load(&mut self, photo: &Photo, (x0, y0): (usize, usize)) -> bool {
        let raw = photo.rgb.as_raw();
        let width = photo.width() as usize;
        let mut blown = 0;
        for y in 0..TILE {
            for x in 0..TILE {
                let i = 3 * ((y0 + y) * width + x0 + x);
                let [r, g, b] = [raw[i], raw[i + 1], raw[i + 2]].map(f32::from);
                blown += usize::from(r.max(g).max(b) >= 253.0);
                // Red, green and blue at three equal angles: grey is nothing, a hue is a direction.
                let hue = Complex32::new(r - (g + b) / 2.0, 0.75_f32.sqrt() * (g - b));
                self.data[y * TILE + x] = hue;
            }
        }
        if blown as f32 > BLOWN * (TILE * TILE) as f32 {
            return false;
        }
        let mean = self.data.iter().sum::<Complex32>() / (TILE * TILE) as f32;
        for (i, z) in self.data.iter_mut().enumerate() {
            *z = (*z - mean) * self.taper[i % TILE] * self.taper[i / TILE];
        }
        self.fft.process(&mut self.data);
        let turned: Vec<Complex32> = (0..TILE * TILE).map(|i| self.data[(i % TILE) * TILE + i / TILE]).collect();
        self.data.copy_from_slice(&turned);
        self.fft.process(&mut self.data);
        // Bin (x, y) is at x × TILE + y.
        self.power.iter_mut().zip(&self.data).for_each(|(p, z)| *p = z.norm_sqr());
        true
    }

    /// Frequency (cycles per tile) of the strongest line, where colour turns through the hues along it.
    fn turning_line(&self) -> Option<(f64, f64)> {
        let signed = |k: usize| if k < TILE / 2 { k as f32 } else { k as f32 - TILE as f32 };
        let mut rings: Vec<Vec<f32>> = vec![Vec::new(); TILE / 2];
        for (ring, power) in self.ring_of.iter().zip(&self.power) {
            if let Some(list) = rings.get_mut(*ring as usize) {
                list.push(*power);
            }
        }
        let median = |list: &mut Vec<f32>| {
            let middle = list.len() / 2;
            if list.is_empty() { 1e-9 } else { list.select_nth_unstable_by(middle, f32::total_cmp).1.max(1e-9) }
        };
        let noise: Vec<f32> = rings.iter_mut().map(median).collect();
        let over = |bin: usize| {
            let r = self.ring_of[bin];
            if !(SLOWEST..=FASTEST).contains(&r) {
                0.0
            } else {
                noise.get(r as usize).map_or(0.0, |n| self.power[bin] / n)
            }
        };
        // The last of the highest.
        let (best, _) = (0..TILE * TILE).fold((0, 0.0), |best: (usize, f32), bin| {
            let here = over(bin);
            if here >= best.1 { (bin, here) } else { best }
        });
        let (x, y) = (best / TILE, best % TILE);
        let (here, opposite) = (self.around(x, y), self.around(TILE - x, TILE - y));
        let turns = here - opposite > TURNS * (here + opposite);
        (over(best) > LINE && turns).then(|| (f64::from(signed(x)), f64::from(signed(y))))
    }

    /// Power of a bin and its eight neighbours.
    fn around(&self, x: usize, y: usize) -> f32 {
        let wrapped = |v: usize, d: usize| (v + d + TILE - 1) % TILE;
        (0..9).map(|k| self.power[wrapped(x, k / 3) * TILE + wrapped(y, k % 3)]).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgb, RgbImage};

    /// Colour that runs through all hues every so many px, and a little noise.
    fn bands(period_px: f64, senses: f64) -> Photo {
        let mut seed = 1u32;
        let rgb = RgbImage::from_fn(600, 600, |x, y| {
            // Numerical Recipes' quick generator (Press et al. 1992).
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(seed >> 16) / 65_536.0 * 8.0 - 4.0;
            let turn = TAU * (f64::from(x) + 0.3 * f64::from(y)) / period_px;
            let channel = |c: f64| {
                let third = c * TAU / 3.0;
                let hue = (turn + third).cos() + (1.0 - senses) * (turn - third).cos();
                (128.0 + 30.0 * hue + noise) as u8
            };
            Rgb([channel(0.0), channel(1.0), channel(2.0)])
        });
        Photo { rgb, ..Photo::default() }
    }

    #[test]
    fn bands_that_run_through_all_hues_are_moire_and_bands_to_and_fro_are_dyed() {
        assert_eq!(moire(&bands(9.0, 1.0)).unwrap().code, RefusalCode::Moire);
        assert!(moire(&bands(9.0, 0.0)).is_none());
    }

    #[test]
    fn bands_as_fine_as_a_sensor_sees_colour_are_the_camera_s_own() {
        assert!(moire(&bands(2.5, 1.0)).is_none());
    }
}
