//! The figures of the review as a file for a spreadsheet.

use super::query::ReviewQuery;
use super::words;
use crate::app::review::Reviewed;
use crate::review::variance::{Figures, Grouping};
use crate::units::Code;
use crate::web::ui::{Answer, SignedIn, csv};
use actix_web::web::Query;
use rust_decimal::{Decimal, dec};

fn row(name: &str, figures: &Figures) -> Vec<String> {
    let two = |amount: Decimal| format!("{:.2}", amount.round_dp(2));
    let hours = |minutes: Decimal| two(minutes / dec!(60));
    vec![
        name.to_owned(),
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
}

/// The head, a row for each group, and the total.
fn rows(reviewed: &Reviewed, by: Grouping) -> Vec<Vec<String>> {
    let code = reviewed.currency.code().to_owned();
    let money = |what: &str| format!("{what} {code}");
    let mut rows = vec![vec![
        words::grouping(by).to_owned(),
        "People hours booked".to_owned(),
        "People hours estimated".to_owned(),
        "Machine hours booked".to_owned(),
        "Machine hours estimated".to_owned(),
        money("Cost"),
        money("Estimated cost"),
        money("Against estimate"),
        money("By time"),
        money("By rates"),
    ]];
    let groups = reviewed.review.groups.iter();
    rows.extend(groups.map(|group| row(&words::name(&group.label, by), &group.figures)));
    rows.push(row("Total", &reviewed.review.total));
    rows
}

pub(super) async fn download(who: SignedIn, asked: Query<ReviewQuery>) -> Answer {
    let (asked, reviewed) = asked.reviewed(&who).await?;
    let name = format!(
        "review-{}-{}-{}.csv",
        asked.period.from,
        asked.period.until,
        asked.by.code()
    );
    Ok(csv::download(&name, rows(&reviewed, asked.by)).into())
}
