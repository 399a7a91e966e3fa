//! The gate before every route: nobody gets past it without signing in, to the bench nobody but a known device, and no
//! other site may post through it.

use super::body::keep_typed;
use super::device::{AtBench, is_bench};
use super::error::{WebError, is_for_machines};
use super::feed_address::is_feed;
use super::health::is_health;
use super::metrics;
use super::session;
use super::site::Site;
use crate::app::Actor;
use crate::app::token::Token;
use crate::db::api_tokens::{self, TokenScope};
use crate::db::people::Role;
use crate::db::sessions::{self, Session};
use crate::db::{DbError, Scope, ShopTx};
use crate::units::{Code, Currency, LengthUnit};
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::http::header::{self, HeaderMap, HeaderValue};
use actix_web::http::{Method, Uri};
use actix_web::middleware::Next;
use actix_web::{FromRequest, HttpMessage, HttpRequest, ResponseError, web};
use chrono::{NaiveDate, Utc};
use sqlx::PgPool;
use std::future::{Ready, ready};
use tracing::Span;
use tracing::field::display;

/// What is reachable without signing in. Everything else is not, whether or not it exists.
fn is_open(path: &str) -> bool {
    matches!(
        path,
        "/sign-in" | "/sign-in/code" | "/set-up" | metrics::PATH
    ) || is_health(path)
        || path.starts_with("/static/")
        || is_feed(path)
}

/// What a screen must know of the shop to read and show values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShopProfile {
    /// Its name.
    pub name: String,
    /// What its money is in.
    pub currency: Currency,
    /// Where its clock hangs.
    pub time_zone: chrono_tz::Tz,
    /// What a bare number means where a length is typed.
    pub length_unit: LengthUnit,
}

/// The person who sent the request. Taking it as a handler's argument is how a screen knows who and which shop.
#[derive(Debug, Clone)]
pub struct SignedIn {
    /// For [`ShopTx::begin`].
    pub scope: Scope,
    /// The person's key.
    pub person_id: uuid::Uuid,
    /// The person's name.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// What every form of theirs must carry; see [`crate::web::ui::csrf_field`].
    pub csrf_token: String,
    /// Their shop.
    pub shop: ShopProfile,
    /// Whether a program comes with a token in their place.
    program: bool,
    pool: PgPool,
}

impl SignedIn {
    fn new(scope: Scope, session: Session, pool: PgPool) -> Result<Self, DbError> {
        let corrupt = |what, why| DbError::Corrupt { what, why };
        Ok(Self {
            scope: Scope {
                person_id: Some(session.person_id),
                ..scope
            },
            person_id: session.person_id,
            name: session.name,
            role: session.role,
            csrf_token: session.csrf_token,
            shop: ShopProfile {
                currency: Currency::from_code(&session.currency)
                    .map_err(|error| corrupt("currency", error.to_string()))?,
                time_zone: session
                    .time_zone
                    .parse()
                    .map_err(|_| corrupt("time zone", session.time_zone.clone()))?,
                length_unit: LengthUnit::from_code(&session.length_unit)
                    .ok_or_else(|| corrupt("length unit", session.length_unit.clone()))?,
                name: session.shop_name,
            },
            program: false,
            pool,
        })
    }

    /// A transaction of this shop on this person's behalf.
    ///
    /// # Errors
    /// [`DbError::Database`] when the server cannot be reached.
    pub async fn begin(&self) -> Result<ShopTx, DbError> {
        ShopTx::begin(&self.pool, self.scope).await
    }

    /// The same person as use cases take them.
    #[must_use]
    pub fn actor(&self) -> Actor {
        Actor::new(self.pool.clone(), self.scope, self.role)
    }

    /// The shop's calendar day now.
    #[must_use]
    pub fn today(&self) -> NaiveDate {
        Utc::now().with_timezone(&self.shop.time_zone).date_naive()
    }

    /// Whether they may do what this role may.
    #[must_use]
    pub fn may(&self, role: Role) -> bool {
        self.role >= role
    }

