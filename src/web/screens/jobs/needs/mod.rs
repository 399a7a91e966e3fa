//! What a job needs before it, or one of its operations, can start: shown on its page, entered and changed here.

mod form;

pub(in crate::web) use self::form::{Lists, NeedForm};
use crate::app::AppError;
use crate::app::make_part;
use crate::app::meet_need::{self, Seen};
use crate::db::jobs::{Job, JobState};
use crate::db::needs::{self, Arrival, Availability, Cover, Need, NeedKind, Source};
use crate::db::people::Role;
use crate::db::{DbError, jobs};
use crate::web::screens::castings::version;
use crate::web::ui::show::{count, day};
use crate::web::ui::stale::stale_notice;
use crate::web::ui::{
    Answer, CheckedForm, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    once_field, words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/jobs/{id}/needs/new")
            .route(web::get().to(blank))
            .route(web::post().to(add)),
    )
    .service(
        web::resource("/jobs/{id}/needs/{need}")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    )
    .route("/jobs/{id}/needs/{need}/arrived", web::post().to(arrived))
    .route("/jobs/{id}/needs/{need}/make", web::post().to(make))
    .route("/jobs/{id}/needs/{need}/take", web::post().to(take))
    .route("/jobs/{id}/needs/{need}/put-back", web::post().to(put_back))
    .route("/jobs/{id}/needs/{need}/remove", web::post().to(remove));
}

fn job_path(job_id: Uuid) -> String {
    format!("/jobs/{job_id}#needs")
}

fn path(job_id: Uuid, need_id: Uuid) -> String {
    format!("/jobs/{job_id}/needs/{need_id}")
}

fn kind_words(kind: NeedKind) -> &'static str {
    match kind {
        NeedKind::Donor => "casting",
        NeedKind::Part => "part",
        NeedKind::Material => "material",
        NeedKind::Tool => "tooling",
    }
}

/// `2 each`, `0.5 kg`.
pub(in crate::web) fn amount(quantity: Decimal, unit: &str) -> String {
    format!("{} {unit}", quantity.normalize())
}

/// How a need stands, in a word that needs no colour.
fn availability_words(standing: Availability, today: NaiveDate) -> String {
    match standing {
        Availability::Here => "here".to_owned(),
        Availability::Expected(on) => format!("expected {}", day(on, today)),
        Availability::Overdue(on) => format!("overdue since {}", day(on, today)),
        Availability::Unknown => "No date".to_owned(),
    }
}

/// Why it stands so.
fn why(need: &Need, on: NaiveDate) -> Markup {
    html! {
        @match &need.source {
            Source::Itself { arrival, .. } => @match arrival {
                Arrival::Here => "received",
                Arrival::Ordered => "on order",
                Arrival::Wanted => "not ordered",
            },
            Source::Casting(casting) => {
                a href={ "/castings/shelf/" (casting.id) } { "casting " (casting.number) }
                @if casting.ours { ", set aside for this job" } @else { ", not set aside for this job" }
            }
            Source::Stock { cover, .. } => @match cover {
                Cover::Taken => "taken from stock",
                Cover::OnHand => "in stock",
                Cover::OnOrder(_) => "on order or being made for stock",
                Cover::Made => { a href="#made" { "made in this job" } ", before the operation that needs it" },
                Cover::Short => "out of stock, and no order with a date covers it",
            },
            Source::Tool { loan, .. } => @match loan {
                None => "in the shop",
                Some(loan) if loan.ours => {
                    "out with this job"
                    @if let Some(back) = loan.back_on.filter(|back| *back < on) { "; " strong { "overdue" } ", due back " (day(back, on)) }
                }
                Some(loan) => {
                    "out with " a href={ "/jobs/" (loan.job_id) } { "job " (loan.job_number) }
                    @match loan.back_on { Some(back) => { ", due back " (day(back, on)) } None => ", which is closed" }
                }
            },
        }
    }
}

/// What holds the start, in a sentence for the head of a page; nothing when nothing does.
fn holes(needs: &[Need], on: NaiveDate) -> Markup {
    let holes: Vec<&Need> = needs
        .iter()
        .filter(|need| need.ahead && need.availability(on).is_hole())
        .collect();
    html! {
        @if !holes.is_empty() {
            p.notice.warn {
                strong { (count(i64::try_from(holes.len()).unwrap_or(i64::MAX), "item has no date", "items have no date")) ". " }
                "The plan cannot use "
                @for (at, need) in holes.iter().enumerate() {
                    @if at > 0 { @if at + 1 == holes.len() { " or " } @else { ", " } }
                    "“" (need.details.what) "”"
                    @if let Some(number) = need.operation_number { " (for operation " (number) ")" }
                }
                " until a date is entered."
            }
        }
    }
}

