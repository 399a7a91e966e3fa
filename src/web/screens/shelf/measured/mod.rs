//! Measured records of a casting: cylinders, main line, deck, crankshaft, cam and lifter bores, each entered in one table
//! and judged as it is typed; at a desk, and at a bench device.

mod desk;
mod figures;
mod outcome;
mod read;
mod table;

pub(in crate::web) use self::outcome::{roughness, roughness_division, roughness_unit};
pub(in crate::web) use self::read::CANNOT_BE;

use self::desk::Desk;
use self::read::Subject;
use super::path;
use crate::app::measure_casting::{self, Recorded};
use crate::castings::measured::{Purpose, RecordKind, Verdict};
use crate::db::castings_on_shelf as shelf;
use crate::db::measured_records::{self as db, MeasuredRecord, NewRecord};
use crate::db::{DbError, ShopTx};
use crate::units::{Code, LengthUnit};
use crate::web::screens::castings::back;
use crate::web::screens::castings::sizes::sizes_path;
use crate::web::shell::body::OpenForm;
use crate::web::shell::device::AtBench;
use crate::web::ui::forms::Choice;
use crate::web::ui::record::Typed;
use crate::web::ui::show::moment;
use crate::web::ui::{Answer, CheckedForm, Field, FormErrors, Page, Reply, SignedIn, WebError};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/castings/shelf/{id}/measure/{kind}")
            .route(web::get().to(blank))
            .route(web::post().to(keep)),
    )
    .route(
        "/castings/shelf/{id}/measure/{kind}/look",
        web::post().to(look),
    )
    .route(
        "/castings/shelf/{id}/measured/{record}",
        web::get().to(show),
    )
    .service(
        web::resource("/bench/castings/{id}/measure/{kind}")
            .route(web::get().to(bench_blank))
            .route(web::post().to(bench_keep)),
    )
    .route(
        "/bench/castings/{id}/measure/{kind}/look",
        web::post().to(bench_look),
    )
    .route(
        "/bench/castings/{id}/measured/{record}",
        web::get().to(bench_show),
    )
    .route("/bench/castings/{id}", web::get().to(bench_records));
}

/// What is measured, as a heading says it.
pub(in crate::web) fn kind_words(kind: RecordKind) -> &'static str {
    match kind {
        RecordKind::Cylinders => "Cylinders",
        RecordKind::MainLine => "Main line",
        RecordKind::Deck => "Deck",
        RecordKind::Crankshaft => "Crankshaft",
        RecordKind::CamAndLifters => "Cam and lifter bores",
        RecordKind::RearFace => "Rear face and gearbox housing",
    }
}

/// When it was measured.
fn purpose_words(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Inspection => "as it came",
        Purpose::Finished => "work finished",
    }
}

/// A verdict, as a list says it.
pub(in crate::web) fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Within => "within limits",
        Verdict::Outside => "outside limits",
        Verdict::Open => "not decided",
    }
}

fn purpose(typed: &Typed) -> Option<Purpose> {
    Purpose::from_code(typed.get("purpose"))
}

/// The table, empty.
async fn blank(
    who: SignedIn,
    at: web::Path<(Uuid, String)>,
    query: web::Query<Vec<(String, String)>>,
) -> Answer {
    empty(&Desk::signed_in(&who), at.into_inner(), query.into_inner()).await
}

/// The same at a bench device.
async fn bench_blank(
    at_bench: AtBench,
    at: web::Path<(Uuid, String)>,
    query: web::Query<Vec<(String, String)>>,
) -> Answer {
    match Desk::at_bench(&at_bench).await? {
        Some(desk) => empty(&desk, at.into_inner(), query.into_inner()).await,
        None => sign_on_first(),
    }
}

/// The bench asks who is there before it shows anything.
fn sign_on_first() -> Answer {
    Ok(Reply::see_other("/bench"))
}

