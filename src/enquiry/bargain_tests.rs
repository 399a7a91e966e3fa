//! Bargains over a conversion of the invented shop.

use super::answer::OptionAnswer;
use super::bargain::{Bargain, BargainFault, BargainRules, bargain};
use crate::enquiry::OptionKind;
use crate::enquiry::tests::{ask, gbp, knowledge, wish};
use crate::estimating::{MadePart, Making, MakingStep, Material, Operation};
use crate::units::{Minutes, Money};
use proptest::prelude::*;
use rust_decimal::dec;
use uuid::Uuid;

fn rules() -> BargainRules {
    BargainRules {
        tax_percent: dec!(20),
        least_margin_percent: dec!(5),
    }
}

fn option() -> OptionAnswer {
    let mut knowledge = knowledge();
    for element in &mut knowledge.elements {
        if element.code == "PRESSURE-TEST" {
            element.left_out = "It is not pressure-tested.".to_owned();
        }
    }
    let answer = ask(&wish(), &knowledge);
    let found = answer
        .options
        .iter()
        .find(|o| o.kind == OptionKind::ConvertShelf);
    found.unwrap().clone()
}

fn number(option: &OptionAnswer, code: &str) -> u32 {
    let operations = &option.figures().unwrap().route.operations;
    let has = |o: &&Operation| o.steps.iter().any(|s| s.code == code);
    operations.iter().find(has).unwrap().number
}

#[test]
fn nothing_asked_is_the_quote_as_it_was_said() {
    let option = option();
    let figures = option.figures().unwrap();
    let same = bargain(&option, &Bargain::default(), rules()).unwrap();
    assert_eq!(
        (same.net, same.gross),
        (figures.build_up.net, figures.build_up.gross)
    );
    assert_eq!(same.route, figures.route);
    assert!(!same.differs);
    assert_eq!(same.margin_percent, dec!(15));
    assert!(!same.below_floor());
    assert!(same.promise_percent >= Some(80));
    // The quoted price covers the cost in most futures.
    assert!(same.loss_percent < 20, "{}", same.loss_percent);
}

/// A crack-test is never left out; what may be is, with what the customer must hear, and its share of the price.
#[test]
fn only_what_may_be_left_out_is() {
    let option = option();
    let leave = |code: &str, reason: &str| Bargain {
        left_out: vec![number(&option, code)],
        reason: reason.to_owned(),
        ..Bargain::default()
    };
    let crack = bargain(&option, &leave("CRACK-TEST", "in a hurry"), rules());
    assert!(
        matches!(crack, Err(BargainFault::Mandatory(_))),
        "{crack:?}"
    );
    let said = bargain(&option, &leave("PRESSURE-TEST", "display engine"), rules()).unwrap();
    assert_eq!(said.conditions, ["It is not pressure-tested."]);
    assert!(said.differs);
    let before = option.figures().unwrap();
    assert!(said.net.amount() < before.build_up.net.amount());
    assert_eq!(
        said.route.operations.len(),
        before.route.operations.len() - 1
    );
    let numbers: Vec<u32> = said.route.operations.iter().map(|o| o.number).collect();
    for operation in &said.route.operations {
        assert!(
            operation.after.iter().all(|n| numbers.contains(n)),
            "{operation:?}"
        );
    }
    // Left out at its share of the price, the margin stays what it was.
    assert!(
        (said.margin_percent - dec!(15)).abs() <= dec!(0.2),
        "{}",
        said.margin_percent
    );
}

