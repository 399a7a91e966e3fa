//! The demo's past year, written with the times at which it happened.

use super::draw::{self, Kind};
use super::fill::DemoError;
use super::past::{Setting, Year, fault};
use super::past_calls::{Call, Fate, Offer};
use super::past_floor::{FloorJob, Held, Minute, Task, minute, moment};
use crate::db::ShopTx;
use crate::db::bookings::NewBooking;
use crate::db::calendars::{self, Owner, Stop};
use crate::db::checks::NewResult;
use crate::db::enquiries::EnquiryDetails;
use crate::db::past::{self, PastCasting, PastHold, PastJob, PastOperation, PastQuote};
use crate::db::sightings;
use crate::enquiry::EnquiryState;
use crate::enquiry::quote::QuoteState;
use crate::planning::calendar::whole_day;
use crate::quality::{Decision, Rework};
use crate::sourcing::{Fate as SeenFate, Sighting};
use crate::stock::{Outcome, ShelfState};
use crate::units::{Minutes, Money};
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use uuid::Uuid;

/// Days for which a finished block may still stand in the shop.
const WAITS_DAYS: i64 = 25;
/// Days after which what was collected is invoiced.
const INVOICED_AFTER_DAYS: i64 = 40;

impl Setting<'_> {
    pub(super) async fn write(&self, tx: &mut ShopTx, year: &Year<'_>) -> Result<(), DemoError> {
        for (person, on) in &year.absences {
            let Some((starts_at, ends_at)) = whole_day(self.pricing.zone, *on) else {
                continue;
            };
            let stop = Stop {
                id: Uuid::now_v7(),
                owner: Owner::Person(*person),
                starts_at,
                ends_at,
                why: "Off sick".to_owned(),
                version: 1,
            };
            calendars::insert_stop(tx, &stop).await?;
        }
        let mut entries = Vec::new();
        for (at, (call, offer)) in year.calls.iter().enumerate() {
            let quote = self.write_call(tx, call, offer).await?;
            if let Some(job) = year.shop.jobs.iter().find(|job| job.call == at) {
                self.write_job(tx, (call, quote), job, &mut entries).await?;
            }
        }
        // In the order in which they were made.
        entries.sort_by_key(|entry: &NewBooking| entry.at);
        past::bookings(tx, &entries).await?;
        Ok(())
    }

    /// Writes a call and the quote that was given. What would be decided after today is open still.
    pub(super) async fn write_call(
        &self,
        tx: &mut ShopTx,
        call: &Call,
        offer: &Offer,
    ) -> Result<Uuid, DemoError> {
        let kind = self
            .kinds
            .get(call.kind)
            .ok_or_else(|| fault("no such kind"))?;
        let details = EnquiryDetails {
            caller: call.customer.clone(),
            wanted_variant_id: kind.variant_id,
            brings_variant_id: kind.variant_id.filter(|_| kind.conversion.is_none()),
            repairs: kind.codes.clone(),
            ..EnquiryDetails::default()
        };
        let state = match call.fate {
            Fate::Won => EnquiryState::Won,
            Fate::Lost(_) | Fate::Lapsed => EnquiryState::Quoted,
        };
        let enquiry = past::enquiry(tx, &details, state, call.at, self.office).await?;
        let on = call.at.with_timezone(&self.pricing.zone).date_naive();
        let days = u64::from(self.seed.shop.shop.quote_valid_days);
        let policy = self.policy(on);
        let checked = self.pricing.quote(call, offer, enquiry, &policy, days)?;
        let decided_at = Some(call.decided).filter(|at| *at <= self.morning());
        let (state, lost_why) = match &call.fate {
            _ if decided_at.is_none() => (QuoteState::Sent, None),
            Fate::Won => (QuoteState::Won, None),
            Fate::Lost(why) => (QuoteState::Lost, Some(why.as_str())),
            Fate::Lapsed => (QuoteState::Lapsed, None),
        };
        let quote = PastQuote {
            quote: &checked,
            at: call.at,
            by: self.office,
            state,
            decided_at,
            lost_why,
        };
        Ok(past::quote(tx, &quote).await?)
    }

    async fn write_job(
        &self,
        tx: &mut ShopTx,
        (call, quote_id): (&Call, Uuid),
        job: &FloorJob,
        entries: &mut Vec<NewBooking>,
    ) -> Result<(), DemoError> {
        let kind = self
            .kinds
            .get(call.kind)
            .ok_or_else(|| fault("no such kind"))?;
        let finished = job.finished.unwrap_or_else(|| minute(call.decided));
        // Collected some days after it is ready, most often the next.
        let mut rng = Pcg64::seed_from_u64(self.truth.seed ^ finished.unsigned_abs());
        let wait = if rng.random_bool(0.6) {
            1
        } else {
            rng.random_range(2..12)
        };
        let collected = moment(finished + wait * 24 * 60).min(self.morning());
        // What was done last still waits to be collected, and what was collected lately to be invoiced.
        let ago = |at: DateTime<Utc>| (self.today - at.date_naive()).num_days();
        let handed_over = ago(moment(finished)) > WAITS_DAYS;
        let collected_on = handed_over.then(|| collected.date_naive());
        let job_id = past::job(
            tx,
            &PastJob {
                quote_id,
                title: &kind.title,
                customer: &call.customer,
                due_on: call.promised_on,
                promised_on: Some(call.promised_on),
                at: call.decided,
                closed_at: collected,
                collected_on,
                invoiced_on: collected_on.filter(|_| ago(collected) > INVOICED_AFTER_DAYS),
                closed_by: self.office,
            },
        )
        .await?;
        let keys: Vec<Uuid> = job.tasks.iter().map(|_| Uuid::now_v7()).collect();
        let operations: Vec<PastOperation> = job
            .tasks
            .iter()
            .zip(&keys)
            .map(|(task, id)| PastOperation {
                id: *id,
                planned: &task.planned,
                added: task.added,
                again_for: task.again_for,
                started_at: task.entries.first().map(|(_, at)| moment(*at)),
                machine_id: task.machine,
                person_id: task.person,
            })
            .collect();
        past::operations(tx, job_id, &operations).await?;
        let mut checks = Vec::new();
        for (task, id) in job.tasks.iter().zip(&keys) {
            entries.extend(booked(task, *id));
            checks.extend(self.checked(task, *id));
        }
        past::checks(tx, &checks).await?;
        self.write_castings(tx, job, (job_id, kind), (&keys, &checks))
            .await
    }

    /// The checks of an operation, as they were made.
    fn checked<'t>(&self, task: &'t Task, operation_id: Uuid) -> Vec<past::PastCheck<'t>> {
        task.checks
            .iter()
            .filter_map(|made| {
                let at = moment(made.at);
                Some(past::PastCheck {
                    check: task.planned.checks.get(made.place)?,
                    judged: &made.judged,
                    new: NewResult {
                        id: Uuid::now_v7(),
                        operation_id,
                        place: u32::try_from(made.place).ok()?,
                        found: made.found.clone(),
                        note: String::new(),
                        person_id: made.by,
                        entered_by: made.by,
                        device_id: None,
                        at,
                        device_at: at,
                        received_at: at,
                    },
                })
            })
            .collect()
    }

    /// The donors of a job, and what was decided about its failed checks.
    async fn write_castings(
        &self,
        tx: &mut ShopTx,
        job: &FloorJob,
        (job_id, kind): (Uuid, &Kind),
        (keys, checks): (&[Uuid], &[past::PastCheck<'_>]),
    ) -> Result<(), DemoError> {
        let mut rng = Pcg64::seed_from_u64(self.truth.seed ^ (0xCA57 + job.call as u64));
        let inspected = |at: Minute| moment(at).date_naive();
        let good = job.tasks.iter().filter(|t| t.planned.can_fail);
        let good = good.filter_map(|t| t.done).max();
        let used = match good {
            Some(at) => {
                self.casting(tx, kind, job_id, (Outcome::Good, inspected(at)), &mut rng)
                    .await?
            }
            None => None,
        };
        for hold in &job.holds {
            let Some(operation_id) = keys.get(hold.task) else {
                continue;
            };
            let failed = checks.iter().find(|check| {
                check.new.operation_id == *operation_id && check.judged.failure.is_some()
            });
            let Some(failed) = failed else { continue };
            let scrapped = if hold.scrap {
                let outcome = (Outcome::Failed, inspected(hold.opened));
                self.casting(tx, kind, job_id, outcome, &mut rng).await?
            } else {
                None
            };
            past::hold(
                tx,
                &PastHold {
                    id: failed.new.id,
                    job_id,
                    operation_id: *operation_id,
                    why: &hold.why,
                    opened_at: moment(hold.opened),
                    opened_by: hold.by,
                    decision: &decision(hold, used),
                    decided_at: moment(hold.decided),
                    decided_by: self.owner,
                    note: if hold.scrap {
                        "Scrap: another donor"
                    } else {
                        "Corrected"
                    },
                    scrapped,
                },
            )
            .await?;
        }
        Ok(())
    }

    /// A donor that was bought for a job; gives its key, number and cost.
    async fn casting(
        &self,
        tx: &mut ShopTx,
        kind: &Kind,
        job_id: Uuid,
        (outcome, on): (Outcome, NaiveDate),
        rng: &mut Pcg64,
    ) -> Result<Option<(Uuid, i64, Money)>, DemoError> {
        let (Some(seed), Some(conversion)) = (self.donor(kind), &kind.conversion) else {
            return Ok(None);
        };
        let z: f64 = StandardNormal.sample(rng);
        let tens = Decimal::from_f64(seed.price * (seed.price_cv * z).exp() / 5.0);
        let cost = Money::new(
            tens.unwrap_or_default().round() * Decimal::from(5),
            self.pricing.currency,
        );
        let casting = PastCasting {
            at: on.and_time(NaiveTime::MIN).and_utc(),
            variant_id: conversion.variant_id,
            owner: None,
            cost,
            condition: "Bare block, as bought",
            inspection: Some((outcome, on)),
            state: match outcome {
                Outcome::Good => ShelfState::Used,
                Outcome::Failed => ShelfState::Scrapped,
            },
            job_id: Some(job_id),
            came_from: draw::pick(&seed.place, rng).map_or("", String::as_str),
        };
        let (id, number) = past::casting(tx, &casting).await?;
        Ok(Some((id, number, cost)))
    }

    /// Scarce castings seen in the year.
    pub(super) async fn write_market(&self, tx: &mut ShopTx) -> Result<(), DemoError> {
        let drawn = &self.seed.market.sightings;
        for (at, seen) in self.truth.sighting.iter().enumerate() {
            let variant = self.seed.variant("past.toml", &seen.variant)?;
            let mut rng = Pcg64::seed_from_u64(self.truth.seed ^ (0x5EE + at as u64));
            let mut ages: Vec<u64> = (0..seen.count)
                .map(|_| rng.random_range(15..self.truth.days))
                .collect();
            ages.sort_unstable_by(|a, b| b.cmp(a));
            for (place, age) in (0_u32..).zip(ages) {
                let z: f64 = StandardNormal.sample(&mut rng);
                let tens = Decimal::from_f64(seen.middle_price * (seen.price_cv * z).exp() / 10.0);
                let asked =
                    tens.map(|tens| Money::new(tens.round() * Decimal::TEN, self.pricing.currency));
                let mut sighting = Sighting::new(Uuid::now_v7(), variant.id, self.ago(age));
                sighting.place = draw::pick(&drawn.places, &mut rng)
                    .cloned()
                    .unwrap_or_default();
                sighting.condition = draw::pick(&drawn.conditions, &mut rng)
                    .cloned()
                    .unwrap_or_default();
                sighting.asked = asked;
                sighting.fate = if place < seen.bought_good {
                    SeenFate::BoughtGood
                } else if place < seen.bought_good + seen.bought_scrap {
                    SeenFate::BoughtScrap
                } else {
                    SeenFate::SoldElsewhere
                };
                sightings::insert(tx, &sighting).await?;
            }
        }
        Ok(())
    }

    /// Rates as they were before they were raised.
    pub(super) async fn write_rates(&self, tx: &mut ShopTx) -> Result<(), DemoError> {
        let at = |days| {
            self.ago(days)
                .and_hms_opt(8, 0, 0)
                .unwrap_or_default()
                .and_utc()
        };
        for raised in &self.truth.raised {
            past::labour_rate_was(tx, &raised.skill, raised.hourly, at(raised.days_ago)).await?;
        }
        let energy = &self.truth.energy;
        Ok(past::power_price_was(tx, energy.power_price, at(energy.days_ago)).await?)
    }
}

fn decision(hold: &Held, used: Option<(Uuid, i64, Money)>) -> Decision {
    if hold.scrap {
        return Decision::Scrap {
            donor: used.map(|(id, ..)| id),
            again: Vec::new(),
            requote: false,
        };
    }
    Decision::Rework(Rework {
        title: String::new(),
        machine_kind: String::new(),
        setup: Minutes::ZERO,
        run: Minutes::ZERO,
    })
}

/// The entries of an operation.
fn booked(task: &Task, operation_id: Uuid) -> impl Iterator<Item = NewBooking> + '_ {
    task.entries.iter().filter_map(move |(kind, minute)| {
        let (person, at) = (task.person?, moment(*minute));
        Some(NewBooking {
            id: Uuid::now_v7(),
            kind: *kind,
            operation_id,
            machine_id: task.machine,
            person_id: person,
            entered_by: person,
            device_id: None,
            at,
            device_at: at,
            received_at: at,
            corrects: None,
            reason: None,
        })
    })
}
