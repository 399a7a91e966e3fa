//! What would come of a change: shown first, then taken or dropped; and the last one undone.

use super::asked::Asked;
use super::picture;
use super::sheet::{self, Beside, Stretch, in_hundred, job_href, long_number};
use crate::app::current_plan::CurrentPlan as Standing;
use crate::db::people::Role;
use crate::db::plan_changes::{self, Taking, Undo};
use crate::db::{DbError, ShopTx};
use crate::planning::floor::{Floor, Timetable};
use crate::planning::what_if::{
    Change, Ground, PromiseMove, Settings, TryError, WhatIf, hours, moment,
};
use crate::web::ui::{
    Answer, CheckedForm, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field, show,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week/try", web::get().to(try_it))
        .route("/week/take", web::post().to(take))
        .route("/week/undo/{id}", web::get().to(undo));
}

/// Works out a change on a thread of its own; the standing plan comes back with it.
pub(super) async fn work_out(
    standing: Standing,
    change: Change,
    undo: Option<Undo>,
) -> Result<(Standing, Result<WhatIf, TryError>), WebError> {
    web::block(move || {
        let settings = Settings::default();
        let (floor, stands) = (&standing.floor, &standing.timetable);
        let ground = Ground::new(floor, stands, settings);
        let what = ground
            .map_err(TryError::from)
            .and_then(|ground| match &undo {
                Some(undo) => ground.try_back(&undo.places, &change),
                None => ground.try_out(&change),
            });
        (standing, what)
    })
    .await
    .map_err(|why| WebError::Internal(why.to_string()))
}

/// The field of a form that a refusal is about.
fn field_of(field: &str) -> &'static str {
    match field {
        "machine" => "on",
        "person" => "with",
        "starts" => "time",
        "reason" => "reason",
        "from" => "day",
        "until" => "until",
        _ => "change",
    }
}

/// Complaints by the ids of the form of this kind.
fn by_form(errors: &FormErrors, kind: &str) -> FormErrors {
    let mut named = FormErrors::default();
    for (field, message) in errors.iter() {
        let has_form = matches!(kind, "place" | "hold" | "away" | "overtime");
        if has_form && field != "change" && field != "from" {
            named.add(&format!("{kind}-{field}"), message);
        } else {
            named.add(field, message);
        }
    }
    named
}

async fn try_it(who: SignedIn, asked: web::Query<Asked>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let standing = super::stand(&mut tx).await?;
    let newest = plan_changes::newest(&mut tx).await?;
    let mut errors = FormErrors::default();
    let stretch = asked.stretch(&mut errors, super::today(who.shop.time_zone));
    let change = asked.read(&mut errors, &standing.floor, &standing.timetable);
    let refused = |standing: &Standing, errors: &FormErrors| {
        let errors = by_form(errors, &asked.kind);
        super::page(&who, standing, stretch, &asked, &errors, newest.as_ref()).invalid()
    };
    let Some(change) = change.filter(|_| errors.is_empty()) else {
        if errors.is_empty() {
            errors.add("change", "What this is about is not on the floor any more");
        }
        return Ok(refused(&standing, &errors).into());
    };
    match work_out(standing, change.clone(), None).await? {
        (standing, Ok(what)) => {
            Ok(page(&who, &standing, stretch, &change, None, &what, &html! {}).into())
        }
        (standing, Err(TryError::Cannot(cannot))) => {
            errors.add(field_of(cannot.field), cannot.why);
            Ok(refused(&standing, &errors).into())
        }
        (_, Err(TryError::Model(why))) => Err(corrupt(&why)),
    }
}

fn corrupt(why: &dyn std::fmt::Display) -> WebError {
    DbError::Corrupt {
        what: "floor",
        why: why.to_string(),
    }
    .into()
}

