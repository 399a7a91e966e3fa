//! Promises: how many were kept of those given at each confidence.

use super::query::ReviewQuery;
use super::{tabs, words};
use crate::app::AppError;
use crate::app::follow_record::follow_record;
use crate::app::promises::{Promise, Promises, promises};
use crate::app::review::Period;
use crate::db::DbError;
use crate::db::people::Role;
use crate::db::settings::Promised;
use crate::estimating::percent_of_futures;
use crate::review::calibration::{Kept, Place, Verdict, histogram};
use crate::units::Code;
use crate::web::ui::stale::stale_notice;
use crate::web::ui::{
    Answer, CheckedForm, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field, show,
};
use actix_web::http::StatusCode;
use actix_web::web::Query;
use chrono::{NaiveDate, Utc};
use maud::{Markup, html};
use serde::Deserialize;

const PATH: &str = "/review/promises";
/// As many as a page shows.
const MOST: usize = 200;

/// Rows shown before the rest is folded away.
const NEWEST: usize = 8;

pub(super) async fn show(who: SignedIn, asked: Query<ReviewQuery>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let typed = asked.into_inner();
    let Some((period, _)) = typed.stretch("year", who.today(), &mut errors) else {
        let body = html! {
            h1 { "Promises" }
            (tabs(PATH))
            (errors.summary())
            (typed.days_form(PATH, &errors))
        };
        let page = Page::new(&who, "Promises").nav(Section::Review);
        return Ok(page.body(body).invalid().into());
    };
    Ok(page(&who, &typed, period, &html! {}).await?.into())
}

/// Whether days are to follow the record.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct FollowForm {
    version: String,
    what: String,
    follow: String,
}

pub(super) async fn follow(who: SignedIn, form: CheckedForm<FollowForm>) -> Answer {
    let version = form.version.parse().unwrap_or_default();
    let follow = form.follow == "yes";
    let what =
        Promised::from_code(&form.what).ok_or(WebError::NotFound("what follows the record"))?;
    match follow_record(&who.actor(), what, follow, version, Utc::now()).await {
        Ok(()) => Ok(Reply::see_other(PATH).flash(match (what, follow) {
            (Promised::Day, true) => "Days follow the record from now on.",
            (Promised::Day, false) => "Days are given as the futures have them from now on.",
            (Promised::Cost, true) => "Prices follow the record from now on.",
            (Promised::Cost, false) => "Prices cover what the futures have from now on.",
        })),
        Err(AppError::Db(DbError::Stale(_))) => {
            let typed = ReviewQuery::default();
            let stretch = typed.stretch("year", who.today(), &mut FormErrors::default());
            let (period, _) = stretch.ok_or(DbError::NotFound("the last year"))?;
            let notice = stale_notice("The settings", &[]);
            let page = page(&who, &typed, period, &notice).await?;
            Ok(page.status(StatusCode::CONFLICT).into())
        }
        Err(error) => Err(error.into()),
    }
}

async fn page(
    who: &SignedIn,
    typed: &ReviewQuery,
    period: Period,
    notice: &Markup,
) -> Result<Page, WebError> {
    let known = promises(&who.actor(), period, Utc::now()).await?;
    let body = html! {
        h1 { "Promises" }
        (tabs(PATH))
        (notice)
        (typed.days_form(PATH, &FormErrors::default()))
        @if known.promises.is_empty() {
            p { "No quote that was accepted has come to its day in these days. Once jobs from quotes are done, this page shows how many days and costs were kept of those given at each confidence." }
            p { "Give quotes under " a href="/enquiries" { "Enquiry" } " and book the work that comes of them." }
            (following(&known, who))
        } @else {
            (told(&known, who))
        }
    };
    Ok(Page::new(who, "Promises").nav(Section::Review).body(body))
}

