//! Tokens of programs that use the JSON interface: made, shown once, revoked.

use crate::app::make_token::{make_token, revoke_token};
use crate::db::api_tokens::{self, ApiToken, NewToken, TokenScope};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::units::Code;
use crate::web::screens::castings::back;
use crate::web::ui::{
    Answer, CheckedForm, Choice, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
    show,
};
use actix_web::web;
use chrono::{DateTime, Days, Utc};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

const PATH: &str = "/shop/tokens";
/// For how many days a token may be made, and what that is called.
const DAYS: [(&str, &str); 3] = [("30", "30 days"), ("90", "90 days"), ("365", "A year")];

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(PATH)
            .route(web::get().to(list))
            .route(web::post().to(make)),
    )
    .route("/shop/tokens/{id}/revoke", web::post().to(revoke));
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct TokenForm {
    note: String,
    role: String,
    scope: String,
    days: String,
}

fn role_words(role: Role) -> &'static str {
    match role {
        Role::Machinist => "As a machinist: no money",
        Role::Office => "As the office",
        Role::Owner => "As the owner",
    }
}

fn scope_words(scope: TokenScope) -> &'static str {
    match scope {
        TokenScope::Read => "Read only",
        TokenScope::Write => "Read and change",
    }
}

async fn list(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let form = TokenForm {
        role: Role::Machinist.code().to_owned(),
        scope: TokenScope::Read.code().to_owned(),
        days: "90".to_owned(),
        ..TokenForm::default()
    };
    Ok(draw(&mut tx, &who, &form, &FormErrors::default(), None)
        .await?
        .into())
}

/// Reads what was typed; a token never may more than whoever makes it.
fn read(form: &TokenForm, now: DateTime<Utc>, errors: &mut FormErrors) -> Option<NewToken> {
    let note = errors.required_text("note", &form.note, 80);
    let role = errors.choice("role", &form.role, Role::from_code);
    let scope = errors.choice("scope", &form.scope, TokenScope::from_code);
    let days = errors.choice("days", &form.days, |text| {
        let known = DAYS.iter().any(|(days, _)| *days == text);
        known.then(|| text.parse::<u64>().ok()).flatten()
    });
    Some(NewToken {
        note: note?,
        role: role?,
        scope: scope?,
        expires_at: now.checked_add_days(Days::new(days?))?,
    })
}

async fn make(who: SignedIn, form: CheckedForm<TokenForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let read = read(&form, Utc::now(), &mut errors);
    let Some(new) = read else {
        let mut tx = who.begin().await?;
        return Ok(draw(&mut tx, &who, &form, &errors, None)
            .await?
            .invalid()
            .into());
    };
    let token = make_token(&who.actor(), &new).await?;
    let mut tx = who.begin().await?;
    let text = token.text();
    Ok(
        draw(&mut tx, &who, &form, &FormErrors::default(), Some(&text))
            .await?
            .into(),
    )
}

async fn revoke(who: SignedIn, id: web::Path<Uuid>, _: CheckedForm<TokenForm>) -> Answer {
    revoke_token(&who.actor(), *id).await?;
    Ok(Reply::see_other(PATH).flash("Revoked: the token no longer works."))
}

async fn draw(
    tx: &mut ShopTx,
    who: &SignedIn,
    form: &TokenForm,
    errors: &FormErrors,
    made: Option<&str>,
) -> Result<Page, DbError> {
    let tokens = api_tokens::list(tx, Utc::now()).await?;
    let roles = Role::ALL
        .iter()
        .map(|role| Choice::new(role.code(), role_words(*role)));
    let scopes = TokenScope::ALL
        .iter()
        .map(|scope| Choice::new(scope.code(), scope_words(*scope)));
    let days = DAYS.iter().map(|(days, name)| Choice::new(*days, *name));
    let body = html! {
        (back("/shop", "Shop"))
        h1 { "API tokens" }
        p.lead { "Let a program of your own read or change what is here. " a href="/api/v1/openapi.json" type="application/json" { "What it can ask for" } " (OpenAPI 3.1)." }
        (errors.summary())
        @if let Some(text) = made { (shown_once(text)) }
        section.card aria-labelledby="make-title" {
            h2 #make-title { "New token" }
            form.grid method="post" action=(PATH) novalidate {
                (csrf_field(who))
                (Field::text("note", "Used by", &form.note).hint("The bookkeeping program").errors(errors))
                (Field::select("role", "Sees", &form.role, roles.collect()).errors(errors))
                (Field::select("scope", "May", &form.scope, scopes.collect()).errors(errors))
                (Field::select("days", "Works for", &form.days, days.collect()).errors(errors))
                div.actions { button type="submit" { "Create token" } }
            }
        }
        h2 { "Tokens" }
        @if tokens.is_empty() { section.card { p { "None yet." } } } @else { (table(who, &tokens)) }
        p.muted { "A program sends it with each request as " code { "Authorization: Bearer …" } ". It acts in the name of whoever made it, never may more than they may, and ends with their access. Tokens are not stored: if one is lost, revoke it and create another." }
    };
    Ok(Page::new(who, "API tokens").nav(Section::Shop).body(body))
}

/// The token that was just made.
fn shown_once(text: &str) -> Markup {
    html! {
        section.notice.good role="status" aria-labelledby="made-title" {
            h2 #made-title { span.sign aria-hidden="true" { "✓" } " Token created" }
            p { "It is shown only once. Copy it to the program that will use it, and nowhere else." }
            div.field.wide {
                label for="token" { "Token" }
                input #token type="text" readonly value=(text);
            }
        }
    }
}

fn table(who: &SignedIn, tokens: &[ApiToken]) -> Markup {
    let zone = who.shop.time_zone;
    let day = |at: DateTime<Utc>| show::day(at.with_timezone(&zone).date_naive(), who.today());
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Used by" } th scope="col" { "May" } th scope="col" { "In the name of" }
                th scope="col" { "Last used" } th scope="col" { "Ends" } th scope="col" { span.visually-hidden { "Action" } }
            } }
            tbody { @for token in tokens {
                tr {
                    th scope="row" { (token.note) }
                    td data-label="May" { (scope_words(token.scope)) div.small.muted { (role_words(token.role)) } }
                    td data-label="In the name of" { (token.person) }
                    td data-label="Last used" { @match token.used_at { Some(at) => (day(at)), None => { span.muted { "never" } } } }
                    td data-label="Ends" { (day(token.expires_at)) }
                    td {
                        form method="post" action={ (PATH) "/" (token.id) "/revoke" } {
                            (csrf_field(who))
                            button.danger type="submit" { "Revoke" span.visually-hidden { ": " (token.note) } }
                        }
                    }
                }
            } }
        }
    }
}
