//! Does the 95 % interval hold the truth in 95 of 100 photos? Not only over all of them, but in each third of the stated
//! half-widths, at each difficulty, and along sweeps of single factors.
//!
//! A few scenes are measured at every run of the tests. The long study over a thousand photos and all photo sets runs on
//! request and writes `calibration/coverage.csv` and `calibration/coverage.svg`:
//!
//! ```sh
//! WALEWISE_PHOTOS=/path/to/sets WALEWISE_COVERAGE=/path/for/rows.csv cargo test --profile quick --test coverage -- --ignored --nocapture coverage_over
//! ```
//!
//! It goes on where the rows end: delete the file to start anew after a change of the method.
//! `WALEWISE_COVERAGE_ROUNDS` sets the number of rounds of 36 photos, 26 unless told.

mod coverage_study;
// The figures by which answers are judged are not needed here.
#[allow(dead_code)]
mod photo_sets;

use coverage_study::cases::{Case, cases};
use coverage_study::rows::Row;
use coverage_study::{plot, rows, summary};
use photo_sets::{TruePhoto, sets};
use std::io::Write;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use walewise::measure::measure;
use walewise::synthetic::{Factor, Scene, jpeg_with_exif, photograph};

/// One photo of the study, not made or read yet.
enum Job {
    Made(Box<Case>),
    Given(String, TruePhoto),
}

impl Job {
    fn id(&self) -> String {
        match self {
            Self::Made(case) => case.id.clone(),
            Self::Given(set, photo) => format!("{set}-{}", photo.stem),
        }
    }

    /// Measures it; `None` where it has no true gauge or must be refused.
    fn row(&self) -> Option<Row> {
        match self {
            Self::Made(case) => made(case),
            Self::Given(set, photo) => {
                let bytes = std::fs::read(&photo.path).expect("the photo can be read");
                let answer = measure(&bytes, &photo.setup(true), &mut |_| ControlFlow::Continue(())).record;
                (!photo.must_refuse()).then(|| Row::of(&self.id(), set, "", photo, &answer))?
            }
        }
    }
}

fn made(case: &Case) -> Option<Row> {
    let photo = photograph(&case.scene).expect("the scene is in range");
    let jpeg = jpeg_with_exif(&photo.image, &case.scene).expect("the photo can be encoded");
    let truth = serde_json::to_value(&photo.truth).expect("the truth is JSON");
    let known = TruePhoto { stem: case.id.clone(), path: PathBuf::new(), truth };
    if known.must_refuse() {
        return None;
    }
    let answer = measure(&jpeg, &known.setup(true), &mut |_| ControlFlow::Continue(())).record;
    Row::of(&case.id, "synthetic", &case.varied, &known, &answer)
}

/// Wilson's interval against a published one: 10 of 100 gives 0.0552 to 0.1744 (computed from Wilson 1927, the value
/// quoted in Newcombe 1998 for like counts; from memory).
#[test]
fn wilson_interval() {
    let [low, high] = summary::wilson(0.1, 100.0);
    assert!((low - 0.0552).abs() < 1e-4 && (high - 0.1744).abs() < 1e-4, "{low} {high}");
}

/// A round of the study without its hard scenes: with 26 photos, coverage below 80 % would be seen in a sound method less
/// often than once in three hundred runs of other seeds. Of the study's photos 76 % are answered; rounds of 26 differ by a
/// tenth either way, and one of small rulers in few pixels had half.
#[test]
fn intervals_of_a_few_scenes_hold_the_truth() {
    let rows: Vec<Row> = cases(1).iter().take(28).filter_map(made).collect();
    let groups = summary::groups(&rows);
    println!("{}\n{}", summary::HEAD, groups[0].line());
    assert!(rows.iter().filter(|r| r.measured()).count() * 10 >= rows.len() * 4, "{rows:#?}");
    assert!(groups[0].coverage_percent() >= 80.0, "{rows:#?}");
}

