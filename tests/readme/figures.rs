//! Figures in tables, each from what is kept in `calibration/`, from the program's own tables, or by a formula.

use super::project;
use serde_json::Value;
use walewise::refusal::RefusalCode;

const BEGIN: &str = "<!-- figures: ";
const END: &str = "<!-- end -->";

/// The page with every marked part written anew.
pub fn renewed(page: &str) -> String {
    let mut new = String::new();
    let mut rest = page;
    while let Some(at) = rest.find(BEGIN) {
        let (before, marked) = rest.split_at(at);
        let (line, inside) = marked.split_once('\n').expect("more lines");
        let name = line.trim_start_matches(BEGIN).trim_end_matches(" -->");
        let end = inside.find(END).unwrap_or_else(|| panic!("figures without an end: {name}"));
        new += &format!("{before}{line}\n{}", figures(name));
        rest = &inside[end..];
    }
    new + rest
}

fn figures(name: &str) -> String {
    if let Some(photo) = name.strip_prefix("true gauge of ") {
        return true_gauge(photo);
    }
    match name {
        "scores" => scores(),
        "study" => study(),
        "by eye" => by_eye(),
        "22 and 22.5" => told_apart(),
        "refusals" => refusals(),
        other => panic!("unknown figures: {other}"),
    }
}

