//! What would come of a change to the route of a job: when it is ready, the promises that move, the operations.

use super::route::RouteForm;
use crate::app::edit_route::RoutePreview;
use crate::jobs::Routed;
use crate::planning::floor::PromiseStatus;
use crate::web::screens::week::{promise_moves, status_words};
use crate::web::ui::{Field, FormErrors, Page, Section, SignedIn, csrf_field, show};
use maud::{Markup, html};

/// What would come of a change, with the button that applies it.
pub(super) fn shown(
    who: &SignedIn,
    preview: &RoutePreview,
    form: &RouteForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let job = &preview.job;
    let title = "Preview";
    let body = html! {
        h1 { (title) }
        (notice)
        (errors.summary())
        section.card.week-effect {
            p.lead { (preview.what.effect.sentence) }
            (ready(who, preview))
            form.grid method="post" action={ "/jobs/" (job.id) "/route" } novalidate {
                (csrf_field(who))
                (form.hidden())
                input type="hidden" name="plan_seen" value=(preview.plan.age.seen());
                (Field::text("reason", "Reason", &form.reason).wide().hint("It is kept with the job").errors(errors))
                div.actions {
                    button type="submit" { "Apply" }
                    a.button.quiet href={ "/jobs/" (job.id) "/route" } { "Discard" }
                }
            }
            (promise_moves(&preview.what.floor, &preview.what.effect.promises))
        }
        section.card { h2 { "The route with the change" } (route(preview)) }
    };
    Page::new(who, title).nav(Section::Jobs).body(body)
}

/// When the job is ready, before and after.
fn ready(who: &SignedIn, preview: &RoutePreview) -> Markup {
    let what = &preview.what;
    let zone = who.shop.time_zone;
    let at = |timetable: &crate::planning::floor::Timetable| {
        let dates = timetable.job(preview.job.id);
        dates.map_or_else(
            || "not scheduled".to_owned(),
            |dates| show::moment(dates.ready_at, zone, who.today()),
        )
    };
    let status: Option<PromiseStatus> = what
        .floor
        .job(preview.job.id)
        .and_then(|job| what.after.promise(&what.floor, job));
    html! {
        dl.figures {
            div { dt { "Ready now" } dd { (at(&what.before)) } }
            div { dt { "Ready after" } dd { (at(&what.after)) @if let Some(status) = status { " " span.tag { (status_words(status)) } } } }
            @if let Some(day) = preview.job.promised_on { div { dt { "Promised" } dd { (show::day(day, who.today())) } } }
            div { dt { "Due" } dd { (show::day(preview.job.due_on, who.today())) } }
        }
    }
}

/// The operations as they would be, with what is new among them.
fn route(preview: &RoutePreview) -> Markup {
    let was = |o: &Routed| preview.before.iter().find(|was| was.id == o.id);
    let gone = preview.before.iter();
    let gone = gone.filter(|was| preview.after.iter().all(|o| o.id != was.id));
    let change = |o: &Routed| match was(o) {
        None => Some("new"),
        Some(was) if was == o => None,
        Some(was) if was.planned.number != o.planned.number => Some("moved"),
        Some(_) => Some("changed"),
    };
    html! {
        table.cells.small {
            thead { tr { th scope="col" { "No." } th scope="col" { "Operation" } th scope="col" { "Where" } th.number scope="col" { "Setup" } th.number scope="col" { "Run" } th scope="col" { "Change" } } }
            tbody {
                @for o in &preview.after {
                    tr {
                        th scope="row" { (o.planned.number) }
                        td data-label="Operation" { (o.planned.title) }
                        td data-label="Where" { @match &o.planned.outside { Some((price, days)) => { "sent out, " (show::count(i64::from(*days), "day", "days")) ", " (price) }, None => (o.planned.machine_kind) } }
                        td.number data-label="Setup" { (o.planned.setup.rounded()) }
                        td.number data-label="Run" { (o.planned.run.rounded()) }
                        td data-label="Change" { @match change(o) { Some(words) => strong { (words) }, None => "–" } }
                    }
                }
                @for o in gone {
                    tr {
                        th scope="row" { (o.planned.number) }
                        td data-label="Operation" { s { (o.planned.title) } }
                        td data-label="Where" { "–" }
                        td.number data-label="Setup" { "–" }
                        td.number data-label="Run" { "–" }
                        td data-label="Change" { strong { "skipped" } }
                    }
                }
            }
        }
    }
}
