//! What shapes a standard besides its minutes, by the shop's bookings: how much of a run somebody stands by, and how much
//! single operations differ by themselves. The owner takes each figure over.

use super::learn::{Lesson, Lessons, lesson};
use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::{DbError, standards};
use crate::estimating::Element;
use crate::review::attended::{self, Run};
use crate::review::ratios::{Findings, Interval, Part};
use crate::review::scatter::scatter;
use crate::units::plain;
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use uuid::Uuid;

/// Which figure of a standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// The share of a run that somebody stands by, from 0 to 1.
    Attended,
    /// The coefficient of variation of single operations: 0.1 is ten per cent.
    Scatter,
}

/// A figure of an element's standard beside what bookings say of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Shaped {
    /// The element.
    pub element: Uuid,
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: i32,
    /// As it is.
    pub present: f64,
    /// By bookings.
    pub found: Interval,
    /// Finished operations that rests on.
    pub operations: usize,
    /// As it is proposed; none when what is set is right, or too little is known.
    pub proposed: Option<Decimal>,
}

impl Shaped {
    fn of(element: &Element, present: f64, found: Interval, operations: usize) -> Self {
        Self {
            element: element.id,
            name: element.name.clone(),
            version: element.version,
            present,
            found,
            operations,
            proposed: None,
        }
    }
}

impl Lesson {
    fn shaped(&self, shape: Shape) -> &[Shaped] {
        match shape {
            Shape::Attended => &self.attended,
            Shape::Scatter => &self.scatter,
        }
    }
}

/// The attended shares of elements that a machine runs by itself, or whose standard says so.
pub(super) fn attended(runs: &[Run], elements: &[Element]) -> Vec<Shaped> {
    let shares = attended::shares(runs);
    let shaped = elements.iter().filter_map(|element| {
        let found = *shares.get(element.code.as_str())?;
        let present = plain(element.attended_share);
        let alone = element.attended_share < Decimal::ONE || found.share.likely < 1.0;
        alone.then(|| Shaped {
            proposed: found.proposed(present),
            ..Shaped::of(element, present, found.share, found.operations)
        })
    });
    shaped.collect()
}

/// The own scatter of every element that is told apart from all others.
pub(super) fn own_scatter(findings: &Findings, elements: &[Element]) -> Vec<Shaped> {
    let runs = findings.elements.iter().filter(|e| e.part == Part::Run);
    runs.filter_map(|run| {
        let [code] = run.codes.as_slice() else {
            return None;
        };
        let element = elements.iter().find(|e| e.code == *code)?;
        let found = scatter(&run.points)?;
        let present = element.spread.coefficient();
        let proposed = found.proposed(present);
        Some(Shaped {
            // A spread that the standard cannot take is not proposed.
            proposed: proposed.filter(|cv| element.spread.with_coefficient(*cv).is_some()),
            ..Shaped::of(element, present, found.cv, found.operations)
        })
    })
    .collect()
}

/// Sets a figure of an element's standard to the one that was proposed on the screen, a spread about the same mean; `version`
/// is that of the element there. For the owner.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::NoProposal`]; [`AppError::Db`], as [`DbError::Stale`] when the standard or what is
/// proposed is not what was on the screen.
pub async fn take_shape(
    actor: &Actor,
    lessons: &Lessons,
    shape: Shape,
    (element, version): (Uuid, i32),
    proposed: Decimal,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    actor.require(Role::Owner)?;
    let lesson = lesson(actor, lessons, now).await?;
    let found = lesson.shaped(shape).iter().find(|s| s.element == element);
    let found = found.ok_or(Refusal::NoProposal)?;
    if (found.version, found.proposed) != (version, Some(proposed)) {
        return Err(DbError::Stale("this proposal").into());
    }
    actor
        .transact(Role::Owner, async |tx| {
            let mut element = standards::get(tx, element).await?;
            match shape {
                Shape::Attended => element.attended_share = proposed,
                Shape::Scatter => {
                    let spread = element.spread.with_coefficient(proposed);
                    element.spread = spread.ok_or(Refusal::NoProposal)?;
                }
            }
            element.version = version;
            Ok(standards::update(tx, &element).await?)
        })
        .await
}
