//! A route of five operations, edited by hand; and what holds for any edits.

use super::*;
use crate::estimating::Step;
use crate::estimating::TimeSource;
use crate::shopfloor::tests::operation as planned;
use crate::units::Currency;
use crate::units::Spread;
use proptest::prelude::*;
use rust_decimal::Decimal;

fn operation(number: u32) -> Operation {
    planned(number, &[])
}

fn step(code: &str, count: u32, each: i64) -> Step {
    Step {
        code: code.to_owned(),
        name: code.to_owned(),
        place: None,
        count,
        each: Minutes(Decimal::from(each)),
        source: TimeSource::Owner,
        how: String::new(),
        spread: Spread::NONE,
        sizes: String::new(),
        settings: Vec::new(),
        left_out: String::new(),
        calculated_percent: Decimal::ONE_HUNDRED,
        setup: None,
    }
}

fn id(n: u32) -> Uuid {
    Uuid::from_u128(u128::from(n))
}

/// 10 done, 20 to 50 waiting one behind the other; 30 has two steps.
fn route() -> Vec<Routed> {
    (1..=5)
        .map(|n| {
            let number = n * 10;
            let after = if n > 1 { vec![number - 10] } else { vec![] };
            let mut planned = Operation {
                after,
                ..operation(number)
            };
            if n == 3 {
                planned.steps = vec![step("BORE", 4, 30), step("HONE", 4, 15)];
                planned.run = planned.steps.iter().map(Step::run).sum();
            }
            Routed {
                id: id(number),
                planned,
                state: if n == 1 {
                    OperationState::Done
                } else {
                    OperationState::Queued
                },
                added: false,
            }
        })
        .collect()
}

fn shape(route: &[Routed]) -> Vec<(u32, Vec<u32>)> {
    route
        .iter()
        .map(|o| (o.planned.number, o.planned.after.clone()))
        .collect()
}

fn price() -> Money {
    Money::new(90.into(), Currency::from_code("GBP").unwrap())
}

#[test]
fn an_operation_goes_in_between_and_what_followed_waits_for_it() {
    let add = |behind| RouteEdit::Add {
        id: id(1),
        operation: Box::new(operation(0)),
        behind,
    };
    let new = add(Some(20)).apply(&route()).unwrap();
    let expected = [
        (10, vec![]),
        (20, vec![10]),
        (25, vec![20]),
        (30, vec![25]),
        (40, vec![30]),
        (50, vec![40]),
    ];
    assert_eq!(shape(&new), expected);
    assert!(new[2].added && new[2].id == id(1));
    // Before all that has not begun: the operation that could begin now waits for it as well.
    let new = add(None).apply(&route()).unwrap();
    assert_eq!(shape(&new)[1..3], [(15, vec![]), (20, vec![10, 15])]);
    assert_eq!(add(Some(35)).apply(&route()), Err(RouteRefusal::Gone));
}

#[test]
fn what_waits_for_a_skipped_operation_waits_for_what_that_waited_for() {
    let skip = |n| RouteEdit::Skip { operation: id(n) };
    let new = skip(30).apply(&route()).unwrap();
    let expected = [(10, vec![]), (20, vec![10]), (40, vec![20]), (50, vec![40])];
    assert_eq!(shape(&new), expected);
    assert_eq!(skip(10).apply(&route()), Err(RouteRefusal::Begun));
    assert_eq!(skip(35).apply(&route()), Err(RouteRefusal::Gone));
    let only = &route()[1..2];
    assert_eq!(skip(20).apply(only), Err(RouteRefusal::Only));
}

#[test]
fn two_that_change_places_change_numbers() {
    let swap = |a, b| RouteEdit::Swap {
        operation: id(a),
        with: id(b),
    };
    let new = swap(20, 30).apply(&route()).unwrap();
    assert_eq!(shape(&new), shape(&route()));
    assert_eq!([new[1].id, new[2].id], [id(30), id(20)]);
    // And back again.
    assert_eq!(swap(20, 30).apply(&new).unwrap(), route());
    assert_eq!(swap(20, 40).apply(&route()), Err(RouteRefusal::Between));
    assert_eq!(swap(10, 20).apply(&route()), Err(RouteRefusal::Begun));
}

