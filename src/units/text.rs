//! Words at the head of a line, and within a sentence.

/// At the head of a line or sentence: with a capital.
#[must_use]
pub fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

/// Within a sentence: without its capital, unless it begins with an abbreviation.
#[must_use]
pub fn uncapitalised(name: &str) -> String {
    let mut letters = name.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), Some(second)) if !second.is_uppercase() => {
            first.to_lowercase().chain(letters).collect()
        }
        _ => name.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_abbreviation_keeps_its_capitals() {
        let both = |text| (capitalised(text), uncapitalised(text));
        assert_eq!(both("drill"), ("Drill".to_owned(), "drill".to_owned()));
        assert_eq!(both("Drill"), ("Drill".to_owned(), "drill".to_owned()));
        assert_eq!(
            both("NPT plug"),
            ("NPT plug".to_owned(), "NPT plug".to_owned())
        );
        assert_eq!(both(""), (String::new(), String::new()));
    }
}