async fn empty(desk: &Desk, at: (Uuid, String), query: Vec<(String, String)>) -> Answer {
    let subject = Subject::load(&mut desk.begin().await?, &at).await?;
    let asked = Typed::from(query);
    let mut typed = Typed::default();
    let for_job = subject.casting.job_id.is_some() && !asked.get("job").is_empty();
    let first = if for_job {
        Purpose::Finished
    } else {
        Purpose::Inspection
    };
    typed.set("purpose", first.code());
    typed.set("record", Uuid::now_v7().to_string());
    Ok(page(desk, &subject, &typed, &FormErrors::default()).into())
}

/// What the readings say so far; nothing is written.
async fn look(who: SignedIn, at: web::Path<(Uuid, String)>, form: CheckedForm<Typed>) -> Answer {
    seen(&Desk::signed_in(&who), at.into_inner(), &form).await
}

/// The same at a bench device.
async fn bench_look(
    at_bench: AtBench,
    at: web::Path<(Uuid, String)>,
    OpenForm(form): OpenForm<Typed>,
) -> Answer {
    match Desk::at_bench(&at_bench).await? {
        Some(desk) => seen(&desk, at.into_inner(), &form).await,
        None => sign_on_first(),
    }
}

async fn seen(desk: &Desk, at: (Uuid, String), form: &Typed) -> Answer {
    let subject = Subject::load(&mut desk.begin().await?, &at).await?;
    Ok(page(desk, &subject, form, &FormErrors::default()).into())
}

/// Keeps the record.
async fn keep(who: SignedIn, at: web::Path<(Uuid, String)>, form: CheckedForm<Typed>) -> Answer {
    kept(&Desk::signed_in(&who), at.into_inner(), &form).await
}

/// The same at a bench device.
async fn bench_keep(
    at_bench: AtBench,
    at: web::Path<(Uuid, String)>,
    OpenForm(form): OpenForm<Typed>,
) -> Answer {
    match Desk::at_bench(&at_bench).await? {
        Some(desk) => kept(&desk, at.into_inner(), &form).await,
        None => sign_on_first(),
    }
}

async fn kept(desk: &Desk, at: (Uuid, String), form: &Typed) -> Answer {
    let subject = Subject::load(&mut desk.begin().await?, &at).await?;
    let mut errors = FormErrors::default();
    let readings = subject.readings(form, desk.unit, &mut errors);
    let purpose = errors.choice("purpose", form.get("purpose"), Purpose::from_code);
    errors.label("instrument", "Instrument");
    let instrument = errors.required_text("instrument", form.get("instrument"), 120);
    let note = errors.text("note", form.get("note"), 400);
    if errors.is_empty() && readings.is_empty() {
        let first = table::first(subject.kind);
        errors.add(&first, "Enter at least one reading");
    }
    let key = form.get("record").parse::<Uuid>().map_err(|_| {
        WebError::BadRequest("The form has no key; load the page again.".to_owned())
    })?;
    let (Some(purpose), Some(instrument), Some(note), true) =
        (purpose, instrument, note, errors.is_empty())
    else {
        return Ok(page(desk, &subject, form, &errors).invalid().into());
    };
    let casting_id = subject.casting.id;
    let new = NewRecord {
        id: key,
        casting_id,
        job_id: subject.casting.job_id,
        purpose,
        readings,
        instrument,
        note,
        at: Utc::now(),
    };
    let (_, done) = measure_casting::record(&desk.actor, &new, None).await?;
    let records = desk.records_path(casting_id);
    Ok(Reply::see_other(format!("{records}/measured/{key}")).flash(flash(done)))
}

fn flash(done: Recorded) -> &'static str {
    match done {
        Recorded { held: true, .. } => {
            "Recorded: outside limits. The job is on hold until somebody decides; the week takes it off hold."
        }
        Recorded {
            verdict: Verdict::Within,
            ..
        } => "Recorded: within limits.",
        Recorded {
            verdict: Verdict::Outside,
            ..
        } => "Recorded: outside limits.",
        Recorded {
            verdict: Verdict::Open,
            ..
        } => "Recorded. A reading or a limit is missing.",
    }
}

