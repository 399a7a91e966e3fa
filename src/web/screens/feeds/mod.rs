//! Calendar feeds: created and revoked here; read without signing in, at an address nobody can guess.

mod week;

use crate::app::Actor;
use crate::app::read_feed::{count_revisions, open_feed};
use crate::db::feeds::{self, Feed, Whose};
use crate::db::people::Role;
use crate::db::{DbError, Scope, ShopTx, machines, people};
use crate::planning::ics::feed;
use crate::web::shell::feed_address::Token;
use crate::web::shell::session;
use crate::web::shell::site::Site;
use crate::web::ui::forms::Choice;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    show,
};
use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, ETAG, IF_NONE_MATCH};
use actix_web::{HttpRequest, HttpResponse, web};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// `/feeds` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(PATH)
            .route(web::get().to(list))
            .route(web::post().to(make)),
    )
    .route("/feeds/{id}/revoke", web::post().to(revoke))
    .service(
        web::resource("/feeds/{token}.ics")
            .route(web::get().to(read))
            .route(web::head().to(read)),
    );
}

const PATH: &str = "/feeds";

/// The feed itself. Whatever is wrong with the address, the answer is the same.
async fn read(req: HttpRequest, token: web::Path<String>, site: web::Data<Site>) -> Answer {
    let from = session::address(&req, &site);
    if let Err(retry_after) = site.feed_brake.look(&from) {
        return Err(WebError::TooMany {
            message: "Too many requests for this calendar. Wait a few minutes.".to_owned(),
            retry_after,
        });
    }
    let missing = || {
        site.feed_brake.missed(&from);
        WebError::NotFound("this calendar")
    };
    let token = Token::read(&token).ok_or_else(missing)?;
    let scope = Scope {
        shop_id: token.shop_id(),
        person_id: None,
    };
    // Nobody is signed in, so the least of the roles.
    let pool = site.clusters.of_shop(scope.shop_id).await?;
    let reader = Actor::new(pool, scope, Role::Machinist);
    let now = Utc::now();
    let contents = open_feed(&reader, &token.hash(), now).await?;
    let contents = contents.ok_or_else(missing)?;
    let mut entries = week::entries(&contents);
    let revisions = count_revisions(&reader, &week::digests(&entries), now).await?;
    week::revise(&mut entries, &revisions);
    let text = feed::write(&contents.name, &entries);
    let tag = format!("\"{}\"", URL_SAFE_NO_PAD.encode(Sha256::digest(&text)));
    let same = req
        .headers()
        .get(IF_NONE_MATCH)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|tags| tags.split(',').any(|one| one.trim() == tag));
    let mut response = HttpResponse::build(if same {
        StatusCode::NOT_MODIFIED
    } else {
        StatusCode::OK
    });
    response
        .insert_header((ETAG, tag))
        .insert_header((CACHE_CONTROL, "private, no-cache"))
        .insert_header(("x-robots-tag", "noindex"));
    if same {
        return Ok(response.finish().into());
    }
    Ok(response
        .content_type("text/calendar; charset=utf-8")
        .insert_header((CONTENT_DISPOSITION, "inline; filename=\"week.ics\""))
        .body(text)
        .into())
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct FeedForm {
    whose: String,
    note: String,
}

fn code(whose: Whose) -> String {
    match whose {
        Whose::Machine(id) => format!("machine:{id}"),
        Whose::Person(id) => format!("person:{id}"),
    }
}

/// Whose weeks this person may look at from outside: the machines' and their own; the office everyone's.
async fn choices(tx: &mut ShopTx, who: &SignedIn) -> Result<Vec<(Whose, String)>, DbError> {
    let mut all = Vec::new();
    for person in people::list(tx).await? {
        if person.active && (person.id == who.person_id || who.may(Role::Office)) {
            all.push((Whose::Person(person.id), person.name));
        }
    }
    all.sort_by_key(|(whose, _)| *whose != Whose::Person(who.person_id));
    for machine in machines::machines(tx).await? {
        if machine.active {
            all.push((Whose::Machine(machine.id), machine.name));
        }
    }
    Ok(all)
}

/// Whether this person may see and revoke a feed: one they made, one of their own week, and the office any.
fn may_touch(who: &SignedIn, feed: &Feed) -> bool {
    who.may(Role::Office)
        || feed.made_by == Some(who.person_id)
        || feed.whose == Whose::Person(who.person_id)
}

async fn list(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let form = FeedForm {
        whose: code(Whose::Person(who.person_id)),
        ..FeedForm::default()
    };
    Ok(draw(&mut tx, &who, &form, &FormErrors::default(), None)
        .await?
        .into())
}

