//! The week: the plan on a screen, and everything done to it by hand.
//!
//! | file | what is in it |
//! | --- | --- |
//! | `axis` | working time laid end to end |
//! | `picture` | the drawing, from rows and blocks to SVG |
//! | `sheet` | from a plan in times of day to rows and blocks |
//! | `lists` | the same in words and figures |
//! | `panel`, `asked` | forms, and what they ask for |
//! | `try_out` | what would come of it; taken, dropped, undone |
//! | `risk`, `together` | promises that may not hold; setups that could be shared |
//! | `changes` | what was changed by hand, when and by whom |

mod asked;
mod axis;
mod changes;
mod lists;
mod panel;
mod picture;
mod risk;
mod sheet;
mod together;
mod try_out;

use crate::db::people::Role;
use crate::db::plans::{self, Age, Freshness, Standing};
use crate::db::{ShopTx, plan_changes};
use crate::web::shell::assets;
use crate::web::ui::{Answer, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, show};
use actix_web::{HttpResponse, web};
use asked::Asked;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use maud::{Markup, html};
use panel::Panel;
use serde::Serialize;
use sheet::{Stretch, keeping};

/// `/week` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week", web::get().to(show_week))
        .route("/week/freshness", web::get().to(freshness));
    changes::routes(cfg);
    try_out::routes(cfg);
    risk::routes(cfg);
    together::routes(cfg);
}

async fn stand(tx: &mut ShopTx) -> Result<Standing, WebError> {
    Ok(plans::standing(tx, Utc::now()).await?)
}

/// Days by the shop's clock.
fn today(zone: Tz) -> chrono::NaiveDate {
    Utc::now().with_timezone(&zone).date_naive()
}

async fn show_week(who: SignedIn, asked: web::Query<Asked>) -> Answer {
    let mut tx = who.begin().await?;
    let standing = stand(&mut tx).await?;
    let undo = plan_changes::newest(&mut tx).await?;
    let mut errors = FormErrors::default();
    let stretch = asked.stretch(&mut errors, today(who.shop.time_zone));
    let stretch = at_chosen(&standing, stretch, &asked);
    let page = page(&who, &standing, stretch, &asked, &errors, undo.as_ref());
    Ok(if errors.is_empty() {
        page
    } else {
        page.invalid()
    }
    .into())
}

/// When no day was asked for, the days begin where the operation looked at is, if it is further on.
fn at_chosen(standing: &Standing, stretch: Stretch, asked: &Asked) -> Stretch {
    let floor = &standing.floor;
    let slot = Asked::key(&asked.operation).and_then(|id| standing.timetable.slot(id));
    match slot {
        Some(slot) if asked.from.is_empty() && slot.starts >= stretch.span(floor).1 => Stretch {
            from: slot.starts.with_timezone(&floor.zone).date_naive(),
            ..stretch
        },
        _ => stretch,
    }
}

/// The whole screen.
fn page(
    who: &SignedIn,
    standing: &Standing,
    stretch: Stretch,
    asked: &Asked,
    errors: &FormErrors,
    newest: Option<&plan_changes::PlanChange>,
) -> Page {
    let floor = &standing.floor;
    let panel = Panel {
        standing,
        stretch,
        asked,
        errors,
        may: who.may(Role::Office),
    };
    let chosen = Asked::key(&asked.operation);
    let picture = sheet::sheet(floor, &standing.timetable, stretch, chosen, None);
    let body = html! {
        script type="module" src=(assets::url("week.js")) {}
        div.bar { h1 { (heading(stretch)) } (stretches("/week", stretch)) }
        (errors.summary())
        div.week-top { (freshness_line(&standing.age, who.shop.time_zone)) (go_to(stretch, &asked.from, errors)) }
        (panel.draw())
        div.week-body #week-body {
            (last_taken(who, newest))
            (lists::issues(floor, &standing.model.issues))
            (summary(standing))
            (figure(picture.as_ref()))
            (lists::days(floor, &standing.timetable, stretch))
            (lists::load(floor, &standing.timetable, stretch))
        }
    };
    Page::new(who, heading(stretch))
        .nav(Section::Week)
        .body(body)
}

