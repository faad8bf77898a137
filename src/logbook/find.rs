//! Finding swatches: filters, order, and one line for each.

use super::store::folded;
use super::{Logbook, LogbookError, Measurement, State, row};
use jiff::civil::Date;
use rusqlite::params_from_iter;
use rusqlite::types::Value;
use serde::Serialize;

/// From … to, both included.
pub type Range = std::ops::RangeInclusive<f64>;

/// Which swatches are meant; every part that is given must fit. The default is all that are not deleted.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Filter {
    /// Only these numbers; empty: all.
    pub ids: Vec<i64>,
    /// Words or parts of words, in any text field or tag, case aside.
    pub words: Vec<String>,
    /// Part of the yarn's name, case aside.
    pub yarn: Option<String>,
    /// The knitter, case aside.
    pub knitter: Option<String>,
    /// The stitch pattern, case aside.
    pub stitch: Option<String>,
    /// Needle sizes, in mm.
    pub needle_mm: Option<Range>,
    /// Only measurements in this state: the newest of each swatch in it.
    pub state: Option<State>,
    /// Tags, all of them.
    pub tags: Vec<String>,
    /// Knitted on or after.
    pub since: Option<Date>,
    /// Knitted on or before.
    pub until: Option<Date>,
    /// Stitches per 10 cm.
    pub stitches_per_10cm: Option<Range>,
    /// Rows per 10 cm.
    pub rows_per_10cm: Option<Range>,
    /// Deleted swatches instead of the others.
    pub deleted: bool,
}

/// What a list is ordered by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SortKey {
    /// Day of knitting.
    #[default]
    Day,
    /// Number in the log.
    Number,
    /// Name of the yarn.
    Yarn,
    /// Needle size.
    Needle,
    /// Stitches per 10 cm.
    Stitches,
    /// Rows per 10 cm.
    Rows,
}

/// One swatch in a list, with the measurement that counts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SwatchLine {
    /// Number in the log.
    pub id: i64,
    /// Day of knitting.
    pub made_on: Option<Date>,
    /// Who knitted it.
    pub knitter: Option<String>,
    /// The yarn.
    pub yarn: Option<String>,
    /// Needle size, in mm.
    pub needle_mm: Option<f64>,
    /// Stitch pattern.
    pub stitch: Option<String>,
    /// Tags, joined by commas.
    pub tags: Option<String>,
    /// State in which it was measured.
    pub state: Option<State>,
    /// Width it was stretched to, in mm.
    pub stretched_to_mm: Option<f64>,
    /// Stitches per 10 cm and the half-width of their 95 % interval.
    pub stitches_per_10cm: Option<[f64; 2]>,
    /// Rows per 10 cm and the half-width of their 95 % interval.
    pub rows_per_10cm: Option<[f64; 2]>,
}

/// A part of what was found, and how much there is.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The lines asked for.
    pub lines: Vec<SwatchLine>,
    /// How many swatches fit the filter.
    pub total: usize,
}

impl Logbook {
    /// The swatches that fit, in order, at most `limit` of them.
    pub fn find(&self, filter: &Filter, sort: SortKey, descending: bool, limit: usize) -> Result<Found, LogbookError> {
        let query = Query::of(filter);
        let order = query.order(sort, descending);
        let sql = format!(
            "SELECT s.id, s.made_on, s.knitter, s.yarn, s.needle_mm, s.stitch, \
             (SELECT group_concat(name, ',') FROM tag WHERE swatch = s.id), m.state, m.stretched_to_mm, \
             m.stitches_per_10cm, m.stitches_half_width, m.rows_per_10cm, m.rows_half_width \
             FROM swatch s {} WHERE {} ORDER BY {order} LIMIT ?",
            query.join, query.condition
        );
        let mut values = query.values.clone();
        values.push(Value::Integer(i64::try_from(limit).unwrap_or(i64::MAX)));
        let mut statement = self.connection.prepare(&sql)?;
        let mut rows = statement.query(params_from_iter(values))?;
        let mut lines = Vec::new();
        while let Some(row) = rows.next()? {
            lines.push(line(row)?);
        }
        let total = if lines.len() < limit { lines.len() } else { self.count(&query)? };
        Ok(Found { lines, total })
    }

    /// Numbers of the swatches that fit, in rising order.
    pub fn find_ids(&self, filter: &Filter) -> Result<Vec<i64>, LogbookError> {
        let query = Query::of(filter);
        let sql = format!("SELECT s.id FROM swatch s {} WHERE {} ORDER BY s.id", query.join, query.condition);
        let mut statement = self.connection.prepare(&sql)?;
        let ids = statement.query_map(params_from_iter(query.values), |row| row.get(0))?.collect::<Result<_, _>>()?;
        Ok(ids)
    }

