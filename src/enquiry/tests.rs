//! The room at work: one call, answered. Everything here is invented.
//!
//! Longer than 500 lines because all tests share one invented shop, and read better beside it.

use super::answer::{Answer, Figures, OptionKind, Outcome, Terms, answer};
use super::customer::{Condition, CrackPlace, CrackRepair, Purpose};
use super::selling::Selling;
use super::simulation::Simulation;
use super::wish::{Knowledge, OwnBlock, SearchLimits, ShelfCasting, Supply, Wish};
use crate::castings::{
    Action, Boss, Face, Feature, FeatureKind, Pattern, Place, RemedyRule, Variant, When,
};
use crate::estimating::{
    CostLine, OrderOfWork, Policy, Rates, Recalibration, cutting_data, starting,
};
use crate::planning::calendar::{Calendar, Hours, Shift};
use crate::planning::engine::formats::classical::job_shop;
use crate::planning::engine::model::Person;
use crate::planning::engine::model::calendar::WorkingTime;
use crate::planning::engine::promise::PlannedDates;
use crate::planning::engine::solve::first_plan;
use crate::sourcing::{Fate, Inspected, Sighting, Watch};
use crate::units::{Currency, Length, Money};
use chrono::{DateTime, Days, NaiveTime, Utc, Weekday};
use chrono_tz::Tz;
use rand::SeedableRng;
use rand_pcg::Pcg64;
use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use uuid::Uuid;

const PATTERN: Uuid = Uuid::from_u128(1);
const FARM: Uuid = Uuid::from_u128(2);
const MARINE: Uuid = Uuid::from_u128(3);

pub(super) fn gbp(amount: i64) -> Money {
    Money::new(amount.into(), Currency::from_code("GBP").unwrap())
}

pub(super) fn now() -> DateTime<Utc> {
    "2026-11-25T10:15:00Z".parse().unwrap()
}

fn hole(label: &str, kind: FeatureKind, count: u32) -> Feature {
    Feature {
        place: Place::new(Face::Rear, label),
        kind,
        at: Some(crate::castings::Point {
            x: Length::from_mm(dec!(40)),
            y: Length::from_mm(dec!(60)),
        }),
        size: Length::from_mm(dec!(12)),
        depth: Some(Length::from_mm(dec!(25))),
        thread: (kind == FeatureKind::TappedHole).then(|| "M12x1.75".parse().unwrap()),
        fit: None,
        count,
        note: String::new(),
    }
}

fn variant(id: Uuid, name: &str, features: Vec<Feature>) -> Variant {
    Variant {
        id,
        pattern_id: PATTERN,
        name: name.to_owned(),
        gearbox_under: false,
        features,
        note: String::new(),
        version: 1,
    }
}

fn rule(name: &str, kind: FeatureKind, elements: &[&str]) -> RemedyRule {
    RemedyRule {
        id: Uuid::nil(),
        priority: 10,
        name: name.to_owned(),
        when: When::MissingWithMetal,
        kind: Some(kind),
        face: None,
        smallest: None,
        largest: None,
        gearbox_under: None,
        action: Action::Machine,
        elements: elements.iter().map(|&e| e.to_owned()).collect(),
        say: String::new(),
        version: 1,
    }
}

/// Seen every other month for two years, at about 1,400, one bought and good.
fn sightings() -> Vec<Sighting> {
    (0..12)
        .map(|i| Sighting {
            asked: Some(gbp(1200 + 40 * i)),
            fate: if i == 3 {
                Fate::BoughtGood
            } else {
                Fate::SoldElsewhere
            },
            ..Sighting::new(
                Uuid::nil(),
                MARINE,
                now().date_naive() - Days::new(30 + 60 * u64::try_from(i).unwrap()),
            )
        })
        .collect()
}

pub(super) fn supply(variant: Variant, shelf: &[i64], sightings: Vec<Sighting>) -> Supply {
    let currency = gbp(0).currency();
    Supply {
        shelf: shelf
            .iter()
            .zip(1..)
            .map(|(cost, number)| ShelfCasting {
                id: Uuid::nil(),
                number,
                cost: gbp(*cost),
            })
            .collect(),
        watch: Watch::new(variant.id, now().date_naive() - Days::new(730), currency),
        sightings,
        inspected: Inspected { good: 7, bad: 1 },
        variant,
    }
}

pub(super) fn farm() -> Variant {
    variant(FARM, "Tarn 4/90 farm", vec![])
}

