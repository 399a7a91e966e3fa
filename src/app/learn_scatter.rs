//! How much single operations of an element differ by themselves, by the shop's bookings; the owner takes it over.

use super::learn::{Lessons, lesson};
use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::{DbError, standards};
use crate::estimating::Element;
use crate::review::ratios::{Findings, Part};
use crate::review::scatter::{Scatter, scatter};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use uuid::Uuid;

/// The own scatter of an element's runs, beside the spread of its standard. Coefficients of variation: 0.1 is ten per cent.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnScatter {
    /// The element.
    pub element: Uuid,
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: i32,
    /// As it is set.
    pub present: f64,
    /// By bookings.
    pub found: Scatter,
    /// As it is proposed; none when what is set is right, too little is known, or the standard cannot take it.
    pub proposed: Option<Decimal>,
}

/// The own scatter of every element that is told apart from all others.
pub(super) fn own_scatter(findings: &Findings, elements: &[Element]) -> Vec<OwnScatter> {
    let runs = findings.elements.iter().filter(|e| e.part == Part::Run);
    runs.filter_map(|run| {
        let [code] = run.codes.as_slice() else {
            return None;
        };
        let element = elements.iter().find(|e| e.code == *code)?;
        let found = scatter(&run.points)?;
        let present = element.spread.coefficient();
        Some(OwnScatter {
            element: element.id,
            name: element.name.clone(),
            version: element.version,
            present,
            proposed: found
                .proposed(present)
                .filter(|cv| element.spread.with_coefficient(*cv).is_some()),
            found,
        })
    })
    .collect()
}

/// Gives the standard of an element the spread that was proposed on the screen, about the same mean; `version` is that of
/// the element there. For the owner.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::NoProposal`]; [`AppError::Db`], as [`DbError::Stale`] when the standard or what is
/// proposed is not what was on the screen.
pub async fn take_scatter(
    actor: &Actor,
    lessons: &Lessons,
    (element, version): (Uuid, i32),
    proposed: Decimal,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    actor.require(Role::Owner)?;
    let lesson = lesson(actor, lessons, now).await?;
    let found = lesson.scatter.iter().find(|s| s.element == element);
    let found = found.ok_or(Refusal::NoProposal)?;
    if (found.version, found.proposed) != (version, Some(proposed)) {
        return Err(DbError::Stale("this proposal").into());
    }
    actor
        .transact(Role::Owner, async |tx| {
            let mut element = standards::get(tx, element).await?;
            element.spread = element
                .spread
                .with_coefficient(proposed)
                .ok_or(Refusal::NoProposal)?;
            element.version = version;
            Ok(standards::update(tx, &element).await?)
        })
        .await
}
