//! Decisions: margins planned and made, and what the other way would probably have cost.

use super::query::ReviewQuery;
use super::{tabs, words};
use crate::app::decisions::{Decision, Decisions, Other, decisions};
use crate::app::review::Period;
use crate::review::decisions::Cheaper;
use crate::units::Money;
use crate::web::ui::{Answer, FormErrors, Page, Section, SignedIn, csv, show};
use actix_web::web::Query;
use chrono::{NaiveDate, Utc};
use maud::{Markup, html};

pub(super) const PATH: &str = "/review/decisions";
const TITLE: &str = "Decisions";

/// Rows shown before the rest is folded away.
const FIRST: usize = 8;
/// As many as a page shows.
const MOST: usize = 200;

pub(super) async fn show(who: SignedIn, asked: Query<ReviewQuery>) -> Answer {
    let mut errors = FormErrors::default();
    let typed = asked.into_inner();
    let stretch = typed.stretch("year", who.today(), &mut errors);
    let told = match stretch {
        Some((period, _)) => Some((period, decisions(&who.actor(), period, Utc::now()).await?)),
        None => None,
    };
    let body = html! {
        h1 { (TITLE) }
        (tabs(PATH))
        (errors.summary())
        (typed.days_form(PATH, &errors))
        @match &told {
            Some((_, known)) if known.decisions.is_empty() => {
                p { "No job from a quote was finished in these days. Once some are, this page shows the margin that was planned beside the one that was made, and what the other way would probably have cost." }
                p { "Give quotes under " a href="/enquiries" { "Enquiry" } " and book the work that comes of them." }
            }
            Some((period, known)) => (told_of(known, *period, who.today())),
            None => {}
        }
    };
    let page = Page::new(&who, TITLE).nav(Section::Review).body(body);
    Ok(if told.is_some() {
        page.into()
    } else {
        page.invalid().into()
    })
}

fn told_of(known: &Decisions, period: Period, today: NaiveDate) -> Markup {
    let (with, without): (Vec<&Decision>, Vec<&Decision>) =
        known.decisions.iter().partition(|d| d.other.is_some());
    html! {
        div.columns {
            section.card { h2 { "Margin" } (margin(known)) }
            section.card { h2 { "The other way" } (other_way(known)) }
        }
        @if !with.is_empty() {
            h2 { "Where there was another way" }
            p.muted { "What came dearest against it first." }
            (folded(&with, |some| compared(some, today)))
        }
        @if !without.is_empty() {
            h2 { "Where there was none" }
            (folded(&without, margins))
        }
        p.no-print { a type="text/csv" href={ (PATH) ".csv?period=days&from=" (period.from) "&until=" (period.until) } { "Download for a spreadsheet" } }
        details.card {
            summary { "How the figures are made" }
            ul {
                li { "The margin made is the price less what the job cost: hours at the rates of their days, materials, castings and scrap, with overhead. What was put by for what may go wrong and was not needed is in it." }
                li { "The other way is the likely cheapest of another sort that the answer had when the quote was given: converting against finding one, against the customer’s own block. Its price is the forecast of that day; nobody knows what it would have come to." }
                li { "“Came to” is the price that the true cost of the way taken would have asked for at your margin." }
            }
        }
    }
}

fn margin(known: &Decisions) -> Markup {
    let (planned, made) = known.margins;
    html! {
        @if known.with_margin == 0 {
            p { "None of these quotes names its margin." }
        } @else {
            p {
                strong { (show::whole(planned)) " planned, " (show::whole(made)) " made" }
                " on " (jobs(known.with_margin)) "."
            }
            @if made.amount() < planned.amount() {
                p { "What the work took is under " a href="/review" { "Hours and money" } "; standards that would have said so are under " a href="/review/standards" { "Standard times" } "." }
            }
        }
    }
}

fn other_way(known: &Decisions) -> Markup {
    let all = known.together;
    let saved = Money::from_minor(all.saved, known.currency);
    html! {
        @if all.decisions == 0 {
            p { "None of these quotes had another way beside it." }
        } @else {
            p {
                strong { (all.cheaper) " of " (all.decisions) " came out cheaper than the other way" }
                ", by its middle forecast; " (all.sooner) " were ready sooner."
            }
            p {
                @if all.saved >= 0 { "Together they saved the customers about " (show::whole(saved)) "." }
                @else { "Together they cost about " (show::whole(Money::from_minor(-all.saved, known.currency))) " more than the other ways would have." }
            }
        }
    }
}

fn jobs(count: usize) -> String {
    show::count(i64::try_from(count).unwrap_or(i64::MAX), "job", "jobs")
}