pub(super) fn marine() -> Variant {
    let features = vec![
        hole("R1", FeatureKind::DowelHole, 2),
        hole("R2", FeatureKind::TappedHole, 4),
    ];
    variant(MARINE, "Tarn 4/90 marine", features)
}

pub(super) fn knowledge() -> Knowledge {
    let currency = gbp(0).currency();
    let boss = |label| Boss {
        place: Place::new(Face::Rear, label),
        largest: Length::from_mm(dec!(20)),
        deepest: None,
        through: true,
    };
    let kinds = [
        "bench",
        "wash tank",
        "pressure bench",
        "mill",
        "line borer",
        "boring bar",
        "hone",
    ];
    Knowledge {
        pattern: Pattern {
            id: PATTERN,
            name: "Tarn 4/90".to_owned(),
            cylinders: 4,
            mains: 5,
            outlines: vec![],
            bosses: vec![boss("R1"), boss("R2")],
            marks: String::new(),
            metal: crate::castings::Metal::default(),
            weight_kg: None,
            sizes: crate::castings::measured::Sizes::default(),
            version: 1,
        },
        supplies: vec![
            supply(farm(), &[180, 220], vec![]),
            supply(marine(), &[], sightings()),
        ],
        related: vec![],
        rules: vec![
            rule("Fitted dowel", FeatureKind::DowelHole, &["DOWEL-REAM"]),
            rule("Tapped hole", FeatureKind::TappedHole, &["HOLE-TAP"]),
        ],
        elements: starting::elements(currency, Uuid::nil).unwrap(),
        made: Vec::new(),
        cutting: cutting_data::starting_points().remove(0),
        order: OrderOfWork::default(),
        rates: Rates {
            machine: kinds
                .iter()
                .map(|&kind| (kind.to_owned(), gbp(22)))
                .collect(),
            people: [].into(),
            people_default: gbp(30),
        },
        policy: Policy {
            overhead_percent: dec!(35),
            margin_percent: dec!(15),
            tax_percent: dec!(20),
            confidence_percent: 80,
            costs: crate::estimating::Recalibration::none(),
        },
        selling: Selling::starting(currency),
        crack_repairs: vec![],
        currency,
        days: Recalibration::none(),
        zone: Tz::Europe__London,
    }
}

pub(super) fn wish() -> Wish {
    Wish {
        wanted: marine(),
        wanted_by: None,
        own: None,
        also: vec![],
        search: SearchLimits::default(),
        purpose: Purpose::NotSaid,
    }
}

/// A machine of each kind, a day's work on each, and somebody at each who can do everything, eight hours from Monday to
/// Friday.
fn planned(knowledge: &Knowledge) -> PlannedDates {
    let time = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap();
    let week = [
        Weekday::Mon,
        Weekday::Tue,
        Weekday::Wed,
        Weekday::Thu,
        Weekday::Fri,
    ];
    let hours = Hours {
        zone: knowledge.zone,
        shifts: week
            .map(|weekday| Shift {
                weekday,
                start: time(8),
                end: time(16),
            })
            .to_vec(),
        holidays: [].into(),
        overtime: vec![],
        stops: vec![],
    };
    let calendar = Calendar::build(&hours, now(), now() + Days::new(7 * 366));
    let minute = |at: DateTime<Utc>| (at - now()).num_minutes();
    let windows = calendar.intervals().map(|(a, b)| (minute(a), minute(b)));
    let open = WorkingTime::from_windows(windows.collect());
    let kinds: Vec<String> = knowledge.rates.machine.keys().cloned().collect();
    let work: Vec<_> = (0..kinds.len()).map(|m| vec![vec![(m, 480)]]).collect();
    let mut model = job_shop(&work);
    for machine in &mut model.machines {
        machine.calendar = open.clone();
        model.people.push(Person {
            name: "Edda".into(),
            calendar: open.clone(),
        });
    }
    let skills: Vec<String> = knowledge.elements.iter().map(|e| e.skill.clone()).collect();
    let skills = vec![skills; kinds.len()];
    let plan = first_plan(&model).unwrap();
    let mut rng = Pcg64::seed_from_u64(1);
    PlannedDates::new(&model, &plan, now(), kinds, skills, 1, &mut rng).unwrap()
}

