//! How much of a run somebody stands by, by the shop's bookings; the owner takes it over.

use super::learn::{Lessons, lesson};
use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::{DbError, standards};
use crate::estimating::Element;
use crate::review::attended::{self, Run, Share};
use crate::units::plain;
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use uuid::Uuid;

/// How much of the run of an element somebody stands by, beside its standard. Shares run from 0 to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct AttendedShare {
    /// The element.
    pub element: Uuid,
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: i32,
    /// As it is.
    pub standard: Decimal,
    /// By bookings.
    pub found: Share,
    /// As it is proposed; none when the standard is right, or too little is known.
    pub proposed: Option<Decimal>,
}

/// Those that a machine runs by itself, or whose standard says so.
pub(super) fn shares(runs: &[Run], elements: &[Element]) -> Vec<AttendedShare> {
    let shares = attended::shares(runs);
    elements
        .iter()
        .filter_map(|element| {
            let found = *shares.get(element.code.as_str())?;
            let alone = element.attended_share < Decimal::ONE || found.share.likely < 1.0;
            alone.then(|| AttendedShare {
                element: element.id,
                name: element.name.clone(),
                version: element.version,
                standard: element.attended_share,
                proposed: found.proposed(plain(element.attended_share)),
                found,
            })
        })
        .collect()
}

/// Sets the attended share of an element to the one that was proposed on the screen; `version` is that of the element there.
/// For the owner.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::NoProposal`]; [`AppError::Db`], as [`DbError::Stale`] when the standard or what is
/// proposed is not what was on the screen.
pub async fn take_attended(
    actor: &Actor,
    lessons: &Lessons,
    (element, version): (Uuid, i32),
    proposed: Decimal,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    actor.require(Role::Owner)?;
    let lesson = lesson(actor, lessons, now).await?;
    let found = lesson.attended.iter().find(|a| a.element == element);
    let found = found.ok_or(Refusal::NoProposal)?;
    if (found.version, found.proposed) != (version, Some(proposed)) {
        return Err(DbError::Stale("this proposal").into());
    }
    actor
        .transact(Role::Owner, async |tx| {
            let mut element = standards::get(tx, element).await?;
            element.attended_share = proposed;
            element.version = version;
            Ok(standards::update(tx, &element).await?)
        })
        .await
}