fn page(desk: &Desk, subject: &Subject, typed: &Typed, errors: &FormErrors) -> Page {
    let unit = desk.unit;
    let title = format!("Measure {}", subject.kind);
    // What is shown as it stands takes no complaints; they are made when the record is sent.
    let read = subject.readings(typed, unit, &mut FormErrors::default());
    let when = purpose(typed).unwrap_or(Purpose::Inspection);
    let casting = &subject.casting;
    let here = format!(
        "{}/measure/{}",
        desk.records_path(casting.id),
        subject.kind.code()
    );
    let body = html! {
        (desk.back(casting.id, casting.number))
        h1 { (title) }
        p.lead { "Casting " (casting.number) ", " (subject.pattern.name)
            @if let (Some(id), Some(number)) = (casting.job_id, casting.job_number) { ", " (desk.job(id, number)) }
        }
        p.small { (table::before(subject.kind)) }
        (errors.summary())
        form.measure method="post" action=(here) novalidate data-live="outcome" data-live-url={ (here) "/look" } {
            (desk.field)
            input type="hidden" name="record" value=(typed.get("record"));
            (conditions(subject, typed, errors, unit))
            (table::inputs(subject.kind, (&subject.layout(), unit), typed, errors))
            section.card #outcome aria-live="polite" {
                (outcome::section(&read, &subject.sizes, when, unit))
                @if subject.sizes.version == 0 {
                    p { "No limits are set for " (subject.pattern.name) ". "
                        @if desk.casting_path(casting.id).is_some() { a href=(sizes_path(subject.pattern.id)) { "Sizes and limits" } }
                        @else { "The office enters them with the pattern." }
                    }
                }
            }
            div.grid.fields {
                (Field::text("note", "Note", typed.get("note")).optional().wide().errors(errors))
            }
            div.actions { button type="submit" { "Keep record" } p.live-status role="status" {} }
        }
    };
    desk.page(title).body(body)
}

/// When and how it is measured.
fn conditions(subject: &Subject, typed: &Typed, errors: &FormErrors, unit: LengthUnit) -> Markup {
    let purposes = vec![
        Choice::new(Purpose::Inspection.code(), "As it came: what does it need?"),
        Choice::new(Purpose::Finished.code(), "Work finished: is it right?"),
    ];
    let kind = subject.kind;
    let instrument = Field::text("instrument", "Instrument", typed.get("instrument"));
    let size = |name: &str, label: &str, hint: &str| {
        Field::length(name, label, typed.get(name), unit)
            .optional()
            .hint(hint)
            .errors(errors)
    };
    let on_plate = typed.get("torque_plate") == "yes";
    html! {
        div.grid.fields {
            (Field::radios("purpose", "When", typed.get("purpose"), purposes).errors(errors))
            (instrument.hint(table::instrument(kind)).errors(errors))
            @if kind == RecordKind::Cylinders {
                (size("over", "Bores are over standard by", "Empty for standard bores"))
                (Field::checkbox("torque_plate", "Torque plate on", on_plate)
                    .hint("Bolted down in stages to the head’s figure, with a gasket like the one that goes in").errors(errors))
            }
            @if kind == RecordKind::Crankshaft {
                (size("under_mains", "Mains are under standard by", "Empty for standard mains"))
                (size("under_pins", "Big-end pins are under standard by", "Empty for standard pins"))
            }
            @if kind != RecordKind::Deck {
                (size("zero", "Gauge set to", match unit {
                    LengthUnit::Mm => "When set, enter diameters as the dial shows them, in hundredths: 3 is 0.03 mm over. Leave it empty to enter whole sizes",
                    LengthUnit::Inch => "When set, enter diameters as the dial shows them, in thou: 1.5 is 0.0015 in over. Leave it empty to enter whole sizes",
                }))
            }
        }
    }
}

async fn show(who: SignedIn, at: web::Path<(Uuid, Uuid)>) -> Answer {
    record(&Desk::signed_in(&who), at.into_inner()).await
}

/// The same at a bench device.
async fn bench_show(at_bench: AtBench, at: web::Path<(Uuid, Uuid)>) -> Answer {
    match Desk::at_bench(&at_bench).await? {
        Some(desk) => record(&desk, at.into_inner()).await,
        None => sign_on_first(),
    }
}

