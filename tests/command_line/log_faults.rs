//! Files and disks that are not as they should be: a clear error, and nothing overwritten.

use super::disk::SmallDisk;
use super::folder::{Answer, Folder};
use rusqlite::Connection;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

fn on(folder: &Folder, log: &Path, arguments: &[&str]) -> Answer {
    Answer::of(folder.command().arg("log").arg("--logbook").arg(log).args(arguments))
}

#[track_caller]
fn assert_complains(answer: &Answer, status: i32, says: &str) {
    assert_eq!((answer.status, answer.err.lines().count()), (status, 1), "{}{}", answer.out, answer.err);
    assert!(answer.err.contains(says), "{}", answer.err);
}

const EVERY_COMMAND: [&[&str]; 11] = [
    &["count", "22x30"],
    &["add", "grey.jpg"],
    &["list"],
    &["show", "1"],
    &["edit", "1", "--yarn", "x"],
    &["delete", "1"],
    &["compare"],
    &["export", "out.jsonl"],
    &["import", "in.jsonl"],
    &["backup", "copy.sqlite"],
    &["check"],
];

#[test]
fn a_file_that_is_no_log_is_left_alone() {
    let folder = Folder::new();
    std::fs::write(folder.path("in.jsonl"), "").unwrap();
    std::fs::write(folder.path("text"), "My swatches: ".repeat(1000)).unwrap();
    std::fs::write(folder.path("short"), "x").unwrap();
    let other = Connection::open(folder.path("other")).unwrap();
    other.execute_batch("CREATE TABLE recipes (name TEXT); INSERT INTO recipes VALUES ('soup')").unwrap();
    drop(other);
    for name in ["text", "short", "grey.jpg", "other"] {
        let before = std::fs::read(folder.path(name)).unwrap();
        for arguments in EVERY_COMMAND {
            assert_complains(&on(&folder, Path::new(name), arguments), 2, "not a swatch log");
            assert_eq!(std::fs::read(folder.path(name)).unwrap(), before, "{name} {arguments:?}");
        }
    }
    assert_eq!(folder.names("."), ["grey.jpg", "in.jsonl", "other", "short", "text"]);
    assert_complains(&on(&folder, Path::new("."), &["list"]), 1, "it is a folder");
}

#[test]
fn a_newer_log_is_left_alone() {
    let folder = Folder::new();
    std::fs::write(folder.path("in.jsonl"), "").unwrap();
    folder.log_done(&["count", "22x30"]);
    let connection = Connection::open(folder.path("log.sqlite")).unwrap();
    connection.pragma_update(None, "user_version", 99).unwrap();
    connection.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(())).unwrap();
    drop(connection);
    let before = std::fs::read(folder.path("log.sqlite")).unwrap();
    for arguments in EVERY_COMMAND {
        assert_complains(&folder.log(arguments), 2, "newer version");
        assert_eq!(std::fs::read(folder.path("log.sqlite")).unwrap(), before, "{arguments:?}");
    }
}

#[test]
fn a_damaged_page_is_told() {
    let folder = Folder::new();
    for i in 0..40 {
        folder.log_done(&["count", "22x30", "--yarn", &format!("yarn {i}"), "--note", &"n".repeat(3000)]);
    }
    folder.log_done(&["backup", "good.sqlite"]);
    let mut bytes = std::fs::read(folder.path("good.sqlite")).unwrap();
    let pages = bytes.len() / 4096;
    for page in (4..pages).step_by(3) {
        bytes[page * 4096..page * 4096 + 600].fill(0xA5);
    }
    std::fs::write(folder.path("damaged.sqlite"), &bytes).unwrap();
    let damaged = Path::new("damaged.sqlite");
    assert_complains(&on(&folder, damaged, &["check"]), 1, "damaged");
    assert_complains(&on(&folder, damaged, &["export", "out.jsonl"]), 1, "damaged");
    assert!(!folder.path("out.jsonl").exists(), "no half of an export");
    assert_complains(&on(&folder, damaged, &["backup", "copy.sqlite"]), 1, "damaged");
    assert!(!folder.path("copy.sqlite").exists(), "no damaged backup");
    for arguments in [&["list"][..], &["compare"]] {
        let answer = on(&folder, damaged, arguments);
        assert!(answer.status != 101 && !answer.err.contains("panicked"), "{}", answer.err);
    }
    let mut header = std::fs::read(folder.path("good.sqlite")).unwrap();
    header.truncate(5000);
    std::fs::write(folder.path("short.sqlite"), &header).unwrap();
    let cut = on(&folder, Path::new("short.sqlite"), &["list"]);
    assert!(cut.status == 1 && cut.err.contains("damaged"), "{}", cut.err);
}

#[test]
fn a_full_disk_loses_nothing_that_was_acknowledged() {
    let folder = Folder::new();
    let Some(disk) = SmallDisk::mount(folder.path("disk"), "600k") else { return };
    let log = disk.0.join("log.sqlite");
    let note = "n".repeat(20_000);
    let mut kept = 0;
    let full = loop {
        let answer = on(&folder, &log, &["count", "22x30", "--note", &note]);
        if answer.status != 0 {
            break answer;
        }
        kept += 1;
        assert!(kept < 1000, "the disk never fills");
    };
    assert!(kept > 2, "{kept}");
    assert_complains(&full, 1, "disk is full");
    assert_complains(&on(&folder, &log, &["backup", disk.0.join("copy").to_str().unwrap()]), 1, "disk is full");
    assert_complains(
        &on(&folder, &log, &["export", disk.0.join("out.jsonl").to_str().unwrap()]),
        1,
        "can't be written",
    );
    let held = on(&folder, &log, &["list", "--json", "--limit", "10000"]);
    assert_eq!((held.status, held.out.lines().count()), (0, kept), "{}", held.err);
    assert_eq!(on(&folder, &log, &["check"]).out, "The log is sound.\n");
    let names: Vec<_> = std::fs::read_dir(&disk.0).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(names.iter().all(|n| n.to_string_lossy().starts_with("log.sqlite")), "{names:?}");
}

