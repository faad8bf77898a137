//! The command as people and scripts meet it: exit statuses, what goes to stdout, and files left behind.

use assert_cmd::Command;
use image::{Rgb, RgbImage};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// A folder of its own for one test, with a plain grey picture that holds neither ruler nor knitting.
struct Folder(TempDir);

impl Folder {
    fn new() -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        folder.grey_photo("grey.jpg");
        folder
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn grey_photo(&self, name: impl AsRef<Path>) {
        RgbImage::from_pixel(640, 480, Rgb([128, 128, 128])).save(self.0.path().join(name)).unwrap();
    }

    fn names(&self, sub: &str) -> Vec<String> {
        let entries = std::fs::read_dir(self.path(sub)).unwrap();
        let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    /// `walewise measure` with these arguments, run in the folder.
    fn measure(&self, arguments: &[&str]) -> Answer {
        let mut command = Command::cargo_bin("walewise").unwrap();
        let output = command.current_dir(self.0.path()).arg("measure").args(arguments).output().unwrap();
        Answer {
            status: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

struct Answer {
    status: i32,
    out: String,
    err: String,
}

impl Answer {
    fn json(&self) -> Vec<serde_json::Value> {
        self.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }
}

#[test]
fn bad_arguments_end_with_2_and_one_line() {
    let folder = Folder::new();
    let cases: &[&[&str]] = &[
        &[],
        &["grey.jpg", "--no-such-option"],
        &["grey.jpg", "--stitch", "moss"],
        &["grey.jpg", "--stitch", ""],
        &["grey.jpg", "--repeat", "2x2"],
        &["grey.jpg", "--stitch", "garter", "--repeat", "3x3"],
        &["grey.jpg", "--stitch", "moss", "--repeat", "0x2"],
        &["grey.jpg", "--stitch", "moss", "--repeat", "2"],
        &["grey.jpg", "--ruler", "yard"],
        &["grey.jpg", "--grid", "0"],
        &["grey.jpg", "--grid", "-10"],
        &["grey.jpg", "--grid", "NaN"],
        &["grey.jpg", "--grid", "inf"],
        &["grey.jpg", "--grid", "10", "--span", "0,0,100,0=50mm"],
        &["grey.jpg", "--grid", "10", "--ruler", "cm"],
        &["grey.jpg", "--span", "0,0,100,0=50mm", "--ruler", "inch"],
        &["grey.jpg", "--span", "0,0,0,0=50mm"],
        &["grey.jpg", "--span", "0,0,100,0"],
        &["grey.jpg", "--span", "0,0,100,0=0mm"],
        &["grey.jpg", "--axes", "NaN"],
        &["grey.jpg", "--region", "0,0,0,10"],
        &["grey.jpg", "--region", "-5,0,10,10"],
        &["grey.jpg", "--region", "1,2,3"],
        &["grey.jpg", "--ruler-class", "IV"],
        &["grey.jpg", "--ruler-thickness", "-1"],
        &["grey.jpg", "--ruler-on", "floor"],
        &["grey.jpg", "--expect", "22"],
        &["grey.jpg", "--expect", "22x0"],
        &["grey.jpg", "--annotate", "picture.gif"],
        &["grey.jpg", "--annotate", "grey.jpg"],
        &["grey.jpg", "grey.jpg", "--annotate", "grey.jpg"],
    ];
    for arguments in cases {
        let answer = folder.measure(arguments);
        assert_eq!(answer.status, 2, "{arguments:?}: {}", answer.err);
        assert_eq!(answer.out, "", "{arguments:?}");
        assert_eq!(answer.err.lines().count(), 1, "{arguments:?}: {}", answer.err);
    }
}

#[test]
fn unknown_pattern_names_the_known_ones() {
    let answer = Folder::new().measure(&["grey.jpg", "--stitch", "moss"]);
    for name in ["stockinette", "reverse-stockinette", "garter", "seed", "rib-1x1", "rib-2x2", "--repeat"] {
        assert!(answer.err.contains(name), "{}", answer.err);
    }
}

#[test]
fn good_arguments_are_accepted() {
    let folder = Folder::new();
    let cases: &[&[&str]] = &[
        &["grey.jpg", "--stitch", "auto", "--ruler", "auto"],
        &["grey.jpg", "--stitch", "rib_2x2", "--ruler", "inch", "--ruler-class", "ii"],
        &["grey.jpg", "--stitch", "moss", "--repeat", "2x4", "--axes", "-90", "--expect", "21.5x29"],
        &["grey.jpg", "--span", "10,20,310,20=100mm", "--region", "0,0,640,480", "--ruler-on", "fabric"],
        &["grey.jpg", "--grid", "10", "--ruler-thickness", "0", "--ruler-id", "steel 30"],
    ];
    for arguments in cases {
        let answer = folder.measure(arguments);
        assert_eq!(answer.status, 3, "{arguments:?}: {}", answer.err);
        assert_eq!(answer.err, "", "{arguments:?}");
    }
}

#[test]
fn what_is_no_photo_ends_with_4_and_says_why() {
    let folder = Folder::new();
    std::fs::write(folder.path("empty.jpg"), b"").unwrap();
    std::fs::write(folder.path("text.jpg"), b"This is a shopping list: wool, needles.").unwrap();
    let whole = std::fs::read(folder.path("grey.jpg")).unwrap();
    std::fs::write(folder.path("head.jpg"), &whole[..20]).unwrap();
    std::fs::create_dir(folder.path("folder.jpg")).unwrap();
    let cases = [
        ("missing.jpg", "file_missing"),
        ("folder.jpg", "is_a_folder"),
        ("empty.jpg", "empty_file"),
        ("text.jpg", ""),
        ("head.jpg", ""),
    ];
    for (name, code) in cases {
        let answer = folder.measure(&[name, "--json"]);
        assert_eq!(answer.status, 4, "{name}: {} {}", answer.out, answer.err);
        let [record] = answer.json().try_into().unwrap();
        assert_eq!(record["status"], "unreadable", "{name}");
        assert_eq!(record["photo"]["file"], name);
        assert!(record["gauge"].is_null() && record["refusal"].is_null(), "{name}");
        assert!(code.is_empty() || record["error"]["code"] == code, "{name}: {}", record["error"]);
        assert!(record["error"]["message"].as_str().is_some_and(|m| !m.is_empty()), "{name}");
        let words = folder.measure(&[name]);
        assert!(words.out.starts_with(name) && words.out.contains("Not measured"), "{}", words.out);
    }
}

#[test]
fn a_picture_of_nothing_is_refused_with_3() {
    let folder = Folder::new();
    let answer = folder.measure(&["grey.jpg", "--json"]);
    assert_eq!((answer.status, answer.err.as_str()), (3, ""));
    let [record] = answer.json().try_into().unwrap();
    assert_eq!(record["schema"], "walewise.measurement/1");
    assert_eq!(record["status"], "refused");
    assert_eq!(record["refusal"]["code"], "no_scale");
    assert!(record["refusal"]["advice"].as_str().is_some_and(|a| !a.is_empty()));
    assert_eq!((&record["photo"]["width_px"], &record["photo"]["height_px"]), (&640.into(), &480.into()));
    assert_eq!(record["photo"]["sha256"].as_str().map(str::len), Some(64));
    assert!(record["elapsed_ms"]["total"].as_f64().unwrap() >= record["elapsed_ms"]["decode"].as_f64().unwrap());
    assert!(record["gauge"].is_null());
    let words = folder.measure(&["grey.jpg"]);
    assert!(words.out.contains("No gauge") && words.out.contains("What to do"), "{}", words.out);
    assert!(words.out.lines().all(|line| line.chars().count() <= 80), "{}", words.out);
}

#[test]
fn several_photos_give_a_line_each_in_order_and_the_worst_status() {
    let folder = Folder::new();
    let mut names = Vec::new();
    for i in 0..7 {
        let name = format!("photo{i}.png");
        folder.grey_photo(&name);
        names.push(name);
    }
    names[3] = "missing.jpg".to_owned();
    let mut arguments: Vec<&str> = names.iter().map(String::as_str).collect();
    arguments.push("--json");
    let answer = folder.measure(&arguments);
    assert_eq!(answer.status, 4);
    let files: Vec<String> = answer.json().iter().map(|r| r["photo"]["file"].as_str().unwrap().to_owned()).collect();
    assert_eq!(files, names);
}

#[test]
fn annotated_picture_is_the_photo_with_a_bar_below() {
    let folder = Folder::new();
    for name in ["seen.png", "seen.jpg"] {
        let answer = folder.measure(&["grey.jpg", "--annotate", name]);
        assert_eq!(answer.status, 3, "{}", answer.err);
        let picture = image::open(folder.path(name)).unwrap();
        assert!(picture.width() == 640 && picture.height() > 480);
    }
    assert_eq!(folder.names("."), ["grey.jpg", "seen.jpg", "seen.png"]);
}

#[test]
fn several_annotated_pictures_go_to_a_folder() {
    let folder = Folder::new();
    std::fs::create_dir(folder.path("other")).unwrap();
    folder.grey_photo("other/grey.png");
    let answer = folder.measure(&["grey.jpg", "other/grey.png", "missing.jpg", "--annotate", "new/seen"]);
    assert_eq!(answer.status, 4, "{}", answer.err);
    assert_eq!(folder.names("new/seen"), ["grey-annotated-2.jpg", "grey-annotated.jpg"]);
}

#[test]
fn an_output_that_cannot_be_written_ends_with_1_before_anything_is_measured() {
    let folder = Folder::new();
    std::fs::write(folder.path("file"), b"").unwrap();
    for arguments in
        [["grey.jpg", "--annotate", "no/such/folder/seen.jpg"], ["grey.jpg", "--annotate", "file/seen.jpg"]]
    {
        let answer = folder.measure(&arguments);
        assert_eq!((answer.status, answer.out.as_str()), (1, ""), "{arguments:?}");
        assert_eq!(answer.err.lines().count(), 1, "{}", answer.err);
    }
}

#[cfg(unix)]
#[test]
fn file_names_need_not_be_unicode() {
    use std::os::unix::ffi::OsStrExt;
    let folder = Folder::new();
    let name = std::ffi::OsStr::from_bytes(b"gr\xFCn.jpg");
    std::fs::copy(folder.path("grey.jpg"), folder.0.path().join(name)).unwrap();
    let mut command = Command::cargo_bin("walewise").unwrap();
    let output = command.current_dir(folder.0.path()).arg("measure").arg(name).arg("--json").output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    let record: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(record["photo"]["file"], "gr\u{FFFD}n.jpg");
}

#[cfg(unix)]
#[test]
fn a_reader_that_leaves_ends_the_run_quietly() {
    use std::process::{Command as Process, Stdio};
    let folder = Folder::new();
    let mut child = Process::new(assert_cmd::cargo::cargo_bin!("walewise"))
        .current_dir(folder.0.path())
        .args(["measure", "grey.jpg", "grey.jpg", "grey.jpg", "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(String::from_utf8(output.stderr).unwrap(), "");
}

#[test]
fn help_and_version_end_with_0() {
    for argument in ["--help", "--version"] {
        let output = Command::cargo_bin("walewise").unwrap().arg(argument).output().unwrap();
        assert_eq!(output.status.code(), Some(0));
        assert!(String::from_utf8(output.stdout).unwrap().contains("walewise"));
    }
}
