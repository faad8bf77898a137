//! Reports in words for made-up records: the whole text, so that a change shows.

use walewise::caution::{Caution, CautionCode};
use walewise::lattice::{Agreement, StitchPattern};
use walewise::quantity::{Confidence, Evaluation, Expanded};
use walewise::record::{
    Contribution, DecisionNote, Gauge, LatticeNote, NextFabric, PatternNote, PatternSource, PhotoFacts, Record, Scale,
    ScaleKind, SpectralLine, Status, Variation,
};
use walewise::refusal::{Refusal, RefusalCode, Rival};
use walewise::report::text::describe;
use walewise::ruler::RulerUnit;

fn photo() -> PhotoFacts {
    PhotoFacts { file: "swatch.jpg".to_owned(), ..PhotoFacts::default() }
}

fn expanded(value: f64, standard_uncertainty: f64) -> Expanded {
    Expanded {
        value,
        standard_uncertainty,
        expanded_uncertainty: 2.0 * standard_uncertainty,
        coverage_factor: 2.0,
        degrees_of_freedom: 60.0,
        confidence: Confidence::P95,
    }
}

fn decision() -> DecisionNote {
    DecisionNote {
        declared: vec!["pattern".to_owned()],
        score: 71.3,
        margin: 18.6,
        margin_needed: 4.0,
        places: Agreement { agree: 3, of: 4 },
        projections: Agreement { agree: 2, of: 2 },
        projection: [0.2126, 0.7152, 0.0722],
        lines: vec![SpectralLine { h: 2.0, k: 0.0, amplitude_over_noise: 31.0 }],
        rivals: vec![Rival {
            stitches_per_10cm: 44.8,
            rows_per_10cm: 30.1,
            why: "read as stockinette".to_owned(),
            score: 52.7,
        }],
    }
}

fn part(source: &str, percent: f64) -> Contribution {
    Contribution {
        source: source.to_owned(),
        evaluation: Evaluation::B,
        shared_id: None,
        stitches_percent: percent,
        rows_percent: -percent,
        degrees_of_freedom: None,
        shape: None,
    }
}

fn measured() -> Record {
    Record {
        gauge: Some(Gauge {
            stitches_per_10cm: expanded(22.4321, 0.155),
            rows_per_10cm: expanded(30.05, 0.21),
            next_fabric: Some(NextFabric {
                stitches_per_10cm: expanded(22.4321, 0.3),
                rows_per_10cm: expanded(30.05, 0.6),
                variation: Variation { between_places_percent: [1.1, 1.8], correlation_mm: 30.0 },
            }),
        }),
        stitch_pattern: Some(PatternNote {
            pattern: StitchPattern::named("rib-2x2").unwrap(),
            source: PatternSource::Recognised,
            confidence: Some(0.998),
        }),
        scale: Some(Scale {
            kind: ScaleKind::Ruler,
            unit: Some(RulerUnit::Cm),
            px_per_mm: 11.94,
            photo_to_mm: [1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0],
            distortion: None,
            graduations_read: 118,
            length_read_mm: 121.0,
            ruler_on: None,
            height_correction_percent: -0.4,
            tilt_deg: Some(6.2),
            camera_distance_mm: Some(251.0),
        }),
        lattice: Some(LatticeNote {
            stitch_axis_deg: 0.0,
            row_axis_deg: -90.0,
            skew_deg: 0.4,
            stitches_counted: 27.13,
            rows_counted: 44.2,
            share_followed: None,
            region_px: Vec::new(),
            other_parts_px: Vec::new(),
            local: Vec::new(),
            decision: Some(decision()),
        }),
        budget: vec![
            part("reading of the graduations", 0.02),
            part("accuracy of the ruler", 0.24),
            part("height of the fabric's surface", 0.6),
            part("tilt that was not seen", 0.1),
        ],
        cautions: vec![Caution {
            code: CautionCode::RibRelaxed,
            message: "a rib was measured as it lies; worn, it stretches".to_owned(),
        }],
        ..Record::new(Status::Measured, photo())
    }
}

#[test]
fn a_measured_swatch() {
    let expected = "\
swatch.jpg
  22.4 ± 0.3 stitches per 10 cm     (22.8 ± 0.3 per 4 in)
  30.1 ± 0.4 rows per 10 cm         (30.5 ± 0.4 per 4 in)
  The true gauge of this swatch, as it lies, is in these intervals with 95 %
  confidence.
  Another fabric knitted alike: 22.4 ± 0.6 stitches and 30.1 ± 1.2 rows per 10
  cm.
  Pattern: rib-2x2, repeat 4 stitches x 1 row (recognised, 99 % sure)
  Counted: 27.1 stitches x 44.2 rows
  Decided: next best 44.8 x 30.1 (ahead by 19, 4 needed); 3 of 4 places agree
  Scale:   ruler in cm, 118 marks over 121 mm, 11.9 px per mm, camera tilted
           by 6 degrees
  What the intervals come from most (standard uncertainty: stitches, rows):
  - height of the fabric's surface: 0.60 %, 0.60 %
  - accuracy of the ruler: 0.24 %, 0.24 %
  - tilt that was not seen: 0.10 %, 0.10 %
  Careful:
  - A rib was measured as it lies; worn, it stretches.
  To know it better:
  - Take the photo from farther away, and say how thick the ruler is and what
    it lies on (--ruler-thickness, --ruler-on).
";
    assert_eq!(describe(&measured()), expected);
}

#[test]
fn a_refusal_with_rivals() {
    let rival =
        |rows, why: &str| Rival { stitches_per_10cm: 20.13, rows_per_10cm: rows, why: why.to_owned(), score: 0.0 };
    let refusal = Refusal::new(RefusalCode::LatticeUnclear, "two readings fit equally")
        .with_rivals(vec![rival(26.3, "a row for each V"), rival(52.6, "")]);
    let expected = "\
swatch.jpg
  No gauge: the stitches can be counted in more than one way: two readings fit
  equally.
  It could be:
  - 20.1 stitches x 26.3 rows per 10 cm: a row for each V
  - 20.1 stitches x 52.6 rows per 10 cm
  What to do:
  - Say what was knitted with --stitch (and --repeat), or what you expect with
    --expect. Or take the photo closer, with light from the side; or count by
    hand and say --counted.
";
    assert_eq!(describe(&Record::refused(photo(), &refusal)), expected);
}

#[test]
fn a_file_that_is_no_photo() {
    let record = Record::unreadable(photo(), "empty_file", "the file is empty");
    assert_eq!(describe(&record), "swatch.jpg\n  Not measured: the file is empty.\n");
}

#[test]
fn no_line_is_longer_than_80_columns() {
    for code in [RefusalCode::NoScale, RefusalCode::UnitUnclear, RefusalCode::LatticeUnclear] {
        let record = Record::refused(photo(), &Refusal::new(code, "what was seen ".repeat(30)));
        assert!(describe(&record).lines().all(|l| l.chars().count() <= 80));
    }
}
