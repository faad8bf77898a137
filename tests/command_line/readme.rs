//! The README's walk through the log and on to a plan, run as a reader would run it.

use super::folder::{Answer, Folder};
use std::path::Path;

/// The commands of one section, in order: whole `sh` blocks, and the lines behind `$` in blocks of output.
fn commands(section: &str) -> String {
    let mut script = String::from("set -e\n");
    for (n, block) in section.split("```").enumerate().filter(|(n, _)| n % 2 == 1) {
        let (kind, text) = block.split_once('\n').unwrap_or_else(|| panic!("block {n} has no lines"));
        match kind {
            "sh" => script.push_str(text),
            "text" => {
                text.lines().filter_map(|l| l.strip_prefix("$ ")).for_each(|l| script.push_str(&format!("{l}\n")))
            }
            _ => {}
        }
    }
    script
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        if entry.file_type().unwrap().is_file() {
            std::fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
        }
    }
}

#[test]
fn the_log_of_the_readme_is_built_by_its_commands() {
    let project = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = std::fs::read_to_string(project.join("README.md")).unwrap();
    let section = readme.split("\n## `walewise log`\n").nth(1).and_then(|rest| rest.split("\n## ").next()).unwrap();
    let folder = Folder::new();
    for name in ["sample-photos", "sample-plans"] {
        copy(&project.join(name), &folder.path(name));
    }
    std::fs::create_dir(folder.path("bin")).unwrap();
    std::os::unix::fs::symlink(assert_cmd::cargo::cargo_bin!("walewise"), folder.path("bin/walewise")).unwrap();
    let script = format!("PATH=\"$PWD/bin:$PATH\"\n{}", commands(section));
    for part in ["walewise log add ", "walewise log compare ", "walewise plan "] {
        assert!(script.contains(part), "{part}");
    }
    let Answer { status, out, err } = folder.shell(&script);
    assert_eq!(status, 0, "{out}{err}");
    // What was counted by hand does not depend on how photos are measured.
    for (line, words) in [("list", "17.50 ± 0.13  25.75 ± 0.14"), ("change", "+2.8 ± 1.0  +3.8 ± 0.7  -6.2 ± 1.1")]
    {
        assert!(section.contains(words) && out.contains(words), "{line}: {out}");
    }
    let page = std::fs::read_to_string(folder.path("sample-photos/compare.html")).unwrap();
    assert!(page.contains("undyed alpaca") && page.ends_with("</html>"));
    assert!(folder.path("sample-photos/band.html").exists() && folder.path("sample-photos/first.jpg").exists());
}
