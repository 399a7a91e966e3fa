use super::super::cost::{CostBuildUp, Costing};
use super::super::tests::{route_of, standards, typical};
use super::super::{Policy, Rates, Recalibration, cutting_data};
use super::*;
use crate::units::Currency;
use proptest::prelude::*;

fn gbp(amount: Decimal) -> Money {
    Money::new(amount, Currency::from_code("GBP").unwrap())
}

fn step(kind: &str, setup: i64, each: i64) -> MakingStep {
    MakingStep {
        what: format!("Work it on the {kind}"),
        machine_kind: kind.to_owned(),
        skill: "grinding".to_owned(),
        setup: Some(Minutes(setup.into())),
        each: Some(Minutes(each.into())),
        ..MakingStep::default()
    }
}

fn bar(price: Decimal) -> Material {
    Material {
        name: "Silver steel bar".to_owned(),
        quantity: dec!(0.5),
        price: gbp(price),
        smallest: None,
        largest: None,
        made: false,
    }
}

fn part(name: &str, free: i64, steps: Vec<MakingStep>) -> MadePart {
    MadePart {
        item_id: Uuid::from_u128(7),
        name: name.to_owned(),
        free: free.into(),
        making: Making {
            steps,
            materials: vec![bar(dec!(3))],
        },
    }
}

fn with(route: &Route, parts: &[MadePart]) -> Route {
    let data = cutting_data::starting_points().remove(0);
    let rules = (&data, &OrderOfWork::default());
    route.clone().with_made(parts, &standards(), rules).unwrap()
}

fn position(route: &Route, number: u32) -> usize {
    let found = route.operations.iter().position(|o| o.number == number);
    found.unwrap()
}

/// Every operation that must be done before one of this number.
fn before(route: &Route, number: u32) -> Vec<u32> {
    let mut found = Vec::new();
    let mut stack = vec![number];
    while let Some(number) = stack.pop() {
        for &n in &route.operations[position(route, number)].after {
            if !found.contains(&n) {
                found.push(n);
                stack.push(n);
            }
        }
    }
    found
}

/// The typical conversion reams two dowel holes, so it needs two ground dowels.
#[test]
fn what_the_shelf_has_is_taken_and_only_the_rest_is_made() {
    let plain = route_of(&typical());
    let dowel = |free| part("ground DOWEL", free, vec![step("crank grinder", 20, 12)]);
    assert_eq!(with(&plain, &[dowel(2)]), plain, "the shelf has enough");
    assert_eq!(with(&plain, &[part("ground dowel", 0, vec![])]), plain);

    for (free, from_shelf, made) in [(1, 1, 1), (0, 0, 2), (-5, 0, 2)] {
        let route = with(&plain, &[dowel(free)]);
        assert_eq!(route.operations.len(), plain.operations.len() + 1);
        let making = route.operations.iter().find(|o| o.makes.is_some()).unwrap();
        let makes = making.makes.as_ref().unwrap();
        assert_eq!((makes.pieces, makes.last), (made, true));
        assert_eq!(making.setup, Minutes(dec!(20)));
        assert_eq!(making.run, Minutes(dec!(12) * Decimal::from(made)));
        let bars = dec!(0.5) * Decimal::from(made);
        assert_eq!(making.materials[0].quantity, bars);
        let needing = (route.operations.iter())
            .find(|o| o.materials.iter().any(|m| m.made))
            .unwrap();
        assert!(needing.after.contains(&making.number) && making.after.is_empty());
        let quantities = |made: bool| -> Decimal {
            let mine = needing.materials.iter();
            let dowels =
                mine.filter(|m| m.name.eq_ignore_ascii_case("Ground dowel") && m.made == made);
            dowels.map(|m| m.quantity).sum()
        };
        assert_eq!(quantities(false), Decimal::from(from_shelf));
        assert_eq!(quantities(true), Decimal::from(made));
    }
}

