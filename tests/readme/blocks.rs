//! Blocks of commands and of what they print.

use super::project;
use std::path::Path;
use std::process::{Command, Stdio};

/// What stands for lines that are not shown.
const LEFT_OUT: &str = "…";

/// Between what two blocks print.
const MARK: char = '\u{1}';

/// A fenced block: its kind, the lines between its fences, and where they are.
struct Block {
    kind: String,
    lines: std::ops::Range<usize>,
    not_run: bool,
}

fn blocks(lines: &[&str]) -> Vec<Block> {
    let mut found = Vec::new();
    let mut from = None;
    for (i, line) in lines.iter().enumerate() {
        let Some(kind) = line.strip_prefix("```") else { continue };
        match from.take() {
            None => from = Some((i, kind.to_owned())),
            Some((start, kind)) => {
                let not_run = start > 0 && lines[start - 1].starts_with("<!-- not run: ");
                found.push(Block { kind, lines: start + 1..i, not_run });
            }
        }
    }
    assert!(from.is_none(), "a block without an end");
    found
}

/// The page with every block of output as it is printed now; only compared unless it is to be written anew.
pub fn renewed(page: &str, rewrite: bool) -> Result<String, String> {
    let lines: Vec<&str> = page.lines().collect();
    let blocks: Vec<Block> = blocks(&lines).into_iter().filter(|block| !block.not_run).collect();
    let (printed, failed) = run(&script(&lines, &blocks));
    if !failed.is_empty() {
        return Err(format!("these commands fail:\n{failed}"));
    }
    let mut new: Vec<String> = Vec::new();
    let mut next = 0;
    let mut seen: &[String] = &[];
    let mut runs = printed.iter();
    for block in &blocks {
        let shown = &lines[block.lines.clone()];
        let command = shown.iter().take_while(is_command).count();
        if block.kind == "sh" || block.kind == "text" && command > 0 {
            seen = runs.next().ok_or("a block was not reached")?;
        }
        if block.kind != "text" {
            continue;
        }
        let start = block.lines.start + command;
        new.extend(lines[next..start].iter().map(|&l| l.to_owned()));
        new.extend(shown_of(&shown[command..], seen, rewrite)?);
        next = block.lines.end;
    }
    new.extend(lines[next..].iter().map(|&l| l.to_owned()));
    Ok(new.join("\n") + "\n")
}

/// The command of a block of output: behind `$`, and its lines further in.
fn is_command(line: &&&str) -> bool {
    line.starts_with("$ ") || line.starts_with("> ")
}

/// One script for the whole page, since a block may go on in the folder and with the variables of another.
fn script(lines: &[&str], blocks: &[Block]) -> String {
    let mut script = "trap 's=$?; [ $s = 3 ] || echo \"$s: $BASH_COMMAND\" >> \"$FAILED\"' ERR\n".to_owned();
    let mut add = |text: &str| script.push_str(&format!("printf '\\001'\n{text}\n"));
    for block in blocks {
        let text = &lines[block.lines.clone()];
        let command: Vec<&str> = text.iter().take_while(is_command).map(|l| &l[2..]).collect();
        match block.kind.as_str() {
            "sh" => add(&text.join("\n")),
            "text" if !command.is_empty() => add(&command.join("\n")),
            _ => {}
        }
    }
    script
}

/// Runs a script beside a copy of the sample photos; the lines that each of its parts prints, and what failed.
fn run(script: &str) -> (Vec<Vec<String>>, String) {
    let folder = tempfile::tempdir().expect("a folder");
    run_script(folder.path(), script)
}

/// Runs all blocks of a page in a folder, for the files that they leave there.
pub fn run_in(folder: &Path, page: &str) {
    let lines: Vec<&str> = page.lines().collect();
    let blocks: Vec<Block> = blocks(&lines).into_iter().filter(|block| !block.not_run).collect();
    let (_, failed) = run_script(folder, &script(&lines, &blocks));
    assert!(failed.is_empty(), "{failed}");
}

fn run_script(folder: &Path, script: &str) -> (Vec<Vec<String>>, String) {
    copy(&project().join("sample-photos"), &folder.join("sample-photos"));
    let bin = folder.join("bin");
    std::fs::create_dir(&bin).expect("a folder");
    std::os::unix::fs::symlink(assert_cmd::cargo::cargo_bin!("walewise"), bin.join("walewise")).expect("a link");
    let path = format!("{}:{}", bin.display(), std::env::var("PATH").unwrap_or_default());
    let failed = folder.join("failed");
    let mut command = Command::new("bash");
    command.current_dir(folder).env("PATH", path).env("FAILED", &failed).env("HOME", folder).stdin(Stdio::null());
    command.env("TZ", "UTC").env_remove("WALEWISE_LOGBOOK").env_remove("COLUMNS");
    let output = command.args(["-c", script]).output().expect("bash");
    let printed = String::from_utf8(output.stdout).expect("text");
    let parts = printed.split(MARK).skip(1).map(|part| part.trim_end().lines().map(str::to_owned).collect());
    let failed = std::fs::read_to_string(&failed).unwrap_or_default();
    let said = if failed.is_empty() { String::new() } else { failed + &String::from_utf8_lossy(&output.stderr) };
    (parts.collect(), said)
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder");
    for entry in std::fs::read_dir(from).expect("a folder") {
        let entry = entry.expect("an entry");
        let target = to.join(entry.file_name());
        if entry.file_type().expect("a kind").is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).expect("copied");
        }
    }
}

/// What a block should show: the lines that it leaves out are left out again.
fn shown_of(shown: &[&str], printed: &[String], rewrite: bool) -> Result<Vec<String>, String> {
    let parts: Vec<&[&str]> = shown.split(|line| *line == LEFT_OUT).collect();
    let last = parts.len() - 1;
    let mut new: Vec<String> = Vec::new();
    let mut from = 0;
    for (i, part) in parts.iter().enumerate() {
        let at = match (i, part.len()) {
            (_, 0) => from,
            (0, _) => 0,
            (_, n) => place(part, printed, from, n),
        };
        let n = if last == 0 { printed.len() } else { part.len().min(printed.len() - at) };
        new.extend_from_slice(&printed[at..at + n]);
        from = at + n;
        // What follows the last part that is shown is left out, too.
        if i < last || last > 0 && !part.is_empty() && from < printed.len() {
            new.push(LEFT_OUT.to_owned());
        }
    }
    let same = new.len() == shown.len() && new.iter().zip(shown).all(|(n, s)| n == s);
    if same || rewrite {
        return Ok(new);
    }
    let differ = shown.iter().zip(&new).find(|(s, n)| s != n);
    let (says, prints) = differ.map_or(("", ""), |(s, n)| (*s, n.as_str()));
    Err(format!("a block says\n{says}\nwhere the command prints\n{prints}\nin all:\n{}", printed.join("\n")))
}

/// Where the lines of a part are printed from `from` on, whatever their numbers: the first place with most of them.
fn place(part: &[&str], printed: &[String], from: usize, n: usize) -> usize {
    let alike = |at: usize| {
        let pairs = part.iter().zip(&printed[at..]);
        pairs
            .map(|(s, p)| usize::from(without_numbers(s) == without_numbers(p)) * 2 + usize::from(s == p))
            .sum::<usize>()
    };
    let last = printed.len().saturating_sub(n);
    (from..=last.max(from)).rev().max_by_key(|&at| alike(at.min(printed.len()))).unwrap_or(from)
}

fn without_numbers(line: &str) -> String {
    line.chars().filter(|c| !c.is_ascii_digit() && !matches!(c, '.' | ' ')).collect()
}
