//! Runs that are ended from outside: nothing half made is left, and the shell sees by which signal.

use super::folder::Folder;
use rand::{RngExt, SeedableRng};
use std::io::{BufRead, BufReader};
use std::os::unix::process::ExitStatusExt;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

const SIGINT: i32 = 2;
const SIGKILL: i32 = 9;
const SIGTERM: i32 = 15;

/// The signals for which the test, and so what it starts, is not deaf: scripts make their background jobs deaf for SIGINT.
fn heard() -> Vec<i32> {
    let about = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = about.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    let mask = mask.map_or(0, |mask| u64::from_str_radix(mask.trim(), 16).unwrap());
    let heard: Vec<i32> =
        [SIGINT, SIGTERM, SIGKILL].into_iter().filter(|signal| mask >> (signal - 1) & 1 == 0).collect();
    if heard.len() < 3 {
        println!("SKIPPED in part: SIGINT is ignored here");
    }
    heard
}

fn send(signal: i32, child: &Child) {
    let sent = Command::new("kill").arg(format!("-{signal}")).arg(child.id().to_string()).status();
    assert!(sent.is_ok_and(|s| s.success()));
}

/// A class of small photos, begun in the folder `class`.
fn drawing(folder: &Folder, round: usize) -> Child {
    let class = format!("class{round}");
    let arguments = ["sample", "--class", &class, "--knitters", "4", "--size", "200x150"];
    let mut command = folder.command();
    command.args(arguments).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap()
}

/// Names and sizes of all files of a class, hidden ones too.
fn files(folder: &Folder, round: usize) -> Vec<String> {
    let mut found = Vec::new();
    let mut waiting = vec![folder.path(format!("class{round}"))];
    while let Some(path) = waiting.pop() {
        if path.is_dir() {
            waiting.extend(std::fs::read_dir(&path).unwrap().map(|e| e.unwrap().path()));
        } else if path.exists() {
            found.push(path.to_string_lossy().into_owned());
        }
    }
    found
}

/// Whatever is there by its own name can be read to its end.
fn assert_whole(files: &[String]) {
    for file in files.iter().filter(|f| !f.contains(".walewise-")) {
        if file.ends_with(".json") {
            serde_json::from_slice::<serde_json::Value>(&std::fs::read(file).unwrap()).expect(file);
        } else {
            image::open(file).expect(file);
        }
    }
}

#[test]
fn ended_by_a_signal() {
    let folder = Folder::new();
    let heard = heard();
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(3);
    let start = std::time::Instant::now();
    assert!(drawing(&folder, 0).wait().unwrap().success());
    let (usual, all) = (start.elapsed(), files(&folder, 0).len());
    let mut seen = [0; 2];
    for round in 1..=18 {
        let signal = heard[round % heard.len()];
        let child = drawing(&folder, round);
        std::thread::sleep(Duration::from_millis(3).max(usual.mul_f64(random.random::<f64>())));
        send(signal, &child);
        let ended = child.wait_with_output().unwrap();
        assert_eq!(String::from_utf8_lossy(&ended.stderr), "", "{round}");
        let left = files(&folder, round);
        assert_whole(&left);
        match ended.status.signal() {
            Some(by) => assert_eq!(by, signal),
            None => assert!(ended.status.success() && left.len() == all, "it had finished"),
        }
        // SIGKILL leaves no time for anything.
        let unfinished = left.iter().filter(|f| f.contains(".walewise-")).count();
        assert!(signal == SIGKILL || unfinished == 0, "{round}: {left:?}");
        seen[usize::from(left.len() < all)] += 1;
    }
    println!("{} broken off, {} finished before", seen[1], seen[0]);
    assert!(seen[1] > 3, "{seen:?}");
}

/// What a shell makes of it: 128 and the signal's number.
#[test]
fn a_shell_sees_130_and_143() {
    let folder = Folder::new();
    let heard = heard();
    for (signal, status) in [(SIGINT, "130"), (SIGTERM, "143")].into_iter().filter(|(s, _)| heard.contains(s)) {
        // The program takes the place of the inner shell, whose number is told first.
        let inner = format!("echo $$; exec \"$WALEWISE\" sample --class class{signal} --knitters 12 --size 1200x900");
        let mut shell = Command::new("sh");
        shell.args(["-c", "sh -c \"$INNER\"; echo $?"]).env("INNER", inner).current_dir(folder.path("."));
        shell.env("WALEWISE", assert_cmd::cargo::cargo_bin!("walewise")).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut shell = shell.spawn().unwrap();
        let mut said = BufReader::new(shell.stdout.take().unwrap()).lines().map(Result::unwrap);
        let number = said.next().unwrap();
        std::thread::sleep(Duration::from_millis(300));
        assert!(Command::new("kill").arg(format!("-{signal}")).arg(number).status().is_ok_and(|s| s.success()));
        assert_eq!(said.last().as_deref(), Some(status));
        shell.wait().unwrap();
    }
}

/// While a photo is measured nothing is written yet.
#[test]
fn measuring_is_broken_off_without_a_trace() {
    let folder = Folder::new();
    let large = image::RgbImage::from_fn(2000, 1500, |x, y| {
        image::Rgb([(x.wrapping_mul(2_654_435_761) ^ y.wrapping_mul(40_503)) as u8; 3])
    });
    large.save(folder.path("large.png")).unwrap();
    let mut command = folder.command();
    command.args(["measure", "large.png", "--annotate", "seen.png", "--report", "report.html"]);
    let child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    std::thread::sleep(Duration::from_millis(300));
    send(SIGTERM, &child);
    let ended = child.wait_with_output().unwrap();
    if ended.status.signal() == Some(SIGTERM) {
        assert_eq!(folder.names("."), ["grey.jpg", "large.png"]);
    }
}