pub(super) fn ask(wish: &Wish, knowledge: &Knowledge) -> Answer {
    let simulation = Simulation {
        now: now(),
        futures: 1000,
        seed: 12,
    };
    answer(wish, knowledge, &planned(knowledge), simulation).unwrap()
}

fn figures(answer: &Answer, kind: OptionKind) -> &Figures {
    answer
        .options
        .iter()
        .find(|o| o.kind == kind)
        .and_then(|o| o.figures())
        .unwrap()
}

#[test]
fn a_call_is_answered_with_every_way_side_by_side() {
    let knowledge = knowledge();
    let answer = ask(&wish(), &knowledge);
    let kinds: Vec<OptionKind> = answer.options.iter().map(|o| o.kind).collect();
    assert_eq!(kinds, [OptionKind::ConvertShelf, OptionKind::Hunt]);
    let convert = figures(&answer, OptionKind::ConvertShelf);
    assert!(convert.price.low.amount() <= convert.price.likely.amount());
    assert!(convert.price.likely.amount() <= convert.price.high.amount());
    // The quoted price suffices in 80 of 100; where rare failures pull the expected cost above that, it is the expected.
    let above = convert
        .build_up
        .net
        .minus(convert.price.at_confidence)
        .unwrap()
        .amount();
    assert!(
        above >= -Decimal::ONE && above < convert.price.likely.amount() / dec!(10),
        "{above}"
    );
    assert_eq!(
        answer.recommended.as_deref(),
        Some(answer.options[0].key.as_str())
    );
    let comparison = answer.comparison.as_ref().unwrap();
    assert!(comparison.sooner_percent > Some(90));
    assert!(
        answer
            .sentence
            .contains(&super::say::spoken(convert.build_up.net)),
        "{}",
        answer.sentence
    );
    assert!(answer.sentence.contains("4 times out of 5"));
    assert!(
        answer.options[0]
            .risks
            .iter()
            .any(|r| r.contains(" % of these castings pass"))
    );
    // The figures do not dance while the caller talks.
    assert_eq!(answer, ask(&wish(), &knowledge));
}

fn adds_up(line: &CostLine) {
    if let Some(first) = line.lines.first() {
        let sum = Money::sum(first.amount.currency(), line.lines.iter().map(|l| l.amount));
        assert_eq!(sum.unwrap(), line.amount, "{}", line.label);
    }
    line.lines.iter().for_each(adds_up);
}

#[test]
fn every_price_opens_down_to_lines_that_add_up() {
    let answer = ask(&wish(), &knowledge());
    for figures in answer.options.iter().filter_map(|o| o.figures()) {
        let build_up = &figures.build_up;
        let net = Money::sum(
            build_up.net.currency(),
            build_up.lines.iter().map(|l| l.amount),
        );
        assert_eq!(net.unwrap(), build_up.net);
        assert_eq!(build_up.net.plus(build_up.tax).unwrap(), build_up.gross);
        build_up.lines.iter().for_each(adds_up);
    }
    let hunt = figures(&answer, OptionKind::Hunt);
    let finding = hunt
        .build_up
        .lines
        .iter()
        .find(|l| l.label == "Castings, at cost")
        .unwrap();
    assert!(
        finding
            .lines
            .iter()
            .any(|l| l.label == "Those that prove bad")
    );
}

/// What the record says goes through all that is said of days alike: a later day for the same confidence, and that day, wanted,
/// is as sure as the confidence; a day that was sure enough before no longer is. Prices stay.
#[test]
fn days_follow_the_record_and_never_contradict_themselves() {
    let plain = knowledge();
    let before = ask(&wish(), &plain);
    for share in [0.6, 0.9, 0.97] {
        let learned = Knowledge {
            days: Recalibration::new(0.8, share),
            ..knowledge()
        };
        let answer = ask(&wish(), &learned);
        assert_eq!(answer.day_share_percent, Some((share * 100.0) as u32));
        let (was, now) = (
            figures(&before, OptionKind::ConvertShelf),
            figures(&answer, OptionKind::ConvertShelf),
        );
        assert_eq!(was.price, now.price);
        if share > 0.8 {
            assert!(now.ready.at_confidence > was.ready.at_confidence);
        } else {
            assert!(now.ready.at_confidence < was.ready.at_confidence);
        }
        assert_eq!(now.ready.likely.is_some(), was.ready.likely.is_some());
        let chance = |knowledge: &Knowledge, day| {
            let wish = Wish {
                wanted_by: day,
                ..wish()
            };
            let answer = ask(&wish, knowledge);
            figures(&answer, OptionKind::ConvertShelf)
                .in_time_percent
                .unwrap()
        };
        assert!(chance(&learned, now.ready_day) >= 80, "{share}");
        let (as_learned, as_drawn) = (
            chance(&learned, was.ready_day),
            chance(&plain, was.ready_day),
        );
        assert_eq!(
            as_learned < as_drawn,
            share > 0.8,
            "{as_learned} {as_drawn}"
        );
        // The bargain reads its chance off the percentiles.
        assert_eq!(now.percentiles.ready[80], now.ready_day);
    }
}

