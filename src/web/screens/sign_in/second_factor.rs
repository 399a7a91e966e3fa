//! The second step of signing in, and an owner's own second factor: set up, turned off.

use super::{safe_next, signed_in, too_soon};
use crate::app::second_factor::{self, Finished, Setup, State};
use crate::app::sign_in::Browser;
use crate::db::people::Role;
use crate::documents::qr::Code;
use crate::web::shell::body::OpenForm;
use crate::web::shell::session;
use crate::web::shell::site::Site;
use crate::web::ui::show::count;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, SignedIn, WebError, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::http::header::{LOCATION, RETRY_AFTER};
use actix_web::{HttpRequest, HttpResponse, Responder, web};
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;

const PATH: &str = "/second-factor";
const AT_SIGN_IN: &str = "/sign-in/code";

/// `/sign-in/code` and `/second-factor`.
pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(AT_SIGN_IN)
            .route(web::get().to(ask))
            .route(web::post().to(take)),
    )
    .route(PATH, web::get().to(own))
    .route("/second-factor/begin", web::post().to(begin))
    .route("/second-factor/confirm", web::post().to(confirm))
    .route("/second-factor/off", web::post().to(turn_off));
}

/// Where a code is asked for on the way to a page.
pub(super) fn address(next: &str) -> String {
    let next = form_urlencoded::Serializer::new(String::new())
        .append_pair("next", next)
        .finish();
    format!("{AT_SIGN_IN}?{next}")
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct CodeForm {
    one_time_code: String,
    next: String,
}

async fn ask(wanted: web::Query<CodeForm>) -> Page {
    at_sign_in(&wanted.next, &FormErrors::default())
}

async fn take(
    req: HttpRequest,
    site: web::Data<Site>,
    form: OpenForm<CodeForm>,
) -> Result<HttpResponse, WebError> {
    let OpenForm(form) = form;
    let sign_in_again = || {
        HttpResponse::SeeOther()
            .insert_header((LOCATION, "/sign-in"))
            .finish()
    };
    let Some(waiting) = session::token_of(&req, &site) else {
        return Ok(sign_in_again());
    };
    let browser = Browser {
        address: &session::address(&req, &site),
        name: &session::browser(&req),
        known: session::known_of(&req, &site),
    };
    let typed = form.one_time_code.trim();
    let mut errors = FormErrors::default();
    let pool = site.clusters.of_shop(waiting.shop_id).await?;
    match second_factor::finish(&pool, &waiting, typed, browser, Utc::now()).await? {
        Finished::Begun(begun) => Ok(signed_in(&begun, &form.next, &site)),
        Finished::Late => Ok(sign_in_again()),
        Finished::Wrong => {
            errors.add(
                "one_time_code",
                "Enter the code your phone shows now, or a recovery code",
            );
            let page = at_sign_in(&form.next, &errors).status(StatusCode::UNAUTHORIZED);
            Ok(page.respond_to(&req))
        }
        Finished::TooSoon(wait) => {
            let (told, seconds) = too_soon(wait);
            errors.add("one_time_code", told);
            let page = at_sign_in(&form.next, &errors).status(StatusCode::TOO_MANY_REQUESTS);
            let mut response = page.respond_to(&req);
            response.headers_mut().insert(RETRY_AFTER, seconds.into());
            Ok(response)
        }
    }
}

fn code_field(errors: &FormErrors) -> Field {
    Field::text("one_time_code", "Code", "")
        .autocomplete("one-time-code")
        .errors(errors)
}

fn at_sign_in(next: &str, errors: &FormErrors) -> Page {
    let body = html! {
        div.sign-in {
            div.plate {
                (crate::web::ui::page::mark())
                h1 { "Enter your code" }
                p.muted { "The six digits your phone shows now, or one of your recovery codes" }
            }
            (errors.summary())
            form method="post" action=(AT_SIGN_IN) novalidate {
                input type="hidden" name="next" value=(safe_next(next));
                (code_field(errors).autofocus(errors.is_empty()))
                div.actions {
                    button type="submit" { "Sign in" }
                    a.button.quiet href="/sign-in" { "Start again" }
                }
            }
        }
    };
    Page::open("Enter your code").body(body)
}

async fn own(who: SignedIn) -> Answer {
    Ok(own_page(&who, &FormErrors::default()).await?.into())
}

async fn own_page(who: &SignedIn, errors: &FormErrors) -> Result<Page, WebError> {
    who.require(Role::Owner)?;
    let body = match second_factor::state(&who.actor(), &who.shop.name, &who.name).await? {
        State::Off => html! {
            p { "After your password you then enter a code that your phone shows. Whoever learns your password cannot sign in without your phone." }
            p { "You need an authenticator app on your phone: any that shows six-digit codes." }
            form method="post" action="/second-factor/begin" {
                (csrf_field(who))
                div.actions { button type="submit" { "Set up" } }
            }
        },
        State::Begun(setup) => setting_up(who, &setup, errors)?,
        State::On { codes } => html! {
            p { strong { "On." } " A code from your phone is asked for when you sign in. " (count(codes, "recovery code", "recovery codes")) " left." }
            p { "To move to another phone, turn it off and set it up again." }
            form method="post" action="/second-factor/off" novalidate {
                (csrf_field(who))
                (Field::password("current", "Current password").autocomplete("current-password").errors(errors))
                div.actions { button.quiet type="submit" { "Turn off" } }
            }
        },
    };
    let body = html! { div.narrow { h1 { "Second factor" } (errors.summary()) (body) } };
    Ok(Page::new(who, "Second factor").body(body))
}

fn setting_up(who: &SignedIn, setup: &Setup, errors: &FormErrors) -> Result<Markup, WebError> {
    let code = Code::of(&setup.address).map_err(|why| WebError::Internal(why.to_string()))?;
    let side = code.with_quiet_zone();
    let dark: String = code
        .dark()
        .map(|(x, y)| format!("M{x} {y}h1v1h-1z"))
        .collect();
    Ok(html! {
        ol {
            li {
                p { "Scan this with the authenticator app on your phone, or type the key into it." }
                p { svg width="220" height="220" viewBox={ "0 0 " (side) " " (side) } role="img" aria-label="The key as a QR code" {
                    rect width=(side) height=(side) fill="#fff" {}
                    path d=(dark) fill="#000" {}
                } }
                p { "Key: " code { (setup.secret) } }
            }
            li { "Enter the code it shows." }
        }
        form method="post" action="/second-factor/confirm" novalidate {
            (csrf_field(who))
            (code_field(errors))
            div.actions { button type="submit" { "Turn on" } }
        }
    })
}

#[derive(Debug, Deserialize)]
struct Nothing {}

async fn begin(who: SignedIn, _form: CheckedForm<Nothing>) -> Answer {
    second_factor::begin(&who.actor()).await?;
    Ok(Reply::see_other(PATH))
}

async fn confirm(who: SignedIn, form: CheckedForm<CodeForm>) -> Answer {
    let typed = form.one_time_code.trim();
    let Some(codes) = second_factor::confirm(&who.actor(), typed, Utc::now()).await? else {
        let mut errors = FormErrors::default();
        errors.add("one_time_code", "Enter the code your phone shows now");
        return Ok(own_page(&who, &errors).await?.invalid().into());
    };
    let body = html! {
        div.narrow {
            h1 { "Your recovery codes" }
            p { "A code from your phone is asked for from now on. If you lose the phone, one of these signs you in. Each works once. They are shown only now: print them or write them down, and keep them away from the phone." }
            ul.typed { @for code in &codes { li { code { (code) } } } }
            div.actions { a.button href=(PATH) { "I have kept them" } }
        }
    };
    Ok(Page::new(&who, "Your recovery codes").body(body).into())
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct OffForm {
    current: String,
}

async fn turn_off(who: SignedIn, site: web::Data<Site>, form: CheckedForm<OffForm>) -> Answer {
    if second_factor::turn_off(&who.actor(), &site.hashing, &form.current).await? {
        return Ok(Reply::see_other(PATH).flash("The second factor is off."));
    }
    let mut errors = FormErrors::default();
    errors.add("current", "Enter your current password");
    Ok(own_page(&who, &errors).await?.invalid().into())
}
