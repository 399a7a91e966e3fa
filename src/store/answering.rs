//! Everything an answer is computed from, read in one go.

use super::calendars::Owner;
use super::castings_on_shelf::{self, Outcome, Ownership, ShelfState};
use super::enquiries::EnquiryDetails;
use super::{
    ShopTx, StoreError, calendars, castings, cutting, jobs, machines, remedy_rules, settings,
    sightings, standards,
};
use crate::enquiry::{
    Answer, AnswerError, Asked, Knowledge, OwnBlock, ShelfCasting, Supply, Wish, Work, answer,
};
use crate::estimating::Machine;
use crate::planning::queue::{QueueDates, QueuedMachine};
use crate::sourcing::Watch;
use chrono::{DateTime, Days, Utc};
use rand::SeedableRng;
use rand_pcg::Pcg64;
use rust_decimal::prelude::ToPrimitive;
use std::collections::HashMap;

/// How far ahead working time is laid out: as long as the longest hunt, and a year of work after it.
const HORIZON: Days = Days::new(6 * 366);

/// How far a queue of booked work may turn out from its standard, standard deviation over mean: common practice, no
/// source.
const QUEUE_CV: f64 = 0.15;

/// The same queue always draws the same futures, so that an answer stands still while a caller talks.
const QUEUE_SEED: u64 = 1;

/// Why nothing can be answered yet, in words for the screen.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unanswerable {
    /// The caller has not said what they want.
    #[error("Choose what the caller wants, and every way to get it stands here side by side.")]
    NothingWanted,
    /// The shop has not said something that every price needs.
    #[error("{0}")]
    Missing(String),
}

/// A wish with all that is known: ready to be answered away from the database.
#[derive(Debug, Clone)]
pub struct Question {
    wish: Wish,
    knowledge: Knowledge,
    dates: QueueDates,
}

impl Question {
    /// Works the answer out.
    ///
    /// # Errors
    /// As [`answer`].
    pub fn answer(
        &self,
        now: DateTime<Utc>,
        futures: u32,
        seed: u64,
    ) -> Result<Answer, AnswerError> {
        answer(
            &self.wish,
            &self.knowledge,
            &self.dates,
            Asked { now, futures, seed },
        )
    }
}

/// Reads all that the shop knows about what a caller wants.
///
/// # Errors
/// [`StoreError`]. What the shop has yet to say is not an error but an [`Unanswerable`].
pub async fn load(
    tx: &mut ShopTx,
    said: &EnquiryDetails,
    now: DateTime<Utc>,
) -> Result<Result<Question, Unanswerable>, StoreError> {
    let Some(wanted_id) = said.wanted_variant_id else {
        return Ok(Err(Unanswerable::NothingWanted));
    };
    let machines = machines::machines(tx).await?;
    let rates = match machines::rates(tx, &machines).await? {
        Ok(rates) => rates,
        Err(why) => return Ok(Err(Unanswerable::Missing(why.to_string()))),
    };
    let settings = settings::get(tx).await?;
    let wanted = castings::variant(tx, wanted_id).await?;
    let pattern = castings::pattern(tx, wanted.pattern_id).await?;
    let today = now.with_timezone(&settings.time_zone).date_naive();

    let mut supplies = Vec::new();
    for variant in castings::variants_of(tx, pattern.id).await? {
        let mut mine = castings_on_shelf::list(tx, ShelfState::ALL, Some(variant.id)).await?;
        mine.retain(|c| c.details.ownership == Ownership::Shop);
        let outcomes = |outcome: Outcome| {
            let count = mine
                .iter()
                .filter(|c| c.inspection.is_some_and(|(o, _)| o == outcome))
                .count();
            u32::try_from(count).unwrap_or(u32::MAX)
        };
        let mut free: Vec<ShelfCasting> = mine
            .iter()
            .filter(|c| c.state == ShelfState::OnShelf)
            .filter(|c| {
                c.inspection
                    .is_none_or(|(outcome, _)| outcome == Outcome::Good)
            })
            .map(|c| ShelfCasting {
                id: c.id,
                number: c.number,
                cost: c.details.cost,
            })
            .collect();
        free.sort_by_key(|c| c.cost.amount());
        supplies.push(Supply {
            shelf: free,
            watch: sightings::watch(tx, variant.id)
                .await?
                .unwrap_or_else(|| Watch::new(variant.id, today, settings.currency)),
            sightings: sightings::of_variant(tx, variant.id).await?,
            inspected_good: outcomes(Outcome::Good),
            inspected_bad: outcomes(Outcome::Failed),
            variant,
        });
    }
    let own = match said.brings_variant_id {
        Some(id) => Some(OwnBlock {
            variant: castings::variant(tx, id).await?,
            repairs: once_each(&said.repairs),
        }),
        None => None,
    };
    let knowledge = Knowledge {
        pattern,
        supplies,
        rules: remedy_rules::list(tx).await?,
        elements: standards::list(tx).await?,
        cutting: cutting::usual(tx).await?,
        rates,
        policy: settings.policy.clone(),
        currency: settings.currency,
        zone: settings.time_zone,
    };
    let wish = Wish {
        wanted,
        wanted_by: said.wanted_by,
        own,
        also: once_each(&said.also),
    };
    let dates = queues(tx, &machines, now).await?;
    Ok(Ok(Question {
        wish,
        knowledge,
        dates,
    }))
}

fn once_each(codes: &[String]) -> Work {
    codes.iter().map(|code| (code.clone(), 1)).collect()
}

/// Each machine with its working time and its share of the work that waits for its kind.
async fn queues(
    tx: &mut ShopTx,
    machines: &[Machine],
    now: DateTime<Utc>,
) -> Result<QueueDates, StoreError> {
    let until = now.checked_add_days(HORIZON).unwrap_or(now);
    let in_use: Vec<&Machine> = machines.iter().filter(|m| m.active).collect();
    let mut of_kind: HashMap<&str, u32> = HashMap::new();
    for machine in &in_use {
        *of_kind.entry(&machine.kind).or_default() += 1;
    }
    let waiting: HashMap<String, f64> = jobs::machine_load(tx)
        .await?
        .into_iter()
        .map(|load| (load.machine_kind, load.minutes.0.to_f64().unwrap_or(0.0)))
        .collect();
    let time = calendars::read(tx).await?;
    let mut queued = Vec::with_capacity(in_use.len());
    for machine in &in_use {
        let share = waiting.get(&machine.kind).copied().unwrap_or(0.0)
            / f64::from(of_kind.get(machine.kind.as_str()).copied().unwrap_or(1));
        queued.push(QueuedMachine {
            kind: machine.kind.clone(),
            calendar: time.calendar(Owner::Machine(machine.id), now, until),
            from: now,
            queued_minutes: share.ceil().to_u32().unwrap_or(u32::MAX),
        });
    }
    let mut rng = Pcg64::seed_from_u64(QUEUE_SEED);
    Ok(QueueDates::new(queued).with_queue_spread(QUEUE_CV, &mut rng))
}
