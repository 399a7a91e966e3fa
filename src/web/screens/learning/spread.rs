//! How much things vary by the bookings, beside the settings; the owner takes over what they want.

use super::words::percent;
use crate::app::learn::Lesson;
use crate::app::{AppError, learn_spread};
use crate::db::DbError;
use crate::db::people::Role;
use crate::review::rates::share;
use crate::review::ratios::Interval;
use crate::review::spread::{Figure, Learned, Unit};
use crate::units::Code;
use crate::web::screens::review::tabs;
use crate::web::shell::site::Site;
use crate::web::ui::show::count;
use crate::web::ui::stale::stale_notice;
use crate::web::ui::{
    Answer, CheckedForm, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;

const PATH: &str = "/review/spread";
const TITLE: &str = "How work varies, by bookings";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(PATH)
            .route(web::get().to(show))
            .route(web::post().to(take)),
    );
}

/// The ticked figures as they were on the screen: `shop=4.5`.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct SpreadForm {
    version: String,
    shop: String,
    person: String,
    element: String,
    job: String,
    absence: String,
    rework: String,
    breakdown: String,
    repair: String,
}

impl SpreadForm {
    fn value(&self, figure: Figure) -> &str {
        match figure {
            Figure::Shop => &self.shop,
            Figure::Person => &self.person,
            Figure::Element => &self.element,
            Figure::Job => &self.job,
            Figure::Absence => &self.absence,
            Figure::Rework => &self.rework,
            Figure::Breakdown => &self.breakdown,
            Figure::Repair => &self.repair,
        }
    }
}

pub(super) fn label(figure: Figure) -> &'static str {
    match figure {
        Figure::Shop => "How much the whole shop differs",
        Figure::Person => "How much people differ",
        Figure::Element => "How much kinds of work differ",
        Figure::Job => "How much whole jobs differ",
        Figure::Absence => "Days off sick",
        Figure::Rework => "Work done again",
        Figure::Breakdown => "Between breakdowns of a machine",
        Figure::Repair => "A repair takes",
    }
}

pub(super) fn rests_on(line: &Learned) -> String {
    let n = i64::try_from(line.count).unwrap_or(i64::MAX);
    match line.figure {
        Figure::Shop => count(n, "month", "months"),
        Figure::Person => count(n, "person", "people"),
        Figure::Element => count(n, "kind of work", "kinds of work"),
        Figure::Job => count(n, "job", "jobs"),
        Figure::Absence => count(n, "working day", "working days"),
        Figure::Rework => count(n, "operation", "operations"),
        Figure::Breakdown | Figure::Repair => count(n, "breakdown", "breakdowns"),
    }
}

async fn show(who: SignedIn, site: web::Data<Site>) -> Answer {
    Ok(page(&who, &site, &FormErrors::default(), &html! {})
        .await?
        .into())
}

async fn take(who: SignedIn, site: web::Data<Site>, form: CheckedForm<SpreadForm>) -> Answer {
    who.require(Role::Owner)?;
    let chosen: Vec<(Figure, Decimal)> = Figure::ALL
        .iter()
        .filter_map(|figure| Some((*figure, form.value(*figure).parse().ok()?)))
        .collect();
    let mut errors = FormErrors::default();
    if chosen.is_empty() {
        errors.add("shop", "Tick at least one figure to use");
        return Ok(page(&who, &site, &errors, &html! {})
            .await?
            .invalid()
            .into());
    }
    let version = form.version.parse().unwrap_or_default();
    let taken = learn_spread::take(&who.actor(), &site.lessons, version, &chosen, Utc::now()).await;
    match taken {
        Ok(()) => Ok(Reply::see_other(PATH)
            .flash("Saved. Prices, chances and ready days are worked out with it from now on.")),
        Err(AppError::Db(DbError::Stale(_))) => {
            let notice = stale_notice("The settings or what is learned", &[]);
            let page = page(&who, &site, &FormErrors::default(), &notice).await?;
            Ok(page.status(StatusCode::CONFLICT).into())
        }
        Err(error) => Err(error.into()),
    }
}

