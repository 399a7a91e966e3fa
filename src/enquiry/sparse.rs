//! Random shops that know little: whatever is asked of them, no price is out of proportion and no option is recommended
//! that another beats.

use super::answer::{Answer, OptionAnswer, OptionKind, answer};
use super::customer::Condition;
use super::simulation::Simulation;
use super::tests::{farm, gbp, knowledge, marine, now, supply, wish};
use super::wish::{Knowledge, OwnBlock, Wish};
use crate::planning::{Candidate, ReadyDates};
use crate::sourcing::{Fate, Inspected, Sighting};
use crate::units::Money;
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use proptest::prelude::*;
use rust_decimal::{Decimal, dec};
use uuid::Uuid;

/// Ready after ten times the minutes of the work: there is no plan, and it is quick.
struct TenToOne;

impl ReadyDates for TenToOne {
    fn ready(
        &self,
        candidate: &Candidate,
        release: &[DateTime<Utc>],
        minutes: &[f64],
    ) -> Vec<Option<DateTime<Utc>>> {
        let n = candidate.operations.len().max(1);
        release
            .iter()
            .zip(minutes.chunks(n))
            .map(|(release, minutes)| {
                let work = minutes.iter().sum::<f64>() * 10.0;
                release.checked_add_signed(TimeDelta::minutes(work as i64))
            })
            .collect()
    }

    fn missing(&self, _: &Candidate) -> Vec<String> {
        Vec::new()
    }
}

/// A sighting by age in days, asked price, fate and whether it was acceptable.
fn sighting() -> impl Strategy<Value = Sighting> {
    let fate = prop::sample::select(vec![
        Fate::Open,
        Fate::SoldElsewhere,
        Fate::BoughtGood,
        Fate::BoughtScrap,
    ]);
    (
        0_u64..800,
        prop::option::of(20_i64..60_000),
        fate,
        prop::bool::weighted(0.8),
    )
        .prop_map(|(age, asked, fate, acceptable)| Sighting {
            asked: asked.map(gbp),
            fate,
            acceptable,
            ..Sighting::new(
                Uuid::nil(),
                Uuid::nil(),
                now().date_naive() - Days::new(age),
            )
        })
}

/// What is set of one variant: sightings, likely price, factor, good in a hundred, inspections, search hours, costs of
/// castings on the shelf.
type Known = (
    Vec<Sighting>,
    Option<i64>,
    u32,
    u32,
    (u32, u32),
    u32,
    Vec<i64>,
);

fn known() -> impl Strategy<Value = Known> {
    (
        prop::collection::vec(sighting(), 0..=3),
        prop::option::of(20_i64..20_000),
        11_u32..1000,
        1_u32..=99,
        (0_u32..6, 0_u32..6),
        0_u32..=168,
        prop::collection::vec(10_i64..5_000, 0..3),
    )
}

fn shop(known: [Known; 2], confidence: u32) -> Knowledge {
    let mut shop = knowledge();
    shop.policy.confidence_percent = confidence;
    shop.supplies = [farm(), marine()]
        .into_iter()
        .zip(known)
        .map(|(variant, known)| {
            let (mut sightings, likely, factor, good, (sound, failed), hours, shelf) = known;
            for sighting in &mut sightings {
                sighting.variant_id = variant.id;
            }
            let mut supply = supply(variant, &shelf, sightings);
            supply.watch.likely_price = likely.map(gbp);
            supply.watch.price_factor = Decimal::new(i64::from(factor), 1);
            supply.watch.good_percent = good;
            supply.watch.search_hours_a_week = hours.into();
            supply.inspected = Inspected {
                good: sound,
                bad: failed,
            };
            supply
        })
        .collect();
    shop
}

fn possible(answer: &Answer) -> Vec<&OptionAnswer> {
    let options = answer.options.iter();
    options
        .filter(|o| o.figures().is_some() && o.kind != OptionKind::Inspect)
        .collect()
}

/// All figures of a price that are shown.
fn shown(option: &OptionAnswer) -> [Decimal; 5] {
    let figures = option.figures().unwrap();
    let price = &figures.price;
    [
        price.low,
        price.likely,
        price.high,
        price.at_confidence,
        figures.build_up.net,
    ]
    .map(|money: Money| money.amount())
}