/// What would come of it, on a page of its own.
fn page(
    who: &SignedIn,
    standing: &Standing,
    stretch: Stretch,
    change: &Change,
    undoes: Option<Uuid>,
    what: &WhatIf,
    notice: &Markup,
) -> Page {
    let effect = &what.effect;
    let stretch = in_sight(stretch, what);
    let beside = Beside {
        before: &what.before,
        moved: &effect.moved,
    };
    let drawn = sheet::sheet(&what.floor, &what.after, stretch, None, Some(beside));
    let may = who.may(needed(change));
    let back = format!("/week?{}", stretch.query());
    let title = if undoes.is_some() {
        "Undo?"
    } else {
        "What if?"
    };
    let body = html! {
        h1 { (title) }
        (notice)
        section.card.week-effect {
            p.lead { (effect.sentence) }
            (promises(&what.floor, &effect.promises))
            @if matches!(change, Change::SecondMachine { .. }) {
                p { "It can only be tried: a machine has to be bought, and then added under " a href="/shop/machines" { "Shop, Machines" } "." }
            } @else if !may {
                p { "Taking this is for the owner of the shop." }
            }
            div.actions {
                @if may && !matches!(change, Change::SecondMachine { .. }) {
                    form method="post" action="/week/take" {
                        (csrf_field(who))
                        input type="hidden" name="change" value=(encoded(change));
                        input type="hidden" name="floor_version" value=(standing.age.floor_version);
                        input type="hidden" name="from" value=(stretch.from);
                        input type="hidden" name="days" value=(stretch.days);
                        @if let Some(undoes) = undoes { input type="hidden" name="undoes" value=(undoes); }
                        button type="submit" data-key="y" data-key-label="Take it" { @if undoes.is_some() { "Undo it" } @else { "Take it" } }
                    }
                }
                a.button.quiet href=(back) data-key="n" data-key-label="Drop it" { @if undoes.is_some() { "Leave it" } @else { "Drop it" } }
            }
        }
        (pictured(drawn.as_ref()))
        (moved(what))
    };
    Page::new(who, title).nav(Section::Week).body(body)
}

fn pictured(drawn: Option<&picture::Picture>) -> Markup {
    html! {
        @match drawn {
            Some(drawn) => {
                figure.week-figure {
                    div.week-sheet tabindex="0" role="region" aria-label="The plan with the change, drawn" { (picture::draw("what-if", drawn)) }
                    figcaption {
                        ul.week-legend {
                            li { svg.week-key viewBox="0 0 34 18" width="34" height="18" aria-hidden="true" { g.block.before { path.edge d="M2 2H32V16H2z" {} } } " before" }
                            li { svg.week-key viewBox="0 0 34 18" width="34" height="18" aria-hidden="true" { g.block.after { path.body d="M2 2H32V16H2z" {} path.edge d="M2 2H32V16H2z" {} } } " after" }
                        }
                    }
                }
            }
            None => p.notice { "Nobody works in these days." },
        }
    }
}

/// The days shown, brought to where something moves when nothing does in them.
fn in_sight(stretch: Stretch, what: &WhatIf) -> Stretch {
    let floor = &what.floor;
    let (from, until) = stretch.span(floor);
    let starts = |timetable: &Timetable| -> Vec<DateTime<Utc>> {
        let moved = |id| timetable.slot(id).map(|slot| slot.starts);
        what.effect
            .moved
            .iter()
            .filter_map(|id| moved(*id))
            .collect()
    };
    let all = [starts(&what.before), starts(&what.after)].concat();
    match all.iter().min() {
        Some(first) if !all.iter().any(|at| (from..until).contains(at)) => Stretch {
            from: first.with_timezone(&floor.zone).date_naive(),
            ..stretch
        },
        _ => stretch,
    }
}

/// The promises that move, those that become late first.
pub(super) fn promises(floor: &Floor, moves: &[PromiseMove]) -> Markup {
    const SHOWN: usize = 8;
    let (first, rest) = moves.split_at(moves.len().min(SHOWN));
    html! {
        @if !first.is_empty() {
            (promise_table(floor, first))
            @if !rest.is_empty() {
                details { summary { "And " (show::count(rest.len() as i64, "more", "more")) } (promise_table(floor, rest)) }
            }
        }
    }
}

