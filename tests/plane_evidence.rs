//! What each kind of evidence does for the plane: how often there is some, how far the tilt is off with and without it, and
//! whether the stated uncertainty holds. Rulers are read from synthetic photos; the fabric's counts are the true ones with
//! a usual scatter, so that only the plane is judged.
//!
//! ```sh
//! cargo test --profile quick --test plane_evidence -- --ignored --nocapture
//! ```
//!
//! writes `calibration/plane-evidence.csv`; `WALEWISE_SCENES` sets the number of scenes, 120 unless told.

use std::fmt::Write;
use walewise::lattice::Basis;
use walewise::photo::{self, Photo};
use walewise::plane::{CameraPrior, CountSeen, PlaneEstimate, PlaneMap, Pose, ScaleEvidence, estimate};
use walewise::quantity::PhotoPoint;
use walewise::ruler::{self, GraduationTrain, RulerReading};
use walewise::synthetic::{Difficulty, Factor, Scene, StitchTruth, SyntheticPhoto, jpeg_with_exif, photograph};

/// A kind of evidence that can be left out.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    /// The marks between the outermost ones: they show the perspective along the ruler.
    BaseLine,
    MarkDirections,
    SecondEdge,
    Lattice,
    FocalLength,
}

const KINDS: [Kind; 5] = [Kind::BaseLine, Kind::MarkDirections, Kind::SecondEdge, Kind::Lattice, Kind::FocalLength];

/// Scatter of a block's count, in stitches and rows: usual for rendered swatches.
const COUNT_SIGMA: f64 = 0.1;

/// One scene with everything that was read.
struct Seen {
    truth: SyntheticPhoto,
    reading: RulerReading,
    photo: Photo,
    counts: Vec<CountSeen>,
}

impl Seen {
    fn of(seed: u64) -> Option<Self> {
        let difficulty = [Difficulty::Easy, Difficulty::Normal, Difficulty::Hard][seed as usize % 3];
        let tilt = [0.0, 5.0, 10.0, 15.0, 20.0, 25.0][seed as usize / 3 % 6];
        let scene = Scene::random(seed, difficulty).with(Factor::Size, 0.8).with(Factor::Tilt, tilt);
        let truth = photograph(&scene).ok()?;
        let photo = photo::decode(&jpeg_with_exif(&truth.image, &scene).ok()?).ok()?;
        let reading = ruler::read(&photo, &ruler::RulerSettings::default()).ok()?;
        // Every second stitch of every second row, as blocks overlap.
        let visible = truth.lattice.iter().filter(|s| !s.under_ruler && s.stitch % 2 == 0 && s.row % 2 == 0);
        let counts: Vec<CountSeen> = visible
            .map(|s| CountSeen {
                at: PhotoPoint::new(s.px[0], s.px[1]),
                stitches: s.stitch as f64,
                rows: s.row as f64,
                stitches_sigma: COUNT_SIGMA,
                rows_sigma: COUNT_SIGMA,
            })
            .collect();
        Some(Self { truth, reading, photo, counts })
    }

    fn has(&self, kind: Kind) -> bool {
        match kind {
            Kind::BaseLine | Kind::FocalLength => true,
            Kind::MarkDirections => self.reading.trains.iter().any(|t| !t.tips.is_empty()),
            Kind::SecondEdge => self.reading.trains.len() > 1,
            Kind::Lattice => self.counts.len() >= 8,
        }
    }

    /// The plane from all evidence but what is left out.
    fn plane(&self, without: &[Kind]) -> Option<PlaneEstimate> {
        let out = |kind| without.contains(&kind);
        let mut reading = self.reading.clone();
        if out(Kind::SecondEdge) {
            reading.trains.truncate(1);
        }
        for train in &mut reading.trains {
            if out(Kind::MarkDirections) {
                train.tips.clear();
            }
            if out(Kind::BaseLine) {
                outermost(train);
            }
        }
        let focal = if out(Kind::FocalLength) { None } else { self.photo.focal_length_35mm };
        let prior = CameraPrior::new(self.photo.width(), self.photo.height(), focal);
        let counts: &[CountSeen] = if out(Kind::Lattice) { &[] } else { &self.counts };
        estimate(&ScaleEvidence::Ruler(&reading), &prior, counts)
    }
}

fn outermost(train: &mut GraduationTrain) {
    let marks = std::mem::take(&mut train.marks);
    train.marks.extend(marks.first().into_iter().chain(marks.last()).copied());
}

/// How an estimate compares with the truth.
struct Judged {
    tilt_error_deg: f64,
    /// Relative error of stitches and rows per 10 cm that the plane causes, the height being known.
    gauge_error: [f64; 2],
    /// Its stated standard uncertainty.
    gauge_u: [f64; 2],
}