fn heading(stretch: Stretch) -> String {
    let day = stretch.from.format("%a %-d %b %Y");
    match stretch.days {
        1 => format!("{day}"),
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

fn go_to(stretch: Stretch, typed: &str, errors: &FormErrors) -> Markup {
    let value = if errors.get("from").is_some() {
        typed.to_owned()
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

/// The drawing with its legend, or the word that nobody works.
fn figure(picture: Option<&picture::Picture>) -> Markup {
    html! {
        @match picture {
            Some(picture) => {
                figure.week-figure {
                    div.week-sheet tabindex="0" role="region" aria-label="The plan, drawn" { (picture::draw("week", picture)) }
                    figcaption { (legend()) }
                }
            }
            None => p.notice { "Nobody works in these days." },
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
            (sample(html! { g.block { path.body d="M2 2H32V16H2z" {} rect x="2" y="2" width="12" height="14" fill="url(#week-setup)" {} path.edge d="M2 2H32V16H2z" {} } }, "setup hatched (grey on paper), run plain"))
            (sample(html! { g.block.started { path.body d="M7 2H32V16H7L2 11V7z" {} path.edge d="M7 2H32V16H7L2 11V7z" {} } }, "begun"))
            (sample(html! { g.block { path.body d="M2 4H6l3 4l3 -4H32V17H2z" {} path.edge d="M2 4H6l3 4l3 -4H32V17H2z" {} circle.pin cx="9" cy="4" r="2.6" {} line.pin x1="9" x2="9" y1="6" y2="11" {} } }, "pinned"))
            (sample(html! { g.block.held { path.body d="M2 2H32V16H2z" {} path.edge d="M2 2H32V16H2z" {} } }, "held for a quote"))
            (sample(html! { g.block { path.body d="M2 2H32V16H2z" {} line.overdue x1="3" x2="31" y1="14.5" y2="14.5" {} path.edge d="M2 2H32V16H2z" {} } }, "its job is late"))
            (sample(html! { g.flag { line.pole x1="10" x2="10" y1="1" y2="17" {} path.cloth d="M10 2h12v8h-12z" {} } }, "promise, holds"))
            (sample(html! { g.flag.risk { line.pole x1="10" x2="10" y1="1" y2="17" {} path.cloth d="M10 2h12v8h-12z" {} path d="M10 2h12v8h-12z" fill="url(#week-risk)" {} } }, "at risk"))
            (sample(html! { g.flag.late { line.pole x1="10" x2="10" y1="1" y2="17" {} path.cloth d="M10 2h14l-4 4l4 4h-14z" {} } }, "late"))
            (sample(html! { rect x="1" y="1" width="32" height="16" fill="url(#week-closed)" {} }, "closed"))
        }
    }
}

/// How the promises stand, and where to go from there.
fn summary(standing: &Standing) -> Markup {
    let floor = &standing.floor;
    let count = |wanted| {
        floor
            .jobs
            .iter()
            .filter(|job| keeping(floor, &standing.timetable, job) == Some(wanted))
            .count() as i64
    };
    let (late, risk) = (
        count(picture::Keeping::Late),
        count(picture::Keeping::AtRisk),
    );
    html! {
        ul.week-summary {
            li {
                a href="/week/risk" data-key="r" data-key-label="Late or at risk" {
                    @if late + risk == 0 { "Every promise holds" }
                    @else { (show::count(late, "promise late", "promises late")) ", " (risk) " at risk" }
                }
            }
            li { a href="/week/together" { "Setups together" } }
            li { a href="/week/changes" { "Changes by hand" } }
        }
    }
}

/// The change taken last, with the way to undo it.
fn last_taken(who: &SignedIn, newest: Option<&plan_changes::PlanChange>) -> Markup {
    html! {
        @if let Some(change) = newest {
            p.week-taken {
                "Taken last: " (change.words) ", " (change.by.as_deref().unwrap_or("the program")) ", "
                (show::moment(change.taken_at, who.shop.time_zone)) ". "
                @if who.may(Role::Office) { a href={ "/week/undo/" (change.id) } { "Undo" } }
            }
        }
    }
}

/// What a line on the page and a machine are told of the plan's age.
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
            || "no plan is kept yet".to_owned(),
            |at| format!("the plan was made on {}", show::moment(at, zone)),
        );
        let (words, share) = match age.freshness {
            Freshness::Fresh if age.improved => (format!("Up to date: {made}."), None),
            Freshness::Fresh => (
                format!("Up to date: {made}. It is the first usable one."),
                None,
            ),
            Freshness::Stale { since } => (
                format!(
                    "Something has changed since {}; what is shown is the old order carried over to it, and {made}.",
                    clock(since)
                ),
                None,
            ),
            Freshness::Planning { progress, usable } => (
                format!(
                    "{}: {:.0} of 100 done.",
                    if usable {
                        "The plan shown is up to date, and a better one is looked for"
                    } else {
                        "A new plan is being made"
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
            plan: format!(
                "{}-{}",
                age.floor_version,
                age.made_at.map_or(0, |at| at.timestamp_micros())
            ),
        }
    }
}

/// A line that says how fresh the plan is; `week.js` keeps it so.
fn freshness_line(age: &Age, zone: Tz) -> Markup {
    let news = News::of(age, zone);
    html! {
        div.week-fresh #week-freshness data-freshness="/week/freshness" data-plan=(news.plan) data-swap="week-body"
            data-busy=(if news.busy { "yes" } else { "no" }) {
            p.says role="status" { (news.words) }
            progress aria-label="The new plan" max="1" value=[news.share] hidden[news.share.is_none()] {}
            p.newer hidden { a href="" { "There is a newer plan: show it" } }
            noscript { p { a href="" { "Load the page again" } " to see whether there is a newer plan." } }
        }
    }
}

async fn freshness(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let age = plans::age(&mut tx, Utc::now()).await?;
    let news = News::of(&age, who.shop.time_zone);
    Ok(Reply::Other(HttpResponse::Ok().json(news)))
}
