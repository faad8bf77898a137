//! A place of the fabric as the spectra see it: brightness, with colour contrasts of the same place set apart.

use super::score::Scene;
use super::spectrum::{self, Grid};
use crate::fabric::Sheet;

/// Pixels along a window: the fourth harmonic of 15 stitches is at bin 60.
const WINDOW_PX: f64 = 190.0;

/// Largest window, in mm: 8 stitches of the bulkiest yarn.
const MAX_WINDOW_MM: f64 = 90.0;

/// Part of the weights' sizes that must remain in their sum for a sheet to show brightness. Yarn in one colour has no
/// contrast in a difference of channels; two colours that are equally bright have none in brightness.
const BRIGHTNESS: f32 = 0.3;

/// A sheet of brightness with the colour contrasts of the same place.
pub struct View<'a> {
    /// The sheet.
    pub sheet: &'a Sheet,
    contrasts: Vec<&'a Sheet>,
    /// Side of the largest window, in mm.
    pub side_mm: f64,
}

impl<'a> View<'a> {
    /// All sheets that show brightness.
    pub fn all(sheets: &'a [Sheet]) -> Vec<Self> {
        sheets
            .iter()
            .filter(|s| shows_brightness(s) && s.px_per_mm > 0.0 && s.px_per_mm.is_finite())
            .map(|sheet| {
                let contrasts = sheets.iter().filter(|s| !shows_brightness(s) && same_place(s, sheet)).collect();
                let px = sheet.grey.width().min(sheet.grey.height());
                Self { sheet, contrasts, side_mm: (f64::from(px) / sheet.px_per_mm).min(MAX_WINDOW_MM) }
            })
            .collect()
    }

    /// What windows of `side_mm` show.
    pub fn scene(&self, side_mm: f64) -> Option<Scene> {
        let step = ((side_mm * self.sheet.px_per_mm / WINDOW_PX + 1e-6) as usize).max(1);
        let mut relief = spectrum::averaged(&Grid::reduced(self.sheet, step), side_mm)?;
        for contrast in &self.contrasts {
            if let Some(colour) = spectrum::averaged(&Grid::reduced(contrast, step), side_mm) {
                relief.mark_colours(&colour);
            }
        }
        Some(Scene::of(relief))
    }
}

fn shows_brightness(sheet: &Sheet) -> bool {
    let sum: f32 = sheet.weights.iter().sum();
    let size: f32 = sheet.weights.iter().map(|w| w.abs()).sum();
    sum.abs() > BRIGHTNESS * size
}

fn same_place(a: &Sheet, b: &Sheet) -> bool {
    a.origin == b.origin && a.px_per_mm == b.px_per_mm && a.grey.dimensions() == b.grey.dimensions()
}
