//! Sets of photos with truth beside each, as folders under the one that `WALEWISE_PHOTOS` names; and the figures by which
//! answers are judged.

#[allow(dead_code)] // Each test program uses its own part.
pub mod groups;

use serde_json::Value;
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use walewise::lattice::StitchPattern;
use walewise::measure::Setup;
use walewise::plane::Span;
use walewise::quantity::PhotoPoint;
use walewise::record::{Record, Status};

/// One photo of a set.
#[derive(Clone)]
pub struct TruePhoto {
    pub stem: String,
    pub path: PathBuf,
    pub truth: Value,
}

/// The sets under the folder that the environment names; `None` where it names none.
pub fn sets() -> Option<Vec<(String, Vec<TruePhoto>)>> {
    let root = PathBuf::from(std::env::var_os("WALEWISE_PHOTOS")?);
    let mut sets = Vec::new();
    for folder in sorted(&root).into_iter().filter(|p| p.is_dir()) {
        let name = folder.file_name()?.to_string_lossy().into_owned();
        let photos: Vec<TruePhoto> = sorted(&folder).into_iter().filter_map(|p| with_truth(&p)).collect();
        if !photos.is_empty() {
            sets.push((name, photos));
        }
    }
    Some(sets)
}

fn sorted(folder: &Path) -> Vec<PathBuf> {
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(folder).into_iter().flatten().filter_map(|e| Some(e.ok()?.path())).collect();
    paths.sort();
    paths
}

fn with_truth(path: &Path) -> Option<TruePhoto> {
    if path.extension()? != "jpg" {
        return None;
    }
    let truth = serde_json::from_slice(&std::fs::read(path.with_extension("json")).ok()?).ok()?;
    Some(TruePhoto { stem: path.file_stem()?.to_string_lossy().into_owned(), path: path.to_owned(), truth })
}

impl TruePhoto {
    pub fn must_refuse(&self) -> bool {
        self.truth["must_refuse"].as_bool().unwrap_or(false)
    }

    /// True stitches and rows per 10 cm.
    pub fn gauge(&self) -> Option<[f64; 2]> {
        let t = &self.truth;
        let of = |new: &str, old: &str| t["gauge"][new].as_f64().or(t[old].as_f64());
        Some([of("stitches_per_10cm", "stitch_gauge")?, of("rows_per_10cm", "row_gauge")?])
    }

    fn tolerance(&self) -> f64 {
        self.truth["truth_tolerance"].as_f64().unwrap_or(0.0)
    }

    /// Relative error of the ruler that a perfect drawn one is given: rectangular within the limits of accuracy class II
    /// (Directive 2014/32/EU, Annex X: 0.5 mm) over the length that can be seen, at most 150 mm; fixed by the name.
    pub fn ruler_error(&self) -> f64 {
        let digest = Sha256::digest(format!("ruler {}", self.stem));
        let part = u64::from_be_bytes(digest[..8].try_into().expect("eight bytes")) as f64 / 2f64.powi(64);
        (2.0 * part - 1.0) * 0.5 / self.visible_mm().min(150.0)
    }

    fn visible_mm(&self) -> f64 {
        let ruler = &self.truth["ruler"];
        let edges = ruler["edges"].as_array().into_iter().flatten();
        let longest = edges
            .filter_map(|e| Some(e["visible_to_mm"].as_f64()? - e["visible_from_mm"].as_f64()?))
            .fold(0.0, f64::max);
        let given = ruler["visible_length_mm"].as_f64().or(ruler["length_mm"].as_f64());
        if longest > 0.0 { longest } else { given.unwrap_or(150.0) }
    }

    /// What a person would know and say; the pattern only when `declared`.
    pub fn setup(&self, declared: bool) -> Setup {
        let mut setup = Setup::default();
        let arguments = self.truth["measure_args"].as_array().map(Vec::as_slice).unwrap_or_default();
        for pair in arguments.chunks(2) {
            read_argument(&mut setup, pair);
        }
        let ruler = self.truth["ruler"]["type"].as_str().or(self.truth["ruler"].as_str()).unwrap_or("");
        if matches!(ruler, "card" | "checker") {
            setup.grid_mm = Some(10.0);
        }
        if declared {
            setup.stitch = self.pattern();
        }
        setup
    }

    fn pattern(&self) -> Option<StitchPattern> {
        let p = &self.truth["pattern"];
        let name = p["name"].as_str().or(p.as_str())?;
        let known = match name {
            "not_knit" => return None,
            "stripes" | "colourwork" => "stockinette",
            "rib_1x1" | "rib1x1" => "rib-1x1",
            "rib_2x2" | "rib2x2" => "rib-2x2",
            "reverse_stockinette" => "reverse-stockinette",
            other => other,
        };
        let repeat = |new: &str, old: &str| p[new].as_u64().or(p[old].as_u64()).map(|n| n as u32);
        StitchPattern::named(known).or_else(|| {
            Some(StitchPattern::with_repeat(name, repeat("repeat_sts", "repeat_stitches")?, repeat("repeat_rows", "")?))
        })
    }
}

