//! A mill and a man in small, worked by hand; and what holds for any change.

use super::*;
use crate::planning::changes::{
    Away, Hold, Order, Overtime, Place, PlanChange, Rank, Release, Side, Train,
};
use crate::planning::floor::{
    self, Floor, FloorJob, FloorMachine, FloorOperation, FloorPerson, IssueReason, Pin, Progress,
    Resource, SlotState, Timetable,
};
use crate::planning::{Hours, Shift};
use chrono::NaiveTime;
use chrono::Weekday;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use proptest::prelude::*;
use uuid::Uuid;

pub(in crate::planning) fn at(text: &str) -> DateTime<Utc> {
    format!("2026-11-{text}:00Z").parse().unwrap()
}

pub(in crate::planning) fn id(n: u128) -> Uuid {
    Uuid::from_u128(n)
}

fn hours() -> Hours {
    let clock = |h| NaiveTime::from_hms_opt(h, 0, 0).unwrap();
    Hours {
        zone: Tz::UTC,
        shifts: [
            Weekday::Mon,
            Weekday::Tue,
            Weekday::Wed,
            Weekday::Thu,
            Weekday::Fri,
        ]
        .map(|weekday| Shift {
            weekday,
            start: clock(8),
            end: clock(16),
        })
        .to_vec(),
        holidays: Default::default(),
        overtime: vec![],
        stops: vec![],
    }
}

/// An operation of job `job`: its key is job × 100 + number.
fn operation(job: u128, number: u32, key: &str, setup: i64, run: i64) -> FloorOperation {
    FloorOperation {
        id: id(job * 100 + u128::from(number)),
        number,
        what: "Mill the face".into(),
        machine_kind: "mill".into(),
        skill: "milling".into(),
        setup_key: key.into(),
        setup,
        run,
        attended: run,
        may_pause: true,
        after: if number > 10 {
            vec![number - 10]
        } else {
            vec![]
        },
        outside_days: None,
        spread: 0.0,
        setup_spread: 0.0,
        element: String::new(),
        not_before: None,
        progress: Progress::Queued,
        pin: None,
        behind: vec![],
    }
}

fn job(number: u128, due: &str, operations: Vec<FloorOperation>) -> FloorJob {
    FloorJob {
        id: id(number),
        number: number as i64,
        title: "Tarn 4/90 block".into(),
        customer: "Asa Pemberly".into(),
        order: floor::Order::Job,
        due: Some(at(due)),
        promised: true,
        weight: 10,
        put_first: None,
        hold: None,
        operations,
        gates: vec![],
    }
}

const MILL: u128 = 9001;
const BORER: u128 = 9002;
const WYN: u128 = 9101;
const INES: u128 = 9102;

fn floor(jobs: Vec<FloorJob>) -> Floor {
    let machine = |n, name: &str, kind: &str| FloorMachine {
        id: id(n),
        name: name.into(),
        kind: kind.into(),
        hours: hours(),
    };
    let person = |n, name: &str, skill: &str| FloorPerson {
        id: id(n),
        name: name.into(),
        skills: vec![skill.into()],
        hours: hours(),
    };
    Floor {
        zone: Tz::UTC,
        now: at("23T08:00"),
        hours: hours(),
        confidence: 0.8,
        days: crate::estimating::Recalibration::none(),
        variation: crate::estimating::Variation::none(),
        machines: vec![
            machine(MILL, "the mill", "mill"),
            machine(BORER, "the borer", "borer"),
        ],
        people: vec![
            person(WYN, "Wyn", "milling"),
            person(INES, "Ines", "boring"),
        ],
        jobs,
    }
}

/// The plan of a floor, jobs in their order.
pub(in crate::planning) fn current_plan(floor: &Floor) -> Timetable {
    let model = floor.model();
    let plan = crate::planning::engine::solve::first_plan(&model.model).unwrap();
    model.timetable(floor, &plan, None)
}

/// Eight hours due tonight and four due tomorrow noon on one mill: it just goes.
fn tight() -> Floor {
    floor(vec![
        job(1, "23T16:00", vec![operation(1, 10, "", 0, 480)]),
        job(2, "24T12:00", vec![operation(2, 10, "", 0, 240)]),
    ])
}

