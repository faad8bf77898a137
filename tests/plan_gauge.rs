//! A measurement's gauge as a plan uses it: the same interval, the same ruler.

use walewise::quantity::{Confidence, Expanded};
use walewise::record::Record;
use walewise::sizing::FabricGauge;

fn record() -> Record {
    serde_json::from_str(include_str!("../sample-photos/plans/swatch.json")).expect("a record")
}

/// Values alike, half-widths within so much of each other.
#[track_caller]
fn alike(a: &Expanded, b: &Expanded, within: f64) {
    assert_eq!(a.value, b.value);
    let ratio = a.expanded_uncertainty / b.expanded_uncertainty;
    assert!((ratio - 1.0).abs() < within, "{ratio}");
}

/// The budget, with the shape of each source, gives back the measurement's own intervals: of the swatch, and of the next
/// fabric at the size it is stated for.
#[test]
fn intervals_are_the_measurements_own() {
    let record = record();
    let gauge = FabricGauge::from_record("body", &record).expect("a gauge");
    let measured = record.gauge.expect("measured");
    let next = measured.next_fabric.expect("a next fabric");
    alike(&gauge.stitches_per_10cm.expanded(Confidence::P95), &measured.stitches_per_10cm, 0.002);
    alike(&gauge.rows_per_10cm.clone().expect("rows").expanded(Confidence::P95), &measured.rows_per_10cm, 0.002);
    alike(&gauge.stitches_over(100.0, 100.0, "a").expanded(Confidence::P95), &next.stitches_per_10cm, 0.002);
    alike(&gauge.rows_over(100.0, 100.0, "a").expect("rows").expanded(Confidence::P95), &next.rows_per_10cm, 0.002);
}

/// A record that does not tell the shapes is read as normal: wider, never narrower.
#[test]
fn records_without_shapes_are_read_on_the_safe_side() {
    let mut old = record();
    old.budget.iter_mut().for_each(|part| part.shape = None);
    let (old, new) = (FabricGauge::from_record("a", &old), FabricGauge::from_record("a", &record()));
    let half = |g: &FabricGauge| g.stitches_per_10cm.expanded(Confidence::P95).expanded_uncertainty;
    assert!(half(&old.expect("a gauge")) >= half(&new.expect("a gauge")));
}

/// Two gauges share what they were measured with only where the ruler has a name.
#[test]
fn one_ruler_moves_both_gauges() {
    let correlation = |record: &Record| {
        let of = |name| FabricGauge::from_record(name, record).expect("a gauge").stitches_per_10cm;
        of("a").correlation(&of("b")).expect("uncertain")
    };
    let mut record = record();
    assert_eq!(correlation(&record), 0.0);
    let ruler = record.budget.iter_mut().find(|part| part.source.contains("accuracy of the ruler")).expect("a ruler");
    ruler.shared_id = Some("steel 30".to_owned());
    assert!(correlation(&record) > 0.0);
}

/// Yarn by the whole swatch as its photo showed it; a photo that did not show it is a mistake at that key.
#[test]
fn yarn_by_the_measured_swatch() {
    let text = "[gauge.body]\nmeasurement = \"swatch.json\"\n[[piece]]\nname = \"p\"\nwidth = \"40 cm\"\nlength = \"50 cm\"\n\
                [yarn]\nswatch_mass_g = 20\nswatch_gauge = \"body\"\nswatches = 0\nball_g = 50\nball_m = 120\n";
    let request = walewise::plan::read(text).expect("a plan").request;
    let planned = |record: Record| walewise::plan::compose(&request, &[("body".to_owned(), record.into())].into());
    let swatch = |area_mm2: Option<f64>| {
        let json = serde_json::json!({
            "outline_px": [], "area_mm2": area_mm2, "area_standard_uncertainty_mm2": area_mm2.map(|a| a * 0.01)
        });
        Record { swatch: Some(serde_json::from_value(json).expect("a swatch")), ..record() }
    };
    let plan = planned(swatch(Some(20_000.0))).expect("a plan");
    // 40 × 50 cm are ten times 200 cm²; whole stitches and rows miss it by a per cent at most.
    let grams = plan.yarn[0].amount.grams.value;
    assert!((grams / 200.0 - 1.0).abs() < 0.02, "{grams}");
    let error = planned(swatch(None)).expect_err("no area").to_string();
    assert!(error.contains("yarn.swatch_gauge"), "{error}");
}
