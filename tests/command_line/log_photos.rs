//! Photos into the log: measured, shown, kept; measured again without losing the older result.

use super::folder::{Answer, Folder};
use std::path::PathBuf;

fn sample(name: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("sample-photos").join(name);
    path.to_str().unwrap().to_owned()
}

#[test]
fn a_photo_is_measured_shown_kept_and_measured_again() {
    let folder = Folder::new();
    std::fs::copy(sample("stockinette-steel-ruler.jpg"), folder.path("swatch.jpg")).unwrap();
    let said = folder.log_done(&[
        "add",
        "swatch.jpg",
        "--stitch",
        "stockinette",
        "--ruler-id",
        "steel 30",
        "--yarn",
        "bulky wool",
        "--needle",
        "7",
        "--state",
        "washed",
        "--annotate",
        "seen.jpg",
    ]);
    assert!(said.contains("stitches per 10 cm") && said.ends_with("Kept as swatch 1.\n"), "{said}");
    let entry = |text: String| serde_json::from_str::<serde_json::Value>(&text).unwrap();
    let first = entry(folder.log_done(&["show", "1", "--json"]));
    let kept = &first["measurements"][0];
    assert_eq!(kept["options"], serde_json::json!(["--stitch", "stockinette", "--ruler-id", "steel 30"]));
    assert_eq!(kept["photo_sha256"], kept["reading"]["photo"]["photo"]["sha256"]);
    assert!(kept["picture"].as_str().unwrap().ends_with("seen.jpg"));
    assert!(kept["reading"]["photo"]["budget"].as_array().unwrap().len() > 3);
    assert_eq!(first["swatch"]["stitch"], "stockinette");
    let shown = folder.log_done(&["show", "1"]);
    assert!(shown.contains("accuracy of the ruler (steel 30)") && shown.contains("seen.jpg"), "{shown}");

    let again = folder.log_done(&["remeasure", "1"]);
    assert!(again.ends_with("Kept as measurement 2 of swatch 1, in place of 1.\n"), "{again}");
    let second = entry(folder.log_done(&["show", "1", "--json"]));
    let numbers = |of: &serde_json::Value| of["reading"]["photo"]["gauge"].clone();
    // The older result is there word for word; the newer one, measured the same way, says the same.
    assert_eq!(second["measurements"][0]["reading"], first["measurements"][0]["reading"]);
    assert_eq!(second["measurements"][0]["replaced_by"], second["measurements"][1]["uid"]);
    assert_eq!(numbers(&second["measurements"][1]), numbers(&first["measurements"][0]));
    // Another photo under the old name is not the one that was measured.
    std::fs::copy(folder.path("grey.jpg"), folder.path("swatch.jpg")).unwrap();
    let other = folder.log(&["remeasure", "1"]);
    assert!(other.status == 2 && other.err.contains("not the photo"), "{}", other.err);
}

#[test]
fn a_refused_photo_is_kept_only_when_asked() {
    let folder = Folder::new();
    let refused = folder.log(&["add", "grey.jpg"]);
    assert_eq!(refused.status, 3, "{}", refused.err);
    assert!(refused.out.contains("No gauge") && refused.out.ends_with("Not kept.\n"), "{}", refused.out);
    assert_eq!(folder.log_done(&["list"]), "No swatch fits.\n");
    let kept = folder.log(&["add", "grey.jpg", "--keep-refused", "--yarn", "dark"]);
    assert!(kept.status == 3 && kept.out.ends_with("Kept as swatch 1.\n"), "{}", kept.out);
    assert!(folder.log_done(&["list"]).contains("dark"));
    assert!(folder.log_done(&["show", "1"]).contains("refused"));
    std::fs::write(folder.path("text.jpg"), "no photo").unwrap();
    let unreadable = folder.log(&["add", "text.jpg", "--keep-refused"]);
    assert!(unreadable.status == 4 && unreadable.out.ends_with("Not kept.\n"), "{}", unreadable.out);
}

