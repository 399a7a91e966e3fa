//! Goods in: a casting is put on the shelf with where it came from, its marks and what was measured on it; all of it or
//! nothing.

use super::{Actor, AppError, once};
use crate::castings::identify::Finding;
use crate::castings::{Pattern, Variant};
use crate::db::api_requests::Keyed;
use crate::db::casting_records::{self, Measurement, Origin};
use crate::db::castings_on_shelf::{self, CastingDetails};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, castings};
use uuid::Uuid;

/// Every pattern of the register with its variants: what a casting is identified against.
///
/// # Errors
/// [`AppError::Db`].
pub async fn register(actor: &Actor) -> Result<Vec<(Pattern, Vec<Variant>)>, AppError> {
    let tx = &mut actor.begin().await?;
    let mut variants = castings::variants(tx).await?;
    let mut patterns = Vec::new();
    for pattern in castings::patterns(tx).await? {
        let (of, rest): (Vec<_>, Vec<_>) = variants
            .into_iter()
            .partition(|v| v.pattern_id == pattern.id);
        variants = rest;
        patterns.push((pattern, of));
    }
    Ok(patterns)
}

/// Goods in.
#[derive(Debug, Clone)]
pub struct GoodsIn {
    /// The casting.
    pub details: CastingDetails,
    /// Where it came from.
    pub origin: Origin,
    /// Its marks, and what was found at its places.
    pub findings: Vec<Finding>,
    /// What the findings at places were measured with.
    pub instrument: String,
}

/// Puts a casting on the shelf, for the office; once under a key. Returns its key and the number on its tag.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::KeyUsed`]; [`AppError::Db`], as [`DbError::NotFound`] when its variant or sighting is gone.
pub async fn take_in(
    actor: &Actor,
    goods: GoodsIn,
    keyed: Option<&Keyed>,
) -> Result<(Uuid, i64), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let (id, number) = castings_on_shelf::create(&mut tx, &goods.details).await?;
    casting_records::set_origin(&mut tx, id, &goods.origin).await?;
    for finding in goods.findings {
        write(&mut tx, id, finding, &goods.instrument).await?;
    }
    let counts = once::finish(tx, id, keyed).await?;
    if counts == id {
        return Ok((id, number));
    }
    let earlier = castings_on_shelf::get(&mut actor.begin().await?, counts).await?;
    Ok((earlier.id, earlier.number))
}

async fn write(
    tx: &mut ShopTx,
    casting_id: Uuid,
    finding: Finding,
    instrument: &str,
) -> Result<(), DbError> {
    match finding {
        Finding::Mark(mark) => casting_records::add_mark(tx, casting_id, &mark).await,
        Finding::At(place, found) => {
            let measurement = Measurement {
                what: place.to_string(),
                place: Some(place),
                found,
                instrument: instrument.to_owned(),
            };
            casting_records::add_measurement(tx, casting_id, &measurement).await
        }
    }
}