    /// Refuses programs: a token that got into wrong hands makes nobody who outlives it.
    ///
    /// # Errors
    /// [`WebError::Forbidden`], in words.
    pub fn require_in_person(&self) -> Result<(), WebError> {
        if self.program {
            let why = "People can be added or changed only by someone who is signed in, not with a token.";
            return Err(WebError::Forbidden(why.to_owned()));
        }
        Ok(())
    }

    /// Refuses those who may not do what this role may.
    ///
    /// # Errors
    /// [`WebError::Forbidden`], in words.
    pub fn require(&self, role: Role) -> Result<(), WebError> {
        if self.may(role) {
            return Ok(());
        }
        Err(WebError::needs(role))
    }
}

impl FromRequest for SignedIn {
    type Error = WebError;
    type Future = Ready<Result<Self, WebError>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(
            req.extensions()
                .get::<Self>()
                .cloned()
                .ok_or(WebError::SignInNeeded),
        )
    }
}

/// The middleware: refuses what another site sends, lets the open paths through, and for all others finds the session.
pub(in crate::web) async fn gate(
    mut req: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, actix_web::Error> {
    match admit(&req).await {
        Ok(admitted) => {
            match admitted {
                Admitted::Anyone => {}
                Admitted::Person(who) => {
                    Span::current()
                        .record("shop", display(who.scope.shop_id))
                        .record("person", display(who.person_id));
                    req.extensions_mut().insert(who);
                }
                Admitted::Device(at) => {
                    Span::current()
                        .record("shop", display(at.shop_id))
                        .record("device", display(at.device.id));
                    req.extensions_mut().insert(at);
                }
            }
            next.call(req)
                .await
                .map(ServiceResponse::map_into_boxed_body)
        }
        Err(error) => {
            if error.status_code().is_server_error() {
                tracing::warn!(%error, "a request could not be let through");
            }
            if *req.method() == Method::POST && !from_elsewhere(req.headers(), req.uri()) {
                let payload = req.take_payload();
                keep_typed(req.request(), payload).await;
            }
            let response = match error {
                WebError::SignInNeeded if wants_page(&req) => session::ask(req.uri()),
                WebError::SignInNeeded if *req.method() == Method::POST => {
                    WebError::FromEarlierSignIn { signed_in: false }.error_response()
                }
                other => other.error_response(),
            };
            Ok(req.into_response(response))
        }
    }
}

/// Who got past the gate.
enum Admitted {
    /// What is open is open to anyone.
    Anyone,
    Person(SignedIn),
    Device(AtBench),
}

async fn admit(req: &ServiceRequest) -> Result<Admitted, WebError> {
    let place = req.uri().path_and_query().map_or("", |p| p.as_str());
    if place.contains("%00") {
        // PostgreSQL text cannot hold it, so it can name nothing.
        return Err(WebError::BadRequest(
            "The address holds a character that cannot be read.".to_owned(),
        ));
    }
    if !req.method().is_safe() && from_elsewhere(req.headers(), req.uri()) {
        return Err(WebError::Forbidden(
            "This form was sent from another site, so nothing was done.".to_owned(),
        ));
    }
    if is_open(req.path()) {
        return Ok(Admitted::Anyone);
    }
    let site = req
        .app_data::<web::Data<Site>>()
        .ok_or_else(|| WebError::Internal("the site is not configured".to_owned()))?;
    if is_bench(req.path()) {
        return Ok(Admitted::Device(AtBench::find(req.request(), site).await?));
    }
    if is_api(req.path())
        && let Some(header) = req.headers().get(header::AUTHORIZATION)
    {
        return Ok(Admitted::Person(bearer(req, site, header).await?));
    }
    let token = session::token_of(req.request(), site).ok_or(WebError::SignInNeeded)?;
    let scope = Scope {
        shop_id: token.shop_id,
        person_id: None,
    };
    let pool = site.clusters.of_shop(scope.shop_id).await?;
    let mut tx = ShopTx::begin(&pool, scope).await?;
    let session = sessions::find(&mut tx, &token.hash(), Utc::now())
        .await?
        .ok_or(WebError::SignInNeeded)?;
    tx.commit().await?;
    let who = SignedIn::new(scope, session, pool)?;
    Ok(Admitted::Person(who))
}

/// What is asked for by programs.
fn is_api(path: &str) -> bool {
    path.starts_with("/api/")
}

/// Who comes with a token in place of a session. One that only reads changes nothing, whatever its person may.
async fn bearer(
    req: &ServiceRequest,
    site: &Site,
    header: &HeaderValue,
) -> Result<SignedIn, WebError> {
    let token = header
        .to_str()
        .ok()
        .and_then(|text| {
            let (scheme, token) = text.split_once(' ')?;
            scheme
                .eq_ignore_ascii_case("bearer")
                .then_some(token.trim())
        })
        .and_then(Token::read)
        .ok_or(WebError::SignInNeeded)?;
    let scope = Scope {
        shop_id: token.shop_id,
        person_id: None,
    };
    let pool = site.clusters.of_shop(scope.shop_id).await?;
    let mut tx = ShopTx::begin(&pool, scope).await?;
    let (session, may) = api_tokens::find(&mut tx, &token.hash(), Utc::now())
        .await?
        .ok_or(WebError::SignInNeeded)?;
    tx.commit().await?;
    if may == TokenScope::Read && !req.method().is_safe() {
        return Err(WebError::Forbidden("This token may only read.".to_owned()));
    }
    Ok(SignedIn {
        program: true,
        ..SignedIn::new(scope, session, pool)?
    })
}

/// Whether a browser is looking for a page, and so can be sent to sign in.
fn wants_page(req: &ServiceRequest) -> bool {
    *req.method() == Method::GET
        && !is_for_machines(req.request())
        && !req.headers().contains_key("x-live")
}

/// Whether the headers say that another site's page sent this. Every current browser sends `Sec-Fetch-Site` or, with
/// unsafe methods, `Origin` (OWASP Cross-Site Request Forgery Prevention Cheat Sheet, fetch metadata with fallback to
/// the origin); a client that sends neither is no browser and carries no cookie it was not given.
fn from_elsewhere(headers: &HeaderMap, uri: &Uri) -> bool {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    if let Some(site) = text("sec-fetch-site") {
        return !matches!(site, "same-origin" | "none");
    }
    let Some(origin) = text(header::ORIGIN.as_str()) else {
        return false;
    };
    let host = text(header::HOST.as_str()).or_else(|| uri.authority().map(|a| a.as_str()));
    origin
        .parse::<Uri>()
        .ok()
        .and_then(|uri| uri.authority().map(|a| a.as_str().to_owned()))
        .as_deref()
        != host
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::http::header::HeaderName;

    fn judged(pairs: &[(&'static str, &'static str)]) -> bool {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.insert(
                HeaderName::from_static(name),
                HeaderValue::from_static(value),
            );
        }
        from_elsewhere(&headers, &Uri::from_static("/jobs"))
    }

    #[test]
    fn only_our_own_pages_may_post() {
        assert!(!judged(&[("sec-fetch-site", "same-origin")]));
        assert!(!judged(&[("sec-fetch-site", "none")]));
        assert!(judged(&[("sec-fetch-site", "same-site")]));
        assert!(judged(&[("sec-fetch-site", "cross-site")]));
        assert!(!judged(&[
            ("host", "shop:8080"),
            ("origin", "http://shop:8080")
        ]));
        assert!(judged(&[
            ("host", "shop:8080"),
            ("origin", "http://shop:9090")
        ]));
        assert!(judged(&[("host", "shop:8080"), ("origin", "null")]));
        assert!(!judged(&[("host", "shop:8080")]));
    }

    #[test]
    fn open_paths_are_few() {
        for path in [
            "/sign-in",
            "/sign-in/code",
            "/set-up",
            "/health",
            "/health/live",
            "/static/0/x.css",
        ] {
            assert!(is_open(path), "{path}");
        }
        for path in [
            "/",
            "/sign-in/x",
            "/healthz",
            "/health/x",
            "/static",
            "/jobs",
            "//static/",
            "/feeds",
            "/feeds/guess.ics",
            "/api/x",
        ] {
            assert!(!is_open(path), "{path}");
        }
    }
}
