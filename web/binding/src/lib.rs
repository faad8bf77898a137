//! The measuring core for the page: bytes and JSON texts in, JSON texts and pixels out. No sums are made here; what the
//! page shows are the core's numbers, in the core's rounding.

mod comparing;
mod overlay;
mod planning;
mod said;
mod setup;

use image::RgbImage;
use js_sys::Function;
use std::ops::ControlFlow;
use walewise::measure::{OnePhoto, Outcome, Stage, look_for_loops, measure, one_record};
use walewise::photo::Photo;
use walewise::record::{Elapsed, Record};
use walewise::report;
use wasm_bindgen::JsValue;
use wasm_bindgen::prelude::wasm_bindgen;

/// Photos measured one after the other; the newest one's picture stays at hand.
#[wasm_bindgen]
#[derive(Default)]
pub struct Session {
    photos: Vec<OnePhoto>,
    shown: Option<Photo>,
}

/// What came of a photo, each part as JSON.
#[wasm_bindgen(getter_with_clone)]
pub struct Answer {
    /// The record, as `walewise measure --json` writes it.
    pub record: String,
    /// The record's numbers as people are shown them.
    pub said: String,
    /// Lines and points to draw over the picture; `null` where the photo could not be read.
    pub overlay: String,
}

/// Upright pixels, four bytes each.
#[wasm_bindgen(getter_with_clone)]
pub struct Picture {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Red, green, blue, 255.
    pub rgba: Vec<u8>,
}

#[wasm_bindgen]
impl Session {
    /// A session without photos.
    #[wasm_bindgen(constructor)]
    pub fn new() -> Self {
        Self::default()
    }

    /// Forgets all photos.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// Measures one photo and keeps it. `setup` is JSON (see the type `Settings`), `clock` gives milliseconds, `progress`
    /// is called with the name of each stage as it begins. `Err` says what is wrong with the setup.
    pub fn measure(
        &mut self,
        bytes: &[u8],
        file: &str,
        setup: &str,
        clock: &Function,
        progress: &Function,
    ) -> Result<Answer, String> {
        let setup = setup::read(setup)?;
        let now = || clock.call0(&JsValue::NULL).ok().and_then(|t| t.as_f64()).unwrap_or_default();
        let start = now();
        let mut decoded = None;
        let outcome = measure(bytes, &setup, &mut |stage| {
            if stage > Stage::Decode && decoded.is_none() {
                decoded = Some(now());
            }
            // A page that can't hear of the stage still wants the answer.
            let _ = progress.call1(&JsValue::NULL, &JsValue::from_str(stage_name(stage)));
            ControlFlow::Continue(())
        });
        let end = now();
        let elapsed = Elapsed { decode: decoded.unwrap_or(end) - start, total: end - start };
        Ok(self.keep(outcome, file, elapsed))
    }

    /// One record of all photos measured since the last `clear`, as for `--same-swatch`. `Err` for fewer than two.
    pub fn together(&self, setup: &str) -> Result<Answer, String> {
        if self.photos.len() < 2 {
            return Err("at least two photos are needed".to_owned());
        }
        let record = one_record(&self.photos, &setup::read(setup)?).ok_or("there is no photo")?;
        Ok(Answer { record: text(&record), said: said::of(&record), overlay: "null".to_owned() })
    }

    /// The newest photo, at most `longest` pixels along its longer side; `undefined` where it could not be read.
    pub fn picture(&self, longest: u32) -> Option<Picture> {
        let photo = &self.shown.as_ref()?.rgb;
        let (width, height) = fitting(photo, longest);
        let small = if (width, height) == photo.dimensions() {
            photo.clone()
        } else {
            image::imageops::thumbnail(photo, width, height)
        };
        let rgba = small.pixels().flat_map(|p| [p[0], p[1], p[2], u8::MAX]).collect();
        Some(Picture { width, height, rgba })
    }
}

impl Session {
    fn keep(&mut self, outcome: Outcome, file: &str, elapsed: Elapsed) -> Answer {
        let Outcome { mut record, evidence, photo, gauge } = outcome;
        file.clone_into(&mut record.photo.file);
        record.elapsed_ms = Some(elapsed);
        let mut answer = Answer { record: text(&record), said: said::of(&record), overlay: "null".to_owned() };
        self.photos.push(OnePhoto { record: record.clone(), gauge });
        self.shown = None;
        if let (Some(photo), Some(mut evidence)) = (photo, evidence) {
            look_for_loops(&photo, &record, &mut evidence);
            answer.overlay = overlay::of(&evidence, &record, (photo.width(), photo.height()));
            self.shown = Some(photo);
        }
        answer
    }
}

/// What a piece comes to, from JSON (see the type `Asked`) to JSON.
#[wasm_bindgen]
pub fn plan(asked: &str) -> String {
    planning::answer(asked)
}

/// How two swatches differ, from JSON (two of the type `Compared`) to JSON.
#[wasm_bindgen]
pub fn compare(first: &str, second: &str) -> String {
    comparing::answer(first, second)
}

/// The gauge of a kept measurement as people are shown it, from JSON (the type `Compared`) to JSON.
#[wasm_bindgen]
pub fn gauge(kept: &str) -> String {
    comparing::gauge_words(kept)
}

/// Version of the program.
#[wasm_bindgen]
pub fn version() -> String {
    env!("CARGO_PKG_VERSION").to_owned()
}

fn text(record: &Record) -> String {
    report::json::line(record).trim_end().to_owned()
}

fn stage_name(stage: Stage) -> &'static str {
    match stage {
        Stage::Decode => "decode",
        Stage::Ruler => "ruler",
        Stage::Plane => "plane",
        Stage::Fabric => "fabric",
        Stage::Lattice => "lattice",
        Stage::Gauge => "gauge",
    }
}

/// Width and height with the longer side at most `longest`.
fn fitting(photo: &RgbImage, longest: u32) -> (u32, u32) {
    let (w, h) = photo.dimensions();
    let scale = f64::from(longest) / f64::from(w.max(h));
    if scale >= 1.0 {
        return (w, h);
    }
    // Casts saturate; both are at least 1.
    let scaled = |side: u32| ((f64::from(side) * scale).round() as u32).max(1);
    (scaled(w), scaled(h))
}