/// The needs of a job on its page.
pub(super) fn section(who: &SignedIn, job: &Job, needs: &[Need]) -> Markup {
    let on = who.today();
    let open = job.state == JobState::Open;
    let office = who.may(Role::Office) && open;
    html! {
        section.card #needs aria-labelledby="needs-title" {
            div.bar {
                h2 #needs-title { "Materials and parts" }
                @if office { a.button.quiet href={ "/jobs/" (job.id) "/needs/new" } data-key="n" data-key-label="Add item" { "Add item" } }
            }
            @if open { (holes(needs, on)) }
            @if needs.is_empty() {
                p { "Nothing listed: this job waits for no casting, part, material or tooling." }
            } @else {
                table.cells.small.needs {
                    thead { tr {
                        th scope="col" { "What" } th scope="col" { "Kind" } th.number scope="col" { "Quantity" }
                        th scope="col" { "For" } th scope="col" { "Status" }
                        @if open { th scope="col" { span.visually-hidden { "Action" } } }
                    } }
                    tbody { @for need in needs {
                        @let standing = need.availability(on);
                        tr {
                            th scope="row" {
                                @if office { a href=(path(job.id, need.id)) { (need.details.what) } } @else { (need.details.what) }
                            }
                            td data-label="Kind" { (kind_words(need.details.kind)) }
                            td.number data-label="Quantity" { (amount(need.details.quantity, &need.details.unit)) }
                            td data-label="For" { @match need.operation_number { Some(number) => { "operation " (number) } None => "the start" } }
                            td data-label="Status" {
                                @if is_made(need) { span.tag { "being made" } }
                                @else { span.tag.hole[standing.is_hole() && need.ahead] { (availability_words(standing, on)) } }
                                " " span.muted { (why(need, on)) }
                            }
                            @if open { td.do { (to_do(who, job, need)) @if office && may_be_made(need) { (make_here(job, need, who)) } } }
                        }
                    } }
                }
            }
        }
    }
}

/// Whether its own job makes it.
fn is_made(need: &Need) -> bool {
    let cover =
        |source: &Source| matches!(source, Source::Stock { cover, .. } if *cover == Cover::Made);
    cover(&need.source)
}

/// Whether it can be made in its job: stock does not cover it, it is made here, and what needs it has not begun.
fn may_be_made(need: &Need) -> bool {
    let short = matches!(&need.source, Source::Stock { cover, .. } if *cover == Cover::Short);
    short && need.made_here && need.ahead
}

fn make_here(job: &Job, need: &Need, who: &SignedIn) -> Markup {
    html! {
        form method="post" action={ (path(job.id, need.id)) "/make" } {
            (csrf_field(who))
            input type="hidden" name="version" value=(need.version);
            button.quiet type="submit" { "Make it here" span.visually-hidden { ": " (need.details.what) } }
        }
    }
}

/// Its making goes into the route.
async fn make(who: SignedIn, ids: web::Path<(Uuid, Uuid)>, form: CheckedForm<Versioned>) -> Answer {
    who.require(Role::Office)?;
    let seen = seen(&ids, &form)?;
    make_part::make_here(&who.actor(), seen).await?;
    Ok(Reply::see_other(job_path(seen.job_id))
        .flash("Its making is in the route, before the operation that needs it."))
}

/// What can be done about a need with one press. Whoever opens the parcel or fetches the goods may say so.
fn to_do(who: &SignedIn, job: &Job, need: &Need) -> Markup {
    let action = match &need.source {
        Source::Itself { arrival, .. } => {
            (*arrival != Arrival::Here).then_some(("arrived", "Received"))
        }
        Source::Casting(_) => None,
        Source::Stock { cover, .. } => match cover {
            Cover::Taken => Some(("put-back", "Put back")),
            Cover::Made => None,
            _ => Some(("take", "Take from stock")),
        },
        Source::Tool { loan, .. } => match loan {
            None => Some(("take", "Take out")),
            Some(loan) => loan.ours.then_some(("put-back", "Returned")),
        },
    };
    html! {
        @if let Some((what, words)) = action {
            form method="post" action={ (path(job.id, need.id)) "/" (what) } {
                (csrf_field(who))
                input type="hidden" name="version" value=(need.version);
                button.quiet type="submit" { (words) span.visually-hidden { ": " (need.details.what) } }
            }
        }
    }
}

/// The form, for a new one or one that is there.
fn page(
    who: &SignedIn,
    job: &Job,
    id: Option<Uuid>,
    form: &NeedForm,
    lists: &Lists,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let (title, here, submit) = match id {
        Some(id) => (
            format!("Item for job {}", job.number),
            path(job.id, id),
            "Save",
        ),
        None => (
            format!("Add item for job {}", job.number),
            format!("/jobs/{}/needs/new", job.id),
            "Add item",
        ),
    };
    let body = html! {
        p.back { a href=(job_path(job.id)) { "Job " (job.number) ": " (job.title) } }
        h1 { (title) }
        (notice)
        (errors.summary())
        form.grid method="post" action=(here) novalidate {
            (csrf_field(who))
            @if id.is_none() { (once_field()) }
            input type="hidden" name="version" value=(form.version);
            (form.fields(lists, errors))
            div.actions {
                button type="submit" { (submit) }
                a.button.quiet href=(job_path(job.id)) { "Cancel" }
            }
        }
        @if id.is_some() {
            form method="post" action={ (here) "/remove" } {
                (csrf_field(who))
                input type="hidden" name="version" value=(form.version);
                button.danger type="submit" { "Remove item" }
            }
        }
    };
    Page::new(who, title).nav(Section::Jobs).body(body)
}

