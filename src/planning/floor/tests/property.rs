//! What holds of any floor.

use super::*;
use crate::estimating::{MadePart, Making, MakingStep, Material, OrderOfWork, Route, cutting_data};
use crate::shopfloor::tests::operation as route_operation;
use crate::units::{Currency, Minutes, Money};
use proptest::prelude::*;
use rust_decimal::Decimal;

fn operations() -> impl Strategy<Value = Vec<FloorOperation>> {
    let one = (0..3usize, 0..90i64, 0..400i64, 0.0..1.0f64, 0..12u8);
    proptest::collection::vec(one, 1..6).prop_map(|drawn| {
        drawn
            .into_iter()
            .enumerate()
            .map(|(i, (kind, setup, run, share, special))| {
                let (kind, skill) = [
                    ("mill", "milling"),
                    ("hone", "honing"),
                    ("lathe", "turning"),
                ][kind];
                let mut operation = operation(0, 10 * (i as u32 + 1), kind, skill, run);
                operation.setup = setup;
                operation.attended = attended_part(run, share);
                operation.spread = 0.2;
                let hour = DateTime::from_timestamp(1_764_061_200 + 3_600 * i64::from(special), 0);
                match special {
                    0 => operation.outside_days = Some(3),
                    1 => operation.progress = Progress::Done,
                    2 | 3 => {
                        operation.progress = Progress::Started {
                            since: hour.filter(|_| special == 2),
                            machine: None,
                            person: None,
                        };
                    }
                    4 => operation.not_before = Some(day("2026-11-30")),
                    5 | 6 => {
                        operation.pin = Some(Pin {
                            machine: Some(id(1)),
                            person: None,
                            start: Some(
                                at("2026-11-25T09:00:00Z") + chrono::TimeDelta::minutes(run * 17),
                            ),
                        });
                    }
                    7 => operation.skill = String::new(),
                    _ => {}
                }
                operation
            })
            .collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Whatever the floor: nothing panics, every open operation is in the plan or its job says why not, nothing is on two
    /// machines' hands at once, and carrying the timetable over to the same floor changes nothing.
    #[test]
    fn every_floor_is_planned_or_says_why_not(
        routes in proptest::collection::vec((operations(), 0..6u8, -3..20i64), 0..6)
    ) {
        let mut floor = floor("2026-11-25T09:00:00Z");
        floor.machines.push(FloorMachine { id: id(3), ..floor.machines[0].clone() });
        let mut next = 100;
        for (operations, special, due) in routes {
            let mut job = job(next, None, operations);
            job.due = Some(floor.now + chrono::TimeDelta::days(due));
            job.hold = (special == 0).then(|| "held".to_owned());
            job.put_first = (special == 1).then_some(1);
            job.gates = match special {
                2 => vec![Gate { what: "parts".into(), state: GateState::Unknown }],
                3 => vec![Gate { what: "parts".into(), state: GateState::Expected(day("2026-11-27")) }],
                _ => vec![],
            };
            next += 1;
            for operation in &mut job.operations {
                operation.id = id(next);
                next += 1;
            }
            floor.jobs.push(job);
        }
        let model = floor.model();
        let plan = first_plan(&model.model).unwrap();
        if plan.value.broken == 0 {
            prop_assert_eq!(validate(&model.model, &plan), vec![]);
        }
        let timetable = model.timetable(&floor, &plan, None);
        for job in &floor.jobs {
            let left_out = model.issues.iter().any(|h| h.job == job.id && h.reason.leaves_out());
            for operation in &job.operations {
                let open = operation.progress != Progress::Done;
                let slots = timetable.slots.iter().filter(|s| s.operation == operation.id).count();
                prop_assert!(slots <= usize::from(open));
                prop_assert!(slots == 1 || !open || left_out, "{:?}", operation);
            }
        }
        for a in &timetable.slots {
            prop_assert!(a.starts >= floor.now && a.starts <= a.setup_until);
            prop_assert!(a.setup_until <= a.attended_until && a.attended_until <= a.ends);
            for b in &timetable.slots {
                if a.operation != b.operation && a.machine.is_some() && a.machine == b.machine {
                    prop_assert!(a.ends <= b.starts || b.ends <= a.starts, "{:?} {:?}", a, b);
                }
                if a.operation != b.operation && a.person.is_some() && a.person == b.person {
                    prop_assert!(a.attended_until <= b.starts || b.attended_until <= a.starts, "{:?} {:?}", a, b);
                }
            }
        }
        let again = model.carry_over(&floor, &timetable).unwrap();
        prop_assert_eq!(&model.timetable(&floor, &again, None).slots, &timetable.slots);
    }

    /// Whatever parts are made for whichever operations of a job, among other jobs: the plan never starts one that needs a
    /// part before every step of making it has ended.
    #[test]
    fn what_needs_a_part_starts_after_it_is_made(
        routes in proptest::collection::vec(proptest::collection::vec((any::<bool>(), 0..3i64), 1..5), 1..4),
        steps in proptest::collection::vec((any::<bool>(), 0..90i64, 0..60i64), 1..4),
        free in 0..3i64,
    ) {
        let kind = |hone: bool| if hone { ("hone", "honing") } else { ("mill", "milling") };
        let dowel = MadePart {
            item_id: id(9),
            name: "Dowel".to_owned(),
            free: free.into(),
            making: Making {
                steps: steps.iter().map(|(hone, setup, each)| MakingStep {
                    code: None,
                    what: "Make it".to_owned(),
                    machine_kind: kind(*hone).0.to_owned(),
                    skill: kind(*hone).1.to_owned(),
                    setup: Some(Minutes((*setup).into())),
                    each: Some(Minutes((*each).into())),
                }).collect(),
                materials: vec![],
            },
        };
        let pounds = Currency::from_code("GBP").unwrap();
        let data = cutting_data::starting_points().remove(0);
        let mut floor = floor("2026-11-25T09:00:00Z");
        for (at, drawn) in routes.into_iter().enumerate() {
            let line = drawn.into_iter().zip((10_u32..).step_by(10)).map(|((hone, dowels), number)| {
                let mut operation = route_operation(number, &[]);
                operation.after = (number > 10).then(|| number - 10).into_iter().collect();
                (operation.machine_kind, operation.skill) = (kind(hone).0.to_owned(), kind(hone).1.to_owned());
                operation.materials = vec![Material {
                    name: "Dowel".to_owned(),
                    quantity: Decimal::from(dowels),
                    price: Money::zero(pounds),
                    smallest: None,
                    largest: None,
                    made: false,
                }];
                operation
            });
            let route = Route { operations: line.collect() };
            let route = route.with_made(std::slice::from_ref(&dowel), &[], (&data, &OrderOfWork::default())).unwrap();
            let first = 1000 * (at as u128 + 1);
            let operations = route.operations.iter().map(|o| FloorOperation::of_route(id(first + u128::from(o.number)), o));
            floor.jobs.push(job(first, None, operations.collect()));
            let (_, timetable) = planned(&floor);
            let slot = |number: u32| timetable.slot(id(first + u128::from(number))).unwrap();
            let making = route.operations.iter().filter(|o| o.makes.is_some());
            let steps: Vec<u32> = making.map(|o| o.number).collect();
            for needing in route.operations.iter().filter(|o| o.materials.iter().any(|m| m.made)) {
                prop_assert!(!steps.is_empty());
                for step in &steps {
                    prop_assert!(slot(*step).ends <= slot(needing.number).starts);
                }
            }
        }
    }
}
