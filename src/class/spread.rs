//! How much the gauge of one axis varies, and where that comes from.

use super::anova::{Precision, precision};
use super::intervals::{LevelInterval, intervals, share_interval};
use super::nested::{Level, Nested};
use super::places::{PlaceVariation, pooled};
use super::reading::{Reading, shared_and_own};
use super::reml::{Components, reml};
use crate::quantity::{Confidence, Contribution, Expanded, Source, Uncertain, t_coverage_factor};
use crate::sizing::Counted;
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// The spread of one axis over a class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spread {
    /// Stitches or rows.
    pub counted: Counted,
    /// Mean gauge of the class, per 10 cm: what knitters like these have on average.
    pub mean_per_10cm: Expanded,
    /// Standard uncertainty that all measurements share through a named ruler, in per cent: it moves every gauge alike and
    /// is in the mean, not in the spread.
    pub shared_percent: f64,
    /// Interval that holds the gauge of another knitter of such a class with 95 %; `None` for one knitter.
    pub next_knitter_per_10cm: Option<[f64; 2]>,
    /// What the variance consists of.
    pub parts: Vec<Part>,
    /// Whether knitters and their swatches were told apart.
    pub told_apart: bool,
    /// Knitters' share in the variance of knitted swatches (intraclass correlation); `None` where not told apart.
    pub knitters_share: Option<KnittersShare>,
    /// Precision of the measuring as photos of one swatch show it; `None` where no swatch was photographed twice.
    pub seen_precision: Option<Precision>,
    /// Whether every measurement states its uncertainty.
    pub measuring_is_stated: bool,
    /// Whether photos of one swatch surely differ by more than they state.
    pub photos_disagree: bool,
    /// Whether the values surely agree better than the stated errors allow.
    pub closer_than_stated: bool,
}

/// One part of the variance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Part {
    /// Which.
    pub what: PartKind,
    /// Standard deviation, per 10 cm.
    pub standard_deviation: f64,
    /// Its 95 % interval, per 10 cm; `None` where it is taken as stated.
    pub interval_95: Option<[f64; 2]>,
    /// Standard deviation in per cent of the mean gauge.
    pub percent: f64,
    /// Share in the variance of a reading at one place of one swatch, 0 to 1.
    pub share: f64,
    /// Nothing of it was seen beyond what the rest makes expect: the estimate would be 0 or negative, and is given as 0.
    pub set_to_zero: bool,
}

/// What a part of the variance is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PartKind {
    /// From knitter to knitter.
    Knitters,
    /// From swatch to swatch of one knitter.
    Swatches,
    /// Both together: they can't be told apart.
    KnittersAndSwatches,
    /// From place to place in one swatch.
    Places,
    /// The measuring's own error, as it differs from photo to photo or from swatch to swatch.
    Measuring,
}

/// The knitters' share with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct KnittersShare {
    /// The share, 0 to 1.
    pub value: f64,
    /// Its 95 % interval.
    pub interval_95: [f64; 2],
}

/// The spread of one axis. `values` are the readings that have this axis, with the numbers of their knitters and swatches;
/// `maps` the variation within each swatch. `None` for no readings.
pub fn spread(
    counted: Counted,
    readings: &[&Reading],
    values: &[Uncertain],
    groups: (&[usize], &[usize]),
    maps: &[PlaceVariation],
) -> Option<Spread> {
    let nested = Nested::new(values, groups.0, groups.1)?;
    let fitted = reml(&nested);
    let ends = fitted.as_ref().and_then(|_| intervals(&nested)).unwrap_or_default();
    let levels = nested.levels();
    let told_apart = levels.contains(&Level::Knitter);
    let mean = mean(&nested, fitted.as_ref(), values);
    let variance = |level| variance_of(fitted.as_ref(), level);
    let own = values.iter().map(|v| shared_and_own(v)[1]).sum::<f64>() / values.len() as f64;
    let measuring = own + variance(Level::Photo);
    let places = pooled(maps);
    let parts = parts(&nested, &levels, fitted.as_ref(), &ends, (measuring, places), mean.value);
    let knitted = variance(Level::Knitter) + variance(Level::Swatch);
    let knitters_share =
        (told_apart && knitted > 0.0).then(|| share_interval(&nested, &ends)).flatten().map(|[low, high]| {
            let value = variance(Level::Knitter) / knitted;
            KnittersShare { value, interval_95: [low.min(value), high.max(value)] }
        });
    let shared: f64 =
        mean.contributions.iter().filter(|c| c.source.shared_id.is_some()).map(|c| c.standard.powi(2)).sum();
    let knitters = nested.counts()[0];
    let next_knitter_per_10cm = (knitters > 1).then(|| {
        let half = (knitted + mean.standard_uncertainty().powi(2)).sqrt()
            * t_coverage_factor(knitters as f64 - 1.0, Confidence::P95);
        [mean.value - half, mean.value + half]
    });
    Some(Spread {
        counted,
        shared_percent: 100.0 * shared.sqrt() / mean.value,
        mean_per_10cm: mean.expanded(Confidence::P95),
        next_knitter_per_10cm,
        parts,
        told_apart,
        knitters_share,
        seen_precision: seen_precision(readings, values, groups.1),
        measuring_is_stated: nested.measuring_is_stated(),
        photos_disagree: nested.measuring_is_stated()
            && ends.iter().any(|e| e.level == Level::Photo && e.interval[0] > 0.0),
        closer_than_stated: ends.iter().any(|e| e.closer_than_stated),
    })
}

