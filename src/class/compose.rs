//! Readings → what is known of the class.

use super::duplicates::sorted_out;
use super::error::{ClassError, MOST_READINGS};
use super::meaning::{OwnGauge, Piece, meaning};
use super::notes::{different, notes};
use super::outliers::apart;
use super::places::{PlaceVariation, place_variation};
use super::reading::Reading;
use super::result::{Class, Knitter, LeftOut, SCHEMA, Swatch};
use super::spread::{PartKind, Spread, spread};
use crate::quantity::{Confidence, Uncertain};
use crate::sizing::Counted;

/// What is asked of a class.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassQuestion {
    /// What the lesson is called.
    pub title: String,
    /// The piece.
    pub piece: Piece,
    /// Put different stitch patterns together.
    pub mixed_patterns: bool,
    /// Put different states together.
    pub mixed_states: bool,
}

/// The analysis of a class. `left_out` is what the caller could not measure; labels of readings must differ.
///
/// # Errors
/// For nothing measured, too many measurements, patterns or states mixed without being told to, or an impossible piece.
pub fn class(
    readings: Vec<Reading>,
    mut left_out: Vec<LeftOut>,
    question: &ClassQuestion,
) -> Result<Class, ClassError> {
    let (readings, duplicates) = sorted_out(readings);
    left_out.extend(duplicates);
    check(&readings, question)?;
    let nest = Nest::of(&readings);
    let swatches = nest.swatches(&readings);
    let mut found = Vec::new();
    for (axis, counted) in [Counted::Stitches, Counted::Rows].into_iter().enumerate() {
        found.extend(spread_of(axis, counted, &readings, &nest, &swatches));
    }
    let own = nest.own_gauges(&readings);
    let mut knitters = nest.knitters(&own, &readings);
    let of_axis = |counted| found.iter().find(|s: &&Spread| s.counted == counted);
    let axes = [Counted::Stitches, Counted::Rows].map(of_axis);
    let means = axes.map(|s| s.map(|s| s.mean_per_10cm.value));
    let varies = [0, 1].map(|axis| axes[axis].and_then(|s| next_piece(s, axis, &readings)));
    let gauges: Vec<OwnGauge> = own.iter().map(|o| [o[0].as_ref(), o[1].as_ref()]).collect();
    let piece = meaning(&question.piece, means, &gauges, varies)?.map(|(piece, each)| {
        knitters.iter_mut().zip(each).for_each(|(k, p)| k.piece = p);
        piece
    });
    Ok(Class {
        schema: SCHEMA.to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        title: question.title.clone(),
        notes: notes(&readings, &knitters, swatches.len(), &found),
        knitters,
        swatches,
        readings: readings.len(),
        spread: found,
        piece,
        left_out,
    })
}

fn check(readings: &[Reading], question: &ClassQuestion) -> Result<(), ClassError> {
    let names = |of: fn(&Reading) -> Option<String>| different(readings.iter().filter_map(of));
    match readings.len() {
        0 => return Err(ClassError::Empty),
        n if n > MOST_READINGS => return Err(ClassError::TooMany(n)),
        _ => {}
    }
    if let Some(patterns) = names(|r| r.stitch.clone()).filter(|_| !question.mixed_patterns) {
        return Err(ClassError::MixedPatterns(patterns));
    }
    if let Some(states) = names(|r| r.state.clone()).filter(|_| !question.mixed_states) {
        return Err(ClassError::MixedStates(states));
    }
    Ok(())
}

/// Who knitted which swatch, and which readings it has.
struct Nest {
    knitters: Vec<String>,
    /// Knitter and name of each swatch.
    swatches: Vec<(usize, String)>,
    /// Swatch of each reading.
    swatch_of: Vec<usize>,
}

impl Nest {
    fn of(readings: &[Reading]) -> Self {
        let mut nest = Self { knitters: Vec::new(), swatches: Vec::new(), swatch_of: Vec::new() };
        for reading in readings {
            let knitter = place(&mut nest.knitters, reading.knitter.clone());
            let swatch = place(&mut nest.swatches, (knitter, reading.swatch.clone()));
            nest.swatch_of.push(swatch);
        }
        nest
    }

    /// Mean of each swatch's readings on an axis.
    fn swatch_means(&self, readings: &[Reading], axis: usize) -> Vec<Option<Uncertain>> {
        let of = |swatch| {
            let values: Vec<Uncertain> = readings
                .iter()
                .zip(&self.swatch_of)
                .filter(|(_, s)| **s == swatch)
                .filter_map(|(r, _)| r.gauge[axis].clone())
                .collect();
            Uncertain::mean(&values)
        };
        (0..self.swatches.len()).map(of).collect()
    }

