//! Files for a spreadsheet: comma-separated values (RFC 4180).

use crate::web::ui::Reply;
use actix_web::HttpResponse;
use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};

/// One field: in quotes where it must be (RFC 4180). A text that a spreadsheet would take for a formula gets an apostrophe
/// before it, as spreadsheets themselves write it.
#[must_use]
pub fn field(text: &str) -> String {
    let formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
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

/// A row with the line break at its end.
#[must_use]
pub fn row<T: AsRef<str>>(fields: impl IntoIterator<Item = T>) -> String {
    let fields: Vec<String> = fields
        .into_iter()
        .map(|text| field(text.as_ref()))
        .collect();
    fields.join(",") + "\r\n"
}

/// A file to be saved under a name.
pub fn download(name: &str, file: String) -> Reply {
    let disposition = format!("attachment; filename=\"{name}\"");
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/csv; charset=utf-8"))
        .insert_header((CONTENT_DISPOSITION, disposition))
        .body(file)
        .into()
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
    }
}
