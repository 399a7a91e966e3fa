mod property;

use super::*;
use crate::planning::calendar::{Hours, Shift};
use crate::planning::engine::futures::futures;
use crate::planning::engine::model::{Minute, validator::validate};
use crate::planning::engine::solve::first_plan;
use chrono::{DateTime, NaiveDate, NaiveTime, Utc, Weekday};
use chrono_tz::Tz;
use rand::SeedableRng;
use uuid::Uuid;

const LONDON: Tz = chrono_tz::Europe::London;

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// 08:00 to 16:00 on weekdays, by the clock on a wall in London.
fn weekdays() -> Hours {
    let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap();
    let days = [
        Weekday::Mon,
        Weekday::Tue,
        Weekday::Wed,
        Weekday::Thu,
        Weekday::Fri,
    ];
    Hours {
        zone: LONDON,
        shifts: days
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

fn id(n: u128) -> Uuid {
    Uuid::from_u128(n)
}

/// A mill, a hone, and Edda who can use both.
fn floor(now: &str) -> Floor {
    let machine = |n, name: &str, kind: &str| FloorMachine {
        id: id(n),
        name: name.into(),
        kind: kind.into(),
        hours: weekdays(),
    };
    Floor {
        zone: LONDON,
        now: at(now),
        hours: weekdays(),
        confidence: 0.8,
        days: crate::estimating::Recalibration::none(),
        variation: crate::estimating::Variation::none(),
        machines: vec![machine(1, "Mill", "mill"), machine(2, "Hone", "hone")],
        people: vec![FloorPerson {
            id: id(11),
            name: "Edda Marsh".into(),
            skills: vec!["Milling ".into(), "honing".into()],
            hours: weekdays(),
        }],
        jobs: vec![],
    }
}

fn operation(n: u128, number: u32, kind: &str, skill: &str, run: Minute) -> FloorOperation {
    FloorOperation {
        id: id(n),
        number,
        what: "work".into(),
        machine_kind: kind.into(),
        skill: skill.into(),
        setup_key: format!("{kind} key"),
        setup: 0,
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

fn job(n: u128, due: Option<&str>, operations: Vec<FloorOperation>) -> FloorJob {
    FloorJob {
        id: id(n),
        number: i64::try_from(n).unwrap(),
        title: "a block".into(),
        customer: String::new(),
        order: Order::Job,
        due: due.map(at),
        promised: true,
        weight: PROMISE_WEIGHT,
        put_first: None,
        hold: None,
        operations,
        gates: vec![],
    }
}

fn planned(floor: &Floor) -> (FloorModel, Timetable) {
    let model = floor.model();
    let plan = first_plan(&model.model).unwrap();
    assert_eq!(validate(&model.model, &plan), vec![]);
    let timetable = model.timetable(floor, &plan, None);
    (model, timetable)
}

/// Clocks go forward on 29 March 2026 and back on 25 October 2026 (EU summer time; tz database). Two hours begun an
/// hour before Friday's end are done at nine on Monday by the wall, an hour earlier in UTC in spring and later in
/// autumn.
#[test]
fn weeks_in_which_clocks_change_keep_to_the_clock_on_the_wall() {
    for (now, end) in [
        ("2026-03-27T15:00:00Z", "2026-03-30T08:00:00Z"),
        ("2026-10-23T14:00:00Z", "2026-10-26T09:00:00Z"),
    ] {
        let mut floor = floor(now);
        let due = Floor::end_of(&floor.hours, at(end).date_naive());
        floor.jobs = vec![job(
            21,
            None,
            vec![operation(31, 10, "mill", "milling", 120)],
        )];
        floor.jobs[0].due = Some(due);
        let (_, timetable) = planned(&floor);
        assert_eq!(timetable.slots[0].starts, at(now));
        assert_eq!(timetable.slots[0].ends, at(end));
        // From nine to four: seven working hours.
        assert_eq!(timetable.slots[0].slack_minutes, Some(420));
        assert_eq!(timetable.jobs[0].slack_minutes, Some(420));
    }
    // A Saturday night shift from ten to six lasts seven hours in spring and nine in autumn.
    for (saturday, minutes) in [("2026-03-28", 420), ("2026-10-24", 540)] {
        let mut floor = floor("2026-01-05T08:00:00Z");
        floor.machines[0].hours.shifts = vec![Shift {
            weekday: Weekday::Sat,
            start: NaiveTime::from_hms_opt(22, 0, 0).unwrap(),
            end: NaiveTime::from_hms_opt(6, 0, 0).unwrap(),
        }];
        let (_, timetable) = planned(&floor);
        let load = timetable.load(&floor, day(saturday), 2);
        let mill: Minute = load
            .iter()
            .filter(|l| l.owner == Resource::Machine(id(1)))
            .map(|l| l.capacity)
            .sum();
        assert_eq!(mill, minutes, "{saturday}");
    }
}

#[test]
fn what_cannot_be_planned_is_reported_with_its_reason() {
    let mut floor = floor("2026-11-25T09:00:00Z");
    let plain = || vec![operation(40, 10, "mill", "milling", 60)];
    let gate = |state| Gate {
        what: "the donor".into(),
        state,
    };
    let mut held = job(21, None, plain());
    held.hold = Some("customer has not paid".into());
    let mut unknown = job(22, None, plain());
    unknown.gates = vec![gate(GateState::Unknown)];
    let lathe = job(23, None, vec![operation(41, 10, "lathe", "milling", 60)]);
    let welding = job(24, None, vec![operation(42, 10, "mill", "welding", 60)]);
    let mut later = job(25, None, vec![operation(43, 10, "mill", "milling", 60)]);
    later.gates = vec![
        gate(GateState::Here),
        gate(GateState::Expected(day("2026-12-01"))),
    ];
    let mut circle = job(26, None, vec![operation(44, 10, "mill", "milling", 60)]);
    circle.operations[0].after = vec![10];
    floor.jobs = vec![held, unknown, lathe, welding, later, circle];
    let (model, timetable) = planned(&floor);
    let why: Vec<(Uuid, String)> = model
        .issues
        .iter()
        .map(|issue| (issue.job, issue.reason.to_string()))
        .collect();
    assert_eq!(
        why,
        [
            (id(21), "on hold: customer has not paid".to_owned()),
            (
                id(22),
                "waits for “the donor”, which has no date".to_owned()
            ),
            (id(23), "no lathe in use".to_owned()),
            (id(24), "nobody has the skill “welding”".to_owned()),
            (id(26), "its operations wait for each other".to_owned()),
        ]
    );
    assert_eq!(model.jobs, [id(25)]);
    assert_eq!(timetable.slots[0].starts, at("2026-12-01T08:00:00Z"));
}

#[test]
fn one_operation_waits_for_what_it_needs_and_the_ones_before_it_do_not() {
    let mut floor = floor("2026-11-25T09:00:00Z");
    let mut second = operation(32, 20, "hone", "honing", 60);
    second.not_before = Some(day("2026-11-30"));
    floor.jobs = vec![job(
        21,
        None,
        vec![operation(31, 10, "mill", "milling", 60), second],
    )];
    let (model, timetable) = planned(&floor);
    assert_eq!(timetable.slots.len(), 2);
    assert_eq!(timetable.slots[0].starts, at("2026-11-25T09:00:00Z"));
    assert_eq!(timetable.slots[1].starts, at("2026-11-30T08:00:00Z"));
    let again = model.carry_over(&floor, &timetable).unwrap();
    assert_eq!(model.timetable(&floor, &again, None).slots, timetable.slots);
}

/// Begun at eight, now nine: of four hours three are left. Of an operation that should have been over, a tenth. The one
/// begun last is on the machine; the other stands half done and goes on after it, on the same machine.
#[test]
fn started_work_keeps_its_machine_and_its_person_and_what_is_left_of_it() {
    let mut floor = floor("2026-11-25T09:00:00Z");
    let begun = |mut operation: FloorOperation, since: &str| {
        operation.progress = Progress::Started {
            since: Some(at(since)),
            machine: Some(id(1)),
            person: Some(id(11)),
        };
        operation
    };
    let long = begun(
        operation(31, 10, "mill", "milling", 240),
        "2026-11-25T08:00:00Z",
    );
    let overrun = begun(
        operation(32, 10, "mill", "milling", 100),
        "2026-11-24T09:00:00Z",
    );
    floor.jobs = vec![job(21, None, vec![long]), job(22, None, vec![overrun])];
    floor.jobs[0].hold = Some("stopped".into());
    let (_, timetable) = planned(&floor);
    let now = timetable.slot(id(31)).unwrap();
    assert_eq!(
        (now.state, now.machine, now.person),
        (SlotState::Started, Some(id(1)), Some(id(11)))
    );
    assert_eq!(now.ends, at("2026-11-25T12:00:00Z"));
    let half = timetable.slot(id(32)).unwrap();
    assert_eq!(half.state, SlotState::HalfDone);
    assert_eq!(half.starts, at("2026-11-25T12:00:00Z"));
    assert_eq!(half.ends, at("2026-11-25T12:10:00Z"));
}

#[test]
fn a_pin_is_an_appointment_until_it_has_passed_or_is_taken() {
    let mut floor = floor("2026-11-25T09:00:00Z");
    let pinned = |mut operation: FloorOperation, start: &str| {
        operation.pin = Some(Pin {
            machine: Some(id(1)),
            person: Some(id(11)),
            start: Some(at(start)),
        });
        operation
    };
    floor.jobs = vec![
        job(
            21,
            None,
            vec![pinned(
                operation(31, 10, "mill", "milling", 60),
                "2026-11-26T10:00:00Z",
            )],
        ),
        job(
            22,
            None,
            vec![pinned(
                operation(32, 10, "mill", "milling", 60),
                "2026-11-26T10:30:00Z",
            )],
        ),
        job(
            23,
            None,
            vec![pinned(
                operation(33, 10, "mill", "milling", 60),
                "2026-11-24T10:00:00Z",
            )],
        ),
        job(24, None, vec![operation(34, 10, "hone", "honing", 60)]),
    ];
    floor.jobs[3].operations[0].pin = Some(Pin {
        machine: Some(id(1)),
        person: None,
        start: None,
    });
    let (model, timetable) = planned(&floor);
    let slot = timetable.slot(id(31)).unwrap();
    assert_eq!(
        (slot.state, slot.starts),
        (SlotState::Pinned, at("2026-11-26T10:00:00Z"))
    );
    let issues: Vec<_> = model
        .issues
        .iter()
        .map(|h| (h.job, h.reason.clone()))
        .collect();
    assert_eq!(
        issues,
        [
            (id(24), IssueReason::PinGone),
            (id(22), IssueReason::PinTaken)
        ]
    );
    assert_eq!(timetable.slots.len(), 4);
    assert_eq!(timetable.slot(id(33)).unwrap().state, SlotState::Planned);
}

/// Pinned right behind pinned work with the same setup, it finds it there; with a minute between, or behind another setup,
/// it is set up again. An hour of setup leaves a quarter of it (`SAME_KEY_REMAINS`).
#[test]
fn a_pin_behind_a_pin_shares_its_setup() {
    for (key, start, ends) in [
        ("mill key", "2026-11-26T12:00:00Z", "2026-11-26T13:15:00Z"),
        ("mill key", "2026-11-26T12:01:00Z", "2026-11-26T14:01:00Z"),
        ("other key", "2026-11-26T12:00:00Z", "2026-11-26T14:00:00Z"),
    ] {
        let mut floor = floor("2026-11-25T09:00:00Z");
        let pinned = |n, key: &str, start: &str| FloorOperation {
            setup: 60,
            setup_key: key.to_owned(),
            pin: Some(Pin {
                machine: Some(id(1)),
                person: Some(id(11)),
                start: Some(at(start)),
            }),
            ..operation(n, 10, "mill", "milling", 60)
        };
        let first = pinned(31, "mill key", "2026-11-26T10:00:00Z");
        floor.jobs = vec![
            job(21, None, vec![first]),
            job(22, None, vec![pinned(32, key, start)]),
        ];
        let (_, timetable) = planned(&floor);
        let slot = timetable.slot(id(32)).unwrap();
        assert_eq!((slot.starts, slot.ends), (at(start), at(ends)), "{key}");
    }
}

/// Two hours that may not pause, pinned an hour before the day ends, are done in one piece the next morning.
#[test]
fn a_pin_is_not_split_over_night_when_its_work_may_not_pause() {
    let mut floor = floor("2026-11-25T09:00:00Z");
    let mut whole = operation(31, 10, "mill", "milling", 120);
    whole.may_pause = false;
    whole.pin = Some(Pin {
        machine: Some(id(1)),
        person: Some(id(11)),
        start: Some(at("2026-11-26T15:00:00Z")),
    });
    floor.jobs = vec![job(21, None, vec![whole])];
    let (_, timetable) = planned(&floor);
    let slot = timetable.slot(id(31)).unwrap();
    assert_eq!(
        (slot.starts, slot.ends),
        (at("2026-11-27T08:00:00Z"), at("2026-11-27T10:00:00Z"))
    );
}

#[test]
fn a_job_put_first_goes_before_a_promise_and_keeps_its_own_promise_in_sight() {
    let mut floor = floor("2026-11-25T09:00:00Z");
    floor.jobs = vec![
        job(
            21,
            Some("2026-11-25T10:00:00Z"),
            vec![operation(31, 10, "mill", "milling", 60)],
        ),
        job(
            22,
            Some("2026-12-25T10:00:00Z"),
            vec![operation(32, 10, "mill", "milling", 60)],
        ),
    ];
    assert_eq!(planned(&floor).1.slots[0].operation, id(31));
    floor.jobs[1].put_first = Some(0);
    let (model, timetable) = planned(&floor);
    assert_eq!(timetable.slots[0].operation, id(32));
    assert!(timetable.job(id(22)).unwrap().slack_minutes.unwrap() > 0);
    assert_eq!(timetable.job(id(21)).unwrap().slack_minutes, Some(-60));
    // The other promise has a chance of its own: none, when everything takes the time planned.
    let plan = first_plan(&model.model).unwrap();
    let drawn = futures(
        &model.model,
        &plan,
        10,
        &mut rand_pcg::Pcg64::seed_from_u64(1),
    )
    .unwrap();
    let timetable = model.timetable(&floor, &plan, Some(&drawn));
    assert_eq!(timetable.job(id(21)).unwrap().chance, Some(0.0));
    assert_eq!(timetable.job(id(22)).unwrap().chance, Some(1.0));
    assert_eq!(
        timetable.job(id(22)).unwrap().sure_by,
        Some(at("2026-11-25T10:00:00Z"))
    );
}

#[test]
fn a_day_has_its_load_its_capacity_and_what_is_over() {
    let mut floor = floor("2026-11-25T14:00:00Z");
    floor.machines[0].hours.overtime =
        vec![(at("2026-11-25T18:00:00Z"), at("2026-11-25T19:00:00Z"))];
    floor.jobs = vec![job(
        21,
        Some("2026-11-25T16:00:00Z"),
        vec![operation(31, 10, "mill", "milling", 180)],
    )];
    let (_, timetable) = planned(&floor);
    let load = timetable.load(&floor, day("2026-11-25"), 2);
    let of = |owner, day: NaiveDate| {
        let l = load
            .iter()
            .find(|l| l.owner == owner && l.day == day)
            .unwrap();
        (l.load, l.capacity, l.over)
    };
    // Two of three hours today; Edda is not there for the overtime. One hour is done a day after it was promised.
    let (edda, mill) = (Resource::Person(id(11)), Resource::Machine(id(1)));
    assert_eq!(of(edda, day("2026-11-25")), (120, 480, 60));
    assert_eq!(of(mill, day("2026-11-26")), (60, 480, 0));
    assert_eq!(of(mill, day("2026-11-25")).1, 540);
    // However few days are asked for; and by which work.
    let alone = timetable.load(&floor, day("2026-11-25"), 1);
    let over = alone.iter().find(|l| l.owner == edda).map(|l| l.over);
    assert_eq!(over, Some(60));
    let over = timetable.late_work(&floor, edda, day("2026-11-25"));
    assert_eq!(over, [(id(31), 60)]);
    // Put off by hand while there was nothing else to do, it is late, and no day is over for it.
    let mut put_off = timetable.clone();
    for slot in &mut put_off.slots {
        (slot.starts, slot.ends) = (at("2026-11-26T09:00:00Z"), at("2026-11-26T12:00:00Z"));
        slot.attended_until = slot.ends;
    }
    let load = put_off.load(&floor, day("2026-11-25"), 1);
    let over = load.iter().find(|l| l.owner == edda).map(|l| l.over);
    assert_eq!(over, Some(60), "two hours were free for work of three");
}
