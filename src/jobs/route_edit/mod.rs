//! The route of a job that is under way, changed by hand: an operation added, skipped, changed for another in the order of
//! work, split in two, sent out or brought back. What has begun stays as it is.
//!
//! A crack shows once the block is clean, so "weld and machine" goes in behind "crack test"; the customer has honed it
//! already, so the hone is skipped; the grinder is down, so the crank goes out. The numbers on the route card that was
//! printed stay good: a new operation gets a free number in between, and nothing else is renumbered, but for two that
//! change places, which change numbers.

#[cfg(test)]
mod tests;

use super::OperationState;
use crate::estimating::{Makes, Operation};
use crate::units::{Minutes, Money};
use uuid::Uuid;

/// An operation of a route that is edited.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Routed {
    /// Key.
    pub id: Uuid,
    /// As it is planned.
    pub planned: Operation,
    /// How far it has come.
    pub state: OperationState,
    /// Whether it was added to the route the job began with.
    pub added: bool,
}

/// What is done to a route.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RouteEdit {
    /// An operation is added.
    Add {
        /// The key it gets.
        id: Uuid,
        /// The operation; its number and what it waits for follow from its place.
        operation: Box<Operation>,
        /// The number of the operation it goes behind; `None` puts it before all that has not begun.
        behind: Option<u32>,
    },
    /// An operation is not done; what waits for it waits for what it waited for.
    Skip {
        /// Which.
        operation: Uuid,
    },
    /// Two operations change places.
    Swap {
        /// One.
        operation: Uuid,
        /// The other.
        with: Uuid,
    },
    /// An operation is done in two parts, one behind the other.
    Split {
        /// Which.
        operation: Uuid,
        /// How much of it the first part has: steps, or pieces where it has one step ([`parts`]).
        first: u32,
        /// The key of the second part.
        id: Uuid,
    },
    /// An operation is sent out.
    SendOut {
        /// Which.
        operation: Uuid,
        /// What it costs.
        price: Money,
        /// Calendar days away.
        days: u32,
    },
    /// An operation that was to be sent out is done here.
    BringBack {
        /// Which.
        operation: Uuid,
    },
}

/// Why a route is not changed so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum RouteRefusal {
    /// The operation is not in the route any more.
    #[error("the operation is no longer in the route")]
    Gone,
    /// It has begun, or is done.
    #[error("the operation has begun")]
    Begun,
    /// It is the only one the job has.
    #[error("it is the only operation of the job")]
    Only,
    /// It has one step, done once.
    #[error("there is nothing to split")]
    OnePart,
    /// The first part must leave something for the second.
    #[error("the first part has 1 to {0}")]
    Part(u32),
    /// One of the two waits for the other through work that stands between them.
    #[error("other work stands between the two")]
    Between,
    /// It goes out already.
    #[error("the operation goes out already")]
    Out,
    /// It is done here already.
    #[error("the operation is done here already")]
    Here,
    /// It makes a part that other work waits for.
    #[error("the operation makes a part")]
    Makes,
    /// No number is left for it.
    #[error("no number is left")]
    NoNumber,
}

/// Into how many parts an operation can be split: its steps, or where it has one, its pieces.
#[must_use]
pub fn parts(operation: &Operation) -> u32 {
    match operation.steps.as_slice() {
        [] => 1,
        [only] => only.count,
        steps => u32::try_from(steps.len()).unwrap_or(1),
    }
}

