//! `walewise class` and `walewise sample --class`: what comes in, what is said, and files that are written.

use super::folder::{Answer, Folder};
use std::ffi::OsStr;

/// A class whose numbers stand in a table: eight knitters, two swatches each, with hostile names.
fn table() -> String {
    let mut text = String::from("knitter,swatch,stitches_per_10cm,stitches_plus_minus,rows_per_10cm,rows_plus_minus\n");
    for (k, stitches) in [20.1, 21.4, 22.0, 22.6, 23.1, 21.9, 22.4, 24.0].into_iter().enumerate() {
        for (s, off) in [-0.2, 0.25].into_iter().enumerate() {
            let name = if k == 0 { "<b>Anna</b> \"A\" Berg".replace('"', "\"\"") } else { format!("Knitter {k}") };
            text += &format!("\"{name}\",{s},{:.2},0.2,{:.2},0.3\n", stitches + off, 1.36 * stitches - off);
        }
    }
    text
}

fn class(folder: &Folder, arguments: &[impl AsRef<OsStr>]) -> Answer {
    Answer::of(folder.command().arg("class").args(arguments))
}

#[track_caller]
fn done(folder: &Folder, arguments: &[&str]) -> String {
    let answer = class(folder, arguments);
    assert_eq!((answer.status, answer.err.as_str()), (0, ""), "{}", answer.out);
    answer.out
}

#[track_caller]
fn ends(folder: &Folder, arguments: &[&str], status: i32, word: &str) {
    let answer = class(folder, arguments);
    assert_eq!((answer.status, answer.out.as_str()), (status, ""), "{arguments:?}: {}", answer.err);
    assert!(answer.err.contains(word), "{word}: {}", answer.err);
}

#[test]
fn a_table_gives_words_json_a_table_and_a_handout() {
    let folder = Folder::new();
    std::fs::write(folder.path("class.csv"), table()).unwrap();
    let words = done(&folder, &["class.csv", "--handout", "class.html", "--table", "numbers.csv", "--width", "48 cm"]);
    assert!(words.contains("8 knitters, 16 swatches") && words.contains("between swatches of one knitter"), "{words}");
    assert!(words.lines().all(|l| l.chars().count() <= 80), "{words}");
    let json: serde_json::Value = serde_json::from_str(&done(&folder, &["class.csv", "--json"])).unwrap();
    assert_eq!(json["schema"], "walewise.class/1");
    assert_eq!(json["knitters"].as_array().unwrap().len(), 8);
    assert_eq!(json["spread"][0]["told_apart"], true);
    let between = json["spread"][0]["parts"][0]["standard_deviation"].as_f64().unwrap();
    assert!((0.9..1.5).contains(&between), "the knitters' means spread by 1.16 {between}");
    let numbers = std::fs::read_to_string(folder.path("numbers.csv")).unwrap();
    assert_eq!(numbers.lines().count(), 17);
    assert!(numbers.starts_with("\u{FEFF}\"knitter\",\"swatch\""), "{numbers}");
}

#[test]
fn the_handout_names_nobody_and_fetches_nothing() {
    let folder = Folder::new();
    std::fs::write(folder.path("class.csv"), table()).unwrap();
    done(&folder, &["class.csv", "--handout", "class.html"]);
    let page = std::fs::read_to_string(folder.path("class.html")).unwrap();
    for word in ["Anna", "Berg", "Knitter 1", "class.csv", "<script", "http://", "https://", "url(http", "@import"] {
        let own = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!own.contains(word), "{word}");
    }
    assert!(page.contains("lang=\"en\"") && page.contains("@page") && page.contains("<title>"));
    assert_eq!(page.matches("<svg").count(), page.matches("<title>").count() - 1, "every drawing has its words");
    done(&folder, &["class.csv", "--handout", "class.html", "--force", "--names", "--title", "<i>Lesson</i>"]);
    let page = std::fs::read_to_string(folder.path("class.html")).unwrap();
    assert!(page.contains("&lt;b&gt;Anna&lt;/b&gt;") && page.contains("&lt;i&gt;Lesson") && !page.contains("<b>Anna"));
}

#[test]
fn files_are_not_lost() {
    let folder = Folder::new();
    std::fs::write(folder.path("class.csv"), table()).unwrap();
    std::fs::write(folder.path("class.html"), "mine").unwrap();
    ends(&folder, &["class.csv", "--handout", "class.html"], 1, "--force");
    assert_eq!(std::fs::read_to_string(folder.path("class.html")).unwrap(), "mine");
    ends(&folder, &["class.csv", "--table", "class.csv", "--force"], 2, "overwrite");
    ends(&folder, &["class.csv", "--handout", "no/such/place.html"], 1, "place.html");
}