async fn make(
    req: HttpRequest,
    site: web::Data<Site>,
    who: SignedIn,
    form: CheckedForm<FeedForm>,
) -> Answer {
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let choices = choices(&mut tx, &who).await?;
    let whose = errors.choice("whose", &form.whose, |text| {
        choices
            .iter()
            .map(|(whose, _)| *whose)
            .find(|whose| code(*whose) == text)
    });
    let note = errors.required_text("note", &form.note, 80);
    let (Some(whose), Some(note)) = (whose, note) else {
        return Ok(draw(&mut tx, &who, &form, &errors, None)
            .await?
            .invalid()
            .into());
    };
    let token = Token::new(who.scope.shop_id)?;
    feeds::make(&mut tx, whose, &note, &token.hash()).await?;
    tx.commit().await?;
    let mut tx = who.begin().await?;
    let address = site.address(&req, &token.path());
    let blank = FeedForm::default();
    Ok(draw(
        &mut tx,
        &who,
        &blank,
        &FormErrors::default(),
        Some(&address),
    )
    .await?
    .into())
}

async fn revoke(who: SignedIn, id: web::Path<Uuid>, _: CheckedForm<FeedForm>) -> Answer {
    let mut tx = who.begin().await?;
    let feed = feeds::list(&mut tx)
        .await?
        .into_iter()
        .find(|feed| feed.id == *id && may_touch(&who, feed))
        .ok_or(WebError::NotFound("this feed"))?;
    feeds::revoke(&mut tx, feed.id).await?;
    tx.commit().await?;
    Ok(Reply::see_other(PATH).flash(format!(
        "Revoked: the address of {}’s week no longer works.",
        feed.name
    )))
}

async fn draw(
    tx: &mut ShopTx,
    who: &SignedIn,
    form: &FeedForm,
    errors: &FormErrors,
    made: Option<&str>,
) -> Result<Page, DbError> {
    let feeds: Vec<Feed> = feeds::list(tx)
        .await?
        .into_iter()
        .filter(|feed| may_touch(who, feed))
        .collect();
    let of = choices(tx, who)
        .await?
        .into_iter()
        .map(|(whose, name)| Choice::new(code(whose), name))
        .collect();
    let body = html! {
        h1 { "Calendar feeds" }
        p.lead { "See the week of a machine or a person in the calendar on a phone or computer. It follows the plan." }
        (errors.summary())
        @if let Some(address) = made { (address_once(address)) }
        section.card aria-labelledby="make-title" {
            h2 #make-title { "New feed" }
            form.grid method="post" action=(PATH) novalidate {
                (csrf_field(who))
                (Field::select("whose", "Machine or person", &form.whose, of).errors(errors))
                (Field::text("note", "Used by", &form.note).hint("My phone, the screen by the mill").errors(errors))
                div.actions { button type="submit" { "Create feed" } }
            }
        }
        h2 { "Feeds" }
        @if feeds.is_empty() {
            section.card { p { "None yet." } }
        } @else {
            (table(who, &feeds))
        }
        p.muted { "Anyone with the address can read that week, and nothing else, until you revoke it. Addresses are not stored: if one is lost, revoke its feed and create another." }
    };
    Ok(Page::new(who, "Calendar feeds")
        .nav(Section::Shop)
        .body(body))
}

/// The address of a feed that was just made.
fn address_once(address: &str) -> Markup {
    let subscribe = address
        .split_once("://")
        .map_or_else(String::new, |(_, rest)| format!("webcal://{rest}"));
    html! {
        section.notice.good role="status" aria-labelledby="made-title" {
            h2 #made-title { span.sign aria-hidden="true" { "✓" } " Feed created" }
            p { "This address is shown only once. Add it to a calendar as a subscription, or open it on the phone that should show it." }
            div.field.wide {
                label for="address" { "Address" }
                input #address type="text" readonly value=(address);
            }
            p { a.button.quiet href=(subscribe) { "Open in this device’s calendar" } }
        }
    }
}

fn table(who: &SignedIn, feeds: &[Feed]) -> Markup {
    let zone = who.shop.time_zone;
    let day =
        |at: chrono::DateTime<Utc>| show::day(at.with_timezone(&zone).date_naive(), who.today());
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Machine or person" } th scope="col" { "Used by" } th scope="col" { "Created" }
                th scope="col" { "Last read" } th scope="col" { span.visually-hidden { "Action" } }
            } }
            tbody { @for feed in feeds {
                tr {
                    th scope="row" { (feed.name) }
                    td data-label="Used by" { (feed.note) }
                    td data-label="Created" { (day(feed.made_at)) }
                    td data-label="Last read" { @match feed.read_at {
                        Some(at) if at.with_timezone(&zone).date_naive() == who.today() => "today",
                        Some(at) => (day(at)),
                        None => { span.muted { "never" } },
                    } }
                    td {
                        form method="post" action={ (PATH) "/" (feed.id) "/revoke" } {
                            (csrf_field(who))
                            button.danger type="submit" { "Revoke" span.visually-hidden { ": " (feed.name) ", " (feed.note) } }
                        }
                    }
                }
            } }
        }
    }
}
