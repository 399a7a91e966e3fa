//! Ready dates from a simple queue on each machine, first come first served.
//!
//! What is already promised stands on each machine as so many working minutes; whoever comes now joins the end. The
//! operations of the candidate go one after another as their order demands, each on the machine of its kind that would
//! finish it first.

use super::calendar::{Calendar, ceil_minute, from_minute};
use super::ready::{Candidate, ReadyDates};
use chrono::{DateTime, Utc};
use rand::Rng;
use rand_distr::{Distribution, LogNormal};

/// Futures after which the drawn factors of the queue repeat.
const DRAWS: usize = 1024;

/// One machine with the work already promised on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QueuedMachine {
    /// Its kind, as operations name it.
    pub kind: String,
    /// Its working time.
    pub calendar: Calendar,
    /// When it can take up the queue: now, or when a started operation lets it go.
    pub from: DateTime<Utc>,
    /// Working minutes already promised on it.
    pub queued_minutes: u32,
}

/// Ready dates from queues.
#[derive(Debug, Clone)]
pub struct QueueDates {
    machines: Vec<QueuedMachine>,
    /// How much longer or shorter than its standard the queue turns out, per future and machine; empty when as booked.
    factors: Vec<f64>,
}

impl QueueDates {
    /// Queues that take exactly as long as they are booked.
    #[must_use]
    pub fn new(machines: Vec<QueuedMachine>) -> Self {
        Self {
            machines,
            factors: Vec::new(),
        }
    }

    /// Queues that turn out longer or shorter than booked, in each future by its own factor on each machine:
    /// log-normal with mean one and coefficient of variation `cv`. Nothing changes when `cv` is not above zero.
    /// Factors are drawn here, once, for 1,024 futures, after which they repeat; so the same object always gives
    /// the same answer.
    #[must_use]
    pub fn with_queue_spread<R: Rng + ?Sized>(mut self, cv: f64, rng: &mut R) -> Self {
        let variance = (cv * cv).ln_1p();
        if let (true, Ok(factor)) = (cv > 0.0, LogNormal::new(-variance / 2.0, variance.sqrt())) {
            self.factors = (0..DRAWS * self.machines.len())
                .map(|_| factor.sample(rng))
                .collect();
        }
        self
    }

    /// The minute at which machine `index` has worked off its queue in future `k`; `None` past its horizon.
    fn free(&self, k: usize, index: usize) -> Option<i64> {
        let machine = self.machines.get(index)?;
        let drawn = (k % DRAWS) * self.machines.len() + index;
        let factor = self.factors.get(drawn).copied().unwrap_or(1.0);
        let queued = whole_minutes(f64::from(machine.queued_minutes) * factor);
        machine
            .calendar
            .add_minutes(ceil_minute(machine.from), queued)
    }
}

/// Working minutes, up to whole ones; what is not a number or below zero counts as none.
fn whole_minutes(minutes: f64) -> i64 {
    minutes.max(0.0).ceil() as i64
}

/// How one operation of a candidate is to be placed: worked out once, used in every future.
enum Placing {
    /// Sent out for so many minutes of calendar time.
    Outside(i64),
    /// On one of these machines.
    On(Vec<usize>),
}

impl ReadyDates for QueueDates {
    fn ready(
        &self,
        candidate: &Candidate,
        release: &[DateTime<Utc>],
        minutes: &[f64],
    ) -> Vec<Option<DateTime<Utc>>> {
        let operations = &candidate.operations;
        let n = operations.len();
        let Some(order) = candidate.order() else {
            return vec![None; release.len()];
        };
        let placings: Vec<Placing> = operations
            .iter()
            .map(|op| match op.outside_days {
                Some(days) => Placing::Outside(i64::from(days) * 24 * 60),
                None => Placing::On(
                    (0..self.machines.len())
                        .filter(|&m| {
                            self.machines
                                .get(m)
                                .is_some_and(|machine| machine.kind == op.machine_kind)
                        })
                        .collect(),
                ),
            })
            .collect();

        let as_booked: Vec<Option<i64>> =
            (0..self.machines.len()).map(|m| self.free(0, m)).collect();
        let mut free = as_booked.clone();
        let mut done = vec![0_i64; n];
        let mut one = |k: usize, released: DateTime<Utc>| -> Option<DateTime<Utc>> {
            if self.factors.is_empty() {
                free.copy_from_slice(&as_booked);
            } else {
                for (m, slot) in free.iter_mut().enumerate() {
                    *slot = self.free(k, m);
                }
            }
            let released = ceil_minute(released);
            let mut ready = released;
            for &i in &order {
                let start = operations
                    .get(i)?
                    .after
                    .iter()
                    .filter_map(|&before| done.get(before).copied())
                    .fold(released, i64::max);
                let end = match placings.get(i)? {
                    Placing::Outside(away) => start.checked_add(*away)?,
                    Placing::On(machines) => {
                        let work = whole_minutes(*minutes.get(k * n + i)?);
                        let (machine, end) = machines
                            .iter()
                            .filter_map(|&m| {
                                let at = start.max((*free.get(m)?)?);
                                let calendar = &self.machines.get(m)?.calendar;
                                Some((m, calendar.add_minutes(at, work)?))
                            })
                            .min_by_key(|&(_, end)| end)?;
                        *free.get_mut(machine)? = Some(end);
                        end
                    }
                };
                *done.get_mut(i)? = end;
                ready = ready.max(end);
            }
            from_minute(ready)
        };
        release
            .iter()
            .enumerate()
            .map(|(k, &released)| one(k, released))
            .collect()
    }

