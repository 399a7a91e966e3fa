//! The block that a job machines: what is asked for, in the measures of the casting it is made of.

use crate::castings::related::on_the_donor;
use crate::castings::{Pattern, Variant};
use crate::db::{DbError, ShopTx, castings, related_patterns};
use uuid::Uuid;

/// What a job makes, as it is on the block: a donor of another pattern is measured from its own datums, on its own faces.
/// `None` where its quote was for no variant.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn as_on_the_block(
    tx: &mut ShopTx,
    job_id: Uuid,
) -> Result<Option<(Pattern, Variant)>, DbError> {
    let Some(wanted) = related_patterns::wanted_of_job(tx, job_id).await? else {
        return Ok(None);
    };
    let Some(donor) = wanted.related else {
        return Ok(Some((wanted.pattern, wanted.variant)));
    };
    // A pattern that was deleted since leaves no face to draw, and the operations say how far its places are moved.
    let of_donor = castings::these_patterns(tx, &[donor.pattern]).await?;
    let outlines = of_donor.into_iter().next().map(|pattern| pattern.outlines);
    let pattern = Pattern {
        outlines: outlines.unwrap_or_default(),
        ..wanted.pattern
    };
    let variant = on_the_donor(&wanted.variant, &donor.shifts);
    Ok(Some((pattern, variant)))
}