fn read(path: &str) -> String {
    std::fs::read_to_string(project().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn table(heads: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> String {
    let line = |cells: &[String]| format!("| {} |\n", cells.join(" | "));
    let heads: Vec<String> = heads.iter().map(|&head| head.to_owned()).collect();
    let rule = vec!["---".to_owned(); heads.len()];
    let rows: Vec<String> = rows.into_iter().map(|row| line(&row)).collect();
    line(&heads) + &line(&rule) + &rows.concat()
}

/// The newest entry of the method's history.
fn newest() -> Vec<Value> {
    let history: Value = serde_json::from_str(&read("calibration/method-history.json")).expect("JSON");
    let newest = history.as_array().and_then(|entries| entries.last()).expect("an entry");
    newest["figures"].as_array().expect("figures").clone()
}

fn scores() -> String {
    let rows = newest().into_iter().map(|f| {
        let number = |name: &str| f[name].as_f64().unwrap_or_else(|| panic!("{name}"));
        let answered = number("answered") > 0.0;
        let percent = |name: &str, digits: usize| match answered {
            true => format!("{:.digits$} %", number(name)),
            false => "–".to_owned(),
        };
        let set = match f["set"].as_str().expect("a set") {
            "real" => "real photos".to_owned(),
            drawn => format!("{drawn} (drawn)"),
        };
        let said = if f["declared"] == true { "said" } else { "not said" };
        vec![
            set,
            said.to_owned(),
            format!("{} of {}", number("answered"), number("measurable")),
            percent("median_error_percent", 2),
            percent("p95_error_percent", 1),
            percent("coverage_percent", 0),
            percent("median_half_width_percent", 1),
            if answered { number("silently_wrong").to_string() } else { "–".to_owned() },
            format!("{} of {}", number("refused"), number("must_refuse")),
        ]
    });
    let heads = [
        "photos",
        "pattern",
        "answered",
        "off by (median)",
        "off by at most (95 of 100)",
        "intervals that hold the truth",
        "± (median)",
        "wrong without a sign",
        "had to be refused, and were",
    ];
    table(&heads, rows)
}

/// A group of the long study, as `tests/coverage.rs` wrote it.
fn study_row(group: &str) -> Option<Vec<String>> {
    let rows = read("calibration/coverage.csv");
    rows.lines().map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>()).find(|cells| cells[0] == group)
}

fn study() -> String {
    let row = study_row("all").expect("all photos");
    // Not in the table of a study before it was counted.
    let of = study_row("with a true gauge").map_or_else(String::new, |row| format!(" of {}", row[1]));
    let [photos, covered, half_width, error, most, wrong] = [1, 3, 7, 8, 9, 10].map(|i| row[i].as_str());
    format!(
        "Of those that were answered ({photos}{of} photos, stitches and rows): off by {error} % in the median and by less than \
         {most} % in 95 of 100; {covered} %\nof the intervals held the truth, their median is ± {half_width} %; and \
         **{wrong} photos were wrong without a sign of it**.\n"
    )
}

/// Half of the 95 % interval of a reading that is anywhere within ± `half_range` of what is read, all alike likely: a
/// rectangular distribution (JCGM 100:2008, 4.3.7), of which 95 % lie in the middle 95 %.
fn rectangular_95(half_range: f64) -> f64 {
    0.95 * half_range
}

/// The same for the difference of two such readings, which is triangular within ± 2 `half_range` (4.3.9): beyond x lies
/// (1 − x / 2a)² of it.
fn difference_95(half_range: f64) -> f64 {
    2.0 * half_range * (1.0 - 0.05f64.sqrt())
}

/// Ways of reading a gauge by eye: words, how far off each reading may be in stitches, and over how many cm.
const BY_EYE: [(&str, f64, f64); 4] = [
    ("whole stitches over 5 cm (2 in)", 0.5, 5.0),
    ("whole stitches over 10 cm (4 in)", 0.5, 10.0),
    ("to the half stitch over 10 cm (4 in)", 0.25, 10.0),
    ("to the half stitch over 20 cm (8 in)", 0.25, 20.0),
];

/// A gauge to reckon with, stitches per 10 cm.
const GAUGE: f64 = 22.0;

/// Median half-widths of the 95 % interval, in per cent: of the photo sets with the pattern said, and of the long study.
fn measured() -> Vec<(String, f64)> {
    let sets = newest().into_iter().filter(|f| f["declared"] == true && f["set"] != "real").map(|f| {
        let name = format!("Walewise, {} set", f["set"].as_str().expect("a set"));
        (name, f["median_half_width_percent"].as_f64().expect("a half-width"))
    });
    let study = study_row("all").expect("all photos")[7].parse().expect("a half-width");
    sets.chain([("Walewise, the study of fresh drawn photos".to_owned(), study)]).collect()
}

fn by_eye() -> String {
    let row = |words: String, u: f64, half: f64| {
        let percent = 100.0 * half / GAUGE;
        let width = 50.0 * percent / 100.0;
        vec![words, format!("{u:.2}"), format!("± {half:.2}"), format!("± {percent:.1} %"), format!("± {width:.1} cm")]
    };
    let eye = BY_EYE.iter().map(|&(words, off, over)| {
        let half_range = off * 10.0 / over;
        row(words.to_owned(), half_range / 3f64.sqrt(), rectangular_95(half_range))
    });
    let photo = measured().into_iter().map(|(words, percent)| {
        let half = GAUGE * percent / 100.0;
        row(words, half / 1.96, half)
    });
    let heads = [
        "at 22 stitches per 10 cm",
        "standard uncertainty, stitches",
        "95 % interval, stitches",
        "the same in per cent",
        "a piece of 50 cm (19.7 in)",
    ];
    table(&heads, eye.chain(photo))
}

fn told_apart() -> String {
    let verdict = |half: f64| if half < 0.5 { "yes" } else { "no" };
    let row = |words: String, half: f64| vec![words, format!("± {half:.2}"), verdict(half).to_owned()];
    let eye = BY_EYE.iter().map(|&(words, off, over)| row(words.to_owned(), difference_95(off * 10.0 / over)));
    let photo = measured().into_iter().map(|(words, percent)| row(words, 2f64.sqrt() * GAUGE * percent / 100.0));
    let heads = ["both swatches read so", "the difference is known to, stitches", "are 22 and 22.5 told apart?"];
    table(&heads, eye.chain(photo))
}

/// A code by its name in the contract.
pub fn name(code: RefusalCode) -> String {
    serde_json::to_value(code).expect("a name").as_str().expect("a name").to_owned()
}

fn refusals() -> String {
    let rows = RefusalCode::ALL.map(|code| {
        let words = code.message();
        let first = words.chars().next().expect("words").to_uppercase();
        vec![format!("`{}`", name(code)), format!("{first}{}.", &words[1..]), code.advice().to_owned()]
    });
    table(&["code", "what it means", "what to do"], rows)
}

/// Of a sample photo.
fn true_gauge(photo: &str) -> String {
    let about: Value = serde_json::from_str(&read(&format!("sample-photos/{photo}.json"))).expect("JSON");
    let of = |name: &str| about["truth"][name].as_f64().expect("a number");
    format!(
        "The photo was drawn by the project, so its true gauge is known: {:.2} stitches and {:.2} rows per 10 cm.\n",
        of("stitches_per_10cm"),
        of("rows_per_10cm")
    )
}

#[test]
fn formulas_of_reading_by_eye() {
    // GUM 4.3.7: u = a/√3; the reference values 0.289 and 0.144 stitches for half and quarter stitches.
    assert!((0.5 / 3f64.sqrt() - 0.289).abs() < 5e-4 && (0.25 / 3f64.sqrt() - 0.144).abs() < 5e-4);
    assert!((rectangular_95(0.5) - 0.475).abs() < 1e-12);
    // 95 % of a triangle within ± 1: drawn on a grid.
    let n = 2000;
    let mut differences: Vec<f64> = (0..n * n).map(|k| ((k / n) as f64 - (k % n) as f64).abs() / n as f64).collect();
    differences.sort_by(f64::total_cmp);
    assert!((differences[(n * n) * 95 / 100] - difference_95(0.5)).abs() < 2e-3);
}