    /// The measurement of a swatch that counts: the newest, or the newest in a state; `None` where there is none.
    pub fn counting(&self, swatch: i64, state: Option<State>) -> Result<Option<Measurement>, LogbookError> {
        let which = match state {
            None => "m.id = (SELECT newest FROM swatch WHERE id = ?1) AND ?2 IS NULL",
            Some(_) => "m.swatch = ?1 AND m.state = ?2 AND m.newest_in_state = 1",
        };
        let sql = format!(
            "SELECT {} FROM measurement m JOIN reading r ON r.measurement = m.id WHERE {which}",
            row::MEASUREMENT_COLUMNS
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let mut rows = statement.query(rusqlite::params![swatch, state.map(State::name)])?;
        rows.next()?.map(row::measurement).transpose()
    }

    fn count(&self, query: &Query) -> Result<usize, LogbookError> {
        let join = if query.state_matters { query.join } else { "" };
        let sql = format!("SELECT count(*) FROM swatch s {join} WHERE {}", query.condition);
        let count: i64 = self.connection.query_row(&sql, params_from_iter(query.values.iter()), |row| row.get(0))?;
        Ok(usize::try_from(count).unwrap_or_default())
    }
}

/// A filter as SQL; every value is bound, never written into the text.
struct Query {
    join: &'static str,
    condition: String,
    values: Vec<Value>,
    state_matters: bool,
}

impl Query {
    fn of(filter: &Filter) -> Self {
        let mut query = Self {
            join: "LEFT JOIN measurement m ON m.id = s.newest",
            condition: String::new(),
            values: Vec::new(),
            state_matters: filter.state.is_some(),
        };
        if let Some(state) = filter.state {
            query.join = "JOIN measurement m ON m.swatch = s.id AND m.newest_in_state = 1";
            query.and("m.state = ?", [Value::Text(state.name().to_owned())]);
        }
        query.and(if filter.deleted { "s.deleted_at IS NOT NULL" } else { "s.deleted_at IS NULL" }, []);
        if !filter.ids.is_empty() {
            let marks = vec!["?"; filter.ids.len()].join(", ");
            query.and(&format!("s.id IN ({marks})"), filter.ids.iter().map(|id| Value::Integer(*id)));
        }
        for word in &filter.words {
            query.and("instr(s.words, ?) > 0", [Value::Text(folded(word))]);
        }
        if let Some(yarn) = &filter.yarn {
            query.and("instr(s.yarn_folded, ?) > 0", [Value::Text(folded(yarn))]);
        }
        for (column, text) in [("s.knitter", &filter.knitter), ("s.stitch", &filter.stitch)] {
            if let Some(text) = text {
                query.and(&format!("{column} = ? COLLATE NOCASE"), [Value::Text(text.clone())]);
            }
        }
        for tag in &filter.tags {
            let tagged = "EXISTS (SELECT 1 FROM tag WHERE tag.swatch = s.id AND tag.name = ?)";
            query.and(tagged, [Value::Text(tag.clone())]);
        }
        for (operator, day) in [(">=", filter.since), ("<=", filter.until)] {
            if let Some(day) = day {
                query.and(&format!("s.made_on {operator} ?"), [Value::Text(day.to_string())]);
            }
        }
        let gauge_of = if query.state_matters { "m" } else { "s" };
        for (column, range) in [
            ("s.needle_mm".to_owned(), &filter.needle_mm),
            (format!("{gauge_of}.stitches_per_10cm"), &filter.stitches_per_10cm),
            (format!("{gauge_of}.rows_per_10cm"), &filter.rows_per_10cm),
        ] {
            if let Some(range) = range {
                let ends = [Value::Real(*range.start()), Value::Real(*range.end())];
                query.and(&format!("{column} BETWEEN ? AND ?"), ends);
            }
        }
        query
    }

    fn and(&mut self, condition: &str, values: impl IntoIterator<Item = Value>) {
        if !self.condition.is_empty() {
            self.condition.push_str(" AND ");
        }
        self.condition.push_str(condition);
        self.values.extend(values);
    }

    fn order(&self, sort: SortKey, descending: bool) -> String {
        let gauge_of = if self.state_matters { "m" } else { "s" };
        let column = match sort {
            SortKey::Number => return format!("s.id {}", if descending { "DESC" } else { "ASC" }),
            SortKey::Day => "s.made_on".to_owned(),
            SortKey::Yarn => "s.yarn_folded".to_owned(),
            SortKey::Needle => "s.needle_mm".to_owned(),
            SortKey::Stitches => format!("{gauge_of}.stitches_per_10cm"),
            SortKey::Rows => format!("{gauge_of}.rows_per_10cm"),
        };
        let direction = if descending { "DESC" } else { "ASC" };
        // In the order of an index every row is fetched from another place: good for the first fifty of all, slow where
        // few rows fit. The plus keeps the index out, and the table is read through once.
        let plain = if self.values.is_empty() { "" } else { "+" };
        format!("{plain}{column} {direction}, s.id {direction}")
    }
}

fn line(row: &rusqlite::Row<'_>) -> Result<SwatchLine, LogbookError> {
    let pair = |at: usize| -> rusqlite::Result<Option<[f64; 2]>> {
        let (value, half_width): (Option<f64>, Option<f64>) = (row.get(at)?, row.get(at + 1)?);
        Ok(value.zip(half_width).map(|(v, h)| [v, h]))
    };
    Ok(SwatchLine {
        id: row.get(0)?,
        made_on: row::parsed_or_none(row, 1)?,
        knitter: row.get(2)?,
        yarn: row.get(3)?,
        needle_mm: row.get(4)?,
        stitch: row.get(5)?,
        tags: row.get(6)?,
        state: row.get::<_, Option<String>>(7)?.as_deref().and_then(State::named),
        stretched_to_mm: row.get(8)?,
        stitches_per_10cm: pair(9)?,
        rows_per_10cm: pair(11)?,
    })
}