fn promise_table(floor: &Floor, moves: &[PromiseMove]) -> Markup {
    let at = |at: Option<DateTime<Utc>>| {
        at.map_or_else(|| "not planned".to_owned(), |at| moment(at, floor.zone))
    };
    html! {
        table.cells.small {
            thead { tr {
                th scope="col" { "Job" } th scope="col" { "Promised" } th scope="col" { "Ready now" } th scope="col" { "Ready then" }
                th scope="col" { "Moves by" } th scope="col" { "Promise" } th scope="col" { "Holds in" }
            } }
            tbody { @for p in moves {
                @if let Some(job) = floor.job(p.job) {
                    tr {
                        th scope="row" { a href=(job_href(job)) { (long_number(job)) } }
                        td data-label="Promised" { (at(p.due).replace("not planned", "no day")) }
                        td data-label="Ready now" { (at(p.before)) }
                        td data-label="Ready then" { (at(p.after)) }
                        td data-label="Moves by" { @match p.later { 0 => "—", n if n > 0 => { (hours(n)) " later" }, n => { (hours(n)) " sooner" } } }
                        td data-label="Promise" {
                            @match (p.was_late(), p.is_late()) {
                                (false, true) => strong { "becomes late" },
                                (true, false) => "late no longer",
                                (true, true) => "late either way",
                                (false, false) => "kept",
                            }
                        }
                        td data-label="Holds in" {
                            @match p.chance {
                                (Some(a), Some(b)) => { (in_hundred(a)) " → " (in_hundred(b)) },
                                (Some(chance), None) | (None, Some(chance)) => (in_hundred(chance)),
                                (None, None) => "—",
                            }
                        }
                    }
                }
            } }
        }
    }
}

/// The operations that move, from where to where.
fn moved(what: &WhatIf) -> Markup {
    let floor = &what.floor;
    let place = |timetable: &Timetable, id: Uuid| match timetable.slot(id) {
        Some(slot) => {
            let machine = slot.machine.and_then(|id| floor.machine(id));
            let person = slot.person.and_then(|id| floor.person(id));
            let names: Vec<&str> = machine
                .map(|m| m.name.as_str())
                .into_iter()
                .chain(person.map(|p| p.name.as_str()))
                .collect();
            format!("{}, {}", moment(slot.starts, floor.zone), names.join(", "))
        }
        None => "not planned".to_owned(),
    };
    let count = what.effect.moved.len();
    html! {
        @if count > 0 {
            details.act {
                summary { (show::count(count as i64, "operation moves", "operations move")) }
                table.cells.small {
                    thead { tr { th scope="col" { "Operation" } th scope="col" { "Before" } th scope="col" { "After" } } }
                    tbody { @for &id in &what.effect.moved {
                        @if let Some((job, operation)) = floor.operation(id) {
                            tr {
                                th scope="row" { (long_number(job)) ", " (operation.number) " " (operation.what) }
                                td data-label="Before" { (place(&what.before, id)) }
                                td data-label="After" { (place(&what.after, id)) }
                            }
                        }
                    } }
                }
            }
        }
    }
}

/// Who may take a change: what somebody is able to do is the owner's to say.
fn needed(change: &Change) -> Role {
    match change {
        Change::Train { .. } | Change::Untrain { .. } => Role::Owner,
        _ => Role::Office,
    }
}

/// A change as it stands in a form.
fn encoded(change: &Change) -> String {
    serde_json::to_string(change).unwrap_or_default()
}

