//! From a scene to its photo.

use super::fabric_surface::FabricSurface;
use super::lattice_truth::StitchTruth;
use super::scene::{Fabric, Scene, SceneError};
use super::sensor;
use super::shading::{LightField, Stage};
use super::truth::{self, Truth};
use super::view::View;
use image::RgbImage;

/// A photo that never was, and everything there is to know about it.
#[derive(Debug, Clone)]
pub struct SyntheticPhoto {
    /// The picture, 8 bit sRGB.
    pub image: RgbImage,
    /// What a measurement should find.
    pub truth: Truth,
    /// The lattice point of every stitch of the body inside the frame.
    pub lattice: Vec<StitchTruth>,
}

/// Takes the photo of a scene.
///
/// # Errors
/// When a value of the scene is out of its range ([`Scene::check`]).
pub fn photograph(scene: &Scene) -> Result<SyntheticPhoto, SceneError> {
    scene.check()?;
    let view = View::new(&scene.camera);
    let surface = scene.fabric.as_ref().map(|fabric| FabricSurface::new(fabric, scene.seed));
    let stage = Stage::new(scene, &view, surface.as_ref());
    let (truth, lattice) = truth::of(scene, &view, surface.as_ref(), stage.ruler_face_mm());
    let image = sensor::expose(stage.draw(), &scene.camera, scene.seed);
    Ok(SyntheticPhoto { image, truth, lattice })
}

/// Takes the photo of a scene in which a second swatch lies on the table beside the first.
///
/// Both are drawn alone on the same table under the same light; where they change the light of the bare table, the one
/// that changes it more is seen. That is exact as long as neither lies on the other or in its shadow.
///
/// # Errors
/// As [`photograph`]; the second swatch is checked too.
pub fn photograph_beside(scene: &Scene, other: &Fabric) -> Result<RgbImage, SceneError> {
    let light = |fabric: Option<Fabric>| -> Result<LightField, SceneError> {
        let alone = Scene { fabric, ..scene.clone() };
        alone.check()?;
        let view = View::new(&alone.camera);
        let surface = alone.fabric.as_ref().map(|fabric| FabricSurface::new(fabric, alone.seed));
        Ok(Stage::new(&alone, &view, surface.as_ref()).draw())
    };
    let bare = light(None)?;
    let mut first = light(scene.fabric.clone())?;
    let second = light(Some(other.clone()))?;
    let change = |a: &[f32; 3], b: &[f32; 3]| (0..3).map(|c| (a[c] - b[c]).abs()).sum::<f32>();
    for ((here, beside), ground) in first.pixels.iter_mut().zip(&second.pixels).zip(&bare.pixels) {
        if change(beside, ground) > change(here, ground) {
            *here = *beside;
        }
    }
    Ok(sensor::expose(first, &scene.camera, scene.seed))
}

impl Scene {
    /// The truth of the scene's photo without drawing it.
    ///
    /// # Errors
    /// As [`photograph`].
    pub fn truth(&self) -> Result<Truth, SceneError> {
        self.check()?;
        let view = View::new(&self.camera);
        let surface = self.fabric.as_ref().map(|fabric| FabricSurface::new(fabric, self.seed));
        let stage = Stage::new(self, &view, surface.as_ref());
        Ok(truth::of(self, &view, surface.as_ref(), stage.ruler_face_mm()).0)
    }
}
