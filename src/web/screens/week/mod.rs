//! The week: the plan on a screen, and everything done to it by hand.
//!
//! | file | what is in it |
//! | --- | --- |
//! | `axis` | working time laid end to end |
//! | `picture` | the drawing, from rows and blocks to SVG |
//! | `sheet` | from a plan in times of day to rows and blocks |
//! | `lists` | the same in words and figures |
//! | `keys` | short keys of operations, for pages that name hundreds |
//! | `panel`, `query` | what can be done about something, and what the address says |
//! | `preview`, `effect` | what would come of a change; applied, discarded, undone |
//! | `risk`, `combine` | jobs that may be late; setups that could be combined |
//! | `changes` | what was changed by hand, when and by whom |
//! | `day` | the day's work of each machine and person, to print |

mod axis;
mod changes;
mod combine;
mod day;
mod effect;
mod keys;
mod lists;
mod panel;
mod picture;
mod preview;
mod query;
mod risk;
mod sheet;
mod words;

pub(in crate::web) use effect::promises as promise_moves;
pub(in crate::web) use risk::why_late;
pub(in crate::web) use words::{job_href, long_number, slack_words, state_words, status_words};

use crate::app::current_plan::CurrentPlan;
use crate::app::week::{Week, week};
use crate::db::people::Role;
use crate::db::plan_changes::AppliedChange;
use crate::db::plans::{self, Age};
use crate::planning::Freshness;
use crate::planning::changes::PlanChange;
use crate::planning::floor::PromiseStatus;
use crate::web::shell::assets;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, Field, FormErrors, Page, Reply, Section, SignedIn, show};
use actix_web::{HttpResponse, web};
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use maud::{Markup, html};
use panel::Panel;
use query::WeekQuery;
use serde::Serialize;
use sheet::{Stretch, today};

/// `/week` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week", web::get().to(show_week))
        .route("/week/freshness", web::get().to(freshness));
    changes::routes(cfg);
    preview::routes(cfg);
    risk::routes(cfg);
    combine::routes(cfg);
    day::routes(cfg);
}

async fn show_week(
    who: SignedIn,
    site: web::Data<Site>,
    query: web::Query<Vec<(String, String)>>,
) -> Answer {
    let query = WeekQuery::new(query.into_inner());
    let week = week(&who.actor(), &site.plans, Utc::now()).await?;
    let query = query.with_keys_of(&week.plan.floor);
    let mut errors = FormErrors::default();
    let stretch = query.stretch(&mut errors, today(who.shop.time_zone));
    let stretch = at_chosen(&week.plan, stretch, &query);
    let page = page(&who, &week, stretch, (&query, &errors), None);
    Ok(if errors.is_empty() {
        page
    } else {
        page.invalid()
    }
    .into())
}

/// When no day was asked for, the days begin where the operation looked at is, if it is further on.
fn at_chosen(plan: &CurrentPlan, stretch: Stretch, query: &WeekQuery) -> Stretch {
    let floor = &plan.floor;
    let slot = query.operation().and_then(|id| plan.timetable.slot(id));
    match slot {
        Some(slot) if query.get("from").is_empty() && slot.starts >= stretch.span(floor).1 => {
            Stretch {
                from: slot.starts.with_timezone(&floor.zone).date_naive(),
                ..stretch
            }
        }
        _ => stretch,
    }
}

/// The whole screen.
fn page(
    who: &SignedIn,
    week: &Week,
    stretch: Stretch,
    (query, errors): (&WeekQuery, &FormErrors),
    nearest: Option<&PlanChange>,
) -> Page {
    let plan = &week.plan;
    let floor = &plan.floor;
    let panel = Panel {
        plan,
        stretch,
        query,
        errors,
        may: who.may(Role::Office),
        nearest,
    };
    let looking = query.looks_at_something();
    let picture = sheet::sheet(floor, &plan.timetable, stretch, query.operation(), None);
    let body = html! {
        script type="module" src=(assets::url("week.js")) {}
        @if panel.may { script type="module" src=(assets::url("week-move.js")) {} }
        div.bar { h1 { (heading(stretch, who.today())) } (stretches("/week", stretch)) }
        (errors.summary())
        (panel.nearest())
        div.week-top { (freshness_line(&week.age, who.shop.time_zone)) (go_to(stretch, query.get("from"), errors)) }
        div.week-body.looking[looking] #week-body {
            div.week-head #week-head {
                (last_change(who, week.newest.as_ref()))
                (lists::issues(floor, &plan.model.issues))
                (lists::stand_ins(floor, &plan.model.stand_ins, stretch))
                (summary(plan, stretch))
            }
            div.week-picture #week-picture data-from=(stretch.from) data-days=(stretch.days) {
                (figure(picture.as_ref(), panel.may))
            }
            (panel.draw())
            div.week-rest #week-rest {
                (lists::days(floor, &plan.timetable, stretch))
                (lists::load(floor, &plan.timetable, stretch))
            }
        }
    };
    Page::new(who, heading(stretch, who.today()))
        .nav(Section::Week)
        .body(body)
}