#[test]
#[ignore = "a thousand photos: half an hour"]
fn coverage_over_a_thousand_photos() {
    let table = std::env::var_os("WALEWISE_COVERAGE")
        .map_or_else(|| Path::new(env!("CARGO_TARGET_TMPDIR")).join("coverage-rows.csv"), PathBuf::from);
    let rounds = std::env::var("WALEWISE_COVERAGE_ROUNDS").ok().and_then(|r| r.parse().ok()).unwrap_or(26);
    let done = rows::read(&table);
    let mut jobs: Vec<Job> = cases(rounds).into_iter().map(|c| Job::Made(Box::new(c))).collect();
    for (set, photos) in sets().unwrap_or_default() {
        jobs.extend(photos.into_iter().map(|p| Job::Given(set.clone(), p)));
    }
    jobs.retain(|job| !done.iter().any(|row| row.id == job.id()));
    println!("{} photos done before, {} to do; rows in {}", done.len(), jobs.len(), table.display());
    measure_into(&table, &jobs);
    let rows = rows::read(&table);
    let groups = summary::groups(&rows);
    let calibration = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration");
    let mut text = format!("{}\n", summary::HEAD);
    groups.iter().for_each(|g| text.push_str(&format!("{}\n", g.line())));
    text.push_str(&summary::with_truth(rows.len()));
    print!("{text}");
    std::fs::write(calibration.join("coverage.csv"), text).expect("the summary can be written");
    std::fs::write(calibration.join("coverage.svg"), plot::svg(&groups)).expect("the picture can be written");
}

/// The same scene knitted and photographed anew, with another seed for every unevenness and all noise: ruler, heights and
/// camera stay, so the scatter of value over truth is the random part alone. The stated random part shall match it. With
/// 16 photos a standard deviation is known to 18 %, twice that is allowed.
#[test]
#[ignore = "several dozen photos: some minutes"]
fn the_random_part_matches_the_scatter() {
    const PHOTOS: u64 = 16;
    let mut off = Vec::new();
    println!("irregularity axis scatter_percent stated_percent");
    for irregularity in [0.3, 1.0] {
        let base = Scene::plain(900_000).with(Factor::Irregularity, irregularity).with(Factor::Size, 0.7);
        let seen: Vec<[(f64, f64); 2]> =
            (0..PHOTOS).filter_map(|k| random_part(Scene { seed: base.seed + k, ..base.clone() })).collect();
        for (axis, name) in ["stitches", "rows"].into_iter().enumerate() {
            let n = seen.len() as f64;
            let mean = seen.iter().map(|s| s[axis].0).sum::<f64>() / n;
            let scatter = (seen.iter().map(|s| (s[axis].0 - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
            let stated = (seen.iter().map(|s| s[axis].1.powi(2)).sum::<f64>() / n).sqrt();
            println!("{irregularity} {name} {:.3} {:.3}", 100.0 * scatter, 100.0 * stated);
            if !(0.64..1.6).contains(&(scatter / stated)) {
                off.push(format!("irregularity {irregularity}, {name}: {scatter} against {stated}"));
            }
        }
    }
    assert!(off.is_empty(), "{off:#?}");
}

/// Logarithm of value over truth of both axes, and the part of the budget that another seed changes, relative.
fn random_part(scene: Scene) -> Option<[(f64, f64); 2]> {
    let photo = photograph(&scene).ok()?;
    let jpeg = jpeg_with_exif(&photo.image, &scene).ok()?;
    let known =
        TruePhoto { stem: String::new(), path: PathBuf::new(), truth: serde_json::to_value(&photo.truth).ok()? };
    let answer = measure(&jpeg, &known.setup(true), &mut |_| ControlFlow::Continue(())).record;
    let (gauge, truth) = (answer.gauge?, known.gauge()?);
    let random = |axis: usize| {
        let own = answer.budget.iter().filter(|c| {
            c.source.starts_with("irregular") || c.source.starts_with("which") || c.source.starts_with("reading")
        });
        own.map(|c| [c.stitches_percent, c.rows_percent][axis].powi(2)).sum::<f64>().sqrt() / 100.0
    };
    let values = [gauge.stitches_per_10cm.value, gauge.rows_per_10cm.value];
    Some([0, 1].map(|axis| ((values[axis] / truth[axis]).ln(), random(axis))))
}

/// Measures the jobs on as many threads as the machine has cores; each row is written at once.
fn measure_into(table: &Path, jobs: &[Job]) {
    let new = !table.exists();
    let mut file = std::fs::OpenOptions::new().create(true).append(true).open(table).expect("rows can be written");
    if new {
        writeln!(file, "{}", rows::HEAD).expect("rows can be written");
    }
    let file = Mutex::new(file);
    let next = AtomicUsize::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(job) = jobs.get(at) else { break };
                    if let Some(row) = job.row() {
                        writeln!(file.lock().expect("no thread broke off"), "{}", row.line())
                            .expect("rows can be written");
                    }
                    if (at + 1).is_multiple_of(25) {
                        println!("{} of {}", at + 1, jobs.len());
                    }
                }
            });
        }
    });
}
