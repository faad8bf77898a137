//! The log's commands: what they keep and print, and how they end.

use super::folder::{Answer, Folder};

fn swatches(folder: &Folder) {
    for (count, needle, state, extra) in [
        ("26x36", "3", "off-needle", "grey lambswool 4-ply"),
        ("24x33", "3.5", "washed", "grey lambswool 4-ply"),
        ("22x30.5", "4", "washed", "grey lambswool 4-ply"),
        ("20.5x28", "4.5", "washed", "grey lambswool 4-ply"),
        ("24x32", "3.5", "washed", "undyed alpaca"),
    ] {
        let arguments = [
            "count",
            count,
            "--over",
            "100",
            "--plus-minus",
            "0.2",
            "--ruler-id",
            "steel 30",
            "--yarn",
            extra,
            "--needle",
            needle,
            "--state",
            state,
            "--stitch",
            "stockinette",
            "--made-on",
            "2024-05-31",
        ];
        folder.log_done(&arguments);
    }
}

#[test]
fn a_count_is_kept_listed_and_shown() {
    let folder = Folder::new();
    let said = folder.log_done(&["count", "22x30", "--yarn", "grey lambswool", "--needle", "3.25", "--tag", "shawl"]);
    // Half a stitch, and half a millimetre of the ruler, both rectangular.
    assert_eq!(said, "Kept as swatch 1: 22.0 ± 0.5 stitches, 30.0 ± 0.5 rows per 10 cm.\n");
    let list = folder.log_done(&["list"]);
    assert_eq!(list.lines().count(), 2, "{list}");
    assert!(list.contains("grey lambswool") && list.contains("22.0 ± 0.5"), "{list}");
    assert!(folder.log_done(&["show", "1"]).contains("shawl"));
    assert!(list.lines().all(|line| line.chars().count() <= 80));
    let shown = folder.log_done(&["show", "1"]);
    assert!(
        shown.contains("Needle (mm):") && shown.contains("hand count") && shown.contains("22 stitches over 100 mm")
    );
    let json: serde_json::Value = serde_json::from_str(&folder.log_done(&["show", "1", "--json"])).unwrap();
    assert_eq!(json["schema"], "walewise.swatch/1");
    assert_eq!(json["measurements"][0]["reading"]["count"]["stitches"], 22.0);
    assert_eq!(folder.log_done(&["check"]), "The log is sound.\n");
}

#[test]
fn what_a_count_is_over_has_any_unit() {
    let folder = Folder::new();
    let said = |over: &str| folder.log_done(&["count", "44x60", "--over", over]).split_once(": ").unwrap().1.to_owned();
    let millimetres = said("200");
    assert!(millimetres.starts_with("22.00 ± 0.25 stitches"), "{millimetres}");
    for over in ["20 cm", "200mm", "0.2 m", "20cm x 20cm", "200x20 cm"] {
        assert_eq!(said(over), millimetres, "{over}");
    }
    assert_eq!(said("8 in x 20 cm"), said("203.2x200"));
}

#[test]
fn edit_history_delete_restore() {
    let folder = Folder::new();
    folder.log_done(&["count", "22x30", "--yarn", "grey", "--dye-lot", "7"]);
    assert_eq!(
        folder.log_done(&["edit", "1", "--yarn", "dark grey", "--tag", "gift", "--clear", "dye-lot"]),
        "Swatch 1: 3 changes.\n"
    );
    let history = folder.log_done(&["history", "1"]);
    for part in ["added", "changed yarn", "grey", "dark grey", "changed dye_lot", "changed tags", "gift"] {
        assert!(history.contains(part), "{part}: {history}");
    }
    folder.log_done(&["delete", "1"]);
    assert_eq!(folder.log_done(&["list"]), "No swatch fits.\n");
    assert!(folder.log_done(&["list", "--deleted"]).contains("dark grey"));
    folder.log_done(&["restore", "1"]);
    assert!(folder.log_done(&["list", "--tag", "gift"]).contains("dark grey"));
    assert!(folder.log_done(&["edit", "1", "--untag", "gift"]).contains("1 change."));
}

