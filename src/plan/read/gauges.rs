//! `[gauge.NAME]` and `[regauge]`.

use super::super::error::PlanError;
use super::super::request::{GaugeRequest, GaugeSource, RegaugeCount, RegaugeRequest};
use super::pieces::{self, MOST_STITCHES};
use super::table::{Item, Keys, MOST_TABLES};
use crate::sizing::{CountRule, Counted, GaugeCount, Over};

/// All gauges of the file, at least one.
pub fn read(item: Item<'_>) -> Result<Vec<GaugeRequest>, PlanError> {
    let entries = item.keys()?.named();
    if entries.is_empty() || entries.len() > MOST_TABLES {
        let message = format!("1 to {MOST_TABLES} gauges are accepted, such as [gauge.body]");
        return Err(PlanError::at(item.path, message));
    }
    entries.into_iter().map(|(name, item)| one(name, &item)).collect()
}

fn one(name: String, item: &Item<'_>) -> Result<GaugeRequest, PlanError> {
    let mut keys = item.keys().map_err(|_| {
        PlanError::at(item.path.clone(), "each gauge has a name of its own: write [gauge.body], not [gauge]")
    })?;
    let source = source(&mut keys)?;
    let percent = |item: Item<'_>| item.number(0.0..=10.0);
    let request = GaugeRequest {
        key: keys.path().to_owned(),
        name,
        source,
        variation_percent: keys.get("variation_percent").map(percent).transpose()?,
        another_day_percent: keys.get("another_day_percent").map_or(Ok(0.0), percent)?,
        stitch: keys.get("stitch").map(|s| s.string("stockinette")).transpose()?.unwrap_or_default(),
        round: keys.get("knitted").map(|k| k.choice(&pieces::WORKED)).transpose()?,
        washed: keys.get("washed").map(|w| w.flag()).transpose()?,
        stretched: keys.get("stretched").map_or(Ok(false), |s| s.flag())?,
    };
    keys.finish()?;
    Ok(request)
}

fn source(keys: &mut Keys<'_>) -> Result<GaugeSource, PlanError> {
    match (keys.get("measurement"), keys.get("swatch")) {
        (Some(file), _) => {
            only(keys, &["stitches", "rows", "over", "swatch"])?;
            let photo = keys.get("photo").map(|p| p.string("swatch.jpg")).transpose()?;
            Ok(GaugeSource::Measurement { file: file.string("swatch.json")?, photo })
        }
        (None, Some(swatch)) => {
            only(keys, &["stitches", "rows", "over"])?;
            Ok(GaugeSource::Logged {
                swatch: swatch.whole(1..=u32::MAX)?,
                state: keys.get("state").map(|s| s.string("washed")).transpose()?,
                logbook: keys.get("logbook").map(|l| l.string("designer.sqlite")).transpose()?,
            })
        }
        (None, None) => {
            let (stitches, rows, over) = typed(keys)?;
            Ok(GaugeSource::Typed { stitches, rows, over })
        }
    }
}

/// A gauge comes from one place: none of these keys may stand beside it.
fn only(keys: &mut Keys<'_>, others: &[&'static str]) -> Result<(), PlanError> {
    let message =
        "a gauge is either typed (stitches, rows, over), a measurement, or a swatch of the log, not two of them";
    match others.iter().find_map(|key| keys.get(key)) {
        Some(item) => Err(PlanError::at(item.path, message)),
        None => Ok(()),
    }
}

fn typed(keys: &mut Keys<'_>) -> Result<(GaugeCount, Option<GaugeCount>, Over), PlanError> {
    let count = |item: Item<'_>| item.parsed(|text, _| GaugeCount::parse(text));
    let stitches =
        count(keys.need(
            "stitches",
            "stitches = \"22.5 ± 0.3\" (or measurement = \"swatch.json\", or swatch = 3 of the log)",
        )?)?;
    let rows = keys.get("rows").map(count).transpose()?;
    let over = keys.need("over", "over = \"10 cm\"; 10 cm and 4 in differ by 1.6 %")?;
    Ok((stitches, rows, over.string("10 cm").and_then(|_| over.parsed(|text, _| Over::parse(text)))?))
}

/// The gauge a key names, as an index; the only one where there is no key.
pub fn chosen(item: Option<Item<'_>>, path: &str, gauges: &[GaugeRequest]) -> Result<usize, PlanError> {
    let names = || gauges.iter().map(|g| format!("\"{}\"", g.name)).collect::<Vec<_>>().join(", ");
    match item {
        Some(item) => {
            let name = item.string("body")?;
            let unknown =
                || PlanError::at(item.path.clone(), format!("there is no gauge '{name}'; there are {}", names()));
            gauges.iter().position(|g| g.name == name).ok_or_else(unknown)
        }
        None if gauges.len() == 1 => Ok(0),
        None if gauges.is_empty() => Err(PlanError::at("", "gauge is missing; for example a table [gauge.body]")),
        None => Err(PlanError::at(path, format!("there are several gauges: gauge = one of {} is expected", names()))),
    }
}

/// `[regauge]`: a published pattern to work over.
pub fn read_regauge(item: &Item<'_>, gauges: &[GaugeRequest]) -> Result<RegaugeRequest, PlanError> {
    let mut keys = item.keys()?;
    let gauge = chosen(keys.get("gauge"), &item.path, gauges)?;
    let (stitches, rows, over) = typed(&mut keys)?;
    let counts = keys.need("count", "[[regauge.count]] with name and stitches (or rows)")?.tables()?;
    let counts = counts.into_iter().map(regauge_count).collect::<Result<Vec<_>, _>>()?;
    let request = RegaugeRequest { key: item.path.clone(), gauge, stitches, rows, over, counts };
    keys.finish()?;
    match request.counts.iter().find(|c| c.counted == Counted::Rows) {
        Some(count) if request.rows.is_none() => {
            Err(PlanError::at(count.key.clone(), "the pattern's rows are needed for this: rows in [regauge]"))
        }
        _ => Ok(request),
    }
}

fn regauge_count(mut keys: Keys<'_>) -> Result<RegaugeCount, PlanError> {
    let name = keys.need("name", "name = \"bust\"")?.string("bust")?;
    let (counted, count) = match (keys.get("stitches"), keys.get("rows")) {
        (Some(stitches), None) => (Counted::Stitches, stitches.whole(1..=MOST_STITCHES)?),
        (None, Some(rows)) => (Counted::Rows, rows.whole(1..=MOST_STITCHES)?),
        _ => return Err(PlanError::at(keys.path(), "either stitches or rows is expected, for example stitches = 180")),
    };
    let rule = pieces::stitch_rule(&mut keys)?;
    let count = RegaugeCount { key: keys.path().to_owned(), name, counted, count, rule };
    keys.finish()?;
    check_count(&count)?;
    Ok(count)
}

fn check_count(count: &RegaugeCount) -> Result<(), PlanError> {
    if count.rule == CountRule::ANY || count.rule.allows(count.count) {
        return Ok(());
    }
    let message = format!(
        "the pattern's own count {} is not {}; correct either, or leave the multiple out",
        count.count,
        count.rule.words()
    );
    Err(PlanError::at(count.key.clone(), message))
}