fn told(known: &Promises, who: &SignedIn) -> Markup {
    let days: Vec<Place> = known.promises.iter().filter_map(|p| p.day).collect();
    let costs: Vec<Place> = known.promises.iter().filter_map(|p| p.cost_place).collect();
    html! {
        div.columns {
            section.card {
                h2 { "Days" }
                (record(&known.days, "day"))
                (picture("days", &days, "sooner", "later"))
            }
            section.card {
                h2 { "Costs" }
                (record(&known.costs, "cost"))
                (picture("costs", &costs, "cheaper", "dearer"))
                p.muted { "What the work cost with overhead, against what was forecast to be enough. Castings that proved scrap are not in it." }
            }
        }
        p { @if known.open > 0 { (show::count(i64::try_from(known.open).unwrap_or(0), "accepted quote", "accepted quotes")) " not ready yet and not due. " } "You promise at " (known.confidence) " % now; change it under " a href="/shop/settings" { "Shop, Settings" } "." }
        (following(known, who))
        (table(known, who.today()))
        details.card {
            summary { "How the figures are made" }
            ul {
                li { "A day is kept when the last operation was done on it or before. A job that is not done after its day is not kept." }
                li { "The range beside a count is 9 times out of 10 where the true share is (Wilson’s interval). While there are few, it is wide." }
                li { "The correction moves with every outcome: up after a broken promise, down after one that was kept (adaptive conformal inference, Gibbs and Candès 2021). It changes promises only when the owner has days or prices follow the record." }
                li { "The picture: each outcome is put where it fell in its own forecast. Bars of one height mean the forecast is right; more at the late or dear end mean it is too hopeful." }
            }
        }
    }
}

/// Whether days and prices follow the record, and for the owner the way to change it.
fn following(known: &Promises, who: &SignedIn) -> Markup {
    html! {
        div.columns {
            (follows(known, who, Promised::Day))
            (follows(known, who, Promised::Cost))
        }
    }
}

fn follows(known: &Promises, who: &SignedIn, what: Promised) -> Markup {
    let stated = known.confidence;
    let (title, name, on, share, besides) = match what {
        Promised::Day => (
            "Days and the record",
            "days",
            known.follows,
            known.day_share,
            "The chances on the answer, the bargain and the week go through the same map.",
        ),
        Promised::Cost => (
            "Prices and the record",
            "prices",
            known.prices_follow,
            known.cost_share,
            "Standard times that are off are better put right under Standard times: then prices are right for each kind of work, and not all of them dearer.",
        ),
    };
    let said = match (on, share) {
        (true, Some(share)) => format!(
            "{stated} % sure is given at {} % of the futures.",
            percent_of_futures(share)
        ),
        (true, None) => format!("The record asks for no other share of futures at {stated} %."),
        (false, _) => "They are given as the futures have them.".to_owned(),
    };
    html! {
        section.card {
            h2 { (title) }
            p { @if on { strong { "On. " } } @else { strong { "Off. " } } (said) }
            p.muted {
                @if on { "Every outcome moves the share. " }
                @else { "When " (name) " follow the record, the next ones are moved so that as many hold as is said. " }
                (besides)
            }
            @if who.may(Role::Owner) {
                form method="post" action="/review/promises/follow" {
                    (csrf_field(who))
                    input type="hidden" name="version" value=(known.version);
                    input type="hidden" name="what" value=(what.code());
                    input type="hidden" name="follow" value=(if on { "no" } else { "yes" });
                    button { @if on { "Stop: " (name) " as the futures have them" } @else { "Let " (name) " follow the record" } }
                }
            } @else {
                p.muted { "The owner decides this." }
            }
        }
    }
}

/// What the record says, for each confidence, in words first.
fn record(kept: &[Kept], what: &str) -> Markup {
    let percent = |share: f64| format!("{:.0}\u{a0}%", (share * 100.0).round());
    html! {
        @if kept.is_empty() { p { "No " (what) " was given with a confidence that is known." } }
        @for one in kept {
            p {
                strong { (one.given) " promised at " (one.stated) "\u{a0}%, " (one.kept) " kept" } ". "
                @match one.verdict() {
                    Verdict::AsStated => { "So far that is as promised: " },
                    Verdict::TooHopeful => { "Fewer than promised: " },
                    Verdict::TooCautious => { "More than promised, so you could offer an earlier one: " },
                }
                "the true share is most likely " (percent(one.interval.0)) " to " (percent(one.interval.1)) ". "
                "With the correction, " (one.stated) "\u{a0}% would now be given at " (percent_of_futures(one.corrected)) "\u{a0}% of the futures."
            }
        }
    }
}