#[test]
fn compare_tells_each_pair_in_a_sentence() {
    let folder = Folder::new();
    swatches(&folder);
    let told = folder.log_done(&["compare", "2", "5", "3"]);
    assert!(told.contains("2 and 5 (same ruler: its error cancels)"), "{told}");
    assert!(told.contains("stitches: closer than half a stitch per 10 cm, with 95 % confidence"), "{told}");
    assert!(told.contains("differs: 2 has 2.00 ± 0.28 more than 3"), "{told}");
    assert!(told.contains("3 pairs were compared") && told.contains("these very swatches"), "{told}");
    let json = folder.log_done(&["compare", "2", "5", "--json"]);
    let pair: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(pair["stitches"]["finding"], "equivalent");
    assert_eq!(pair["speaks_of"], "these_swatches");
    folder.log_done(&["compare", "--state", "washed", "--page", "page.html", "--plot", "plot.svg"]);
    let page = std::fs::read_to_string(folder.path("page.html")).unwrap();
    assert!(page.contains("<svg") && page.contains("6 pairs were compared") && page.contains("undyed alpaca"));
    assert!(!page.contains("<script") && !page.contains("http://") || page.contains("http://www.w3.org/2000/svg"));
    // What is there already is not replaced, and what can't be concluded says so.
    assert_eq!(folder.log(&["compare", "--page", "page.html"]).status, 1);
    assert_eq!(folder.log(&["compare", "1"]).status, 3);
    assert_eq!(folder.log(&["compare", "--yarn", "no such"]).status, 3);
    assert_eq!(folder.log(&["compare", "1", "2", "--next-fabric"]).status, 3);
    assert_eq!(folder.log(&["compare", "1", "99"]).status, 2);
}

#[test]
fn needles_need_three_sizes() {
    let folder = Folder::new();
    swatches(&folder);
    let told = folder.log_done(&["needles", "--yarn", "grey", "--state", "washed", "--wanted", "23x31.5"]);
    assert!(
        told.contains("3 swatches on needles of 3.5, 4, 4.5 mm") && told.contains("Best for 23 stitches: 3.75 mm"),
        "{told}"
    );
    let few = folder.log(&["needles", "--yarn", "alpaca"]);
    assert_eq!((few.status, few.out.as_str()), (3, ""));
    assert!(few.err.contains("3 different needle sizes or more"), "{}", few.err);
}

#[test]
fn washing_is_told_with_its_interval() {
    let folder = Folder::new();
    swatches(&folder);
    assert_eq!(folder.log(&["change"]).status, 3);
    folder.log_done(&[
        "count",
        "27x38",
        "--plus-minus",
        "0.2",
        "--ruler-id",
        "steel 30",
        "--to",
        "1",
        "--state",
        "washed",
    ]);
    let told = folder.log_done(&["change"]);
    assert!(told.contains("+3.8 ± ") && told.contains("+5.6 ± ") && told.contains("-8.8 ± "), "{told}");
    assert_eq!(folder.log(&["change", "--from", "washed"]).status, 2);
}

#[test]
fn export_import_and_backup_hold_the_same() {
    let folder = Folder::new();
    swatches(&folder);
    folder.log_done(&["delete", "5"]);
    folder.log_done(&["export", "all.jsonl"]);
    folder.log_done(&["export", "all.csv"]);
    folder.log_done(&["backup", "copy.sqlite"]);
    assert_eq!(folder.log(&["backup", "copy.sqlite"]).status, 1);
    assert_eq!(folder.log(&["backup", "log.sqlite", "--force"]).status, 2);
    let on = |log: &str, arguments: &[&str]| {
        let answer = Answer::of(folder.command().args(["log", "--logbook", log]).args(arguments));
        assert_eq!(answer.status, 0, "{}", answer.err);
        answer.out
    };
    assert_eq!(on("second.sqlite", &["import", "all.jsonl"]), "5 added, 0 there already.\n");
    on("second.sqlite", &["export", "second.jsonl"]);
    on("copy.sqlite", &["export", "copy.jsonl"]);
    let read = |name: &str| std::fs::read_to_string(folder.path(name)).unwrap();
    assert_eq!(read("second.jsonl"), read("all.jsonl"));
    assert_eq!(read("copy.jsonl"), read("all.jsonl"));
    on("third.sqlite", &["import", "all.csv"]);
    on("third.sqlite", &["export", "third.csv"]);
    assert_eq!(read("third.csv"), read("all.csv"));
    assert_eq!(folder.log_done(&["import", "all.csv"]), "0 added, 4 there already.\n");
    assert_eq!(folder.log(&["export", "all.txt"]).status, 2);
    std::fs::write(folder.path("bad.csv"), "yarn,colour\na,b\n").unwrap();
    let bad = folder.log(&["import", "bad.csv"]);
    assert!(bad.status == 2 && bad.err.contains("bad.csv: line 1"), "{}", bad.err);
}