    /// Mean of each knitter's swatches.
    fn own_gauges(&self, readings: &[Reading]) -> Vec<[Option<Uncertain>; 2]> {
        let swatches = [0, 1].map(|axis| self.swatch_means(readings, axis));
        let of = |knitter, axis: usize| {
            let own = swatches[axis].iter().zip(&self.swatches).filter(|(_, s)| s.0 == knitter);
            Uncertain::mean(&own.filter_map(|(v, _)| v.clone()).collect::<Vec<_>>())
        };
        (0..self.knitters.len()).map(|k| [of(k, 0), of(k, 1)]).collect()
    }

    fn swatches(&self, readings: &[Reading]) -> Vec<Swatch> {
        let means = [0, 1].map(|axis| self.swatch_means(readings, axis));
        let of = |(i, (knitter, name)): (usize, &(usize, String))| {
            let own: Vec<&Reading> =
                readings.iter().zip(&self.swatch_of).filter(|(_, s)| **s == i).map(|(r, _)| r).collect();
            // Maps of one swatch show the same fabric: the fullest stands for all.
            let map = own.iter().max_by_key(|r| r.places.len());
            Swatch {
                knitter: *knitter,
                name: name.clone(),
                readings: own.iter().map(|r| r.label.clone()).collect(),
                per_10cm: [0, 1].map(|a| means[a][i].as_ref().map(|m| m.expanded(Confidence::P95))),
                places: [0, 1].map(|axis| map.and_then(|r| place_variation(&r.places, axis))),
            }
        };
        self.swatches.iter().enumerate().map(of).collect()
    }

    fn knitters(&self, own: &[[Option<Uncertain>; 2]], readings: &[Reading]) -> Vec<Knitter> {
        let mut flags = [0, 1].map(|axis| {
            let there: Vec<usize> = (0..own.len()).filter(|k| own[*k][axis].is_some()).collect();
            let values: Vec<f64> = there.iter().filter_map(|k| own[*k][axis].as_ref()).map(|v| v.value).collect();
            let mut all = vec![None; own.len()];
            there.into_iter().zip(apart(&values)).for_each(|(k, flag)| all[k] = flag);
            all
        });
        let of = |(k, name): (usize, &String)| Knitter {
            name: name.clone(),
            swatches: self.swatches.iter().filter(|s| s.0 == k).count(),
            readings: (0..readings.len()).filter(|r| self.swatches[self.swatch_of[*r]].0 == k).count(),
            per_10cm: [0, 1].map(|a| own[k][a].as_ref().map(|v| v.expanded(Confidence::P95))),
            apart: [flags[0][k].take(), flags[1][k].take()],
            piece: None,
        };
        self.knitters.iter().enumerate().map(of).collect()
    }
}

/// Place of an item in a list, to whose end it goes where it is new.
fn place<T: PartialEq>(list: &mut Vec<T>, item: T) -> usize {
    list.iter().position(|known| *known == item).unwrap_or_else(|| {
        list.push(item);
        list.len() - 1
    })
}

/// The spread of one axis over the readings that have it.
fn spread_of(axis: usize, counted: Counted, readings: &[Reading], nest: &Nest, swatches: &[Swatch]) -> Option<Spread> {
    let there: Vec<usize> = (0..readings.len()).filter(|i| readings[*i].gauge[axis].is_some()).collect();
    let (mut knitter_names, mut swatch_names) = (Vec::new(), Vec::new());
    let of_swatch: Vec<usize> = there.iter().map(|i| place(&mut swatch_names, nest.swatch_of[*i])).collect();
    let of_knitter: Vec<usize> =
        there.iter().map(|i| place(&mut knitter_names, nest.swatches[nest.swatch_of[*i]].0)).collect();
    let own: Vec<&Reading> = there.iter().map(|i| &readings[*i]).collect();
    let values: Vec<Uncertain> = own.iter().filter_map(|r| r.gauge[axis].clone()).collect();
    let maps: Vec<PlaceVariation> = swatches.iter().filter_map(|s| s.places[axis]).collect();
    spread(counted, &own, &values, (&of_knitter, &of_swatch), &maps)
}

/// How much one knitter's next piece differs from the swatch, per 10 cm: as the knitters' swatches differed where that was
/// told apart, else as the photos show the fabric varies from place to place.
fn next_piece(spread: &Spread, axis: usize, readings: &[Reading]) -> Option<f64> {
    if let Some(part) = spread.parts.iter().find(|p| p.what == PartKind::Swatches) {
        return Some(part.standard_deviation);
    }
    let seen: Vec<f64> = readings.iter().filter_map(|r| r.between_fabrics).map(|b| b[axis]).collect();
    let mean_square = seen.iter().map(|b| b * b).sum::<f64>() / seen.len() as f64;
    (!seen.is_empty()).then(|| mean_square.sqrt() * spread.mean_per_10cm.value)
}
