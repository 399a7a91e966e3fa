//! Hours really spent: every minute of a person and of a machine goes to exactly one operation.

use super::clock::{Clock, Phase};
use crate::estimating::Spent;
use crate::units::Minutes;
use chrono::{NaiveDate, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// Standard setup minutes by operation: what a setup that several share is divided by.
pub type Standards = HashMap<Uuid, Decimal>;

/// Whole minutes spent on an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Hours {
    /// Of people, setting up.
    pub setup: i64,
    /// Of people, running.
    pub attended: i64,
    /// Of machines running by themselves.
    pub alone: i64,
    /// Of machines, whatever was done.
    pub machine: i64,
}

impl Hours {
    /// Of people.
    #[must_use]
    pub fn people(&self) -> i64 {
        self.setup + self.attended
    }

    /// The same as working time.
    #[must_use]
    pub fn spent(&self) -> Spent {
        let minutes = |whole: i64| Minutes(Decimal::from(whole));
        Spent {
            setup: minutes(self.setup),
            attended: minutes(self.attended),
            alone: minutes(self.alone),
            machine: minutes(self.machine),
        }
    }
}

/// Whole minutes of one person or of one machine at an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece {
    /// The operation.
    pub operation: Uuid,
    /// What was done.
    pub phase: Phase,
    /// Whose time it is, or who set the machine going.
    pub person: Uuid,
    /// At which machine.
    pub machine: Option<Uuid>,
    /// Minutes of the machine; else of the person.
    pub of_machine: bool,
    /// How many.
    pub minutes: i64,
}

/// Somebody, or a machine, at an operation: the operation, what is done, and the other of the two.
type At = (Uuid, Phase, Option<Uuid>);

/// Whose minutes are divided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Resource {
    Person(Uuid),
    Machine(Uuid),
}

/// Divides a whole count by weights: largest remainders (Hamilton's method), so that the parts sum to the whole and each
/// is within one of its exact share. Equal when all weights are nothing; of equal remainders the earlier one gets more.
#[must_use]
pub fn share(whole: i64, weights: &[u64]) -> Vec<i64> {
    let Ok(count) = i128::try_from(weights.len()) else {
        return Vec::new();
    };
    if count == 0 {
        return Vec::new();
    }
    let total: i128 = weights.iter().map(|w| i128::from(*w)).sum();
    let (total, weight): (i128, &dyn Fn(u64) -> i128) = if total == 0 {
        (count, &|_| 1)
    } else {
        (total, &|w| i128::from(w))
    };
    let exact = weights.iter().map(|w| i128::from(whole) * weight(*w));
    let mut parts: Vec<(i128, i128)> = exact
        .map(|e| (e.div_euclid(total), e.rem_euclid(total)))
        .collect();
    let left = i128::from(whole) - parts.iter().map(|(part, _)| part).sum::<i128>();
    let mut by_remainder: Vec<usize> = (0..parts.len()).collect();
    by_remainder.sort_by_key(|i| std::cmp::Reverse(parts.get(*i).map_or(0, |(_, r)| *r)));
    for i in by_remainder
        .into_iter()
        .take(usize::try_from(left).unwrap_or(0))
    {
        if let Some((part, _)) = parts.get_mut(i) {
            *part += 1;
        }
    }
    parts
        .into_iter()
        .map(|(part, _)| i64::try_from(part).unwrap_or(0))
        .collect()
}

/// Minutes spent on each operation by clocks that have ended; one that runs counts nothing, so end it first.
///
/// No minute counts twice. Where a person, or a machine, is at several operations at once, those minutes are shared:
/// while all of them are being set up, in proportion to their standard setup minutes (a job that was quoted the longer
/// setup has been paid more of it, and actual over standard comes out the same for all of them); equally where no
/// standard is known, and equally for anything else. Times are taken to the whole minute, seconds dropped.
#[must_use]
pub fn hours(clocks: &[Clock], standards: &Standards) -> HashMap<Uuid, Hours> {
    let mut spent: HashMap<Uuid, Hours> = HashMap::new();
    for piece in pieces(clocks, standards) {
        let hours = spent.entry(piece.operation).or_default();
        match (piece.of_machine, piece.phase) {
            (false, Phase::Setup) => hours.setup += piece.minutes,
            (false, _) => hours.attended += piece.minutes,
            (true, Phase::Alone) => {
                hours.alone += piece.minutes;
                hours.machine += piece.minutes;
            }
            (true, _) => hours.machine += piece.minutes,
        }
    }
    spent
}

