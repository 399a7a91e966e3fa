//! Words that were typed, as patterns of `ilike`.

/// As they were typed, anywhere; `None` for everything.
pub(super) fn as_typed(words: &str) -> Option<String> {
    let words = words.trim();
    (!words.is_empty()).then(|| format!("%{}%", escaped(words)))
}

/// Each of them, in order, anywhere.
pub(super) fn in_order(words: &str) -> String {
    let mut pattern = String::from("%");
    for word in words.split_whitespace() {
        pattern.push_str(&escaped(word));
        pattern.push('%');
    }
    pattern
}

fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        if matches!(c, '%' | '_' | '\\') {
            escaped.push('\\');
        }
        escaped.push(c);
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_for_anything_in_a_pattern_stands_for_itself() {
        assert_eq!(as_typed(r" 5%_\ "), Some(r"%5\%\_\\%".to_owned()));
        assert_eq!(as_typed("  "), None);
        assert_eq!(in_order(" harbour  boats "), "%harbour%boats%");
        assert_eq!(in_order("5 %"), r"%5%\%%");
        assert_eq!(in_order(""), "%");
    }
}
