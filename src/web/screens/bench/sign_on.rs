//! Signing on: who is at the bench, and their PIN.

use super::AtBench;
use crate::app::sign_on::{SignedOn, sign_off, sign_on};
use crate::db::devices::{self, BenchPerson};
use crate::web::shell::body::OpenForm;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, Page, Reply, WebError, show};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// Signing on and off.
pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/bench/sign-on/{person}")
            .route(web::get().to(ask))
            .route(web::post().to(try_pin)),
    )
    .route("/bench/sign-off", web::post().to(end));
}

/// Everyone who can sign on here, as large buttons.
pub(super) fn people_page(at: &AtBench, people: &[BenchPerson], which: &Which) -> Page {
    let body = html! {
        div.bench-head { p { (at.shop_name) " · " (at.device.name) } }
        (offline())
        h1 { "Sign on" }
        @if let Some(since) = at.device.locked_at {
            p.notice.bad role="alert" {
                span.sign aria-hidden="true" { "!" }
                " Locked since " (show::moment(since, at.zone, at.today())) ": too many wrong PINs. The owner unlocks this device under Shop, Bench devices."
            }
        }
        @if people.is_empty() {
            p { "Nobody has a PIN yet. The owner gives them out under Shop, Bench devices." }
        }
        ul.bench-people {
            @for person in people {
                li { a.bench-button href={ "/bench/sign-on/" (person.id) (query(which)) } { (person.name) } }
            }
        }
    };
    Page::open("Bench").script("bench.js").body(body)
}

/// Where to go on to after signing on, as a query.
fn query(which: &Which) -> String {
    let machine = which.machine.map(|id| format!("machine={id}"));
    let op = which.op.map(|id| format!("op={id}"));
    let parts: Vec<String> = machine.into_iter().chain(op).collect();
    if parts.is_empty() {
        String::new()
    } else {
        format!("?{}", parts.join("&"))
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Which {
    /// The machine to show.
    pub(super) machine: Option<Uuid>,
    /// The operation a route card's code asked for.
    pub(super) op: Option<Uuid>,
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct PinForm {
    pin: String,
}

async fn the_person(at: &AtBench, id: Uuid) -> Result<BenchPerson, WebError> {
    let mut tx = at.begin(None).await?;
    let people = devices::bench_people(&mut tx).await?;
    people
        .into_iter()
        .find(|p| p.id == id)
        .ok_or(WebError::NotFound("this person at the bench"))
}

async fn ask(at: AtBench, id: web::Path<Uuid>, which: web::Query<Which>) -> Answer {
    let person = the_person(&at, *id).await?;
    Ok(pin_page(&at, &person, &which, None).into())
}

async fn try_pin(
    at: AtBench,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    which: web::Query<Which>,
    form: OpenForm<PinForm>,
) -> Answer {
    let person = the_person(&at, *id).await?;
    let who = (at.device.id, &person);
    let tried = sign_on(&at.actor(None), &site.hashing, who, &form.0.pin, Utc::now()).await?;
    let (words, status) = match tried {
        SignedOn::Begun => {
            let there = which.op.map_or(String::new(), |id| format!("#op-{id}"));
            return Ok(Reply::see_other(format!("/bench{}{there}", query(&which))));
        }
        SignedOn::NoPin => (
            "Enter a PIN of 4 to 8 digits.".to_owned(),
            StatusCode::UNPROCESSABLE_ENTITY,
        ),
        SignedOn::TooSoon(wait) => {
            let seconds = wait.num_milliseconds().max(0) / 1_000 + 1;
            let words = format!(
                "Too many wrong tries. Wait {} and try again.",
                show::count(seconds, "second", "seconds")
            );
            (words, StatusCode::TOO_MANY_REQUESTS)
        }
        SignedOn::Locked => (
            "This device is locked: too many wrong PINs. Ask the owner to unlock it.".to_owned(),
            StatusCode::LOCKED,
        ),
        SignedOn::Wrong => ("Wrong PIN. Try again.".to_owned(), StatusCode::UNAUTHORIZED),
    };
    let page = pin_page(&at, &person, &which, Some(&words));
    Ok(page.status(status).into())
}

async fn end(at: AtBench) -> Answer {
    sign_off(&at.actor(None), at.device.id, Utc::now()).await?;
    Ok(Reply::see_other("/bench"))
}

fn pin_page(at: &AtBench, person: &BenchPerson, which: &Which, refused: Option<&str>) -> Page {
    let body = html! {
        div.bench-head { p { (at.shop_name) " · " (at.device.name) } }
        (offline())
        h1 { (person.name) }
        @if let Some(refused) = refused {
            p.notice.bad role="alert" { span.sign aria-hidden="true" { "!" } " " (refused) }
        }
        form.bench-pin method="post" action={ "/bench/sign-on/" (person.id) (query(which)) } novalidate {
            label for="pin" { "PIN" }
            input #pin type="password" name="pin" inputmode="numeric" autocomplete="off" maxlength="8" autofocus;
            (keypad())
            button.bench-button.first type="submit" { "Sign on" }
        }
        p { a.bench-button.quiet href={ "/bench" (query(which)) } { "Someone else" } }
    };
    Page::open(format!("Sign on: {}", person.name))
        .script("bench.js")
        .body(body)
}

/// What the page's own script shows when the shop's computer cannot be reached: a PIN is checked there and nowhere else.
pub(super) fn offline() -> Markup {
    html! {
        p #bench-offline.notice.warn role="status" hidden {
            span.sign aria-hidden="true" { "!" }
            " No network. You cannot sign on or off now. If you are signed on, carry on: nothing you enter is lost."
        }
    }
}

/// Large keys for a thumb; they show once the page's own script can work them.
fn keypad() -> Markup {
    html! {
        div.bench-keypad hidden {
            @for digit in ["1", "2", "3", "4", "5", "6", "7", "8", "9"] {
                button type="button" data-digit=(digit) { (digit) }
            }
            button type="button" data-digit="" { "Clear" }
            button type="button" data-digit="0" { "0" }
        }
    }
}