async fn page(
    who: &SignedIn,
    site: &Site,
    errors: &FormErrors,
    notice: &Markup,
) -> Result<Page, WebError> {
    let (lines, lesson) = learn_spread::spread(&who.actor(), &site.lessons, Utc::now()).await?;
    let may = who.may(Role::Owner);
    let any = lines.iter().any(differs);
    let body = html! {
        h1 { (TITLE) }
        (tabs(PATH))
        (errors.summary())
        (notice)
        p.lead {
            @if lines.iter().all(|l| l.proposed.is_none()) {
                "Too little is booked yet to say how your work varies. Here you will see it beside the figures under "
            } @else {
                "What your own bookings say, beside the figures under "
            }
            a href="/shop/variation" { "How work varies" } ". Nothing changes until the owner takes it over."
        }
        form method="post" action=(PATH) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(lesson.settings.version);
            table.cells #spread {
                thead { tr {
                    @if may && any { th scope="col" { "Use" } }
                    th scope="col" { "Figure" } th.number scope="col" { "Now" } th.number scope="col" { "By bookings" }
                    th scope="col" { "9 in 10 sure" } th scope="col" { "From" }
                } }
                tbody { @for line in &lines { (row(line, may && any)) } }
            }
            @if may && any { div.actions { button type="submit" { "Use the ticked figures" } } }
        }
        (besides(&lesson))
        p.no-print { a type="text/csv" href={ (PATH) ".csv" } { "Download for a spreadsheet" } }
    };
    Ok(Page::new(who, TITLE).nav(Section::Review).body(body))
}

fn differs(line: &Learned) -> bool {
    line.proposed.is_some_and(|p| p != line.present)
}

fn row(line: &Learned, choose: bool) -> Markup {
    let id = format!("use-{}", line.figure.code());
    let unit = match line.figure.unit() {
        Unit::Percent => " %",
        Unit::Hours => " h",
    };
    html! {
        tr {
            @if choose {
                td data-label="Use" {
                    @if let Some(proposed) = line.proposed.filter(|_| differs(line)) {
                        input type="checkbox" id=(id) name=(line.figure.code()) value=(proposed) checked;
                    }
                }
            }
            th scope="row" { @if choose && differs(line) { label for=(id) { (label(line.figure)) } } @else { (label(line.figure)) } }
            td.number data-label="Now" { (line.present) (unit) }
            td.number data-label="By bookings" {
                @match line.proposed { Some(p) => { (p) (unit) } None => { span.muted { "not yet" } } }
            }
            td data-label="9 in 10 sure" {
                @match line.interval.filter(|_| line.proposed.is_some()) { Some(i) => { (interval(line.figure, i)) } None => { span.muted { "too little to say" } } }
            }
            td data-label="From" { (rests_on(line)) }
        }
    }
}

/// "3 to 5.5 %", "760 to 3,400 h".
fn interval(figure: Figure, i: Interval) -> String {
    match figure.unit() {
        Unit::Percent => between(i),
        Unit::Hours if i.high < 100.0 => format!("{:.1} to {:.1} h", i.low, i.high),
        Unit::Hours => format!("{:.0} to {:.0} h", i.low, i.high),
    }
}

/// "3 to 5.5 %".
fn between(i: Interval) -> String {
    let low = percent(i.low / 100.0);
    let low = low.trim_end_matches(" %");
    format!("{low} to {}", percent(i.high / 100.0))
}

/// What is known besides, and is not a figure of the settings.
fn besides(lesson: &Lesson) -> Markup {
    let mishaps = lesson.mishaps;
    let castings = u64::try_from(mishaps.failed)
        .ok()
        .zip(u64::try_from(mishaps.inspected).ok())
        .and_then(|(failed, all)| share(failed, all));
    html! {
        @if let Some(findings) = &lesson.findings {
            p {
                "An ordinary operation by itself varies by " strong { (percent(findings.shares.scatter.likely)) }
                " when who does it, its job and its month are allowed for. Each standard time has its own spread under "
                a href="/shop/standards" { "Standard times" } "."
            }
        }
        @if let Some(failing) = castings {
            p {
                (mishaps.failed) " of " (count(mishaps.inspected, "casting", "castings")) " inspected failed (" strong { (percent(failing.likely)) }
                "; 9 in 10 sure: " (between(Interval { low: failing.low * 100.0, likely: failing.likely * 100.0, high: failing.high * 100.0 }))
                "). Answers count inspected castings of each variant by themselves already."
            }
        }
        p.muted {
            "Days off sick are days off that were entered on the day itself or later, out of the working days of those who book time. "
            "Breakdowns are stops of machines that were entered on the day itself or later, out of the hours those machines were open. "
            "Work done again is operations added after a failed check, out of those first planned."
        }
    }
}
