//! Counts by hand, the wanted gauge, and several photos of one swatch, from what is typed to what is printed.

use super::folder::{Answer, Folder};
use serde_json::Value;

const SWATCH: &[u8] = include_bytes!("../../sample-photos/stockinette-steel-ruler.jpg");

fn folder() -> Folder {
    let folder = Folder::new();
    std::fs::write(folder.path("swatch.jpg"), SWATCH).unwrap();
    folder
}

fn one(answer: &Answer) -> Value {
    let [record] = answer.json().try_into().unwrap();
    record
}

fn stitches(record: &Value) -> f64 {
    record["gauge"]["stitches_per_10cm"]["value"].as_f64().unwrap()
}

fn short_lines(answer: &Answer) -> bool {
    answer.out.lines().all(|line| line.chars().count() <= 80)
}

#[test]
fn a_wanted_gauge_is_answered_in_words_and_numbers() {
    let folder = folder();
    let wanted = |value: &str| ["swatch.jpg", "--stitch", "stockinette", "--wanted", value].map(str::to_owned);
    let words = folder.measure(&wanted("10x14"));
    assert_eq!(words.status, 0, "{}{}", words.out, words.err);
    assert!(words.out.contains("Stitches: too tight") && words.out.contains("larger needle"), "{}", words.out);
    assert!(words.out.contains("cm (") && words.out.contains("in) wide") && short_lines(&words), "{}", words.out);
    let loose = folder.measure(&wanted("20x28/4in"));
    assert!(loose.out.contains("Stitches: too loose") && loose.out.contains("smaller needle"), "{}", loose.out);
    let json = [wanted("14x19").to_vec(), vec!["--json".into(), "--tolerance".into(), "3x3".into()]].concat();
    let record = one(&folder.measure(&json));
    assert_eq!(record["wanted"]["stitches"]["verdict"], "matches");
    let comes_out = record["wanted"]["stitches"]["piece_comes_out_cm"]["value"].as_f64().unwrap();
    assert!((comes_out * stitches(&record) - 50.0 * 14.0).abs() < 1.0);
}

#[test]
fn a_count_between_two_points_needs_no_visible_stitch() {
    let folder = folder();
    let args = ["swatch.jpg", "--counted", "20x20", "--span", "500,500,1300,1100=120mm", "--axes", "0", "--json"];
    let answer = folder.measure(&args);
    assert_eq!(answer.status, 0, "{}{}", answer.out, answer.err);
    let record = one(&answer);
    // A 3-4-5 triangle of 120 mm: 96 mm along the row, 72 mm along the wale.
    assert!((stitches(&record) - 100.0 * 20.0 / 96.0).abs() < 0.5, "{}", stitches(&record));
    assert_eq!((&record["scale"]["kind"], &record["counted"]["over"]), (&"span".into(), &"corners".into()));
    let words = folder.measure(&args[..7]);
    assert!(words.out.contains("by you, between your two points") && short_lines(&words), "{}", words.out);
}

#[test]
fn a_count_along_a_row_alone_is_no_gauge() {
    let folder = folder();
    let args = ["swatch.jpg", "--counted", "20x20", "--span", "500,500,1300,520=120mm", "--axes", "0"];
    let answer = folder.measure(&args);
    assert_eq!(answer.status, 2, "{}", answer.out);
    assert!(answer.out.contains("opposite corners"), "{}", answer.out);
    let outside = folder.measure(&["swatch.jpg", "--counted", "20x20", "--span", "-5,500,1300,1100=120mm"]);
    assert_eq!(outside.status, 2);
}

#[test]
fn several_photos_of_one_swatch_give_one_line() {
    let folder = folder();
    std::fs::write(folder.path("again.jpg"), SWATCH).unwrap();
    let args = ["swatch.jpg", "again.jpg", "grey.jpg", "--same-swatch", "--stitch", "stockinette"];
    let json = folder.measure(&[&args[..], &["--json"]].concat());
    assert_eq!(json.status, 0, "{}{}", json.out, json.err);
    let record = one(&json);
    assert_eq!(record["photos"].as_array().map(Vec::len), Some(3));
    let left_out: Vec<&str> = record["cautions"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|c| c["code"] == "photo_left_out")
        .map(|c| c["message"].as_str().unwrap())
        .collect();
    assert!(left_out.iter().any(|m| m.starts_with("again.jpg") && m.contains("same photo")), "{left_out:?}");
    assert!(left_out.iter().any(|m| m.starts_with("grey.jpg")), "{left_out:?}");
    let alone = one(&folder.measure(&["swatch.jpg", "--stitch", "stockinette", "--json"]));
    assert!((stitches(&record) - stitches(&alone)).abs() < 1e-9);
    assert!(alone["photos"].is_null() && alone["wanted"].is_null() && alone["counted"].is_null());
    let none = folder.measure(&["grey.jpg", "missing.jpg", "--same-swatch"]);
    assert_eq!(none.status, 4, "{}", none.out);
}
