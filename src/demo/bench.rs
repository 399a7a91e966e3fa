//! The bench's past in the demo: what was booked on the live jobs so far, with hours that differ from the standard as
//! real ones do; somebody who forgot to stop; and a job on hold because a check failed.

use super::DemoError;
use super::seed::Seed;
use crate::app::{book_time, record_check};
use crate::db::ShopTx;
use crate::db::bookings::{self, NewBooking};
use crate::db::calendars::{self, Owner};
use crate::db::checks::NewResult;
use crate::db::jobs::JobOperation;
use crate::quality::{Found, Limits, reading};
use crate::shopfloor::Kind;
use crate::units::Minutes;
use chrono::{DateTime, Days, TimeDelta, Utc};
use rand::{Rng, RngExt};
use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use std::collections::HashMap;
use uuid::Uuid;

/// The stretches in which each person is at work.
type OpenTimes = HashMap<Uuid, Vec<(DateTime<Utc>, DateTime<Utc>)>>;

/// A live job's operations that were begun: how many are done, and whether the next is under way.
pub(super) struct Begun {
    pub(super) operations: Vec<JobOperation>,
    pub(super) done: usize,
    pub(super) under_way: bool,
}

/// A stretch of work on an operation.
struct Stretch {
    operation: Uuid,
    person: Uuid,
    machine: Option<Uuid>,
    entries: Vec<(Kind, DateTime<Utc>)>,
}

/// Books what was done on these jobs, so that the last of it was just before now.
pub(super) async fn write(
    tx: &mut ShopTx,
    seed: &Seed,
    people: &HashMap<String, Uuid>,
    begun: &[Begun],
    now: DateTime<Utc>,
    rng: &mut impl Rng,
) -> Result<(), DemoError> {
    let far = now.checked_sub_days(Days::new(120)).unwrap_or(now);
    let working_time = calendars::read(tx).await?;
    let calendars: OpenTimes = people
        .values()
        .map(|id| {
            let calendar = working_time.calendar(Owner::Person(*id), far, now);
            (*id, calendar.intervals().collect())
        })
        .collect();
    // The same draws at every try: only where they begin differs.
    let factors: Vec<f64> = (0..2_000).map(|_| rng.random_range(0.8..1.35)).collect();
    let laid = (5..120).find_map(|days| {
        let from = now.checked_sub_days(Days::new(days))?;
        lay_out(seed, people, &calendars, begun, from, now, &factors)
    });
    let mut laid = laid.unwrap_or_default();
    // Whoever worked last has not stopped: they are at it still, or have forgotten.
    let paused = |s: &&mut Stretch| {
        s.entries
            .last()
            .is_some_and(|(kind, _)| *kind == Kind::Pause)
    };
    let last = laid
        .iter_mut()
        .filter(paused)
        .max_by_key(|s| s.entries.last().map(|(_, at)| *at));
    if let Some(last) = last {
        last.entries.pop();
    }
    for stretch in laid {
        for (kind, at) in stretch.entries {
            let entry = NewBooking {
                id: Uuid::now_v7(),
                kind,
                operation_id: stretch.operation,
                machine_id: stretch.machine,
                person_id: stretch.person,
                entered_by: stretch.person,
                device_id: None,
                at,
                device_at: at,
                received_at: at,
                corrects: None,
                reason: None,
            };
            book_time::book_within(tx, &entry).await?;
        }
    }
    fail_a_check(tx, begun, now).await
}

