//! The house rule that data flows one way: each stage imports only those before it, and the core does no I/O.

use std::path::{Path, PathBuf};

/// The stages in order; a module may use itself and those before it. `report` and `cli` stand on all.
const ORDER: [&str; 21] = [
    "side_by_side",
    "quantity",
    "spreadsheet",
    "refusal",
    "caution",
    "card",
    "photo",
    "ruler",
    "plane",
    "fabric",
    "lattice",
    "gauge",
    "record",
    "compare",
    "measure",
    "sizing",
    "plan",
    "class",
    "report",
    "logbook",
    "cli",
];

/// Words that mean files, clock, environment, threads or printing.
const NOT_IN_THE_CORE: [&str; 10] = [
    "std::fs",
    "std::env",
    "std::time",
    "std::thread",
    "thread_local!",
    "rayon::",
    "std::net",
    "println!",
    "eprintln!",
    "unsafe ",
];

/// What `side_by_side`, and nothing else in the core, may have.
const THREADS: [&str; 2] = ["thread_local!", "rayon::"];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).expect("src can be read") {
        let path = entry.expect("an entry of src").path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found
}

/// The module a file belongs to: the first folder under src, or the file's own name.
fn module(path: &Path, root: &Path) -> String {
    let inside = path.strip_prefix(root).expect("under src");
    let first = inside.iter().next().expect("a name").to_string_lossy();
    first.trim_end_matches(".rs").to_owned()
}

/// The file's text up to its unit tests.
fn code(path: &Path) -> String {
    let text = std::fs::read_to_string(path).expect("a source can be read");
    text.split("#[cfg(test)]").next().expect("a first part").to_owned()
}

#[test]
fn each_stage_uses_only_those_before_it() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let rank = |m: &str| ORDER.iter().position(|o| *o == m);
    let mut wrong = Vec::new();
    for path in sources(&root) {
        let own = module(&path, &root);
        let Some(own_rank) = rank(&own) else { continue };
        for part in code(&path).split("crate::").skip(1) {
            let used: String = part.chars().take_while(|c| c.is_ascii_lowercase() || *c == '_').collect();
            if rank(&used).is_some_and(|r| r > own_rank) {
                wrong.push(format!("{} uses {used}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_core_does_no_input_or_output() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    for path in sources(&root) {
        let own = module(&path, &root);
        if own == "cli" || own == "main" {
            continue;
        }
        let forbidden = |w: &&&str| own != "side_by_side" || !THREADS.contains(w);
        for line in code(&path).lines().filter(|l| !l.trim_start().starts_with("//")) {
            let found = NOT_IN_THE_CORE.iter().filter(forbidden).filter(|w| line.contains(**w));
            wrong.extend(found.map(|w| format!("{}: {w}", path.display())));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn synthetic_shares_no_code_with_what_it_tests() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for path in sources(&root.join("synthetic")) {
        let text = code(&path);
        for other in ["crate::lattice", "crate::ruler", "crate::plane", "crate::fabric"] {
            assert!(!text.contains(other), "{} uses {other}", path.display());
        }
    }
}
