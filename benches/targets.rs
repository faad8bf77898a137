//! The project's targets for time and memory, each as a ratio whose two sides are measured in turns within one run, so that
//! a busy machine slows both alike: `cargo bench --bench targets`. Prints a table, and one line of JSON. Times are those of a
//! clock on the wall, with one thread and with all cores.
//!
//! `WALEWISE_PYTHON` names a Python with NumPy and OpenCV for the comparison with `benches/opencv_numpy.py`; without it
//! that line says SKIPPED. A file named after `--` is measured instead of the drawn photo of 12 megapixels.

mod photos;

use rayon::iter::{ParallelBridge, ParallelIterator};
use serde_json::{Value, json};
use std::hint::black_box;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};
use walewise::measure::{Outcome, Setup, measure};
use walewise::photo::decode;
use walewise::side_by_side::on_one_thread;

/// Rounds in which both sides are measured; the least time of each side counts, since disturbances only add.
const ROUNDS: usize = 5;
/// Name of the argument with which this program measures one photo and prints its own peak of memory.
const PEAK_OF: &str = "--peak-of";

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    if let [flag, file] = arguments.as_slice()
        && flag == PEAK_OF
    {
        return print_peak(Path::new(file));
    }
    let [small, middle, large] = photos::SIZES.map(|(_, size)| photos::photo_file(size));
    let middle = arguments.first().filter(|a| !a.starts_with('-')).map_or(middle, PathBuf::from);
    let mut lines: Vec<Value> = Vec::new();
    let mut tell = |name: &str, value: Option<f64>, target: &str| {
        let shown = value.map_or("SKIPPED".to_owned(), |v| format!("{v:.2}"));
        println!("{name:<62} {shown:>8}   {target}");
        lines.push(json!({"what": name, "value": value, "target": target}));
    };
    let python = [Some(1), None].map(|threads| PythonTimes::measured(&middle, threads));
    let times = Times::in_turns(&middle);
    let decoding = times.decoding;
    let named = [("one thread", times.one_thread), ("all cores", times.all_cores)];
    for (threads, whole) in named {
        tell(&format!("12 MP: whole over decoding, {threads}"), Some(whole / decoding), "at most 2");
    }
    tell(
        "decoding over the same by libjpeg-turbo (OpenCV's)",
        python[0].as_ref().map(|p| decoding / p.decode),
        "at most 1.3",
    );
    for ((threads, whole), python) in named.iter().zip(&python) {
        tell(
            &format!("12 MP: OpenCV + NumPy script over ours, no decoding, {threads}"),
            python.as_ref().map(|p| p.steps / (whole - decoding)),
            "at least 3",
        );
    }
    for (name, file) in [("3 MP", &small), ("12 MP", &middle), ("48 MP", &large)] {
        tell(&format!("{name}: peak of memory over the decoded picture"), peak_over_picture(file), "at most 3");
    }
    let larger = Times::in_turns(&large);
    let more = pixels(&large) / pixels(&middle);
    tell("48 MP over 12 MP, time a pixel", Some(larger.one_thread / times.one_thread / more), "at most 1");
    tell("a folder of photos: one thread over all cores", both_cores(&small), "at least 1.8 on two");
    let [one, all, alone] = [times.one_thread, times.all_cores, decoding];
    println!("{}", json!({"one_thread_ms": one, "all_cores_ms": all, "decode_ms": alone, "lines": lines}));
}

fn read(file: &Path) -> Vec<u8> {
    std::fs::read(file).expect("a photo that can be read")
}

fn pixels(file: &Path) -> f64 {
    let (width, height) = image::image_dimensions(file).expect("a photo");
    f64::from(width) * f64::from(height)
}

fn run(bytes: &[u8], setup: &Setup) -> Outcome {
    measure(bytes, setup, &mut |_| ControlFlow::Continue(()))
}

fn milliseconds(work: impl FnOnce()) -> f64 {
    let start = Instant::now();
    work();
    start.elapsed().as_secs_f64() * 1e3
}

/// Times of one photo, ms.
struct Times {
    /// The whole measurement on one thread.
    one_thread: f64,
    /// The whole measurement on all cores.
    all_cores: f64,
    /// Decoding alone.
    decoding: f64,
}

impl Times {
    /// All three measured in turns.
    fn in_turns(file: &Path) -> Self {
        let (bytes, setup) = (read(file), photos::setup());
        let whole = || drop(black_box(run(&bytes, &setup)));
        let mut least = [f64::INFINITY; 3];
        for _ in 0..ROUNDS {
            let times = [
                milliseconds(|| on_one_thread(whole)),
                milliseconds(whole),
                milliseconds(|| drop(black_box(decode(&bytes)))),
            ];
            least.iter_mut().zip(times).for_each(|(least, time)| *least = least.min(time));
        }
        let [one_thread, all_cores, decoding] = least;
        Self { one_thread, all_cores, decoding }
    }
}

/// What the script beside this file takes, ms; `None` where it cannot run.
struct PythonTimes {
    decode: f64,
    steps: f64,
}

impl PythonTimes {
    /// On so many threads, or as many as OpenCV likes.
    fn measured(photo: &Path, threads: Option<usize>) -> Option<Self> {
        let python = std::env::var_os("WALEWISE_PYTHON")?;
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/opencv_numpy.py");
        let output = Command::new(python).arg(script).arg(photo).args(threads.map(|n| n.to_string())).output().ok()?;
        let said: Value = serde_json::from_slice(&output.stdout).ok()?;
        Some(Self { decode: said["decode_ms"].as_f64()?, steps: said["steps_ms"].as_f64()? })
    }
}

/// Peak of memory of a process that measures a photo, over the decoded picture of 3 bytes a pixel; `None` where the system
/// does not tell.
fn peak_over_picture(file: &Path) -> Option<f64> {
    let output = Command::new(std::env::current_exe().ok()?).arg(PEAK_OF).arg(file).output().ok()?;
    let bytes: f64 = String::from_utf8(output.stdout).ok()?.trim().parse().ok()?;
    Some(bytes / (3.0 * pixels(file)))
}

fn print_peak(file: &Path) {
    drop(black_box(run(&read(file), &photos::setup())));
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    if let Some(kb) = line.and_then(|l| l.trim().strip_suffix("kB")?.trim().parse::<f64>().ok()) {
        println!("{}", kb * 1024.0);
    }
}

/// Eight photos one after the other on one thread over the same side by side, as the command measures a folder; `None` on
/// one core.
fn both_cores(file: &Path) -> Option<f64> {
    const PHOTOS: usize = 8;
    std::thread::available_parallelism().ok().filter(|n| n.get() > 1)?;
    let (bytes, setup) = (read(file), photos::setup());
    let photo = || on_one_thread(|| drop(black_box(run(&bytes, &setup))));
    let (mut one, mut all) = (Duration::MAX, Duration::MAX);
    for _ in 0..2 {
        let start = Instant::now();
        (0..PHOTOS).for_each(|_| photo());
        one = one.min(start.elapsed());
        let start = Instant::now();
        (0..PHOTOS).par_bridge().for_each(|_| photo());
        all = all.min(start.elapsed());
    }
    Some(one.as_secs_f64() / all.as_secs_f64())
}
