//! What holds for every kind of change, and what a new kind takes.

use super::*;
use crate::planning::floor::Progress;
use crate::planning::what_if::tests::{any_change, at, current_plan, id, three};
use chrono::TimeDelta;
use proptest::prelude::*;
use std::collections::BTreeSet;

const MILL: Resource = Resource::Machine(Uuid::from_u128(9001));
const INES: Resource = Resource::Person(Uuid::from_u128(9102));

/// Begun by the first person of the floor, on the mill.
fn begun() -> Progress {
    Progress::Started {
        since: None,
        machine: Some(Uuid::from_u128(9001)),
        person: Some(Uuid::from_u128(9101)),
    }
}

/// A change of every kind with a floor it can be made to: those listed, then what undoes each.
fn one_of_each() -> Vec<(Floor, PlanChange)> {
    let (from, until) = (at("24T16:00"), at("24T18:00"));
    let why = || "service".to_owned();
    let machine = Uuid::from_u128(9001);
    let changes: Vec<PlanChange> = vec![
        Place {
            operation: id(110),
            machine: Some(machine),
            person: None,
            starts: Some(from),
        }
        .into(),
        Order {
            operation: id(310),
            other: id(210),
            side: Side::Before,
            machine: Some(machine),
        }
        .into(),
        Rank::first(&three(), id(2)).into(),
        Hold {
            job: id(1),
            reason: why(),
        }
        .into(),
        Away {
            whose: MILL,
            from,
            until,
            why: why(),
        }
        .into(),
        Overtime {
            whose: vec![MILL, INES],
            from,
            until,
            why: why(),
        }
        .into(),
        Train {
            person: Uuid::from_u128(9102),
            skill: "honing".into(),
        }
        .into(),
        SecondMachine { like: machine }.into(),
        Probe {
            job: id(3),
            due: Some(until),
        }
        .into(),
    ];
    let floor = three();
    let mut all = Vec::new();
    // Work that was begun by somebody is handed over to somebody else who can do it.
    let mut started = three();
    started.people[1].skills.push("milling".into());
    started.operation_mut(id(110)).unwrap().progress = begun();
    let over = PlanChange::from(HandOver {
        operation: id(110),
        person: Some(Uuid::from_u128(9102)),
    });
    let back = over.inverse(&started).unwrap();
    let changed = over.apply(&started).unwrap();
    all.extend([(started, over), (changed, back)]);
    for change in changes {
        let changed = change.apply(&floor).unwrap();
        let undo = change.inverse(&floor);
        all.push((floor.clone(), change));
        all.extend(undo.map(|undo| (changed, undo)));
    }
    all
}

#[test]
fn every_kind_is_kept_described_and_undone() {
    let mut seen = BTreeSet::new();
    for (floor, change) in one_of_each() {
        let json = serde_json::to_value(&change).unwrap();
        seen.insert(json["change"].as_str().unwrap().to_owned());
        assert_eq!(serde_json::from_value::<PlanChange>(json).unwrap(), change);
        let words = change.words(&floor);
        assert!(!words.is_empty() && !words.ends_with('.'), "{words}");
        let changed = change.apply(&floor).unwrap();
        match change.inverse(&floor) {
            Some(undo) => assert_eq!(undo.apply(&changed).unwrap(), floor, "{change:?}"),
            None => assert!(change.preview_only().is_some(), "{change:?}"),
        }
        let kept = change.preview_only().is_none() && !matches!(change, PlanChange::Probe(_));
        assert_eq!(kept, !change.rows().is_empty(), "{change:?}");
    }
    let names = PlanChange::NAMES.iter().map(|name| {
        let mut code = String::new();
        for (i, c) in name.char_indices() {
            if c.is_uppercase() && i > 0 {
                code.push('_');
            }
            code.extend(c.to_lowercase());
        }
        code
    });
    assert_eq!(seen, names.collect::<BTreeSet<_>>());
}

