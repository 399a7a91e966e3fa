//! Sessions: the token in a cookie, and where a request comes from.

use super::proxies::{is_ours, origin};
use super::site::Site;
use crate::app::token::Token;
use crate::db::{attempts, sessions};
use actix_web::cookie::time::Duration as CookieDuration;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::http::Uri;
use actix_web::http::header::{LOCATION, USER_AGENT};
use actix_web::{HttpRequest, HttpResponse};

/// The token of the session that a request carries.
pub(in crate::web) fn token_of(req: &HttpRequest, site: &Site) -> Option<Token> {
    Token::read(req.cookie(cookie_name(site.secure_cookies))?.value())
}

/// The cookie that carries a session.
pub(in crate::web) fn cookie(token: &Token, secure: bool) -> Cookie<'static> {
    let mut cookie = session_cookie(token.text(), secure);
    cookie.set_max_age(CookieDuration::seconds(sessions::LONGEST.num_seconds()));
    cookie
}

/// The token by which a browser is known, that a request carries.
pub(in crate::web) fn known_of(req: &HttpRequest, site: &Site) -> Option<Token> {
    Token::read(req.cookie(known_name(site.secure_cookies))?.value())
}

/// The cookie by which a browser is known. It opens nothing: it only spares whoever has signed in from here before what
/// others do to their name.
pub(in crate::web) fn known(token: &Token, secure: bool) -> Cookie<'static> {
    Cookie::build(known_name(secure), token.text())
        .path("/")
        .http_only(true)
        .secure(secure)
        .same_site(SameSite::Strict)
        .max_age(CookieDuration::seconds(attempts::KNOWN_FOR.num_seconds()))
        .finish()
}

fn known_name(secure: bool) -> &'static str {
    if secure {
        "__Host-borewright-known"
    } else {
        "borewright-known"
    }
}

/// What the browser calls itself, as far as it is kept.
pub(in crate::web) fn browser(req: &HttpRequest) -> String {
    let name = req.headers().get(USER_AGENT);
    let name = name.and_then(|name| name.to_str().ok()).unwrap_or_default();
    name.chars().take(200).collect()
}

/// The cookie that makes a browser forget its session.
pub(in crate::web) fn forgotten(site: &Site) -> Cookie<'static> {
    let mut gone = session_cookie(String::new(), site.secure_cookies);
    gone.make_removal();
    gone
}

/// The `__Host-` prefix makes browsers refuse a cookie set from elsewhere; they take it over HTTPS only.
fn cookie_name(secure: bool) -> &'static str {
    if secure {
        "__Host-borewright"
    } else {
        "borewright"
    }
}

fn session_cookie(value: String, secure: bool) -> Cookie<'static> {
    Cookie::build(cookie_name(secure), value)
        .path("/")
        .http_only(true)
        .secure(secure)
        .same_site(SameSite::Lax)
        .finish()
}

/// Sends a browser to sign in, and back to where it wanted to go.
pub(in crate::web) fn ask(wanted: &Uri) -> HttpResponse {
    let wanted = wanted.path_and_query().map_or("/", |path| path.as_str());
    let to = if wanted == "/" {
        "/sign-in".to_owned()
    } else {
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("next", wanted)
            .finish();
        format!("/sign-in?{query}")
    };
    HttpResponse::SeeOther()
        .insert_header((LOCATION, to))
        .finish()
}

/// Whether a proxy of ours passes it on.
pub(in crate::web) fn is_passed_on(req: &HttpRequest, site: &Site) -> bool {
    req.peer_addr()
        .is_some_and(|peer| is_ours(&site.proxies, peer.ip()))
}

/// Where a request comes from.
pub(in crate::web) fn address(req: &HttpRequest, site: &Site) -> String {
    let forwarded: Vec<&str> = req
        .headers()
        .get_all("x-forwarded-for")
        .filter_map(|line| line.to_str().ok())
        .collect();
    req.peer_addr().map_or_else(String::new, |peer| {
        origin(&site.proxies, peer.ip(), forwarded.into_iter()).to_string()
    })
}