/// The promised day holds in at least 80 of 100 futures that were not the ones it was read from.
#[test]
fn a_promise_holds_as_often_as_it_says() {
    let knowledge = knowledge();
    let promised = figures(&ask(&wish(), &knowledge), OptionKind::ConvertShelf)
        .ready
        .at_confidence;
    let promised = promised
        .unwrap()
        .with_timezone(&knowledge.zone)
        .date_naive();
    let wish = Wish {
        wanted_by: Some(promised),
        ..wish()
    };
    let simulation = Simulation {
        now: now(),
        futures: 4000,
        seed: 99,
    };
    let other = answer(&wish, &knowledge, &planned(&knowledge), simulation).unwrap();
    // Three standard errors of 1,000 and 4,000 futures are 4 in 100.
    assert!(
        figures(&other, OptionKind::ConvertShelf)
            .in_time_percent
            .unwrap()
            >= 76
    );
}

#[test]
fn a_later_day_is_never_less_likely_to_be_held() {
    let knowledge = knowledge();
    let mut before = 0;
    for days in [1, 3, 5, 8, 15, 40] {
        let wanted_by = Some(now().date_naive() + Days::new(days));
        let answer = ask(
            &Wish {
                wanted_by,
                ..wish()
            },
            &knowledge,
        );
        let percent = figures(&answer, OptionKind::ConvertShelf)
            .in_time_percent
            .unwrap();
        assert!(percent >= before);
        before = percent;
    }
    assert!(before >= 90);
}

#[test]
fn without_sightings_the_hunt_is_wide_and_says_so() {
    let ratio = |knowledge: &Knowledge| {
        let answer = ask(&wish(), knowledge);
        let price = figures(&answer, OptionKind::Hunt).price.clone();
        let risks = answer
            .options
            .iter()
            .find(|o| o.kind == OptionKind::Hunt)
            .unwrap()
            .risks
            .join(" ");
        (price.high.amount() / price.low.amount(), risks)
    };
    let (informed, _) = ratio(&knowledge());
    let mut blind = knowledge();
    blind.supplies[1].sightings.clear();
    blind.supplies[1].watch.since = now().date_naive();
    blind.supplies[1].watch.likely_price = Some(gbp(1400));
    let (wide, says) = ratio(&blind);
    assert!(
        wide > informed * dec!(1.5),
        "{wide} is not wider than {informed}"
    );
    assert!(says.contains("very wide"), "{says}");
}

/// At the price it names, buying an offered casting costs the customer what converting does in the middle of the futures:
/// p with handling, the inspection i, then with chance q the rest of the work, else the conversion after all. The inspection
/// is between nothing and all of the work W on a found one.
#[test]
fn the_price_under_which_hunting_wins_is_where_both_cost_the_same() {
    let answer = ask(&wish(), &knowledge());
    let price = answer.comparison.as_ref().unwrap().hunt_wins_below.unwrap();
    let hunt = figures(&answer, OptionKind::Hunt);
    let Terms::Search(terms) = &hunt.terms else {
        panic!("a hunt is a search")
    };
    let plain = |money: Money| money.amount().to_f64().unwrap();
    let convert = plain(figures(&answer, OptionKind::ConvertShelf).price.likely);
    // The watch's opinion, worth two; the one bought good; seven of eight inspected good.
    let good = (0.75 * 2.0 + 1.0 + 7.0) / (2.0 + 1.0 + 8.0);
    let work = plain(terms.work);
    let with_handling = plain(price) * 1.15;
    assert!(with_handling < good * (convert - work) + 1.0, "{price}");
    assert!(
        with_handling > good * (convert - work) - (1.0 - good) * work - 2.0,
        "{price}"
    );
}