async fn blank(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, *id).await?;
    let lists = Lists::read(&mut tx, job.id).await?;
    let form = NeedForm::blank();
    let errors = FormErrors::default();
    Ok(page(&who, &job, None, &form, &lists, &errors, &html! {}).into())
}

async fn add(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<NeedForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, *id).await?;
    let lists = Lists::read(&mut tx, job.id).await?;
    drop(tx);
    if let Some(details) = form.read(&lists, &mut errors) {
        match meet_need::add(&who.actor(), job.id, &details, form.keyed()).await {
            Ok(_) => return Ok(Reply::see_other(job_path(job.id)).flash("Item added.")),
            Err(AppError::Refused(why)) => errors.add("what", words::refusal(&why, who.today())),
            Err(error) => return Err(error.into()),
        }
    }
    Ok(page(&who, &job, None, &form, &lists, &errors, &html! {})
        .invalid()
        .into())
}

async fn edit(who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    who.require(Role::Office)?;
    let (job_id, id) = ids.into_inner();
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, job_id).await?;
    let need = needs::get(&mut tx, job_id, id).await?;
    let lists = Lists::read(&mut tx, job_id).await?;
    let form = NeedForm::of(&need);
    let errors = FormErrors::default();
    Ok(page(&who, &job, Some(id), &form, &lists, &errors, &html! {}).into())
}

async fn save(who: SignedIn, ids: web::Path<(Uuid, Uuid)>, form: CheckedForm<NeedForm>) -> Answer {
    who.require(Role::Office)?;
    let (job_id, id) = ids.into_inner();
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, job_id).await?;
    let lists = Lists::read(&mut tx, job_id).await?;
    drop(tx);
    if let Some(details) = form.read(&lists, &mut errors) {
        let seen = Seen {
            job_id,
            id,
            version: version(&form.version)?,
        };
        match meet_need::change(&who.actor(), seen, &details).await {
            Ok(()) => return Ok(Reply::see_other(job_path(job_id)).flash("Item saved.")),
            Err(AppError::Db(DbError::Stale(what))) => {
                let mut tx = who.begin().await?;
                let now = NeedForm::of(&needs::get(&mut tx, job_id, id).await?);
                let changed = now.differs_from(&form, &lists);
                let mine = NeedForm {
                    version: now.version,
                    ..form.into_inner()
                };
                let notice = stale_notice(what, &changed);
                let page = page(&who, &job, Some(id), &mine, &lists, &errors, &notice);
                return Ok(page.status(StatusCode::CONFLICT).into());
            }
            Err(AppError::Refused(why)) => errors.add("what", words::refusal(&why, who.today())),
            Err(error) => return Err(error.into()),
        }
    }
    Ok(
        page(&who, &job, Some(id), &form, &lists, &errors, &html! {})
            .invalid()
            .into(),
    )
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Versioned {
    version: String,
}

async fn arrived(
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<Versioned>,
) -> Answer {
    let seen = seen(&ids, &form)?;
    meet_need::arrived(&who.actor(), seen).await?;
    Ok(Reply::see_other(job_path(seen.job_id)).flash("Received."))
}

fn seen(ids: &(Uuid, Uuid), form: &Versioned) -> Result<Seen, WebError> {
    Ok(Seen {
        job_id: ids.0,
        id: ids.1,
        version: version(&form.version)?,
    })
}

/// From stock or the tool store to the job.
async fn take(who: SignedIn, ids: web::Path<(Uuid, Uuid)>, form: CheckedForm<Versioned>) -> Answer {
    let seen = seen(&ids, &form)?;
    meet_need::take(&who.actor(), seen).await?;
    Ok(Reply::see_other(job_path(seen.job_id)).flash("Taken for the job."))
}

/// From the job back to where it is kept.
async fn put_back(
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<Versioned>,
) -> Answer {
    let seen = seen(&ids, &form)?;
    meet_need::put_back(&who.actor(), seen).await?;
    Ok(Reply::see_other(job_path(seen.job_id)).flash("Put back."))
}

async fn remove(
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<Versioned>,
) -> Answer {
    who.require(Role::Office)?;
    let seen = seen(&ids, &form)?;
    meet_need::remove(&who.actor(), seen).await?;
    Ok(Reply::see_other(job_path(seen.job_id)).flash("Item removed."))
}
