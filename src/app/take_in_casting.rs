//! Goods in: a casting is put on the shelf with where it came from, its marks and what was measured on it; all of it or
//! nothing.

use crate::castings::identify::Finding;
use crate::castings::{Pattern, Variant};
use crate::db::casting_records::{self, Measurement, Origin};
use crate::db::castings_on_shelf::{self, CastingDetails};
use crate::db::{DbError, ShopTx, castings};
use uuid::Uuid;

/// Every pattern of the register with its variants: what a casting is identified against.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn register(tx: &mut ShopTx) -> Result<Vec<(Pattern, Vec<Variant>)>, DbError> {
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

/// Puts a casting on the shelf; returns its key and the number on its tag. `instrument` is what the findings at places
/// were measured with.
///
/// # Errors
/// [`DbError::NotFound`] when its variant or sighting is gone, [`DbError::Database`].
pub async fn take_in(
    tx: &mut ShopTx,
    details: &CastingDetails,
    origin: &Origin,
    findings: Vec<Finding>,
    instrument: &str,
) -> Result<(Uuid, i64), DbError> {
    let (id, number) = castings_on_shelf::create(tx, details).await?;
    casting_records::set_origin(tx, id, origin).await?;
    for finding in findings {
        match finding {
            Finding::Mark(mark) => casting_records::add_mark(tx, id, &mark).await?,
            Finding::At(place, found) => {
                let measurement = Measurement {
                    what: place.to_string(),
                    place: Some(place),
                    found,
                    instrument: instrument.to_owned(),
                };
                casting_records::add_measurement(tx, id, &measurement).await?;
            }
        }
    }
    Ok((id, number))
}
