//! Every input that is kept for fuzzing goes through the same functions as there: old crashes stay mended. Then the same
//! inputs, changed at random: a few of each kind, or as many as `WALEWISE_SECONDS` allow for each.
#![cfg(all(feature = "cli", feature = "logbook"))]

#[path = "fuzz/entries/mod.rs"]
mod entries;
mod mutation;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Feeds each kept input of a target to its entry function, and so many changed ones.
fn replay(target: &str, entry: fn(&[u8]), changed: usize) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/seeds").join(target);
    let mut files: Vec<_> =
        std::fs::read_dir(&folder).expect("the corpus").map(|e| e.expect("a file").path()).collect();
    files.sort();
    assert!(files.len() >= 5, "{target}: {} inputs", files.len());
    let seeds: Vec<Vec<u8>> = files.iter().map(|file| std::fs::read(file).expect("an input")).collect();
    for (file, input) in files.iter().zip(&seeds) {
        assert!(catch_unwind(AssertUnwindSafe(|| entry(input))).is_ok(), "{}", file.display());
    }
    let allowed = std::env::var("WALEWISE_SECONDS").ok().and_then(|s| s.parse().ok()).map(Duration::from_secs);
    let start = Instant::now();
    // Long runs differ from each other; the short one is the same every time.
    let now = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |t| t.as_nanos() as u64);
    let mut random = ChaCha8Rng::seed_from_u64(if allowed.is_some() { now } else { 1 });
    let (mut done, mut slowest) = (0, Duration::ZERO);
    while allowed.map_or(done < changed, |allowed| start.elapsed() < allowed) {
        let input = mutation::changed(&seeds, &mut random);
        let begun = Instant::now();
        let sound = catch_unwind(AssertUnwindSafe(|| entry(&input))).is_ok();
        if !sound || begun.elapsed() > Duration::from_secs(20) {
            let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{target}-{done}"));
            std::fs::write(&kept, &input).expect("the input is kept");
            assert!(sound, "kept as {}", kept.display());
            println!("{target}: slow ({:?}): {}", begun.elapsed(), kept.display());
        }
        slowest = slowest.max(begun.elapsed());
        done += 1;
    }
    println!("{target}: {} kept, {done} changed inputs in {:?}, the slowest {slowest:?}", seeds.len(), start.elapsed());
}

#[test]
fn photos() {
    replay("photo", entries::photo, 60);
}

#[test]
fn exif() {
    replay("exif", entries::exif, 2000);
}

#[test]
fn plans() {
    replay("plan", entries::plan, 200);
}

#[test]
fn logs() {
    replay("log_import", entries::log_import, 200);
}

#[test]
fn classes() {
    replay("class_table", entries::class_table, 200);
}

#[test]
fn profiles_and_measurements() {
    replay("json", entries::json, 200);
}
