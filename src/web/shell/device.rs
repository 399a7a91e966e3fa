//! Known devices: a long random token in a cookie that only the owner hands out.

use super::error::WebError;
use crate::app::Actor;
use crate::app::token::Token;
use crate::db::devices::{self, Device};
use crate::db::people::Role;
use crate::db::{DbError, Scope, ShopTx};
use crate::web::shell::site::Site;
use actix_web::cookie::time::Duration as CookieDuration;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use chrono::{NaiveDate, Utc};
use chrono_tz::Tz;
use sqlx::PgPool;
use std::future::{Ready, ready};
use uuid::Uuid;

/// The known device that sent the request. Taking it as a handler's argument is how a bench page knows device and shop.
#[derive(Debug, Clone)]
pub struct AtBench {
    /// The shop.
    pub shop_id: Uuid,
    /// The shop's name.
    pub shop_name: String,
    /// Where the shop's clock hangs.
    pub zone: Tz,
    /// The device.
    pub device: Device,
    pool: PgPool,
}

impl AtBench {
    /// The device behind a request.
    ///
    /// # Errors
    /// [`WebError::DeviceUnknown`], or what the store says.
    pub(in crate::web) async fn find(req: &HttpRequest, site: &Site) -> Result<Self, WebError> {
        let token = req
            .cookie(cookie_name(site.secure_cookies))
            .and_then(|cookie| Token::read(cookie.value()))
            .ok_or(WebError::DeviceUnknown)?;
        let scope = Scope {
            shop_id: token.shop_id,
            person_id: None,
        };
        let pool = site.clusters.of_shop(scope.shop_id).await?;
        let mut tx = ShopTx::begin(&pool, scope).await?;
        let known = devices::find(&mut tx, &token.hash(), Utc::now())
            .await?
            .ok_or(WebError::DeviceUnknown)?;
        tx.commit().await?;
        Ok(Self {
            shop_id: token.shop_id,
            shop_name: known.shop_name,
            zone: known.time_zone.parse().map_err(|_| DbError::Corrupt {
                what: "time zone",
                why: known.time_zone.clone(),
            })?,
            device: known.device,
            pool,
        })
    }

    /// The shop's calendar day now.
    #[must_use]
    pub fn today(&self) -> NaiveDate {
        Utc::now().with_timezone(&self.zone).date_naive()
    }

    /// The device as use cases take it, on behalf of the person who is signed on, if one is: at the bench nobody may more
    /// than a machinist.
    #[must_use]
    pub fn actor(&self, person_id: Option<Uuid>) -> Actor {
        let scope = Scope {
            shop_id: self.shop_id,
            person_id,
        };
        Actor::new(self.pool.clone(), scope, Role::Machinist)
    }

    /// A transaction of this shop, on a person's behalf when one is signed on.
    ///
    /// # Errors
    /// [`DbError::Database`] when the server cannot be reached.
    pub async fn begin(&self, person_id: Option<Uuid>) -> Result<ShopTx, DbError> {
        let scope = Scope {
            shop_id: self.shop_id,
            person_id,
        };
        ShopTx::begin(&self.pool, scope).await
    }
}

impl FromRequest for AtBench {
    type Error = WebError;
    type Future = Ready<Result<Self, WebError>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(
            req.extensions()
                .get::<Self>()
                .cloned()
                .ok_or(WebError::DeviceUnknown),
        )
    }
}

/// As with sign-in, the `__Host-` prefix makes browsers refuse a cookie set from elsewhere.
fn cookie_name(secure: bool) -> &'static str {
    if secure {
        "__Host-borewright-device"
    } else {
        "borewright-device"
    }
}

/// The cookie that makes this browser a known device, for as long as browsers keep any (400 days, RFC 6265bis, from
/// memory). Sent along when a route card's code opens the bench, so not `Strict`.
pub(in crate::web) fn cookie(token: &Token, secure: bool) -> Cookie<'static> {
    Cookie::build(cookie_name(secure), token.text())
        .path("/")
        .http_only(true)
        .secure(secure)
        .same_site(SameSite::Lax)
        .max_age(CookieDuration::days(400))
        .finish()
}

/// Whether a path belongs to the bench.
#[must_use]
pub fn is_bench(path: &str) -> bool {
    path == "/bench" || path.starts_with("/bench/")
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_bench_is_no_more_than_the_bench() {
        for path in ["/bench", "/bench/entries", "/bench/"] {
            assert!(super::is_bench(path), "{path}");
        }
        for path in ["/benches", "/", "/jobs/bench", "//bench"] {
            assert!(!super::is_bench(path), "{path}");
        }
    }
}