/// One that is on offer is an option with a price of its own: asked price and carriage with handling, and the work.
#[test]
fn one_on_offer_has_a_price_of_its_own() {
    let mut knowledge = knowledge();
    let mut offer = Sighting::new(
        Uuid::from_u128(77),
        MARINE,
        now().date_naive() - Days::new(5),
    );
    offer.asked = Some(gbp(800));
    offer.place = "Kestle yard".to_owned();
    knowledge.supplies[1].sightings.push(offer);
    knowledge.supplies[1].watch.carriage = gbp(40);
    let answer = ask(&wish(), &knowledge);
    let option = answer
        .options
        .iter()
        .find(|o| o.kind == OptionKind::Offered)
        .unwrap();
    assert!(option.title.contains("Kestle yard"));
    assert!(option.risks.iter().any(|r| r.contains("Ring the seller")));
    let offered = option.figures().unwrap();
    let Terms::Search(terms) = &figures(&answer, OptionKind::Hunt).terms else {
        panic!("a hunt is a search")
    };
    let cost = gbp(840).plus(gbp(126)).unwrap().plus(terms.work).unwrap();
    assert_eq!(offered.build_up.net, cost);
    let Terms::IfSound { sound_percent, .. } = offered.terms else {
        panic!("it holds if it proves sound")
    };
    assert_eq!(sound_percent, 86);
    assert!(offered.compared.amount() > offered.build_up.net.amount());
    // Long gone, it is none.
    let mut old = knowledge.clone();
    old.supplies[1].sightings.last_mut().unwrap().seen_on = now().date_naive() - Days::new(90);
    let answer = ask(&wish(), &old);
    assert!(answer.options.iter().all(|o| o.kind != OptionKind::Offered));
}

/// What nobody has seen has no price; the owner is asked.
#[test]
fn a_price_nobody_knows_is_asked_for() {
    let mut knowledge = knowledge();
    knowledge.supplies[1].sightings.clear();
    let answer = ask(&wish(), &knowledge);
    let hunt = answer
        .options
        .iter()
        .find(|o| o.kind == OptionKind::Hunt)
        .unwrap();
    assert_eq!(hunt.outcome, Outcome::PriceUnknown { variant: MARINE });
    assert!(answer.comparison.is_none());
}

/// The customer's limits bind the search: it costs no more than the most, and fewer searches find one.
#[test]
fn a_search_keeps_to_the_customers_limits() {
    let knowledge = knowledge();
    let free = ask(&wish(), &knowledge);
    let found = |answer: &Answer| match &figures(answer, OptionKind::Hunt).terms {
        Terms::Search(terms) => terms.found_percent,
        other => panic!("{other:?}"),
    };
    let likely = figures(&free, OptionKind::Hunt).price.likely;
    let limits = SearchLimits {
        most: Some(likely),
        ends_on: Some(now().date_naive() + Days::new(60)),
    };
    let bound = ask(
        &Wish {
            search: limits,
            ..wish()
        },
        &knowledge,
    );
    let price = &figures(&bound, OptionKind::Hunt).price;
    assert!(
        price.high.amount() <= likely.amount() + dec!(0.02),
        "{} {likely}",
        price.high
    );
    assert!(found(&bound) < found(&free));
    let hopeless = SearchLimits {
        most: Some(gbp(50)),
        ends_on: None,
    };
    let answer = ask(
        &Wish {
            search: hopeless,
            ..wish()
        },
        &knowledge,
    );
    let hunt = answer
        .options
        .iter()
        .find(|o| o.kind == OptionKind::Hunt)
        .unwrap();
    assert!(
        matches!(&hunt.outcome, Outcome::Impossible { reasons } if reasons[0].contains("nothing for the casting"))
    );
}

