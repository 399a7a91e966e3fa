//! What of an entry's text PostgreSQL can keep: no NUL character, and no half of a surrogate pair.

use serde_json::Value;

/// Why an entry with half a pair is set aside.
const HALF_A_PAIR: &str = "It has a character that cannot be kept: half of a surrogate pair";

/// Why an entry is set aside that reads in no way, such as a number beyond what a computer counts to.
const UNREADABLE: &str = "It could not be read";

/// An entry as JSON that can be kept, and why it is not to be booked when something of it had to be replaced. JSON allows
/// an escape such as `\ud800` by itself (RFC 8259, section 8.2), which no text in UTF-8 can hold: U+FFFD takes its place.
pub(super) fn keepable(raw: &str) -> (Value, Option<&'static str>) {
    if let Ok(body) = serde_json::from_str(raw) {
        return (body, None);
    }
    match serde_json::from_str(&without_halves(raw)) {
        Ok(body) => (body, Some(HALF_A_PAIR)),
        Err(_) => (Value::String(raw.to_owned()), Some(UNREADABLE)),
    }
}

/// The code unit that an escape at the head of a text stands for: `\uXXXX`.
fn unit(text: &str) -> Option<u16> {
    let digits = text.strip_prefix("\\u")?.get(..4)?;
    u16::from_str_radix(digits, 16).ok()
}

/// A JSON text with U+FFFD in place of escapes that are half of a surrogate pair.
fn without_halves(raw: &str) -> String {
    const ESCAPE: usize = "\\uXXXX".len();
    let mut whole = String::with_capacity(raw.len());
    let mut rest = raw;
    while let Some(start) = rest.find('\\') {
        let (before, escape) = rest.split_at(start);
        whole.push_str(before);
        let after = |n: usize| escape.get(n..).unwrap_or_default();
        let (taken, written) = match unit(escape) {
            Some(0xD800..=0xDBFF) if matches!(unit(after(ESCAPE)), Some(0xDC00..=0xDFFF)) => {
                (2 * ESCAPE, escape.get(..2 * ESCAPE))
            }
            Some(0xD800..=0xDFFF) => (ESCAPE, Some("\u{FFFD}")),
            Some(_) => (ESCAPE, escape.get(..ESCAPE)),
            None => (2, escape.get(..2)),
        };
        whole.push_str(written.unwrap_or(escape));
        rest = after(taken);
    }
    whole.push_str(rest);
    whole
}

/// Takes NUL characters out of all text in a JSON value, names included: PostgreSQL keeps none. Whether there were any.
pub(super) fn drop_nul(value: &mut Value) -> bool {
    let clean = |text: &mut String| {
        let before = text.len();
        text.retain(|c| c != '\0');
        text.len() != before
    };
    match value {
        Value::String(text) => clean(text),
        Value::Array(values) => {
            let mut any = false;
            for value in values {
                any |= drop_nul(value);
            }
            any
        }
        Value::Object(fields) => {
            let mut any = false;
            *fields = std::mem::take(fields)
                .into_iter()
                .map(|(mut name, mut value)| {
                    any |= clean(&mut name);
                    any |= drop_nul(&mut value);
                    (name, value)
                })
                .collect();
            any
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_pair_is_replaced_and_a_whole_one_stays() {
        let (body, why) = keepable(r#"{"key":"a","reason":"\ud83d\ude00 \u00e9"}"#);
        assert_eq!((body["reason"].as_str(), why), (Some("😀 é"), None));
        for (reason, kept) in [
            (r"\ud800", "\u{FFFD}"),
            (r"\udc00 slipped", "\u{FFFD} slipped"),
            (r"\ud800\ud83d\ude00", "\u{FFFD}😀"),
            (r"\\ud800 \ud800\n", "\\ud800 \u{FFFD}\n"),
        ] {
            let (body, why) = keepable(&format!(r#"{{"key":"a","reason":"{reason}"}}"#));
            assert_eq!(body["reason"], kept, "{reason}");
            assert_eq!(body["key"], "a");
            assert_eq!(why, Some(HALF_A_PAIR));
        }
        let (body, why) = keepable(r#"{"at":1e999}"#);
        assert_eq!(
            (body.as_str(), why),
            (Some(r#"{"at":1e999}"#), Some(UNREADABLE))
        );
    }
}