/// The same minutes, told apart by person and machine: what [`hours`] adds up.
#[must_use]
pub fn pieces(clocks: &[Clock], standards: &Standards) -> Vec<Piece> {
    let mut edges: BTreeMap<Resource, Vec<(i64, bool, At)>> = BTreeMap::new();
    for clock in clocks {
        let Some(until) = clock.until else { continue };
        let from = clock.from.timestamp().div_euclid(60);
        let until = until.timestamp().div_euclid(60);
        if until <= from {
            continue;
        }
        let person = clock
            .phase
            .is_attended()
            .then_some((Resource::Person(clock.person), clock.machine));
        let machine = clock
            .machine
            .map(|machine| (Resource::Machine(machine), Some(clock.person)));
        for (resource, other) in person.into_iter().chain(machine) {
            let edges = edges.entry(resource).or_default();
            let at = (clock.operation, clock.phase, other);
            edges.push((from, true, at));
            edges.push((until, false, at));
        }
    }
    let mut pieces = Vec::new();
    for (resource, mut edges) in edges {
        edges.sort_by_key(|(at, begins, ..)| (*at, *begins));
        for (open, minutes) in together(&edges) {
            let all_setup = open.iter().all(|(_, phase, _)| *phase == Phase::Setup);
            let weights: Vec<u64> = open
                .iter()
                .map(|(operation, ..)| {
                    let standard = standards.get(operation).filter(|_| all_setup);
                    // To a thousandth of a minute.
                    standard
                        .and_then(|m| (*m * Decimal::ONE_THOUSAND).to_u64())
                        .unwrap_or(0)
                })
                .collect();
            for ((operation, phase, other), minutes) in open.iter().zip(share(minutes, &weights)) {
                let (person, machine) = match resource {
                    Resource::Person(person) => (person, *other),
                    Resource::Machine(machine) => (other.unwrap_or_default(), Some(machine)),
                };
                pieces.push(Piece {
                    operation: *operation,
                    phase: *phase,
                    person,
                    machine,
                    of_machine: matches!(resource, Resource::Machine(_)),
                    minutes,
                });
            }
        }
    }
    pieces
}

/// Clocks that have ended, cut at the shop's midnights, each part with its day.
#[must_use]
pub fn by_day(clocks: &[Clock], zone: Tz) -> BTreeMap<NaiveDate, Vec<Clock>> {
    let mut days: BTreeMap<NaiveDate, Vec<Clock>> = BTreeMap::new();
    for clock in clocks {
        let Some(until) = clock.until else { continue };
        let mut from = clock.from;
        while from < until {
            let day = from.with_timezone(&zone).date_naive();
            let midnight = day
                .succ_opt()
                .and_then(|next| {
                    zone.from_local_datetime(&next.and_time(NaiveTime::MIN))
                        .earliest()
                })
                .map_or(until, |at| at.with_timezone(&Utc));
            // A midnight that does not come is no reason to stand still.
            let end = if midnight > from {
                midnight.min(until)
            } else {
                until
            };
            days.entry(day).or_default().push(Clock {
                from,
                until: Some(end),
                ..*clock
            });
            from = end;
        }
    }
    days
}

