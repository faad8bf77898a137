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
        (&["--gauge", "1e300x30", "--width", "48 cm"], "--gauge: 1e300 stitches"),
        (&["--gauge", "22x30", "--width", "48 cm", "--ease", "1e308 %"], "--ease: "),
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
fn in_the_round_there_is_no_balance() {
    let folder = Folder::new();
    let options = ["--gauge", "22x30", "--width", "20 cm", "--multiple", "4"];
    let round = plan(&folder, &[&options[..], &["--round"]].concat()).out;
    let balanced = plan(&folder, &[&options[..], &["--round", "--balance", "2", "--edge-stitches", "2"]].concat()).out;
    assert!(balanced.contains("belong to flat knitting") && !round.contains("belong to flat knitting"), "{balanced}");
    assert!(round.contains("Cast on 44 sts;") && balanced.contains("Cast on 44 sts;"), "{balanced}");
    assert!(plan(&folder, &[&options[..], &["--balance", "2"]].concat()).out.contains("a multiple of 4 plus 2"));
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
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/plans")
}

#[test]
fn the_plan_file_of_the_page_is_the_sample() {
    let page = fs::read_to_string(sample_plans().join("../../src/cli/pages/plan.md")).unwrap();
    assert!(page.contains(&fs::read_to_string(sample_plans().join("three-caps.toml")).unwrap()));
}

#[test]
fn increases_evenly_in_one_row_need_no_gauge() {
    let folder = Folder::new();
    let answer = plan(&folder, &["--evenly", "51:55"]);
    assert_eq!((answer.status, answer.err.as_str()), (0, ""));
    let said = "51 to 55 sts, 4 increases evenly in one row: k6, M1, [k13, M1] 3 times, k6";
    assert!(answer.out.split_whitespace().collect::<Vec<_>>().join(" ").contains(said), "{}", answer.out);
    let json = plan(&folder, &["--evenly", "128:112", "--round", "--json"]).out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["evenly"][0]["spacing"]["before_each"], serde_json::json!(vec![6; 16]));
    for (wrong, named) in
        [("51", "such as 51:55"), ("5:50", "5 at most"), ("64:64", "two different counts"), ("0:4", "from 1 to")]
    {
        let answer = plan(&folder, &["--evenly", wrong]);
        assert_eq!((answer.status, answer.out.as_str()), (2, ""), "{wrong}");
        assert!(answer.err.contains("--evenly: ") && answer.err.contains(named), "{wrong}: {}", answer.err);
    }
    for piece in [&["--multiple", "4"][..], &["--length", "3 cm"], &["--stitch", "garter"], &["--washed"]] {
        let answer = plan(&folder, &[&["--evenly", "51:55"], piece].concat());
        assert_eq!((answer.status, answer.out.as_str()), (2, ""), "{piece:?}: what describes a piece is not left out");
        assert!(answer.err.contains("a gauge is missing") && answer.err.contains("--round"), "{}", answer.err);
    }
    let answer = planned(&folder, "[[evenly]]\nfrom = 40\nto = 44\nends = \"whole\"\nname = \"yoke\"\n");
    assert!(answer.out.contains("yoke: 40 to 44 sts") && answer.out.contains("[k8, M1] 4 times, k8"), "{}", answer.out);
}

/// A gauge out of the log: the entry's own interval, its needles, and what the log knows of it.
#[test]
fn a_swatch_of_the_log_becomes_a_plan() {
    let folder = Folder::new();
    let log = |arguments: &[&str]| {
        let answer = Answer::of(folder.command().args(["log", "--logbook", "log.sqlite"]).args(arguments));
        assert_eq!(answer.status, 0, "{}", answer.err);
        answer.out
    };
    for (count, needle) in [("44x60", "3.5"), ("41.5x57", "4"), ("39x54", "4.5"), ("37x51", "5")] {
        let about = ["--stitch", "stockinette", "--yarn", "undyed alpaca", "--needle", needle, "--state", "washed"];
        let counted = ["count", count, "--over", "200", "--plus-minus", "0.25", "--worked", "flat"];
        log(&[&counted[..], &about[..]].concat());
    }
    log(&["count", "42x58", "--over", "200", "--to", "3", "--state", "off-needle", "--measured-on", "2024-01-02"]);
    let text = "[gauge.body]\nswatch = 3\nstate = \"washed\"\nlogbook = \"log.sqlite\"\n[[piece]]\nname = \"Back\"\n\
                width = \"50 cm\"\n[regauge]\nstitches = 22\nrows = 30\nover = \"10 cm\"\n[[regauge.count]]\nname = \"bust\"\n\
                stitches = 110\n";
    fs::write(folder.path("plan.toml"), text).unwrap();
    let json: serde_json::Value = serde_json::from_str(&plan(&folder, &["plan.toml", "--json"]).out).unwrap();
    let gauge = &json["gauges"][0];
    assert_eq!(
        (gauge["stitches_per_10cm"]["value"].as_f64(), gauge["stitch"].as_str()),
        (Some(19.5), Some("stockinette"))
    );
    assert_eq!(json["pieces"][0]["sizes"][0]["parts"][0]["stitches"]["count"], 97);
    let codes = json["cautions"].to_string();
    assert!(!codes.contains("not_washed") && !codes.contains("flat_against_round"), "{codes}");
    let needle = &json["regauge"]["needle"];
    // From 4.5 mm over 4 and 3.75 to 3.5.
    assert_eq!((needle["choices"][0]["needle_mm"].as_f64(), needle["sizes"].as_i64()), (Some(3.5), Some(-3)));
    let words = plan(&folder, &["plan.toml"]).out;
    let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("3.5 mm comes nearest (from 4 swatches in the log, on 3.5, 4, 4.5, 5 mm)"), "{words}");
    // The same by options; the log named there; another state.
    let options = ["--logbook", "log.sqlite", "--swatch", "3", "--state", "off-needle", "--width", "50 cm"];
    let answer = plan(&folder, &options);
    let words = answer.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("21.00 ± 0.29 stitches") && words.contains("was not washed and dried"), "{words}");
    for (options, status, named) in [
        (&["--swatch", "9"][..], 2, "--swatch: log.sqlite: there is no swatch 9"),
        (&["--swatch", "3", "--state", "hung"], 2, "was not measured in the state 'hung'"),
        (&["--swatch", "3", "--state", "wet"], 2, "on-needle, off-needle"),
    ] {
        let answer = plan(&folder, &[&["--logbook", "log.sqlite", "--width", "50 cm"], options].concat());
        assert_eq!((answer.status, answer.out.as_str()), (status, ""), "{options:?}");
        assert!(answer.err.contains(named), "{options:?}: {}", answer.err);
    }
    log(&["delete", "3"]);
    let answer = plan(&folder, &["plan.toml"]);
    assert_eq!(answer.status, 2);
    assert!(answer.err.contains("plan.toml: line 2: gauge.body.swatch: swatch 3 is deleted"), "{}", answer.err);
}
