//! `walewise plan`: files and options, mistakes that name their place, pages, and exit statuses.

use super::folder::{Answer, Folder};
use std::fs;

/// A whole plan file of one piece, to be changed by the tests.
const PLAN: &str = "\
[gauge.body]
stitches = \"22 ± 0.4\"
rows = 30
over = \"10 cm\"
knitted = \"flat\"
washed = true

[sizes]
names = [\"S\", \"L\"]
chest = [\"84 cm\", \"100 cm\"]

[[piece]]
name = \"Front\"
width = \"chest\"
ease = \"-50 %\"
length = \"40 cm\"
multiple = 4
balance = 2

  [[piece.shaping]]
  to = 60
  over = \"20 cm\"
";

fn plan(folder: &Folder, arguments: &[&str]) -> Answer {
    Answer::of(folder.command().arg("plan").args(arguments))
}

fn planned(folder: &Folder, text: &str) -> Answer {
    fs::write(folder.path("plan.toml"), text).unwrap();
    plan(folder, &["plan.toml"])
}

#[test]
fn a_plan_file_gives_counts_that_add_up() {
    let folder = Folder::new();
    fs::write(folder.path("plan.toml"), PLAN).unwrap();
    let answer = plan(&folder, &["plan.toml", "--json"]);
    assert_eq!((answer.status, answer.err.as_str()), (0, ""));
    let json: serde_json::Value = serde_json::from_str(&answer.out).unwrap();
    assert_eq!(json["schema"], "walewise.plan/1");
    for (size, cast_on, shaping_rows) in [(0, 94, 17), (1, 110, 25)] {
        let part = &json["pieces"][0]["sizes"][size]["parts"][0];
        assert_eq!(part["stitches"]["count"], cast_on);
        let schedule = &part["shaping"][0]["schedule"];
        assert_eq!(schedule["intervals"].as_array().unwrap().len(), shaping_rows);
        let rows: u64 = schedule["intervals"].as_array().unwrap().iter().map(|r| r.as_u64().unwrap()).sum();
        assert_eq!(rows + part["straight_rows"].as_u64().unwrap(), part["rows"]["count"].as_u64().unwrap());
        assert_eq!(part["stitches_at_end"], 60);
    }
    let words = planned(&folder, PLAN).out;
    assert!(words.contains("Cast on 94 sts.") && words.lines().all(|l| l.chars().count() <= 80), "{words}");
}

/// Each mistake with the line it is in, its key, and what would be accepted.
#[test]
fn mistakes_name_file_line_and_key() {
    let folder = Folder::new();
    let cases = [
        ("multiple = 4", "multipel = 4", 17, "multipel", "accepted here: "),
        ("width = \"chest\"", "width = \"-48 cm\"", 14, "width", "more than 0"),
        ("width = \"chest\"", "width = \"waist\"", 14, "width", "there: chest"),
        ("width = \"chest\"", "width = [\"80 cm\"]", 14, "width", "1 values for 2 sizes"),
        ("multiple = 4", "multiple = 0", 17, "multiple", "from 1 to 500"),
        ("multiple = 4", "multiple = 400", 17, "multiple", "smallest possible count is 402"),
        ("ease = \"-50 %\"", "ease = \"-90 %\"", 14, "width", "-50 % to 100 %"),
        ("ease = \"-50 %\"", "ease = \"loose\"", 15, "ease", "such as 5 cm"),
        ("over = \"20 cm\"", "over = \"3 cm\"", 20, "shaping", "don't fit into 9 rows"),
        ("to = 60", "to = 59", 20, "shaping", "34 or 36 would be"),
        ("to = 60", "to = 60\nper_row = 3", 22, "per_row", "even number"),
        ("over = \"10 cm\"", "over = \"10\\\"", 4, "", "not TOML"),
        ("over = \"10 cm\"", "over = \"10 cm / 5 in\"", 4, "over", "10 cm / 4 in"),
        ("\"22 ± 0.4\"", "\"22 ± 30\"", 2, "stitches", "no gauge"),
        ("knitted = \"flat\"", "knitted = \"machine\"", 5, "knitted", "\"flat\", \"round\""),
        ("washed = true", "washed = \"yes\"", 6, "washed", "true or false"),
        ("names = [\"S\", \"L\"]", "table = \"head\"\nnames = [\"S\", \"L\"]", 10, "names", "newborn"),
        ("rows = 30\n", "", 15, "length", "no rows"),
        ("[gauge.body]", "[gauge]", 2, "gauge.stitches", "[gauge.body]"),
    ];
    for (from, to, line, key, accepted) in cases {
        assert!(PLAN.contains(from), "{from}");
        let answer = planned(&folder, &PLAN.replacen(from, to, 1));
        assert_eq!((answer.status, answer.out.as_str()), (2, ""), "{to}: {}", answer.err);
        assert_eq!(answer.err.lines().count(), 1, "{}", answer.err);
        for part in ["walewise: plan.toml: ", &format!("line {line}: "), key, accepted] {
            assert!(answer.err.contains(part), "{to}: '{part}' in {}", answer.err);
        }
    }
}

#[test]
fn options_describe_one_piece_as_a_file_does() {
    let folder = Folder::new();
    let options =
        ["--gauge", "22 ± 0.4 x 30", "--width", "48 cm", "--length", "40 cm", "--multiple", "4", "--balance", "2"];
    let answer = plan(&folder, &options);
    assert_eq!(answer.status, 0, "{}", answer.err);
    let file = plan(&folder, &[&options[..], &["--as-toml"]].concat());
    assert_eq!(planned(&folder, &file.out).out, answer.out);
    for (wrong, named) in [
        (&["--gauge", "22x30"][..], "--width"),
        (&["--width", "48 cm"], "--gauge"),
        (&["--gauge", "22x30", "--width", "wide"], "--width: "),
        (&["--gauge", "22xmany", "--width", "48 cm"], "--gauge: "),
        (&["--gauge", "22x30", "--width", "48 cm", "--multiple", "0"], "--multiple: "),
        (&["--gauge", "22x30", "--width", "48 cm", "--shape-to", "60"], "--shape-to: "),
        (&["plan.toml", "--width", "48 cm"], "plan file"),
        (&["none.toml"], "no such file"),
    ] {
        let answer = plan(&folder, wrong);
        assert_eq!((answer.status, answer.out.as_str()), (2, ""), "{wrong:?}");
        assert!(answer.err.contains(named) && answer.err.lines().count() == 1, "{wrong:?}: {}", answer.err);
    }
}

#[test]
fn a_refused_photo_or_a_vague_count_gives_no_plan() {
    let folder = Folder::new();
    fs::write(folder.path("swatch.json"), folder.measure(&["grey.jpg", "--json"]).out).unwrap();
    let measured = "[gauge.body]\nmeasurement = \"swatch.json\"\n[[piece]]\nname = \"Scarf\"\nwidth = \"30 cm\"\n";
    let answer = planned(&folder, measured);
    assert_eq!((answer.status, answer.out.as_str()), (3, ""), "{}", answer.err);
    assert!(answer.err.contains("no gauge"), "{}", answer.err);
    let answer = planned(&folder, &PLAN.replace("\"22 ± 0.4\"", "\"22 ± 5\""));
    assert_eq!((answer.status, answer.out.as_str()), (3, ""), "{}", answer.err);
    let answer = planned(&folder, &measured.replace("swatch.json", "missing.json"));
    assert_eq!(answer.status, 2);
    assert!(answer.err.contains("line 2: gauge.body.measurement: missing.json"), "{}", answer.err);
}

#[test]
fn ten_centimetres_or_four_inches_is_said_where_nobody_can_be_asked() {
    let folder = Folder::new();
    let answer = plan(&folder, &["--gauge", "22x30", "--over", "10 cm / 4 in", "--width", "48 cm"]);
    assert_eq!(answer.status, 0);
    assert!(answer.out.contains("1.6 %") && answer.out.contains("10 cm is taken"), "{}", answer.out);
    assert!(!plan(&folder, &["--gauge", "22x30", "--over", "4 in", "--width", "48 cm"]).out.contains("1.6 %"));
}

#[test]
fn the_page_is_whole_and_safe() {
    let folder = Folder::new();
    fs::write(folder.path("plan.toml"), PLAN.replace("\"Front\"", "\"<script>alert(1)</script> & 'front'\"")).unwrap();
    assert_eq!(plan(&folder, &["plan.toml", "--html", "plan.html"]).status, 0);
    let page = fs::read_to_string(folder.path("plan.html")).unwrap();
    assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>"));
    assert!(!page.contains("<script>") && page.contains("&lt;script&gt;"));
    assert_eq!(page.matches("<svg").count(), 2, "one drawing a size");
    // Nothing from elsewhere: the only address is the name of SVG itself.
    assert_eq!(page.matches("http").count(), page.matches("http://www.w3.org/2000/svg").count());
    assert_eq!(plan(&folder, &["plan.toml", "--html", "plan.toml"]).status, 2);
    assert_eq!(plan(&folder, &["plan.toml", "--html", "none/plan.html"]).status, 1);
}

/// The folder with the sample plans.
fn sample_plans() -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-plans")
}

#[test]
fn sample_plans_come_out_as_the_readme_shows() {
    let folder = Folder::new();
    for name in ["three-caps.toml", "tied-headband.toml", "swatch.json"] {
        fs::copy(sample_plans().join(name), folder.path(name)).unwrap();
    }
    let readme = fs::read_to_string(sample_plans().join("../README.md")).unwrap();
    assert!(
        readme.contains(&fs::read_to_string(sample_plans().join("three-caps.toml")).unwrap()),
        "the whole plan file"
    );
    for name in ["three-caps.toml", "tied-headband.toml"] {
        let answer = plan(&folder, &[name, "--html", "page.html"]);
        assert_eq!((answer.status, answer.err.as_str()), (0, ""));
        let shown =
            readme.split(&format!("walewise plan {name}")).nth(1).and_then(|rest| rest.split("```text\n").nth(1));
        let shown = shown.and_then(|rest| rest.split("```").next()).unwrap();
        let mut lines = answer.out.lines();
        for line in shown.lines().filter(|l| *l != "…") {
            assert!(lines.any(|l| l == line), "{name} does not say, in this order: {line}");
        }
    }
}
