//! Names → initials, so that a handout names nobody.

/// Initials of each name: the first letter of every word, digits whole; a number behind those that would be alike.
pub fn initials(names: &[String]) -> Vec<String> {
    let plain: Vec<String> = names.iter().map(|n| of_one(n)).collect();
    plain
        .iter()
        .enumerate()
        .map(|(i, short)| {
            let before = plain[..i].iter().filter(|p| *p == short).count();
            let alike = plain.iter().filter(|p| *p == short).count();
            if alike > 1 { format!("{short}-{}", before + 1) } else { short.clone() }
        })
        .collect()
}

fn of_one(name: &str) -> String {
    let words = name.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty());
    let short: String = words.map(of_word).collect::<String>();
    // Longer than this it would be a name again.
    let cut: String = short.chars().take(6).collect();
    if cut.is_empty() { "?".to_owned() } else { cut }
}

/// The first letter of a word with the digits behind it, or a number whole.
fn of_word(word: &str) -> String {
    let first = word.chars().next().into_iter().filter(|c| c.is_alphabetic()).flat_map(char::to_uppercase);
    first.chain(word.chars().filter(char::is_ascii_digit)).collect()
}

#[cfg(test)]
mod tests {
    use super::initials;

    #[test]
    fn nobody_is_named_and_nobody_mixed_up() {
        let names = ["Knitter 01", "Mia Lind", "Max Lund", "knitter-12", "Öli", "木村 花", "...", ""];
        let short = initials(&names.map(str::to_owned));
        assert_eq!(short, ["K01", "ML-1", "ML-2", "K12", "Ö", "木花", "?-1", "?-2"]);
        assert_eq!(initials(&["x".repeat(400), "a b c d e f g h".to_owned()]), ["X", "ABCDEF"]);
    }
}
