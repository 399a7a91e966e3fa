//! Files for a spreadsheet.

use actix_web::HttpResponse;
use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use chrono::NaiveDate;

/// One field: in quotes where it must be (RFC 4180). A text that a spreadsheet would take for a formula gets an apostrophe
/// before it, as spreadsheets themselves write it; a number below nought is a number.
fn field(text: &str) -> String {
    let number = text.parse::<f64>().is_ok();
    let formula = !number && text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let text = if formula {
        format!("'{text}")
    } else {
        text.to_owned()
    };
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text
    }
}

/// The text of a file with these rows, the head among them.
#[must_use]
pub fn text(rows: impl IntoIterator<Item = Vec<String>>) -> String {
    rows.into_iter()
        .map(|row| {
            let fields: Vec<String> = row.iter().map(|text| field(text)).collect();
            fields.join(",") + "\r\n"
        })
        .collect()
}

/// The file to be kept under that name.
#[must_use]
pub fn download(name: &str, rows: impl IntoIterator<Item = Vec<String>>) -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/csv; charset=utf-8"))
        .insert_header((
            CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ))
        .body(text(rows))
}

/// The file of these rows under a head.
#[must_use]
pub fn download_under(
    name: &str,
    head: &[&str],
    rows: impl IntoIterator<Item = Vec<String>>,
) -> HttpResponse {
    let head = head.iter().map(|&name| name.to_owned()).collect();
    download(name, std::iter::once(head).chain(rows))
}

/// Whether something is so.
#[must_use]
pub fn yes(so: bool) -> String {
    if so { "yes" } else { "no" }.to_owned()
}

/// A day as every spreadsheet reads it (ISO 8601); nothing where there is none.
#[must_use]
pub fn day(day: Option<NaiveDate>) -> String {
    day.map(|day| day.to_string()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_is_read_back_as_it_was_and_is_no_formula() {
        assert_eq!(field("Mill: rear face"), "Mill: rear face");
        assert_eq!(field("Wash, hot"), "\"Wash, hot\"");
        assert_eq!(field("the \"old\" mill"), "\"the \"\"old\"\" mill\"");
        assert_eq!(field("=1+1"), "'=1+1");
        assert_eq!(field("-12.50"), "-12.50");
        assert_eq!(field("-cmd"), "'-cmd");
    }
}