#[test]
fn measurements_made_earlier_are_kept_from_their_json() {
    let folder = Folder::new();
    let measured = Answer::of(folder.command().args(["measure", "grey.jpg", "--json"]));
    std::fs::write(folder.path("refused.json"), &measured.out).unwrap();
    let answer = folder.log(&["keep", "refused.json"]);
    assert!(answer.status == 3 && answer.err.contains("holds no gauge"), "{}", answer.err);
    assert_eq!(folder.log_done(&["keep", "refused.json", "--keep-refused"]), "grey.jpg: kept as swatch 1.\n");
    for bad in ["", "{}", "[1, 2", "{\"schema\": \"walewise.measurement/2\"}"] {
        std::fs::write(folder.path("bad.json"), bad).unwrap();
        let answer = folder.log(&["keep", "bad.json"]);
        assert_eq!((answer.status, answer.err.lines().count()), (2, 1), "{bad}: {}", answer.err);
    }
    assert_eq!(folder.log(&["keep", "missing.json"]).status, 2);
}

#[test]
fn several_photos_of_a_swatch_become_one_measurement() {
    let folder = Folder::new();
    std::fs::copy(sample("stockinette-steel-ruler.jpg"), folder.path("swatch.jpg")).unwrap();
    let added = folder.log(&["add", "grey.jpg", "swatch.jpg", "--same-swatch", "--stitch", "stockinette"]);
    assert!(added.status == 0 && added.out.ends_with("Kept as swatch 1.\n"), "{}{}", added.out, added.err);
    assert_eq!(added.out.matches("stitches per 10 cm").count(), 1, "{}", added.out);
    let entry: serde_json::Value = serde_json::from_str(&folder.log_done(&["show", "1", "--json"])).unwrap();
    let kept = &entry["measurements"][0];
    assert_eq!(kept["reading"]["photo"]["photos"].as_array().unwrap().len(), 2);
    assert!(kept["photo"].as_str().unwrap().ends_with("swatch.jpg"), "{kept}");
    let again = folder.log(&["remeasure", "1"]);
    assert!(again.status == 2 && again.err.contains("--same-swatch --to 1"), "{}", again.err);
    let refused = folder.log(&["add", "grey.jpg", "grey.jpg", "--same-swatch"]);
    assert!(refused.status == 3 && refused.out.ends_with("Not kept.\n"), "{}", refused.out);
    let missing = folder.log(&["add", "swatch.jpg", "missing.jpg", "--same-swatch", "--stitch", "stockinette"]);
    assert_eq!(missing.status, 4, "{}", missing.out);
}

#[test]
fn a_small_picture_is_kept_only_when_asked_and_travels_with_the_log() {
    let folder = Folder::new();
    let photo = sample("stockinette-steel-ruler.jpg");
    folder.log_done(&["add", &photo, "--stitch", "stockinette", "--thumbnail"]);
    folder.log_done(&["add", &photo, "--stitch", "stockinette"]);
    assert!(folder.log_done(&["show", "1"]).contains("Small picture"));
    folder.log_done(&["show", "1", "--thumbnail", "small.jpg"]);
    let small = image::open(folder.path("small.jpg")).unwrap();
    assert_eq!(small.width().max(small.height()), 320);
    assert!(!std::fs::read(folder.path("small.jpg")).unwrap().windows(4).any(|w| w == b"Exif"));
    assert_eq!(folder.log(&["show", "1", "--thumbnail", "small.jpg"]).status, 1, "nothing is overwritten unasked");
    let none = folder.log(&["show", "2", "--thumbnail", "none.jpg"]);
    assert!(none.status == 3 && none.err.contains("no small picture"), "{}", none.err);
    folder.log_done(&["export", "all.jsonl"]);
    let other = |arguments: &[&str]| {
        let answer = Answer::of(folder.command().args(["log", "--logbook", "other.sqlite"]).args(arguments));
        assert_eq!(answer.status, 0, "{}", answer.err);
    };
    other(&["import", "all.jsonl"]);
    other(&["export", "again.jsonl"]);
    other(&["show", "1", "--thumbnail", "other.jpg"]);
    let same =
        |a: &str, b: &str| assert_eq!(std::fs::read(folder.path(a)).unwrap(), std::fs::read(folder.path(b)).unwrap());
    same("all.jsonl", "again.jsonl");
    same("small.jpg", "other.jpg");
}
