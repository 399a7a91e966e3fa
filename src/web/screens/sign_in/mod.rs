//! Signing in and out.

mod second_factor;

use crate::app::set_up_shop::shop_stands;
use crate::app::sign_in::{self, Begun, Browser, SignIn, SignedIn};
use crate::db::sessions;
use crate::web::screens::set_up;
use crate::web::shell::body::OpenForm;
use crate::web::shell::session;
use crate::web::shell::site::Site;
use crate::web::ui::forms::{CheckedForm, Field, FormErrors};
use crate::web::ui::page::{Answer, Page, Reply};
use crate::web::ui::{self, WebError};
use actix_web::http::StatusCode;
use actix_web::http::header::{LOCATION, RETRY_AFTER};
use actix_web::{HttpRequest, HttpResponse, Responder, web};
use chrono::{TimeDelta, Utc};
use maud::html;
use serde::Deserialize;

/// `/sign-in` and `/sign-out`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/sign-in")
            .route(web::get().to(show))
            .route(web::post().to(sign_in)),
    )
    .route("/sign-out", web::post().to(sign_out));
    second_factor::routes(cfg);
}

/// An address of ours to go on to; `/` for anything that could lead elsewhere.
fn safe_next(next: &str) -> &str {
    let ours = next.starts_with('/')
        && !next.starts_with("//")
        && next.len() <= 1_000
        && next.chars().all(|c| c.is_ascii_graphic() && c != '\\');
    if ours { next } else { "/" }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Wanted {
    next: String,
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct SignInForm {
    shop: String,
    sign_in: String,
    password: String,
    next: String,
}

impl std::fmt::Debug for SignInForm {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SignInForm")
            .field("shop", &self.shop)
            .field("sign_in", &self.sign_in)
            .finish_non_exhaustive()
    }
}

async fn show(site: web::Data<Site>, wanted: web::Query<Wanted>) -> Answer {
    let only = sessions::only_shop(&site.pool).await?;
    if only.is_none() && !shop_stands(&site.pool).await? {
        return Ok(Reply::see_other(set_up::PATH));
    }
    let form = SignInForm {
        next: wanted.into_inner().next,
        ..SignInForm::default()
    };
    Ok(view(&form, only.is_none(), &FormErrors::default(), None).into())
}

async fn sign_in(
    req: HttpRequest,
    site: web::Data<Site>,
    form: OpenForm<SignInForm>,
) -> Result<HttpResponse, WebError> {
    let OpenForm(form) = form;
    let only = sessions::only_shop(&site.pool).await?;
    let ask_shop = only.is_none();
    let mut errors = FormErrors::default();
    if ask_shop {
        errors.required_text("shop", &form.shop, 40);
    }
    let name = errors.required_text("sign_in", &form.sign_in, 80);
    if form.password.is_empty() {
        errors.add("password", "Required");
    }
    let Some(name) = name.filter(|_| errors.is_empty()) else {
        let page = view(&form, ask_shop, &errors, None).invalid();
        return Ok(page.respond_to(&req));
    };
    let shop = match only {
        Some(shop) => Some(shop),
        None => sessions::shop_named(&site.pool, &form.shop).await?,
    };
    let address = session::address(&req, &site);
    let asked = SignIn {
        shop_id: shop.map_or_else(|| sign_in::no_shop(&form.shop), |shop| shop.shop_id),
        name: &name,
        password: &form.password,
        browser: Browser {
            address: &address,
            name: &session::browser(&req),
            known: session::known_of(&req, &site),
        },
        earlier: session::token_of(&req, &site),
    };
    let pool = site.clusters.of_shop(asked.shop_id).await?;
    match sign_in::sign_in(&pool, &site.hashing, asked, Utc::now()).await? {
        SignedIn::Begun(begun) => Ok(signed_in(&begun, &form.next, &site)),
        SignedIn::CodeNeeded(waiting) => Ok(HttpResponse::SeeOther()
            .insert_header((LOCATION, second_factor::address(safe_next(&form.next))))
            .cookie(session::cookie(&waiting, site.secure_cookies))
            .finish()),
        SignedIn::Wrong => {
            let told = if ask_shop {
                "This shop, name and password do not belong together. Check each and try again."
            } else {
                "This name and password do not belong together. Check both and try again."
            };
            let page = view(&form, ask_shop, &errors, Some(told)).status(StatusCode::UNAUTHORIZED);
            Ok(page.respond_to(&req))
        }
        SignedIn::TooSoon(wait) => {
            let (told, seconds) = too_soon(wait);
            let page =
                view(&form, ask_shop, &errors, Some(&told)).status(StatusCode::TOO_MANY_REQUESTS);
            let mut response = page.respond_to(&req);
            response.headers_mut().insert(RETRY_AFTER, seconds.into());
            Ok(response)
        }
    }
}

/// What to say of a wait, and its seconds. Rounded up: a browser told "2" that comes back after 2.0 s must not be early.
fn too_soon(wait: TimeDelta) -> (String, i64) {
    let seconds = wait.num_milliseconds().max(0) / 1_000 + 1;
    let told = format!(
        "That was tried too often. Wait {} and try again.",
        crate::web::ui::show::count(seconds, "second", "seconds")
    );
    (told, seconds)
}

/// Sends a browser on with its session.
fn signed_in(begun: &Begun, next: &str, site: &Site) -> HttpResponse {
    HttpResponse::SeeOther()
        .insert_header((LOCATION, safe_next(next)))
        .cookie(session::cookie(&begun.session, site.secure_cookies))
        .cookie(session::known(&begun.known, site.secure_cookies))
        .finish()
}

#[derive(Debug, Deserialize)]
struct Nothing {}

async fn sign_out(
    req: HttpRequest,
    site: web::Data<Site>,
    who: ui::SignedIn,
    _form: CheckedForm<Nothing>,
) -> Answer {
    if let Some(token) = session::token_of(&req, &site) {
        sign_in::sign_out(&who.actor(), &token).await?;
    }
    Ok(HttpResponse::SeeOther()
        .insert_header((LOCATION, "/sign-in"))
        .cookie(session::forgotten(&site))
        .finish()
        .into())
}

fn view(form: &SignInForm, ask_shop: bool, errors: &FormErrors, told: Option<&str>) -> Page {
    let focus = match () {
        () if !errors.is_empty() => "",
        () if ask_shop && form.shop.is_empty() => "shop",
        () if form.sign_in.is_empty() => "sign_in",
        () => "password",
    };
    let body = html! {
        div.sign-in {
            div.plate {
                (crate::web::ui::page::mark())
                h1 { "Sign in" }
                p.muted { "Borewright" }
            }
            @if let Some(told) = told {
                p.notice.bad role="alert" { span.sign aria-hidden="true" { "!" } " " (told) }
            }
            (errors.summary())
            form method="post" action="/sign-in" novalidate {
                input type="hidden" name="next" value=(safe_next(&form.next));
                @if ask_shop {
                    (Field::text("shop", "Shop", &form.shop)
                        .hint("Its short name, as the owner gave it to you")
                        .autocomplete("organization").autofocus(focus == "shop").errors(errors))
                }
                (Field::text("sign_in", "Name", &form.sign_in)
                    .autocomplete("username").autofocus(focus == "sign_in").errors(errors))
                (Field::password("password", "Password")
                    .autocomplete("current-password").autofocus(focus == "password").errors(errors))
                div.actions { button type="submit" { "Sign in" } }
            }
        }
    };
    Page::open("Sign in").body(body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn going_on_leads_nowhere_else() {
        for next in ["/jobs", "/castings/1?tab=faces", "/a//b"] {
            assert_eq!(safe_next(next), next);
        }
        for next in [
            "",
            "//elsewhere.example",
            "/\\elsewhere.example",
            "https://elsewhere.example",
            "jobs",
            "/a\r\nset-cookie: x",
            "/\t/elsewhere.example",
            "javascript:alert(1)",
        ] {
            assert_eq!(safe_next(next), "/", "{next}");
        }
    }
}