/// Everybody's work one after another from a day on; `None` when it does not end before now.
fn lay_out(
    seed: &Seed,
    people: &HashMap<String, Uuid>,
    calendars: &OpenTimes,
    begun: &[Begun],
    from: DateTime<Utc>,
    now: DateTime<Utc>,
    factors: &[f64],
) -> Option<Vec<Stretch>> {
    let mut free: HashMap<Uuid, DateTime<Utc>> = people.values().map(|id| (*id, from)).collect();
    let mut laid = Vec::new();
    let mut factor = factors.iter().cycle();
    for job in begun {
        let mut ready = from;
        for (place, operation) in job.operations.iter().enumerate() {
            let under_way = place >= job.done;
            if place > job.done || (under_way && !job.under_way) {
                break;
            }
            let planned = &operation.planned;
            let skilled = seed
                .shop
                .person
                .iter()
                .filter(|p| p.skills.contains(&planned.skill));
            let who = skilled
                .filter_map(|p| people.get(&p.name))
                .min_by_key(|id| free.get(*id).copied())?;
            let scaled =
                |minutes: Minutes, by: f64| (Decimal::from_f64(by)? * minutes.0).round().to_i64();
            let attended = planned.run * planned.attended_share;
            let alone = planned.run - attended;
            let by = *factor.next()?;
            let start = ready.max(*free.get(who)?);
            let mut clock = Clock::at(calendars.get(who)?, start, now);
            let mut entries = Vec::new();
            clock.work(Kind::Setup, scaled(planned.setup, by)?, &mut entries)?;
            if under_way {
                // Begun, and left for something else.
                clock.work(Kind::Run, scaled(attended, by / 2.0)?.max(5), &mut entries)?;
                entries.push((Kind::Pause, clock.now));
            } else {
                clock.work(Kind::Run, scaled(attended, by)?.max(1), &mut entries)?;
                let mut done = clock.now;
                if alone > Minutes::ZERO && planned.outside.is_none() {
                    entries.push((Kind::RunAlone, clock.now));
                    done = done.checked_add_signed(TimeDelta::minutes(scaled(alone, 1.0)?))?;
                    if done > now {
                        return None;
                    }
                }
                entries.push((Kind::Done, done));
                ready = done;
            }
            free.insert(*who, clock.now);
            let machine = seed
                .machines
                .iter()
                .find(|m| m.kind == planned.machine_kind);
            laid.push(Stretch {
                operation: operation.id,
                person: *who,
                machine: machine.map(|m| m.id),
                entries,
            });
        }
    }
    Some(laid)
}

/// A person's time, which stands still outside their working hours.
struct Clock<'a> {
    stretches: &'a [(DateTime<Utc>, DateTime<Utc>)],
    now: DateTime<Utc>,
    last: DateTime<Utc>,
}

impl<'a> Clock<'a> {
    fn at(
        stretches: &'a [(DateTime<Utc>, DateTime<Utc>)],
        now: DateTime<Utc>,
        last: DateTime<Utc>,
    ) -> Self {
        Self {
            stretches,
            now,
            last,
        }
    }

    /// Works so many minutes, pausing at the end of each working stretch.
    fn work(
        &mut self,
        kind: Kind,
        minutes: i64,
        entries: &mut Vec<(Kind, DateTime<Utc>)>,
    ) -> Option<()> {
        let mut left = TimeDelta::minutes(minutes);
        while left > TimeDelta::zero() {
            let (from, until) = self.stretches.iter().find(|(_, until)| *until > self.now)?;
            self.now = self.now.max(*from);
            entries.push((kind, self.now));
            let here = left.min(*until - self.now);
            self.now += here;
            left -= here;
            if left > TimeDelta::zero() {
                entries.push((Kind::Pause, self.now));
            }
        }
        (self.now <= self.last).then_some(())
    }
}

/// The first measured check of an operation under way is out of limits, by two hundredths.
async fn fail_a_check(
    tx: &mut ShopTx,
    begun: &[Begun],
    now: DateTime<Utc>,
) -> Result<(), DemoError> {
    for job in begun.iter().filter(|job| job.under_way) {
        let Some(operation) = job.operations.get(job.done) else {
            continue;
        };
        let booked = bookings::of_operations(tx, &[operation.id]).await?;
        let planned = operation.planned.checks.iter().zip(0_u32..);
        let measured = planned.into_iter().find_map(|(check, place)| {
            let bad = Limits::of(check)?.upper? + reading("0.02")?;
            Some((
                place,
                match check.readings() {
                    1 => Found::Measured(bad),
                    many => Found::Readings(vec![bad; many]),
                },
            ))
        });
        let Some(((place, found), last)) = measured.zip(booked.last()) else {
            continue;
        };
        let at = now - TimeDelta::minutes(40);
        let result = NewResult {
            id: Uuid::now_v7(),
            operation_id: operation.id,
            place,
            found,
            note: String::new(),
            person_id: last.entry.person,
            entered_by: last.entry.person,
            device_id: None,
            at,
            device_at: at,
            received_at: at,
        };
        record_check::record_within(tx, &result).await?;
        return Ok(());
    }
    Ok(())
}
