//! Series of scenes that differ in one factor alone.

use super::scene::Scene;

/// A factor of a scene that can be swept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Factor {
    /// Shot noise at white, as a share of white; the read noise follows at a fifth.
    Noise,
    /// Blur, standard deviation in px.
    Blur,
    /// Tilt of the camera along the diagonal of the photo, degrees.
    Tilt,
    /// Stitches across the whole swatch; the rows follow so that the swatch keeps its shape. A border that would leave less
    /// than half of them gives way.
    Stitches,
    /// Every share of irregularity: 1 is an ordinary knitter's swatch (stitch spread 3 %, rows 3 %, waves 0.15 stitches).
    Irregularity,
    /// Thickness of the ruler, mm.
    RulerHeight,
    /// Size of the photo against the scene's own; less makes stitches smaller in px.
    Size,
    /// Distortion k1.
    Distortion,
    /// Angle of the swatch on the table, degrees.
    Angle,
}

impl Scene {
    /// The scene with one factor set to a value; every other one stays as it is.
    pub fn with(mut self, factor: Factor, value: f64) -> Self {
        match factor {
            Factor::Noise => {
                self.camera.shot_noise = value;
                self.camera.read_noise = value / 5.0;
            }
            Factor::Blur => self.camera.blur_px = value,
            Factor::Tilt => {
                self.camera.pitch_deg = value * std::f64::consts::FRAC_1_SQRT_2;
                self.camera.yaw_deg = value * std::f64::consts::FRAC_1_SQRT_2;
            }
            Factor::Stitches => {
                if let Some(fabric) = &mut self.fabric {
                    let rows = value * f64::from(fabric.rows) / f64::from(fabric.stitches);
                    (fabric.stitches, fabric.rows) = (value.round() as u32, rows.round() as u32);
                    fabric.border_stitches = fabric.border_stitches.min(fabric.stitches / 4);
                    fabric.border_rows = fabric.border_rows.min(fabric.rows / 4);
                }
            }
            Factor::Irregularity => {
                if let Some(fabric) = &mut self.fabric {
                    let uneven = &mut fabric.irregularity;
                    (uneven.stitch_cv, uneven.row_wander, uneven.waves) = (0.03 * value, 0.03 * value, 0.15 * value);
                }
            }
            Factor::RulerHeight => self.ruler.iter_mut().for_each(|ruler| ruler.thickness_mm = value),
            Factor::Size => {
                let scaled = |px: u32| (f64::from(px) * value).round() as u32;
                self.camera.width_px = scaled(self.camera.width_px);
                self.camera.height_px = scaled(self.camera.height_px);
            }
            Factor::Distortion => self.camera.k1 = value,
            Factor::Angle => self.fabric.iter_mut().for_each(|fabric| fabric.angle_deg = value),
        }
        self
    }
}

/// For each value the base scene with the factor set to it, and a seed of its own (the base's, counted on), so that
/// noise and irregularity are drawn anew.
pub fn sweep(base: &Scene, factor: Factor, values: &[f64]) -> Vec<Scene> {
    let one = |(k, &value): (usize, &f64)| {
        let scene = Scene { seed: base.seed.wrapping_add(k as u64), ..base.clone() };
        scene.with(factor, value)
    };
    values.iter().enumerate().map(one).collect()
}