/// Whatever stands in a field: it is stored as it is and can't steer the terminal or a page.
#[test]
fn hostile_text_is_kept_and_shown_safely() {
    let folder = Folder::new();
    let long = "wool ".repeat(19_000);
    let hostile = [
        "'; DROP TABLE swatch; --",
        "\u{1b}]0;title\u{7}\u{1b}[2J\u{9b}31m",
        "\u{202e}gnol si siht\u{2066}",
        "צמר אפור 100",
        "👩‍🦰🧶🏳️‍🌈",
        "line\nbreak\r\n\ttab",
        "<script>alert(1)</script>\"'&",
        "=HYPERLINK(\"x\";\"y\")",
        "%s%n{}\\u0000",
        &long,
    ];
    for text in hostile {
        let fields = [
            "--yarn",
            "--fibre",
            "--yarn-weight",
            "--dye-lot",
            "--needle-material",
            "--knitter",
            "--note",
            "--stitch",
            "--ruler-id",
        ];
        let mut arguments = vec!["count", "22x30", "--repeat", "1x1"];
        fields.iter().for_each(|field| arguments.extend([*field, text]));
        folder.log_done(&arguments);
    }
    let too_long = "x".repeat(100_001);
    let refused = folder.log(&["count", "22x30", "--note", &too_long]);
    assert_eq!((refused.status, refused.err.lines().count()), (2, 1), "{}", refused.err);
    let calm =
        |text: &str| text.chars().all(|c| c == '\n' || !c.is_control() && !('\u{202a}'..='\u{202e}').contains(&c));
    for (i, text) in hostile.iter().enumerate() {
        let id = (i + 1).to_string();
        let json: serde_json::Value = serde_json::from_str(&folder.log_done(&["show", &id, "--json"])).unwrap();
        assert_eq!(json["swatch"]["yarn"], *text);
        assert_eq!(json["swatch"]["note"], *text);
        assert!(calm(&folder.log_done(&["show", &id])), "{text:.40}");
        assert!(calm(&folder.log_done(&["history", &id])));
    }
    let list = folder.log_done(&["list"]);
    assert!(calm(&list), "{list}");
    assert_eq!(list.lines().count(), hostile.len() + 1);
    assert!(calm(&folder.log_done(&["compare"])));
    folder.log_done(&["compare", "--page", "page.html", "--plot", "plot.svg"]);
    for name in ["page.html", "plot.svg"] {
        let text = std::fs::read_to_string(folder.path(name)).unwrap();
        assert!(calm(&text) && !text.contains("<script>"), "{name}");
    }
    assert!(folder.log_done(&["list", "--yarn", "DROP TABLE"]).contains("DROP TABLE"));
    assert_eq!(folder.log_done(&["check"]), "The log is sound.\n");
}

#[test]
fn arguments_that_make_no_sense_end_with_2_and_keep_nothing() {
    let folder = Folder::new();
    let cases: &[&[&str]] = &[
        &["count", "22"],
        &["count", "0x30"],
        &["count", "22x30", "--over", "0"],
        &["count", "22x30", "--over", "20 ft"],
        &["count", "22x30", "--over", "10 cm / 4 in"],
        &["count", "22x30", "--plus-minus", "-1"],
        &["count", "22x30", "--needle", "NaN"],
        &["count", "22x30", "--made-on", "31.5.2024"],
        &["count", "22x30", "--state", "wet"],
        &["count", "22x30", "--tag", "a,b"],
        &["count", "22x30", "--to", "1", "--yarn", "x"],
        &["list", "--needle", "4..3"],
        &["list", "--sort", "colour"],
        &["show"],
        &["edit", "1"],
        &["no-such-command"],
        &[],
    ];
    for arguments in cases {
        let answer = folder.log(arguments);
        assert_eq!((answer.status, answer.out.as_str()), (2, ""), "{arguments:?}: {}", answer.err);
    }
    assert_eq!(folder.names("."), ["grey.jpg"]);
    // Nothing to read from yet.
    for arguments in [&["list"][..], &["show", "1"], &["export", "a.csv"], &["backup", "b.sqlite"], &["check"]] {
        let answer = folder.log(arguments);
        assert_eq!((answer.status, answer.err.lines().count()), (2, 1), "{arguments:?}: {}", answer.err);
        assert!(answer.err.contains("no swatch log yet"), "{}", answer.err);
    }
    assert_eq!(folder.names("."), ["grey.jpg"]);
}

#[test]
fn the_environment_names_the_log() {
    let folder = Folder::new();
    let run = |arguments: &[&str]| {
        Answer::of(folder.command().env("WALEWISE_LOGBOOK", "deep/er/mine.sqlite").arg("log").args(arguments))
    };
    assert_eq!(run(&["count", "22x30"]).status, 0);
    assert!(folder.path("deep/er/mine.sqlite").exists());
    assert_eq!(run(&["list"]).out.lines().count(), 2);
    #[cfg(target_os = "linux")]
    {
        let home = |arguments: &[&str]| {
            Answer::of(folder.command().env("XDG_DATA_HOME", folder.path("data")).arg("log").args(arguments))
        };
        assert_eq!(home(&["count", "22x30"]).status, 0);
        assert!(folder.path("data/walewise/logbook.sqlite").exists());
    }
}