fn read_argument(setup: &mut Setup, pair: &[Value]) {
    let text = |v: &Value| v.as_str().map_or_else(|| v.to_string(), str::to_owned);
    let [name, value] = pair else { panic!("an option without its value: {pair:?}") };
    let (name, value) = (text(name), text(value));
    let numbers: Vec<f64> = value.split([',', '=']).filter_map(|n| n.parse().ok()).collect();
    match (name.as_str(), numbers.as_slice()) {
        ("--span", &[x1, y1, x2, y2, length_mm]) => {
            setup.span =
                Some(Span { from: PhotoPoint::new(x1, y1), to: PhotoPoint::new(x2, y2), length_mm, sigma_px: 1.0 })
        }
        ("--region", &[x, y, w, h]) => setup.region = Some([x, y, w, h]),
        ("--ruler-thickness", &[mm]) => setup.ruler_thickness_mm = Some(mm),
        ("--ruler-on", _) => {
            setup.ruler_on =
                Some(if value == "fabric" { walewise::gauge::RulerOn::Fabric } else { walewise::gauge::RulerOn::Table })
        }
        other => panic!("an option these tests don't know: {other:?}"),
    }
}

/// The figures of one set, as the method history keeps them.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Figures {
    pub set: String,
    pub declared: bool,
    pub measurable: usize,
    pub answered: usize,
    /// Of both axes together, per cent of the true value.
    pub median_error_percent: f64,
    pub p95_error_percent: f64,
    /// Share of the 95 % intervals that hold the truth, both axes together.
    pub coverage_percent: f64,
    pub median_half_width_percent: f64,
    pub silently_wrong: usize,
    pub must_refuse: usize,
    pub refused: usize,
}

/// Judges the answers to a set's photos.
pub fn figures(set: &str, declared: bool, photos: &[TruePhoto], answers: &[Record]) -> Figures {
    judged(set, declared, photos.iter().zip(answers))
}

/// Judges photos with their answers.
pub fn judged<'a>(set: &str, declared: bool, answered: impl Iterator<Item = (&'a TruePhoto, &'a Record)>) -> Figures {
    let (mut errors, mut widths, mut covered) = (Vec::new(), Vec::new(), 0);
    let mut f = Figures {
        set: set.to_owned(),
        declared,
        measurable: 0,
        answered: 0,
        median_error_percent: 0.0,
        p95_error_percent: 0.0,
        coverage_percent: 0.0,
        median_half_width_percent: 0.0,
        silently_wrong: 0,
        must_refuse: 0,
        refused: 0,
    };
    for (photo, answer) in answered {
        if photo.must_refuse() {
            f.must_refuse += 1;
            f.refused += usize::from(answer.status == Status::Refused);
            continue;
        }
        f.measurable += 1;
        let (Some(gauge), Some(truth)) = (&answer.gauge, photo.gauge()) else { continue };
        f.answered += 1;
        let mut wrong = false;
        for (axis, true_value) in [gauge.stitches_per_10cm, gauge.rows_per_10cm].into_iter().zip(truth) {
            let error = (axis.value / true_value - 1.0).abs();
            let moved = true_value * (1.0 + photo.ruler_error());
            let off = ((axis.value - moved).abs() - photo.tolerance() * true_value).max(0.0);
            errors.push(100.0 * error);
            widths.push(100.0 * axis.expanded_uncertainty / axis.value);
            covered += usize::from(off <= axis.expanded_uncertainty);
            wrong |= error > 0.05 + photo.tolerance() || off > 3.0 * axis.expanded_uncertainty;
        }
        f.silently_wrong += usize::from(wrong);
    }
    f.coverage_percent = 100.0 * covered as f64 / errors.len().max(1) as f64;
    f.median_error_percent = percentile(&mut errors, 0.5);
    f.p95_error_percent = percentile(&mut errors, 0.95);
    f.median_half_width_percent = percentile(&mut widths, 0.5);
    f
}

/// Whether a photo that can be measured was refused, or answered wrongly.
#[allow(dead_code)] // Each test program uses its own part.
pub fn failed(photo: &TruePhoto, answer: &Record) -> bool {
    let f = judged("", true, std::iter::once((photo, answer)));
    f.measurable > f.answered || f.silently_wrong > 0
}

fn percentile(values: &mut [f64], q: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let at = q * (values.len().max(1) - 1) as f64;
    let (low, high) = (values.get(at.floor() as usize), values.get(at.ceil() as usize));
    match (low, high) {
        (Some(a), Some(b)) => a + (b - a) * at.fract(),
        _ => 0.0,
    }
}
