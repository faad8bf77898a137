//! From a scene to its photo.

use super::fabric_surface::FabricSurface;
use super::lattice_truth::StitchTruth;
use super::scene::{Scene, SceneError};
use super::sensor;
use super::shading::Stage;
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
