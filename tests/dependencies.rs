//! What the project stands on: licences, reasons, sources, versions, and no unsafe code of its own.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Licences that a dependency may have, in SPDX's names. They let anyone use, change and pass on the program, in source
/// and built, and ask for no more than that their text goes with it.
const PERMISSIVE: [&str; 7] = ["MIT", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "Zlib", "Unicode-3.0", "0BSD"];

/// Others, each for the crates it is accepted in and why.
const ACCEPTED: [(&str, &str); 2] = [
    // Of the fonts inside, which may be embedded and passed on with a program; Hack itself is under MIT and the Bitstream
    // Vera licence.
    ("OFL-1.1", "epaint_default_fonts"),
    ("Ubuntu-font-1.0", "epaint_default_fonts"),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn output(command: &mut Command) -> String {
    let output = command.output().expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text")
}

/// What cargo knows of the package and of all that it is built and tested with on this platform, without a network.
fn metadata() -> Value {
    let about = output(Command::new(env!("CARGO")).arg("-vV"));
    let host = about.lines().find_map(|line| line.strip_prefix("host: ")).expect("a platform");
    let arguments = ["metadata", "--locked", "--offline", "--format-version", "1", "--filter-platform", host];
    let text = output(Command::new(env!("CARGO")).args(arguments).current_dir(root()));
    serde_json::from_str(&text).expect("JSON")
}

/// Whether a licence expression (SPDX's, or the older one with a slash for "or") leaves a choice that is accepted.
fn is_accepted(expression: &str, package: &str) -> bool {
    let expression = expression.replace('/', " OR ");
    any_of(&expression, " OR ", |choice| {
        !any_of(choice, " AND ", |part| match part.strip_prefix('(').and_then(|p| p.strip_suffix(')')) {
            Some(inner) => !is_accepted(inner, package),
            None => !(PERMISSIVE.contains(&part) || ACCEPTED.contains(&(part, package))),
        })
    })
}

/// Whether something holds for any of the parts between words that stand outside all brackets.
fn any_of(expression: &str, word: &str, holds: impl Fn(&str) -> bool) -> bool {
    let mut from = 0;
    let depth = |to: usize| expression[..to].matches('(').count() - expression[..to].matches(')').count();
    for (at, _) in expression.match_indices(word).filter(|(at, _)| depth(*at) == 0) {
        if holds(expression[from..at].trim()) {
            return true;
        }
        from = at + word.len();
    }
    holds(expression[from..].trim())
}

#[test]
fn licence_expressions() {
    for good in
        ["MIT", "MIT/Apache-2.0", "(MIT OR GPL-3.0) AND Unicode-3.0", "Unlicense OR MIT", "GPL-2.0 OR (MIT AND Zlib)"]
    {
        assert!(is_accepted(good, "any"), "{good}");
    }
    for bad in
        ["GPL-3.0", "MIT AND GPL-3.0", "(MIT OR Zlib) AND MPL-2.0", "", "OFL-1.1", "Apache-2.0 WITH LLVM-exception"]
    {
        assert!(!is_accepted(bad, "any"), "{bad}");
    }
}

#[test]
fn every_dependency_has_a_permissive_licence() {
    let metadata = metadata();
    let used: BTreeSet<&str> =
        metadata["resolve"]["nodes"].as_array().unwrap().iter().map(|n| n["id"].as_str().unwrap()).collect();
    let packages = metadata["packages"].as_array().unwrap();
    let mut wrong = Vec::new();
    for package in packages.iter().filter(|p| used.contains(p["id"].as_str().unwrap())) {
        let (name, licence) = (package["name"].as_str().unwrap(), package["license"].as_str().unwrap_or_default());
        if !is_accepted(licence, name) {
            wrong.push(format!("{name}: '{licence}'"));
        }
    }
    println!("{} packages", used.len());
    assert!(used.len() > 50 && wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Crates that are there in two versions, because crates that we use want different ones. Two are built and carried where one
/// would do: a new one is worth a look.
const TWICE: [&str; 5] = ["cpufeatures", "itertools", "miniz_oxide", "quick-error", "syn"];

#[test]
fn no_crate_is_there_twice_without_being_known() {
    let arguments = ["tree", "--locked", "--offline", "--duplicates", "--depth", "0", "--prefix", "none"];
    let listed = output(Command::new(env!("CARGO")).args(arguments).current_dir(root()));
    let mut versions: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for line in listed.lines().filter(|line| !line.is_empty()) {
        let (name, version) = line.split_once(' ').expect("a name and its version");
        versions.entry(name).or_default().insert(version.split(' ').next().unwrap());
    }
    let unknown: Vec<_> = versions.iter().filter(|(name, v)| !TWICE.contains(name) || v.len() > 2).collect();
    assert!(unknown.is_empty(), "new in several versions: {unknown:?}");
}

/// Every lock file: each crate but our own comes from one registry, none from a repository or another place, and each with
/// the checksum by which cargo knows it again.
#[test]
fn every_dependency_comes_from_the_registry() {
    let mut registries = BTreeSet::new();
    for lock in ["Cargo.lock", "web/binding/Cargo.lock", "web/bindgen/Cargo.lock", "tests/fuzz/Cargo.lock"] {
        let text = std::fs::read_to_string(root().join(lock)).unwrap();
        for package in text.split("[[package]]").skip(1) {
            let of = |key: &str| package.lines().find_map(|l| l.strip_prefix(key)?.strip_prefix(" = "));
            let name = of("name").expect("a name").trim_matches('"');
            match of("source") {
                Some(source) => {
                    assert!(source.starts_with("\"registry+"), "{lock}: {name}: {source}");
                    assert!(of("checksum").is_some(), "{lock}: {name} has no checksum");
                    registries.insert(source.to_owned());
                }
                None => assert!(name.starts_with("walewise"), "{lock}: {name} comes from no registry"),
            }
        }
    }
    assert_eq!(registries.len(), 1, "{registries:?}");
}

/// The table in DEVELOPERS.md: a row for every crate that `Cargo.toml` names, and no other.
#[test]
fn every_direct_dependency_has_its_reason() {
    let metadata = metadata();
    let packages = metadata["packages"].as_array().unwrap();
    let own = packages.iter().find(|p| p["name"] == "walewise").unwrap();
    let named: BTreeSet<&str> =
        own["dependencies"].as_array().unwrap().iter().map(|d| d["name"].as_str().unwrap()).collect();
    let text = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let table = text.split("| crate | why |").nth(1).expect("the table of crates");
    let rows = table.lines().skip(2).take_while(|line| line.starts_with('|'));
    let reasons: BTreeMap<&str, &str> = rows
        .map(|row| {
            let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
            assert_eq!(cells.len(), 2, "{row}");
            (cells[0].trim_matches('`'), cells[1])
        })
        .collect();
    assert_eq!(reasons.keys().copied().collect::<BTreeSet<_>>(), named);
    assert!(reasons.values().all(|why| why.len() > 10), "{reasons:?}");
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() && !["target", "dist", "node_modules"].iter().any(|n| path.ends_with(n)) {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// The compiler refuses unsafe code in the library and the command; the page's crates, whose glue is made by a macro that
/// needs it, are looked through.
#[test]
fn no_unsafe_code_of_our_own() {
    for name in ["src/lib.rs", "src/main.rs"] {
        let text = std::fs::read_to_string(root().join(name)).unwrap();
        assert!(text.contains("#![forbid(unsafe_code)]"), "{name}");
    }
    let mut found = Vec::new();
    sources(&root().join("src"), &mut found);
    sources(&root().join("web"), &mut found);
    for path in found {
        let text = std::fs::read_to_string(&path).unwrap();
        let mut code = text.lines().filter(|line| !line.trim_start().starts_with("//"));
        assert!(
            !code.any(|line| line.contains("unsafe ") || line.contains("unsafe_code)]") && line.contains("allow")),
            "{}",
            path.display()
        );
    }
}
