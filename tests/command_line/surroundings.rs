//! The same numbers whatever the language, the clock's place, the terminal and the folders of whoever runs it.

use super::folder::{Answer, Folder};
use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt;
use std::process::Stdio;

/// A measurement that takes no time: what was counted by hand between two points of a grey picture.
const COUNTED: [&str; 8] =
    ["measure", "grey.jpg", "--counted", "20x28", "--span", "100,100,300,400=60mm", "--axes", "0"];

#[test]
fn languages_and_time_zones_change_no_number() {
    let folder = Folder::new();
    let measured = |name: &str, value: &str| {
        let answer = Answer::of(folder.command().args(COUNTED).env(name, value));
        assert_eq!((answer.status, answer.err.as_str()), (0, ""), "{name}={value}");
        answer.out
    };
    let usual = measured("LC_ALL", "C");
    assert!(usual.contains('±') && usual.contains('.'), "{usual}");
    for language in ["de_DE.UTF-8", "tr_TR.UTF-8", "ar_EG", "ja_JP.SJIS", "POSIX", "no such language", ""] {
        assert_eq!(measured("LC_ALL", language), usual, "{language}");
    }
    for zone in ["Pacific/Kiritimati", "<+14>-14", "America/St_Johns", "Nowhere/Atall", "", ":", "\u{7f}"] {
        assert_eq!(measured("TZ", zone), usual, "{zone}");
    }
}

/// The day of an entry is that of its place; everything else is the same everywhere.
#[cfg(feature = "logbook")]
#[test]
fn days_in_the_log_are_those_of_the_place() {
    let folder = Folder::new();
    let zones = ["<+14>-14", "<-11>11", "UTC0", "Nowhere/Atall"];
    for zone in zones {
        for arguments in [&["count", "22x30"][..], &["count", "22x30", "--made-on", "2024-02-29"]] {
            let mut command = folder.command();
            command
                .args(["log", "--logbook", "log.sqlite"])
                .args(arguments)
                .env("TZ", zone)
                .env("LC_ALL", "tr_TR.UTF-8");
            let answer = Answer::of(&mut command);
            assert_eq!(answer.status, 0, "{zone}: {}", answer.err);
        }
    }
    let line = |number: usize| -> serde_json::Value {
        serde_json::from_str(&folder.log_done(&["show", &number.to_string(), "--json"])).unwrap()
    };
    let day = |number: usize| line(number)["measurements"][0]["measured_on"].as_str().unwrap().to_owned();
    // 25 hours lie between the two.
    assert!(day(1) > day(3), "{} {}", day(1), day(3));
    let listed = |zone: &str| {
        let arguments = ["log", "--logbook", "log.sqlite", "list", "--since", "2024-02-29", "--until", "2024-02-29"];
        Answer::of(folder.command().args(arguments).env("TZ", zone)).out
    };
    assert_eq!(listed(zones[0]).lines().count(), 1 + zones.len());
    assert_eq!(listed(zones[0]), listed(zones[1]));
}

#[test]
fn no_terminal_and_closed_streams() {
    let folder = Folder::new();
    let usual = Answer::of(folder.command().args(COUNTED));
    for terminal in ["dumb", "", "xterm-256color", "no such terminal"] {
        let mut command = folder.command();
        command.args(COUNTED).env("TERM", terminal).env("COLUMNS", "0").stdin(Stdio::null());
        let answer = Answer::of(&mut command);
        assert_eq!((answer.status, &answer.out, answer.err.as_str()), (0, &usual.out, ""), "{terminal}");
    }
    let run = "\"$WALEWISE\" measure grey.jpg";
    for (closed, out) in [("<&-", true), ("2>&-", true), (">&-", false), ("<&- >&- 2>&-", false)] {
        let answer = folder.shell(&format!("{run} {closed}"));
        assert_eq!((answer.status, answer.err.as_str()), (3, ""), "{closed}");
        assert_eq!(answer.out.contains("No gauge"), out, "{closed}");
    }
    assert_eq!(folder.shell("\"$WALEWISE\" measure nothing.jpg --annotate x 2>&-").status, 2);
}

#[test]
fn without_any_environment() {
    let folder = Folder::new();
    let bare = |arguments: &[&str]| Answer::of(folder.command().env_clear().args(arguments));
    assert_eq!(bare(&COUNTED).status, 0);
    assert_eq!(bare(&["measure", "grey.jpg", "--annotate", "seen.jpg"]).status, 3);
    assert_eq!(bare(&["--help"]).status, 0);
    #[cfg(feature = "logbook")]
    {
        // Named, the log needs no home; else it is looked for where the system says that the user is at home.
        assert_eq!(bare(&["log", "--logbook", "log.sqlite", "count", "22x30"]).status, 0);
        let unnamed = bare(&["log", "list"]);
        assert!(unnamed.status <= 2 && !unnamed.err.contains("panicked"), "{}", unnamed.err);
        // A home that is no folder is told, and nothing is written elsewhere.
        for home in ["/dev/null", "/proc/home"] {
            let mut command = folder.command();
            command.env_clear().env("HOME", home).env("XDG_DATA_HOME", home).args(["log", "count", "22x30"]);
            let answer = Answer::of(&mut command);
            assert_eq!((answer.status, answer.err.lines().count()), (1, 1), "{home}: {}", answer.err);
        }
    }
}

/// Names that are no text, or steer a terminal: files are found and written, words stay on their line.
#[test]
fn names_of_any_bytes() {
    let folder = Folder::new();
    for name in
        [&b"gr\xFC\xFF.jpg"[..], b"two\nlines.jpg", b"\x1b[31mred.jpg", "\u{202E}gpj.jpg".as_bytes(), b" -x.jpg"]
    {
        let name = OsStr::from_bytes(name);
        std::fs::copy(folder.path("grey.jpg"), folder.path(name)).unwrap();
        let arguments = [OsStr::new("./"), OsStr::new("grey.jpg")];
        let mut path = arguments[0].to_owned();
        path.push(name);
        let one = folder.measure(&[path.as_os_str(), arguments[1], "--annotate".as_ref(), "out".as_ref()]);
        assert_eq!(one.status, 3, "{name:?}: {}", one.err);
        assert!(!one.err.contains('\u{1b}'), "{name:?}: {}", one.err);
        let mut annotated = std::path::Path::new(name).file_stem().unwrap().to_owned();
        annotated.push("-annotated.jpg");
        assert!(folder.path("out").join(annotated).exists(), "{name:?}");
        let [record, _] =
            folder.measure(&[path.as_os_str(), arguments[1], "--json".as_ref()]).json().try_into().unwrap();
        assert_eq!(record["photo"]["file"], *path.to_string_lossy(), "{name:?}");
        let mut missing = name.to_owned();
        missing.push(".none");
        let bad = Answer::of(folder.command().arg("plan").arg(missing));
        assert_eq!((bad.status, bad.err.lines().count()), (2, 1), "{}", bad.err);
        #[cfg(feature = "logbook")]
        {
            let mut log = name.to_owned();
            log.push(".sqlite");
            let on =
                |arguments: &[&str]| Answer::of(folder.command().arg("log").arg("--logbook").arg(&log).args(arguments));
            assert_eq!(on(&["count", "22x30"]).status, 0, "{name:?}");
            assert_eq!(on(&["list"]).out.lines().count(), 2, "{name:?}");
        }
    }
}