async fn record(desk: &Desk, (id, record): (Uuid, Uuid)) -> Answer {
    let mut tx = desk.begin().await?;
    let casting = shelf::get(&mut tx, id).await?;
    let kept = db::get(&mut tx, id, record).await?;
    let unit = desk.unit;
    let readings = &kept.record.readings;
    let kind = readings.kind();
    let title = format!("{}, casting {}", kind_words(kind), casting.number);
    let records = desk.records_path(casting.id);
    let body = html! {
        (desk.back(casting.id, casting.number))
        div.bar {
            h1 { (title) }
            a.button.quiet href={ (records) "/measure/" (kind.code()) } { "Measure again" }
        }
        section.card {
            dl.figures {
                div { dt { "When" } dd { (moment(kept.record.at, desk.zone, desk.today)) ", " (purpose_words(kept.record.purpose)) } }
                @if let Some(name) = &kept.person { div { dt { "Measured by" } dd { (name) } } }
                div { dt { "Measured with" } dd { (kept.record.instrument) } }
                @for (what, how) in read::conditions(readings, unit) { div { dt { (what) } dd { (how) } } }
                @if let (Some(job), Some(number)) = (kept.record.job_id, kept.job_number) {
                    div { dt { "Job" } dd { (desk.job(job, number)) } }
                }
                @if !kept.record.note.is_empty() { div { dt { "Note" } dd { (kept.record.note) } } }
            }
        }
        section.card { (outcome::section(readings, &kept.sizes, kept.record.purpose, unit)) }
        section.card {
            h2 { "Readings" }
            (table::readings(readings, unit))
        }
    };
    Ok(desk.page(title).body(body).into())
}

/// What was measured on a casting, at a bench device.
async fn bench_records(at_bench: AtBench, id: web::Path<Uuid>) -> Answer {
    let Some(desk) = Desk::at_bench(&at_bench).await? else {
        return sign_on_first();
    };
    let mut tx = desk.begin().await?;
    let casting = shelf::get(&mut tx, *id).await?;
    let records = db::of_casting(&mut tx, *id).await?;
    let title = format!("Casting {}", casting.number);
    let body = html! {
        (back("/bench", "Bench"))
        h1 { (title) }
        @if let Some(number) = casting.job_number { p.lead { "For job " (number) } }
        (list(&desk, (casting.id, casting.number), &records, casting.job_id))
    };
    Ok(desk.page(title).body(body).into())
}

/// The records of a casting, for its page and that of its job; `job` where a new one checks finished work.
pub(in crate::web) fn section(
    who: &SignedIn,
    casting: (Uuid, i64),
    records: &[MeasuredRecord],
    job: Option<Uuid>,
) -> Markup {
    list(&Desk::signed_in(who), casting, records, job)
}

fn list(
    desk: &Desk,
    (id, number): (Uuid, i64),
    records: &[MeasuredRecord],
    job: Option<Uuid>,
) -> Markup {
    let here = desk.records_path(id);
    let query = job.map_or_else(String::new, |job| format!("?job={job}"));
    html! {
        section.card aria-labelledby={ "records-" (id) } {
            h2 id={ "records-" (id) } { "Measured records" @if job.is_some() { ": casting " (number) } }
            @if records.is_empty() { p.muted { "None yet." } } @else {
                ul.records { @for kept in records {
                    li {
                        span {
                            a href={ (here) "/measured/" (kept.record.id) } { (kind_words(kept.record.readings.kind())) }
                            ", " (purpose_words(kept.record.purpose)) " "
                            span.tag { (verdict_words(kept.verdict)) }
                        }
                        span.muted { (moment(kept.record.at, desk.zone, desk.today)) @if let Some(name) = &kept.person { ", " (name) } }
                    }
                } }
            }
            div.actions {
                @for kind in RecordKind::ALL {
                    a.button.quiet href={ (here) "/measure/" (kind.code()) (query) } { "Measure " (kind) }
                }
            }
        }
    }
}

/// The records of a casting.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub(in crate::web) async fn of_casting(
    tx: &mut ShopTx,
    id: Uuid,
) -> Result<Vec<MeasuredRecord>, DbError> {
    db::of_casting(tx, id).await
}