    fn missing(&self, candidate: &Candidate) -> Vec<String> {
        let mut kinds: Vec<String> = candidate
            .operations
            .iter()
            .filter(|op| op.outside_days.is_none())
            .filter(|op| !self.machines.iter().any(|m| m.kind == op.machine_kind))
            .map(|op| op.machine_kind.clone())
            .collect();
        kinds.sort_unstable();
        kinds.dedup();
        kinds
    }

    fn basis(&self) -> &'static str {
        "Dates come from a simple queue on each machine: work already promised first, in the machine's own hours. \
         People, shared setups and work that is still to be taken on are not looked at."
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planning::{CandidateOperation, Hours, Shift};
    use chrono::{Duration, NaiveTime, Weekday};
    use proptest::prelude::*;
    use rand::{RngExt, SeedableRng};

    fn utc(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    /// A Monday, before work.
    fn monday() -> DateTime<Utc> {
        utc("2026-11-23T00:00:00Z")
    }

    /// 08:00 to 16:00 on weekdays, for a year.
    fn calendar() -> Calendar {
        let clock = |h| NaiveTime::from_hms_opt(h, 0, 0).unwrap();
        let shifts = (0..5)
            .map(|d| Shift {
                weekday: Weekday::try_from(d).unwrap(),
                start: clock(8),
                end: clock(16),
            })
            .collect();
        let hours = Hours {
            zone: chrono_tz::UTC,
            shifts,
            holidays: [].into(),
            overtime: vec![],
            stops: vec![],
        };
        Calendar::build(&hours, monday(), monday() + Duration::days(365))
    }

    fn machine(kind: &str, queued_minutes: u32) -> QueuedMachine {
        QueuedMachine {
            kind: kind.into(),
            calendar: calendar(),
            from: monday(),
            queued_minutes,
        }
    }

    fn op(kind: &str, after: &[usize]) -> CandidateOperation {
        CandidateOperation {
            number: 10,
            machine_kind: kind.into(),
            skill: String::new(),
            setup_key: String::new(),
            after: after.to_vec(),
            outside_days: (kind == "outside").then_some(3),
        }
    }

    fn job(operations: Vec<CandidateOperation>) -> Candidate {
        Candidate { operations }
    }

    fn ready(queue: &QueueDates, job: &Candidate, minutes: &[f64]) -> Option<DateTime<Utc>> {
        queue.ready(job, &[monday()], minutes)[0]
    }

    #[test]
    fn waits_for_the_machine_the_operation_before_and_the_hours() {
        let queue = QueueDates::new(vec![machine("mill", 420), machine("hone", 1440)]);
        // Mill: queue to Monday 15:00, two hours of ours to Tuesday 09:00. Hone: its three days of queue end Wednesday
        // 16:00, so ours is done on Thursday at 09:00.
        let line = job(vec![op("mill", &[]), op("hone", &[0])]);
        assert_eq!(
            ready(&queue, &line, &[120.0, 60.0]),
            Some(utc("2026-11-26T09:00:00Z"))
        );
    }

    #[test]
    fn takes_the_machine_of_a_kind_that_is_done_first() {
        let queue = QueueDates::new(vec![machine("mill", 900), machine("mill", 60)]);
        let two = job(vec![op("mill", &[]), op("mill", &[])]);
        // Both go to the second mill: 09:00 to 10:00 and to 11:00; the first is busy until Tuesday.
        assert_eq!(
            ready(&queue, &two, &[60.0, 60.0]),
            Some(utc("2026-11-23T11:00:00Z"))
        );
    }

    #[test]
    fn work_sent_out_takes_calendar_days_and_no_machine() {
        let queue = QueueDates::new(vec![machine("mill", 0)]);
        let job = job(vec![op("mill", &[]), op("outside", &[0]), op("mill", &[1])]);
        // Away from Monday 09:00 for three days; back on the mill Thursday 09:00 for half an hour, rounded up.
        assert_eq!(
            ready(&queue, &job, &[60.0, 999.0, 29.2]),
            Some(utc("2026-11-26T09:30:00Z"))
        );
        assert!(queue.missing(&job).is_empty());
    }

    #[test]
    fn order_follows_what_waits_for_what_not_the_list() {
        let queue = QueueDates::new(vec![machine("mill", 0), machine("hone", 0)]);
        let backwards = job(vec![op("hone", &[1]), op("mill", &[])]);
        assert_eq!(backwards.order(), Some(vec![1, 0]));
        assert_eq!(
            ready(&queue, &backwards, &[60.0, 120.0]),
            Some(utc("2026-11-23T11:00:00Z"))
        );
    }

    #[test]
    fn gives_no_date_rather_than_a_wrong_one() {
        let queue = QueueDates::new(vec![machine("mill", 0)]);
        let circle = job(vec![op("mill", &[1]), op("mill", &[0])]);
        assert_eq!(ready(&queue, &circle, &[1.0, 1.0]), None);
        let elsewhere = job(vec![op("lathe", &[]), op("mill", &[0])]);
        assert_eq!(ready(&queue, &elsewhere, &[1.0, 1.0]), None);
        assert_eq!(queue.missing(&elsewhere), ["lathe"]);
        let endless = job(vec![op("mill", &[])]);
        assert_eq!(ready(&queue, &endless, &[1e9]), None);
        assert_eq!(ready(&queue, &endless, &[f64::INFINITY]), None);
        assert_eq!(ready(&queue, &endless, &[]), None);
        let full = QueueDates::new(vec![machine("mill", u32::MAX)]);
        assert_eq!(ready(&full, &endless, &[1.0]), None);
    }

    #[test]
    fn a_spread_queue_spreads_the_dates_about_the_booked_one() {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(1);
        let booked = QueueDates::new(vec![machine("mill", 4800)]);
        let spread = booked.clone().with_queue_spread(0.2, &mut rng);
        let job = job(vec![op("mill", &[])]);
        let release = vec![monday(); 1000];
        let minutes = vec![60.0; 1000];
        let dates = spread.ready(&job, &release, &minutes);
        assert_eq!(dates, spread.ready(&job, &release, &minutes));
        let exact = ready(&booked, &job, &[60.0]);
        let later = dates.iter().filter(|date| **date > exact).count();
        assert!((350..650).contains(&later), "{later} of 1000 are later");
        assert_eq!(
            booked
                .clone()
                .with_queue_spread(0.0, &mut rng)
                .ready(&job, &release, &minutes)[7],
            exact
        );
    }

    /// A thousand futures of fifteen operations are asked for while the caller talks. Debug builds are about twenty
    /// times slower than release ones; the bound holds for both and only catches an answer that got out of hand.
    #[test]
    fn a_thousand_futures_are_quick() {
        let kinds = ["mill", "line borer", "hone", "wash", "bench"];
        let queue = QueueDates::new(kinds.iter().map(|kind| machine(kind, 900)).collect());
        let operations = (0..15)
            .map(|i: usize| {
                op(
                    kinds[i % 5],
                    &i.checked_sub(1).into_iter().collect::<Vec<_>>(),
                )
            })
            .collect();
        let mut rng = rand_pcg::Pcg64::seed_from_u64(2);
        let minutes: Vec<f64> = (0..15_000).map(|_| rng.random_range(10.0..200.0)).collect();
        let begun = std::time::Instant::now();
        let dates = queue.ready(&job(operations), &vec![monday(); 1000], &minutes);
        assert!(dates.iter().all(Option::is_some));
        assert!(
            begun.elapsed() < std::time::Duration::from_millis(500),
            "{:?}",
            begun.elapsed()
        );
    }

    proptest! {
        /// More work, a longer queue or a later release never make it ready sooner: one machine of each kind.
        #[test]
        fn more_is_never_sooner(
            work in prop::collection::vec(0.0..900.0_f64, 6),
            queued in 0_u32..3000,
            more in 0.0..500.0_f64,
            which in 0_usize..6,
        ) {
            let line = job((0..6).map(|i: usize| {
                op(["mill", "hone"][i % 2], &i.checked_sub(1).into_iter().collect::<Vec<_>>())
            }).collect());
            let queue = |minutes| QueueDates::new(vec![machine("mill", minutes), machine("hone", 100)]);
            let date = ready(&queue(queued), &line, &work);
            let mut longer = work.clone();
            longer[which] += more;
            prop_assert!(ready(&queue(queued), &line, &longer) >= date);
            prop_assert!(ready(&queue(queued + 60), &line, &work) >= date);
            let late = queue(queued).ready(&line, &[monday() + Duration::days(9)], &work)[0];
            prop_assert!(late >= date);
        }
    }
}