/// A last donor on the shelf may fail: waiting for another, and its price, are in the conversion.
#[test]
fn an_empty_shelf_costs_a_wait_and_another_casting() {
    let mut knowledge = knowledge();
    knowledge.supplies[0].shelf.truncate(1);
    knowledge.supplies[0].inspected = Inspected { good: 3, bad: 3 };
    let farm_sightings = |asked| {
        (0..6).map(move |i| Sighting {
            asked: Some(gbp(asked)),
            fate: Fate::SoldElsewhere,
            ..Sighting::new(
                Uuid::nil(),
                FARM,
                now().date_naive() - Days::new(20 + 60 * i),
            )
        })
    };
    let ask_at = |asked| {
        let mut knowledge = knowledge.clone();
        knowledge.supplies[0].sightings = farm_sightings(asked).collect();
        ask(&wish(), &knowledge)
    };
    let (cheap, dear) = (ask_at(200), ask_at(2000));
    let net = |answer: &Answer| {
        figures(answer, OptionKind::ConvertShelf)
            .build_up
            .net
            .amount()
    };
    assert!(
        net(&dear) > net(&cheap) + dec!(300),
        "{} {}",
        net(&dear),
        net(&cheap)
    );
    let convert = figures(&dear, OptionKind::ConvertShelf);
    let failed = convert
        .build_up
        .lines
        .iter()
        .find(|l| l.label == "Failed donors")
        .unwrap();
    assert!(
        failed
            .lines
            .iter()
            .any(|l| l.label == "Another when none is left")
    );
    // Four in ten fail, and the next is weeks away: the day that holds is a late one.
    assert!(convert.ready.late.unwrap() - now() > chrono::TimeDelta::days(30));
}

/// A crack through a main web is not put right for the price of a wash: the shop says what it does about it, and before
/// that the block is inspected at a fixed price.
#[test]
fn how_the_own_block_is_decides_what_is_offered_for_it() {
    let mut knowledge = knowledge();
    let with = |condition, knowledge: &Knowledge, purpose| {
        let own = OwnBlock {
            variant: marine(),
            repairs: vec![],
            condition,
        };
        ask(
            &Wish {
                own: Some(own),
                purpose,
                ..wish()
            },
            knowledge,
        )
    };
    let of = |answer: &Answer, kind| answer.options.iter().find(|o| o.kind == kind).cloned();
    let sound = with(Condition::Sound, &knowledge, Purpose::NotSaid);
    // Nothing is said that it needs, so no price is named for putting it right, and no other block is sold to them.
    assert!(of(&sound, OptionKind::Repair).unwrap().figures().is_none());
    assert_eq!(sound.recommended.as_deref(), Some("inspect"));
    let inspected = figures(&sound, OptionKind::Inspect);
    assert!(inspected.route.operations.last().unwrap().can_fail);
    let cracked = with(Condition::CrackedMainWeb, &knowledge, Purpose::NotSaid);
    assert!(
        of(&cracked, OptionKind::Repair)
            .unwrap()
            .figures()
            .is_none()
    );
    assert!(
        of(&cracked, OptionKind::Inspect)
            .unwrap()
            .figures()
            .is_some()
    );
    assert_ne!(cracked.recommended.as_deref(), Some("inspect"));
    let repair = |repaired, elements: &[&str], say: &str| CrackRepair {
        id: Uuid::nil(),
        place: CrackPlace::MainWeb,
        repaired,
        elements: elements.iter().map(|&e| e.to_owned()).collect(),
        say: say.to_owned(),
        version: 1,
    };
    knowledge.crack_repairs = vec![repair(false, &[], "A cracked main web is scrap.")];
    let scrap = with(Condition::CrackedMainWeb, &knowledge, Purpose::NotSaid);
    let outcome = of(&scrap, OptionKind::Repair).unwrap().outcome;
    assert!(
        matches!(outcome, Outcome::Impossible { reasons } if reasons == ["A cracked main web is scrap."])
    );
    let next = of(&scrap, OptionKind::Inspect).unwrap().risks.join(" ");
    assert!(
        next.contains("through a main web: A cracked main web is scrap."),
        "{next}"
    );
    knowledge.crack_repairs = vec![repair(true, &["BORE-CYLINDER"], "")];
    let mended = with(Condition::CrackedMainWeb, &knowledge, Purpose::NotSaid);
    let repair = figures(&mended, OptionKind::Repair).build_up.net;
    let inspection = figures(&mended, OptionKind::Inspect).build_up.net;
    assert!(repair.amount() > inspection.amount() * dec!(1.5));
    let race = with(Condition::CrackedMainWeb, &knowledge, Purpose::Competition);
    assert!(of(&race, OptionKind::Repair).unwrap().figures().is_none());
}

#[test]
fn what_cannot_be_done_stands_there_with_the_reason() {
    let mut knowledge = knowledge();
    knowledge.pattern.bosses.pop();
    let answer = ask(&wish(), &knowledge);
    let last = answer.options.last().unwrap();
    assert_eq!(last.kind, OptionKind::ConvertShelf);
    let Outcome::Impossible { reasons } = &last.outcome else {
        panic!("possible")
    };
    assert!(reasons[0].contains("R2"), "{reasons:?}");
    assert!(answer.comparison.is_none());
    assert_eq!(answer.recommended.as_deref(), Some("hunt"));
}