#[test]
fn what_can_and_cannot_be_concluded_is_said() {
    let folder = Folder::new();
    let of = |lines: &[&str]| {
        let text = format!("knitter,swatch,stitches_per_10cm,stitches_plus_minus\n{}\n", lines.join("\n"));
        std::fs::write(folder.path("class.csv"), text).unwrap();
        let json: serde_json::Value = serde_json::from_str(&done(&folder, &["class.csv", "--json"])).unwrap();
        let codes = json["notes"].as_array().unwrap().iter().map(|n| n["code"].as_str().unwrap().to_owned());
        codes.collect::<Vec<_>>().join(" ")
    };
    let each = ["A,1,20.1,0.2", "B,1,21.2,0.2", "C,1,22.1,0.2", "D,1,21.4,0.2", "E,1,20.9,0.2"];
    assert_eq!(of(&each), "one_swatch_each");
    assert_eq!(of(&["A,1,20.1,0.2", "A,2,20.9,0.2", "A,3,21.8,0.2"]), "one_knitter");
    assert_eq!(of(&["A,1,20.1,0.2"]), "one_swatch");
    assert!(of(&["A,1,20.1,", "B,1,21.2,", "C,1,22.1,", "D,1,21.0,"]).contains("measuring_unknown"));
    assert!(of(&["A,1,21,", "B,1,21,", "C,1,21,", "D,1,21,"]).contains("identical"));
    assert!(of(&["A,1,21,0.5", "B,1,21,0.5", "C,1,21,0.5", "D,1,21,0.5", "E,1,21,0.5"]).contains("identical"));
    let odd = [&each[..], &["F,1,21.3,0.2", "G,1,20.8,0.2", "H,1,30.5,0.2"]].concat();
    assert!(of(&odd).contains("stands_apart"));
    assert!(of(&["A,1,20,0.2", "A,1,23,0.2", "B,1,21,0.2", "C,1,22,0.2"]).contains("measuring_disagrees"));
}

#[test]
fn patterns_and_states_are_not_mixed_without_being_told() {
    let folder = Folder::new();
    for column in ["stitch", "state"] {
        let text = format!("knitter,stitches_per_10cm,{column}\nA,20,garter\nB,21,washed\nC,22,garter\n");
        std::fs::write(folder.path("class.csv"), text).unwrap();
        let option = if column == "stitch" { "--mixed-patterns" } else { "--mixed-states" };
        ends(&folder, &["class.csv"], 3, option);
        assert!(done(&folder, &["class.csv", option]).contains("garter, washed"));
    }
}

#[test]
fn bad_input_ends_with_its_reason() {
    let folder = Folder::new();
    std::fs::create_dir_all(folder.path("empty/knitter")).unwrap();
    ends(&folder, &["empty"], 3, "no photo");
    ends(&folder, &["missing"], 2, "missing");
    let no_input: [&str; 0] = [];
    ends(&folder, &no_input, 2, "required");
    std::fs::write(folder.path("nan.csv"), "knitter,stitches_per_10cm\nA,NaN\n").unwrap();
    ends(&folder, &["nan.csv"], 2, "line 2");
    let many: String = (0..201).map(|i| format!("K{i},20\n")).collect();
    std::fs::write(folder.path("many.csv"), format!("knitter,stitches_per_10cm\n{many}")).unwrap();
    ends(&folder, &["many.csv"], 2, "at most 200");
    std::fs::write(folder.path("huge.csv"), "knitter,stitches_per_10cm\n".repeat(300_000)).unwrap();
    ends(&folder, &["huge.csv"], 2, "larger than");
    std::fs::write(folder.path("bytes.csv"), [0xff, 0xfe, 0x00]).unwrap();
    ends(&folder, &["bytes.csv"], 2, "UTF-8");
    std::fs::write(folder.path("class.csv"), "knitter,stitches_per_10cm\nA,20\nB,21\n").unwrap();
    ends(&folder, &["class.csv", "--multiple", "400"], 2, "piece");
    for wrong in [["--width", "0"], ["--width", "NaN"], ["--multiple", "0"], ["--pattern", "22"]] {
        ends(&folder, &["class.csv", wrong[0], wrong[1]], 2, wrong[1]);
    }
}

