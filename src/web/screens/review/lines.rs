//! The bookings behind one figure of the review.

use super::query::ReviewQuery;
use super::words;
use crate::review::variance::{Label, lines};
use crate::web::ui::{Answer, Page, Section, SignedIn, show};
use actix_web::web::Query;
use maud::html;
use rust_decimal::Decimal;

/// As many as a page shows.
const MOST: usize = 300;

pub(super) async fn show(who: SignedIn, typed: Query<ReviewQuery>) -> Answer {
    let (asked, reviewed) = typed.reviewed(&who).await?;
    let key = &typed.key;
    let all = lines(&reviewed.units, asked.by, key);
    let groups = &reviewed.review.groups;
    let group = groups.iter().find(|group| group.label.key == *key);
    let title = group.map_or_else(
        || "Bookings".to_owned(),
        |group| words::name(&group.label, asked.by),
    );
    let currency = reviewed.currency;
    let minutes = |minutes: Decimal| words::hours(minutes);
    let person = |label: &Label| words::name(label, crate::review::variance::Grouping::Person);
    let machine = |label: &Label| words::name(label, crate::review::variance::Grouping::Machine);
    let body = html! {
        p { a href={ "/review?" (asked.query()) } { "← Review" } }
        h1 { (title) }
        @match group {
            None => p { "Nothing was booked on it from " (asked.days(who.today())) "." },
            Some(group) => {
                p.lead {
                    (asked.days(who.today())) ": people " (minutes(group.figures.people)) ", estimated " (minutes(group.figures.people_allowed))
                    "; cost " (words::money(group.figures.cost, currency)) ", " (words::beyond(group.figures.variance(), currency)) "."
                }
                table.cells {
                    thead { tr {
                        th scope="col" { "Day" }
                        th scope="col" { "Job" }
                        th scope="col" { "Operation" }
                        th scope="col" { "Person" }
                        th scope="col" { "Machine" }
                        th.number scope="col" { "People" }
                        th.number scope="col" { "Machine time" }
                        th.number scope="col" { "Cost" }
                        th.number scope="col" { "Against estimate" }
                    } }
                    tbody {
                        @for line in all.iter().take(MOST) {
                            tr {
                                td data-label="Day" { (show::day(line.row.day, who.today())) }
                                td data-label="Job" { a href={ "/jobs/" (line.unit.job.key) } { (line.unit.job.name) } }
                                td data-label="Operation" { (line.unit.number) " " (line.unit.operation.name) }
                                td data-label="Person" { (person(&line.row.person)) }
                                td data-label="Machine" { (machine(&line.row.machine)) }
                                td.number data-label="People" { (minutes(line.figures.people)) }
                                td.number data-label="Machine time" { (minutes(line.figures.machine)) }
                                td.number data-label="Cost" { (words::money(line.figures.cost, currency)) }
                                td.number data-label="Against estimate" { (words::beyond(line.figures.variance(), currency)) }
                            }
                        }
                    }
                }
                @if all.len() > MOST {
                    p.muted { "The latest " (MOST) " of " (all.len()) ". Choose fewer days to see the others." }
                }
            }
        }
    };
    Ok(Page::new(&who, title)
        .nav(Section::Review)
        .body(body)
        .into())
}
