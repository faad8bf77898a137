//! Every input that is kept for fuzzing goes through the same functions as there: old crashes stay mended.
#![cfg(all(feature = "cli", feature = "logbook"))]

#[path = "fuzz/entries/mod.rs"]
mod entries;

use std::path::Path;

/// Feeds each file of a target's corpus to its entry function.
fn replay(target: &str, entry: fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/seeds").join(target);
    let mut files: Vec<_> =
        std::fs::read_dir(&folder).expect("the corpus").map(|e| e.expect("a file").path()).collect();
    files.sort();
    assert!(files.len() >= 5, "{target}: {} inputs", files.len());
    for file in files {
        // Printed where it panics.
        println!("{}", file.display());
        entry(&std::fs::read(&file).expect("an input"));
    }
}

#[test]
fn photos() {
    replay("photo", entries::photo);
}

#[test]
fn exif() {
    replay("exif", entries::exif);
}

#[test]
fn plans() {
    replay("plan", entries::plan);
}

#[test]
fn logs() {
    replay("log_import", entries::log_import);
}

#[test]
fn classes() {
    replay("class_table", entries::class_table);
}

#[test]
fn profiles_and_measurements() {
    replay("json", entries::json);
}