/// The address that tries a change.
pub(super) fn href(change: &Change, stretch: Stretch) -> String {
    let change = encoded(change);
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("change", &change)
        .finish();
    format!("/week/try?{query}&{}", stretch.query())
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct TakeForm {
    change: String,
    floor_version: String,
    from: String,
    days: String,
    undoes: String,
}

async fn take(who: SignedIn, form: CheckedForm<TakeForm>) -> Answer {
    let asked = Asked {
        from: form.from.clone(),
        days: form.days.clone(),
        change: form.change.clone(),
        ..Asked::default()
    };
    let mut errors = FormErrors::default();
    let stretch = asked.stretch(&mut errors, super::today(who.shop.time_zone));
    let mut tx = who.begin().await?;
    let standing = super::stand(&mut tx).await?;
    let undoes = Asked::key(&form.undoes);
    let undo = match undoes {
        Some(id) => Some(plan_changes::to_undo(&mut tx, id).await?),
        None => None,
    };
    let change = match &undo {
        Some(undo) => Some(undo.change.clone()),
        None => asked.read(&mut errors, &standing.floor, &standing.timetable),
    };
    let Some(change) = change else {
        let newest = plan_changes::newest(&mut tx).await?;
        return Ok(
            super::page(&who, &standing, stretch, &asked, &errors, newest.as_ref())
                .invalid()
                .into(),
        );
    };
    who.require(needed(&change))?;
    let seen: i64 = form.floor_version.parse().unwrap_or(-1);
    let words = match &undo {
        Some(undo) => format!("undone: {}", undo.words),
        None => change.words(&standing.floor),
    };
    let Some(inverse) = change.inverse(&standing.floor) else {
        return Err(DbError::Refused("This can only be tried".to_owned()).into());
    };
    let (standing, what) = work_out(standing, change.clone(), undo.clone()).await?;
    let what = match what {
        Ok(what) => what,
        Err(TryError::Cannot(cannot)) => {
            errors.add("change", cannot.why);
            let newest = plan_changes::newest(&mut tx).await?;
            return Ok(
                super::page(&who, &standing, stretch, &asked, &errors, newest.as_ref())
                    .invalid()
                    .into(),
            );
        }
        Err(TryError::Model(why)) => return Err(corrupt(&why)),
    };
    let overtaken = |standing: &Standing, what: &WhatIf| {
        let notice = html! {
            section.notice.warn role="alert" {
                h2 { span.sign aria-hidden="true" { "!" } " The floor has changed since" }
                p { "Somebody changed something after you saw this. Here is what would come of it now." }
            }
        };
        page(&who, standing, stretch, &change, undoes, what, &notice).status(StatusCode::CONFLICT)
    };
    if standing.age.floor_version != seen {
        return Ok(overtaken(&standing, &what).into());
    }
    let taking = Taking {
        change: &change,
        undo: &inverse,
        words: &words,
        what: &what,
        floor_version: seen,
        undoes,
    };
    match plan_changes::take(&mut tx, taking).await {
        Ok(()) => {
            tx.commit().await?;
            Ok(Reply::see_other(format!("/week?{}", stretch.query())).flash(said(&words)))
        }
        Err(DbError::Stale(_)) => {
            drop(tx);
            let (standing, what) = again(&who, change.clone(), undo).await?;
            Ok(overtaken(&standing, &what).into())
        }
        Err(error) => Err(error.into()),
    }
}

/// The same change once more, on the floor as it has become.
async fn again(
    who: &SignedIn,
    change: Change,
    undo: Option<Undo>,
) -> Result<(Standing, WhatIf), WebError> {
    let mut tx = who.begin().await?;
    let standing = super::stand(&mut tx).await?;
    match work_out(standing, change, undo).await? {
        (standing, Ok(what)) => Ok((standing, what)),
        (_, Err(why)) => Err(DbError::Refused(why.to_string()).into()),
    }
}

/// As a sentence of its own.
pub(super) fn said(words: &str) -> String {
    format!("{}.", first_upper(words))
}

/// With a capital letter.
pub(super) fn first_upper(words: &str) -> String {
    let mut letters = words.chars();
    let first: String = letters
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .collect();
    first + letters.as_str()
}

async fn undo(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx: ShopTx = who.begin().await?;
    let undo = plan_changes::to_undo(&mut tx, *id).await?;
    let standing = super::stand(&mut tx).await?;
    let stretch =
        Asked::default().stretch(&mut FormErrors::default(), super::today(who.shop.time_zone));
    let change = undo.change.clone();
    match work_out(standing, change.clone(), Some(undo)).await? {
        (standing, Ok(what)) => Ok(page(
            &who,
            &standing,
            stretch,
            &change,
            Some(*id),
            &what,
            &html! {},
        )
        .into()),
        (_, Err(why)) => Err(DbError::Refused(why.to_string()).into()),
    }
}