fn heading(stretch: Stretch, today: NaiveDate) -> String {
    let day = show::day(stretch.from, today);
    match stretch.days {
        1 => day,
        7 => format!("The week from {day}"),
        days => format!("{} weeks from {day}", days / 7),
    }
}

/// A day to twelve weeks; earlier, today, later.
fn stretches(path: &str, stretch: Stretch) -> Markup {
    let to = |stretch: Stretch| format!("{path}?{}", stretch.query());
    html! {
        nav.week-nav aria-label="Days shown" {
            a.button.quiet href=(to(stretch.moved(-1))) data-key="k" data-key-label="Earlier" { "← Earlier" }
            a.button.quiet href={ (path) "?days=" (stretch.days) } data-key="t" data-key-label="Today" { "Today" }
            a.button.quiet href=(to(stretch.moved(1))) data-key="l" data-key-label="Later" { "Later →" }
            ul {
                @for days in Stretch::DAYS {
                    @let label = match days { 1 => "Day".to_owned(), 7 => "Week".to_owned(), n => format!("{} weeks", n / 7) };
                    li { a href=(to(Stretch { days, ..stretch })) aria-current=[(days == stretch.days).then_some("true")] { (label) } }
                }
            }
        }
    }
}

fn go_to(stretch: Stretch, entered: &str, errors: &FormErrors) -> Markup {
    let value = if errors.get("from").is_some() {
        entered.to_owned()
    } else {
        stretch.from.to_string()
    };
    html! {
        form.week-go method="get" action="/week" novalidate {
            input type="hidden" name="days" value=(stretch.days);
            (Field::date("from", "From day", &value).errors(errors))
            button.quiet type="submit" { "Show" }
        }
    }
}

/// The drawing with its legend, or that the shop is closed.
fn figure(picture: Option<&picture::Picture>, may: bool) -> Markup {
    html! {
        @match picture {
            Some(picture) => {
                figure.week-figure {
                    div.week-sheet tabindex="0" role="region" aria-label="The plan, drawn" { (picture::draw("week", picture)) }
                    figcaption {
                        (legend())
                        @if may { p.muted.no-print { "To move a box, drag it (on a touch screen, hold it first), or select it and press M, then the arrow keys and Enter. You see what would come of it before anything changes." } }
                    }
                }
            }
            None => p.notice { "The shop is closed on these days." },
        }
    }
}

/// What shapes mean.
fn legend() -> Markup {
    let sample = |inner: Markup, words: &str| {
        html! { li { svg.week-key viewBox="0 0 34 18" width="34" height="18" aria-hidden="true" { (inner) } " " (words) } }
    };
    html! {
        ul.week-legend {
            (sample(html! { g.block { path d="M2 2H32V16H2z" {} } g.marks { path d="M2 2h12v14h-12z" fill="url(#week-setup)" {} } }, "setup hatched (grey on paper), run plain"))
            (sample(html! { g.block.started { path d="M7 2H32V16H7L2 11V7z" {} } }, "running"))
            (sample(html! { g.block { path d="M2 4H6l3 4l3 -4H32V17H2z" {} } g.marks { circle.pin cx="9" cy="4" r="2.6" {} path.pin d="M9 6v5" {} } }, "pinned"))
            (sample(html! { g.block.held { path d="M2 2H32V16H2z" {} } }, "reserved for a quote"))
            (sample(html! { g.block { path d="M2 2H32V16H2z" {} } g.marks { path.overdue d="M3 14.5H31" {} } }, "late job"))
            (sample(html! { g.flag { path.cloth d="M10 17V2h12v8h-12z" {} } }, "due, on time"))
            (sample(html! { g.flag.risk { path.cloth d="M10 17V2h12v8h-12z" {} path d="M10 2h12v8h-12z" fill="url(#week-risk)" {} } }, "at risk"))
            (sample(html! { g.flag.late { path.cloth d="M10 17V2h14l-4 4l4 4h-14z" {} } }, "late"))
            (sample(html! { rect x="1" y="1" width="32" height="16" fill="url(#week-closed)" {} }, "closed"))
        }
    }
}

