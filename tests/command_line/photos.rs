//! Photo files, sound and absurd: a line each, with the right exit status.

use super::folder::Folder;
use image::{DynamicImage, Luma, Rgb, RgbImage, Rgba, RgbaImage};

#[test]
fn what_is_no_photo_ends_with_4_and_says_why() {
    let folder = Folder::new();
    std::fs::write(folder.path("empty.jpg"), b"").unwrap();
    std::fs::write(folder.path("text.jpg"), b"This is a shopping list: wool, needles.").unwrap();
    let whole = std::fs::read(folder.path("grey.jpg")).unwrap();
    std::fs::write(folder.path("head.jpg"), &whole[..20]).unwrap();
    let swatch = include_bytes!("../data/rendered-swatch.jpg");
    std::fs::write(folder.path("cut.jpg"), &swatch[..swatch.len() / 2]).unwrap();
    std::fs::create_dir(folder.path("folder.jpg")).unwrap();
    let cases = [
        ("missing.jpg", "file_missing"),
        ("folder.jpg", "is_a_folder"),
        ("empty.jpg", "empty_file"),
        ("text.jpg", ""),
        ("head.jpg", ""),
        ("cut.jpg", "truncated_photo"),
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

#[cfg(unix)]
#[test]
fn file_names_need_not_be_unicode() {
    use std::os::unix::ffi::OsStrExt;
    let folder = Folder::new();
    let name = std::ffi::OsStr::from_bytes(b"gr\xFCn.jpg");
    let seen = std::ffi::OsStr::from_bytes(b"s\xE9en.jpg");
    std::fs::copy(folder.path("grey.jpg"), folder.path(name)).unwrap();
    let answer = folder.measure(&[name, "--json".as_ref(), "--annotate".as_ref(), seen]);
    assert_eq!((answer.status, answer.err.as_str()), (3, ""));
    let [record] = answer.json().try_into().unwrap();
    assert_eq!(record["photo"]["file"], "gr\u{FFFD}n.jpg");
    assert!(image::ImageReader::open(folder.path(seen)).unwrap().with_guessed_format().unwrap().decode().is_ok());
}

/// Photos of nothing, each in a form that could trip a reader: refused with a reason, and drawn all the same.
#[test]
fn absurd_pictures_are_refused_in_one_voice() {
    let folder = Folder::new();
    let plain = |value: u8| DynamicImage::from(RgbImage::from_pixel(800, 600, Rgb([value; 3])));
    let save = |name: &str, picture: DynamicImage| picture.save(folder.path(name)).unwrap();
    save("dot.png", DynamicImage::from(RgbImage::from_pixel(1, 1, Rgb([200, 10, 10]))));
    save("line.png", DynamicImage::from(RgbImage::from_pixel(3000, 1, Rgb([200, 10, 10]))));
    save("black.jpg", plain(0));
    save("white.jpg", plain(255));
    save("clear.png", DynamicImage::from(RgbaImage::from_pixel(800, 600, Rgba([9, 9, 9, 0]))));
    save(
        "faint.png",
        DynamicImage::from(RgbaImage::from_fn(800, 600, |x, y| Rgba([90, (y % 251) as u8, 9, (x % 256) as u8]))),
    );
    save("deep.png", DynamicImage::from(plain(90).into_rgb16()));
    save("deep-grey.tif", DynamicImage::from(plain(90).into_luma16()));
    std::fs::write(folder.path("inks.jpg"), include_bytes!("../data/cmyk.jpg")).unwrap();
    for (name, code) in [
        ("dot.png", "too_small"),
        ("line.png", "too_small"),
        ("black.jpg", "no_scale"),
        ("white.jpg", "glare"),
        ("clear.png", "glare"),
        ("faint.png", "no_scale"),
        ("deep.png", "no_scale"),
        ("deep-grey.tif", "no_scale"),
        ("inks.jpg", "too_small"),
    ] {
        let answer = folder.measure(&[name, "--json", "--annotate", "seen.jpg"]);
        assert_eq!((answer.status, answer.err.as_str()), (3, ""), "{name}: {}", answer.out);
        let [record] = answer.json().try_into().unwrap();
        assert_eq!(record["refusal"]["code"], code, "{name}");
        assert!(record["gauge"].is_null(), "{name}");
        assert!(image::open(folder.path("seen.jpg")).is_ok(), "{name}");
    }
}

/// 100 megapixels are the most that is read: taken, and refused for what is (not) on it. One more row is too much.
#[test]
fn a_hundred_megapixels_and_one_row_more() {
    let folder = Folder::new();
    image::GrayImage::from_pixel(10_000, 10_000, Luma([128])).save(folder.path("most.png")).unwrap();
    image::GrayImage::from_pixel(10_000, 10_001, Luma([128])).save(folder.path("more.png")).unwrap();
    let answer = folder.measure(&["most.png", "more.png", "--json"]);
    assert_eq!((answer.status, answer.err.as_str()), (4, ""));
    let [most, more] = answer.json().try_into().unwrap();
    assert_eq!((&most["status"], &most["refusal"]["code"]), (&"refused".into(), &"no_scale".into()));
    assert_eq!((&more["status"], &more["error"]["code"]), (&"unreadable".into(), &"photo_too_large".into()));
}

/// The same picture as phones store it and as a JPEG goes the whole way: an answer or an honest refusal, and two answers
/// whose intervals meet.
#[test]
fn heic_goes_through_the_whole_chain() {
    let folder = Folder::new();
    std::fs::write(folder.path("swatch.heic"), include_bytes!("../data/rendered-swatch.heic")).unwrap();
    std::fs::write(folder.path("swatch.jpg"), include_bytes!("../data/rendered-swatch.jpg")).unwrap();
    let answer = folder.measure(&["swatch.heic", "swatch.jpg", "--stitch", "stockinette", "--json"]);
    assert!([0, 3].contains(&answer.status), "{} {}", answer.out, answer.err);
    let records: [serde_json::Value; 2] = answer.json().try_into().unwrap();
    for axis in ["stitches_per_10cm", "rows_per_10cm"] {
        let number = |r: &serde_json::Value, name: &str| r["gauge"][axis][name].as_f64();
        let values: Vec<f64> = records.iter().filter_map(|r| number(r, "value")).collect();
        let widths: f64 = records.iter().filter_map(|r| number(r, "expanded_uncertainty")).sum();
        if let [heic, jpeg] = values[..] {
            assert!((heic - jpeg).abs() <= widths, "{axis}: {heic} and {jpeg}");
        }
    }
}