/// How long each set of operations was open together, from the sorted edges of one resource. An operation open in
/// several phases at once (two people at it) stands in the first of them.
fn together(edges: &[(i64, bool, At)]) -> BTreeMap<Vec<At>, i64> {
    let mut open: BTreeMap<At, usize> = BTreeMap::new();
    let mut lasted: BTreeMap<Vec<At>, i64> = BTreeMap::new();
    let mut since = 0;
    for (at, begins, key) in edges {
        if *at > since && !open.is_empty() {
            let mut seen = BTreeSet::new();
            let set = open.keys().filter(|(o, ..)| seen.insert(*o)).copied();
            *lasted.entry(set.collect()).or_default() += at - since;
        }
        since = *at;
        let count = open.entry(*key).or_default();
        if *begins {
            *count += 1;
        } else if *count > 1 {
            *count -= 1;
        } else {
            open.remove(key);
        }
    }
    lasted
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shopfloor::{Entry, Kind, clocks};
    use chrono::{DateTime, TimeDelta};
    use proptest::prelude::*;

    #[test]
    fn a_whole_is_shared_without_a_rest() {
        assert_eq!(share(45, &[40, 20]), [30, 15]);
        assert_eq!(share(100, &[1, 1, 1]), [34, 33, 33]);
        assert_eq!(share(7, &[0, 0]), [4, 3]);
        assert_eq!(share(7, &[]), Vec::<i64>::new());
        // Balinski and Young, Fair Representation (1982), from memory: Hamilton's method on 26 seats for states of
        // 9061, 7179, 5259, 3319, 1182 gives 9, 7, 5, 4, 1.
        assert_eq!(
            share(26, &[9_061, 7_179, 5_259, 3_319, 1_182]),
            [9, 7, 5, 4, 1]
        );
    }

    fn clock(
        operation: u128,
        phase: Phase,
        person: u128,
        machine: u128,
        from: i64,
        until: i64,
    ) -> Clock {
        let minute = |minute| DateTime::UNIX_EPOCH + TimeDelta::minutes(minute);
        Clock {
            start: Uuid::nil(),
            operation: Uuid::from_u128(operation),
            person: Uuid::from_u128(person),
            machine: Some(Uuid::from_u128(machine)),
            phase,
            from: minute(from),
            until: Some(minute(until)),
        }
    }

    /// By hand. Col (10) sets the bore (1) up for 30 minutes, runs it for 30 and leaves it running for an hour, in which he
    /// drills (2) at another machine for 25.
    #[test]
    fn the_minutes_of_a_morning() {
        let morning = [
            clock(1, Phase::Setup, 10, 20, 0, 30),
            clock(1, Phase::Run, 10, 20, 30, 60),
            clock(1, Phase::Alone, 10, 20, 60, 120),
            clock(2, Phase::Run, 10, 21, 70, 95),
        ];
        let spent = hours(&morning, &Standards::new());
        let of = |operation| spent[&Uuid::from_u128(operation)];
        let bore = Hours {
            setup: 30,
            attended: 30,
            alone: 60,
            machine: 120,
        };
        assert_eq!(of(1), bore);
        assert_eq!(
            (of(2).attended, of(2).machine, of(2).people()),
            (25, 25, 25)
        );
        let minutes = |whole: i64| Minutes(Decimal::from(whole));
        let told = bore.spent();
        assert_eq!((told.setup, told.attended), (minutes(30), minutes(30)));
        assert_eq!((told.alone, told.machine), (minutes(60), minutes(120)));
    }

    /// Two setups on one table for 45 minutes, standard 40 and 20, bear 30 and 15; running side by side they bear half
    /// each, whatever their setups; a key seen twice, as two tablets may send it, counts each minute once.
    #[test]
    fn minutes_together_are_shared_by_the_standard_setup_and_else_equally() {
        let standards = Standards::from(
            [(1, "40.0004"), (2, "20.0002")]
                .map(|(operation, minutes)| (Uuid::from_u128(operation), minutes.parse().unwrap())),
        );
        let shared = |phase, second, clocks: &[Clock]| {
            let mut all = vec![
                clock(1, phase, 10, 20, 0, 45),
                clock(2, second, 10, 20, 0, 45),
            ];
            all.extend(clocks);
            let spent = hours(&all, &standards);
            [1, 2].map(|operation| spent[&Uuid::from_u128(operation)].people())
        };
        assert_eq!(shared(Phase::Setup, Phase::Setup, &[]), [30, 15]);
        assert_eq!(shared(Phase::Run, Phase::Run, &[]), [23, 22]);
        assert_eq!(
            shared(Phase::Setup, Phase::Run, &[]),
            [23, 22],
            "one of them runs"
        );
        let again = [clock(2, Phase::Setup, 10, 20, 30, 75)];
        assert_eq!(shared(Phase::Setup, Phase::Setup, &again), [30, 45]);
    }

    /// In London a winter day ends at midnight and a summer day an hour before midnight by universal time.
    #[test]
    fn a_night_shift_is_cut_at_the_midnight_of_the_shop() {
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let night = |from: &str, until: Option<&str>| Clock {
            from: at(from),
            until: until.map(at),
            ..clock(1, Phase::Run, 10, 20, 0, 1)
        };
        let parts = |clock: Clock| -> Vec<(String, DateTime<Utc>, Option<DateTime<Utc>>)> {
            let days = by_day(&[clock], chrono_tz::Europe::London);
            let parts = days
                .into_iter()
                .flat_map(|(day, all)| all.into_iter().map(move |c| (day, c)));
            parts
                .map(|(day, c)| (day.to_string(), c.from, c.until))
                .collect()
        };
        for (from, midnight, until, days) in [
            (
                "2026-11-26T22:00:00Z",
                "2026-11-27T00:00:00Z",
                "2026-11-27T01:30:00Z",
                ["2026-11-26", "2026-11-27"],
            ),
            (
                "2026-07-10T22:00:00Z",
                "2026-07-10T23:00:00Z",
                "2026-07-11T02:00:00Z",
                ["2026-07-10", "2026-07-11"],
            ),
        ] {
            assert_eq!(
                parts(night(from, Some(until))),
                [
                    (days[0].to_owned(), at(from), Some(at(midnight))),
                    (days[1].to_owned(), at(midnight), Some(at(until))),
                ]
            );
            // To the stroke of midnight is one day; a clock that runs is none yet.
            assert_eq!(parts(night(from, Some(midnight))).len(), 1);
            assert!(parts(night(from, None)).is_empty());
        }
    }

    fn entries() -> impl Strategy<Value = Vec<Entry>> {
        let kinds = prop_oneof![
            Just(Kind::Setup),
            Just(Kind::Run),
            Just(Kind::RunAlone),
            Just(Kind::Pause),
            Just(Kind::Done),
            Just(Kind::Moved),
            Just(Kind::Struck),
        ];
        let one = (
            kinds,
            0_u128..4,
            0_u128..3,
            0_u128..3,
            0_i64..600,
            0_u128..40,
        );
        proptest::collection::vec(one, 0..40).prop_map(|drawn| {
            let made = drawn.into_iter().zip(0_i64..);
            made.map(
                |((kind, operation, person, machine, minute, corrects), sequence)| Entry {
                    id: Uuid::from_u128(1_000 + sequence.unsigned_abs() as u128),
                    kind,
                    operation: Uuid::from_u128(operation),
                    person: Uuid::from_u128(10 + person),
                    machine: Some(Uuid::from_u128(20 + machine)),
                    at: DateTime::UNIX_EPOCH + TimeDelta::minutes(minute),
                    sequence,
                    corrects: matches!(kind, Kind::Moved | Kind::Struck)
                        .then(|| Uuid::from_u128(1_000 + corrects)),
                },
            )
            .collect()
        })
    }

    /// Minutes in which something is open, counted one by one.
    fn covered(clocks: &[Clock], has: impl Fn(&Clock) -> bool) -> i64 {
        (0..600)
            .filter(|minute| {
                let now = DateTime::UNIX_EPOCH + TimeDelta::minutes(*minute);
                clocks
                    .iter()
                    .any(|c| has(c) && c.from <= now && c.until.is_some_and(|until| now < until))
            })
            .count()
            .try_into()
            .unwrap()
    }

    proptest! {
        #[test]
        fn shares_sum_to_the_whole_and_stay_within_one_of_exact(
            whole in 0_i64..100_000, weights in proptest::collection::vec(0_u64..1_000_000, 1..12)
        ) {
            let parts = share(whole, &weights);
            prop_assert_eq!(parts.iter().sum::<i64>(), whole);
            let total: u64 = weights.iter().sum();
            for (part, weight) in parts.iter().zip(&weights) {
                if total > 0 {
                    let exact = whole as f64 * *weight as f64 / total as f64;
                    prop_assert!((*part as f64 - exact).abs() < 1.0);
                }
            }
        }

        #[test]
        fn no_minute_counts_twice_and_none_is_lost(entries in entries(), standards in proptest::collection::vec(0_i64..90, 4)) {
            let standards: Standards = standards.iter().zip(0_u128..).map(|(m, o)| (Uuid::from_u128(o), (*m).into())).collect();
            let clocks = clocks(&entries);
            let spent = hours(&clocks, &standards);
            let people: i64 = spent.values().map(Hours::people).sum();
            let machines: i64 = spent.values().map(|h| h.machine).sum();
            let by_person: i64 = (10..13).map(|p| covered(&clocks, |c| c.phase.is_attended() && c.person == Uuid::from_u128(p))).sum();
            let by_machine: i64 = (20..23).map(|m| covered(&clocks, |c| c.machine == Some(Uuid::from_u128(m)))).sum();
            prop_assert_eq!(people, by_person);
            prop_assert_eq!(machines, by_machine);
            prop_assert!(spent.values().all(|h| h.setup >= 0 && h.attended >= 0 && h.alone >= 0 && h.alone <= h.machine));
        }

        #[test]
        fn the_order_in_which_entries_are_read_does_not_matter(entries in entries(), at in 0_usize..40) {
            let mut turned = entries.clone();
            turned.rotate_left(at.min(entries.len()));
            prop_assert_eq!(hours(&clocks(&entries), &Standards::new()), hours(&clocks(&turned), &Standards::new()));
        }
    }
}