#[test]
fn a_read_only_log_is_read_and_not_written() {
    let folder = Folder::new();
    let Some(disk) = SmallDisk::mount(folder.path("disk"), "4m") else { return };
    let log = disk.0.join("log.sqlite");
    assert_eq!(on(&folder, &log, &["count", "22x30", "--yarn", "grey"]).status, 0);
    disk.make_read_only();
    let list = on(&folder, &log, &["list"]);
    assert!(list.status == 0 && list.out.contains("grey"), "{}", list.err);
    assert_eq!(on(&folder, &log, &["export", "out.jsonl"]).status, 0);
    assert_eq!(on(&folder, &log, &["backup", "copy.sqlite"]).status, 0);
    for arguments in [&["count", "22x30"][..], &["edit", "1", "--yarn", "x"], &["delete", "1"]] {
        assert_complains(&on(&folder, &log, arguments), 1, "read-only");
    }
    assert_complains(&on(&folder, &disk.0.join("new.sqlite"), &["count", "22x30"]), 1, "");
}

/// The same by file rights, where the user is not one whom rights don't bind.
#[test]
fn a_log_without_the_right_to_write_is_read() {
    let folder = Folder::new();
    folder.log_done(&["count", "22x30", "--yarn", "grey"]);
    let mut rights = std::fs::metadata(folder.path("log.sqlite")).unwrap().permissions();
    rights.set_readonly(true);
    std::fs::set_permissions(folder.path("log.sqlite"), rights).unwrap();
    if std::fs::OpenOptions::new().append(true).open(folder.path("log.sqlite")).is_err() {
        assert!(folder.log_done(&["list"]).contains("grey"));
        assert_complains(&folder.log(&["count", "22x30"]), 1, "read-only");
        return;
    }
    // Rights do not bind this user: as one whom they bind.
    let Some(list) = as_nobody(&folder, &["list"]) else {
        println!("SKIPPED: rights do not bind this user, and no other can be taken");
        return;
    };
    assert!(list.status == 0 && list.out.contains("grey"), "{}", list.err);
    let count = as_nobody(&folder, &["count", "22x30"]).unwrap();
    assert_complains(&count, 1, "read-only");
}

/// `walewise log` run by the user nobody; `None` where that can't be done.
fn as_nobody(folder: &Folder, arguments: &[&str]) -> Option<Answer> {
    let open = |path: &Path| {
        let mut rights = std::fs::metadata(path).unwrap().permissions();
        std::os::unix::fs::PermissionsExt::set_mode(&mut rights, 0o755);
        std::fs::set_permissions(path, rights).unwrap();
    };
    open(&folder.path("."));
    let nobody = ["--reuid=65534", "--regid=65534", "--clear-groups"];
    let program = assert_cmd::cargo::cargo_bin!("walewise");
    let can = Command::new("setpriv").args(nobody).arg(program).arg("--version").output();
    can.is_ok_and(|o| o.status.success()).then(|| {
        let mut command = Command::new("setpriv");
        command.args(nobody).arg(program).args(["log", "--logbook", "log.sqlite"]).args(arguments);
        Answer::of(command.current_dir(folder.path(".")))
    })
}

#[test]
fn two_writers_both_succeed() {
    const EACH: usize = 8;
    let folder = Folder::new();
    std::thread::scope(|scope| {
        for writer in ["one", "two", "three"] {
            let folder = &folder;
            scope.spawn(move || {
                for i in 0..EACH {
                    let said = folder.log_done(&["count", "22x30", "--yarn", &format!("{writer} {i}")]);
                    assert!(said.starts_with("Kept"), "{said}");
                }
            });
        }
    });
    let held = folder.log_done(&["list", "--json"]);
    assert_eq!(held.lines().count(), 3 * EACH);
    assert_eq!(folder.log_done(&["check"]), "The log is sound.\n");
}

#[test]
fn a_writer_that_must_wait_says_so() {
    let folder = Folder::new();
    folder.log_done(&["count", "22x30"]);
    let other = Connection::open(folder.path("log.sqlite")).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let mut command = folder.command();
    command.args(["log", "--logbook", "log.sqlite", "count", "23x31"]).stdout(Stdio::piped()).stderr(Stdio::piped());
    let child = command.spawn().unwrap();
    std::thread::sleep(Duration::from_millis(1500));
    // Reading goes on meanwhile.
    assert_eq!(folder.log_done(&["list"]).lines().count(), 2);
    other.execute_batch("COMMIT").unwrap();
    let done = child.wait_with_output().unwrap();
    assert!(done.status.success());
    assert_eq!(String::from_utf8(done.stderr).unwrap().matches("waiting for it").count(), 1);
    assert_eq!(folder.log_done(&["list"]).lines().count(), 3);
}