fn folded(decisions: &[&Decision], table: impl Fn(&[&Decision]) -> Markup) -> Markup {
    let shown = decisions.get(..MOST).unwrap_or(decisions);
    let (first, rest) = shown.split_at(shown.len().min(FIRST));
    html! {
        (table(first))
        @if !rest.is_empty() {
            details {
                summary { "The others (" (rest.len()) ")" }
                (table(rest))
                @if decisions.len() > MOST { p.muted { "The first " (MOST) " of " (decisions.len()) "." } }
            }
        }
    }
}

fn job(decision: &Decision) -> Markup {
    html! { a href={ "/jobs/" (decision.job_id) } { (decision.job_number) ": " (decision.title) } }
}

fn compared(decisions: &[&Decision], today: NaiveDate) -> Markup {
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Job" } th.number scope="col" { "Came to" }
                th scope="col" { "The other way" } th scope="col" { "Ready" } th.number scope="col" { "Margin made" }
            } }
            tbody { @for d in decisions { @if let Some(other) = &d.other { (with_other(d, other, today)) } } }
        }
    }
}

fn with_other(d: &Decision, other: &Other, today: NaiveDate) -> Markup {
    let [low, middle, high] = other
        .hindsight
        .price
        .map(|minor| show::whole(Money::from_minor(minor, d.net.currency())));
    let [_, likely, _] = other.hindsight.ready;
    html! {
        tr {
            td data-label="Job" { (job(d)) }
            td.number data-label="Came to" { (show::whole(other.came)) }
            td data-label="The other way" {
                (other.title) ", likely " strong { (middle) }
                div.small.muted { (low) " to " (high) "; cheaper " (cheaper(other.hindsight.cheaper)) }
            }
            td data-label="Ready" {
                (show::day(d.ready_on, today))
                div.small.muted { "other: " @match likely { Some(day) => (show::day(day, today)), None => "no day" } }
            }
            (made(d))
        }
    }
}

fn margins(decisions: &[&Decision]) -> Markup {
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Job" } th scope="col" { "Kind" } th.number scope="col" { "Price" }
                th.number scope="col" { "Margin made" }
            } }
            tbody { @for d in decisions { tr {
                td data-label="Job" { (job(d)) }
                td data-label="Kind" { (words::kind(&d.kind)) }
                td.number data-label="Price" { (show::whole(d.net)) }
                (made(d))
            } } }
        }
    }
}

/// The margin made, with the planned one below it.
fn made(d: &Decision) -> Markup {
    html! {
        td.number data-label="Margin made" {
            (show::whole(d.made))
            @if let Some(planned) = d.planned { div.small.muted { "planned " (show::whole(planned)) } }
        }
    }
}

/// How often the other way would have been cheaper.
fn cheaper(often: Cheaper) -> &'static str {
    match often {
        Cheaper::Hardly => "in fewer than 1 of 10",
        Cheaper::LessOften => "in 1 to 5 of 10",
        Cheaper::MoreOften => "in 5 to 9 of 10",
        Cheaper::Nearly => "in more than 9 of 10",
    }
}

pub(super) async fn download(who: SignedIn, asked: Query<ReviewQuery>) -> Answer {
    let (period, known) = asked.decided(&who).await?;
    let code = known.currency.code();
    let head = [
        "Job".to_owned(),
        "What".to_owned(),
        "Kind".to_owned(),
        format!("Price {code}"),
        format!("Margin planned {code}"),
        format!("Margin made {code}"),
        "Ready".to_owned(),
        format!("Came to {code}"),
        "The other way".to_owned(),
        format!("Likely price {code}"),
        format!("1 in 10 cheaper {code}"),
        format!("1 in 10 dearer {code}"),
        "Likely ready".to_owned(),
    ];
    let rows = known.decisions.iter().map(|d| {
        let amount = |money: Money| money.amount().to_string();
        let mut row = vec![
            d.job_number.to_string(),
            d.title.clone(),
            words::kind(&d.kind).to_owned(),
            amount(d.net),
            d.planned.map(amount).unwrap_or_default(),
            amount(d.made),
            d.ready_on.to_string(),
        ];
        row.extend(match &d.other {
            Some(other) => {
                let minor = |minor: i64| amount(Money::from_minor(minor, d.net.currency()));
                let [low, likely, high] = other.hindsight.price;
                let [_, ready, _] = other.hindsight.ready;
                [
                    amount(other.came),
                    other.title.clone(),
                    minor(likely),
                    minor(low),
                    minor(high),
                    ready.map(|day| day.to_string()).unwrap_or_default(),
                ]
            }
            None => Default::default(),
        });
        row
    });
    let name = format!("decisions-{}-{}.csv", period.from, period.until);
    let rows = std::iter::once(head.to_vec()).chain(rows);
    Ok(csv::download(&name, rows).into())
}
