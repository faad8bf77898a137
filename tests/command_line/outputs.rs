//! Pictures and results: written whole or not at all, and said so.

use super::folder::{Answer, Folder};
use std::path::Path;

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
fn a_folder_that_takes_no_files_ends_with_1_and_names_the_file_alone() {
    let folder = Folder::new();
    std::fs::write(folder.path("file"), b"").unwrap();
    let mut targets = vec!["no/such/folder/seen.jpg", "file/seen.jpg"];
    if Path::new("/proc").is_dir() {
        targets.push("/proc/seen.jpg");
    }
    std::fs::create_dir(folder.path("locked")).unwrap();
    let mut rights = std::fs::metadata(folder.path("locked")).unwrap().permissions();
    rights.set_readonly(true);
    std::fs::set_permissions(folder.path("locked"), rights).unwrap();
    // Nothing is locked for an administrator.
    if std::fs::write(folder.path("locked/probe"), b"").is_err() {
        targets.push("locked/seen.jpg");
    }
    for target in targets {
        for arguments in [&["measure", "grey.jpg", "--annotate", target][..], &["sample", target, "--size", "64x64"]] {
            let answer = Answer::of(folder.command().args(arguments));
            assert_eq!((answer.status, answer.out.as_str()), (1, ""), "{arguments:?}: {}", answer.err);
            assert_eq!(answer.err.lines().count(), 1, "{}", answer.err);
            assert!(answer.err.contains(target) && !answer.err.contains(".walewise-"), "{}", answer.err);
        }
    }
}

/// A file that may not grow beyond 512 bytes: what a full disk does, at a place of our choice.
#[cfg(unix)]
#[test]
fn a_picture_that_does_not_fit_leaves_the_old_one() {
    let folder = Folder::new();
    std::fs::write(folder.path("seen.jpg"), b"before").unwrap();
    for name in ["seen.jpg", "new.jpg"] {
        let script = format!("trap '' XFSZ; ulimit -f 1; exec \"$WALEWISE\" measure grey.jpg --annotate {name}");
        let answer = folder.shell(&script);
        assert_eq!(answer.status, 1, "{}", answer.err);
        assert!(answer.out.contains("No gauge"), "the result is told all the same: {}", answer.out);
        assert_eq!(answer.err.lines().count(), 1, "{}", answer.err);
        assert!(answer.err.contains(name) && !answer.err.contains(".walewise-"), "{}", answer.err);
    }
    assert_eq!(std::fs::read(folder.path("seen.jpg")).unwrap(), b"before");
    assert_eq!(folder.names("."), ["grey.jpg", "seen.jpg"]);
}

#[cfg(target_os = "linux")]
#[test]
fn results_that_cannot_be_written_end_with_1() {
    let answer = Folder::new().shell("exec \"$WALEWISE\" measure grey.jpg --json > /dev/full");
    assert_eq!(answer.status, 1);
    assert_eq!(answer.err.lines().count(), 1, "{}", answer.err);
    let picture = Folder::new().measure(&["grey.jpg", "--annotate", "/dev/full"]);
    assert_eq!((picture.status, picture.err.lines().count()), (2, 1), "{}", picture.err);
}

#[cfg(unix)]
#[test]
fn a_reader_that_leaves_ends_the_run_quietly() {
    let folder = Folder::new();
    for run in ["measure grey.jpg grey.jpg grey.jpg grey.jpg --json", "measure grey.jpg grey.jpg", "measure --help"] {
        let answer = folder.shell(&format!("\"$WALEWISE\" {run} | head -n 1"));
        assert_eq!((answer.status, answer.out.lines().count(), answer.err.as_str()), (0, 1, ""), "{run}");
    }
}

#[test]
fn no_colour_where_none_is_wanted() {
    let folder = Folder::new();
    for arguments in [&["measure", "grey.jpg"][..], &["measure", "--help"], &["measure", "--nonsense"], &[]] {
        let answer = Answer::of(folder.command().args(arguments).env("NO_COLOR", "1"));
        assert!(!answer.out.contains('\u{1b}') && !answer.err.contains('\u{1b}'), "{arguments:?}");
    }
}