impl RouteEdit {
    /// The route with the change made, by number.
    ///
    /// # Errors
    /// [`RouteRefusal`].
    pub fn apply(&self, route: &[Routed]) -> Result<Vec<Routed>, RouteRefusal> {
        let mut route = route.to_vec();
        match self {
            Self::Add {
                id,
                operation,
                behind,
            } => add(&mut route, *id, operation, *behind)?,
            Self::Skip { operation } => skip(&mut route, *operation)?,
            Self::Swap { operation, with } => swap(&mut route, *operation, *with)?,
            Self::Split {
                operation,
                first,
                id,
            } => split(&mut route, *operation, *first, *id)?,
            Self::SendOut {
                operation,
                price,
                days,
            } => {
                let planned = &mut waiting(&mut route, *operation)?.planned;
                if planned.outside.is_some() {
                    return Err(RouteRefusal::Out);
                }
                planned.outside = Some((*price, *days));
            }
            Self::BringBack { operation } => {
                let planned = &mut waiting(&mut route, *operation)?.planned;
                if planned.outside.take().is_none() {
                    return Err(RouteRefusal::Here);
                }
            }
        }
        route.sort_by_key(|o| o.planned.number);
        Ok(route)
    }

    /// What is done, as a clause without a capital: "30 Hone the bores is skipped". `route` is the route before.
    #[must_use]
    pub fn words(&self, route: &[Routed]) -> String {
        let name = |id: &Uuid| {
            let found = route.iter().find(|o| o.id == *id);
            found.map_or_else(
                || "an operation".to_owned(),
                |o| format!("{} {}", o.planned.number, o.planned.title),
            )
        };
        match self {
            Self::Add {
                operation, behind, ..
            } => match behind {
                Some(number) => format!("“{}” is added after {number}", operation.title),
                None => format!("“{}” is added as the next operation", operation.title),
            },
            Self::Skip { operation } => format!("{} is skipped", name(operation)),
            Self::Swap { operation, with } => {
                format!("{} and {} change places", name(operation), name(with))
            }
            Self::Split { operation, .. } => format!("{} is split in two", name(operation)),
            Self::SendOut {
                operation, days, ..
            } => match days {
                1 => format!("{} is sent out for 1 day", name(operation)),
                days => format!("{} is sent out for {days} days", name(operation)),
            },
            Self::BringBack { operation } => format!("{} is done here", name(operation)),
        }
    }
}

/// An operation that has not begun.
fn waiting(route: &mut [Routed], id: Uuid) -> Result<&mut Routed, RouteRefusal> {
    let found = route.iter_mut().find(|o| o.id == id);
    let found = found.ok_or(RouteRefusal::Gone)?;
    match found.state {
        OperationState::Queued => Ok(found),
        OperationState::Started | OperationState::Done => Err(RouteRefusal::Begun),
    }
}

/// A number above `number` and below the next one where one is free; else ten more than the largest.
fn free_above(route: &[Routed], number: u32) -> Result<u32, RouteRefusal> {
    let numbers = || route.iter().map(|o| o.planned.number);
    let next = numbers().filter(|n| *n > number).min();
    let between = next.map(|next| number + (next - number) / 2);
    match between {
        Some(free) if free > number => Ok(free),
        _ => {
            let largest = numbers().max().unwrap_or(0);
            let free = largest.checked_add(10).filter(|n| *n <= 1_000_000);
            free.ok_or(RouteRefusal::NoNumber)
        }
    }
}

fn add(
    route: &mut Vec<Routed>,
    id: Uuid,
    operation: &Operation,
    behind: Option<u32>,
) -> Result<(), RouteRefusal> {
    if let Some(number) = behind
        && route.iter().all(|o| o.planned.number != number)
    {
        return Err(RouteRefusal::Gone);
    }
    // Before all that has not begun is behind the last that has.
    let begun = route.iter().filter(|o| o.state != OperationState::Queued);
    let above = behind.or_else(|| begun.map(|o| o.planned.number).max());
    let number = free_above(route, above.unwrap_or(0))?;
    let waits_for: Vec<u32> = match behind {
        Some(number) => vec![number],
        None => Vec::new(),
    };
    let undone: Vec<u32> = route
        .iter()
        .filter(|o| o.state != OperationState::Done)
        .map(|o| o.planned.number)
        .collect();
    let queued = route
        .iter_mut()
        .filter(|o| o.state == OperationState::Queued);
    for other in queued {
        let after = &mut other.planned.after;
        match behind {
            Some(behind) if after.contains(&behind) => {
                after.retain(|n| *n != behind);
                after.push(number);
            }
            // The first that could begin waits for it.
            None if !after.iter().any(|n| undone.contains(n)) => after.push(number),
            _ => {}
        }
    }
    route.push(Routed {
        id,
        planned: Operation {
            number,
            after: waits_for,
            ..operation.clone()
        },
        state: OperationState::Queued,
        added: true,
    });
    Ok(())
}

