//! Everything on the floor that waits for the office: clocks left running, holds, calls to customers, conflicting
//! bookings, and what a device sent that could not be booked.

use super::holds::call_form;
use crate::app::booked_hours::Question;
use crate::app::settle;
use crate::db::bookings::SetAside;
use crate::db::people::Role;
use crate::web::ui::floor_words::{conflict as conflict_words, phase as phase_words};
use crate::web::ui::show::moment;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/jobs/settle", web::get().to(show))
        .route("/jobs/settle/{id}", web::post().to(settle_aside));
}

async fn show(who: SignedIn) -> Answer {
    let page = page(&who, &Refused::default()).await?;
    Ok(page.into())
}

/// A note that could not be taken, and why.
#[derive(Default)]
struct Refused {
    id: Option<Uuid>,
    note: String,
    errors: FormErrors,
}

async fn page(who: &SignedIn, refused: &Refused) -> Result<Page, WebError> {
    let open = settle::open(&who.actor(), Utc::now()).await?;
    let zone = who.shop.time_zone;
    let job = |id: Uuid, number: i64| html! { a href={ "/jobs/" (id) } { "Job " (number) } };
    let body = html! {
        h1 { "Needs attention" }
        (refused.errors.summary())
        @if open.count() == 0 { section.card { p { "Nothing needs attention." } } }
        @if !open.holds.is_empty() {
            section.card {
                h2 { "Jobs on hold" }
                @for hold in &open.holds {
                    p {
                        (job(hold.job_id, hold.job_number)) " since " (moment(hold.opened_at, zone)) ", " (hold.opened_by) ": " (hold.why) ". "
                        @if who.may(Role::Office) { a href={ "/jobs/" (hold.job_id) "/holds/" (hold.id) } { "Decide" span.visually-hidden { " job " (hold.job_number) } } }
                    }
                }
            }
        }
        @if !open.calls.is_empty() {
            section.card {
                h2 { "Calls to customers" }
                @for call in &open.calls {
                    h3 { (job(call.job_id, call.job_number)) " " (call.job_title) }
                    (call_form(who, call.job_id, call))
                }
            }
        }
        @if !open.questions.is_empty() {
            section.card {
                h2 { "Clocks left running after the shift" }
                p { "The bench asks the person. Until they answer, this time is not counted. If they cannot answer, add the booking yourself." }
                @for question in &open.questions { (question_line(who, question)) }
            }
        }
        @if !open.conflicts.is_empty() {
            section.card {
                h2 { "Conflicting bookings" }
                p { "They are booked and count. Check each one and correct what is wrong." }
                @for b in &open.conflicts {
                    p {
                        (job(b.job_id, b.job_number)) ", operation " (b.operation_number) ": " (b.person) ", " (moment(b.entry.at, zone)) ". "
                        (b.conflict.map_or("", conflict_words)) ". "
                        @if who.may(Role::Office) { a href={ "/jobs/" (b.job_id) "/entries/" (b.entry.id) } { "Check" span.visually-hidden { ": " (b.person) ", " (moment(b.entry.at, zone)) } } }
                    }
                }
            }
        }
        @if !open.aside.is_empty() {
            section.card {
                h2 { "Sent by a device, not booked" }
                @for one in &open.aside { (aside(who, one, refused)) }
            }
        }
    };
    Ok(Page::new(who, "Needs attention")
        .nav(Section::Jobs)
        .body(body))
}

fn question_line(who: &SignedIn, question: &Question) -> Markup {
    let b = &question.start;
    let clock = &question.forgotten.clock;
    let zone = who.shop.time_zone;
    html! {
        p {
            a href={ "/jobs/" (b.job_id) "#entries" } { "Job " (b.job_number) } ", operation " (b.operation_number) ": " (b.person) " is " (phase_words(clock.phase))
            " since " (moment(clock.from, zone)) "; the shift ended " (moment(question.forgotten.shift_ended, zone)) "."
        }
    }
}

fn aside(who: &SignedIn, one: &SetAside, refused: &Refused) -> Markup {
    let id = format!("note-{}", one.id);
    let note = match refused.id {
        Some(id) if id == one.id => refused.note.as_str(),
        _ => "",
    };
    html! {
        div.notice.warn {
            p { (one.device) ", " (moment(one.received_at, who.shop.time_zone)) ": " (one.why) "." }
            details { summary { "As sent" } pre.scroll-x { (one.body.to_string()) } }
            @if who.may(Role::Office) {
                form.grid method="post" action={ "/jobs/settle/" (one.id) } {
                    (csrf_field(who))
                    (Field::text("note", "What you did about it", note).id(&id).errors(&refused.errors))
                    div.actions { button.quiet type="submit" { "Mark as done" } }
                }
            }
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct NoteForm {
    note: String,
}

async fn settle_aside(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<NoteForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let Some(note) = errors.required_text(&format!("note-{id}"), &form.note, 400) else {
        let refused = Refused {
            id: Some(*id),
            note: form.into_inner().note,
            errors,
        };
        return Ok(page(&who, &refused).await?.invalid().into());
    };
    settle::settle_set_aside(&who.actor(), *id, &note, Utc::now()).await?;
    Ok(Reply::see_other("/jobs/settle").flash("Marked as done"))
}
