//! Killed at any moment: no acknowledged entry is lost, and the file always opens.

use super::folder::Folder;
use rand::{RngExt, SeedableRng};
use std::io::Read;
use std::process::Stdio;
use std::time::Duration;

/// Adds entries one after the other, each killed (SIGKILL) after a random time, and then asks the log what it holds.
fn killed_while_adding(times: usize) {
    let folder = Folder::new();
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(9);
    let mut acknowledged = Vec::new();
    let longest = usual_time(&folder) * 3 / 2;
    for i in 0..times {
        let name = format!("yarn {i}");
        let arguments =
            ["log", "--logbook", "log.sqlite", "count", "22x30", "--yarn", &name, "--note", &"x".repeat(20_000)];
        let mut child = folder.command().args(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        std::thread::sleep(longest.mul_f64(random.random::<f64>()));
        child.kill().unwrap();
        child.wait().unwrap();
        let (mut said, mut complaint) = (String::new(), String::new());
        child.stdout.take().unwrap().read_to_string(&mut said).unwrap();
        child.stderr.take().unwrap().read_to_string(&mut complaint).unwrap();
        assert_eq!(complaint, "", "{i}");
        if said.starts_with("Kept as swatch") {
            acknowledged.push(name);
        }
        if i % 25 == 24 {
            assert_eq!(folder.log_done(&["check"]), "The log is sound.\n");
        }
    }
    let held = folder.log_done(&["list", "--json", "--limit", "100000"]);
    let yarns: Vec<String> = held
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap()["yarn"].as_str().unwrap().to_owned())
        .collect();
    for name in &acknowledged {
        assert!(yarns.contains(name), "{name} was acknowledged and is gone");
    }
    println!("{times} killed: {} acknowledged, {} in the log", acknowledged.len(), yarns.len() - 1);
    assert_eq!(folder.log_done(&["check"]), "The log is sound.\n");
    assert!(folder.log_done(&["count", "22x30"]).starts_with("Kept"));
}

/// How long one entry takes here and now.
fn usual_time(folder: &Folder) -> Duration {
    let start = std::time::Instant::now();
    folder.log_done(&["count", "22x30", "--yarn", "first"]);
    start.elapsed().max(Duration::from_millis(2))
}

#[test]
fn killed_25_times_while_adding() {
    killed_while_adding(25);
}

/// Run with `cargo test --release --test command_line -- --ignored --nocapture killed_500`.
#[test]
#[ignore = "takes a minute or more"]
fn killed_500_times_while_adding() {
    killed_while_adding(500);
}