#[test]
fn a_split_operation_has_its_work_in_two_parts_and_its_checks_in_the_last() {
    let split = |n, first| RouteEdit::Split {
        operation: id(n),
        first,
        id: id(1),
    };
    let new = split(30, 1).apply(&route()).unwrap();
    assert_eq!(
        shape(&new)[2..5],
        [(30, vec![20]), (35, vec![30]), (40, vec![35])]
    );
    let (whole, one, two) = (&route()[2].planned, &new[2].planned, &new[3].planned);
    assert_eq!(one.run + two.run, whole.run);
    assert_eq!((one.steps.len(), two.steps.len()), (1, 1));
    assert!(one.checks.is_empty() && two.checks == whole.checks);
    assert!(!new[3].added, "it earns what the whole would have earned");
    assert_eq!(split(30, 2).apply(&route()), Err(RouteRefusal::Part(1)));
    let mut pieces = route();
    pieces[2].planned.steps.truncate(1);
    let new = split(30, 3).apply(&pieces).unwrap();
    assert_eq!(
        (new[2].planned.steps[0].count, new[3].planned.steps[0].count),
        (3, 1)
    );
    let mut one = route();
    one[2].planned.steps.clear();
    assert_eq!(split(30, 1).apply(&one), Err(RouteRefusal::OnePart));
}

#[test]
fn what_is_sent_out_can_be_brought_back() {
    let operation = id(40);
    let out = RouteEdit::SendOut {
        operation,
        price: price(),
        days: 5,
    };
    let back = RouteEdit::BringBack { operation };
    assert_eq!(back.apply(&route()), Err(RouteRefusal::Here));
    let new = out.apply(&route()).unwrap();
    assert_eq!(new[3].planned.outside, Some((price(), 5)));
    assert_eq!(out.apply(&new), Err(RouteRefusal::Out));
    assert_eq!(back.apply(&new).unwrap(), route());
    assert!(out.words(&route()).ends_with(" is sent out for 5 days"));
}

fn any_edit() -> impl Strategy<Value = RouteEdit> {
    let number = prop::sample::select(vec![10_u32, 15, 20, 25, 30, 35, 40, 45, 50, 60]);
    (0_u8..5, number.clone(), number, 1_u32..3, 100_u32..200).prop_map(
        |(what, a, b, first, new)| {
            let (which, new) = (id(a), id(new));
            match what {
                0 => RouteEdit::Add {
                    id: new,
                    operation: Box::new(operation(0)),
                    behind: Some(b),
                },
                1 => RouteEdit::Skip { operation: which },
                2 => RouteEdit::Swap {
                    operation: which,
                    with: id(b),
                },
                3 => RouteEdit::Split {
                    operation: which,
                    first,
                    id: new,
                },
                _ => RouteEdit::SendOut {
                    operation: which,
                    price: price(),
                    days: 3,
                },
            }
        },
    )
}

proptest! {
    /// However a route is changed: numbers are unique, nothing waits for itself however far round, what has begun
    /// stays as it was, and every operation comes after what it waits for, where that is still there.
    #[test]
    fn a_changed_route_can_be_worked(edits in prop::collection::vec(any_edit(), 1..8)) {
        let mut now = route();
        for edit in edits {
            let Ok(new) = edit.apply(&now) else { continue };
            now = new;
            prop_assert_eq!(&now[0], &route()[0]);
            let numbers: Vec<u32> = now.iter().map(|o| o.planned.number).collect();
            prop_assert!(numbers.windows(2).all(|pair| pair[0] < pair[1]), "{:?}", numbers);
            let mut left: Vec<&Routed> = now.iter().collect();
            loop {
                let before = left.len();
                let waits: Vec<u32> = left.iter().map(|o| o.planned.number).collect();
                left.retain(|o| o.planned.after.iter().any(|n| waits.contains(n)));
                if left.is_empty() { break; }
                prop_assert!(left.len() < before, "round in a circle: {:?}", shape(&now));
            }
        }
    }
}