fn tried(floor: &Floor, change: &PlanChange) -> WhatIf {
    let current_plan = current_plan(floor);
    let baseline = Baseline::new(floor, &current_plan, Settings::default()).unwrap();
    baseline.try_out(change).unwrap()
}

#[test]
fn a_stop_of_two_hours_makes_both_late_by_two() {
    let floor = tight();
    let change = PlanChange::from(Away {
        whose: Resource::Machine(id(MILL)),
        from: at("23T10:00"),
        until: at("23T12:00"),
        why: "service".into(),
    });
    let what = tried(&floor, &change);
    assert_eq!(
        what.effect.sentence,
        "If the mill is down on Mon 23 Nov, 10:00 to 12:00 (service): job 1 goes late by 2 h, \
         job 2 by 2 h; 1 operation moves."
    );
    let moves: Vec<_> = what
        .effect
        .promises
        .iter()
        .map(|p| (p.later, p.chance))
        .collect();
    assert_eq!(moves, [(120, (Some(1.0), Some(0.0))); 2]);
    // Two hours of overtime that evening bring it all back.
    let late = what.floor;
    let overtime = PlanChange::from(Overtime {
        whose: vec![Resource::Machine(id(MILL)), Resource::Person(id(WYN))],
        from: at("23T16:00"),
        until: at("23T18:00"),
        why: String::new(),
    });
    let after = tried(&late, &overtime);
    assert_eq!(
        after.effect.sentence,
        "With overtime for the mill and Wyn on Mon 23 Nov, 16:00 to 18:00: job 2 is no longer late, \
         job 1 is ready 2 h sooner; 1 operation moves."
    );
}

#[test]
fn holding_a_job_frees_its_place_and_says_so() {
    let floor = tight();
    let hold = PlanChange::from(Hold {
        job: id(1),
        reason: "the deposit is not here".into(),
    });
    let what = tried(&floor, &hold);
    assert_eq!(
        what.effect.sentence,
        "If job 1 is put on hold (the deposit is not here): job 2 is ready 8 h sooner, \
         job 1 drops out of the plan; 1 operation moves."
    );
    assert_eq!(what.effect.new_issues.len(), 1);
    let nothing = PlanChange::from(Train {
        person: id(INES),
        skill: "honing".into(),
    });
    assert_eq!(
        tried(&floor, &nothing).effect.sentence,
        "If Ines learns honing: every job is ready when it was; nothing else moves."
    );
}

/// The field and the words of a refusal.
fn refused(floor: &Floor, change: &PlanChange) -> (&'static str, String) {
    let current_plan = current_plan(floor);
    let baseline = Baseline::new(floor, &current_plan, Settings::default()).unwrap();
    match baseline.try_out(change) {
        Err(TryError::Cannot(cannot)) => (cannot.field, cannot.why),
        other => panic!("{other:?}"),
    }
}

#[test]
fn what_cannot_be_is_refused_beside_its_field() {
    let mut floor = floor(vec![
        job(
            1,
            "27T16:00",
            vec![operation(1, 10, "", 0, 480), operation(1, 20, "", 0, 60)],
        ),
        job(2, "27T16:00", vec![operation(2, 10, "", 0, 240)]),
    ]);
    let place = |operation: u128, machine, person, starts: &str| {
        PlanChange::from(Place {
            operation: id(operation),
            machine,
            person,
            starts: Some(at(starts)),
        })
    };
    let mill = Some(id(MILL));
    assert_eq!(
        refused(&floor, &place(210, Some(id(BORER)), None, "24T08:00")).0,
        "on"
    );
    assert_eq!(
        refused(&floor, &place(210, mill, Some(id(INES)), "24T08:00")).0,
        "with"
    );
    assert_eq!(
        refused(&floor, &place(210, mill, None, "22T08:00")).0,
        "time"
    );
    assert_eq!(
        refused(&floor, &place(777, mill, None, "24T08:00")).0,
        "operation"
    );
    // Operation 20 before operation 10 is done.
    let (field, why) = refused(&floor, &place(120, mill, None, "23T09:00"));
    assert_eq!(field, "time");
    assert!(
        why.starts_with("10 Mill the face, which comes before it, is done on "),
        "{why}"
    );
    // Where something is pinned already.
    floor.operation_mut(id(210)).unwrap().pin = Some(Pin {
        machine: mill,
        person: None,
        start: Some(at("24T08:00")),
    });
    let (field, why) = refused(&floor, &place(110, mill, None, "24T10:00"));
    assert_eq!(field, "time");
    assert_eq!(
        why,
        "This time is taken by op 10 of job 2 for Asa Pemberly, pinned from Tue 24 Nov, 08:00 to Tue 24 Nov, 12:00"
    );
    // The nearest place: at noon, when the pinned work is off the mill; and where what comes before it is done, the
    // morning after.
    let nearest = |change: &PlanChange| {
        let current_plan = current_plan(&floor);
        let baseline = Baseline::new(&floor, &current_plan, Settings::default()).unwrap();
        let nearest = baseline.nearest(change).unwrap();
        baseline.try_out(&nearest).unwrap();
        nearest.times()[0]
    };
    assert_eq!(nearest(&place(110, mill, None, "24T10:00")), at("24T12:00"));
    assert_eq!(nearest(&place(120, mill, None, "23T09:00")), at("24T12:00"));
    let release = PlanChange::from(Release { job: id(1) });
    assert_eq!(refused(&floor, &release).0, "job");
}