#[test]
fn the_callers_own_block_is_converted_or_repaired_at_their_risk() {
    let knowledge = knowledge();
    let own = |variant: Variant, repairs: &[(&str, u32)]| {
        let repairs = repairs
            .iter()
            .map(|(code, n)| ((*code).to_owned(), *n))
            .collect();
        ask(
            &Wish {
                own: Some(OwnBlock {
                    variant,
                    repairs,
                    condition: Condition::Sound,
                }),
                ..wish()
            },
            &knowledge,
        )
    };
    let farm = own(variant(FARM, "Tarn 4/90 farm", vec![]), &[]);
    let mine = figures(&farm, OptionKind::ConvertOwn);
    assert!(
        mine.build_up.net.amount()
            < figures(&farm, OptionKind::ConvertShelf)
                .build_up
                .net
                .amount()
    );
    assert!(
        !mine
            .build_up
            .lines
            .iter()
            .any(|l| l.label == "Donor" || l.label == "Failed donors")
    );

    let honed = own(marine(), &[("HONE-CYLINDER", 1)]);
    let bored = own(marine(), &[("BORE-CYLINDER", 1), ("HONE-CYLINDER", 1)]);
    let net = |answer: &Answer| figures(answer, OptionKind::Repair).build_up.net.amount();
    assert!(net(&bored) > net(&honed));
    // What is lost when it proves bad is what the inspection alone would have cost.
    let Terms::IfSound { lost, .. } = figures(&bored, OptionKind::Repair).terms else {
        panic!("a price that depends on the block")
    };
    let alone = own(marine(), &[]);
    let alone = figures(&alone, OptionKind::Inspect).build_up.net;
    let apart = (alone.amount() / lost.amount() - dec!(1)).abs();
    assert!(apart < dec!(0.1), "{lost} and {alone}");

    let strange = Variant {
        id: Uuid::from_u128(9),
        pattern_id: Uuid::from_u128(8),
        ..marine()
    };
    let strange = own(strange, &[]);
    let option = strange
        .options
        .iter()
        .find(|o| o.kind == OptionKind::ConvertOwn)
        .unwrap();
    assert!(
        matches!(&option.outcome, Outcome::Impossible { reasons } if reasons[0].contains("metal"))
    );
}

#[test]
fn work_wanted_besides_is_in_every_way() {
    let knowledge = knowledge();
    let plain = ask(&wish(), &knowledge);
    let also = ask(
        &Wish {
            also: vec![("BORE-CYLINDER".to_owned(), 1)],
            ..wish()
        },
        &knowledge,
    );
    for kind in [OptionKind::ConvertShelf, OptionKind::Hunt] {
        let net = |answer: &Answer| figures(answer, kind).build_up.net.amount();
        assert!(net(&also) > net(&plain));
    }
}

#[test]
fn one_of_the_wanted_kind_on_the_shelf_is_an_option_too() {
    let mut knowledge = knowledge();
    knowledge.supplies[1].shelf = vec![ShelfCasting {
        id: Uuid::nil(),
        number: 7,
        cost: gbp(900),
    }];
    let answer = ask(&wish(), &knowledge);
    let shelf = answer
        .options
        .iter()
        .find(|o| o.kind == OptionKind::Shelf)
        .unwrap();
    // Nobody knows what another costs: the price holds if this one is good, and nothing is charged if not.
    let mut unknown = knowledge.clone();
    unknown.supplies[1].sightings.clear();
    let lone = ask(&wish(), &unknown);
    let lone = figures(&lone, OptionKind::Shelf);
    assert!(matches!(&lone.terms, Terms::IfSound { lost, .. } if lost.amount().is_zero()));
    assert!(lone.ready_day.is_some() && lone.never_percent == 0);
    assert_eq!(shelf.casting.as_ref().map(|c| c.number), Some(7));
    assert!(shelf.risks.iter().any(|r| r.contains("last on the shelf")));
}

#[test]
fn an_answer_survives_being_stored() {
    let answer = ask(&wish(), &knowledge());
    let stored = serde_json::to_value(&answer).unwrap();
    assert_eq!(serde_json::from_value::<Answer>(stored).unwrap(), answer);
}