/// Through what is common to all kinds alone: offered, read from its form, applied, described, tried, undone.
#[test]
fn a_new_kind_takes_one_file() {
    let floor = three();
    let timetable = current_plan(&floor);
    let subject = Subject::operation(&floor, &timetable, id(210)).unwrap();
    let offers = PlanChange::offers(&subject);
    let offer = offers.iter().find(|offer| offer.code == "probe").unwrap();
    assert_eq!(offer.fields[0].name, "day");
    let entered = |day: &str| {
        let field = |name: &str, text: &str| (name.to_owned(), text.to_owned());
        vec![field("operation", &id(210).to_string()), field("day", day)]
    };

    let wrong = entered("soon");
    let mut wrong = Entered::new(&floor, &timetable, &wrong);
    assert_eq!(PlanChange::read("probe", &mut wrong), None);
    let complaint = Complaint {
        field: "day",
        why: EntryError::Date,
    };
    assert_eq!(wrong.complaints(), [complaint]);

    let right = entered("2026-11-24");
    let mut right = Entered::new(&floor, &timetable, &right);
    let change = PlanChange::read("probe", &mut right).unwrap();
    assert_eq!(change.words(&floor), "job 2 is due on Tue 24 Nov, 00:00");
    let baseline = crate::planning::what_if::Baseline::new(&floor, &timetable, Default::default());
    let tried = baseline.unwrap().try_out(&change).unwrap();
    assert_eq!(tried.floor.job(id(2)).unwrap().due, Some(at("24T00:00")));
    let undo = change.inverse(&floor).unwrap();
    assert_eq!(undo.apply(&tried.floor).unwrap(), floor);
}

/// What is offered in the panels can be tried: every form reads when its fields are filled in, every button as it is.
#[test]
fn what_is_offered_reads() {
    let mut floor = three();
    floor.operation_mut(id(310)).unwrap().behind = vec![id(210)];
    floor.operation_mut(id(210)).unwrap().pin = Some(Pin {
        machine: None,
        person: None,
        start: Some(at("25T09:00")),
    });
    floor.jobs[1].hold = Some("the deposit".into());
    floor.jobs[1].put_first = Some(1);
    floor.people[1].skills.push("milling".into());
    floor.operation_mut(id(120)).unwrap().progress = begun();
    let timetable = current_plan(&floor);
    let operation = |n| Subject::operation(&floor, &timetable, id(n)).unwrap();
    let whose = |whose| Subject::of(&floor, &timetable, whose).unwrap();
    let subjects = [
        ("operation", id(110), operation(110)),
        ("operation", id(120), operation(120)),
        ("operation", id(210), operation(210)),
        ("operation", id(310), operation(310)),
        ("machine", Uuid::from_u128(9001), whose(MILL)),
        ("person", Uuid::from_u128(9102), whose(INES)),
    ];
    let mut codes = BTreeSet::new();
    for (about, key, subject) in subjects {
        for offer in PlanChange::offers(&subject) {
            codes.insert(offer.code);
            let mut pairs = vec![(about.to_owned(), key.to_string())];
            pairs.extend(offer.fields.iter().map(|field| {
                let text = match (&field.input, field.name) {
                    (Input::Date, _) => "2026-11-26".to_owned(),
                    (Input::Time, "until") => "18:00".to_owned(),
                    (Input::Time, _) => "09:00".to_owned(),
                    (Input::Text, _) => "why".to_owned(),
                    (Input::Choice(choices), _) => choices[0].0.to_string(),
                };
                (field.name.to_owned(), text)
            }));
            let mut entered = Entered::new(&floor, &timetable, &pairs);
            let change = offer
                .change
                .or_else(|| PlanChange::read(offer.code, &mut entered));
            assert!(change.is_some(), "{}: {entered:?}", offer.code);
            change.unwrap().apply(&floor).unwrap();
        }
    }
    let all = [
        "away",
        "earlier",
        "first",
        "hand_over",
        "hold",
        "later",
        "no_order",
        "overtime",
        "pin",
        "place",
        "probe",
        "release",
        "turn",
        "unpin",
    ];
    assert_eq!(codes, BTreeSet::from(all));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whatever is done can be undone, and then the floor is what it was.
    #[test]
    fn undone_is_as_it_was(changes in prop::collection::vec(any_change(), 1..6)) {
        let mut floors = vec![three()];
        let mut back = Vec::new();
        for change in &changes {
            let floor = floors.last().unwrap();
            if let Ok(changed) = change.apply(floor) {
                back.push(change.inverse(floor).unwrap());
                floors.push(changed);
            }
        }
        let mut floor = floors.pop().unwrap();
        while let Some(undo) = back.pop() {
            floor = undo.apply(&floor).unwrap();
            prop_assert_eq!(&floor, &floors.pop().unwrap());
        }
    }

    /// Stretches of time are refused by their length and place and by nothing else.
    #[test]
    fn a_stretch_is_taken_when_it_has_a_length(from in -2000_i64..2000, hours in -5_i64..1000) {
        let floor = three();
        let from = floor.now + TimeDelta::days(from);
        let until = from + TimeDelta::hours(hours);
        let change = PlanChange::from(Away { whose: MILL, from, until, why: String::new() });
        let near = (from - floor.now).abs() <= TimeDelta::days(3 * 366);
        prop_assert_eq!(change.apply(&floor).is_ok(), hours > 0 && near);
    }
}
