//! Build script: lists the files of the built page (`web/dist`), so that the feature `serve` can carry them in the
//! program. Where the page was not built, the list is empty: building the program never needs the page.

use std::fmt::Write;
use std::path::{Path, PathBuf};

fn main() {
    println!("cargo::rerun-if-changed=web/embed.rs");
    if std::env::var_os("CARGO_FEATURE_SERVE").is_none() {
        return;
    }
    let root = PathBuf::from(std::env::var_os("CARGO_MANIFEST_DIR").expect("cargo sets the folder of the crate"));
    let site = root.join("web/dist");
    println!("cargo::rerun-if-changed={}", site.display());
    let mut files = Vec::new();
    collect(&site, &mut files);
    files.sort();
    let mut list = String::from("&[\n");
    for file in &files {
        let name = file.strip_prefix(&site).expect("files lie in the folder").to_string_lossy().replace('\\', "/");
        writeln!(list, "    ({name:?}, include_bytes!({:?})),", file.display()).expect("a String takes everything");
    }
    list.push_str("]\n");
    let out = PathBuf::from(std::env::var_os("OUT_DIR").expect("cargo sets the folder for what is made"));
    std::fs::write(out.join("page_files.rs"), list).expect("the list can be written");
}

/// All files in a folder and the folders in it; none where it is not there.
fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() { collect(&path, files) } else { files.push(path) }
    }
}
