//! A part made in the shop for a job that is under way: its operations go into the route before the one that needs the part.

use super::OperationState;
use super::route_edit::{RouteRefusal, Routed};
use crate::estimating::Operation;
use uuid::Uuid;

/// The largest number an operation gets.
const LARGEST: u32 = 1_000_000;

/// The route with the operations of a making before the operation that needs the part; `None`: before all that has not
/// begun. They follow each other as they stand here, wait for nothing else, and get free numbers: below that of the operation
/// where there is room, so that the numbers of a printed card stay good.
///
/// # Errors
/// [`RouteRefusal`]: the operation is gone or has begun, or no number is left.
pub fn make_before(
    route: &[Routed],
    making: Vec<(Uuid, Operation)>,
    needed_by: Option<Uuid>,
) -> Result<Vec<Routed>, RouteRefusal> {
    let mut route = route.to_vec();
    let target = match needed_by {
        Some(id) => {
            let needing = route.iter().find(|o| o.id == id);
            let needing = needing.ok_or(RouteRefusal::Gone)?;
            if needing.state != OperationState::Queued {
                return Err(RouteRefusal::Begun);
            }
            Some(needing.planned.number)
        }
        None => {
            let queued = route.iter().filter(|o| o.state == OperationState::Queued);
            queued.map(|o| o.planned.number).min()
        }
    };
    let numbers = free_below(&route, target, making.len())?;
    let Some(last) = numbers.last().copied() else {
        return Ok(route);
    };
    let undone: Vec<u32> = route
        .iter()
        .filter(|o| o.state != OperationState::Done)
        .map(|o| o.planned.number)
        .collect();
    for one in &mut route {
        let waits = match needed_by {
            Some(id) => one.id == id,
            // Whatever could begin now: the rest waits for that.
            None => {
                one.state == OperationState::Queued
                    && !one.planned.after.iter().any(|n| undone.contains(n))
            }
        };
        if waits {
            one.planned.after.push(last);
            one.planned.after.sort_unstable();
        }
    }
    let mut before = None;
    for ((id, operation), number) in making.into_iter().zip(numbers) {
        route.push(Routed {
            id,
            planned: Operation {
                number,
                after: before.into_iter().collect(),
                ..operation
            },
            state: OperationState::Queued,
            added: true,
        });
        before = Some(number);
    }
    route.sort_by_key(|o| o.planned.number);
    Ok(route)
}

/// So many free numbers between the one before `below` and that; where there is no room, tens above the largest.
fn free_below(
    route: &[Routed],
    below: Option<u32>,
    count: usize,
) -> Result<Vec<u32>, RouteRefusal> {
    let count = u32::try_from(count).map_err(|_| RouteRefusal::NoNumber)?;
    let numbers = || route.iter().map(|o| o.planned.number);
    let between = below.and_then(|below| {
        let before = numbers().filter(|n| *n < below).max().unwrap_or(0);
        let step = (below - before) / count.checked_add(1)?;
        (step > 0).then_some((before, step))
    });
    let (from, step) = between.unwrap_or((numbers().max().unwrap_or(0), 10));
    let number = |at: u32| from.checked_add(step.checked_mul(at)?);
    (1..=count)
        .map(|at| number(at).filter(|n| *n <= LARGEST))
        .collect::<Option<Vec<u32>>>()
        .ok_or(RouteRefusal::NoNumber)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shopfloor::tests::operation;
    use proptest::prelude::*;

    fn routed(number: u32, after: &[u32], state: OperationState) -> Routed {
        Routed {
            id: Uuid::from_u128(number.into()),
            planned: operation(number, after),
            state,
            added: false,
        }
    }

    fn making(steps: u32) -> Vec<(Uuid, Operation)> {
        let step = |n: u32| {
            (
                Uuid::from_u128(u128::from(n) + 1_000_000),
                operation(n, &[]),
            )
        };
        (1..=steps).map(step).collect()
    }

    #[test]
    fn it_goes_in_before_what_needs_it_with_numbers_in_between() {
        use OperationState::{Done, Queued};
        let route = [
            routed(10, &[], Done),
            routed(20, &[10], Queued),
            routed(30, &[20], Queued),
        ];
        let told = |route: &[Routed]| -> Vec<(u32, Vec<u32>)> {
            let one = |o: &Routed| (o.planned.number, o.planned.after.clone());
            route.iter().map(one).collect()
        };
        let made = make_before(&route, making(2), Some(Uuid::from_u128(30))).unwrap();
        let expected = [
            (10, vec![]),
            (20, vec![10]),
            (23, vec![]),
            (26, vec![23]),
            (30, vec![20, 26]),
        ];
        assert_eq!(told(&made), expected);
        assert!(made.iter().all(|o| o.added == (o.planned.number % 10 != 0)));
        // For the whole job: what could begin now waits.
        let made = make_before(&route, making(1), None).unwrap();
        let waits = [
            (10, vec![]),
            (15, vec![]),
            (20, vec![10, 15]),
            (30, vec![20]),
        ];
        assert_eq!(told(&made), waits);

        let done = make_before(&route, making(1), Some(Uuid::from_u128(10)));
        assert_eq!(done, Err(RouteRefusal::Begun));
        let gone = make_before(&route, making(1), Some(Uuid::from_u128(11)));
        assert_eq!(gone, Err(RouteRefusal::Gone));
    }

    proptest! {
        /// However close the numbers stand: no two operations share one, nothing that was there changes but the one that
        /// needs the part, and that waits for the last step.
        #[test]
        fn numbers_stay_apart_and_the_rest_stays(
            numbers in proptest::collection::btree_set(1_u32..60, 1..12),
            at in any::<prop::sample::Index>(),
            steps in 1_u32..6,
        ) {
            let numbers: Vec<u32> = numbers.into_iter().collect();
            let route: Vec<Routed> =
                numbers.iter().map(|n| routed(*n, &[], OperationState::Queued)).collect();
            let needing = &route[at.index(route.len())];
            let made = make_before(&route, making(steps), Some(needing.id)).unwrap();
            let mut seen: Vec<u32> = made.iter().map(|o| o.planned.number).collect();
            seen.dedup();
            prop_assert_eq!(seen.len(), route.len() + steps as usize);
            for was in &route {
                let now = made.iter().find(|o| o.id == was.id).unwrap();
                if was.id == needing.id {
                    let last = made.iter().find(|o| o.id == Uuid::from_u128(u128::from(steps) + 1_000_000)).unwrap();
                    prop_assert_eq!(&now.planned.after, &vec![last.planned.number]);
                } else {
                    prop_assert_eq!(now, was);
                }
            }
        }
    }
}
