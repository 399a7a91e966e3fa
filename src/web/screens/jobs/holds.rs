//! What stops a job, and deciding it: measured again, rework, a concession, or scrap.

use crate::app::decide_hold::{self, Deciding};
use crate::app::{AppError, settle};
use crate::db::castings_on_shelf::{self, Casting, Outcome, Ownership, ShelfState};
use crate::db::checks::{self, Hold};
use crate::db::holds::Call;
use crate::db::jobs::{self, JobOperation, OperationState};
use crate::db::machines;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::estimating::Machine;
use crate::quality::{Decision, DecisionKind, Rework};
use crate::units::{Code, Minutes};
use crate::web::screens::castings::version;
use crate::web::ui::floor_words;
use crate::web::ui::forms::Choice;
use crate::web::ui::show::moment;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/jobs/{id}/holds/{hold}")
            .route(web::get().to(show))
            .route(web::post().to(decide)),
    )
    .route("/jobs/{id}/calls/{call}", web::post().to(call_made));
}

/// The failed checks of a job, and whom to call.
pub(super) fn section(who: &SignedIn, job_id: Uuid, holds: &[Hold], calls: &[Call]) -> Markup {
    let zone = who.shop.time_zone;
    html! {
        @if !holds.is_empty() || !calls.is_empty() {
            section.card #found-wrong {
                h2 { "Failed checks" }
                @for call in calls { (call_form(who, job_id, call)) }
                @for hold in holds {
                    @match hold.decision {
                        None => div.notice.bad {
                            p { span.sign aria-hidden="true" { "!" } " On hold since " (moment(hold.opened_at, zone, who.today())) ", " (hold.opened_by) ": " (hold.why) "." }
                            @if who.may(Role::Office) { p { a href={ "/jobs/" (job_id) "/holds/" (hold.id) } { "Decide" } } }
                        },
                        Some(decision) => p {
                            (hold.why) ". " strong { "Decided: " (floor_words::decision(decision)) }
                            @if let Some(by) = &hold.said_by { ", approved by " (by) }
                            @if let (Some(at), Some(by)) = (hold.decided_at, &hold.decided_by) { " (" (by) ", " (moment(at, zone, who.today())) ")" }
                            @if let Some(note) = &hold.note { ": " (note) }
                            @if let Some(enquiry) = hold.enquiry_id { " · " a href={ "/enquiries/" (enquiry) } { "new quote" } }
                        },
                    }
                }
            }
        }
    }
}