#[test]
fn a_step_is_its_element_but_for_what_it_says_itself() {
    let elements = standards();
    let data = cutting_data::starting_points().remove(0);
    let rules = (&data, &OrderOfWork::default());
    let of = |step: MakingStep| {
        let part = part("Adaptor plate", 0, vec![step]);
        part.operations(3, &elements, rules)
    };
    let spotface = elements.iter().find(|e| e.code == "SPOTFACE").unwrap();
    let plain = MakingStep {
        code: Some("SPOTFACE".to_owned()),
        ..MakingStep::default()
    };
    let as_it_is = of(plain.clone()).unwrap().remove(0);
    assert_eq!(as_it_is.steps[0].code, "SPOTFACE");
    assert_eq!(as_it_is.machine_kind, spotface.machine_kind);
    assert_eq!(as_it_is.run, spotface.owner_figure * dec!(3));
    // With minutes of its own it is not held against the standard time, whatever that becomes.
    let own = of(MakingStep {
        each: Some(Minutes(dec!(9))),
        ..plain.clone()
    });
    let own = own.unwrap().remove(0);
    assert_ne!(own.steps[0].code, "SPOTFACE");
    assert_eq!((own.setup, own.run), (spotface.setup, Minutes(dec!(27))));
    assert_eq!(own.restated(&elements), own);
    assert_eq!(own.cautions, spotface.cautions);

    let gone = of(MakingStep {
        code: Some("GONE".to_owned()),
        ..plain
    });
    assert!(matches!(gone, Err(RouteError::UnknownElement { .. })));
    let missing = MakingStep::default().missing();
    assert_eq!(missing.len(), 4);
    let part = part("Adaptor plate", 0, vec![step("mill", 1, 1)]);
    assert!(part.operations(0, &elements, rules).is_err());
    assert!(part.operations(MOST_PIECES + 1, &elements, rules).is_err());
}

/// Direct cost without contingency.
fn cost(route: &Route) -> Decimal {
    let kinds = route.operations.iter().map(|o| o.machine_kind.clone());
    let rates = Rates {
        machine: kinds.map(|kind| (kind, gbp(dec!(22)))).collect(),
        people: [].into(),
        people_default: gbp(dec!(30)),
    };
    let policy = Policy {
        overhead_percent: dec!(0),
        margin_percent: dec!(0),
        tax_percent: dec!(0),
        confidence_percent: 80,
        costs: Recalibration::none(),
    };
    let costing = Costing {
        route,
        rates: &rates,
        policy: &policy,
        donor: None,
    };
    CostBuildUp::expected_direct(&costing).unwrap().amount()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever parts are made, in however many steps: every operation keeps what it waited for, waits for all the steps
    /// of what is made for it, and comes after them in the route; and the price differs from that with the parts from the
    /// shelf by exactly the lines of the making less the shelf price of what is made.
    #[test]
    fn making_precedes_and_costs_its_lines(
        dowels in (0_i64..4, proptest::collection::vec((0_i64..60, 0_i64..60), 1..4)),
        housings in (0_i64..2, proptest::collection::vec((0_i64..60, 0_i64..60), 0..4)),
        bar_price in 0_u32..2000,
    ) {
        let plain = route_of(&typical());
        let made = |name: &str, (free, steps): (i64, Vec<(i64, i64)>)| {
            let steps = steps.into_iter().map(|(setup, each)| step("mill", setup, each));
            let mut part = part(name, free, steps.collect());
            part.making.materials = vec![bar(Decimal::new(bar_price.into(), 2))];
            part
        };
        let parts = [made("Ground dowel", dowels), made("Two-piece rear seal housing", housings)];
        let route = with(&plain, &parts);
        for operation in &route.operations {
            for number in &operation.after {
                prop_assert!(position(&route, *number) < position(&route, operation.number));
            }
        }
        let own: Vec<&Operation> = route.operations.iter().filter(|o| o.makes.is_none()).collect();
        prop_assert_eq!(own.len(), plain.operations.len());
        for (now, was) in own.iter().zip(&plain.operations) {
            prop_assert_eq!(&now.title, &was.title);
            for number in &was.after {
                let then = own[position(&plain, *number)].number;
                prop_assert!(now.after.contains(&then));
            }
            for part in now.materials.iter().filter(|m| m.made) {
                let steps = route.operations.iter().filter(|o| o.makes.as_ref().is_some_and(|m| m.part == part.name));
                let numbers: Vec<u32> = steps.map(|o| o.number).collect();
                prop_assert!(!numbers.is_empty());
                let earlier = before(&route, now.number);
                prop_assert!(numbers.iter().all(|n| earlier.contains(n)));
            }
        }
        let making: Decimal = cost(&Route {
            operations: route.operations.iter().filter(|o| o.makes.is_some()).cloned().collect(),
        });
        let price = |name: &str| {
            let all = plain.operations.iter().flat_map(|o| &o.materials);
            all.clone().find(|m| m.name == name).unwrap().price.amount()
        };
        let spared: Decimal = own.iter().flat_map(|o| &o.materials)
            .filter(|m| m.made)
            .map(|m| m.quantity * price(&m.name))
            .sum();
        prop_assert_eq!(cost(&route), cost(&plain) - spared + making);
    }
}
