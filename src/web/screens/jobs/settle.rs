//! Everything on the floor that waits for a word from the office: forgotten clocks, holds, customers to be told, entries
//! at odds with others, and what a device sent that could not be booked.

use super::holds::call_form;
use crate::db::bookings::{self, Booking, Question, SetAside};
use crate::db::checks::{self, Hold};
use crate::db::holds::{self, ToTell};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::web::screens::bench::{conflict_words, phase_words};
use crate::web::ui::show::moment;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
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

/// What waits.
pub(super) struct Open {
    questions: Vec<Question>,
    conflicts: Vec<Booking>,
    aside: Vec<SetAside>,
    holds: Vec<Hold>,
    calls: Vec<ToTell>,
}

impl Open {
    /// Everything that waits now.
    pub(super) async fn read(tx: &mut ShopTx) -> Result<Self, DbError> {
        let mut live = bookings::live(tx).await?;
        let questions = bookings::questions(tx, &live, Utc::now()).await?;
        live.retain(|b| b.conflict.is_some() && !b.settled);
        Ok(Self {
            questions,
            conflicts: live,
            aside: bookings::set_aside_open(tx).await?,
            holds: checks::holds(tx, None).await?,
            calls: holds::to_tell(tx, None).await?,
        })
    }

    /// How many things wait.
    pub(super) fn count(&self) -> usize {
        self.questions.len()
            + self.conflicts.len()
            + self.aside.len()
            + self.holds.len()
            + self.calls.len()
    }
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

async fn page(who: &SignedIn, refused: &Refused) -> Result<Page, DbError> {
    let mut tx = who.begin().await?;
    let open = Open::read(&mut tx).await?;
    let zone = who.shop.time_zone;
    let job = |id: Uuid, number: i64| html! { a href={ "/jobs/" (id) } { "Job " (number) } };
    let body = html! {
        h1 { "To settle" }
        (refused.errors.summary())
        @if open.count() == 0 { section.card { p { "Nothing waits for an answer." } } }
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
                h2 { "Customers to be told" }
                @for call in &open.calls {
                    h3 { (job(call.job_id, call.job_number)) " " (call.job_title) }
                    (call_form(who, call.job_id, call))
                }
            }
        }
        @if !open.questions.is_empty() {
            section.card {
                h2 { "Not stopped at the shift’s end" }
                p { "The bench asks whoever it was. Until they answer, that time counts for nothing. Who cannot ask them enters it by hand." }
                @for question in &open.questions { (question_line(who, question)) }
            }
        }
        @if !open.conflicts.is_empty() {
            section.card {
                h2 { "Entries at odds" }
                p { "They are booked and count. Look at each, and say what is right." }
                @for b in &open.conflicts {
                    p {
                        (job(b.job_id, b.job_number)) ", operation " (b.operation_number) ": " (b.person) ", " (moment(b.entry.at, zone)) ". "
                        (b.conflict.map_or("", conflict_words)) ". "
                        @if who.may(Role::Office) { a href={ "/jobs/" (b.job_id) "/entries/" (b.entry.id) } { "Look at it" span.visually-hidden { ": " (b.person) ", " (moment(b.entry.at, zone)) } } }
                    }
                }
            }
        }
        @if !open.aside.is_empty() {
            section.card {
                h2 { "Sent by a device, and not booked" }
                @for one in &open.aside { (aside(who, one, refused)) }
            }
        }
    };
    Ok(Page::new(who, "To settle").nav(Section::Jobs).body(body))
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
            details { summary { "Word for word" } pre.scroll-x { (one.body.to_string()) } }
            @if who.may(Role::Office) {
                form.grid method="post" action={ "/jobs/settle/" (one.id) } {
                    (csrf_field(who))
                    (Field::text("note", "What was done about it", note).id(&id).errors(&refused.errors))
                    div.actions { button.quiet type="submit" { "Settled" } }
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
    let mut tx = who.begin().await?;
    bookings::settle_set_aside(&mut tx, *id, who.person_id, &note, Utc::now()).await?;
    tx.commit().await?;
    Ok(Reply::see_other("/jobs/settle").flash("Settled"))
}
