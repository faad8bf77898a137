//! Text that came from outside (names of files, of knitters, whatever was typed) on one line among ours: it must neither
//! break the line, nor steer the terminal, nor reorder what stands beside it.

/// The text on one line: control characters, and those that turn the direction of writing, become visible marks; behind
/// letters that run from right to left a mark ends their direction, so that numbers beside them stay in place.
pub fn safe(text: &str) -> String {
    let mut out: String = text.chars().map(|c| if is_harmful(c) { '\u{FFFD}' } else { c }).collect();
    if out.chars().any(runs_right_to_left) {
        out.push('\u{200E}');
    }
    out
}

/// A finished text of several lines in which names from outside stand: the same characters become visible marks. The ends of
/// lines, and the mark that ends a name from right to left, are ours.
pub fn harmless(text: &str) -> String {
    text.replace(|c: char| is_harmful(c) && !matches!(c, '\n' | '\u{200E}'), "\u{FFFD}")
}

/// With a capital first letter.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// The text cut to so many letters, with a mark where something is missing.
pub fn shortened(text: &str, letters: usize) -> String {
    if text.chars().count() <= letters {
        return text.to_owned();
    }
    text.chars().take(letters.saturating_sub(1)).chain(['…']).collect()
}

/// Whether a letter breaks the line, steers a terminal, or turns the direction of what stands beside it.
pub fn is_harmful(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FEFF}'
            | '\u{E0000}'..='\u{E007F}')
}

/// Whether a letter is Hebrew, Arabic or of the other scripts written from right to left (blocks of the Unicode standard).
pub fn runs_right_to_left(c: char) -> bool {
    matches!(c, '\u{0590}'..='\u{08FF}' | '\u{FB1D}'..='\u{FDFF}' | '\u{FE70}'..='\u{FEFF}' | '\u{10800}'..='\u{10FFF}'
        | '\u{1E800}'..='\u{1EFFF}')
}

#[cfg(test)]
mod tests {
    use super::safe;

    #[test]
    fn nothing_steers_the_terminal() {
        let text = "red\u{1b}[31m\u{7}\r\n\u{202E}evil\u{2066}\u{9b}2J";
        assert!(!safe(text).chars().any(|c| c.is_control() || ('\u{202A}'..='\u{202E}').contains(&c)));
        assert_eq!(safe("צמר 100"), "צמר 100\u{200E}");
        assert_eq!(safe("👩‍🦰 wool"), "👩‍🦰 wool");
    }
}
