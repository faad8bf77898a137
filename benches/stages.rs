//! Time of each stage and of the whole measurement on one thread, on photos of 3, 12 and 48 megapixels.
//!
//! `cargo bench --bench stages`, or a part of it: `cargo bench --bench stages -- "12 MP"`.

mod clock;
mod photos;

use clock::thread_time;
use criterion::measurement::{Measurement, ValueFormatter};
use criterion::{BatchSize, BenchmarkGroup, Criterion, Throughput};
use std::hint::black_box;
use std::ops::ControlFlow;
use std::time::Duration;
use walewise::fabric::{self, SwatchHints};
use walewise::lattice::{self, Declared};
use walewise::measure::measure;
use walewise::photo::{Photo, decode};
use walewise::plane::{self, CameraPrior, ScaleEvidence};
use walewise::ruler::{self, RulerSettings};
use walewise::side_by_side::on_one_thread;

fn main() {
    // Seconds a run: ten of them tell what a change is worth, which is all that is asked.
    let mut criterion = Criterion::default()
        .with_measurement(ThreadTime)
        .sample_size(10)
        .warm_up_time(Duration::from_millis(200))
        .measurement_time(Duration::from_secs(3))
        .configure_from_args();
    for (name, size) in photos::SIZES {
        let bytes = std::fs::read(photos::photo_file(size)).expect("a photo that was drawn");
        let mut group = criterion.benchmark_group(name);
        group.throughput(Throughput::Elements(u64::from(size[0]) * u64::from(size[1])));
        on_one_thread(|| stages(&mut group, &bytes));
        group.finish();
    }
    criterion.final_summary();
}

fn stages(group: &mut BenchmarkGroup<ThreadTime>, bytes: &[u8]) {
    let setup = photos::setup();
    group.bench_function("whole", |b| b.iter(|| measure(bytes, &setup, &mut |_| ControlFlow::Continue(()))));
    group.bench_function("decode", |b| b.iter(|| decode(bytes)));
    let photo = decode(bytes).expect("a sound photo");
    // A clone has no reduced copies that an earlier round made.
    let mut on_photo = |name: &str, stage: &dyn Fn(&Photo)| {
        group.bench_function(name, |b| b.iter_batched_ref(|| photo.clone(), |p| stage(p), BatchSize::PerIteration));
    };
    on_photo("moire", &|p| drop(black_box(fabric::moire(p))));
    on_photo("ruler", &|p| drop(black_box(ruler::read(p, &RulerSettings::default()))));
    let reading = ruler::read(&photo, &RulerSettings::default()).expect("a ruler");
    let prior = CameraPrior::of(&photo);
    on_photo("plane", &|_| drop(black_box(plane::estimate(&ScaleEvidence::Ruler(&reading), &prior, &[]))));
    let map = plane::estimate(&ScaleEvidence::Ruler(&reading), &prior, &[]).expect("a plane").map;
    let excluded = vec![reading.outline_px.clone()];
    on_photo("search for fabric", &|p| drop(black_box(fabric::search(p, &map, &excluded, None))));
    let search = fabric::search(&photo, &map, &excluded, None).expect("a swatch");
    let declared = Declared { pattern: setup.stitch.clone(), ..Declared::default() };
    let seed = &search.seeds[0];
    on_photo("decide at a place", &|_| drop(black_box(lattice::propose(&seed.sheets, &declared))));
    let decision = lattice::propose(&seed.sheets, &declared).expect("stitches");
    on_photo("follow", &|p| {
        drop(black_box(lattice::grow(p, &map, &decision, &excluded, None, lattice::Windows::Wide)))
    });
    let followed = lattice::grow(&photo, &map, &decision, &excluded, None, lattice::Windows::Wide).expect("a lattice");
    on_photo("second look", &|p| {
        let even = lattice::straightened(p, &map, &followed, &excluded).expect("an area");
        drop(black_box(lattice::confirm(&even.patch.sheets(8.0), &declared, &followed.basis)));
    });
    let hints = SwatchHints { fabric: followed.region_px.clone(), axes: None };
    on_photo("outline", &|p| drop(black_box(fabric::swatch_outline(p, &map, &excluded, &hints))));
}

/// The thread's own time as a measurement of criterion's.
struct ThreadTime;

impl Measurement for ThreadTime {
    type Intermediate = Duration;
    type Value = Duration;

    fn start(&self) -> Duration {
        thread_time()
    }

    fn end(&self, start: Duration) -> Duration {
        thread_time().saturating_sub(start)
    }

    fn add(&self, a: &Duration, b: &Duration) -> Duration {
        *a + *b
    }

    fn zero(&self) -> Duration {
        Duration::ZERO
    }

    fn to_f64(&self, value: &Duration) -> f64 {
        value.as_secs_f64() * 1e3
    }

    fn formatter(&self) -> &dyn ValueFormatter {
        &Milliseconds
    }
}

/// Times in milliseconds, throughput in megapixels per second.
struct Milliseconds;

impl ValueFormatter for Milliseconds {
    fn scale_values(&self, _: f64, _: &mut [f64]) -> &'static str {
        "ms"
    }

    fn scale_throughputs(&self, _: f64, throughput: &Throughput, values: &mut [f64]) -> &'static str {
        if let Throughput::Elements(pixels) = throughput {
            values.iter_mut().for_each(|ms| *ms = *pixels as f64 / 1e6 / (*ms / 1e3));
        }
        "MP/s"
    }

    fn scale_for_machines(&self, _: &mut [f64]) -> &'static str {
        "ms"
    }
}
