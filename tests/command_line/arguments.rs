//! What is typed: understood, or one line and exit status 2.

use super::folder::{Answer, Folder};

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
        &["grey.jpg", "--wanted", "22"],
        &["grey.jpg", "--wanted", "22x30/5in"],
        &["grey.jpg", "--tolerance", "0.5x1"],
        &["grey.jpg", "--wanted", "22x30", "--tolerance", "0x1"],
        &["grey.jpg", "--counted", "24"],
        &["grey.jpg", "--counted", "24x-"],
        &["grey.jpg", "--counted", "1x30"],
        &["grey.jpg", "--span", "0,0,100,0=50mm", "--span", "0,0,0,100"],
        &["grey.jpg", "--counted", "24x30", "--span", "0,0,100,0", "--span", "0,0,0,100=50mm"],
        &["grey.jpg", "--same-swatch"],
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
fn numbers_that_are_none_or_make_no_sense_end_with_2() {
    let folder = Folder::new();
    let options: &[(&str, &str)] = &[
        ("--grid", "#"),
        ("--span", "0,0,100,0=#mm"),
        ("--span", "#,0,#,0=50mm"),
        ("--region", "0,0,#,100"),
        ("--region", "0,0,100,#"),
        ("--expect", "#x30"),
        ("--expect", "22x#"),
        ("--repeat", "#x2"),
        ("--repeat", "2x#"),
    ];
    // A thickness of 0 and an axis of any size do exist; the others are nonsense everywhere.
    let also: &[(&str, &str)] = &[("--axes", "#"), ("--ruler-thickness", "#"), ("--region", "#,0,100,100")];
    for (words, options) in [
        (&["NaN", "inf", "-inf", "1e999", "", "ten", "0x10", "1,5"][..], &[options, also].concat()),
        (&["0", "-0", "-3"][..], &options.to_vec()),
    ] {
        for (option, pattern) in options {
            for word in words {
                let value = pattern.replace('#', word);
                let answer = folder.measure(&["grey.jpg", "--stitch", "moss", option, &value]);
                assert_eq!(answer.status, 2, "{option} {value}: {} {}", answer.out, answer.err);
                assert_eq!(
                    (answer.out.as_str(), answer.err.lines().count()),
                    ("", 1),
                    "{option} {value}: {}",
                    answer.err
                );
            }
        }
    }
    for arguments in [["--ruler-thickness", "1e300"], ["--grid", "1e300"], ["--expect", "1e300x30"]] {
        assert_eq!(folder.measure(&["grey.jpg", arguments[0], arguments[1]]).status, 2, "{arguments:?}");
    }
}

#[test]
fn places_outside_the_photo_are_bad_arguments() {
    let folder = Folder::new();
    for arguments in [
        ["--region", "640,0,100,100"],
        ["--region", "5000,5000,10,10"],
        ["--region", "1e300,0,1e300,10"],
        ["--span", "0,0,700,0=50mm"],
        ["--span", "-10,0,100,0=50mm"],
        ["--span", "0,0,1e300,0=50mm"],
    ] {
        let answer = folder.measure(&["grey.jpg", arguments[0], arguments[1], "--json"]);
        assert_eq!(answer.status, 2, "{arguments:?}: {} {}", answer.out, answer.err);
        let [record] = answer.json().try_into().unwrap();
        assert_eq!(record["status"], "failed");
        assert_eq!(record["error"]["code"], "outside_photo");
        let words = folder.measure(&["grey.jpg", arguments[0], arguments[1]]);
        assert!(words.out.contains("outside the photo, which is 640 x 480"), "{}", words.out);
    }
    // What is partly in the photo is cut to it.
    assert_eq!(folder.measure(&["grey.jpg", "--region", "600,400,1e6,1e6"]).status, 3);
}

#[test]
fn bad_arguments_of_sample_end_with_2_and_write_nothing() {
    let folder = Folder::new();
    for arguments in [
        &["a.jpg", "--gauge", "NaNx30"][..],
        &["a.jpg", "--gauge", "0x30"],
        &["a.jpg", "--gauge", "22x-30"],
        &["a.jpg", "--tilt", "inf"],
        &["a.jpg", "--tilt", "-1"],
        &["a.jpg", "--seed", "-1"],
        &["a.jpg", "--seed", "NaN"],
        &["a.jpg", "--size", "0x0"],
        &["a.jpg", "--size", "4294967296x4294967296"],
        &["a.png"],
        &[],
    ] {
        let answer = Answer::of(folder.command().arg("sample").args(arguments));
        assert_eq!(answer.status, 2, "{arguments:?}: {}", answer.err);
        assert_eq!((answer.out.as_str(), answer.err.lines().count()), ("", 1), "{arguments:?}: {}", answer.err);
    }
    assert_eq!(folder.names("."), ["grey.jpg"]);
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
fn help_and_version_end_with_0() {
    for argument in ["--help", "--version"] {
        let answer = Answer::of(Folder::new().command().arg(argument));
        assert_eq!(answer.status, 0);
        assert!(answer.out.contains("walewise"));
    }
}