/// Photos that can't be measured, a photo that lies in nobody's folder, names that are not Unicode, and links: each is
/// listed or passed over, and the run ends because nothing is left.
#[cfg(unix)]
#[test]
fn a_folder_of_unusable_photos_is_told_photo_by_photo() {
    use std::os::unix::ffi::OsStrExt;
    let folder = Folder::new();
    std::fs::create_dir_all(folder.path("class/Ann/first")).unwrap();
    std::fs::create_dir_all(folder.path("class/Bo")).unwrap();
    folder.grey_photo("class/Ann/first/1.jpg");
    std::fs::write(folder.path("class/Ann/notes.txt"), "hello").unwrap();
    std::fs::write(folder.path("class/Bo/broken.png"), "not a picture").unwrap();
    folder.grey_photo("class/nobody.jpg");
    let odd = OsStr::from_bytes(b"class/\xff\xfe");
    if std::fs::create_dir(folder.path(odd)).is_ok() {
        std::fs::copy(folder.path("grey.jpg"), folder.path(odd).join("x.jpg")).unwrap();
    }
    std::os::unix::fs::symlink(folder.path("class"), folder.path("class/Bo/loop")).unwrap();
    let answer = class(&folder, &["class"]);
    assert_eq!((answer.status, answer.out.as_str()), (3, ""), "{}", answer.err);
    for word in ["Ann/first/1.jpg", "Bo/broken.png", "Bo/loop", "not followed", "nobody.jpg", "nothing can be said"] {
        assert!(answer.err.contains(word), "{word}: {}", answer.err);
    }
    assert!(!answer.err.contains("notes.txt"));
}

/// A drawn class of three knitters: its photos are measured, one photo lies under two knitters and counts for neither.
#[test]
fn a_drawn_class_is_measured_and_a_shared_photo_counts_for_nobody() {
    let folder = Folder::new();
    let sample = ["--class", "class", "--knitters", "3", "--seed", "4", "--size", "800x600", "--between-knitters", "6"];
    let drawn = Answer::of(folder.command().arg("sample").args(sample));
    assert_eq!((drawn.status, drawn.err.as_str()), (0, ""));
    assert_eq!(folder.names("class"), ["Knitter 01", "Knitter 02", "Knitter 03", "class-truth.json"]);
    assert_eq!(Answer::of(folder.command().arg("sample").args(sample)).status, 1, "nothing is replaced unasked");
    std::fs::copy(folder.path("class/Knitter 03/swatch-1.jpg"), folder.path("class/Knitter 02/again.jpg")).unwrap();
    let answer = class(&folder, &["class", "--stitch", "stockinette", "--json", "--handout", "class.html"]);
    assert_eq!((answer.status, answer.err.as_str()), (0, ""));
    let json = &answer.json()[0];
    let names: Vec<_> = json["knitters"].as_array().unwrap().iter().map(|k| k["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["Knitter 01", "Knitter 02"], "{}", json["left_out"]);
    let left: Vec<_> = json["left_out"].as_array().unwrap().iter().map(|l| l["kind"].as_str().unwrap()).collect();
    assert_eq!(left, ["duplicate", "duplicate"]);
    let page = std::fs::read_to_string(folder.path("class.html")).unwrap();
    assert_eq!(page.matches("data:image/jpeg;base64,").count(), 2, "a local map for each swatch");
    assert!(!page.contains("Knitter 0"));
}

#[test]
fn a_report_of_one_measurement_is_written() {
    let folder = Folder::new();
    let drawn =
        ["sample", "demo.jpg", "--seed", "5", "--stitch", "stockinette", "--gauge", "20x28", "--size", "800x600"];
    assert_eq!(Answer::of(folder.command().args(drawn).args(["--difficulty", "easy", "--ruler", "cm"])).status, 0);
    let answer = folder.measure(&["demo.jpg", "--stitch", "stockinette", "--report", "demo.html"]);
    assert_eq!(answer.status, 0, "{}{}", answer.out, answer.err);
    let page = std::fs::read_to_string(folder.path("demo.html")).unwrap();
    for word in
        ["stitches per 10 cm", "Why these are the stitches", "From place to place", "What the interval comes from"]
    {
        assert!(page.contains(word), "{word}");
    }
    assert_eq!(folder.measure(&["grey.jpg", "--report", "grey.html"]).status, 3);
    assert!(std::fs::read_to_string(folder.path("grey.html")).unwrap().contains("No gauge"));
    assert_eq!(folder.measure(&["grey.jpg", "--report", "grey.txt"]).status, 2);
    assert_eq!(folder.measure(&["grey.jpg", "demo.jpg", "--report", "pages"]).status, 3);
    assert_eq!(folder.names("pages"), ["demo-report.html", "grey-report.html"]);
}
