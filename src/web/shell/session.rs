//! Sessions: the token in a cookie, and where a request comes from.

use super::site::Site;
use crate::app::token::Token;
use crate::db::sessions;
use actix_web::cookie::time::Duration as CookieDuration;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::http::Uri;
use actix_web::http::header::LOCATION;
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

/// Where a request comes from, for the brake. A caller can write anything into `X-Forwarded-For`, so it is read only
/// behind a proxy of ours, and then only the entry that proxy added, the last.
pub(in crate::web) fn address(req: &HttpRequest, site: &Site) -> String {
    let forwarded = || {
        let header = req.headers().get("x-forwarded-for")?.to_str().ok()?;
        header.rsplit(',').next().map(|last| last.trim().to_owned())
    };
    site.behind_proxy
        .then(forwarded)
        .flatten()
        .or_else(|| req.peer_addr().map(|peer| peer.ip().to_string()))
        .unwrap_or_default()
}