/// A part that is made for work that may be left out is not made when that is, and its share of the price goes with it.
#[test]
fn parts_made_for_work_that_is_left_out_are_not_made() {
    let mut knowledge = knowledge();
    let test = knowledge
        .elements
        .iter_mut()
        .find(|e| e.code == "PRESSURE-TEST");
    let test = test.unwrap();
    test.left_out = "It is not pressure-tested.".to_owned();
    test.materials = vec![Material {
        name: "Blanking plate".to_owned(),
        quantity: dec!(2),
        price: gbp(15),
        smallest: None,
        largest: None,
        made: false,
    }];
    let step = |minutes: i64| MakingStep {
        what: "Mill and drill".to_owned(),
        machine_kind: "mill".to_owned(),
        skill: "milling".to_owned(),
        each: Some(Minutes(minutes.into())),
        ..MakingStep::default()
    };
    knowledge.made = vec![MadePart {
        item_id: Uuid::from_u128(1),
        name: "Blanking plate".to_owned(),
        free: dec!(0),
        making: Making {
            steps: vec![step(25), step(10)],
            materials: vec![],
        },
    }];
    let answer = ask(&wish(), &knowledge);
    let option = answer
        .options
        .iter()
        .find(|o| o.kind == OptionKind::ConvertShelf);
    let option = option.unwrap();
    let asked = Bargain {
        left_out: vec![number(option, "PRESSURE-TEST")],
        reason: "display engine".to_owned(),
        ..Bargain::default()
    };
    let said = bargain(option, &asked, rules()).unwrap();
    let made = |operations: &[Operation]| operations.iter().filter(|o| o.makes.is_some()).count();
    assert_eq!(made(&option.figures().unwrap().route.operations), 2);
    assert_eq!(made(&said.route.operations), 0);
    assert!((said.margin_percent - dec!(15)).abs() <= dec!(0.2));
    assert_eq!(said.conditions, ["It is not pressure-tested."]);
    let named = said
        .lines
        .iter()
        .filter(|l| l.label.starts_with("Not made: Blanking plate"));
    assert_eq!(named.count(), 2);

    // Only the work that needs it decides: the making by itself is not left out.
    let making = option
        .figures()
        .unwrap()
        .route
        .operations
        .iter()
        .find(|o| o.makes.is_some());
    let alone = Bargain {
        left_out: vec![making.unwrap().number],
        ..asked
    };
    let refused = bargain(option, &alone, rules());
    assert!(matches!(refused, Err(BargainFault::Mandatory(_))));
}

#[test]
fn a_price_below_the_floor_is_known_as_one() {
    let option = option();
    let at = |price| {
        let asked = Bargain {
            price: Some(price),
            reason: "an old customer".to_owned(),
            ..Bargain::default()
        };
        bargain(&option, &asked, rules()).unwrap()
    };
    let floor = at(gbp(1)).floor;
    assert!(!at(floor).below_floor());
    assert!((at(floor).margin_percent - dec!(5)).abs() <= dec!(0.1));
    assert!(at(floor.minus(gbp(1)).unwrap()).below_floor());
    assert_eq!(at(gbp(1)).loss_percent, 100);
    assert_eq!(at(gbp(50_000)).loss_percent, 0);
}

proptest! {
    /// Whatever is asked, the lines make the net, and a higher price is never a likelier loss.
    #[test]
    fn lines_add_up_and_a_higher_price_is_safer(price in 100_i64..5_000, more in 1_i64..2_000, leave in any::<bool>()) {
        let option = option();
        let at = |price: i64| {
            let asked = Bargain {
                price: Some(gbp(price)),
                reason: "as agreed".to_owned(),
                left_out: if leave { vec![number(&option, "PRESSURE-TEST")] } else { vec![] },
                ..Bargain::default()
            };
            bargain(&option, &asked, rules()).unwrap()
        };
        let (low, high) = (at(price), at(price + more));
        let sum = Money::sum(low.net.currency(), low.lines.iter().map(|l| l.amount)).unwrap();
        prop_assert_eq!(sum, low.net);
        prop_assert!(high.loss_percent <= low.loss_percent);
        prop_assert!(high.margin_percent >= low.margin_percent);
        prop_assert!(high.margin.amount() > low.margin.amount());
    }
}