fn judge(seen: &Seen, plane: &PlaneEstimate) -> Option<Judged> {
    let truth = &seen.truth.truth;
    let ruler = truth.ruler.as_ref()?;
    let distance = plane.pose.distance_mm();
    let height = ruler.height_above_fabric_plane_mm?;
    let fabric = plane.pose.at_distance_ratio((distance + height) / distance);
    let places: Vec<&StitchTruth> = seen.truth.lattice.iter().filter(|s| !s.under_ruler).collect();
    let at = |pose: Pose| gauge(&pose.map(&plane.frame)?, &places);
    let found = at(fabric)?;
    let mut variance = [0.0; 2];
    for effect in &plane.effects {
        const PART: f64 = 0.1;
        let moved = |sign: f64| {
            let start = fabric.to_array();
            at(Pose::from_array(std::array::from_fn(|i| start[i] + sign * PART * effect.change[i])))
        };
        let (up, down) = (moved(1.0)?, moved(-1.0)?);
        (0..2).for_each(|k| variance[k] += ((up[k] - down[k]) / (2.0 * PART) / found[k]).powi(2));
    }
    let true_gauge = [truth.stitch_gauge?, truth.row_gauge?];
    Some(Judged {
        tilt_error_deg: plane.pose.tilt_deg() - truth.camera.tilt_deg,
        gauge_error: [0, 1].map(|k| found[k] / true_gauge[k] - 1.0),
        gauge_u: variance.map(f64::sqrt),
    })
}

/// Stitches and rows per 10 cm of the true lattice as a map shows it, by least squares.
fn gauge(map: &PlaneMap, places: &[&StitchTruth]) -> Option<[f64; 2]> {
    let seen: Vec<[f64; 4]> = places
        .iter()
        .map(|s| map.to_plane(PhotoPoint::new(s.px[0], s.px[1])).map(|p| [p.x, p.y, s.stitch as f64, s.row as f64]))
        .collect::<Option<_>>()?;
    let n = seen.len() as f64;
    let mean: [f64; 4] = std::array::from_fn(|c| seen.iter().map(|s| s[c]).sum::<f64>() / n);
    let product = |a: usize, b: usize| seen.iter().map(|s| (s[a] - mean[a]) * (s[b] - mean[b])).sum::<f64>();
    let (xx, xy, yy) = (product(0, 0), product(0, 1), product(1, 1));
    let det = xx * yy - xy * xy;
    let slope = |c: usize| {
        let (x, y) = (product(0, c), product(1, c));
        [(yy * x - xy * y) / det, (xx * y - xy * x) / det]
    };
    let (stitches, rows) = Basis { stitch: slope(2), row: slope(3) }.per_10cm()?;
    Some([stitches, rows])
}

/// Photos, median and 95th percentile of the tilt's error, of the gauge's error, and how often ±1.96 u held it.
fn line(name: &str, judged: &[Judged]) -> String {
    let percentile = |mut values: Vec<f64>, q: f64| {
        values.sort_by(f64::total_cmp);
        values.get(((values.len().max(1) - 1) as f64 * q).round() as usize).copied().unwrap_or(0.0)
    };
    let tilt: Vec<f64> = judged.iter().map(|j| j.tilt_error_deg.abs()).collect();
    let errors: Vec<(f64, f64)> =
        judged.iter().flat_map(|j| [0, 1].map(|k| (j.gauge_error[k].abs(), j.gauge_u[k]))).collect();
    let gauge: Vec<f64> = errors.iter().map(|e| 100.0 * e.0).collect();
    let covered = errors.iter().filter(|(error, u)| *error < 1.96 * u).count();
    let rms = (errors.iter().map(|(e, u)| (e / u).powi(2)).sum::<f64>() / errors.len().max(1) as f64).sqrt();
    format!(
        "{name},{},{:.2},{:.2},{:.3},{:.3},{:.1},{rms:.2}",
        judged.len(),
        percentile(tilt.clone(), 0.5),
        percentile(tilt, 0.95),
        percentile(gauge.clone(), 0.5),
        percentile(gauge, 0.95),
        100.0 * covered as f64 / errors.len().max(1) as f64
    )
}

#[test]
#[ignore = "over a hundred photos: some minutes"]
fn evidence_of_the_plane() {
    let scenes = std::env::var("WALEWISE_SCENES").ok().and_then(|n| n.parse().ok()).unwrap_or(120);
    let all: Vec<Seen> = (0..scenes).filter_map(|k| Seen::of(800_000 + k)).collect();
    println!("{} of {scenes} rulers were read", all.len());
    let judged = |seen: &[&Seen], without: &[Kind]| -> Vec<Judged> {
        seen.iter().filter_map(|s| judge(s, &s.plane(without)?)).collect()
    };
    let every: Vec<&Seen> = all.iter().collect();
    let mut text = String::from(
        "evidence,photos,tilt_error_median_deg,tilt_error_p95_deg,gauge_error_median_percent,gauge_error_p95_percent,coverage_percent,rms_error_over_u\n",
    );
    let _ = writeln!(text, "{}", line("everything", &judged(&every, &[])));
    let _ = writeln!(text, "{}", line("the ruler's length alone", &judged(&every, &KINDS[..4])));
    for kind in KINDS {
        let own: Vec<&Seen> = all.iter().filter(|s| s.has(kind)).collect();
        let _ = writeln!(text, "{}", line(&format!("where there is {kind:?}"), &judged(&own, &[])));
        let _ = writeln!(text, "{}", line(&format!("the same without {kind:?}"), &judged(&own, &[kind])));
        let others: Vec<Kind> = KINDS[..4].iter().copied().filter(|k| *k != kind).collect();
        let _ = writeln!(text, "{}", line(&format!("length and {kind:?} alone"), &judged(&own, &others)));
    }
    print!("{text}");
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/plane-evidence.csv");
    std::fs::write(file, text).expect("the table can be written");
}