/// How many jobs are late or at risk, and where to go from there.
fn summary(plan: &CurrentPlan, stretch: Stretch) -> Markup {
    let open = plan.timetable.open_promises(&plan.floor);
    let count = |status| open.iter().filter(|o| o.status == status).count() as i64;
    let (late, risk) = (count(PromiseStatus::Late), count(PromiseStatus::AtRisk));
    html! {
        ul.week-summary {
            li {
                a href="/week/risk" data-key="r" data-key-label="Late or at risk" {
                    @if late + risk == 0 && plan.model.issues.is_empty() { "Every job is on time" }
                    @else if late + risk == 0 { "Every job that can be scheduled is on time" }
                    @else { (show::count(late, "job late", "jobs late")) ", " (risk) " at risk" }
                }
            }
            li { a href="/week/combine" { "Combine setups" } }
            li { a href="/week/changes" { "Manual changes" } }
            li { a href={ "/week/day/" (stretch.from) } { "Work lists to print" } }
        }
    }
}

/// The change applied last, with the way to undo it.
fn last_change(who: &SignedIn, newest: Option<&AppliedChange>) -> Markup {
    html! {
        @if let Some(change) = newest {
            p.week-taken {
                "Last change: " (change.words) ", " (change.by.as_deref().unwrap_or("the program")) ", "
                (show::moment(change.taken_at, who.shop.time_zone, who.today())) ". "
                @if who.may(Role::Office) { a href={ "/week/undo/" (change.id) } { "Undo" } }
            }
        }
    }
}

/// The age of the plan, in words for the page and in figures for its script.
#[derive(Debug, Serialize)]
struct News {
    words: String,
    busy: bool,
    share: Option<f64>,
    plan: String,
}

impl News {
    fn of(age: &Age, zone: Tz) -> Self {
        let clock = |at: DateTime<Utc>| at.with_timezone(&zone).format("%H:%M").to_string();
        let made = age.made_at.map_or_else(
            || "not made yet".to_owned(),
            |at| format!("made on {}", show::moment(at, zone, today(zone))),
        );
        let (words, share) = match age.freshness {
            Freshness::Fresh if age.improved => (format!("The plan is up to date, {made}."), None),
            Freshness::Fresh => (
                format!("Draft plan, {made}. It has not been improved yet."),
                None,
            ),
            Freshness::Stale { since } => (
                format!(
                    "Something changed at {}. This is the last plan, {made}, brought up to date.",
                    clock(since)
                ),
                None,
            ),
            Freshness::Planning { progress, usable } => (
                format!(
                    "{}: {:.0} % done.",
                    if usable {
                        "Improving the plan; this one is up to date"
                    } else {
                        "Making a new plan"
                    },
                    progress * 100.0
                ),
                Some(progress),
            ),
        };
        Self {
            words,
            busy: !matches!(age.freshness, Freshness::Fresh),
            share,
            plan: age.seen().to_string(),
        }
    }
}

/// A line that says how fresh the plan is; `week.js` keeps it so.
fn freshness_line(age: &Age, zone: Tz) -> Markup {
    let news = News::of(age, zone);
    html! {
        div.week-fresh #week-freshness data-freshness="/week/freshness" data-plan=(news.plan) data-swap="week-head week-picture week-rest"
            data-planning=(if news.busy { "yes" } else { "no" }) {
            p.says role="status" { (news.words) }
            progress aria-label="The new plan" max="1" value=[news.share] hidden[news.share.is_none()] {}
            p.newer hidden { a href="" { "Show the new plan" } }
            noscript { p { a href="" { "Reload" } " to see the newest plan." } }
        }
    }
}

async fn freshness(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let age = plans::age(&mut tx, Utc::now()).await?;
    let news = News::of(&age, who.shop.time_zone);
    Ok(Reply::Other(HttpResponse::Ok().json(news)))
}
