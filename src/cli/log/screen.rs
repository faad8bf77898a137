//! Text on a terminal: longer texts line by line, tables that fit the width.

use crate::report::one_line::runs_right_to_left;
pub use crate::report::one_line::safe;
use std::io::IsTerminal;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Columns of a terminal that does not tell, and of output that goes elsewhere.
const USUAL_COLUMNS: usize = 80;
/// Narrower than this, tables run over the edge.
const FEWEST_COLUMNS: usize = 40;

/// Width of the terminal.
pub fn columns() -> usize {
    let seen = std::io::stdout().is_terminal().then(terminal_size::terminal_size).flatten();
    seen.map_or(USUAL_COLUMNS, |(width, _)| usize::from(width.0)).max(FEWEST_COLUMNS)
}

/// The lines of a longer text, each made safe.
pub fn safe_lines(text: &str) -> Vec<String> {
    text.lines().map(|line| safe(&line.replace('\t', " "))).collect()
}

/// The text cut to so many columns, with a mark where something is missing.
fn cut(text: &str, columns: usize) -> String {
    if text.width() <= columns {
        return text.to_owned();
    }
    let mut out = String::new();
    let mut used = 0;
    for c in text.chars() {
        let width = c.width().unwrap_or(0);
        if used + width >= columns {
            break;
        }
        out.push(c);
        used += width;
    }
    let marked = format!("{}…", out.trim_end_matches('\u{200D}'));
    if marked.chars().any(runs_right_to_left) { marked + "\u{200E}" } else { marked }
}

/// A column of a table.
pub struct Column {
    title: &'static str,
    right: bool,
    /// Columns it may not shrink below; `None`: it keeps its width.
    least: Option<usize>,
}

impl Column {
    /// Numbers: to the right, never cut.
    pub fn number(title: &'static str) -> Self {
        Self { title, right: true, least: None }
    }

    /// Words that are never cut.
    pub fn fixed(title: &'static str) -> Self {
        Self { title, right: false, least: None }
    }

    /// Words that are cut where there is no room.
    pub fn words(title: &'static str, least: usize) -> Self {
        Self { title, right: false, least: Some(least) }
    }
}

/// A table that fits `width` where its columns can shrink that far. Columns without any entry are left out. Cells must
/// be safe already.
pub fn table(columns: &[Column], rows: &[Vec<String>], width: usize) -> String {
    let used: Vec<usize> = (0..columns.len()).filter(|c| rows.iter().any(|row| !row[*c].is_empty())).collect();
    let natural = |c: &usize| rows.iter().map(|r| r[*c].width()).chain([columns[*c].title.width()]).max().unwrap_or(0);
    let mut widths: Vec<usize> = used.iter().map(natural).collect();
    shrink(&mut widths, &used.iter().map(|c| columns[*c].least).collect::<Vec<_>>(), width);
    let titles: Vec<String> = columns.iter().map(|c| c.title.to_owned()).collect();
    let mut out = String::new();
    for row in std::iter::once(&titles).chain(rows) {
        let cells = used.iter().zip(&widths).map(|(c, w)| padded(&cut(&row[*c], *w), *w, columns[*c].right));
        out.push_str(cells.collect::<Vec<_>>().join("  ").trim_end());
        out.push('\n');
    }
    out
}

/// Takes from the widest column that may shrink until all fit.
fn shrink(widths: &mut [usize], least: &[Option<usize>], width: usize) {
    let gaps = 2 * widths.len().saturating_sub(1);
    while widths.iter().sum::<usize>() + gaps > width {
        let may = |i: &usize| least[*i].is_some_and(|l| widths[*i] > l);
        let Some(widest) = (0..widths.len()).filter(may).max_by_key(|i| widths[*i]) else { return };
        widths[widest] -= 1;
    }
}

fn padded(text: &str, width: usize, right: bool) -> String {
    let space = " ".repeat(width.saturating_sub(text.width()));
    if right { space + text } else { format!("{text}{space}") }
}

/// Text in lines of at most `width` columns behind `indent`; words longer than a line are broken.
pub fn wrapped(text: &str, indent: &str, width: usize) -> String {
    let room = width.saturating_sub(indent.width()).max(10);
    let mut out = String::new();
    let mut line = String::new();
    let mut end = |line: &mut String| {
        if !line.is_empty() {
            out.push_str(indent);
            out.push_str(line);
            out.push('\n');
            line.clear();
        }
    };
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        if !line.is_empty() && line.width() + 1 + word.width() > room {
            end(&mut line);
        }
        if !line.is_empty() {
            line.push(' ');
        }
        for c in word.chars() {
            if line.width() + c.width().unwrap_or(0) > room {
                end(&mut line);
            }
            line.push(c);
        }
    }
    end(&mut line);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_is_kept() {
        assert_eq!(safe_lines("a\tb\nc"), ["a b", "c"]);
    }

    #[test]
    fn a_table_fits_its_width() {
        let columns =
            [Column::number("No."), Column::words("Yarn", 8), Column::fixed("Day"), Column::words("Empty", 4)];
        let long = "x".repeat(500);
        let rows: Vec<Vec<String>> = [["1", &long, "2024-05-31", ""], ["100000", "ウール毛糸の見本", "", ""]]
            .map(|row| row.map(str::to_owned).to_vec())
            .to_vec();
        for width in [40, 60, 80] {
            let text = table(&columns, &rows, width);
            assert!(text.lines().all(|line| line.width() <= width), "{text}");
            assert!(!text.contains("Empty") && text.contains("2024-05-31"));
        }
    }

    #[test]
    fn long_words_are_broken() {
        let text = wrapped(&format!("short {} end", "y".repeat(200)), "  ", 40);
        assert!(text.lines().all(|line| line.width() <= 40 && line.starts_with("  ")), "{text}");
        assert_eq!(text.matches('y').count(), 200);
    }
}
