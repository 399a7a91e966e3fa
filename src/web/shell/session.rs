//! Sessions: the token in a cookie, password hashing off the async workers, and where a request comes from.

use super::error::WebError;
use super::site::Site;
use crate::app::password;
use crate::db::{ShopTx, sessions};
use actix_web::cookie::time::Duration as CookieDuration;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::http::Uri;
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use rand::TryRng;
use rand::rngs::SysRng;
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// What a cookie that opens something holds: the shop, known before anything is looked up, and 256 random bits.
pub(in crate::web) struct Token {
    pub(in crate::web) shop_id: Uuid,
    secret: [u8; 32],
}

impl Token {
    /// A new one.
    pub(in crate::web) fn new(shop_id: Uuid) -> Result<Self, WebError> {
        Ok(Self {
            shop_id,
            secret: random()?,
        })
    }

    /// The one a request carries.
    pub(in crate::web) fn of(req: &HttpRequest, site: &Site) -> Option<Self> {
        Self::read(req.cookie(cookie_name(site.secure_cookies))?.value())
    }

    /// From what a cookie holds.
    pub(in crate::web) fn read(text: &str) -> Option<Self> {
        let (shop_id, secret) = text.split_once('.')?;
        Some(Self {
            shop_id: Uuid::try_parse(shop_id).ok()?,
            secret: URL_SAFE_NO_PAD.decode(secret).ok()?.try_into().ok()?,
        })
    }

    /// What is stored in its place.
    pub(in crate::web) fn hash(&self) -> [u8; 32] {
        Sha256::digest(self.secret).into()
    }

    /// What a cookie holds.
    pub(in crate::web) fn text(&self) -> String {
        format!(
            "{}.{}",
            self.shop_id.simple(),
            URL_SAFE_NO_PAD.encode(self.secret)
        )
    }

    pub(in crate::web) fn cookie(&self, secure: bool) -> Cookie<'static> {
        let mut cookie = session_cookie(self.text(), secure);
        cookie.set_max_age(CookieDuration::seconds(sessions::LONGEST.num_seconds()));
        cookie
    }
}

pub(in crate::web) fn random() -> Result<[u8; 32], WebError> {
    let mut bytes = [0; 32];
    SysRng
        .try_fill_bytes(&mut bytes)
        .map_err(|error| WebError::Internal(format!("no randomness: {error}")))?;
    Ok(bytes)
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

/// Compares a password off the async workers, a few at a time.
pub(in crate::web) async fn verify(
    site: &Site,
    typed: &str,
    stored: String,
) -> Result<bool, WebError> {
    let typed = typed.to_owned();
    hashing(site, move || password::verify(&typed, &stored)).await
}

/// Hashes a password off the async workers, a few at a time.
pub(in crate::web) async fn hash(site: &Site, typed: &str) -> Result<String, WebError> {
    let typed = typed.to_owned();
    hashing(site, move || password::hash(&typed)).await
}

async fn hashing<T: Send + 'static>(
    site: &Site,
    work: impl FnOnce() -> Result<T, password::PasswordError> + Send + 'static,
) -> Result<T, WebError> {
    let internal = |error: &dyn std::fmt::Display| WebError::Internal(error.to_string());
    let _turn = site
        .hashing
        .acquire()
        .await
        .map_err(|error| internal(&error))?;
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|error| internal(&error))?
        .map_err(|error| internal(&error))
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

/// Ends the session of a request, and gives the cookie that makes its browser forget it.
pub(in crate::web) async fn end_here(
    tx: &mut ShopTx,
    req: &HttpRequest,
    site: &Site,
) -> Result<Cookie<'static>, WebError> {
    if let Some(token) = Token::of(req, site) {
        sessions::end(tx, &token.hash()).await?;
    }
    let mut gone = session_cookie(String::new(), site.secure_cookies);
    gone.make_removal();
    Ok(gone)
}
