//! Annotated pictures: what is drawn stands where it was seen, and nothing in the evidence can break the drawing.

use image::{Rgb, RgbImage};
use nalgebra::Matrix3;
use walewise::lattice::{Basis, LatticeModel, LoopSeen, PhaseBlock};
use walewise::plane::PlaneMap;
use walewise::quantity::{PhotoPoint, PlanePoint};
use walewise::record::{Evidence, GraduationSeen, PhotoFacts, Record, Status, TrainSeen};
use walewise::report::annotate::draw;
use walewise::ruler::{Graduation, RulerUnit};

const GREY: Rgb<u8> = Rgb([120, 120, 120]);

/// A lattice of 5 mm × 4 mm at 10 px per mm, with a loop on every crossing but one, and a ruler along the upper edge.
fn evidence() -> Evidence {
    let map = PlaneMap::new(Matrix3::new(0.1, 0.0, 0.0, 0.0, 0.1, 0.0, 0.0, 0.0, 1.0), None).unwrap();
    let corner = PhotoPoint::new;
    let loops = (0..10).flat_map(|i| {
        (0..8).map(move |j| LoopSeen {
            stitch: i,
            row: j,
            at_px: corner(200.5 + 50.0 * f64::from(i), 200.5 + 40.0 * f64::from(j)),
            matched: (i, j) != (4, 3),
        })
    });
    let marks = (0..60).map(|index| GraduationSeen {
        mark: Graduation {
            index,
            at: corner(100.5 + 10.0 * f64::from(index), 100.5),
            along_sigma_px: 0.1,
            length_px: if index % 10 == 3 { 50.0 } else { 20.0 },
        },
        matched: true,
    });
    Evidence {
        trains: vec![TrainSeen {
            unit: RulerUnit::Cm,
            pitch_mm: 1.0,
            mark_direction: (0.0, -1.0),
            marks: marks.collect(),
        }],
        region_px: vec![corner(180.0, 180.0), corner(680.0, 180.0), corner(680.0, 500.0), corner(180.0, 500.0)],
        lattice: Some(LatticeModel {
            map,
            basis: Basis { stitch: [0.2, 0.0], row: [0.0, 0.25] },
            origin: PlanePoint::new(20.05, 20.05),
        }),
        loops: loops.collect(),
        ..Evidence::default()
    }
}

fn record() -> Record {
    Record::new(Status::Measured, PhotoFacts::default())
}

fn reddish(pixel: &Rgb<u8>) -> bool {
    pixel.0[0] > 180 && pixel.0[2] < 60
}

#[test]
fn marks_stand_where_things_were_seen() {
    let picture = draw(&record(), &evidence(), RgbImage::from_pixel(800, 600, GREY));
    assert!(picture.height() > 600, "a bar is added below");
    for stitch in 0..10 {
        for row in 0..8 {
            let at = picture.get_pixel(200 + 50 * stitch, 200 + 40 * row);
            assert_eq!(reddish(at), (stitch, row) != (4, 3), "stitch {stitch} row {row}: {at:?}");
        }
    }
    // Ticks run outwards from the base line, longer at the longest mark of ten; the marks themselves stay to be seen.
    for index in [3, 13, 23] {
        assert!(reddish(picture.get_pixel(100 + 10 * index, 109)));
        assert_eq!(*picture.get_pixel(100 + 10 * index, 90), GREY);
        assert!(!reddish(picture.get_pixel(110 + 10 * index, 109)));
    }
    // A row's line runs through between the loops, and no line where there is no row.
    assert_ne!(*picture.get_pixel(325, 240), GREY);
    assert_eq!(*picture.get_pixel(325, 262), GREY);
}

#[test]
fn the_photo_is_left_alone_where_nothing_was_seen() {
    let photo = RgbImage::from_fn(300, 200, |x, y| Rgb([x as u8, y as u8, 7]));
    let picture = draw(&record(), &Evidence::default(), photo.clone());
    assert_eq!(picture.width(), 300);
    assert!((0..200).all(|y| (0..300).all(|x| picture.get_pixel(x, y) == photo.get_pixel(x, y))));
}

#[test]
fn small_stitches_are_enlarged() {
    let mut small = evidence();
    let model = small.lattice.as_mut().unwrap();
    model.basis = Basis { stitch: [1.0, 0.0], row: [0.0, 1.0] };
    let picture = draw(&record(), &small, RgbImage::from_pixel(800, 600, GREY));
    assert!(picture.width() > 1600);
}

#[test]
fn wild_evidence_breaks_nothing() {
    let wild = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -1e300, 0.0, 3.0];
    for &x in &wild {
        for &y in &wild {
            let mut e = evidence();
            let p = PhotoPoint::new(x, y);
            e.region_px.push(p);
            e.ruler_outline_px = vec![p, PhotoPoint::new(1.0, 1.0), PhotoPoint::new(9.0, 1.0)];
            e.loops.push(LoopSeen { stitch: i32::MAX, row: i32::MIN, at_px: p, matched: true });
            let mark = Graduation { index: i32::MIN, at: p, along_sigma_px: x, length_px: y };
            e.trains[0].marks.push(GraduationSeen { mark, matched: true });
            e.trains[0].marks.push(GraduationSeen { mark, matched: false });
            e.trains[0].pitch_mm = x;
            e.blocks.push(PhaseBlock {
                at: PlanePoint::new(x, y),
                at_px: p,
                stitches: x,
                rows: y,
                stitches_sigma: 0.1,
                rows_sigma: 0.1,
            });
            draw(&record(), &e, RgbImage::from_pixel(400, 300, GREY));
            draw(&record(), &e, RgbImage::from_pixel(1, 1, GREY));
        }
    }
}