/// A customer to be called, and a line for what was said.
pub(super) fn call_form(who: &SignedIn, job_id: Uuid, call: &Call) -> Markup {
    let id = format!("said-{}", call.id);
    html! {
        div.notice.warn {
            p {
                span.sign aria-hidden="true" { "!" } " "
                strong { @match &call.caller { Some(caller) => { "Tell " (caller) }, None => "Tell the customer" } }
                @match call.contact.as_deref().filter(|c| !c.is_empty()) { Some(contact) => { " (" (contact) ")" }, None => " (no phone or email on record)" }
                ": " (floor_words::call(call.reason)) "."
            }
            @if who.may(Role::Office) {
                form.grid method="post" action={ "/jobs/" (job_id) "/calls/" (call.id) } {
                    (csrf_field(who))
                    (Field::text("said", "What was said", "").id(&id))
                    div.actions { button.quiet type="submit" { "Done" } }
                }
            }
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct CallForm {
    said: String,
}

async fn call_made(
    who: SignedIn,
    path: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<CallForm>,
) -> Answer {
    who.require(Role::Office)?;
    let (job_id, call) = path.into_inner();
    let mut errors = FormErrors::default();
    let Some(said) = errors.required_text("said", &form.said, 400) else {
        return Err(WebError::Unprocessable(
            "Enter what was said, or how you reached them.".to_owned(),
        ));
    };
    settle::call_made(&who.actor(), call, &said, Utc::now()).await?;
    Ok(Reply::see_other(format!("/jobs/{job_id}")).flash("Noted"))
}

/// A decision as typed, with what each needs: work for `rework`, who accepts it for a `concession`, for `scrap` another
/// casting or `requote`, and the numbers of operations to be done again.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct DecideForm {
    #[schema(ignore)]
    version: String,
    decision: String,
    note: String,
    title: String,
    machine_kind: String,
    setup: String,
    run: String,
    said_by: String,
    donor: String,
    again: Vec<String>,
    requote: String,
}

impl DecideForm {
    pub(in crate::web) fn read(&self, errors: &mut FormErrors) -> Option<(Decision, String)> {
        let kind = errors.choice("decision", &self.decision, DecisionKind::from_code);
        let note = errors.required_text("note", &self.note, 400);
        let decision = match kind? {
            DecisionKind::MeasuredAgain => Decision::MeasuredAgain,
            DecisionKind::Concession => {
                Decision::Concession(errors.required_text("said_by", &self.said_by, 120)?)
            }
            DecisionKind::Rework => {
                let title = errors.required_text("title", &self.title, 120);
                let machine_kind = errors.required_text("machine_kind", &self.machine_kind, 60);
                let setup = errors.minutes("setup", &self.setup);
                let run = errors.minutes("run", &self.run);
                let run = run.filter(|run| {
                    let some = *run > Minutes::ZERO;
                    if !some {
                        errors.add("run", "Enter a run time of more than 0 minutes");
                    }
                    some
                });
                Decision::Rework(Rework {
                    title: title?,
                    machine_kind: machine_kind?,
                    setup: setup?,
                    run: run?,
                })
            }
            DecisionKind::Scrap => {
                let donor =
                    errors.optional(&self.donor, |errors| errors.row("donor", &self.donor))?;
                let requote = errors.yes("requote", &self.requote);
                let again = self.again.iter().map(|n| n.trim().parse().ok());
                let again: Option<Vec<u32>> = again.collect();
                if again.is_none() {
                    errors.add("again", "Choose operations of this job by their numbers");
                }
                let (requote, again) = (requote?, again?);
                if requote && donor.is_some() {
                    errors.add("donor", "Choose another casting or a new quote, not both");
                    return None;
                }
                Decision::Scrap {
                    donor,
                    again,
                    requote,
                }
            }
        };
        Some((decision, note?))
    }
}

/// What the page shows beside the form.
struct Beside {
    hold: Hold,
    done: Vec<JobOperation>,
    machines: Vec<Machine>,
    own: Vec<Casting>,
    others: Vec<Casting>,
    passes: bool,
}

impl Beside {
    async fn read(tx: &mut ShopTx, job_id: Uuid, hold_id: Uuid) -> Result<Self, WebError> {
        let hold = checks::holds(tx, Some(job_id))
            .await?
            .into_iter()
            .find(|h| h.id == hold_id)
            .ok_or(WebError::NotFound("this hold"))?;
        let mut done = jobs::operations(tx, job_id).await?;
        done.retain(|o| o.state == OperationState::Done && o.planned.outside.is_none());
        let mut own = castings_on_shelf::list(tx, &[ShelfState::Reserved], None).await?;
        own.retain(|c| c.job_id == Some(job_id));
        // Another of the same variant, the shop's own, and not known to be bad.
        let mut others = castings_on_shelf::list(tx, &[ShelfState::OnShelf], None).await?;
        others.retain(|c| {
            c.details.ownership == Ownership::Shop
                && c.inspection
                    .is_none_or(|(outcome, _)| outcome == Outcome::Good)
                && own
                    .iter()
                    .any(|o| o.details.variant_id == c.details.variant_id)
        });
        Ok(Self {
            passes: checks::passes_now(tx, hold.id).await?,
            hold,
            done,
            machines: machines::machines(tx).await?,
            own,
            others,
        })
    }
}

async fn show(who: SignedIn, path: web::Path<(Uuid, Uuid)>) -> Answer {
    who.require(Role::Office)?;
    let (job_id, hold_id) = path.into_inner();
    let mut tx = who.begin().await?;
    let beside = Beside::read(&mut tx, job_id, hold_id).await?;
    let (_, held) = jobs::operation(&mut tx, beside.hold.operation_id).await?;
    let form = DecideForm {
        version: beside.hold.version.to_string(),
        machine_kind: held.planned.machine_kind,
        setup: "0".to_owned(),
        again: beside
            .done
            .iter()
            .map(|o| o.planned.number.to_string())
            .collect(),
        ..DecideForm::default()
    };
    Ok(page(&who, job_id, &beside, &form, &FormErrors::default()).into())
}

async fn decide(
    who: SignedIn,
    path: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<DecideForm>,
) -> Answer {
    who.require(Role::Office)?;
    let (job_id, hold_id) = path.into_inner();
    let mut errors = FormErrors::default();
    let read = form.read(&mut errors);
    let Some((decision, note)) = read else {
        let mut tx = who.begin().await?;
        let beside = Beside::read(&mut tx, job_id, hold_id).await?;
        return Ok(page(&who, job_id, &beside, &form, &errors).invalid().into());
    };
    let seen = version(&form.version)?;
    let deciding = Deciding {
        hold_id,
        version: seen,
        decision: &decision,
        note: &note,
    };
    let (status, why) = match decide_hold::decide(&who.actor(), deciding, Utc::now()).await {
        Ok(()) => return Ok(Reply::see_other(format!("/jobs/{job_id}")).flash("Decided")),
        Err(AppError::Refused(why)) => (
            StatusCode::UNPROCESSABLE_ENTITY,
            Some(words::refusal(&why, who.today())),
        ),
        Err(AppError::Db(DbError::Stale(_))) => (StatusCode::CONFLICT, None),
        Err(other) => return Err(other.into()),
    };
    let mut tx = who.begin().await?;
    let beside = Beside::read(&mut tx, job_id, hold_id).await?;
    let why = why.unwrap_or_else(|| match &beside.hold.decided_by {
        Some(by) => format!("{by} has already decided this"),
        None => "Someone else changed this hold".to_owned(),
    });
    errors.add("decision", why);
    Ok(page(&who, job_id, &beside, &form, &errors)
        .status(status)
        .into())
}

fn page(
    who: &SignedIn,
    job_id: Uuid,
    beside: &Beside,
    form: &DecideForm,
    errors: &FormErrors,
) -> Page {
    let hold = &beside.hold;
    let mut ways = vec![
        Choice::new("rework", "Rework: more work corrects it"),
        Choice::new("concession", "Concession: accepted as it is"),
        Choice::new("scrap", "Scrap: the casting cannot be used"),
    ];
    if beside.passes {
        ways.insert(
            0,
            Choice::new("measured_again", "Measured again: it passes"),
        );
    }
    let mut kinds: Vec<&str> = beside.machines.iter().map(|m| m.kind.as_str()).collect();
    kinds.dedup();
    let kinds = kinds
        .into_iter()
        .map(|kind| Choice::new(kind, kind))
        .collect();
    let donors = beside
        .others
        .iter()
        .map(|c| {
            Choice::new(
                c.id,
                format!(
                    "Casting {}, {}, {}",
                    c.number, c.details.cost, c.details.condition
                ),
            )
        })
        .collect();
    let title = format!("Job {} on hold", hold.job_number);
    let body = html! {
        p.back { a href={ "/jobs/" (job_id) } { "Job " (hold.job_number) } }
        h1 { (title) }
        p.notice.bad { span.sign aria-hidden="true" { "!" } " " (hold.why) ". " (hold.opened_by) ", " (moment(hold.opened_at, who.shop.time_zone, who.today())) "." }
        (errors.summary())
        form.grid.decide method="post" action={ "/jobs/" (job_id) "/holds/" (hold.id) } novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::radios("decision", "Decision", &form.decision, ways).wide().errors(errors))
            (Field::text("note", "Reason", &form.note).wide().errors(errors))
            fieldset.wide.for-rework {
                legend { "For rework" }
                (Field::text("title", "Work", &form.title).errors(errors))
                (Field::select("machine_kind", "Machine", &form.machine_kind, kinds).errors(errors))
                (Field::minutes("setup", "Setup", &form.setup).errors(errors))
                (Field::minutes("run", "Run", &form.run).errors(errors))
                p.small.muted { "It is added after the operation that failed, before the next one, and the check is made again." }
            }
            fieldset.wide.for-concession {
                legend { "For a concession" }
                (Field::text("said_by", "Approved by", &form.said_by).hint("A name: the customer, or a qualified person").errors(errors))
            }
            fieldset.wide.for-scrap {
                legend { "For scrap" }
                p {
                    @if beside.own.is_empty() { "No casting is set aside for this job. " }
                    @for casting in &beside.own { "Casting " (casting.number) " is written off, and the job is charged " (casting.details.cost) ". " }
                    "The customer is put on the list of calls."
                }
                (Field::select("donor", "Another casting", &form.donor, donors).optional().errors(errors))
                (Field::checkbox("requote", "New quote for the customer; the job stays on hold", form.requote == "yes"))
                @if !beside.done.is_empty() {
                    p { "Do again on the other casting:" }
                    @for operation in &beside.done {
                        @let number = operation.planned.number.to_string();
                        @let id = format!("again-{number}");
                        p { label.pick for=(id) {
                            input id=(id) type="checkbox" name="again" value=(number) checked[form.again.contains(&number)];
                            " " (number) " " (operation.planned.title)
                        } }
                    }
                }
            }
            div.actions { button type="submit" { "Decide" } a.button.quiet href={ "/jobs/" (job_id) } { "Back" } }
        }
    };
    Page::new(who, title).nav(Section::Jobs).body(body)
}
