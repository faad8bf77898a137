//! Cells of tables (CSV) that spreadsheets open: none may run as a formula.

/// What a cell must not begin with: formulas, in ordinary and wide letters, and what some spreadsheets skip before one.
fn begins_a_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'])
}

/// The cell with an apostrophe in front where it needs one.
pub fn guarded(cell: &str) -> String {
    if begins_a_formula(cell) || cell.starts_with('\'') { format!("'{cell}") } else { cell.to_owned() }
}

/// The cell without the apostrophe that [`guarded`] put there.
pub fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if begins_a_formula(rest) || rest.starts_with('\'') => rest,
        _ => cell,
    }
}

#[cfg(test)]
mod tests {
    use super::{guarded, unguarded};

    #[test]
    fn no_cell_runs_and_every_cell_comes_back() {
        for cell in ["=1+1", "-2", "\t=1", "＝1", "'quoted'", "plain", "", "'", "''=x", "Ann's"] {
            assert!(!guarded(cell).starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠']));
            assert_eq!(unguarded(&guarded(cell)), cell);
        }
        assert_eq!(unguarded("'tis"), "'tis");
    }
}