fn variance_of(fitted: Option<&Components>, level: Level) -> f64 {
    let of = |f: &Components| f.variances.iter().find(|(l, _)| *l == level).map(|(_, v)| *v);
    fitted.and_then(of).unwrap_or(0.0)
}

/// The mean with its uncertainty: that of the measuring by its sources, and that of drawing these knitters and swatches.
fn mean(nested: &Nested, fitted: Option<&Components>, values: &[Uncertain]) -> Uncertain {
    let alike = vec![1.0 / values.len() as f64; values.len()];
    let weights = fitted.map_or(&alike, |f| &f.weights);
    let value = values.iter().zip(weights).map(|(v, w)| v.value * w).sum();
    let arguments: Vec<(&Uncertain, f64)> = values.iter().zip(weights.iter().copied()).collect();
    let mut sum = 0.0;
    for (level, variance) in fitted.map_or(&[][..], |f| &f.variances) {
        let (group, count) = nested.groups(*level);
        let mut of_group = vec![0.0; count];
        group.iter().zip(weights).for_each(|(g, w)| of_group[*g] += w);
        sum += variance * of_group.iter().map(|w| w * w).sum::<f64>();
    }
    let [knitters, swatches, photos] = nested.counts();
    let drawn = [knitters, swatches, photos].into_iter().find(|c| *c > 1).unwrap_or(2);
    let drawing = Contribution::type_a(Source::named("which knitters and swatches"), sum.sqrt(), drawn as f64 - 1.0);
    Uncertain::combine(value, &arguments).with(drawing)
}

/// Below this part of the values' own variance a component is rounding.
const NOTHING: f64 = 1e-9;

/// The parts, outermost first, with their shares in the variance of a reading at one place.
fn parts(
    nested: &Nested,
    levels: &[Level],
    fitted: Option<&Components>,
    ends: &[LevelInterval],
    (measuring, places): (f64, Option<(f64, f64)>),
    mean: f64,
) -> Vec<Part> {
    let mut parts = Vec::new();
    let part = |what, variance: f64, interval: Option<[f64; 2]>| Part {
        what,
        standard_deviation: variance.sqrt(),
        interval_95: interval.map(|i| i.map(f64::sqrt)),
        percent: 100.0 * variance.sqrt() / mean,
        share: 0.0,
        set_to_zero: false,
    };
    for level in levels.iter().filter(|l| **l != Level::Photo) {
        let estimate = variance_of(fitted, *level);
        let zero = estimate <= NOTHING * nested.total_variance();
        let variance = if zero { 0.0 } else { estimate };
        let end = ends.iter().find(|e| e.level == *level);
        let interval = end.map(|e| [e.interval[0].min(variance), e.interval[1].max(variance)]);
        let what = match level {
            Level::Knitter => PartKind::Knitters,
            _ if nested.counts()[0] > 1 && !levels.contains(&Level::Knitter) => PartKind::KnittersAndSwatches,
            _ => PartKind::Swatches,
        };
        parts.push(Part { set_to_zero: zero, ..part(what, variance, interval) });
    }
    if let Some((standard_deviation, freedom)) = places {
        let variance = standard_deviation.powi(2);
        // A sum of squares over its variance is chi-squared.
        let interval = ChiSquared::new(freedom)
            .ok()
            .map(|c| [0.975, 0.025].map(|p| variance * freedom / c.inverse_cdf(p)))
            .filter(|ends| ends.iter().all(|e| e.is_finite()));
        parts.push(part(PartKind::Places, variance, interval));
    }
    parts.push(part(PartKind::Measuring, measuring, None));
    shares(&mut parts);
    parts
}

/// Each part's share in the variance of a reading at one place of one swatch: the parts are independent and add.
fn shares(parts: &mut [Part]) {
    let variance = |p: &Part| p.standard_deviation.powi(2);
    let whole: f64 = parts.iter().map(variance).sum();
    if whole > 0.0 {
        parts.iter_mut().for_each(|p| p.share = variance(p) / whole);
    }
}

/// What photos of one swatch say of the measuring, by ruler.
fn seen_precision(readings: &[&Reading], values: &[Uncertain], swatches: &[usize]) -> Option<Precision> {
    let count = swatches.iter().max().map_or(0, |m| m + 1);
    let mut materials: Vec<Vec<(Option<&str>, Vec<f64>)>> = vec![Vec::new(); count];
    for ((reading, value), swatch) in readings.iter().zip(values).zip(swatches) {
        let conditions = &mut materials[*swatch];
        let ruler = reading.ruler.as_deref();
        match conditions.iter_mut().find(|(r, _)| *r == ruler) {
            Some((_, values)) => values.push(value.value),
            None => conditions.push((ruler, vec![value.value])),
        }
    }
    let values = |m: Vec<(Option<&str>, Vec<f64>)>| m.into_iter().map(|(_, v)| v).collect();
    precision(&materials.into_iter().map(values).collect::<Vec<_>>())
}
