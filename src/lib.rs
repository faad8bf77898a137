//! Walewise measures the gauge of a knitted swatch (stitches and rows per 10 cm, each with an honest interval)
//! from an ordinary photo with a ruler in it, or says clearly why it cannot and how to take the photo again.
//!
//! # How data flows
//!
//! One way only, each stage a module that imports none of the later ones:
//! `quantity` ← `card` ← `photo` ← `ruler` ← `plane` ← `fabric` ← `lattice` ← `gauge` ← `record` ← `measure` ← `report` ← `cli`.
//! A record's gauge then goes into a plan: `record` ← `sizing` (arithmetic of pieces) ← `plan` ← `report`. Beside it
//! `compare` sets records side by side, `class` analyses many knitters' swatches, and `logbook` (a feature) keeps them.
//! The core takes bytes and values and returns values: no files, clock, environment or printing. What it may do side by side
//! it asks `side_by_side` for, where alone there are threads, with the feature of that name.
//!
//! # Coordinates
//!
//! *Photo point*: pixels of the upright, full-size picture (EXIF orientation applied), x right, y down, the centre of
//! the first pixel at (0.5, 0.5). *Plane point*: millimetres in the plane of the fabric's surface, same handedness as
//! the photo. *Angles*: degrees in the photo, 0 right, 90 down, the direction in which an index grows.
//!
//! # Words
//!
//! *Stitch* and *row* name the two axes everywhere; textile engineering calls the columns of stitches wales and the
//! rows courses. *Gauge* is stitches and rows per 10 cm.

#![forbid(unsafe_code)]

pub mod card;
pub mod caution;
pub mod class;
#[cfg(feature = "cli")]
pub mod cli;
pub mod compare;
pub mod fabric;
pub mod gauge;
pub mod lattice;
#[cfg(feature = "logbook")]
pub mod logbook;
pub mod measure;
pub mod photo;
pub mod plan;
pub mod plane;
pub mod quantity;
pub mod record;
pub mod refusal;
pub mod report;
pub mod ruler;
pub mod side_by_side;
pub mod sizing;
pub mod spreadsheet;
pub mod synthetic;