/// What it is compared at, and the day that holds; a missing one comes after all others.
fn price_and_day(option: &OptionAnswer) -> (Decimal, NaiveDate) {
    let figures = option.figures().unwrap();
    let day = figures.ready_day.unwrap_or(NaiveDate::MAX);
    (figures.compared.amount(), day)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn no_price_is_out_of_proportion_and_no_advice_is_beaten(
        farm_known in known(),
        marine_known in known(),
        confidence in 50_u32..=99,
        days in prop::option::of(1_u64..700),
        own in prop::option::of((any::<bool>(), any::<bool>())),
        week in 0_i64..400,
        seed in any::<u64>(),
    ) {
        let mut shop = shop([farm_known, marine_known], confidence);
        shop.selling.week_of_waiting = gbp(week);
        let wish = Wish {
            wanted_by: days.map(|days| now().date_naive() + Days::new(days)),
            own: own.map(|(wanted_kind, sound)| OwnBlock {
                variant: if wanted_kind { marine() } else { farm() },
                repairs: vec![],
                condition: if sound { Condition::Sound } else { Condition::NotSaid },
            }),
            ..wish()
        };
        let simulation = Simulation { now: now(), futures: 200, seed };
        let ask = || answer(&wish, &shop, &TenToOne, simulation).unwrap();
        let answer = ask();
        prop_assert_eq!(&answer, &ask(), "one moment, one answer");
        let options = possible(&answer);
        for option in &options {
            for other in &options {
                for (mine, theirs) in shown(option).iter().zip(shown(other)) {
                    prop_assert!(
                        *mine <= theirs * dec!(30),
                        "{} shows {mine}, {} {theirs}", option.title, other.title
                    );
                }
                let dearest = shown(option).into_iter().max().unwrap();
                let cheapest = shown(other).into_iter().min().unwrap();
                prop_assert!(dearest <= cheapest * dec!(30), "{} shows {dearest}, {} {cheapest}", option.title, other.title);
            }
        }
        let something = answer.options.iter().any(|option| option.figures().is_some());
        prop_assert_eq!(answer.recommended.is_some(), something, "what can be done is advised");
        let recommended = answer.recommended.as_deref().and_then(|key| answer.option(key));
        if recommended.is_some_and(|taken| taken.kind == OptionKind::Inspect) {
            let needs_unknown = own.is_some_and(|(wanted_kind, _)| wanted_kind);
            prop_assert!(needs_unknown || options.is_empty(), "an inspection is no block");
        } else if let Some(taken) = recommended {
            let (net, day) = price_and_day(taken);
            for other in &options {
                let (other_net, other_day) = price_and_day(other);
                prop_assert!(
                    !(other_net < net && other_day < day),
                    "{} is both cheaper and sooner than {}", other.title, taken.title
                );
                if wish.wanted_by.is_some_and(|by| other_day <= by) {
                    prop_assert!(net <= other_net, "{} is in time for less than {}", other.title, taken.title);
                }
            }
        }
    }
}

/// No dates at all, for want of a hand.
struct Nobody;

impl ReadyDates for Nobody {
    fn ready(
        &self,
        _: &Candidate,
        release: &[DateTime<Utc>],
        _: &[f64],
    ) -> Vec<Option<DateTime<Utc>>> {
        vec![None; release.len()]
    }

    fn missing(&self, _: &Candidate) -> Vec<String> {
        vec!["one for milling".to_owned()]
    }
}

/// A new shop has told its prices and not yet who works there.
#[test]
fn without_dates_prices_are_compared_all_the_same() {
    let knowledge = knowledge();
    let simulation = Simulation {
        now: now(),
        futures: 1000,
        seed: 12,
    };
    let ask = |dates: &dyn ReadyDates| answer(&wish(), &knowledge, dates, simulation).unwrap();
    let (dated, undated) = (ask(&TenToOne), ask(&Nobody));
    let compared = |answer: &Answer| answer.comparison.clone().unwrap();
    let percent = compared(&dated).cheaper_percent;
    assert!((1..100).contains(&percent), "{percent}");
    assert_eq!(compared(&undated).cheaper_percent, percent);
    assert_eq!(compared(&undated).sooner_percent, None);
    for option in &undated.options {
        let lacks = option.figures().map(|figures| figures.lacks.clone());
        assert_eq!(lacks, Some(vec!["one for milling".to_owned()]));
    }
}

/// A cracked block of another kind, a shop that has said nothing of such cracks, and nothing to be had: it is looked at first.
#[test]
fn where_nothing_else_can_be_done_the_inspection_is_advised() {
    let nothing = || (vec![], None, 11, 1, (0, 0), 0, vec![]);
    let knowledge = shop([nothing(), nothing()], 80);
    let own = OwnBlock {
        variant: farm(),
        repairs: vec![],
        condition: Condition::CrackedMainWeb,
    };
    let wish = Wish {
        own: Some(own),
        ..wish()
    };
    let simulation = Simulation {
        now: now(),
        futures: 200,
        seed: 3,
    };
    let answer = answer(&wish, &knowledge, &TenToOne, simulation).unwrap();
    assert!(possible(&answer).is_empty(), "{answer:?}");
    assert_eq!(answer.recommended.as_deref(), Some("inspect"));
    assert!(answer.sentence.starts_with("Bring your block in"));
}