fn skip(route: &mut Vec<Routed>, id: Uuid) -> Result<(), RouteRefusal> {
    let skipped = waiting(route, id)?.planned.clone();
    if route.len() == 1 {
        return Err(RouteRefusal::Only);
    }
    route.retain(|o| o.id != id);
    for other in route.iter_mut() {
        let after = &mut other.planned.after;
        if !after.contains(&skipped.number) {
            continue;
        }
        after.retain(|n| *n != skipped.number);
        for number in &skipped.after {
            if !after.contains(number) {
                after.push(*number);
            }
        }
    }
    Ok(())
}

fn swap(route: &mut [Routed], id: Uuid, with: Uuid) -> Result<(), RouteRefusal> {
    let one = waiting(route, id)?.planned.clone();
    let other = waiting(route, with)?.planned.clone();
    if one.makes.is_some() || other.makes.is_some() {
        return Err(RouteRefusal::Makes);
    }
    let (low, high) = (one.number.min(other.number), one.number.max(other.number));
    let between = route
        .iter()
        .any(|o| o.planned.number > low && o.planned.number < high);
    if id == with || between {
        return Err(RouteRefusal::Between);
    }
    let place = |at: &mut Routed, of: &Operation| {
        at.planned.number = of.number;
        at.planned.after.clone_from(&of.after);
    };
    place(waiting(route, id)?, &other);
    place(waiting(route, with)?, &one);
    Ok(())
}

fn split(
    route: &mut Vec<Routed>,
    id: Uuid,
    first: u32,
    second_id: Uuid,
) -> Result<(), RouteRefusal> {
    let whole = waiting(route, id)?.clone();
    let most = parts(&whole.planned).saturating_sub(1);
    if most == 0 {
        return Err(RouteRefusal::OnePart);
    }
    if !(1..=most).contains(&first) {
        return Err(RouteRefusal::Part(most));
    }
    let number = free_above(route, whole.planned.number)?;
    let (one, two) = in_two(&whole.planned, first);
    for other in route.iter_mut() {
        for after in &mut other.planned.after {
            if *after == whole.planned.number {
                *after = number;
            }
        }
    }
    waiting(route, id)?.planned = one;
    route.push(Routed {
        id: second_id,
        planned: Operation {
            number,
            after: vec![whole.planned.number],
            ..two
        },
        ..whole
    });
    Ok(())
}

/// The two parts of an operation. Both are set up for; what it uses up goes with the first, and its checks are made when
/// all of it is done.
fn in_two(whole: &Operation, first: u32) -> (Operation, Operation) {
    let (mut a, mut b) = (whole.steps.clone(), whole.steps.clone());
    match (a.as_mut_slice(), b.as_mut_slice()) {
        ([one], [two]) => {
            one.count = first;
            two.count = two.count.saturating_sub(first);
        }
        _ => {
            let first = usize::try_from(first).unwrap_or(usize::MAX);
            b.drain(..first.min(b.len()));
            a.truncate(first);
        }
    }
    let run = |steps: &[crate::estimating::Step]| -> Minutes {
        steps.iter().map(crate::estimating::Step::run).sum()
    };
    let one = Operation {
        title: format!("{}, first part", whole.title),
        run: run(&a),
        // The pieces are done with the second part.
        makes: whole.makes.clone().map(|makes| Makes {
            last: false,
            ..makes
        }),
        steps: a,
        checks: Vec::new(),
        can_fail: false,
        ..whole.clone()
    };
    let two = Operation {
        title: format!("{}, second part", whole.title),
        run: run(&b),
        steps: b,
        materials: Vec::new(),
        ..whole.clone()
    };
    (one, two)
}