#[test]
fn work_with_the_same_on_the_table_is_brought_together() {
    let floor = floor(vec![
        job(1, "24T16:00", vec![operation(1, 10, "rear", 60, 120)]),
        job(2, "24T16:00", vec![operation(2, 10, "front", 60, 120)]),
        job(3, "25T16:00", vec![operation(3, 10, "rear", 60, 120)]),
    ]);
    let model = floor.model();
    let fixed_order = crate::planning::engine::repair::right_shift(
        &model.model,
        &crate::planning::engine::model::plan::Plan {
            assignments: (0..3)
                .map(|i| crate::planning::engine::model::plan::Assignment {
                    mode: 0,
                    person: Some(0),
                    start: i,
                    setup: 0,
                    attended_until: i,
                    end: i,
                })
                .collect(),
            value: Default::default(),
        },
    )
    .unwrap();
    let current_plan = model.timetable(&floor, &fixed_order, None);
    let found = combinations(
        &floor,
        &current_plan,
        5,
        Settings {
            moves: 0,
            ..Settings::default()
        },
    )
    .unwrap();
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].first, found[0].second), (id(110), id(310)));
    // A setup of an hour, of which a quarter remains.
    assert_eq!(found[0].saves, 45);
    assert!(found[0].tried.effect.promises.iter().all(|p| !p.is_late()));

    // Taken, it is kept: the next plan made of the floor has the second behind the first, wherever the old one had it.
    let taken = &found[0].tried.floor;
    assert_eq!(taken.operation(id(310)).unwrap().1.behind, [id(110)]);
    let mut otherwise = current_plan.clone();
    for slot in &mut otherwise.slots {
        slot.starts = at(if slot.operation == id(310) {
            "23T08:00"
        } else {
            "23T12:00"
        });
    }
    let model = taken.model();
    let again = model.carry_over(taken, &otherwise).unwrap();
    let again = model.timetable(taken, &again, None);
    let slot = |n| again.slot(id(n)).unwrap().clone();
    assert!(slot(310).starts >= slot(110).ends);
    // And the other way round it would wait for itself.
    let back = PlanChange::from(Order {
        operation: id(310),
        other: id(110),
        side: Side::Before,
        machine: None,
    });
    assert_eq!(refused(taken, &back).0, "operation");
    // Somebody's route that has come to ask for the opposite is heard, and the order is a issue.
    let mut circle = taken.clone();
    circle.operation_mut(id(110)).unwrap().behind = vec![id(310)];
    let issues = circle.model().issues;
    assert_eq!(issues.len(), 1);
    assert_eq!(issues[0].reason, IssueReason::OrderGone);
}

/// A machine stops for four hours: work that is not on it, nor follows work that is, stays where it is.
#[test]
fn a_stop_leaves_others_where_they_are() {
    let floor = three();
    let current_plan = current_plan(&floor);
    let before: Vec<_> = current_plan
        .slots
        .iter()
        .map(|s| (s.operation, s.starts))
        .collect();
    assert!(before.len() > 3);
    let stop = PlanChange::from(Away {
        whose: Resource::Machine(id(BORER)),
        from: at("23T08:00"),
        until: at("23T12:00"),
        why: "a belt".into(),
    });
    // Nothing is on the borer.
    let what = tried(&floor, &stop);
    assert_eq!(what.effect.moved, Vec::<Uuid>::new());
    assert_eq!(what.effect.promises, vec![]);
}

