//! The figures of the review as a file for a spreadsheet.

use super::query::ReviewQuery;
use super::words;
use crate::app::review::Reviewed;
use crate::review::variance::{Figures, Grouping};
use crate::units::Code;
use crate::web::ui::{Answer, SignedIn};
use actix_web::HttpResponse;
use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::web::Query;
use rust_decimal::{Decimal, dec};

/// One field: in quotes where it must be (RFC 4180). A text that a spreadsheet would take for a formula gets an apostrophe
/// before it, as spreadsheets themselves write it.
fn field(text: &str) -> String {
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

fn row(name: &str, figures: &Figures) -> String {
    let two = |amount: Decimal| format!("{:.2}", amount.round_dp(2));
    let hours = |minutes: Decimal| two(minutes / dec!(60));
    [
        field(name),
        hours(figures.people),
        hours(figures.people_allowed),
        hours(figures.machine),
        hours(figures.machine_allowed),
        two(figures.cost),
        two(figures.allowed_cost),
        two(figures.variance()),
        two(figures.efficiency()),
        two(figures.rate),
    ]
    .join(",")
}

/// The whole file.
fn file(reviewed: &Reviewed, by: Grouping) -> String {
    let code = reviewed.currency.code().to_owned();
    let money = |what: &str| format!("{what} {code}");
    let mut lines = vec![
        [
            field(words::grouping(by)),
            "People hours booked".to_owned(),
            "People hours estimated".to_owned(),
            "Machine hours booked".to_owned(),
            "Machine hours estimated".to_owned(),
            money("Cost"),
            money("Estimated cost"),
            money("Against estimate"),
            money("By time"),
            money("By rates"),
        ]
        .join(","),
    ];
    let groups = reviewed.review.groups.iter();
    lines.extend(groups.map(|group| row(&words::name(&group.label, by), &group.figures)));
    lines.push(row("Total", &reviewed.review.total));
    lines.join("\r\n") + "\r\n"
}

pub(super) async fn download(who: SignedIn, asked: Query<ReviewQuery>) -> Answer {
    let (asked, reviewed) = asked.reviewed(&who).await?;
    let name = format!(
        "review-{}-{}-{}.csv",
        asked.period.from,
        asked.period.until,
        asked.by.code()
    );
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/csv; charset=utf-8"))
        .insert_header((
            CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ))
        .body(file(&reviewed, asked.by))
        .into())
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
