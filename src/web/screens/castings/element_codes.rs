//! A list of elements by their codes, as rules and crack repairs name the work they need.

use crate::estimating::Element;
use crate::web::ui::FormErrors;
use maud::{Markup, html};

/// As it is typed.
pub(super) fn typed(codes: &[String]) -> String {
    codes.join(", ")
}

/// As it is read: codes between commas or white space, in capitals.
pub(super) fn read(raw: &str) -> Vec<String> {
    raw.split([',', ' ', '\n', '\r', '\t'])
        .filter(|code| !code.is_empty())
        .map(str::to_uppercase)
        .collect()
}

/// Complains about codes that the shop does not have.
pub(super) fn check(codes: &[String], known: &[Element], errors: &mut FormErrors) {
    let is_known = |code: &str| known.iter().any(|element| element.code == code);
    for code in codes.iter().filter(|code| !is_known(code)) {
        errors.add(
            "elements",
            format!("There is no element “{code}”. Choose from the codes listed below"),
        );
    }
}

/// What there is to choose from, folded.
pub(super) fn list(known: &[Element]) -> Markup {
    html! {
        @if !known.is_empty() {
            details {
                summary { "The shop’s elements and their codes" }
                dl.codes { @for element in known { dt { code { (element.code) } } dd { (element.name) } } }
            }
        }
    }
}