pub(in crate::planning) fn any_change() -> impl Strategy<Value = PlanChange> {
    let when = |d: u32, h: u32| at(&format!("{}T{:02}:00", 23 + d, h));
    let whose = prop::sample::select(vec![
        Resource::Machine(id(MILL)),
        Resource::Machine(id(BORER)),
        Resource::Person(id(WYN)),
        Resource::Person(id(INES)),
    ]);
    let job = 1_u128..=3;
    let span = (0_u32..5, 6_u32..20, 1_i64..30);
    prop_oneof![
        (job.clone(), 0_u32..5, 8_u32..16).prop_map(move |(j, d, h)| PlanChange::from(Place {
            operation: id(j * 100 + 10),
            machine: Some(id(MILL)),
            person: None,
            starts: Some(when(d, h)),
        })),
        job.clone().prop_map(|j| PlanChange::from(Rank {
            job: id(j),
            place: Some(1)
        })),
        (
            prop::sample::select(vec![110_u128, 120, 210, 310]),
            prop::sample::select(vec![110_u128, 120, 210, 310]),
            any::<bool>(),
            any::<bool>(),
        )
            .prop_map(|(a, b, before, mill)| PlanChange::from(Order {
                operation: id(a),
                other: id(b),
                side: if before { Side::Before } else { Side::Behind },
                machine: mill.then_some(id(MILL)),
            })),
        job.prop_map(|j| PlanChange::from(Hold {
            job: id(j),
            reason: "waits".into()
        })),
        (whose.clone(), span.clone()).prop_map(move |(whose, (d, h, n))| PlanChange::from(Away {
            whose,
            from: when(d, h),
            until: when(d, h) + chrono::Duration::hours(n),
            why: "stop".into(),
        })),
        (whose, span).prop_map(move |(whose, (d, h, n))| PlanChange::from(Overtime {
            whose: vec![whose],
            from: when(d, h),
            until: when(d, h) + chrono::Duration::hours(n),
            why: String::new(),
        })),
        Just(PlanChange::from(Train {
            person: id(INES),
            skill: "milling".into()
        })),
    ]
}

pub(in crate::planning) fn three() -> Floor {
    floor(vec![
        job(
            1,
            "24T16:00",
            vec![
                operation(1, 10, "rear", 60, 300),
                operation(1, 20, "rear", 60, 90),
            ],
        ),
        job(2, "25T12:00", vec![operation(2, 10, "front", 30, 240)]),
        job(3, "26T16:00", vec![operation(3, 10, "rear", 60, 120)]),
    ])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// After any change that is taken: nobody and nothing works while away, what is pinned is where it is pinned,
    /// and the mended plan keeps the engine's rules.
    #[test]
    fn a_mended_plan_keeps_to_what_was_said(first in any_change(), second in any_change()) {
        let mut floor = three();
        let mut current_plan = current_plan(&floor);
        for change in [first, second] {
            let baseline = Baseline::new(&floor, &current_plan, Settings::default()).unwrap();
            let Ok(what) = baseline.try_out(&change) else { continue };
            let faults = crate::planning::engine::model::validator::validate(&what.model.model, &what.plan);
            prop_assert!(faults.is_empty(), "{:?}", faults);
            if let PlanChange::Away(Away { whose, from, until, .. }) = change {
                for slot in &what.after.slots {
                    let theirs = match whose {
                        Resource::Machine(id) => slot.machine == Some(id),
                        Resource::Person(id) => slot.person == Some(id),
                    };
                    // It may be on the machine half done, but nothing begins or ends in the stop.
                    prop_assert!(!theirs || slot.starts < from || slot.starts >= until);
                    prop_assert!(!theirs || slot.ends <= from || slot.ends > until);
                }
            }
            for slot in &what.after.slots {
                let pin = what.floor.operation(slot.operation).unwrap().1.pin;
                if let Some(starts) = pin.and_then(|pin| pin.start) && slot.state == SlotState::Pinned {
                    prop_assert!(slot.starts >= starts);
                }
            }
            floor = what.floor;
            current_plan = what.after;
        }
    }
}