/// Where outcomes fell in their forecasts.
fn picture(id: &str, places: &[Place], early: &str, late: &str) -> Markup {
    const PARTS: u32 = 10;
    let (left, right, top, bottom) = (30.0, 390.0, 12.0, 132.0);
    if places.len() < 10 {
        return html! { p.muted { "Ten outcomes make a picture; there are " (places.len()) " so far." } };
    }
    let bars = histogram(places, PARTS);
    let even = places.len() as f64 / f64::from(PARTS);
    let highest = bars.iter().copied().fold(even * 1.6, f64::max);
    let width = (right - left) / f64::from(PARTS);
    let y = |count: f64| bottom - count / highest * (bottom - top);
    let n = |value: f64| format!("{value:.1}");
    let (title, desc) = (format!("{id}-title"), format!("{id}-desc"));
    let half: f64 = bars.iter().skip(5).sum();
    html! {
        svg.picture viewBox="0 0 400 186" role="img" aria-labelledby={ (title) " " (desc) } {
            title id=(title) { "Where outcomes fell in their forecasts" }
            desc id=(desc) {
                "Ten bars from the " (early) " end of the forecast to the " (late) " end: "
                @for bar in &bars { (format!("{bar:.0} ")) }
                ". " (format!("{:.0}", half)) " of " (places.len()) " in the " (late) " half."
            }
            @for (bar, at) in bars.iter().zip(0_u32..) {
                @let x = left + width * f64::from(at);
                rect.over x=(n(x + 2.0)) y=(n(y(*bar))) width=(n(width - 4.0)) height=(n(bottom - y(*bar))) {}
            }
            line.drop x1=(n(left)) x2=(n(right)) y1=(n(y(even))) y2=(n(y(even))) {}
            line.tick x1=(n(left)) x2=(n(right)) y1=(n(bottom)) y2=(n(bottom)) {}
            text.small x=(n(left)) y=(n(bottom + 20.0)) { "← " (early) " than forecast" }
            text.small x=(n(right)) y=(n(bottom + 20.0)) text-anchor="end" { (late) " →" }
            text.small x=(n(f64::midpoint(left, right))) y=(n(bottom + 42.0)) text-anchor="middle" { "dashed: every bar, when the forecast is right" }
        }
    }
}

/// The newest promises; older ones are folded away.
fn table(known: &Promises, today: NaiveDate) -> Markup {
    let rows: Vec<&Promise> = known.promises.iter().rev().take(MOST).collect();
    let (newest, older) = rows.split_at(rows.len().min(NEWEST));
    html! {
        (rows_of(newest, today))
        @if !older.is_empty() {
            details {
                summary { "Earlier ones (" (older.len()) ")" }
                (rows_of(older, today))
                @if known.promises.len() > MOST { p.muted { "The latest " (MOST) " of " (known.promises.len()) "." } }
            }
        }
    }
}

fn rows_of(promises: &[&Promise], today: NaiveDate) -> Markup {
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Job" }
                th.number scope="col" { "Confidence" }
                th scope="col" { "Promised" }
                th scope="col" { "Ready" }
                th scope="col" { "Kept" }
                th.number scope="col" { "Price" }
                th.number scope="col" { "Cost" }
            } }
            tbody { @for promise in promises { (row(promise, today)) } }
        }
    }
}

fn row(promise: &Promise, today: NaiveDate) -> Markup {
    let day =
        |day: Option<NaiveDate>| day.map_or_else(|| "–".to_owned(), |day| show::day(day, today));
    let late = promise
        .promised_on
        .map(|promised| (promise.ready_on.unwrap_or(today) - promised).num_days());
    html! {
        tr {
            td data-label="Job" { a href={ "/jobs/" (promise.job_id) } { (promise.job_number) ": " (promise.title) } }
            td.number data-label="Confidence" { @match promise.stated { Some(stated) => { (stated) "\u{a0}%" }, None => "–" } }
            td data-label="Promised" { (day(promise.promised_on)) }
            td data-label="Ready" { @if promise.ready_on.is_some() { (day(promise.ready_on)) } @else { "not yet" } }
            td data-label="Kept" {
                @match (promise.day_kept, late) {
                    (Some(true), Some(0)) => "On the day",
                    (Some(true), Some(late)) => { (show::count(-late, "day", "days")) " early" },
                    (Some(false), Some(late)) => { strong { (show::count(late, "day", "days")) " late" } },
                    _ => "–",
                }
            }
            td.number data-label="Price" { (show::whole(promise.net)) }
            td.number data-label="Cost" { @match promise.cost { Some(cost) => (words::money(cost.amount(), cost.currency())), None => "–" } }
        }
    }
}
