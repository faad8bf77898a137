//! The help of every command ends with examples, and they run as they stand there.

use super::folder::{Answer, Folder};
use std::path::Path;

/// The names under "Commands:" in a help text.
fn commands(help: &str) -> Vec<String> {
    let lines = help.lines().skip_while(|line| *line != "Commands:").skip(1).take_while(|line| !line.is_empty());
    let names = lines.filter_map(|line| line.strip_prefix("  ").filter(|rest| !rest.starts_with(' ')));
    names.filter_map(|line| line.split_whitespace().next()).filter(|name| *name != "help").map(str::to_owned).collect()
}

/// The lines under "Example:" or "Examples…:".
fn examples(help: &str) -> Vec<String> {
    let lines = help.lines().skip_while(|line| !line.starts_with("Example")).skip(1);
    lines.map_while(|line| line.strip_prefix("  ")).map(str::to_owned).collect()
}

/// Every command with its help: `""` for the program itself, `"log add"` for a subcommand.
fn all_help(folder: &Folder) -> Vec<(String, String)> {
    let mut waiting = vec![String::new()];
    let mut all = Vec::new();
    while let Some(name) = waiting.pop() {
        let answer = Answer::of(folder.command().args(name.split_whitespace()).arg("--help"));
        assert_eq!((answer.status, answer.err.as_str()), (0, ""), "{name}");
        waiting.extend(commands(&answer.out).into_iter().map(|sub| format!("{name} {sub}").trim().to_owned()));
        all.push((name, answer.out));
    }
    all
}

/// What the examples name: photos, a plan, a class, a table, a page, photos of the card, a log.
const PREPARATION: &str = r#"set -e
PATH="$PWD/bin:$PATH"
walewise sample drawn.jpg --difficulty easy --stitch stockinette --gauge 18x25 --size 1200x900 --seed 7 --ruler cm
cp drawn.jpg swatch.jpg
cp drawn.jpg washed.jpg
for n in 1 2 3 7 11 14; do walewise sample card-$n.jpg --ruler card --tilt $((4 + n % 6 * 4)) --seed $n --size 800x600 --stitch stockinette; done
walewise sample --class demo --seed 7 --knitters 3
printf 'knitter,stitches_per_10cm\nAnn,22.1\nBo,23\nCy,21.4\nDi,22.7\n' > gauges.csv
mkdir -p web/dist && echo page > web/dist/index.html
cd log
walewise log add ../swatch.jpg --stitch stockinette --yarn 'grey lambswool' --needle 4 --state off-needle --thumbnail
set -- --over 200 --plus-minus 0.25 --stitch stockinette --tag lesson
walewise log count 40x56 "$@" --yarn 'undyed alpaca' --needle 4 --state off-needle --knitter Ann
walewise log count 41x57 --over 200 --plus-minus 0.25 --state washed --to 2
walewise log count 42x58 "$@" --yarn 'undyed alpaca' --needle 3.5 --state washed --knitter Bo
walewise log count 44x60 "$@" --yarn 'undyed alpaca' --needle 3.25 --state washed --knitter Cy
walewise log count 45x61 "$@" --yarn 'undyed alpaca' --needle 3 --state washed --knitter Di
walewise log export ../swatches.jsonl
"#;

fn prepared() -> Folder {
    let folder = Folder::new();
    let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos");
    for (from, to) in [
        ("lace-two-edged-ruler.jpg", "lace.jpg"),
        ("plans/three-caps.toml", "cap.toml"),
        ("plans/swatch.json", "swatch.json"),
    ] {
        std::fs::copy(project.join(from), folder.path(to)).unwrap();
    }
    for name in ["bin", "log"] {
        std::fs::create_dir(folder.path(name)).unwrap();
    }
    std::os::unix::fs::symlink(assert_cmd::cargo::cargo_bin!("walewise"), folder.path("bin/walewise")).unwrap();
    let log = folder.path("log/log.sqlite");
    let answer = folder.shell(&format!("export WALEWISE_LOGBOOK='{}'\n{PREPARATION}", log.display()));
    assert_eq!(answer.status, 0, "{}{}", answer.out, answer.err);
    folder
}

#[test]
fn every_command_has_examples_that_run() {
    let folder = prepared();
    let all = all_help(&folder);
    assert!(all.len() > 25, "{}", all.len());
    for (name, help) in all {
        let lines = examples(&help);
        assert!(!lines.is_empty(), "'{name}' has no example");
        // Those of one command in their order, each command on a log of its own.
        let mut script = String::from("PATH=\"$PWD/bin:$PATH\"; WALEWISE_LOGBOOK=\"$PWD/own.sqlite\"\n");
        script += "export WALEWISE_LOGBOOK; rm -f own.sqlite*; cp log/log.sqlite own.sqlite\nset -e\n";
        script += "rm -rf demo.* counted.jpg card.* lens.json\n";
        match name.as_str() {
            "sample" => script += "rm -rf demo\n",
            "log export" => script += "rm -f swatches.jsonl\n",
            _ => {}
        }
        for line in &lines {
            assert!(line.contains("walewise "), "{name}: {line}");
            assert!(name.is_empty() || line.contains(&format!("walewise {name}")) || lines.len() > 1, "{name}: {line}");
            if line.starts_with("walewise serve") {
                // Serves until it is stopped; without a page it was built with, it says so (2).
                script += &format!("set +e; timeout 2 {line}; code=$?; set -e; [ $code = 124 ] || [ $code = 2 ]\n");
            } else {
                script += &format!("echo '+' {}\n{line}\n", line.replace(['>', '|', '*'], ""));
            }
        }
        let answer = folder.shell(&script);
        assert_eq!(answer.status, 0, "{name}: {}{}", answer.out, answer.err);
    }
}
